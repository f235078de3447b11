"""How long a step really worked, and whether that can be. The limits are this program's own choice; a plant may set others."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from regenplant.batches.models import Hold, StepRun

SOONEST_FRAC = 0.20
"""Share of the planned time below which the end of a step with a chemical is asked about."""
LONGEST_FRAC, LONGEST_OVER_S = 1.5, 300.0
"""A step with a chemical that took longer than this share of its planned time, and this much over it [s], is a deviation."""


def stood_still(holds: Iterable[Hold], start: datetime, end: datetime) -> timedelta:
    """How long of this time the batch was held."""
    still = timedelta(0)
    for hold in holds:
        low, high = max(start, hold.held_at), min(end, hold.resumed_at or end)
        still += max(timedelta(0), high - low)
    return still


def worked_s(step: StepRun, holds: Iterable[Hold], end: datetime) -> float:
    """From its start to ``end`` without the time it was held [s]; 0 for a step that was not started."""
    if step.started_at is None or end <= step.started_at:
        return 0.0
    return (end - step.started_at - stood_still(holds, step.started_at, end)).total_seconds()


def is_too_short(worked: float, planned_s: float) -> bool:
    """Whether a step ended sooner than its chemical can have flowed. Both in seconds."""
    return worked < SOONEST_FRAC * planned_s


def is_too_long(worked: float, planned_s: float) -> bool:
    """Whether the chemical stood much longer than planned. Both in seconds."""
    return worked > max(LONGEST_FRAC * planned_s, planned_s + LONGEST_OVER_S)


def span_words(seconds: float) -> str:
    """ "3 h 5 min", "12 min", "40 s"."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{minutes} min" if minutes else f"{rest} s"
