"""The search for one plan: what its process does from the first plan to the last word, told to its row as it goes.

Writes are short and on their own, outside of any act: they lock nobody out. The row is written only while it still is this search's.
"""

from __future__ import annotations

import os
import socket
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.utils import timezone

from regenplant.core.errors import DomainError
from regenplant.core.scheduling.bounds import lower_bound
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.diagnosis import impossible
from regenplant.core.scheduling.exchange import plan_to
from regenplant.core.scheduling.problem import Problem
from regenplant.core.scheduling.solve import Answer, Budget, solve
from regenplant.planning import moves
from regenplant.planning.figures_kept import figures_in_force
from regenplant.planning.kept import notes_to, problem_to
from regenplant.planning.models import DayPlan
from regenplant.planning.reading import read_plant
from regenplant.planning.selectors import problem_of

TOLD_EVERY_S = 1.0
BOUND_FRAC = 0.1
"""Share of the time that the bound may take."""
LONGEST_BOUND_S = 10.0
LONGEST_FAILURE = 600
Clock = Callable[[], float]


def search(number: str, *, steps: int | None = None, clock: Clock = time.monotonic) -> DayPlan | None:
    """Search the plan of this number until its time is up, somebody stops it, or it fails; the row says which.

    ``steps`` in place of its seconds makes the search repeatable. Returns the row, or None where it is no search that waits.

    What is no refusal of a rule is a defect: its kind is written down and it is raised again.
    """
    row = DayPlan.objects.filter(number=number, state=DayPlan.State.RUNNING).first()
    if row is None:
        return None
    told = _Told(row, clock)
    try:
        _search(row, told, steps)
    except DomainError as refusal:
        told.end(DayPlan.State.FAILED, failure=refusal.message[:LONGEST_FAILURE])
    finally:
        if not told.has_ended:  # a defect, or a signal: it goes on up after this
            kind = sys.exc_info()[0]
            told.end(
                DayPlan.State.FAILED,
                failure=f"The search broke off ({kind.__name__ if kind else 'unknown'}). What it printed stands in its log.",
            )
    row.refresh_from_db()
    return row


def _search(row: DayPlan, told: _Told, steps: int | None) -> None:
    told.begin()
    problem = _problem(row, told)
    budget = (
        Budget(steps=steps) if steps is not None else Budget(seconds=float(row.seconds), clock=told.clock)
    )
    told.problem = problem

    def on_first(answer: Answer) -> None:
        told.better(answer, 0.0)
        told.bound(row.seconds if steps is None else 1.0)

    answer = solve(problem, row.seed, budget, on_first=on_first, watch=told.watch)
    told.better(answer, 1.0)
    if answer.unplaced and set(answer.unplaced) - told.out:
        told.write(bound=None)  # it counted tanks that the plan leaves out
    elif answer.bound > told.least:
        told.write(bound=answer.bound)
    told.end(DayPlan.State.STOPPED if told.is_stopped else DayPlan.State.DONE)


def _problem(row: DayPlan, told: _Told) -> Problem:
    """The plant as it stands, unless the row is a copy that brings its problem."""
    if row.problem is None:
        read = read_plant(row.from_at, figures_in_force(), present=row.made_at)
        row.problem, row.notes = problem_to(read.problem), notes_to(read.notes)
        told.write(problem=row.problem, notes=row.notes)
    return problem_of(row)


class _Told:
    """What the search tells its row, and what the row tells it."""

    def __init__(self, row: DayPlan, clock: Clock) -> None:
        self.row = row
        self.has_ended = False
        self.clock = clock
        self.last_s = clock()
        self.is_stopped = False
        self.problem: Problem | None = None
        self.out: set[str] = set()
        """Tanks that no plan can serve."""
        self.least = 0.0
        """No plan has a lower score."""

    def begin(self) -> None:
        is_mine = moves.take_on(
            self.row, process=os.getpid(), host=socket.gethostname()[:80], at=timezone.now()
        )
        if not is_mine:
            raise RuntimeError("This plan is searched by another process.")

    def write(self, **values: Any) -> bool:
        """Whether the row still is this search's."""
        return moves.tell(self.row.pk, process=os.getpid(), at=timezone.now(), **values)

    def watch(self, passed: float, best: Callable[[], Answer]) -> bool:
        now = self.clock()
        if now - self.last_s < TOLD_EVERY_S:
            return False
        self.last_s = now
        is_wanted = DayPlan.objects.filter(pk=self.row.pk).values_list("is_stop_wanted", flat=True).first()
        self.is_stopped = is_wanted is not False or not self.better(best(), passed)
        return self.is_stopped

    def better(self, answer: Answer, passed: float) -> bool:
        assert self.problem is not None
        score = check(self.problem, answer.plan).score
        return self.write(
            plan=plan_to(answer.plan), score=score.total, steps=answer.steps, progress_frac=min(1.0, passed)
        )

    def bound(self, seconds: float) -> None:
        """The least that the tanks cost which can be served at all; the others are late to the end whatever is planned."""
        assert self.problem is not None
        self.out = {name for item in impossible(self.problem) for name in item.tanks}
        served = replace(
            self.problem,
            tanks=tuple(tank for tank in self.problem.tanks if tank.id not in self.out),
            pins=tuple(pin for pin in self.problem.pins if not self.out.intersection(pin.tanks)),
        )
        share = min(LONGEST_BOUND_S, BOUND_FRAC * seconds)
        weight, price = self.problem.priority_weight, self.problem.costs.late_per_weighted_hour
        never_h = sum(
            weight[tank.priority] * max(0, self.problem.calendar_end_min - tank.due_min) / 60
            for tank in self.problem.tanks
            if tank.id in self.out
        )
        self.least = lower_bound(Compiled(served), share, self.clock).total + price * never_h
        self.write(bound=self.least)

    def end(self, state: DayPlan.State, *, failure: str = "") -> None:
        self.has_ended = True
        moves.end(self.row.pk, state, process=os.getpid(), at=timezone.now(), failure=failure)
