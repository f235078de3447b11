"""Watch levels and shift times in force: the newest that was recorded, else common practice."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant.core.process.use_audit import USUAL_SHIFTS
from regenplant.core.process.watch_measures import Watched
from regenplant.use.models import MeasureLevel, WatchLevels


@dataclass(frozen=True, slots=True)
class Watch:
    """From which share of variance a batch and a period are marked; when shifts begin."""

    batch_frac: float
    period_frac: float
    shifts: tuple[str, ...]
    is_own: bool
    """The plant's own; else common practice of the trade (no limit of the process)."""


WATCH_BUILT_IN = Watch(0.05, 0.02, USUAL_SHIFTS, is_own=False)
"""±5 % for a batch, ±2 % for a week: common practice, from memory of the trade; the plant writes its own."""


def watch_now() -> Watch:
    """In force now. One query."""
    return _of(WatchLevels.objects.first())


def watch_at(moment: datetime) -> Watch:
    """In force at a moment: the shift a batch was started in stays what it was. One query."""
    return _of(WatchLevels.objects.filter(recorded_at__lte=moment).first())


def _of(row: WatchLevels | None) -> Watch:
    if row is None:
        return WATCH_BUILT_IN
    return Watch(row.batch_frac, row.period_frac, tuple(row.shifts), is_own=True)


def measure_levels() -> dict[Watched, MeasureLevel | None]:
    """The plant's own level of each measure in force now; None where the usual one holds. One query."""
    newest: dict[str, MeasureLevel] = {}
    for row in MeasureLevel.objects.select_related("recorded_by"):
        newest.setdefault(row.measure, row)
    return {watched: newest.get(watched.value) for watched in Watched}
