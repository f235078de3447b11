"""What would have to change for a late tank to be on time: each change that a plant could make is put into the problem by itself, the
plan is worked out again with the tank before all others, and the checker says whether it is on time there.

What brings it on time is true. That nothing else does is what was found and no proof, but for the time that the tank takes alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.board import Placed
from regenplant.core.scheduling.bounds import earliest_ends
from regenplant.core.scheduling.checker import Score, check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.improve import improve, keep, restore
from regenplant.core.scheduling.on_board import on_board
from regenplant.core.scheduling.plan import Plan, PlannedBatch
from regenplant.core.scheduling.problem import Problem, Tank
from regenplant.core.scheduling.relaxing import Relaxation, RelaxKind, candidates, relaxed
from regenplant.core.scheduling.search import Search
from regenplant.core.scheduling.solve import plan_on

FOCUS = 20.0
"""The tank weighs so many times the heaviest while its plan is worked out; what plans cost is counted with its own weight."""
TAKEN_OFF = (0, 1, 2, 3, 5, 8)
"""So many batches give way in turn."""
STEPS = 60
"""Of the search for each change, after the directed ones."""
SAME_COST = 0.5
"""Prices nearer than this count as one."""


@dataclass(frozen=True, slots=True)
class Change:
    """What one change came to."""

    how: Relaxation
    ready_min: int
    late_min: int
    """Of the tank."""
    costs: float
    """What the plan's score is higher than before; below 0 where it is better."""
    others_late: int
    """So many more other tanks are late than before."""
    helps: bool
    """On time, and not as dear as without any change."""

    @property
    def is_on_time(self) -> bool:
        """Whether the tank is."""
        return self.late_min == 0


@dataclass(frozen=True, slots=True)
class Tried(Change):
    """One change with the plan that it gives."""

    plan: Plan


@dataclass(frozen=True, slots=True)
class Help:
    """The answer for one late tank."""

    tank: str
    batch: str
    due_min: int
    ready_min: int
    """In the plan as it is."""
    alone_min: int
    """Nobody can have it ready earlier than this, even alone in the plant with every limit as it is."""
    first: Tried
    """No change, but the tank goes before all others."""
    tried: tuple[Tried, ...]
    """Those that help first, of these what is less for a plant to do, and the cheapest; then those that leave it least late."""
    not_tried: int
    """Changes for which no time was left."""


def what_would_help(
    problem: Problem,
    plan: Plan,
    tank: str,
    *,
    steps: int = STEPS,
    is_over: Callable[[], bool] = lambda: False,
) -> Help:
    """What would bring this tank on time. The same each time, unless ``is_over`` ends it before all was tried.

    Parameters
    ----------
    steps : int
        Of the search for each change
    is_over : callable
        Asked again and again; with True what was found so far is the answer, and changes that were not begun are counted

    Raises: OutOfRange where the tank stands in no batch of the plan or is not late.
    """
    one, batch = _late(problem, plan, tank)
    before = check(problem, plan).score
    base = _Base(problem, plan, one, before, steps, is_over)
    first = base.tried(Relaxation(RelaxKind.NOTHING))
    tried: list[Tried] = []
    not_tried = 0
    for row in candidates(problem, one, batch):
        if is_over():
            not_tried += 1
            continue
        tried.append(_smallest(base, row, first, is_over))
    tried.sort(key=_in_order)
    return Help(
        tank=one.id,
        batch=batch.id,
        due_min=one.due_min,
        ready_min=batch.end_min,
        alone_min=_alone_min(problem, one),
        first=first,
        tried=tuple(tried),
        not_tried=not_tried,
    )


def _in_order(one: Tried) -> tuple[bool, bool, float, float]:
    return (not one.helps, one.helps and one.how.is_large, 0.0 if one.helps else one.late_min, one.costs)


def _late(problem: Problem, plan: Plan, name: str) -> tuple[Tank, PlannedBatch]:
    tank = next((one for one in problem.tanks if one.id == name), None)
    batch = next((one for one in plan.batches if name in one.tanks), None)
    if tank is None or batch is None:
        raise OutOfRange(f"Tank {name[:20]} stands in no batch of the plan.", field="tank")
    if batch.end_min <= tank.due_min:
        raise OutOfRange(f"Tank {name[:20]} is on time in the plan.", field="tank")
    return tank, batch


def _alone_min(problem: Problem, tank: Tank) -> int:
    compiled = Compiled(problem)
    at = next(number for number, one in enumerate(problem.tanks) if one.id == tank.id)
    return earliest_ends(compiled)[at] * compiled.slot_min


