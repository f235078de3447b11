"""The whiteboard way, to hold a plan against: tanks in the order in which they came, each vessel as it falls free.

The vessel that is free first takes the tank that has waited longest of those it may hold, fills up with the next ones of the same key,
and begins as soon as every limit allows. Nobody looks ahead: neither at due dates, nor at changeovers, nor at how full the vessel is.
Every hard limit is kept all the same, on the same board as the search. What was decided by hand is left aside.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import replace

from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem
from regenplant.core.scheduling.search import Fit, Search
from regenplant.core.scheduling.solve import plan_on

LOOKS_AGAIN_SLOTS = 72
"""A vessel into which nothing can begin is looked at again after so many slots: six hours on a grid of five minutes."""


def first_come(problem: Problem, order: Sequence[str] = (), patience_min: int = 0) -> Plan:
    """The plan of the whiteboard.

    Parameters
    ----------
    problem : Problem
        Pins and known plans in it are left aside
    order : Sequence of str
        Which came first of tanks that are received at the same time, as all have been that wait already; those it does not name come
        after them, as they stand. A tank on its way takes its turn by when it is received, named or not
    patience_min : int
        A vessel below its minimum fill waits for more of the same key until the oldest tank has waited so long [min]; 0 begins at once

    Returns
    -------
    plan : Plan
        Keeps every limit; a tank for which no place is found in the calendar stands in no batch
    """
    compiled = Compiled(replace(problem, pins=(), standing=()))
    search = Search(compiled, 0)
    place = {name: at for at, name in enumerate(order)}
    waiting = sorted(
        range(len(problem.tanks)),
        key=lambda tank: (
            compiled.received[tank],
            place.get(problem.tanks[tank].id, len(place)),
            tank,
        ),
    )
    patience = -(-patience_min // problem.slot_min)
    free = [(compiled.ready[vessel], vessel) for vessel in range(len(problem.vessels))]
    heapq.heapify(free)
    while free and waiting:
        now, vessel = heapq.heappop(free)
        if now >= compiled.slots:
            continue
        mine = [
            tank
            for tank in waiting
            if vessel in compiled.vessels_of[compiled.key_of[tank]]
            and compiled.volume[tank] <= compiled.capacity[vessel]
            and compiled.stages[compiled.key_of[tank]]
        ]
        here = [tank for tank in mine if compiled.received[tank] <= now]
        if not here:
            if mine:
                heapq.heappush(free, (max(min(compiled.received[tank] for tank in mine), now + 1), vessel))
            continue
        later = [compiled.received[tank] for tank in mine if compiled.received[tank] > now]
        keys, deadlines = _ready(search, vessel, here, now, patience)
        if not keys:
            heapq.heappush(free, (min([*later, *deadlines]), vessel))
            continue
        begun = next((found for key in keys if (found := _begin(search, vessel, key, here, now))), None)
        if begun is None:
            heapq.heappush(free, (now + LOOKS_AGAIN_SLOTS, vessel))
            continue
        tanks, end = begun
        waiting = [tank for tank in waiting if tank not in tanks]
        heapq.heappush(free, (end, vessel))
    search.unplaced = waiting
    return plan_on(search)


def _ready(
    search: Search, vessel: int, here: Sequence[int], now: int, patience: int
) -> tuple[list[int], list[int]]:
    """The keys with which the vessel begins now, that of the oldest tank first; and when patience ends with the others."""
    compiled = search.compiled
    keys, deadlines = [], []
    for key in dict.fromkeys(compiled.key_of[tank] for tank in here):
        tanks = [tank for tank in here if compiled.key_of[tank] == key]
        _, volume = search.fill(tanks, compiled.capacity[vessel])
        deadline = min(compiled.received[tank] for tank in tanks) + patience
        if volume >= compiled.minimum[vessel] or now >= deadline:
            keys.append(key)
        else:
            deadlines.append(deadline)
    return keys, deadlines


def _begin(
    search: Search, vessel: int, key: int, here: Sequence[int], now: int
) -> tuple[set[int], int] | None:
    """Puts the oldest tanks of a key into the vessel, as many as fit; which, and when the vessel is free again."""
    compiled = search.compiled
    chosen, volume = search.fill(
        [tank for tank in here if compiled.key_of[tank] == key], compiled.capacity[vessel]
    )
    percent = max(compiled.percent[tank] for tank in chosen)
    needs = compiled.needs(key, vessel, len(chosen), max(volume, compiled.minimum[vessel]), percent)
    fixed = search.fixed_cost(vessel, volume, needs)
    fit: Fit | None = search.best_gap(vessel, key, chosen, needs, fixed, now, 0, None)
    if fit is None:
        return None
    return set(chosen), search.put(key, chosen, volume, percent, fit).end
