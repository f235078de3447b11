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
from regenplant.core.process.vocabulary import Leg, ResinFamily, StepKind
from regenplant.resins.among import among
from regenplant.resins.models import LotMovement

CLOSED = (BatchState.FILLED.value, BatchState.RELEASED.value)
"""Only of these is what is missing lost; of others it stands in the vessel."""


@dataclass(frozen=True, slots=True)
class PartAtCut:
    """One resin of a mixed bed as it was counted below or above the cut, beside its share of the bed as that was loaded and topped up."""

    leg: Leg
    counted_m3: float
    """In the form the record of the cut names [m^3]."""
    composed_m3: float
    """What its share comes to in the same form, less its half of the cut [m^3]."""

    @property
    def short_frac(self) -> float:
        """Short of its share of the bed [-]; below zero where there is more."""
        return (self.composed_m3 - self.counted_m3) / self.composed_m3


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
    parts: tuple[PartAtCut, ...] = ()
    """Of a mixed bed whose layers were both counted at its cut; () for other beds, and where one was not."""

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
    cation, anion = _at_cut(keys) if mixed else ({}, {})
    found = {}
    for pk, batch in batches.items():
        if pk not in filled or batch.lot_id is None:
            continue
        total, at = filled[pk]
        of_bed = mixed.get(pk, _Bed(batch.resin_type.swelling_frac))
        swelling, joined_m3 = of_bed.swelling_frac, of_bed.joined_m3
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
            parts=_parts(
                of_bed, (cation.get(pk), anion.get(pk)), (came_in + (added.get(pk) or 0.0)) / planned
            ),
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


def _at_cut(keys: RawSQL) -> tuple[dict[int, float], dict[int, float]]:
    """By batch: cation resin below the cut and anion resin above it, as they stand written last."""
    found: dict[str, dict[int, float]] = {"cation_volume": {}, "anion_volume": {}}
    rows = StepEntry.objects.filter(
        step__batch__in=keys, step__kind=StepKind.CUT.value, key__in=list(found), value__isnull=False, replaced_by__isnull=True
    )  # fmt: skip
    for key, batch, value in rows.order_by("entered_at", "pk").values_list("key", "step__batch", "value"):
        if value is not None:
            found[key][batch] = value
    return found["cation_volume"], found["anion_volume"]


def _topped_up(keys: RawSQL) -> tuple[dict[int, float], dict[int, float]]:
    """By batch: what was added, and the bed as it was counted last after it [m^3]."""
    added: dict[int, float] = {}
    beds: dict[int, float] = {}
    rows = BatchTopUp.objects.filter(batch__in=keys).order_by("topped_at", "pk")
    for batch, volume, bed in rows.values_list("batch", "added_m3", "bed_m3"):
        added[batch] = added.get(batch, 0.0) + volume
        beds[batch] = bed
    return added, beds


@dataclass(frozen=True, slots=True)
class _Bed:
    """What the plan of a batch says of its bed."""

    swelling_frac: float
    joined_m3: float | None = None
    """What it gives after its cut [m^3, regenerated form]; None where nothing is cut."""
    layers_m3: tuple[float, float] | None = None
    """Cation resin below the cut and anion resin above it, as planned [m^3]."""


def _of_mixed(batches: Iterable[Batch]) -> dict[int, _Bed]:
    """By batch of a mixed bed: what its plan says of the bed."""
    keys = [row.pk for row in batches if ResinFamily(row.resin_type.family).is_mixed]
    rows = Batch.objects.filter(pk__in=among(keys)).order_by() if keys else ()
    return {row.pk: _bed_of(plan_of(row)) for row in rows}


def _bed_of(plan: BatchPlan) -> _Bed:
    joined = next((step.value("joined_m3") for step in plan.steps if "joined_m3" in step.figures), None)
    cut = next((step for step in plan.steps if "lower_layer_m3" in step.figures), None)
    layers = None if cut is None else (cut.value("lower_layer_m3"), cut.value("upper_layer_m3"))
    return _Bed(plan.request.resin.swelling_frac, joined, layers)


def _parts(bed: _Bed, counted: tuple[float | None, float | None], scale: float) -> tuple[PartAtCut, ...]:
    """``scale``: of the planned bed, how much came in and was added."""
    cation, anion = counted
    if bed.layers_m3 is None or cation is None or anion is None or min(*bed.layers_m3, scale) <= 0.0:
        return ()
    lower, upper = bed.layers_m3
    return PartAtCut(Leg.CATION, cation, lower * scale), PartAtCut(Leg.ANION, anion, upper * scale)
