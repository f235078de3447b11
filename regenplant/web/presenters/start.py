"""The start page in words: what fits where, why each tank is in or out, and why a start is not possible."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.batches.selectors.offered_recipes import OfferedRecipe
from regenplant.batches.selectors.start import AnionVessel, StartPage, TankChoice, VesselFit
from regenplant.batches.worked_out import FrozenSpecification
from regenplant.core.process.vocabulary import Chemical, Purpose, ResinFamily
from regenplant.plant.models import Vessel
from regenplant.recipes.models import RecipeVersion
from regenplant.recipes.selectors import purpose_of
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar
from regenplant.web.presenters.bed import family_short, lower_first, moment_words
from regenplant.web.presenters.plan import PlanView, plan_view
from regenplant.web.presenters.words import both, counted, joined, sentence_case


@dataclass(frozen=True, slots=True)
class TankRow:
    """One waiting tank with its tick."""

    id: int
    serial: str
    volume: str
    customer: str
    why: str
    is_in: bool
    is_late: bool


@dataclass(frozen=True, slots=True)
class Option:
    """One choice of a few: a vessel, a recipe, a specification."""

    id: int
    label: str
    note: str
    is_chosen: bool
    against: str = ""
    """Why it cannot be taken here, "" where it can."""


@dataclass(frozen=True, slots=True)
class WorkedRow:
    """One figure of a specification that was worked out, and where it comes from."""

    what: str
    figure: str
    origin: str


@dataclass(frozen=True, slots=True)
class StartView:
    title: str
    sentence: str
    bar: LimitBar
    tanks: tuple[TankRow, ...]
    tanks_note: str
    vessels: tuple[Option, ...]
    vessel_code: str
    vessel_id: int
    """The vessel these choices are shown for."""
    recipes: tuple[Option, ...]
    """The one to take first; those that cannot run in this vessel last, each with the reason."""
    specifications: tuple[Option, ...]
    plan: PlanView | None
    digest: str
    anion_vessels: tuple[Option, ...]
    """Where the anion leg of a mixed bed may run, the free ones first; each says why not. Empty where none is needed."""
    anion_note: str
    """What the vessel of the anion leg is, or why none is offered; "" where none is needed."""
    load_note: str
    """What a throughput is good for, or what is missing for it; "" where it says nothing (carbon)."""
    worked: tuple[WorkedRow, ...]
    """The strictest of several customers' specifications, figure by figure; empty where one says all."""
    worked_note: str
    """Which specifications hold, and for whom."""
    reasons: tuple[str, ...]
    """Why it cannot start as chosen; empty when it can."""


def start_view(page: StartPage, now: datetime, system: str) -> StartView:
    """The whole page."""
    chosen = [tank for tank in page.tanks if tank.is_in]
    return StartView(
        title=f"Start a batch of {_name(page)}",
        sentence=_sentence(page, len(chosen), system),
        bar=_bar(page, len(chosen), system),
        tanks=tuple(_tank(tank, page.fit, now, system) for tank in page.tanks),
        tanks_note=f"{len(chosen)} of {len(page.tanks)} in",
        vessels=tuple(_vessel(fit, page.fit, system) for fit in page.fits),
        vessel_code=page.fit.vessel.code,
        vessel_id=page.fit.vessel.pk,
        recipes=tuple(_recipe(one, page.recipe) for one in page.recipes),
        specifications=tuple(
            Option(
                version.pk,
                f"{version.specification.code} version {version.number}",
                version.specification.name,
                page.specification is not None and version.pk == page.specification.pk,
            )
            for version in page.specifications
        ),
        plan=plan_view(page.plan, now, system) if page.plan else None,
        digest=page.plan_digest,
        anion_vessels=tuple(_anion_vessel(one, page, system) for one in page.anion_vessels),
        anion_note=_anion_note(page),
        load_note=_load_note(page),
        worked=worked_rows(page.chosen.worked if page.chosen else None, system),
        worked_note=worked_note(page.chosen.worked if page.chosen else None),
        reasons=tuple(_reasons(page, len(chosen))),
    )


