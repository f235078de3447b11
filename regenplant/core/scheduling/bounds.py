"""Lower bounds: no plan can be cheaper, whatever anybody finds. What is above them is the honest gap.

The bound is a sum of three parts that no plan can escape together:

* **Batching and changeovers**, state by state (family, class, lot): the cheapest set of batches that serves its tanks, each batch at
  the price of its vessel with the room left empty, plus one changeover for every vessel that the state enters, free where the vessel
  holds it already. Solved exactly as an integer program over all batches that are possible (set covering by patterns; Gilmore &
  Gomory 1961) while they can be counted out, else by its linear relaxation with columns found by a knapsack recursion.
* **Lateness**: each tank alone in the empty plant, in its best vessel, with all calendars.
* **Makespan**: the largest of those ends, and the moment at which the technicians can have looked at as many batches as there must be.

Left out: that states return to a vessel, that tanks wait for each other, and that all share the skids. So the bound is weak under load.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from regenplant.core.scheduling.board import Board
from regenplant.core.scheduling.compiled import Compiled

MOST_PATTERNS = 6_000
"""Batches of one key that are counted out one by one; beyond it the linear relaxation is solved."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A lower bound of the score in its parts."""

    batching: float
    """Batches, waivers, chemicals, water, waste and changeovers."""
    lateness: float
    makespan: float
    fewest_batches: int

    @property
    def total(self) -> float:
        """No plan has a lower score."""
        return self.batching + self.lateness + self.makespan


def lower_bound(compiled: Compiled, seconds: float = 10.0) -> Bound:
    """The bound of an instance whose tanks can all be served."""
    batching, fewest, checks = 0.0, 0, 0
    states: dict[tuple[str, str, str | None], list[int]] = defaultdict(list)
    for key, name in enumerate(compiled.keys):
        if compiled.vessels_of[key] and compiled.stages[key]:
            states[name[:3]].append(key)
    share = seconds / max(1, len(states))
    for keys in states.values():
        cost, count = _state(compiled, keys, share)
        batching += cost
        fewest += count
    del checks
    ends = earliest_ends(compiled)
    late = sum(
        compiled.weight[tank] * max(0, end * compiled.slot_min - compiled.due_min[tank])
        for tank, end in ends.items()
    )
    return Bound(
        batching=batching,
        lateness=late * compiled.late_per_min,
        makespan=compiled.span_per_slot * max(ends.values(), default=0),
        fewest_batches=fewest,
    )


def earliest_ends(compiled: Compiled) -> dict[int, int]:
    """For each tank the slot in which it is ready if it has the plant to itself."""
    board = Board(compiled)
    known: dict[tuple[int, float, float, int], int] = {}
    ends: dict[int, int] = {}
    for tank, key in enumerate(compiled.key_of):
        name = (key, compiled.volume[tank], compiled.percent[tank], compiled.received[tank])
        if name not in known:
            found = []
            for vessel in compiled.vessels_of[key]:
                if compiled.volume[tank] > compiled.capacity[vessel] or not compiled.stages[key]:
                    continue
                charged = max(compiled.volume[tank], compiled.minimum[vessel])
                needs = compiled.needs(key, 1, charged, compiled.percent[tank])
                begin = max(compiled.received[tank], compiled.ready[vessel])
                starts = board.fit(needs, begin, compiled.slots)
                if starts is not None:
                    found.append(starts[-1] + needs.steps[-1].slots)
            known[name] = min(found, default=0)
        ends[tank] = known[name]
    return ends


@dataclass(frozen=True, slots=True)
class _Kind:
    """Tanks of one key that are alike for a batch: same volume, same dose."""

    volume: int
    percent: float
    count: int


def _kinds(compiled: Compiled, key: int) -> list[_Kind]:
    """Volumes rounded down to whole litres: a smaller tank never costs more."""
    counts: dict[tuple[int, float], int] = defaultdict(int)
    largest = max(compiled.capacity[vessel] for vessel in compiled.vessels_of[key])
    for tank, own in enumerate(compiled.key_of):
        if own == key and compiled.volume[tank] <= largest:
            counts[int(compiled.volume[tank]), compiled.percent[tank]] += 1
    return [_Kind(volume, percent, count) for (volume, percent), count in sorted(counts.items())]


def _state(compiled: Compiled, keys: list[int], seconds: float) -> tuple[float, int]:
    """The least that the tanks of one state cost, and the fewest batches."""
    kinds = {key: _kinds(compiled, key) for key in keys}
    patterns = {key: list(_patterns(compiled, key, kinds[key])) for key in keys}
    if all(len(found) <= MOST_PATTERNS for found in patterns.values()):
        return _exact(compiled, keys, kinds, patterns, seconds)
    raise NotImplementedError


