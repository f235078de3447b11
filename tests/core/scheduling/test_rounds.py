"""What the bound of small instances knows of a vessel's day: every plan makes one of its rounds in each spell, and never earlier."""

from __future__ import annotations

import pytest

from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.rounds import Part, Round, Rounds
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.core.scheduling.spells import Spells, Window
from tests.core.scheduling.instances import instance
from tests.core.scheduling.spells_seen import seen_in, spells_of


@pytest.mark.parametrize("seed", range(24))
def test_every_plan_makes_rounds_that_are_known_and_is_nowhere_earlier(seed: int) -> None:
    problem = problem_from(instance(seed, tanks=8 + seed % 9))
    compiled = Compiled(problem)
    spells = spells_of(compiled)
    plan = solve(problem, 1, Budget(steps=60)).plan
    looked_at = 0
    for vessel, window, batches in seen_in(spells, plan):
        rounds = Rounds(spells, vessel, window)
        parts = tuple(rounds.part(key, received) for key, received, _ in batches)
        known = {one.parts: one for one in rounds.all}
        assert parts in known
        assert all(seen >= least for (_, _, seen), least in zip(batches, known[parts].unloads, strict=True))
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
