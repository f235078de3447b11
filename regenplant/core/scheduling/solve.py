"""The door of the planner: a first plan at once, a better one for every second it is given, and what cannot be served.

Two searches run side by side in processes, from different seeds; they meet a few times, and both go on from the better
plan. With one worker and a number of steps instead of seconds the answer is the same each time.
"""

from __future__ import annotations

import multiprocessing
import random
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.board import Placed
from regenplant.core.scheduling.bounds import lower_bound
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.from_bound import plan_of_bound
from regenplant.core.scheduling.greedy import Rule, first_plan
from regenplant.core.scheduling.improve import FEW_TANKS, MANY_TANKS, Kept, improve
from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage
from regenplant.core.scheduling.problem import Problem
from regenplant.core.scheduling.search import Search

MEETINGS = (0.35, 0.55, 1.0)
"""At which parts of the time the searches meet; behind the last but one, one of them bounds."""

MEETINGS_MANY = (0.4, 0.7, 1.0)
"""The same where there are so many tanks that the bound is found soon, and the search needs all its time."""

MEETINGS_SMALL = (0.88, 1.0)
"""The same where one of them is busy with the bound at first."""

FIRST_PLANS_FRAC = 0.08
"""Share of the time spent on first plans by different rules."""

FEWEST_FIRST_PLANS = 4

BEFORE_BOUND_FRAC = 0.12
"""Until then a search that also bounds improves its first plan: the better it is, the quicker is the bound."""

BOUND_FRAC = 0.85
"""Until then it may be busy with the bound."""

LONGEST_BOUND_S = 10.0

BOUNDING_FRAC = 0.9
"""Share of what is left that a worker bounds for which does nothing else; the rest is for what cannot be broken off."""

STEPS_AFTER_BOUND = 600
"""Steps that the plan of the bound is given before it is compared."""

Row = tuple[int, tuple[int, ...], int, tuple[int, ...], int]
"""A batch on its way between processes: key, tanks, vessel, start slots, the decision it carries out (-1 for none)."""


@dataclass(frozen=True, slots=True)
class Budget:
    """How long to search: seconds on the clock, or steps (then the answer is repeatable). ``workers`` from 1."""

    seconds: float | None = None
    steps: int | None = None
    workers: int = 1
    clock: Callable[[], float] | None = None
    """Gives seconds; the core has no clock of its own. For several workers one that all processes share, and a function of a module."""

    def __post_init__(self) -> None:
        if (self.seconds is None) == (self.steps is None):
            raise OutOfRange("Give either seconds or steps to the planner.", field="seconds")
        if self.seconds is not None and self.clock is None:
            raise OutOfRange("A planner that is given seconds needs a clock.", field="clock")
        if self.seconds is not None and not 0 < self.seconds <= 86_400:
            raise OutOfRange(
                f"The planner takes from 0 to 86,400 seconds, not {self.seconds:g}.", field="seconds"
            )
        if self.steps is not None and not 0 <= self.steps <= 10_000_000:
            raise OutOfRange(f"The planner takes 0 to 10,000,000 steps, not {self.steps:,}.", field="steps")
        if self.workers < 1:
            raise OutOfRange("The planner needs at least one worker.", field="workers")

    def told_s(self) -> float:
        """What the clock says; 0 for a budget of steps."""
        return self.clock() if self.clock is not None else 0.0


@dataclass(frozen=True, slots=True)
class Answer:
    """The best plan found, its score as the search counts it, the tanks without a batch, and how many steps were taken."""

    plan: Plan
    score: float
    unplaced: tuple[str, ...]
    steps: int
    bound: float = 0.0
    """No plan has a lower score, as far as the search found out by the way; 0 where it did not."""


Watch = Callable[[float, Callable[[], Answer]], bool]
"""Told again and again which part of the time has passed, and how to get the best plan so far; with True the search ends there."""


def solve(
    problem: Problem,
    seed: int,
    budget: Budget,
    on_first: Callable[[Answer], None] | None = None,
    watch: Watch | None = None,
) -> Answer:
    """The best plan that was found in the budget. ``on_first`` is handed the first plan as soon as it stands.

    ``watch`` sees one worker at its search; several cannot be watched.
    """
    if watch is not None and budget.workers > 1:
        raise OutOfRange("A search with several workers cannot be watched.", field="workers")
    began = budget.told_s()
    compiled = Compiled(problem)
    search = Search(compiled, seed)
    first_plan(search, Rule())
    if on_first is not None:
        on_first(_answer(search, 0))
    if not search.batches:
        return _answer(search, 0)
    rows = _rows(search)
    if budget.seconds is None or budget.workers == 1:
        search, steps, bound = _search_on(compiled, rows, seed, budget, began, 0.0, 1.0, watch, True)
        return _answer(search, steps, bound)
    return _side_by_side(compiled, rows, seed, budget, began)


