"""The ways to decide besides pass and fail: rinse on, rework, go down, scrap. What each would take, and why it is shut. Nothing is changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from regenplant.batches.allowances import Allowance
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.rinse import RINSE_REASONS, specification_of
from regenplant.core.process.acceptance import Outcome, Reason
from regenplant.core.process.continued import MOST_ROUNDS
from regenplant.core.process.downgrading import classes_below, why_not_lower
from regenplant.core.process.rework_options import ReworkKind, ReworkOption, rework_options
from regenplant.core.process.rework_recipes import why_it_fits
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.core.process.wording import listed, say
from regenplant.quality.models import Downgrade, RinseContinuation, decision_of
from regenplant.quality.specification import Judged, applied_specification, judgement
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.recipes.selectors import recipe_definition, specification_definition
from regenplant.resins.selectors import ancestry
from regenplant.tanks.models import Customer


# --- the rinse goes on ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class RinseOn:
    """What a rinse that goes on may take."""

    rinsed_bv: float
    most_bv: float | None
    """The specification's longest rinse; None where a person decides."""
    rounds: tuple[RinseContinuation, ...]
    """How often it went on already."""
    against: tuple[str, ...]
    """Why it does not go on; empty when it may."""

    @property
    def left_bv(self) -> float | None:
        """Water the specification still allows [bed volumes]."""
        return None if self.most_bv is None else max(0.0, self.most_bv - self.rinsed_bv)


def rinse_on(batch: Batch, judged: Judged) -> RinseOn:
    """How the rinse of this batch stands if it went on. One query."""
    specification = applied_specification(batch)
    rounds = tuple(batch.rinse_continuations.select_related("continued_by").order_by("round"))
    rinsed, most = judged.end_point.rinsed_bv, specification.maximum_rinse_bv
    return RinseOn(rinsed, most, rounds, tuple(_against_going_on(judged, rinsed, most, len(rounds))))


def _against_going_on(judged: Judged, rinsed_bv: float, most_bv: float | None, rounds: int) -> Iterator[str]:
    if judged.verdict.outcome is Outcome.PASS:
        yield "Every test is inside, so there is nothing to rinse for. Pass it."
    if most_bv is not None and rinsed_bv >= most_bv:
        yield (
            f"{say(rinsed_bv, 'bed_volumes')} have passed, at most {say(most_bv, 'bed_volumes')} by its specification. "
            "Rework it, or fail it."
        )
    if rounds >= MOST_ROUNDS:
        yield f"It went on {rounds} times already, at most {MOST_ROUNDS}. Rework it, or fail it."


def allowance_of(step_id: int) -> Allowance | None:
    """How much water the round of this step may take (``batches.allowances``); None for a rinse of the plan. One query."""
    row = RinseContinuation.objects.filter(step=step_id).first()
    return Allowance(row.rinsed_bv, row.allowance_bv) if row is not None else None


def missed(judged: Judged) -> tuple[Reason, ...]:
    """Limits that are outside or not met."""
    return tuple(reason for reason in judged.verdict.reasons if reason.outcome is not Outcome.PASS)


# --- rework -------------------------------------------------------------------------------------------------------------
def rework_ways(batch: Batch, judged: Judged) -> tuple[ReworkOption, ...]:
    """The ways to rework this batch that make sense for its family and for what it misses, gentlest first. What was not measured
    is not missed: it is measured first."""
    found = {
        reason.measurement
        for reason in missed(judged)
        if reason.outcome is Outcome.FAIL or reason.measurement in RINSE_REASONS
    }
    end = judged.end_point
    used_up = end.maximum_rinse_bv is not None and end.rinsed_bv >= end.maximum_rinse_bv
    return rework_options(plan_of(batch), found, water_used_up=used_up)


def fitting_recipes(batch: Batch, versions: Sequence[RecipeVersion]) -> tuple[tuple[RecipeVersion, str], ...]:
    """Those of the versions that do what QC proposed with the fail of this batch, each with why; the others are left out. Empty
    where nothing was proposed."""
    decision = decision_of(batch)
    proposal = getattr(decision, "rework_proposal", None) if decision is not None else None
    if proposal is None:
        return ()
    kind, before = ReworkKind(proposal.kind), recipe_definition(batch.recipe_version)
    fits = ((version, why_it_fits(kind, recipe_definition(version), before)) for version in versions)
    return tuple((version, why) for version, why in fits if why)


