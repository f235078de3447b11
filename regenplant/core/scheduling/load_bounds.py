"""Before which moment a plan cannot be over, because batches wait for each other.

For a group of keys that share vessels, or a chemical, two counts grow with time and no plan is ahead of either:

* **Vessels**: the n-th batch of a vessel is done no earlier than n batches of the fastest key, one behind the other in the empty plant.
* **What is shared**: so many batches need so many skid, technician or operator slots, and no more of them are there by then.

A batch holds no more than its vessel, so the group needs so many batches and litres at least.

The same counts say little of lateness: what makes tanks late is that people come back only next morning, and a linear program over litres
and hours does not see that (tried: no more than the tanks alone on the sizes day and week).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from regenplant.core.scheduling.board import Board
from regenplant.core.scheduling.compiled import Compiled, Needs


@dataclass(frozen=True, slots=True)
class _Group:
    """Keys that are served by the same means: what can be done of them by each moment."""

    keys: frozenset[int]
    times: tuple[int, ...]
    """Slots in which one more batch can be done, rising."""
    litres: tuple[float, ...]
    """The most that can be done by each of them."""

    def when(self, batches: int, litres: float) -> int:
        """The first slot by which so much can be done; the last known where that is never."""
        if not self.times:
            return 0
        enough = next(
            (at for at, most in enumerate(self.litres) if most >= litres - 1e-6), len(self.times) - 1
        )
        return self.times[min(len(self.times) - 1, max(enough, batches - 1))]


def last_slot(compiled: Compiled, ends: dict[int, int], until: float, clock: Callable[[], float]) -> int:
    """The slot before which not everything is done. ``ends``: of each tank the slot in which it is ready if it has the plant to itself.

    ``until`` is when it should be found by ``clock``; groups that are not reached by then are left out, which makes the bound lower,
    never wrong.
    """
    last = max(ends.values(), default=0)
    for number, keys in enumerate(_sets_of_keys(compiled, ends)):
        if number and clock() > until:
            break
        group = _group(compiled, keys, ends)
        tanks = [tank for tank in ends if compiled.key_of[tank] in keys]
        litres = sum(compiled.volume[tank] for tank in tanks)
        last = max(last, group.when(_fewest(compiled, keys, tanks), litres))
    return last


def _sets_of_keys(compiled: Compiled, ends: dict[int, int]) -> list[frozenset[int]]:
    """Everything together first, then what has only some vessels, then what takes a chemical."""
    present = sorted({compiled.key_of[tank] for tank in ends})
    vessels = {key: frozenset(compiled.vessels_of[key]) for key in present}
    found = [frozenset(present)]
    for among in sorted({*vessels.values()}, key=lambda own: (-len(own), sorted(own))):
        found.append(frozenset(key for key in present if vessels[key] <= among))
    for chemical in range(len(compiled.chemicals)):
        found.append(
            frozenset(
                key
                for key in present
                if any(use(needs, chemical) for needs in _least(compiled, key).values())
            )
        )
    return [keys for keys in dict.fromkeys(found) if keys]


def use(needs: Needs, chemical: int) -> int:
    """Slots for which a batch holds lines of the chemical's skid."""
    return sum(step.slots * lines for step in needs.steps for own, lines, _ in step.draws if own == chemical)


def _least(compiled: Compiled, key: int) -> dict[int, Needs]:
    """By vessel what the smallest batch of a key takes: no batch of it is quicker or takes less of what is shared."""
    volume = min(own for own, at in zip(compiled.volume, compiled.key_of, strict=True) if at == key)
    percent = min(own for own, at in zip(compiled.percent, compiled.key_of, strict=True) if at == key)
    return {
        vessel: compiled.needs(key, vessel, 1, max(volume, compiled.minimum[vessel]), percent)
        for vessel in compiled.vessels_of[key]
        if volume <= compiled.capacity[vessel]
    }


