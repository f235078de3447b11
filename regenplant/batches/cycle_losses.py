"""What each regeneration lost of the resin, from what people wrote down: loaded, topped up, filled, kept. Works out, writes nothing.

Volumes are in the exhausted form. What came in is the volume counted when the vessel was loaded, where somebody counted, else the
planned one. Batches of many lots are read together: seven queries at most, whatever their number.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Max, Sum
from django.db.models.expressions import RawSQL
from django.db.models.functions import Coalesce

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, BatchTank, BatchTopUp, StepEntry
from regenplant.batches.resin_volumes import loaded_m3
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.vocabulary import ResinFamily, StepKind
from regenplant.resins.among import among
from regenplant.resins.models import LotMovement

CLOSED = (BatchState.FILLED.value, BatchState.RELEASED.value)
"""Only of these is what is missing lost; of others it stands in the vessel."""


@dataclass(frozen=True, slots=True)
class BatchLoss:
    """The resin of one batch that filled its tanks, all in the exhausted form [m^3]."""

    number: str
    lot_id: int
    """The lot it made."""
    filled_at: datetime
    came_in_m3: float
    is_counted: bool
    """Whether what came in was counted when the vessel was loaded; else it is the planned volume."""
    topped_up_m3: float
    filled_m3: float
    kept_m3: float
    cut_m3: float
    """Of a mixed bed: drawn off at the interface and not joined again."""
    in_catcher_m3: float | None
    """Found in the resin catcher at backwash, as counted; None where nobody wrote it down. Part of what was lost."""

    @property
    def out_m3(self) -> float:
        return self.filled_m3 + self.kept_m3 + self.cut_m3

    @property
    def lost_m3(self) -> float:
        """Below zero where more was counted out than in."""
        return self.came_in_m3 + self.topped_up_m3 - self.out_m3


def losses_of(lot_ids: Collection[int]) -> dict[int, BatchLoss]:
    """By lot: what the batch that made it lost. Lots that no closed batch made are left out, and so is exchanged carbon."""
    made = Batch.objects.filter(lot__in=among(lot_ids), state__in=CLOSED).exclude(
        resin_type__family=ResinFamily.CARBON.value
    )
    batches = {
        row.pk: row for row in made.select_related("resin_type").defer("plan_text", "specification_text")
    }
    if not batches:
        return {}
    keys = among(batches)
    filled = _filled(keys)
    added, beds = _topped_up(keys)
    mixed = _of_mixed(batches.values())
    moves = LotMovement.objects.filter(kind=LotMovement.Kind.KEPT, lot__in=among(lot_ids)).order_by()
    kept = dict(moves.values_list("reference").annotate(Sum("exhausted_m3")))
    loaded = _written(keys, StepKind.LOAD, "resin_volume")
    caught = _written(keys, StepKind.BACKWASH, "resin_lost")
    found = {}
    for pk, batch in batches.items():
        if pk not in filled or batch.lot_id is None:
            continue
        total, at = filled[pk]
        swelling, joined_m3 = mixed.get(pk, (batch.resin_type.swelling_frac, None))
        planned, counted = loaded_m3(batch), loaded.get(pk)
        came_in = planned if counted is None else planned * counted / batch.resin_volume_m3
        bed = beds.get(pk, planned)
        found[batch.lot_id] = BatchLoss(
            number=batch.number,
            lot_id=batch.lot_id,
            filled_at=at,
            came_in_m3=came_in,
            is_counted=counted is not None,
            topped_up_m3=added.get(pk) or 0.0,
            filled_m3=total / (1.0 + swelling),
            kept_m3=kept.get(batch.number) or 0.0,
            cut_m3=max(0.0, bed - joined_m3 / (1.0 + swelling)) if joined_m3 is not None else 0.0,
            in_catcher_m3=caught.get(pk),
        )
    return found


def _filled(keys: RawSQL) -> dict[int, tuple[float, datetime]]:
    """By batch: what is in tanks [m^3, regenerated form], and when the last was filled."""
    rows = BatchTank.objects.filter(batch__in=keys, is_filled=True).order_by().values_list("batch")
    found = rows.annotate(
        total=Sum(Coalesce(F("filled_volume_m3"), F("visit__refilled_volume_m3"))),
        at=Max(Coalesce(F("filled_at"), F("visit__refilled_at"))),
    )
    return {batch: (total, at) for batch, total, at in found if total}


def _written(keys: RawSQL, kind: StepKind, key: str) -> dict[int, float]:
    """By batch: what stands written in steps of a kind, together; batches where nobody wrote it are left out."""
    rows = StepEntry.objects.filter(
        step__batch__in=keys, step__kind=kind.value, key=key, value__isnull=False, replaced_by__isnull=True
    )
    return dict(rows.order_by().values_list("step__batch").annotate(Sum("value")))


def _topped_up(keys: RawSQL) -> tuple[dict[int, float], dict[int, float]]:
    """By batch: what was added, and the bed as it was counted last after it [m^3]."""
    added: dict[int, float] = {}
    beds: dict[int, float] = {}
    rows = BatchTopUp.objects.filter(batch__in=keys).order_by("topped_at", "pk")
    for batch, volume, bed in rows.values_list("batch", "added_m3", "bed_m3"):
        added[batch] = added.get(batch, 0.0) + volume
        beds[batch] = bed
    return added, beds


def _of_mixed(batches: Iterable[Batch]) -> dict[int, tuple[float, float | None]]:
    """By batch of a mixed bed: its swelling [-], and what it gives after its cut [m^3, regenerated form]; None where nothing is cut."""
    keys = [row.pk for row in batches if ResinFamily(row.resin_type.family).is_mixed]
    rows = Batch.objects.filter(pk__in=among(keys)).order_by() if keys else ()
    return {row.pk: _swelling_and_joined(plan_of(row)) for row in rows}


def _swelling_and_joined(plan: BatchPlan) -> tuple[float, float | None]:
    joined = next((step.value("joined_m3") for step in plan.steps if "joined_m3" in step.figures), None)
    return plan.request.resin.swelling_frac, joined
