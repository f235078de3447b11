"""What a coming shift is told of the plan of the day."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone

from regenplant.planning.deviations import deviations
from regenplant.planning.members import members
from regenplant.planning.selectors import waiting_batches
from regenplant.plant.handed_on import LiveLine, LiveSection

AHEAD = timedelta(hours=12)
"""How far ahead planned batches are named."""


def plan_section(now: datetime) -> LiveSection:
    """Where reality has left the plan, then the planned batches of the next hours."""
    lines = [
        LiveLine(
            one.sentence,
            "Plan again, or start what can be started.",
            needs_person=True,
            kind="planned_batch" if one.planned else "day_plan",
            key=one.planned,
        )
        for one in deviations(now)
    ]
    lines += [
        LiveLine(
            f"{row.code} begins in {row.vessel.code} {timezone.localtime(row.starts_at):%Y-%m-%d %H:%M}.",
            f"{row.resin_type.code}, class {row.segregation_class}, {len(members(row))} tanks.",
            kind="planned_batch",
            key=row.code,
        )
        for row in waiting_batches()
        if row.starts_at <= now + AHEAD
    ]
    return LiveSection(
        "plan", "Day plan", tuple(lines), "No planned batch waits, and nothing has left the plan."
    )
