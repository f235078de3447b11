"""What each vessel of a plan unloads in each of its spells, as the bounds look at it."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterator

from regenplant.core.scheduling.bounds import earliest_ends
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.load_bounds import last_slot
from regenplant.core.scheduling.plan import Plan, PlannedBatch
from regenplant.core.scheduling.spells import Spells, Window


def spells_of(compiled: Compiled) -> Spells:
    ends = earliest_ends(compiled)
    return Spells(compiled, ends, last_slot(compiled, ends, time.monotonic() + 5.0, time.monotonic))


def unloads_of(spells: Spells, vessel: int, batches: list[PlannedBatch]) -> list[tuple[int, int, int]]:
    """Key, last arrival and slot of unloading of each batch of a vessel, when it has the plant to itself and begins as soon as it can."""
    compiled = spells.compiled
    at = {tank.id: number for number, tank in enumerate(compiled.problem.tanks)}
    free, before, found = compiled.ready[vessel], None, []
    for batch in batches:
        tanks = [at[name] for name in batch.tanks]
        key = compiled.key_of[tanks[0]]
        volume = max(sum(compiled.volume[tank] for tank in tanks), compiled.minimum[vessel])
        needs = compiled.needs(key, vessel, len(tanks), volume, max(compiled.percent[tank] for tank in tanks))
        received = max(compiled.received[tank] for tank in tanks)
        begin = max(free + spells.change(vessel, before, spells.state_of[key]), received)
        unload = spells.unload_of(needs, begin)
        assert unload is not None
        found.append((key, received, unload))
        free, before = unload + needs.steps[needs.inside - 1].slots, spells.state_of[key]
    return found


def made_in(
    spells: Spells, vessel: int, batches: list[PlannedBatch]
) -> dict[Window, list[tuple[int, int, int]]]:
    """The same by spell; without what comes behind the last."""
    *windows, behind = spells.windows(vessel)
    found: dict[Window, list[tuple[int, int, int]]] = defaultdict(list)
    for key, received, unload in unloads_of(spells, vessel, batches):
        if unload < behind.begin:
            (window,) = (item for item in windows if item.begin <= unload <= item.end)
            found[window].append((key, received, unload))
    return found


def seen_in(spells: Spells, plan: Plan) -> Iterator[tuple[int, Window, list[tuple[int, int, int]]]]:
    """Vessel, spell and what is unloaded in it, for all vessels of a plan."""
    by_vessel: dict[str, list[PlannedBatch]] = defaultdict(list)
    for batch in sorted(plan.batches, key=lambda item: item.stages[0].start_min):
        by_vessel[batch.vessel].append(batch)
    for vessel, own in enumerate(spells.compiled.problem.vessels):
        for window, batches in made_in(spells, vessel, by_vessel[own.id]).items():
            yield vessel, window, batches
