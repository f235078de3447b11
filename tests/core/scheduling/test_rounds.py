"""What the bound of small instances knows of a vessel's day: every plan makes one of its rounds in each spell, and never earlier."""

from __future__ import annotations

import time
from collections import defaultdict

import pytest

from regenplant.core.scheduling.bounds import earliest_ends
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.load_bounds import last_slot
from regenplant.core.scheduling.plan import PlannedBatch
from regenplant.core.scheduling.rounds import Part, Round, Rounds
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.core.scheduling.spells import Spells, Window
from tests.core.scheduling.instances import instance


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


@pytest.mark.parametrize("seed", range(24))
def test_every_plan_makes_rounds_that_are_known_and_is_nowhere_earlier(seed: int) -> None:
    problem = problem_from(instance(seed, tanks=8 + seed % 9))
    compiled = Compiled(problem)
    spells = spells_of(compiled)
    plan = solve(problem, 1, Budget(steps=60)).plan
    by_vessel: dict[str, list[PlannedBatch]] = defaultdict(list)
    for batch in sorted(plan.batches, key=lambda item: item.stages[0].start_min):
        by_vessel[batch.vessel].append(batch)
    looked_at = 0
    for vessel, own in enumerate(problem.vessels):
        for window, batches in made_in(spells, vessel, by_vessel[own.id]).items():
            rounds = Rounds(spells, vessel, window)
            parts = tuple(rounds.part(key, received) for key, received, _ in batches)
            known = {one.parts: one for one in rounds.all}
            assert parts in known
            assert all(
                seen >= least for (_, _, seen), least in zip(batches, known[parts].unloads, strict=True)
            )
            looked_at += len(batches)
    assert looked_at > len(plan.batches) / 2


def test_a_round_ends_where_the_next_batch_would_be_unloaded_behind_the_spell() -> None:
    """One more batch of any kind is either known too, or out of tanks, or too late: nothing is left out and nothing is made up."""
    compiled = Compiled(problem_from(instance(3, tanks=14)))
    spells = spells_of(compiled)
    longest = 0
    for vessel in spells.vessels:
        *windows, _ = spells.windows(vessel)
        for window in windows:
            rounds = Rounds(spells, vessel, window)
            known = {one.parts for one in rounds.all}
            for one in rounds.all:
                longest = max(longest, len(one.parts))
                assert one.unloads[-1] <= window.end and one.unloads[0] >= window.begin
                for key in spells.own[vessel]:
                    further = Part(key, spells.received(key))
                    if (*one.parts, further) not in known:
                        tanks = len(spells.tanks_of[key])
                        assert one.parts.count(further) == tanks or is_late(spells, vessel, window, one, key)
    assert longest >= 2


def is_late(spells: Spells, vessel: int, window: Window, one: Round, key: int) -> bool:
    change = spells.change(vessel, spells.state_of[one.parts[-1].key], spells.state_of[key])
    begin = max(one.free + change, spells.received(key))
    unload = spells.unload_of(spells.smallest[key, vessel], begin)
    return unload is None or unload > window.end
