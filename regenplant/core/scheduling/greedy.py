"""The first plan: whenever a vessel falls free, the batch with the highest index of urgency goes in.

The index is the batched apparent tardiness cost: weight over processing time, falling with slack, summed over the tanks of the batch
and lowered by a changeover and by room left empty (the rule of parallel batching with incompatible families; Moench et al. 2005).
"""

from __future__ import annotations

import heapq
import math
import random
from collections import defaultdict
from dataclasses import dataclass

from regenplant.core.scheduling.search import Fit, Search


@dataclass(frozen=True, slots=True)
class Rule:
    """How urgency is weighed."""

    look_ahead: float = 8.0
    """Slack counts in multiples of the mean processing time times this: a short look sees only what is late already."""
    room_patience: float = 1.0
    """How strongly a vessel below its minimum fill is put off."""
    setup_slots: float = 40.0
    """A changeover of so many slots takes the index to a third."""
    tried: int = 10
    """So many of the most urgent batches are put onto the board in turn; the one that holds the vessel shortest for its index stays."""

    @classmethod
    def drawn(cls, rng: random.Random) -> Rule:
        """Another rule of the same sort."""
        return cls(
            rng.choice((3.0, 6.0, 10.0, 16.0)),
            rng.choice((0.5, 1.0, 2.0)),
            rng.choice((30.0, 60.0, 100.0, 200.0)),
        )


def first_plan(search: Search, rule: Rule) -> None:
    """Puts every tank onto the board; what fits nowhere stays in ``search.unplaced``."""
    compiled = search.compiled
    waiting: dict[int, set[int]] = defaultdict(set)
    _put_decided(search)
    decided = compiled.pinned.union(tank for batch in search.batches for tank in batch.tanks)
    for tank, key in enumerate(compiled.key_of):
        if tank in decided:
            continue
        if compiled.vessels_of[key] and compiled.stages[key]:
            waiting[key].add(tank)
        else:
            search.unplaced.append(tank)
    shortest = [
        min(compiled.needs(key, v, 3, compiled.minimum[v], 100.0).shortest for v in compiled.vessels_of[key])
        if compiled.vessels_of[key] and compiled.stages[key]
        else 1
        for key in range(len(compiled.keys))
    ]
    mean = max(1.0, sum(shortest) / len(shortest)) * rule.look_ahead if shortest else 1.0
    free = [(compiled.ready[vessel], vessel) for vessel in range(len(compiled.problem.vessels))]
    heapq.heapify(free)
    while free and any(waiting.values()):
        now, vessel = heapq.heappop(free)
        if now >= compiled.slots:
            continue
        row = [batch for batch in search.board.sequence[vessel] if batch.start <= now]
        before = row[-1].key if row else -1
        ranked: list[tuple[float, int, list[int], float]] = []
        next_arrival = compiled.slots
        for key, tanks in waiting.items():
            if not tanks or vessel not in compiled.vessels_of[key]:
                continue
            here = [
                t
                for t in tanks
                if compiled.received[t] <= now and compiled.volume[t] <= compiled.capacity[vessel]
            ]
            later = [compiled.received[t] for t in tanks if compiled.received[t] > now]
            if later:
                next_arrival = min(next_arrival, min(later))
            if not here:
                continue
            setup = search.change(vessel, before, key)
            index = {t: _urgency(search, t, now, setup + shortest[key], mean) for t in here}
            order = sorted(here, key=lambda t: (-index[t], t))
            chosen, volume = search.fill(order, compiled.capacity[vessel])
            value = sum(index[t] for t in chosen) / (shortest[key] + setup)
            if volume < compiled.minimum[vessel]:
                value *= (volume / compiled.minimum[vessel]) ** rule.room_patience
            value *= math.exp(-setup / rule.setup_slots)
            ranked.append((value, key, chosen, volume))
        if not ranked:
            if next_arrival < compiled.slots:
                heapq.heappush(free, (max(next_arrival, now + 1), vessel))
            continue
        ranked.sort(key=lambda item: -item[0])
        best: tuple[float, int, list[int], float, float, Fit] | None = None
        for value, key, chosen, volume in ranked[: rule.tried]:
            if best is not None and value <= best[0]:
                break
            percent = max(compiled.percent[t] for t in chosen)
            fit = _behind(search, vessel, before, key, chosen, volume, percent, now)
            if fit is None:
                continue
            took = fit.needs.vessel_free(fit.starts) - now
            value *= (shortest[key] + search.change(vessel, before, key)) / took
            if best is None or value > best[0]:
                best = (value, key, chosen, volume, percent, fit)
        if best is None:
            heapq.heappush(free, (now + 72, vessel))
            continue
        _, key, chosen, volume, percent, fit = best
        placed = search.put(key, chosen, volume, percent, fit)
        waiting[key].difference_update(chosen)
        heapq.heappush(free, (placed.end, vessel))
    for tanks in waiting.values():
        search.unplaced.extend(sorted(tanks))
    search.score = search.whole_score()


