"""A made plan against the whiteboard way, on the same problem: what is late, what both take, how many hours of people."""

from __future__ import annotations

from dataclasses import dataclass, replace

from regenplant.core.scheduling.checker import check, judged
from regenplant.core.scheduling.first_come import first_come
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem
from regenplant.planning.selectors import PlanShown
from regenplant.planning.totals import Totals, totals_of


@dataclass(frozen=True, slots=True)
class Way:
    """One way to serve the tanks. Hours are those of people at the batches it begins, whole persons."""

    totals: Totals
    operator_h: float
    technician_h: float
    changeovers: int
    waivers: int
    """Batches below the minimum fill of their vessel."""
    on_time: int
    without_batch: int


@dataclass(frozen=True, slots=True)
class Against:
    """Both ways; neither weighs how far it moves what an earlier plan said."""

    first_come: Way
    plan: Way


def against_first_come(view: PlanShown) -> Against:
    """The plan, and what the whiteboard would have made of the same tanks in the order of their coming.

    Round trips are numbered as tanks come, which gives the order; a tank without one comes last.
    """
    problem = replace(view.problem, pins=(), standing=())
    numbered = sorted(view.names.visits.items(), key=lambda item: (len(item[1]), item[1]))
    whiteboard = first_come(problem, [serial for serial, _ in numbered])
    return Against(first_come=way_of(problem, whiteboard), plan=way_of(problem, view.plan))


def way_of(problem: Problem, plan: Plan) -> Way:
    """The figures of one plan."""
    totals = totals_of(problem, plan)
    whole = judged(problem, plan)
    attention = sum(need.stage.attention * need.minutes for item in whole for need in item.needs)
    technicians = sum(need.stage.technicians * need.minutes for item in whole for need in item.needs)
    score = check(problem, plan).score
    return Way(
        totals=totals,
        operator_h=attention / problem.attention_per_operator / 60,
        technician_h=technicians / 60,
        changeovers=score.changeovers,
        waivers=score.waivers,
        on_time=len(problem.tanks) - score.late_tanks,
        without_batch=len(problem.tanks) - totals.tanks,
    )