def _side_by_side(compiled: Compiled, rows: list[Row], seed: int, budget: Budget, began: float) -> Answer:
    """Workers that meet. The first one is this process; each other takes the problem once and keeps it."""
    context = multiprocessing.get_context("spawn")
    steps, bound = 0, 0.0
    with ProcessPoolExecutor(
        budget.workers - 1, mp_context=context, initializer=_begin, initargs=(compiled.problem,)
    ) as pool:
        passed = 0.0
        is_small = len(compiled.key_of) <= FEW_TANKS
        meetings = MEETINGS_MANY if len(compiled.key_of) >= MANY_TANKS else MEETINGS
        for meeting, until in enumerate(MEETINGS_SMALL if is_small else meetings):
            seeds = [seed * 1_000 + meeting * 100 + worker for worker in range(budget.workers)]
            tasks = [pool.submit(_round, rows, own, budget, began, passed, until) for own in seeds[1:]]
            if until == 1.0 and not is_small:
                found = [_bounding(compiled, rows, seeds[0], budget, began, passed)]
            else:
                searched = _search_on(compiled, rows, seeds[0], budget, began, passed, until, None, True)
                found = [_told(*searched)]
            found += [task.result() for task in tasks]
            steps += sum(count for _, _, count, _ in found)
            bound = max(bound, *(own for _, _, _, own in found))
            _, rows, _, _ = min(found, key=lambda item: item[0])
            passed = until
    search = Search(compiled, seed)
    _load(search, rows)
    return _answer(search, steps, bound)


Told = tuple[float, list[Row], int, float]
"""What a worker brings to a meeting: score, plan, steps and bound."""


def _told(search: Search, steps: int, bound: float) -> Told:
    return search.score, _rows(search), steps, bound


_compiled: Compiled | None = None
"""The problem of this worker process."""


def _begin(problem: Problem) -> None:
    global _compiled  # one process works on one problem; handing it over for every round would cost more than it does
    _compiled = Compiled(problem)


def _round(rows: list[Row], seed: int, budget: Budget, began: float, passed: float, until: float) -> Told:
    assert _compiled is not None
    return _told(*_search_on(_compiled, rows, seed, budget, began, passed, until, None, False))


def _bounding(
    compiled: Compiled, rows: list[Row], seed: int, budget: Budget, began: float, passed: float
) -> Told:
    """In the last round of a larger instance one worker leaves the plan as it is and bounds it, and searches on in what is left."""
    assert budget.seconds is not None and budget.clock is not None
    search = Search(compiled, seed)
    _load(search, rows)
    left_s = BOUNDING_FRAC * (budget.seconds - (budget.clock() - began))
    bound = 0.0
    if not search.unplaced and left_s > 0:
        bound = lower_bound(compiled, left_s, budget.clock, at_most=search.score).total
    search, steps, _ = _search_on(compiled, rows, seed, budget, began, passed, 1.0, None, False)
    return _told(search, steps, bound)


def _search_on(
    compiled: Compiled,
    rows: list[Row],
    seed: int,
    budget: Budget,
    began: float,
    passed: float,
    until: float,
    watch: Watch | None,
    may_bound: bool,
) -> tuple[Search, int, float]:
    """Goes on from a plan; in the first round, from the best of first plans by different rules. ``may_bound``: a part of the first round
    goes into the bound of a small instance, whose program yields a plan as well."""
    search = Search(compiled, seed)
    _load(search, rows)
    steps, bound = 0, 0.0
    best: list[Kept] = []

    def part(until: float, done: int) -> float:
        if budget.seconds is None:
            assert budget.steps is not None
            now = done / budget.steps if budget.steps else 1.0
        else:
            now = (budget.told_s() - began) / budget.seconds
            now = 1.0 if now >= until else min(now, 0.999_999)
        if (
            watch is not None
            and now < 1.0
            and watch(now, lambda: _answer_of(compiled, best[-1], steps + done, bound))
        ):
            return 1.0
        return now

    def better(kept: Kept) -> None:
        best[:] = [kept]

    if passed == 0.0:
        search = _best_first(compiled, search, seed, budget, began, watch)
        if may_bound and budget.seconds is not None and len(compiled.key_of) <= FEW_TANKS:
            steps = improve(search, partial(part, BEFORE_BOUND_FRAC), on_better=better)
            search, bound = _with_bound(compiled, search, seed, budget, began)
    steps += improve(search, partial(part, until), on_better=better)
    return search, steps, bound


