"""Lower bounds: no plan can be cheaper, whatever anybody finds. What is above them is the honest gap.

The bound is a sum of three parts that no plan can escape together:

* **Batching and changeovers**, state by state (family, class, lot): the cheapest set of batches that serves its tanks, each batch at
  the price of its vessel with the room left empty, plus one changeover for every vessel that the state enters, free where the vessel
  holds it already. Solved exactly as an integer program over all batches that are possible (set covering by patterns; Gilmore &
  Gomory 1961) while they can be counted out, else by its linear relaxation, with one changeover for each state.
* **Lateness**: each tank alone in the empty plant, in its best vessel, with all calendars.
* **Makespan**: the largest of those ends, or the moment by which vessels, skids and people can have done so many batches (load_bounds.py).

What these three cost more because vessels, states and the end of the plan depend on each other is found by one more program, where it
is small enough: place_bound.py with every batch in every place, room_bound.py with what vessels have time for.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from regenplant.core.scheduling.board import Board
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.load_bounds import last_slot
from regenplant.core.scheduling.place_bound import Places
from regenplant.core.scheduling.program import Program
from regenplant.core.scheduling.room_bound import room_program
from regenplant.core.scheduling.spells import Spells, State

MOST_PATTERNS = 6_000
"""Batches of one key that are counted out one by one; beyond it the linear relaxation is solved."""


MOST_TANKS = 1_000
"""More tanks are too much for a program of all of them together."""

LOAD_FRAC = 0.1
"""Share of the time for the makespan under load."""

ALONE_FRAC = 0.2
"""Share of the time for the states one by one, small ones first; the rest is for all of them together. States that are not reached
in the whole time cost nothing."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A lower bound of the score in its parts."""

    batching: float
    """Batches, waivers, chemicals, water, waste and changeovers."""
    lateness: float
    makespan: float
    together: float = 0.0
    """What these cost more because they cannot all be least at once."""

    @property
    def total(self) -> float:
        """No plan has a lower score."""
        return self.batching + self.lateness + self.makespan + self.together


def lower_bound(
    compiled: Compiled, seconds: float, clock: Callable[[], float], at_most: float = inf
) -> Bound:
    """The bound of an instance whose tanks can all be served. ``seconds`` is about how long it may take by ``clock``; with less
    time the bound is lower, never wrong. ``at_most``: the score of a known plan, which makes the search for the bound quicker; the
    bound is no higher."""
    began = clock()
    apart, least, spells = _alone(compiled, seconds, clock)
    together = _together(spells, least, apart.lateness, began + seconds, clock, at_most)
    return replace(apart, together=max(0.0, together - apart.total))


def places_of(compiled: Compiled, seconds: float, clock: Callable[[], float]) -> Places | None:
    """The program of a small instance with every batch in every place; None for a larger one."""
    _, least, spells = _alone(compiled, seconds, clock)
    if not spells.ends:
        return None
    places = Places(spells, least)
    return places if places.is_small else None


def _alone(
    compiled: Compiled, seconds: float, clock: Callable[[], float]
) -> tuple[Bound, dict[State, float], Spells]:
    """The three parts of the bound, what each state costs alone at least, and what is known of time."""
    states: dict[State, list[int]] = defaultdict(list)
    for key, name in enumerate(compiled.keys):
        if compiled.vessels_of[key] and compiled.stages[key]:
            states[name.family, name.segregation, name.lot].append(key)
    began = clock()
    ends = earliest_ends(compiled)
    late = sum(
        compiled.weight[tank] * max(0, end * compiled.slot_min - compiled.due_min[tank])
        for tank, end in ends.items()
    )
    last = last_slot(compiled, ends, began + LOAD_FRAC * seconds, clock)
    least = dict.fromkeys(states, 0.0)
    tanks = Counter(compiled.keys[key][:3] for key in compiled.key_of)
    alone_until = began + (LOAD_FRAC + ALONE_FRAC) * seconds
    for done, state in enumerate(
        sorted(states, key=lambda name: tanks[name])
    ):  # the small ones leave their time
        if done and clock() > began + seconds:
            break
        share = max(0.0, alone_until - clock()) / (len(states) - done)
        least[state] = _state_bound(compiled, state, states[state], share, clock)
    apart = Bound(sum(least.values()), late * compiled.late_per_min, compiled.span_per_slot * last)
    return apart, least, Spells(compiled, {tank: end for tank, end in ends.items() if end}, last)


