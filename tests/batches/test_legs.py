"""Legs side by side: whose turn it is, what stands where, and where a bed may stand. Plain steps, no database."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

import pytest

from regenplant.batches import legs
from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind
from regenplant.plant.models import Vessel

ACID, CAUSTIC = Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE
_W, _C, _A = Leg.WHOLE, Leg.CATION, Leg.ANION
MIXED: tuple[tuple[StepKind, Leg, Chemical | None, bool], ...] = (
    (StepKind.LOAD, _W, None, True),
    (StepKind.SEPARATE, _W, None, False),
    (StepKind.SETTLE, _W, None, False),
    (StepKind.CUT, _W, None, True),
    (StepKind.INJECT, _C, ACID, False),
    (StepKind.DISPLACE, _C, None, True),
    (StepKind.RINSE, _C, None, True),
    (StepKind.INJECT, _A, CAUSTIC, False),
    (StepKind.SOAK, _A, None, False),
    (StepKind.DISPLACE, _A, None, True),
    (StepKind.RINSE, _A, None, True),
    (StepKind.JOIN, _W, None, False),
    (StepKind.AIR_MIX, _W, None, False),
    (StepKind.FAST_RINSE, _W, None, True),
    (StepKind.RECIRCULATE, _W, None, True),
    (StepKind.SAMPLE, _W, None, True),
)


@dataclass
class Planned:
    chemical: Chemical | None


@dataclass
class Plan:
    chemicals: dict[int, Chemical | None] = field(default_factory=dict)

    def step(self, number: int) -> Planned:
        return Planned(self.chemicals[number])


def bed(rows=MIXED) -> tuple[list[StepRun], Plan]:
    steps = [
        StepRun(number=n, kind=kind.value, name=f"{kind.label} {n}", leg=leg.value, state="waiting", is_safe_hold_after=safe)
        for n, (kind, leg, _, safe) in enumerate(rows, start=1)
    ]  # fmt: skip
    return steps, Plan({n: chemical for n, (_, _, chemical, _) in enumerate(rows, start=1)})


def done_to(steps: list[StepRun], number: int) -> None:
    for step in steps:
        if step.number <= number:
            step.state = "done"


def names(steps) -> list[int]:
    return [step.number for step in steps]


def test_a_leg_waits_for_the_whole_bed_and_its_own_steps_only() -> None:
    steps, _ = bed()
    assert names(legs.predecessors(steps[5], steps)) == [1, 2, 3, 4, 5]
    assert names(legs.predecessors(steps[7], steps)) == [1, 2, 3, 4]
    assert names(legs.predecessors(steps[9], steps)) == [1, 2, 3, 4, 8, 9]


def test_the_join_waits_for_everything_before_it() -> None:
    steps, _ = bed()
    assert names(legs.predecessors(steps[11], steps)) == list(range(1, 12))


def test_after_the_cut_both_legs_can_be_worked_at_once() -> None:
    steps, _ = bed()
    done_to(steps, 4)
    assert names(legs.now_at_work(steps)) == [5, 8]
    steps[7].state = "running"
    assert names(legs.now_at_work(steps)) == [5, 8]
    for index in (7, 8, 9, 10):
        steps[index].state = "done"
    assert names(legs.now_at_work(steps)) == [5]


def test_what_stands_is_told_leg_by_leg() -> None:
    steps, plan = bed()
    done_to(steps, 4)
    assert legs.standing_chemicals(steps, plan) == {}
    steps[4].state = "running"
    assert legs.standing_chemicals(steps, plan) == {_C: ACID}
    steps[7].state = "done"
    both = legs.standing_chemicals(steps, plan)
    assert both == {_C: ACID, _A: CAUSTIC}
    words = legs.standing_words(both)
    assert words.startswith("Hydrochloric acid (in the cation leg), as well as sodium hydroxide")
    assert words.endswith("sodium hydroxide (caustic, in the anion leg),")


def test_a_soak_holds_the_chemical_until_it_is_displaced() -> None:
    steps, plan = bed()
    done_to(steps, 4)
    for index in (7, 8):
        steps[index].state = "done"
    assert legs.standing_chemicals(steps, plan) == {_A: CAUSTIC}
    steps[9].state = "running"
    assert legs.standing_chemicals(steps, plan) == {_A: CAUSTIC}
    steps[9].state = "done"
    assert legs.standing_chemicals(steps, plan) == {}


def test_the_other_legs_displacement_takes_nothing_out_of_this_one() -> None:
    steps, plan = bed()
    done_to(steps, 4)
    for index in (4, 7, 8, 9):
        steps[index].state = "done"
    assert legs.standing_chemicals(steps, plan) == {_C: ACID}


def test_a_sanitizer_stands_until_it_is_rinsed() -> None:
    naocl = Chemical.SODIUM_HYPOCHLORITE
    steps, plan = bed(
        (
            (StepKind.EMPTY, _W, None, True),
            (StepKind.SANITIZE, _W, naocl, False),
            (StepKind.RINSE, _W, None, True),
        )
    )
    done_to(steps, 2)
    assert legs.standing_chemicals(steps, plan) == {_W: naocl}
    assert legs.standing_words({_W: naocl}) == "Sodium hypochlorite"
    done_to(steps, 3)
    assert legs.standing_chemicals(steps, plan) == {}


@pytest.mark.parametrize(
    ("begun", "expected"),
    [
        ((), "the end of load the vessel 1"),
        ((1, 2, 3, 4, 5), "the end of displacement rinse 6"),
        ((1, 2, 3, 4, 8), "the end of displacement rinse 10"),
        ((1, 2, 3, 4, 5, 8), "the end of displacement rinse 6 and of displacement rinse 10"),
    ],
)
def test_the_next_safe_point_is_named_for_every_leg_with_a_chemical(begun, expected: str) -> None:
    steps, plan = bed()
    for number in begun:
        steps[number - 1].state = "done"
    assert legs.next_safe_point(steps, legs.standing_chemicals(steps, plan)) == expected


def test_a_chemical_left_standing_while_nothing_runs_is_found() -> None:
    steps, plan = bed()
    done_to(steps, 5)
    vessel, anion_vessel = Vessel(pk=1, code="M1"), Vessel(pk=2, code="M2")
    batch = Batch(number="B-1", vessel=vessel, anion_vessel=anion_vessel)
    (found,) = legs.left_standing(batch, steps, plan)
    assert (found.leg, found.chemical, found.vessel, found.next_step) == (
        _C,
        ACID,
        vessel,
        "Displacement rinse 6",
    )
    steps[7].state = "done"
    assert [one.vessel for one in legs.left_standing(batch, steps, plan)] == [vessel, anion_vessel]
    steps[5].state = "running"
    assert [one.leg for one in legs.left_standing(batch, steps, plan)] == [_A]


@pytest.mark.parametrize("seed", range(60))
def test_any_interleaving_ends_and_keeps_its_promises(seed: int) -> None:
    """Random turns on what is at work: each leg runs in its own order, nothing joins with a chemical in a leg, two run at most."""
    dice = random.Random(seed)
    steps, plan = bed()
    finished: list[int] = []
    for _ in range(200):
        at_work = legs.now_at_work(steps)
        if not at_work:
            break
        assert len(at_work) <= 2 and len({step.leg for step in at_work}) == len(at_work)
        step = dice.choice(at_work)
        if step.state == "waiting":
            step.state = "running"
        else:
            step.state = "done"
            finished.append(step.number)
        if step.number >= 12:
            assert legs.standing_chemicals(steps, plan) == {}
    assert sorted(finished) == list(range(1, 17))
    for leg in (_C, _A):
        own = [n for n in finished if steps[n - 1].leg == leg]
        assert own == sorted(own)
    assert finished.index(4) < min(finished.index(n) for n in range(5, 12))
    assert finished.index(12) > max(finished.index(n) for n in range(5, 12))


def test_resin_stands_apart_from_the_cut_to_the_join() -> None:
    steps, _ = bed()
    batch = Batch(vessel=Vessel(pk=1), anion_vessel=Vessel(pk=2))
    seen = []
    for number in (3, 4, 11, 12):
        done_to(steps, number)
        seen.append(legs.is_apart(batch, steps))
    assert seen == [False, True, True, False]
    assert not legs.is_apart(Batch(vessel=Vessel(pk=1)), steps)


def test_each_leg_works_in_its_own_vessel_and_cut_and_join_in_both() -> None:
    steps, _ = bed()
    one, two = Vessel(pk=1, code="M1"), Vessel(pk=2, code="M2")
    apart, together = Batch(vessel=one, anion_vessel=two), Batch(vessel=one)
    assert [legs.vessels_of(apart, steps[n]) for n in (0, 3, 4, 7, 11)] == [
        (one,),
        (one, two),
        (one,),
        (two,),
        (one, two),
    ]
    assert {legs.vessels_of(together, step) for step in steps} == {(one,)}