def worked_rows(worked: FrozenSpecification | None, system: str) -> tuple[WorkedRow, ...]:
    """Every figure with the specifications it comes from."""
    if worked is None:
        return ()
    return tuple(
        WorkedRow(
            origin.what,
            f"{origin.rule} {origin.words or both(origin.value or 0.0, origin.kind, system)}",
            joined(origin.sources),
        )
        for origin in worked.origins
    )


def worked_note(worked: FrozenSpecification | None) -> str:
    """ "Q-MB version 1 for all, Q-MBX version 2 for Harrow Mill": "" where one version says all."""
    if worked is None:
        return ""
    return joined(
        f"{part.name} for {joined(part.customers) if part.customers else 'all'}" for part in worked.parts
    )


def _name(page: StartPage) -> str:
    return f"{lower_first(family_short(page.pool.resin_type.family))}, class {page.pool.segregation_class}"


def _sentence(page: StartPage, count: int, system: str) -> str:
    """ "12 tanks fit C2: 832 L of 555 to 850 L." or what is missing or too much."""
    vessel = page.fit.vessel
    low, high = vessel.bed_volume_min_m3, vessel.bed_volume_max_m3
    if not count:
        return f"No tank is chosen. {vessel.code} takes {_amount(low, system)} to {_amount(high, system)}."
    seen, tanks = page.chosen_volume_m3, sentence_case(counted(count, "tank"))
    if seen < low - 1e-9:
        return f"{tanks}, {_amount(seen, system)}: {_amount(low - seen, system)} too few for {vessel.code}."
    if seen > high + 1e-9:
        return f"{tanks}, {_amount(seen, system)}: {_amount(seen - high, system)} too much for {vessel.code}."
    fits = "fits" if count == 1 else "fit"
    return f"{tanks} {fits} {vessel.code}: {_amount(seen, system)} of {_amount(low, system)} to {_amount(high, system)}."


def _amount(value: float, system: str) -> str:
    return units.format_quantity(value, "resin_volume", system)


def _bar(page: StartPage, count: int, system: str) -> LimitBar:
    vessel = page.fit.vessel
    fits = vessel.bed_volume_min_m3 - 1e-9 <= page.chosen_volume_m3 <= vessel.bed_volume_max_m3 + 1e-9
    return limit_bar(
        caption=f"{sentence_case(counted(count, 'tank'))} into {vessel.code}",
        value=page.chosen_volume_m3,
        kind="resin_volume",
        low=vessel.bed_volume_min_m3,
        high=vessel.bed_volume_max_m3,
        expects="reach",
        verdict=f"fits {vessel.code}" if fits else "",
        system=system,
    )


# --- tanks ----------------------------------------------------------------------------------------------------------
def _tank(tank: TankChoice, fit: VesselFit, now: datetime, system: str) -> TankRow:
    visit = tank.visit
    late = visit.due_at is not None and visit.due_at < now
    return TankRow(
        id=visit.pk,
        serial=visit.tank.serial,
        volume=both(visit.resin_volume_m3, "resin_volume", system),
        customer=visit.customer.name,
        why=_why(tank, fit, now, system),
        is_in=tank.is_in,
        is_late=late,
    )


def _why(tank: TankChoice, fit: VesselFit, now: datetime, system: str) -> str:
    """Why a tank is in or out: by the suggestion, by hand, or because it cannot."""
    visit, choice = tank.visit, tank.choice
    if tank.unfit:
        return tank.unfit
    since = f"since {moment_words(visit.received_at, now)}"
    promise = f"promised {moment_words(visit.due_at, now)}" if visit.due_at else f"no promise, {since}"
    if choice is None:
        return sentence_case(promise)
    if tank.is_in:
        return sentence_case(promise) if choice.is_in else f"Taken in by hand; {promise}"
    if choice.is_in:
        return f"Left out by hand; {promise}"
    room = _amount(choice.room_left_m3, system)
    return f"{fit.vessel.code} has {room} left when its turn comes; {promise}"