def _together(
    spells: Spells,
    least: dict[State, float],
    lateness: float,
    until: float,
    clock: Callable[[], float],
    at_most: float,
) -> float:
    """The better of the programs in which vessels, states and the end of the plan depend on each other; 0 without one."""
    if not spells.ends or len(spells.ends) > MOST_TANKS:
        return 0.0
    places = Places(spells, least)
    if places.is_small:
        return places.program.least(until - clock(), at_most)
    room = room_program(spells, least)
    return room.least(until - clock(), at_most - lateness) + lateness if room is not None else 0.0


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
                needs = compiled.needs(key, vessel, 1, charged, compiled.percent[tank])
                begin = max(compiled.received[tank], compiled.ready[vessel])
                starts = board.fit(needs, begin, compiled.slots)
                if starts is not None:
                    found.append(needs.done(starts))
            known[name] = min(found, default=0)
        ends[tank] = known[name]
    return ends


@dataclass(frozen=True, slots=True)
class _Kind:
    """Tanks of one key that are alike for a batch: same volume, same dose."""

    volume: int
    percent: float
    count: int
    loose: float = 0.0
    """Litres that were rounded off each of them at most."""


def _kinds(compiled: Compiled, key: int) -> list[_Kind]:
    """Volumes rounded down to whole litres: a smaller tank never costs more."""
    counts: dict[tuple[int, float], int] = defaultdict(int)
    largest = max(compiled.capacity[vessel] for vessel in compiled.vessels_of[key])
    for tank, own in enumerate(compiled.key_of):
        if own == key and compiled.volume[tank] <= largest:
            counts[int(compiled.volume[tank]), compiled.percent[tank]] += 1
    is_whole = all(
        float(compiled.volume[tank]).is_integer() for tank, own in enumerate(compiled.key_of) if own == key
    )
    loose = 0.0 if is_whole else 1.0
    return [_Kind(volume, percent, count, loose) for (volume, percent), count in sorted(counts.items())]


