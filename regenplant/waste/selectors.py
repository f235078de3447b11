"""What stands in the waste tanks, what came and went, and what is still coming."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet, Sum

from regenplant.batches.models import Batch, StepRun
from regenplant.batches.routes import destination_of
from regenplant.batches.waste_room import UNDER_WAY, waste_by_step
from regenplant.core.process.drains import Destination
from regenplant.core.process.lifecycle import StepState
from regenplant.plant.models import WasteTank
from regenplant.waste.held import TankStanding, held_after, held_in, standing, standings
from regenplant.waste.models import StepDrain, WasteMovement

__all__ = [
    "Coming",
    "TankStanding",
    "coming",
    "drained_frac",
    "drained_fracs",
    "held_after",
    "held_in",
    "last_movement",
    "last_ph",
    "movements_of",
    "standing",
    "standings",
    "waste_tanks",
    "went_where",
]


def waste_tanks() -> QuerySet[WasteTank]:
    """The waste tanks, by code."""
    return WasteTank.objects.order_by("code")


def last_movement(tank: WasteTank) -> WasteMovement | None:
    """The newest movement of a tank; None before the first."""
    return WasteMovement.objects.filter(tank=tank).order_by("-number").first()


def movements_of(tank: WasteTank) -> QuerySet[WasteMovement]:
    """What came into a tank and left it, newest first."""
    return (
        WasteMovement.objects.filter(tank=tank)
        .select_related("batch", "moved_by", "instrument", "movement__lot")
        .order_by("-number")
    )


def last_ph(tank: WasteTank) -> WasteMovement | None:
    """The newest reading with a pH that counts, after which nothing else came in; None where there is none."""
    changed = (
        WasteMovement.objects.filter(
            tank=tank, kind__in=(WasteMovement.Kind.DRAIN, WasteMovement.Kind.TREATMENT)
        )
        .order_by("-number")
        .values_list("number", flat=True)
        .first()
    )
    return (
        WasteMovement.objects.filter(
            tank=tank, ph__isnull=False, instrument_was_valid=True, number__gt=changed or 0
        )
        .order_by("-number")
        .first()
    )


@dataclass(frozen=True, slots=True)
class Coming:
    """What one running or waiting step still sends to the waste tank."""

    batch: Batch
    step: StepRun
    volume_m3: float
    """Of the whole step as planned [m^3]."""
    elapsed_frac: float
    """How far the step has run, by the clock; 0 for one that waits."""

    @property
    def so_far_m3(self) -> float:
        """What of it has come by now, by the clock [m^3]; the books count it when the step ends."""
        return self.volume_m3 * self.elapsed_frac


def coming(now: datetime) -> list[Coming]:
    """What batches under way still send to the waste tank, running steps first. One query."""
    steps = StepRun.objects.filter(
        batch__state__in=[state.value for state in UNDER_WAY],
        state__in=(StepState.WAITING, StepState.RUNNING),
    ).select_related("batch__vessel", "batch__anion_vessel")
    found = []
    for step in steps:
        volume = waste_by_step(step.batch).get(step.number, 0.0)
        if volume <= 0.0 or destination_of(step, step.batch) is not Destination.NEUTRALIZATION:
            continue
        found.append(Coming(step.batch, step, volume, _elapsed(step, now)))
    return sorted(
        found, key=lambda one: (one.step.state != StepState.RUNNING, one.batch.number, one.step.number)
    )


def _elapsed(step: StepRun, now: datetime) -> float:
    if step.state != StepState.RUNNING or step.started_at is None or step.planned_duration_s <= 0.0:
        return 0.0
    return min(max((now - step.started_at).total_seconds() / step.planned_duration_s, 0.0), 1.0)


def drained_frac(batch: Batch) -> float:
    """How much of its planned waste a batch has drained already, 0 to 1, wherever it went."""
    return drained_fracs([batch]).get(batch.pk, 0.0)


def drained_fracs(batches: Iterable[Batch]) -> Mapping[int, float]:
    """``drained_frac`` of several batches by their key. One query."""
    wanted = {batch.pk: sum(waste_by_step(batch).values()) for batch in batches}
    gone = (
        StepDrain.objects.filter(batch__in=wanted).order_by().values("batch").annotate(whole=Sum("waste_m3"))
    )
    return {
        row["batch"]: min(row["whole"] / wanted[row["batch"]], 1.0)
        for row in gone
        if wanted[row["batch"]] > 0.0
    }


def went_where(start: datetime, end: datetime) -> dict[str, float]:
    """Volume with chemical by destination, drained from ``start`` on and before ``end`` [m^3]."""
    rows = (
        StepDrain.objects.filter(drained_at__gte=start, drained_at__lt=end)
        .order_by()
        .values("destination")
        .annotate(whole=Sum("waste_m3"))
    )
    return {row["destination"]: row["whole"] for row in rows}