def _smallest(base: _Base, row: tuple[Relaxation, ...], first: Tried, is_over: Callable[[], bool]) -> Tried:
    """The largest of a row, and if it helps the smallest that does too."""
    largest = base.tried(row[-1], first)
    if not largest.helps:
        return largest
    for how in row[:-1]:
        if is_over():
            break
        found = base.tried(how, first)
        if found.helps:
            return found
    return largest


class _Base:
    """The plan as it is, from which each change is worked out."""

    def __init__(
        self,
        problem: Problem,
        plan: Plan,
        tank: Tank,
        before: Score,
        steps: int,
        is_over: Callable[[], bool],
    ) -> None:
        self.problem = problem
        self.plan = plan
        self.tank = tank
        self.before = before
        self.steps = steps
        self.is_over = is_over
        self.unplaced = {one.id for one in problem.tanks} - {
            name for other in plan.batches for name in other.tanks
        }
        self.others_late = before.late_tanks - 1
        self.at = next(number for number, one in enumerate(problem.tanks) if one.id == tank.id)

    def tried(self, how: Relaxation, first: Tried | None = None) -> Tried:
        """The best plan that was found with this change, by the checker."""
        looser = relaxed(self.problem, how)
        plan = self._worked_out(looser)
        verdict = check(looser, plan)
        known = {f"tank {name} stands in 0 batches" for name in self.unplaced}
        if set(verdict.violations) - known:  # no proof of anything: the plan as it is stands
            plan, verdict = self.plan, check(looser, self.plan)
        ready = next(batch.end_min for batch in plan.batches if self.tank.id in batch.tanks)
        late = max(0, ready - self.tank.due_min)
        costs = verdict.score.total - self.before.total
        is_cheaper = first is None or not first.is_on_time or costs < first.costs - SAME_COST
        return Tried(
            how=how,
            ready_min=ready,
            late_min=late,
            costs=costs,
            others_late=verdict.score.late_tanks - (late > 0) - self.others_late,
            helps=late == 0 and is_cheaper,
            plan=plan,
        )

    def _worked_out(self, looser: Problem) -> Plan:
        """The plan of a looser problem with the tank before all others, from the plan as it is on."""
        heaviest = max(looser.priority_weight.values(), default=1.0)
        focus = max(looser.priority_weight, default=0) + 1
        pressed = replace(
            looser,
            tanks=tuple(
                replace(one, priority=focus) if one.id == self.tank.id else one for one in looser.tanks
            ),
            priority_weight={**looser.priority_weight, focus: heaviest * FOCUS},
        )
        search = on_board(Compiled(pressed), self.plan)

        def passed(step: int) -> float:
            return 1.0 if step >= self.steps or self.is_over() else step / self.steps

        _bring_forward(search, self.at, self.is_over)
        improve(search, passed, warmth=0.0)
        _bring_forward(search, self.at, self.is_over)
        return plan_on(search)


def _bring_forward(search: Search, tank: int, is_over: Callable[[], bool]) -> None:
    """The batch of the tank goes before those that are in its way; what comes of it stays where the whole is better."""
    for is_alone in (False, True):
        for by_vessel in (True, False):
            for count in TAKEN_OFF:
                kept = keep(search)
                batch = next((one for one in search.batches if tank in one.tanks), None)
                if is_over() or batch is None or (is_alone and (len(batch.tanks) < 2 or batch.pin >= 0)):
                    return
                _make_way(search, batch, tank if is_alone else -1, count, by_vessel)
                search.score = search.whole_score()
                if search.score >= kept.score - 1e-6:
                    restore(search, kept)


def _make_way(search: Search, batch: Placed, alone: int, count: int, by_vessel: bool) -> None:
    compiled = search.compiled
    near = sorted(
        (one for one in search.batches if one is not batch and one.start < batch.done),
        key=lambda one: ((one.vessel != batch.vessel) if by_vessel else False, -one.start),
    )[:count]
    for one in (batch, *near):
        search.take_off(one)
    groups: list[tuple[int, list[int], int]] = [(batch.key, list(batch.tanks), batch.pin)]
    if alone >= 0:
        groups = [(batch.key, [alone], -1), (batch.key, [one for one in batch.tanks if one != alone], -1)]
    near.sort(key=lambda one: (min(compiled.due_min[item] for item in one.tanks), one.start))
    groups += [(one.key, list(one.tanks), one.pin) for one in near]
    for key, tanks, pin in groups:
        volume = sum(compiled.volume[item] for item in tanks)
        percent = max(compiled.percent[item] for item in tanks)
        fit = search.best_fit(key, tanks, volume, percent, pin=pin)
        if fit is None:
            search.unplaced.extend(tanks)
        else:
            search.put(key, tanks, volume, percent, fit, pin)
