"""What the bound of larger instances knows of a vessel's day: so many batches of each length, and never more than a plan can make."""

from __future__ import annotations

from collections import Counter

import pytest

from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.rounds import Rounds
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.core.scheduling.turns import Turns
from tests.core.scheduling.instances import instance
from tests.core.scheduling.spells_seen import seen_in, spells_of


def counted(turns: Turns, keys: list[int]) -> tuple[int, ...]:
    """How many of the keys are of each length."""
    count = Counter(keys)
    return tuple(sum(count[key] for key in alike) for alike in turns.keys)


@pytest.mark.parametrize("seed", range(24))
def test_every_plan_makes_turns_that_are_known_and_is_nowhere_earlier(seed: int) -> None:
    problem = problem_from(instance(seed, tanks=8 + seed % 9))
    spells = spells_of(Compiled(problem))
    plan = solve(problem, 1, Budget(steps=60)).plan
    looked_at = 0
    for vessel, window, batches in seen_in(spells, plan):
        turns = Turns(spells, vessel)
        known = {turn.counts: turn.free for turn in turns.of(window) or []}
        counts = counted(turns, [key for key, _, _ in batches])
        assert counts in known
        key, _, unload = batches[-1]
        assert unload + spells.last_step(key, vessel).slots >= known[counts]
        looked_at += len(batches)
    assert looked_at > len(plan.batches) / 2


@pytest.mark.parametrize("seed", range(12))
def test_turns_are_the_rounds_with_their_order_forgotten(seed: int) -> None:
    """Each round is a turn that ends no later; where each length is of one state, no turn has more batches than the longest round."""
    spells = spells_of(Compiled(problem_from(instance(seed, tanks=9))))
    several = 0
    for vessel in spells.vessels:
        turns = Turns(spells, vessel)
        is_same = all(len({spells.state_of[key] for key in alike}) == 1 for alike in turns.keys)
        *windows, _ = spells.windows(vessel)
        for window in windows:
            made = turns.of(window)
            assert made is not None
            known = {turn.counts: turn.free for turn in made}
            longest = 0
            for one in Rounds(spells, vessel, window).all:
                keys = [part.key for part in one.parts]
                if any(keys.count(key) > len(spells.tanks_of[key]) for key in keys):
                    continue  # a round with more batches than tanks
                counts = counted(turns, keys)
                longest = max(longest, len(keys))
                several += sum(counts) > 1
                assert known[counts] <= one.free
            if is_same:
                assert max((sum(turn.counts) for turn in made), default=0) == longest
    assert several


def test_too_many_turns_are_none_and_bind_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    spells = spells_of(Compiled(problem_from(instance(3, tanks=14))))
    of_vessel = {vessel: next(iter(spells.windows(vessel))) for vessel in spells.vessels}
    assert all(Turns(spells, vessel).of(window) for vessel, window in of_vessel.items())
    monkeypatch.setattr("regenplant.core.scheduling.turns.MOST_TURNS", 0)
    assert [Turns(spells, vessel).of(window) for vessel, window in of_vessel.items()] == [None] * len(
        of_vessel
    )
