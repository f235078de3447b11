"""Near misses at a change of shift: each that waits for its answer, or for what follows from it."""

from __future__ import annotations

from datetime import datetime

from regenplant.plant.handed_on import LiveLine, LiveSection
from regenplant.plant.selectors import plant_day
from regenplant.safety.models import NearMiss
from regenplant.safety.selectors import open_near_misses


def near_miss_section(now: datetime) -> LiveSection:
    """One line for each open near miss. One query."""
    lines = tuple(_line(row, now) for row in open_near_misses())
    return LiveSection("near_misses", "Near misses", lines, "No near miss waits.")


def _line(row: NearMiss, now: datetime) -> LiveLine:
    if row.answered_at is None:
        words, needs = f"{row.what} Waits for an answer.", True
    else:
        words = f"{row.follow_up} By {row.due_on}."
        needs = row.due_on is not None and row.due_on < plant_day(now)
    return LiveLine(
        f"{row.number}, {row.get_kind_display()}, at {row.spot}.",
        words,
        is_hazard=row.answered_at is None,
        needs_person=needs,
        kind="near_miss",
        key=row.number,
    )
