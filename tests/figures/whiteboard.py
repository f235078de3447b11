"""The whiteboard's way, to compare with: who has waited longest goes first, into the vessel that has it ready first.

Tanks that wait and may go with it fill up the batch in their order of arrival; the batch stands behind the last one of its vessel.
Nobody looks at due dates, at room left empty or at clean-downs. Every limit is kept.
"""

from __future__ import annotations

from regenplant.core.scheduling.search import Fit, Search


def first_come(search: Search) -> None:
    """Puts every tank onto the empty board; what fits nowhere stays in ``search.unplaced``."""
    compiled = search.compiled
    waiting = sorted(range(len(compiled.key_of)), key=lambda tank: (compiled.received[tank], tank))
    while waiting:
        oldest = waiting[0]
        found = _soonest(search, oldest, waiting)
        if found is None:
            search.unplaced.append(oldest)
            waiting.remove(oldest)
            continue
        fit, tanks, volume, percent = found
        search.put(compiled.key_of[oldest], tanks, volume, percent, fit)
        taken = set(tanks)
        waiting = [tank for tank in waiting if tank not in taken]
    search.score = search.whole_score()


def _soonest(search: Search, oldest: int, waiting: list[int]) -> tuple[Fit, list[int], float, float] | None:
    """The batch with the tank that has waited longest, in the vessel in which it is ready first."""
    compiled, board = search.compiled, search.board
    key = compiled.key_of[oldest]
    best: tuple[Fit, list[int], float, float] | None = None
    if not compiled.stages[key]:
        return None
    for vessel in compiled.vessels_of[key]:
        row = board.sequence[vessel]
        free, before = (row[-1].end, row[-1].key) if row else (compiled.ready[vessel], -1)
        begin = max(free + search.change(vessel, before, key), compiled.received[oldest])
        here = [tank for tank in waiting if compiled.key_of[tank] == key and compiled.received[tank] <= begin]
        tanks, volume = search.fill(here, compiled.capacity[vessel])
        if oldest not in tanks:
            continue
        percent = max(compiled.percent[tank] for tank in tanks)
        needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
        starts = board.fit(needs, begin, compiled.slots)
        if starts is None:
            continue
        end = needs.done(starts)
        if best is None or end < best[0].needs.done(best[0].starts):
            cost = search.fixed_cost(vessel, volume, needs) + search.late_cost(tanks, end)
            best = (Fit(vessel, needs, starts, cost, cost), tanks, volume, percent)
    return best