def _patterns(compiled: Compiled, key: int, kinds: list[_Kind]) -> Iterator[tuple[int, ...]]:
    """Every batch that fits the largest vessel, as counts of each kind; one more than may be counted out at most."""
    largest = int(max(compiled.capacity[vessel] for vessel in compiled.vessels_of[key]))
    given = 0

    def fill(at: int, left: int, chosen: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        nonlocal given
        if given > MOST_PATTERNS:
            return
        if at == len(kinds):
            if any(chosen):
                given += 1
                yield chosen
            return
        for count in range(min(kinds[at].count, left // kinds[at].volume if kinds[at].volume else kinds[at].count) + 1):
            yield from fill(at + 1, left - count * kinds[at].volume, (*chosen, count))

    yield from fill(0, largest, ())


def _price(compiled: Compiled, key: int, volume: float, percent: float, vessel: int) -> float:
    """What a batch costs in a vessel, wherever it stands in time."""
    costs = compiled.problem.costs
    needs = compiled.needs(key, 1, max(volume, compiled.minimum[vessel]), percent)
    return costs.batch + needs.cost + (costs.underfill_waiver if volume < compiled.minimum[vessel] else 0.0)


def _entry(compiled: Compiled, state: tuple[str, str, str | None], vessel: int) -> float:
    """What it costs to bring the state into the vessel for the first time."""
    key = next(at for at, name in enumerate(compiled.keys) if name[:3] == state)
    return compiled.change_cost[vessel] if compiled.first_change_slots[vessel][key] else 0.0


def _exact(
    compiled: Compiled,
    keys: list[int],
    kinds: dict[int, list[_Kind]],
    patterns: dict[int, list[tuple[int, ...]]],
    seconds: float,
) -> tuple[float, int]:
    """Integer program: a column for each batch in each vessel, one for each vessel entered."""
    from scipy.optimize import Bounds, LinearConstraint
    from scipy.sparse import coo_matrix

    state = compiled.keys[keys[0]][:3]
    vessels = sorted({vessel for key in keys for vessel in compiled.vessels_of[key]})
    # vessels alike in all that matters here are one column, entered at the price of the cheapest
    alike: dict[tuple[float, float, float], int] = {}
    for vessel in vessels:
        name = (compiled.capacity[vessel], compiled.minimum[vessel], _entry(compiled, state, vessel))
        alike.setdefault(name, vessel)
    used = sorted(alike.values())
    cost: list[float] = []
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    row_of: dict[tuple[int, int], int] = {}
    need: list[float] = []
    for key in keys:
        for at, kind in enumerate(kinds[key]):
            row_of[key, at] = len(need)
            need.append(kind.count)
    cover = len(need)
    links: list[tuple[int, int, int, float]] = []  # vessel position, link row, column, amount
    for key in keys:
        for pattern in patterns[key]:
            volume = sum(count * kind.volume for count, kind in zip(pattern, kinds[key], strict=True))
            percent = max(kind.percent for count, kind in zip(pattern, kinds[key], strict=True) if count)
            for position, vessel in enumerate(used):
                if volume > compiled.capacity[vessel] or vessel not in compiled.vessels_of[key]:
                    continue
                column = len(cost)
                cost.append(_price(compiled, key, volume, percent, vessel))
                for at, count in enumerate(pattern):
                    if count:
                        rows.append(row_of[key, at])
                        columns.append(column)
                        values.append(count)
                        links.append((position, row_of[key, at], column, count))
    batches = len(cost)
    for vessel in used:
        cost.append(_entry(compiled, state, vessel))
    link_rows: dict[tuple[int, int], int] = {}
    for position, row, column, count in links:
        link = link_rows.setdefault((position, row), cover + len(link_rows))
        rows.append(link)
        columns.append(column)
        values.append(-count)
    for (position, row), link in link_rows.items():
        rows.append(link)
        columns.append(batches + position)
        values.append(need[row])
    low = np.array([*need, *([0.0] * len(link_rows))])
    matrix = coo_matrix((values, (rows, columns)), shape=(len(low), len(cost))).tocsr()
    upper = np.concatenate([np.full(batches, np.inf), np.ones(len(used))])
    least = _least(np.array(cost), LinearConstraint(matrix, low, np.inf), Bounds(0, upper), seconds)
    return least, 0


def _least(cost, limits, bounds, seconds):
    from scipy.optimize import milp

    answer = milp(cost, constraints=limits, integrality=np.ones(len(cost)), bounds=bounds, options={"time_limit": seconds})
    if answer.mip_dual_bound is None or not np.isfinite(answer.mip_dual_bound):
        answer = milp(cost, constraints=limits, bounds=bounds)
        return float(answer.fun)
    return float(answer.mip_dual_bound)
