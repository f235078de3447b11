"""How much resin a batch has: what went in by lot, what was topped up and lost, what it made and what is left in its vessel.

Volumes are in the exhausted form, except where a name says otherwise; tanks are filled in the regenerated form.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Sum

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, BatchTank
from regenplant.core.process.lifecycle import BatchState, VisitState, label
from regenplant.core.process.resin_lots import forms_with_volume
from regenplant.core.process.vocabulary import IonicForm, StepKind
from regenplant.resins import bodies
from regenplant.resins.elsewhere import Standing
from regenplant.resins.models import LotMovement, ResinLot

GONE = (BatchState.SCRAPPED.value,)
USABLE = (BatchState.RELEASED.value,)
PARTING = (StepKind.SEPARATE, StepKind.FLOAT, StepKind.CUT)
"""From here on the two resins of a mixed bed lie apart, and nothing is added."""


@dataclass(frozen=True, slots=True)
class ResinBalance:
    """The resin of one batch from the tanks in to the tanks out, in the exhausted form [m^3]."""

    came_in_m3: float
    topped_up_m3: float
    lost_in_bed_m3: float
    """Found missing when the bed was counted at a top-up."""
    filled_m3: float
    kept_m3: float
    cut_m3: float
    """Of a mixed bed: drawn off at the interface and not joined again."""
    is_closed: bool
    """Its tanks are filled, so that what is missing is lost."""

    @property
    def missing_m3(self) -> float:
        """What came in and went nowhere that is written down; below zero where counts differ. Of a batch that is not filled
        yet it still stands in the vessel."""
        known = self.filled_m3 + self.kept_m3 + self.cut_m3 + self.lost_in_bed_m3
        return self.came_in_m3 + self.topped_up_m3 - known

    @property
    def lost_frac(self) -> float:
        """Loss of this cycle, of what came in."""
        return (self.missing_m3 + self.lost_in_bed_m3) / self.came_in_m3 if self.came_in_m3 else 0.0


def counted_bed_m3(batch: Batch) -> float:
    """The bed as it was counted last: as loaded, or at the last top-up [m^3, exhausted form]."""
    last = batch.top_ups.order_by("topped_at", "pk").last()
    return last.bed_m3 if last is not None else loaded_m3(batch)


def loaded_m3(batch: Batch) -> float:
    """The bed as it was planned and loaded [m^3, exhausted form]; as counted where the growth of its form is not on record."""
    if IonicForm(batch.resin_volume_form) not in forms_with_volume(bodies.family_of(batch.resin_type)):
        return batch.resin_volume_m3
    return bodies.exhausted_m3(batch.resin_type, batch.resin_volume_m3, batch.resin_volume_form)


def by_lot(batch: Batch, volumes: dict[int, float]) -> tuple[dict[int, float], float]:
    """What is in the bed by lot, and the whole bed, when it is made into a lot.

    ``volumes`` are those that came in. Losses found at a top-up took of all alike; what was added counts whole. The top-ups of
    failed batches that this one reworks count too.
    """
    line = [batch]
    while (parent := line[-1].parent) is not None and parent.lot_id is None:
        line.append(parent)
    whole = sum(volumes.values())
    if line[-1].parent is None:
        whole = max(whole, loaded_m3(line[-1]))
    for one in reversed(line):
        for top_up in one.top_ups.order_by("topped_at", "pk"):
            kept = (top_up.bed_m3 - top_up.added_m3) / top_up.before_m3
            volumes = {pk: volume * kept for pk, volume in volumes.items()}
            volumes[top_up.lot_id] = volumes.get(top_up.lot_id, 0.0) + top_up.added_m3
            whole = whole * kept + top_up.added_m3
    return volumes, whole


def made_regenerated_m3(batch: Batch) -> float:
    """What the bed gives [m^3, regenerated form]: of a mixed bed both resins without what was cut."""
    plan = plan_of(batch)
    joined = next((step for step in plan.steps if "joined_m3" in step.figures), None)
    if joined is not None:
        return joined.value("joined_m3")
    return counted_bed_m3(batch) * (1.0 + plan.request.resin.swelling_frac)


def filled_regenerated_m3(batch: Batch) -> float:
    """What is in tanks by the record [m^3, regenerated form]."""
    links = batch.tank_links.filter(is_filled=True).select_related("visit")
    return sum(link.filled_m3 or 0.0 for link in links)


def kept_m3(batch: Batch) -> float:
    """What was kept of it in the store [m^3, exhausted form]."""
    kept = LotMovement.objects.filter(kind=LotMovement.Kind.KEPT, reference=batch.number)
    return float(kept.aggregate(Sum("exhausted_m3"))["exhausted_m3__sum"] or 0.0)


def balance_of(batch: Batch) -> ResinBalance:
    """The resin of a batch that was started, from its tanks in to its tanks out."""
    swelling = plan_of(batch).request.resin.swelling_frac
    top_ups = list(batch.top_ups.all())
    whole = counted_bed_m3(batch)
    made = made_regenerated_m3(batch) / (1.0 + swelling)
    return ResinBalance(
        came_in_m3=loaded_m3(batch),
        topped_up_m3=sum(one.added_m3 for one in top_ups),
        lost_in_bed_m3=sum(one.lost_m3 for one in top_ups),
        filled_m3=filled_regenerated_m3(batch) / (1.0 + swelling),
        kept_m3=kept_m3(batch),
        cut_m3=max(0.0, whole - made) if abs(whole - made) > 1e-9 else 0.0,
        is_closed=batch.state in (BatchState.FILLED, BatchState.RELEASED),
    )


# --- for the room of resins -------------------------------------------------------------------------------------------
def in_vessels(lot_ids: Sequence[int]) -> Iterable[Standing]:
    """Resin of lots in the vessels of batches: what was emptied out of tanks, and what a passed batch has not filled yet."""
    emptied = (
        BatchTank.objects.filter(
            is_current=True,
            visit__state=VisitState.EMPTIED.value,
            visit__tank__resin_lot__in=lot_ids,
            batch__lot__isnull=True,
        )
        .exclude(batch__state__in=GONE)
        .order_by("batch__number")
        .values_list("visit__tank__resin_lot", "batch__number", "batch__vessel__code")
    )
    for lot_id, number, vessel, volume in emptied.annotate(total=Sum("resin_volume_m3")):
        yield Standing(lot_id, "batch", number, f"in vessel {vessel}", volume, is_in_plant=True)
    passed = Batch.objects.filter(lot__in=lot_ids, state=BatchState.PASSED.value)
    for batch in passed.select_related("vessel", "resin_type"):
        swelling = plan_of(batch).request.resin.swelling_frac
        left = (made_regenerated_m3(batch) - filled_regenerated_m3(batch)) / (1.0 + swelling)
        if left > bodies.NOTHING_M3 and batch.lot_id is not None:
            where = f"in vessel {batch.vessel.code}, being filled"
            yield Standing(batch.lot_id, "batch", batch.number, where, left, is_in_plant=True)


def stops(lot: ResinLot) -> Iterable[str]:
    """Resin kept of a batch is used once that batch is released, and never when it failed."""
    for batch in lot.batches.exclude(state__in=USABLE):
        yield (
            f"{lot.code} was made by batch {batch.number}, which is {label(BatchState(batch.state))}. Its resin is used once the batch is "
            "released."
        )