# --- choices --------------------------------------------------------------------------------------------------------
def _vessel(fit: VesselFit, chosen: VesselFit, system: str) -> Option:
    note = _vessel_note(fit.vessel, fit.reasons_against, system)
    return Option(fit.vessel.pk, fit.vessel.code, note, fit.vessel.pk == chosen.vessel.pk)


def _vessel_note(vessel: Vessel, reasons_against: Sequence[str], system: str) -> str:
    """Its bed volumes, whether it is free, and what stood in it last."""
    last = Chemical(vessel.last_chemical).label.lower() if vessel.last_chemical else ""
    parts = [f"{_amount(vessel.bed_volume_min_m3, system)} to {_amount(vessel.bed_volume_max_m3, system)}"]
    parts.append(joined(one.rstrip(".") for one in reasons_against) if reasons_against else "free")
    if last:
        parts.append(f"last {last}, {'flushed' if vessel.is_flushed else 'not flushed'}")
    if vessel.last_segregation_class:
        parts.append(f"last class {vessel.last_segregation_class}")
    return ", ".join(parts)


def _recipe(offered: OfferedRecipe, chosen: RecipeVersion | None) -> Option:
    version = offered.version
    return Option(
        version.pk,
        recipe_label(version),
        _recipe_note(version),
        chosen is not None and version.pk == chosen.pk,
        " ".join(offered.reasons_against),
    )


def recipe_label(version: RecipeVersion) -> str:
    """Code and version; what is no regeneration says so: "CL-ORG-OH1 version 1: cleaning"."""
    purpose = purpose_of(version)
    label = f"{version.recipe.code} version {version.number}"
    return label if purpose is Purpose.REGENERATION else f"{label}: {purpose.value}"


def _recipe_note(version: RecipeVersion) -> str:
    """Its name; what is no regeneration says what it is for."""
    purpose = purpose_of(version)
    if purpose is Purpose.REGENERATION:
        return version.recipe.name
    return f"{sentence_case(purpose.label)}. {version.recipe.name}"


def _anion_vessel(one: AnionVessel, page: StartPage, system: str) -> Option:
    vessel = one.vessel
    is_chosen = page.anion_vessel is not None and vessel.pk == page.anion_vessel.pk
    return Option(vessel.pk, vessel.code, _vessel_note(vessel, one.reasons_against, system), is_chosen)


def _anion_note(page: StartPage) -> str:
    if not page.needs_anion_vessel:
        return ""
    if not page.anion_vessels:
        return "No vessel is made for this anion resin and class. A supervisor adds one under Set-up, or another recipe is chosen."
    if not any(one.may_start for one in page.anion_vessels):
        return "None is free now."
    return "The anion resin is moved there at the interface cut, and comes back when the legs are joined."


def _load_note(page: StartPage) -> str:
    if ResinFamily(page.pool.resin_type.family).is_exchanged:
        return ""
    if page.feed is None:
        return "No feed analysis is on record, so the volume says nothing yet. It is written under Set-up, Plant."
    return f"With the feed analysis ({page.feed.basis}) it says what the resin holds. Left empty, the operating capacity is taken."


def _reasons(page: StartPage, count: int) -> Iterable[str]:
    """Everything that stands against this start, the plainest first."""
    yield from page.fit.reasons_against
    if not count:
        yield "No tank is chosen."
    if page.recipe is None:
        yield f"No recipe is approved for {page.pool.family.label}, grade {page.pool.grade}."
    if page.specification is None:
        yield f"No specification is approved for {page.pool.family.label}, grade {page.pool.grade}."
    if page.specification_refused:
        yield page.specification_refused
    if page.needs_anion_vessel and page.anion_vessel is None:
        yield "No vessel is chosen for the anion leg."
    yield from (
        reason
        for one in page.anion_vessels
        if page.anion_vessel is not None and one.vessel.pk == page.anion_vessel.pk
        for reason in one.reasons_against
    )
    if page.plan is not None:
        locked = page.fit.vessel.is_locked_out
        yield from (c.sentence for c in page.plan.blockers if not (locked and c.code == "vessel_lock_out"))
