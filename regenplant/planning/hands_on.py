"""One decision tried on a draft: carried out at once with the rest of the plan kept where it can be, held against every limit, and
weighed against the plan before. Writes nothing.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from regenplant.core.errors import RecordRefused
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.diagnosis import impossible
from regenplant.core.scheduling.exchange_trade import trade_troubles
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem, Standing
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.planning.clock import PlanClock
from regenplant.planning.decided import Decided, decided_from, with_decisions
from regenplant.planning.kept import notes_from, plan_from, problem_from
from regenplant.planning.models import DayPlan
from regenplant.planning.totals import Totals, totals_of

QUICK_S = 0.4


@dataclass(frozen=True, slots=True)
class Tried:
    """What a decision would make of the plan."""

    plan: Plan
    before: Totals
    after: Totals
    moved: int
    """Tanks that begin at another time or in another vessel than before, beside those decided about."""


def tried(row: DayPlan, decided: Decided, *, steps: int | None = None) -> Tried:
    """The plan with this decision. ``steps`` in place of a fraction of a second makes it repeatable.

    Raises: RecordRefused with what keeps the decision from being carried out.
    """
    assert row.problem is not None
    assert row.plan is not None
    base = problem_from(row.problem)
    made = [decided_from(one.content) for one in row.decisions.all()]
    before_problem, before_plan = with_decisions(base, made), plan_from(row.plan)
    problem = with_decisions(base, [*made, decided])
    _refuse_at_once(problem, notes_from(row.notes).clock)
    known = replace(problem, standing=_as_it_stands(problem, before_plan))
    budget = Budget(steps=steps) if steps is not None else Budget(seconds=QUICK_S, clock=time.monotonic)
    answer = solve(known, row.seed, budget)
    _refuse_unserved(problem, before_plan, answer.plan, set(answer.unplaced), notes_from(row.notes).clock)
    touched = {name for pin in decided.pins for name in pin.tanks} | {*decided.left_out, *decided.rush}
    return Tried(
        plan=answer.plan,
        before=totals_of(before_problem, before_plan),
        after=totals_of(problem, answer.plan),
        moved=len(moved_tanks(before_plan, answer.plan) - touched),
    )


def moved_tanks(before: Plan, after: Plan) -> set[str]:
    """Tanks of both plans that begin at another time or in another vessel."""
    places = [
        {name: (batch.vessel, batch.start_min) for batch in plan.batches for name in batch.tanks}
        for plan in (before, after)
    ]
    return {name for name, place in places[0].items() if name in places[1] and places[1][name] != place}


def _as_it_stands(problem: Problem, plan: Plan) -> tuple[Standing, ...]:
    there = {tank.id for tank in problem.tanks}
    return tuple(
        Standing(kept, batch.vessel, batch.start_min)
        for batch in plan.batches
        if (kept := tuple(name for name in batch.tanks if name in there))
    )


def _refuse_at_once(problem: Problem, clock: PlanClock) -> None:
    """What cannot be whatever else is planned."""
    vessels = {vessel.id: vessel for vessel in problem.vessels}
    tanks = {tank.id: tank for tank in problem.tanks}
    for trouble in trade_troubles(replace(problem, running=()), clock.words):
        raise RecordRefused(f"This cannot be: {trouble}.", code="cannot_be")
    for pin in problem.pins:
        litres = sum(tanks[name].volume_l for name in pin.tanks)
        vessel = vessels.get(pin.vessel or "")
        most = vessel.max_fill_l if vessel else max((one.max_fill_l for one in vessels.values()), default=0.0)
        if litres > most:
            where = pin.vessel or "the largest vessel"
            raise RecordRefused(
                f"{', '.join(pin.tanks)} hold {litres:,.0f} L together; {where} takes {most:,.0f} L.",
                code="too_much",
                field="vessel",
            )
        if vessel is not None and not problem.allowed(vessel, tanks[pin.tanks[0]].key):
            raise RecordRefused(
                f"{vessel.id} does not take {tanks[pin.tanks[0]].key}.",
                code="not_allowed_there",
                field="vessel",
            )


def _refuse_unserved(
    problem: Problem, before: Plan, after: Plan, unplaced: set[str], clock: PlanClock
) -> None:
    """Tanks that had a place and have none now, and any limit that is broken."""
    held = {name for batch in before.batches for name in batch.tanks}
    lost = sorted(held & unplaced)
    if lost:
        why = next(
            (item.reason for item in impossible(problem, clock.words) if set(item.tanks) & unplaced),
            "No place in the days that are planned keeps every limit with it.",
        )
        raise RecordRefused(
            f"That leaves {', '.join(lost[:6])}{' and others' if len(lost) > 6 else ''} without a batch. {why}",
            code="no_place",
        )
    known = {f"tank {name} stands in 0 batches" for name in unplaced}
    broken = [sentence for sentence in check(problem, after, clock.words).violations if sentence not in known]
    if broken:
        raise RecordRefused(
            f"That breaks a limit: {broken[0]}. Times are those of the plant, {clock.zone.key}.",
            code="breaks_limit",
        )
