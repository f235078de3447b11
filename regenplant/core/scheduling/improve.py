"""Taking pieces out of a plan and putting them back better, until time is up."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

from regenplant.core.scheduling.board import Placed
from regenplant.core.scheduling.search import EARLIER_PER_SLOT, UNPLACED_COST, Search

ROUNDING = 1e-6
"""Of sums of costs."""

MANY_TANKS = 300
"""From so many tanks on there is more to do than time for: small changes, which are quick, and a good deal of warmth."""

FEW_TANKS = 80
"""Up to so many tanks there are few plans to choose from, and the program of every batch in every place may be tried: larger instances
are too much for it, whatever they look like."""

WARMTH_FEW, WARMTH, WARMTH_MANY = 0.03, 0.06, 0.05
"""At first a plan that is dearer by about so much of the mean cost of a batch is taken on; later less and less."""

MOST_TAKEN, MOST_TAKEN_MANY = 7, 5
"""So many batches are taken off at once, at most; seldom so many."""

APART_FRAC, APART_FRAC_MANY = 0.25, 0.05
"""How often a batch is not formed of all the tanks that there are for it."""

SHARED_FRAC = 0.25
"""How often, where there are few tanks, a batch is filled to somewhere between the half and the whole of what its vessel holds: so what
is left for the next one may come above its minimum."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A copy of the board: enough to put it back."""

    batches: tuple[tuple[Placed, tuple[int, ...]], ...]
    unplaced: tuple[int, ...]
    score: float


def improve(
    search: Search,
    is_over: Callable[[int], float],
    warmth: float | None = None,
    on_better: Callable[[Kept], None] | None = None,
) -> int:
    """Improves the plan on the board in place and leaves the best one found there. ``is_over`` is told the number of the step and
    answers which part of the time has passed; 1 ends it. ``warmth``: what is said at WARMTH, if not that. ``on_better`` is handed each
    plan that is the best so far, the first one too. Returns the number of steps."""
    rng = search.random
    search.score = search.whole_score()
    best = keep(search)
    if on_better is not None:
        on_better(best)
    steps = 0
    if warmth is None:
        is_few = len(search.compiled.key_of) <= FEW_TANKS
        warmth = WARMTH_MANY if _has_many(search) else WARMTH_FEW if is_few else WARMTH
    temperature_0 = warmth * max(1.0, search.score / max(1, len(search.batches)))
    while search.batches or search.unplaced:
        passed = is_over(steps)
        if passed >= 1.0:
            break
        steps += 1
        temperature = temperature_0 * (1.0 - passed) ** 2
        before = search.score
        removed = _choose(search)
        allowed = -temperature * math.log(max(rng.random(), 1e-12))
        change = _Change(search, removed)
        done = change.rebuild(allowed)
        if done and (change.rise < allowed - 1e-9 or (change.rise <= 1e-9 and change.rise < allowed)):
            search.score = before + change.rise
            if search.score < best.score - 1e-6:
                best = keep(search)
                if on_better is not None:
                    on_better(best)
        else:
            change.undo()
    restore(search, best)
    return steps


def _has_many(search: Search) -> bool:
    return len(search.compiled.key_of) >= MANY_TANKS


def keep(search: Search) -> Kept:
    """A copy of what is on the board. Placed batches never change, so only the lists are copied."""
    return Kept(tuple((batch, ()) for batch in search.batches), tuple(search.unplaced), search.score)


def restore(search: Search, kept: Kept) -> None:
    """Puts a copy back."""
    wanted = {id(batch) for batch, _ in kept.batches}
    for batch in [item for item in search.batches if id(item) not in wanted]:
        search.take_off(batch)
    present = {id(batch) for batch in search.batches}
    for batch, _ in kept.batches:
        if id(batch) not in present:
            search.board.put(batch)
            search.batches.append(batch)
    search.unplaced = list(kept.unplaced)
    search.score = kept.score