def _state_bound(
    compiled: Compiled, state: State, keys: list[int], seconds: float, clock: Callable[[], float]
) -> float:
    """The least that the tanks of one state cost."""
    kinds = {key: _kinds(compiled, key) for key in keys}
    patterns = {key: list(_patterns(compiled, key, kinds[key])) for key in keys}
    if all(len(found) <= MOST_PATTERNS for found in patterns.values()):
        return _exact(compiled, state, kinds, patterns, seconds)
    vessels = {vessel for key in keys for vessel in compiled.vessels_of[key]}
    entry = min(_entry(compiled, state, vessel) for vessel in vessels)
    return entry + sum(_relaxed(compiled, key, kinds[key], seconds / len(keys), clock) for key in keys)


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
        for count in range(
            min(kinds[at].count, left // kinds[at].volume if kinds[at].volume else kinds[at].count) + 1
        ):
            yield from fill(at + 1, left - count * kinds[at].volume, (*chosen, count))

    yield from fill(0, largest, ())


def _price(
    compiled: Compiled, key: int, volume: float, percent: float, vessel: int, loose: float = 0.0
) -> float:
    """What a batch costs in a vessel, wherever it stands in time. ``loose``: litres that may have been rounded off it; with them it
    may need no waiver."""
    costs = compiled.problem.costs
    needs = compiled.needs(key, vessel, 1, max(volume, compiled.minimum[vessel]), percent)
    is_waived = volume + loose < compiled.minimum[vessel]
    return costs.batch + needs.cost + (costs.underfill_waiver if is_waived else 0.0)


def _entry(compiled: Compiled, state: State, vessel: int) -> float:
    """What it costs to bring the state into the vessel for the first time."""
    key = next(at for at, name in enumerate(compiled.keys) if name[:3] == state)
    return compiled.change_cost[vessel] if compiled.first_change_slots[vessel][key] else 0.0


def _exact(
    compiled: Compiled,
    state: State,
    kinds: dict[int, list[_Kind]],
    patterns: dict[int, list[tuple[int, ...]]],
    seconds: float,
) -> float:
    """Integer program: a column for each batch in each sort of vessel, one for each sort of vessel entered. A batch of a vessel needs
    the vessel entered, tank kind by tank kind."""
    vessels = _alike(compiled, state, list(kinds))
    program = Program()
    need = {(key, at): float(kind.count) for key in kinds for at, kind in enumerate(kinds[key])}
    cover = {name: program.row(count) for name, count in need.items()}
    entered = {vessel: program.column(_entry(compiled, state, vessel), most=1.0) for vessel in vessels}
    links: dict[tuple[int, int, int], int] = {}
    for key, found in patterns.items():
        for pattern in found:
            volume = sum(count * kind.volume for count, kind in zip(pattern, kinds[key], strict=True))
            percent = max(kind.percent for count, kind in zip(pattern, kinds[key], strict=True) if count)
            for vessel in vessels:
                if volume > compiled.capacity[vessel] or vessel not in compiled.vessels_of[key]:
                    continue
                loose = sum(count * kind.loose for count, kind in zip(pattern, kinds[key], strict=True))
                column = program.column(_price(compiled, key, volume, percent, vessel, loose))
                for at, count in enumerate(pattern):
                    if count:
                        program.put(cover[key, at], column, count)
                        link = links.get((vessel, key, at))
                        if link is None:
                            link = links[vessel, key, at] = program.row(0.0)
                            program.put(link, entered[vessel], need[key, at])
                        program.put(link, column, -count)
    return program.least(seconds)


def _alike(compiled: Compiled, state: State, keys: list[int]) -> list[int]:
    """One vessel of each sort: alike in fill, in what they may hold of these keys, and in what entering them costs."""
    sorts: dict[tuple[float, float, float, tuple[bool, ...]], int] = {}
    for vessel in sorted({vessel for key in keys for vessel in compiled.vessels_of[key]}):
        may_hold = tuple(vessel in compiled.vessels_of[key] for key in keys)
        entry = _entry(compiled, state, vessel)
        sorts.setdefault((compiled.capacity[vessel], compiled.minimum[vessel], entry, may_hold), vessel)
    return list(sorts.values())


def _relaxed(
    compiled: Compiled, key: int, kinds: list[_Kind], seconds: float, clock: Callable[[], float]
) -> float:
    """The linear relaxation over all batches, with columns found by a knapsack recursion until none is missing or time is up. Prices that
    some batch would beat are scaled down until none does (Farley 1990), so the answer is a bound at any moment."""
    from scipy.optimize import linprog

    until = clock() + seconds
    percents = sorted({kind.percent for kind in kinds})
    loose = sum(kind.loose * kind.count for kind in kinds)
    prices = _prices(compiled, key, percents, loose)
    need = [float(kind.count) for kind in kinds]
    columns = [tuple(int(at == own) for at in range(len(kinds))) for own in range(len(kinds))]
    costs = [float(prices[kind.percent][kind.volume]) for kind in kinds]
    best = 0.0
    while True:
        answer = linprog(
            costs, A_ub=-np.array(columns, dtype=float).T, b_ub=[-count for count in need], method="highs"
        )
        worth = [-value for value in answer.ineqlin.marginals]
        missing, ratio = [], 1.0
        for percent in percents:
            volume, gain, pattern = _knapsack(kinds, worth, percent, prices[percent])
            ratio = max(ratio, gain)
            if gain > 1.0 + 1e-7:
                missing.append((pattern, float(prices[percent][volume])))
        best = max(best, sum(value * count for value, count in zip(worth, need, strict=True)) / ratio)
        if not missing or clock() > until:
            return best
        for pattern, cost in missing:
            columns.append(pattern)
            costs.append(cost)


def _prices(compiled: Compiled, key: int, percents: list[float], loose: float) -> dict[float, np.ndarray]:
    """For each dose the price of a batch by its volume in whole litres, in the cheapest vessel that takes it."""
    largest = int(max(compiled.capacity[vessel] for vessel in compiled.vessels_of[key]))
    table = {percent: np.full(largest + 1, np.inf) for percent in percents}
    for percent in percents:
        for vessel in compiled.vessels_of[key]:
            for volume in range(1, int(compiled.capacity[vessel]) + 1):
                price = _price(compiled, key, volume, percent, vessel, loose)
                table[percent][volume] = min(table[percent][volume], price)
    return table


def _knapsack(
    kinds: list[_Kind], worth: list[float], percent: float, prices: np.ndarray
) -> tuple[int, float, tuple[int, ...]]:
    """The batch worth most for its price: its volume, worth over price, and the tanks of each kind in it."""
    best = np.full(len(prices), -np.inf)
    best[0] = 0.0
    items: list[tuple[int, int]] = []  # kind, how many at once: powers of two make every count
    taken: list[np.ndarray] = []
    for at, kind in enumerate(kinds):
        left, bunch = kind.count, 1
        while left and kind.percent <= percent and kind.volume > 0:
            bunch = min(bunch, left)
            size = bunch * kind.volume
            with_it = np.full(len(best), -np.inf)
            if size < len(best):
                with_it[size:] = best[: len(best) - size] + bunch * worth[at]
            better = with_it > best
            best = np.where(better, with_it, best)
            items.append((at, bunch))
            taken.append(better)
            left -= bunch
            bunch *= 2
    value = best / prices
    volume = int(np.argmax(value[1:])) + 1
    counts = [0] * len(kinds)
    here = volume
    for (at, bunch), better in zip(reversed(items), reversed(taken), strict=True):
        if better[here]:
            counts[at] += bunch
            here -= bunch * kinds[at].volume
    return volume, float(value[volume]), tuple(counts)