def _put_decided(search: Search) -> None:
    """What people decided goes onto the board first, times before vessels; then what a known plan holds, where it still fits."""
    compiled = search.compiled
    order = sorted(
        range(len(compiled.pins)), key=lambda at: (compiled.pins[at].start < 0, compiled.pins[at].start, at)
    )
    for at in order:
        pin = compiled.pins[at]
        fit = None
        if compiled.stages[pin.key]:
            fit = search.best_fit(pin.key, list(pin.tanks), pin.volume, pin.percent, pin=at)
        if fit is None:
            search.unplaced.extend(pin.tanks)
        else:
            search.put(pin.key, list(pin.tanks), pin.volume, pin.percent, fit, at)
    names = {tank.id: at for at, tank in enumerate(compiled.problem.tanks)}
    vessels = {vessel.id: at for at, vessel in enumerate(compiled.problem.vessels)}
    for known in sorted(compiled.problem.standing, key=lambda item: item.start_min):
        tanks = [names[name] for name in known.tanks if name in names and names[name] not in compiled.pinned]
        vessel = vessels.get(known.vessel, -1)
        keys = {compiled.key_of[tank] for tank in tanks}
        if len(keys) != 1 or not keys.issubset(_keys_of(search, vessel)):
            continue
        key, volume = keys.pop(), sum(compiled.volume[tank] for tank in tanks)
        percent = max(compiled.percent[tank] for tank in tanks)
        if volume > compiled.capacity[vessel] or not compiled.stages[key]:
            continue
        needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
        earliest = max(compiled.received[tank] for tank in tanks)
        fixed = search.fixed_cost(vessel, volume, needs)
        fit = search.best_gap(vessel, key, tanks, needs, fixed, earliest, search.last_end(), None)
        if fit is not None:
            search.put(key, tanks, volume, percent, fit)


def _keys_of(search: Search, vessel: int) -> set[int]:
    """The keys that a vessel may hold; none for one that is not there."""
    return {key for key, vessels in enumerate(search.compiled.vessels_of) if vessel in vessels}


def _urgency(search: Search, tank: int, now: int, needed: int, mean: float) -> float:
    compiled = search.compiled
    slack = compiled.due_min[tank] / compiled.slot_min - now - needed
    return compiled.weight[tank] * math.exp(-max(0.0, slack) / mean)


def _behind(
    search: Search,
    vessel: int,
    before: int,
    key: int,
    tanks: list[int],
    volume: float,
    percent: float,
    now: int,
) -> Fit | None:
    """The batch behind the last one of the vessel, if it fits at all; where something was decided or closed, in its first gap."""
    compiled = search.compiled
    needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
    row = search.board.sequence[vessel]
    if compiled.closed[vessel] or compiled.standing or (row and row[-1].end > now):
        fixed = search.fixed_cost(vessel, volume, needs)
        earliest = max(now, max(compiled.received[tank] for tank in tanks))
        return search.best_gap(vessel, key, tanks, needs, fixed, earliest, 0, None)
    begin = max(now + search.change(vessel, before, key), max(compiled.received[t] for t in tanks))
    starts = search.board.fit(needs, begin, compiled.slots)
    if starts is None:
        return None
    end = needs.done(starts)
    cost = search.fixed_cost(vessel, volume, needs) + search.late_cost(tanks, end)
    return Fit(vessel, needs, starts, cost, cost)