def _with_bound(
    compiled: Compiled, search: Search, seed: int, budget: Budget, began: float
) -> tuple[Search, float]:
    """The plan of the bound's program if it is better, or will soon be, and the bound."""
    assert budget.seconds is not None and budget.clock is not None
    left_s = min(LONGEST_BOUND_S, BOUND_FRAC * budget.seconds - (budget.clock() - began))
    if search.unplaced or left_s <= 0:
        return search, 0.0
    other, bound = plan_of_bound(compiled, seed, left_s, budget.clock, at_most=search.score)
    if other is None or other.unplaced:
        return search, bound
    improve(other, lambda step: step / STEPS_AFTER_BOUND, warmth=0.005)
    return (other if other.score < search.score else search), bound


def _best_first(
    compiled: Compiled, search: Search, seed: int, budget: Budget, began: float, watch: Watch | None
) -> Search:
    rng = random.Random(seed)
    tried = 0
    while tried < FEWEST_FIRST_PLANS or (
        budget.seconds is not None and budget.told_s() - began < budget.seconds * FIRST_PLANS_FRAC
    ):
        if budget.seconds is not None and budget.told_s() - began > budget.seconds * 0.5:
            break
        tried += 1
        other = Search(compiled, seed)
        first_plan(other, Rule.drawn(rng))
        if other.score < search.score:
            search = other
        if watch is not None and budget.seconds is not None:
            passed = min((budget.told_s() - began) / budget.seconds, 0.999_999)
            if watch(passed, partial(_answer, search, 0)):
                break
    return search


def _rows(search: Search) -> list[Row]:
    return [
        (batch.key, tuple(batch.tanks), batch.vessel, tuple(batch.starts), batch.pin)
        for batch in search.batches
    ]


def _load(search: Search, rows: list[Row]) -> None:
    """Puts a plan onto an empty board."""
    compiled = search.compiled
    placed: set[int] = set()
    for key, tanks, vessel, starts, pin in rows:
        volume = sum(compiled.volume[tank] for tank in tanks)
        percent = max(compiled.percent[tank] for tank in tanks)
        needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
        batch = Placed(key, list(tanks), volume, percent, vessel, needs, pin)
        batch.starts = list(starts)
        batch.start = starts[0]
        batch.end, batch.done = needs.vessel_free(starts), needs.done(starts)
        batch.cost = search.fixed_cost(vessel, volume, needs) + search.late_cost(batch.tanks, batch.done)
        batch.cost += compiled.moves_cost(batch.tanks, vessel, batch.start)
        search.board.put(batch)
        search.batches.append(batch)
        placed.update(tanks)
    search.unplaced = [tank for tank in range(len(compiled.key_of)) if tank not in placed]
    search.score = search.whole_score()


def plan_on(search: Search) -> Plan:
    """What stands on the board of a search, as a plan."""
    return _answer(search, 0).plan


def _answer(search: Search, steps: int, bound: float = 0.0) -> Answer:
    kept = Kept(tuple((batch, ()) for batch in search.batches), tuple(search.unplaced), search.score)
    return _answer_of(search.compiled, kept, steps, bound)


def _answer_of(compiled: Compiled, kept: Kept, steps: int, bound: float = 0.0) -> Answer:
    tanks = compiled.problem.tanks
    return Answer(
        plan=Plan(compiled.problem.name, tuple(_planned(compiled, [batch for batch, _ in kept.batches]))),
        score=kept.score,
        unplaced=tuple(tanks[tank].id for tank in kept.unplaced),
        steps=steps,
        bound=bound,
    )


def _planned(compiled: Compiled, batches: list[Placed]) -> list[PlannedBatch]:
    """The batches in order of time, numbered."""
    minutes = compiled.slot_min
    planned = []
    for number, batch in enumerate(sorted(batches, key=lambda item: (item.start, item.vessel)), start=1):
        stages = tuple(
            PlannedStage(stage.name, start * minutes, (start + step.slots) * minutes)
            for stage, step, start in zip(
                compiled.own_stages.get((batch.key, batch.vessel), compiled.stages[batch.key]),
                batch.needs.steps,
                batch.starts,
                strict=True,
            )
        )
        planned.append(
            PlannedBatch(
                id=f"B{number:04d}",
                vessel=compiled.problem.vessels[batch.vessel].id,
                tanks=tuple(compiled.problem.tanks[tank].id for tank in batch.tanks),
                underfill_waiver=batch.volume < compiled.minimum[batch.vessel],
                stages=stages,
            )
        )
    return planned
