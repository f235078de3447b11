"""A plan from the program of the bound: on a small instance its best answer is nearly a plan.

It says which tanks go together, in which vessel and in which order, and forgets only that vessels share skids, water and people. Put
onto the board in that order, each batch where it ends earliest in its vessel, it is a plan that keeps every limit. Whose turn it is among
vessels the program does not say: many orders are tried.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Callable
from math import inf

from regenplant.core.scheduling.bounds import places_of
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.program import Solved
from regenplant.core.scheduling.search import Search

ALONE_FRAC = 0.2
"""Share of the time for setting up the program."""

ORDERS = 100
"""Further orders among vessels in which the batches of the program are put onto the board."""

Chosen = tuple[int, int, list[int]]
"""A batch of the program: key, vessel and tanks."""

NEAR_FRAC = 0.98
"""It is proved first that no plan is cheaper than so much of the known one: that takes a part of the time that the best takes."""


def plan_of_bound(
    compiled: Compiled, seed: int, seconds: float, clock: Callable[[], float], at_most: float = inf
) -> tuple[Search | None, float]:
    """A plan and a bound of the score, found in about so many seconds; no plan for a larger instance, or where none is cheaper than
    ``at_most``, and 0 for no bound."""
    if compiled.pins or compiled.problem.standing:
        return None, 0.0
    began = clock()
    places = places_of(compiled, ALONE_FRAC * seconds, clock)
    if places is None:
        return None, 0.0
    near = NEAR_FRAC * at_most
    solved = places.program.solve(seconds - (clock() - began), near, is_row=True)
    left_s = seconds - (clock() - began)
    if solved.values is None and solved.bound >= near and left_s > 0:  # proved; what is left tells more
        solved = places.program.solve(left_s, at_most)
        solved = Solved(max(near, solved.bound), solved.values)
    if solved.values is None:
        return None, solved.bound
    chosen = places.chosen(solved.values)
    rng = random.Random(seed)
    search = _on_board(compiled, seed, chosen)
    for _ in range(ORDERS):
        other = _on_board(compiled, seed, _another_order(rng, chosen))
        if other.score < search.score:
            search = other
    return search, solved.bound


def _another_order(rng: random.Random, chosen: list[Chosen]) -> list[Chosen]:
    """The same order in each vessel, another one among vessels."""
    waiting: dict[int, list[Chosen]] = defaultdict(list)
    for item in reversed(chosen):
        waiting[item[1]].append(item)
    turns = [vessel for _, vessel, _ in chosen]
    rng.shuffle(turns)
    return [waiting[vessel].pop() for vessel in turns]


def _on_board(compiled: Compiled, seed: int, chosen: list[Chosen]) -> Search:
    search = Search(compiled, seed)
    for key, vessel, tanks in chosen:
        _put(search, key, vessel, tanks)
    placed = {tank for batch in search.batches for tank in batch.tanks}
    search.unplaced = [tank for tank in range(len(compiled.key_of)) if tank not in placed]
    search.score = search.whole_score()
    return search


def _put(search: Search, key: int, vessel: int, tanks: list[int]) -> None:
    compiled = search.compiled
    volume = sum(compiled.volume[tank] for tank in tanks)
    percent = max(compiled.percent[tank] for tank in tanks)
    needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
    earliest = max(compiled.received[tank] for tank in tanks)
    fixed = search.fixed_cost(vessel, volume, needs)
    fit = search.best_gap(vessel, key, tanks, needs, fixed, earliest, search.last_end(), None)
    if fit is None:
        fit = search.best_fit(key, tanks, volume, percent)
    if fit is not None:
        search.put(key, tanks, volume, percent, fit)