class _Change:
    """One step: what was taken off, what was put on, and what it adds to the score."""

    def __init__(self, search: Search, removed: list[Placed]) -> None:
        self.search = search
        self.removed = removed
        self.added: list[Placed] = []
        self.unplaced = list(search.unplaced)
        self.rise = 0.0

    def rebuild(self, allowed: float) -> bool:
        """Puts new batches on; False as soon as it is plain that the score rises by more than ``allowed``."""
        search = self.search
        compiled = search.compiled
        tanks = [tank for batch in self.removed for tank in batch.tanks] + search.unplaced
        search.unplaced = []
        waiting: list[tuple[int, list[int], int]] = [
            (pinned.key, list(pinned.tanks), pin)
            for pin, pinned in enumerate(compiled.pins)
            if pinned.tanks[0] in tanks
        ]  # what people decided goes first, as it is
        waiting += [
            (key, group, -1)
            for key, group in self._batches([tank for tank in tanks if tank not in compiled.pinned])
        ]
        left = [self._of(key, group) for key, group, _ in waiting]
        rest = sum(least for _, _, least in left)
        rise = UNPLACED_COST * (len(search.unplaced) - len(self.unplaced))
        rise -= sum(batch.cost for batch in self.removed)
        rise -= search.saved_without(self.removed)
        if rise + rest > allowed + ROUNDING:
            self.removed = []  # too dear wherever they go: the board stays as it is
            return False
        for batch in self.removed:
            search.take_off(batch)
        for (key, group, pin), (volume, percent, least) in zip(waiting, left, strict=True):
            rest -= least
            below = allowed - rise - rest + EARLIER_PER_SLOT * compiled.slots + ROUNDING
            fit = search.best_fit(key, group, volume, percent, pin, below) if below > 0 else None
            if fit is not None:
                rise += fit.added - EARLIER_PER_SLOT * fit.needs.done(fit.starts)
                self.added.append(search.put(key, group, volume, percent, fit, pin))
                continue
            if below < UNPLACED_COST * len(group):
                return False
            rise += UNPLACED_COST * len(group)
            search.unplaced.extend(group)
        self.rise = rise
        return True

    def _of(self, key: int, group: list[int]) -> tuple[float, float, float]:
        """Litres, dose in percent, and the least that such a batch costs."""
        search = self.search
        volume = sum(search.compiled.volume[tank] for tank in group)
        percent = max(search.compiled.percent[tank] for tank in group)
        return volume, percent, search.least_fixed(key, len(group), volume, percent)

    def undo(self) -> None:
        for batch in self.added:
            self.search.take_off(batch)
        for batch in self.removed:
            self.search.board.put(batch)
            self.search.batches.append(batch)
        self.search.unplaced = self.unplaced

    def _batches(self, tanks: list[int]) -> list[tuple[int, list[int]]]:
        """The tanks pooled by key into batches, in the order in which they are put on."""
        search = self.search
        compiled, rng = search.compiled, search.random
        groups: dict[int, list[int]] = defaultdict(list)
        for tank in tanks:
            if compiled.vessels_of[compiled.key_of[tank]] and compiled.stages[compiled.key_of[tank]]:
                groups[compiled.key_of[tank]].append(tank)
            else:
                search.unplaced.append(tank)
        formed: list[tuple[float, int, list[int]]] = []
        urgency_first = rng.random() < 0.7
        has_many = _has_many(search)
        for key in sorted(groups):
            left = groups[key]
            vessels = compiled.vessels_of[key]
            way = rng.random()
            if way < 0.5:
                left.sort(
                    key=lambda t: (
                        compiled.due_min[t] + 200 * rng.random() - 300 * math.log(compiled.weight[t]),
                        t,
                    )
                )
            elif way < 0.75:
                left.sort(key=lambda t: (compiled.received[t], -compiled.volume[t], t))
            else:
                left.sort(key=lambda t: (-compiled.volume[t] * (0.7 + 0.6 * rng.random()), t))
            capacities = [compiled.capacity[v] for v in vessels]
            while left:
                capacity = max(capacities) if rng.random() < 0.6 else rng.choice(capacities)
                if not has_many and rng.random() < SHARED_FRAC:
                    capacity *= 0.5 + 0.5 * rng.random()
                group, _ = search.fill(self._together(left), capacity)
                if not group:
                    group, _ = search.fill(left, max(capacities))
                if not group:
                    search.unplaced.extend(left)
                    break
                chosen = set(group)
                left = [tank for tank in left if tank not in chosen]
                formed.append((self._rank(group, urgency_first), key, group))
        formed.sort(key=lambda item: item[0])
        return [(key, group) for _, key, group in formed]

    def _together(self, left: list[int]) -> list[int]:
        """Mostly all of them; now and then only those that are at hand by some moment, or the first few: an urgent tank need not wait
        for one that comes later, nor a batch be as full as it can be."""
        compiled, rng = self.search.compiled, self.search.random
        apart = APART_FRAC_MANY if _has_many(self.search) else APART_FRAC
        way = rng.random()
        if len(left) < 2 or way > apart:
            return left
        if way < 0.6 * apart:
            until = max(compiled.received[left[0]], compiled.received[rng.choice(left)])
            return [tank for tank in left if compiled.received[tank] <= until]
        return left[: rng.randint(1, len(left) - 1)]

    def _rank(self, group: list[int], urgency_first: bool) -> float:
        search = self.search
        compiled, rng = search.compiled, search.random
        if urgency_first:
            due = min(compiled.due_min[t] - 400 * math.log(compiled.weight[t]) for t in group)
            return due + 600 * rng.random()
        return rng.random()


def _choose(search: Search) -> list[Placed]:
    """Batches that are taken off together: near each other in time, in key, or in vessel."""
    rng = search.random
    batches = search.batches
    if not batches:
        return []
    most = MOST_TAKEN_MANY if _has_many(search) else MOST_TAKEN
    wanted = min(len(batches), 2 + int(rng.random() ** 2 * (most - 1)))
    way = rng.random()
    seed = _seed(search)
    if way < 0.35:
        scale = 1.0
        near = sorted(batches, key=lambda b: abs(b.start - seed.start) * (0.5 + rng.random()) * scale)
    elif way < 0.65:
        near = sorted(
            batches,
            key=lambda b: (
                (
                    (
                        0
                        if b.key == seed.key
                        else 400
                        if search.compiled.keys[b.key].family == search.compiled.keys[seed.key].family
                        else 900
                    )
                    + abs(b.start - seed.start)
                )
                * (0.5 + rng.random())
            ),
        )
    elif way < 0.85:
        row = search.board.sequence[seed.vessel]
        at = row.index(seed)
        first = max(0, at - rng.randrange(wanted))
        near = row[first : first + wanted]
        if seed not in near:
            near = [seed, *near][:wanted]
    else:
        allowed = set(search.compiled.vessels_of[seed.key])
        near = sorted(
            (b for b in batches if b.vessel in allowed),
            key=lambda b: (
                (max(0, seed.start - b.start) + 3 * max(0, b.start - seed.start)) * (0.3 + rng.random())
            ),
        )
        if seed not in near[:wanted]:
            near = [seed, *near]
    return near[:wanted]


def _seed(search: Search) -> Placed:
    """A batch to begin with: dear ones more often."""
    rng = search.random
    best = rng.choice(search.batches)
    for _ in range(2):
        other = rng.choice(search.batches)
        if other.cost > best.cost and rng.random() < 0.5:
            best = other
    return best
