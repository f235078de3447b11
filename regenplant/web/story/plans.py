"""The day plan of the story: working times as the hall has them, a plan made shortly before now, tried otherwise in a copy, accepted."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta

from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.planning import services as planning
from regenplant.planning.deciding import work_out
from regenplant.planning.figures import HOUR, PlanningFigures, WorkingTime
from regenplant.planning.models import Decision
from regenplant.planning.search import search
from regenplant.tanks import services as tanks
from regenplant.tanks.models import TankVisit
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

STEPS = 120
"""Of the search: the same plan each time, and soon found."""
QUICK_STEPS = 30
TANKS_ON_THE_TRUCK = 3
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


def expect_a_truck(stage: Stage, at: datetime) -> None:
    """The planner writes down what a driver said on the telephone: tanks of one customer that are on their way, and that its contract
    puts them before all others."""
    trips = TankVisit.objects.filter(tank__is_retired=False).exclude(
        tank__visits__in=TankVisit.objects.exclude(state=VisitState.SHIPPED)
    )
    last: dict[int, TankVisit] = {
        visit.tank_id: visit for visit in trips.order_by("shipped_at").select_related("customer")
    }
    trucks: dict[tuple[int, int], list[TankVisit]] = defaultdict(list)
    for visit in last.values():
        if visit.segregation_class == SegregationClass.INDUSTRIAL:
            trucks[visit.resin_type_id, visit.customer_id].append(visit)
    if not trucks:
        return  # every tank is here
    coming = max(trucks.values(), key=len)[:TANKS_ON_THE_TRUCK]
    at_the_door = (at + timedelta(hours=4)).replace(minute=30, second=0, microsecond=0)
    tanks.expect_tanks(
        by=stage.by("wend", at),
        tank_ids=[visit.tank_id for visit in coming],
        customer_id=coming[0].customer_id,
        expected_at=at_the_door,
        due_at=at_the_door + timedelta(days=3),
    )
    tanks.rush_customer(
        by=stage.by("wend", at),
        customer_id=coming[0].customer_id,
        reason="Its contract of this year: its tanks go before all others",
    )


def plan_the_day(stage: Stage, at: datetime) -> Script:
    """The planner writes down what is on its way, makes a plan, sees in a copy what it saves to leave a tank of the largest batch out, and accepts the first."""
    yield at
    expect_a_truck(stage, at)
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