# --- down to a lower product --------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class LowerProduct:
    """A specification version that the batch could go down to, and how it stands by it."""

    version: SpecificationVersion
    to_class: str
    judged: Judged

    @property
    def is_met(self) -> bool:
        """Whether the batch passes by it as it stands."""
        return self.judged.verdict.outcome is Outcome.PASS


def lower_products(batch: Batch, now: datetime, as_it_is: Judged | None = None) -> tuple[LowerProduct, ...]:
    """Every lower product that is in force for this resin, those that the measured values meet first. ``as_it_is``: the verdict by its own
    product, where it was worked out already; the same readings are judged by the lower ones."""
    series = as_it_is.found.series if as_it_is is not None and as_it_is.found is not None else None
    present = specification_of(batch)
    rows = SpecificationVersion.objects.filter(
        Q(effective_from__isnull=True) | Q(effective_from__lte=now),
        state=SpecificationVersion.State.APPROVED,
        specification__family=batch.resin_type.family,
    ).select_related("specification")
    newest: dict[int, SpecificationVersion] = {}
    for row in rows.order_by("number"):
        newest[row.specification_id] = row
    from_class = SegregationClass(batch.segregation_class)
    found = []
    for row in newest.values():
        if row.pk == batch.specification_version_id:
            continue
        lower = specification_definition(row)
        ways_down = [
            item for item in classes_below(from_class) if not why_not_lower(present, lower, from_class, item)
        ]
        judged = judgement(batch, lower, series) if ways_down else None
        found += [LowerProduct(row, item.value, judged) for item in ways_down if judged is not None]
    return tuple(
        sorted(found, key=lambda one: (not one.is_met, one.version.specification.code, one.to_class))
    )


def earlier_downgrade(batch: Batch) -> Downgrade | None:
    """The downgrade that this resin already has behind it: of this batch, of one it reworks, or of a lot that went in."""
    line, one = [batch], batch
    while one.parent is not None:
        one = one.parent
        line.append(one)
    lots = {
        link.visit.tank.resin_lot
        for link in one.tank_links.select_related("visit__tank__resin_lot")
        if link.visit.tank.resin_lot is not None
    }
    codes = {lot.pk for lot in lots}
    for lot in lots:
        codes |= {relative.lot.pk for relative in ancestry(lot).came_from}
    behind = Downgrade.objects.filter(Q(batch__in=line) | Q(batch__lot_id__in=codes))
    return behind.select_related("batch", "to_version__specification").order_by("agreed_at").first()


def once_downgraded(batch: Batch) -> str:
    """Why a second downgrade of this resin is refused; "" where it has none behind it."""
    before = earlier_downgrade(batch)
    if before is None:
        return ""
    return (
        f"This resin went down once already, with batch {before.batch.number} to "
        f"{before.to_version.specification.code}, class {before.to_class}. Nothing is downgraded twice: rework it, or scrap it."
    )


def customers_of(batch: Batch) -> tuple[Customer, ...]:
    """Whose tanks are in this batch, by name."""
    links = batch.tank_links.filter(is_current=True).select_related("visit__customer")
    return tuple(sorted({link.visit.customer for link in links}, key=lambda one: (one.name, one.pk)))


def without_order(batch: Batch) -> tuple[BatchTank, ...]:
    """Filled tanks of a batch that went down whose customer accepted nothing lower; they must not leave with it."""
    down = Downgrade.objects.filter(batch=batch).first()
    if down is None:
        return ()
    said_yes = down.orders.values("customer_id")
    links = batch.tank_links.filter(is_filled=True, withdrawn_at__isnull=True).exclude(
        visit__customer__in=said_yes
    )
    return tuple(links.select_related("visit__tank", "visit__customer").order_by("position"))


def against_release(batch: Batch) -> tuple[str, ...]:
    """What a downgrade holds against the release (``quality.guards``)."""
    links = without_order(batch)
    if not links:
        return ()
    names = listed([f"{link.visit.tank.serial} of {link.visit.customer.name}" for link in links])
    return (f"No order accepts the lower product for {names}. Withdraw those tanks first.",)


__all__ = [
    "LowerProduct",
    "RinseOn",
    "against_release",
    "allowance_of",
    "customers_of",
    "earlier_downgrade",
    "fitting_recipes",
    "lower_products",
    "missed",
    "once_downgraded",
    "rework_ways",
    "rinse_on",
]
