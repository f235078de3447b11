"""The day plan of the story: working times as the hall has them, a plan made shortly before now, tried otherwise in a copy, accepted."""

from __future__ import annotations

from datetime import datetime

from regenplant.planning import services as planning
from regenplant.planning.deciding import work_out
from regenplant.planning.figures import HOUR, PlanningFigures, WorkingTime
from regenplant.planning.models import Decision
from regenplant.planning.search import search
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

STEPS = 120
"""Of the search: the same plan each time, and soon found."""
QUICK_STEPS = 30
EVERY_DAY = tuple(range(7))
HALL = PlanningFigures(
    working_times=(
        WorkingTime("early", 6 * HOUR, 14 * HOUR, operators=2, technicians=1, second_people=1, weekdays=EVERY_DAY),
        WorkingTime("late", 14 * HOUR, 22 * HOUR, operators=2, technicians=1, second_people=1, weekdays=EVERY_DAY),
    )
)  # fmt: skip


def say_when_the_hall_works(stage: Stage, at: datetime) -> Script:
    """The planner writes down the shifts that the story is run in."""
    yield at
    planning.record_figures(
        by=stage.by("wend", at),
        figures=HALL,
        reason="Two shifts, at the weekend too, with a technician and a second person in both",
    )


def plan_the_day(stage: Stage, at: datetime) -> Script:
    """The planner makes a plan, sees in a copy what it saves to leave a tank of the largest batch out, and accepts the first."""
    yield at
    by = stage.by("wend", at)
    number = planning.begin_plan(by=by, seconds=30).result.number
    row = search(number, steps=STEPS)
    assert row is not None
    if row.plan is None or not row.plan["batches"]:
        return  # nothing waits that can be served at this hour
    copy = planning.copy_plan(by=by, number=number, name="One tank less").result
    largest = max(row.plan["batches"], key=lambda batch: len(batch["tanks"]))
    chosen = work_out(
        number=copy.number,
        kind=Decision.Kind.LEAVE_OUT,
        batch=largest["id"],
        tanks=largest["tanks"][:1],
        steps=QUICK_STEPS,
    )
    planning.keep_decision(by=by, **chosen)
    planning.accept_plan(by=by, number=number)