def _fewest(compiled: Compiled, keys: frozenset[int], tanks: Sequence[int]) -> int:
    """Batches that are needed at least: no batch holds two keys, nor more than the largest vessel."""
    litres: dict[int, float] = defaultdict(float)
    for tank in tanks:
        litres[compiled.key_of[tank]] += compiled.volume[tank]
    return sum(
        int(np.ceil(own / max(compiled.capacity[vessel] for vessel in compiled.vessels_of[key]) - 1e-9))
        for key, own in litres.items()
        if key in keys
    )


def _group(compiled: Compiled, keys: frozenset[int], ends: dict[int, int]) -> _Group:
    tanks = [tank for tank in ends if compiled.key_of[tank] in keys]
    litres = sum(compiled.volume[tank] for tank in tanks)
    least = {key: _least(compiled, key) for key in keys}
    done: list[tuple[int, float]] = []
    for vessel in sorted({vessel for own in least.values() for vessel in own}):
        needs = list(dict.fromkeys(own[vessel] for own in least.values() if vessel in own))
        begin = min(compiled.received[tank] for tank in tanks)
        most = min(len(tanks), int(np.ceil(litres / compiled.capacity[vessel])) + len(keys))
        done += [
            (slot, compiled.capacity[vessel])
            for slot in _one_behind_the_other(compiled, vessel, needs, begin, most)
        ]
    done.sort()
    shared = _shared(compiled, [own for by_vessel in least.values() for own in by_vessel.values()], len(done))
    largest = sorted((capacity for _, capacity in done), reverse=True)
    best = np.cumsum(largest)
    times, most_litres, own = [], [], 0.0
    for number, (slot, capacity) in enumerate(done):
        own += capacity
        times.append(max(slot, shared[number]))
        most_litres.append(min(own, float(best[number])))
    return _Group(keys, tuple(times), tuple(most_litres))


def _one_behind_the_other(
    compiled: Compiled, vessel: int, needs: Sequence[Needs], begin: int, most: int
) -> list[int]:
    """Slots by which the first, second, ... batch of a vessel can be done, in the empty plant, each time the quickest of them."""
    board = Board(compiled)
    inside = [replace(own, steps=own.steps[: own.inside], after=0) for own in needs]
    free = max(begin, compiled.ready[vessel])
    found: list[int] = []
    while len(found) < most and free < compiled.slots:
        ready, emptied = compiled.slots, compiled.slots
        for whole, own in zip(needs, inside, strict=True):
            starts = board.fit(own, free, compiled.slots)
            end = own.vessel_free(starts) if starts is not None else free + own.shortest
            ready, emptied = min(ready, end + whole.after), min(emptied, end)
        found.append(ready)
        free = emptied
    return found


def _shared(compiled: Compiled, needs: Sequence[Needs], count: int) -> list[int]:
    """For 1, 2, ... batches the first slot by which everything shared can have served so many."""
    problem = compiled.problem
    latest = np.zeros(count, dtype=np.int64)
    offered = [
        (compiled.offered(problem.technician_shifts, 1), _technician),
        (compiled.offered(problem.operator_shifts, problem.attention_per_operator), _attention),
        *(
            (np.full(compiled.slots, problem.chemicals[name].skid_lines, dtype=np.int64), _skid(at))
            for at, name in enumerate(compiled.chemicals)
        ),
    ]
    for profile, taken in offered:
        least = min(map(taken, needs), default=0)
        if not least:
            continue
        there = np.cumsum(profile)
        wanted = least * np.arange(1, count + 1)
        slots = np.searchsorted(there, wanted) + 1
        latest = np.maximum(latest, np.minimum(slots, compiled.slots))
    return [int(slot) for slot in latest]


def _technician(needs: Needs) -> int:
    return sum(step.slots * step.technicians for step in needs.steps)


def _attention(needs: Needs) -> int:
    return sum(step.slots * step.attention for step in needs.steps)


def _skid(chemical: int) -> Callable[[Needs], int]:
    return lambda needs: use(needs, chemical)
