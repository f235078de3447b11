"""Batches under way are laid so that it is possible. The plants are made up; figures are data for tests, no advice."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest

from regenplant.core.scheduling.problem import (
    Changeover,
    ChemicalSupply,
    Costs,
    Problem,
    RunningBatch,
    Shift,
    Stage,
    WasteTank,
    Window,
)
from regenplant.core.scheduling.under_way import BegunBatch, Chain, Laid, Trouble, TroubleKind, laid
from tests.core.scheduling.laid_rules import over_by_what_waited

DAY = 1440
NOW = 8 * 60
SLOT = 5


def limits(**change: Any) -> Problem:
    """Ten days; two operators from 06:00 to 22:00, a technician and a second person to 14:00, one skid of each chemical."""
    days = range(10)
    made = Problem(
        name="made up",
        slot_min=SLOT,
        calendar_end_min=10 * DAY,
        tanks=(),
        vessels=(),
        recipes={},
        changeover=Changeover({}, {}, 0, "softened", 0.0),
        dose_percent={"normal": 100.0},
        priority_weight={1: 1.0},
        chemicals={name: ChemicalSupply(1, 5_000.0, 0.0, ()) for name in ("acid", "caustic")},
        water_l_per_min={"softened": 300.0, "deionized": 200.0},
        waste=WasteTank(60_000.0, 10_000.0, 40.0),
        attention_per_operator=4,
        operator_shifts=tuple(Shift(day * DAY + 360, day * DAY + 1320, 2) for day in days),
        technician_shifts=tuple(Shift(day * DAY + 360, day * DAY + 840, 1) for day in days),
        second_shifts=tuple(Shift(day * DAY + 360, day * DAY + 840, 1) for day in days),
        openings=tuple(Window(day * DAY + 360, day * DAY + 1320) for day in days),
        costs=Costs(1.0, 1.0, 1.0, 1.0, {"acid": 1.0, "caustic": 1.0}, {"softened": 1.0, "deionized": 1.0, "waste": 1.0}, 1.0),
    )  # fmt: skip
    return replace(made, **change)


def stage(name: str, minutes: int, **more: Any) -> Stage:
    usual: dict[str, Any] = {
        "minutes_per_tank": 0, "chemical": None, "dose_g_per_l": 0.0, "water": None, "flow_bv_per_h": 0.0,
        "to_waste": False, "attention": 0, "technicians": 0, "max_wait_after_min": 720,
    }  # fmt: skip
    return Stage(name, minutes, **{**usual, **more})


JUDGE = stage("judge", 20, technicians=1, max_wait_after_min=960)
FILL = stage("fill tanks", 45, attention=4, max_wait_after_min=2880)
RELEASE = stage("release", 20, second_people=1, after_vessel=True, max_wait_after_min=0)
LOAD = stage("1 Load", 30, attention=4)
INJECT = stage("2 Inject", 40, chemical="acid", dose_g_per_l=60.0, water="softened", flow_bv_per_h=4.0,
               to_waste=True, attention=1, max_wait_after_min=0, in_one_opening=True)  # fmt: skip
DISPLACE = stage("3 Displace", 30, water="softened", flow_bv_per_h=4.0, to_waste=True, max_wait_after_min=10,
                 in_one_opening=True)  # fmt: skip
RINSE = stage("4 Rinse", 40, water="deionized", flow_bv_per_h=10.0)
WHOLE = (LOAD, INJECT, DISPLACE, RINSE, JUDGE, FILL, RELEASE)


def batch(name: str, *stages: Stage, begun: bool = False, stands: int | None = None) -> BegunBatch:
    return BegunBatch(name, f"V{name}", (f"T{name}",), 600.0, 4, ((Chain(stages, begun, stands),),))


def times(one: RunningBatch) -> dict[str, tuple[int, int]]:
    return {part.name: (part.start_min, part.end_min) for part in one.stages}


def of_kind(found: Laid, kind: TroubleKind) -> list[Trouble]:
    return [trouble for trouble in found.troubles if trouble.kind is kind]


def test_many_batches_queue_for_one_technician_and_two_operators() -> None:
    """Thirteen batches at the same door: laid side by side they would take 7 operators and 6 technicians at once."""
    plant = limits()
    found = laid(plant, [batch(str(number), JUDGE, FILL, RELEASE) for number in range(13)], NOW)
    assert over_by_what_waited(plant, found.batches) == []
    judged = sorted(times(one)["judge"] for one in found.batches)
    assert judged == [(NOW + 20 * number, NOW + 20 * number + 20) for number in range(13)]
    assert found.troubles == ()
    assert list(found.free_min) == [times(one)["fill tanks"][1] for one in found.batches]


def test_what_runs_goes_on_where_it_is_and_its_bed_goes_before_a_fresh_one() -> None:
    plant = limits()
    running = batch("B", replace(INJECT, minutes=10, dose_g_per_l=0.0), DISPLACE, RINSE, begun=True)
    found = laid(plant, [batch("A", *WHOLE), running], NOW)
    assert list(times(found.batches[1]).values()) == [
        (NOW, NOW + 10),
        (NOW + 10, NOW + 40),
        (NOW + 40, NOW + 80),
    ]
    assert times(found.batches[0])["1 Load"] == (NOW, NOW + 30)
    assert times(found.batches[0])["2 Inject"][0] == NOW + 30
    assert found.troubles == ()


def test_what_runs_over_a_limit_stays_and_is_said_and_nothing_is_added_to_it() -> None:
    plant = limits()
    loads = [batch(str(number), LOAD, RINSE, begun=True) for number in range(3)]
    found = laid(plant, [*loads, batch("next", *WHOLE)], NOW)
    assert [times(one)["1 Load"] for one in found.batches[:3]] == [(NOW, NOW + 30)] * 3
    assert of_kind(found, TroubleKind.OVER) == [
        Trouble(TroubleKind.OVER, "", "", "operators", 3.0, 2.0, NOW, NOW + 30)
    ]
    assert times(found.batches[3])["1 Load"][0] == NOW + 30
    begun = {(str(number), "1 Load") for number in range(3)}
    assert over_by_what_waited(plant, found.batches, begun) == []


def test_a_bed_that_must_go_on_and_cannot_is_said_to_stand() -> None:
    """At 21:30 the displacement that follows the acid does not fit before closing at 22:00 with 40 min of it left."""
    plant, late = limits(), 21 * 60 + 30
    running = batch("B", replace(INJECT, dose_g_per_l=0.0, minutes=25), DISPLACE, RINSE, begun=True)
    found = laid(plant, [running], late)
    assert times(found.batches[0])["3 Displace"][0] == DAY + 360
    assert of_kind(found, TroubleKind.STANDS) == [
        Trouble(TroubleKind.STANDS, "B", "3 Displace", "", DAY + 360 - late - 25, 0, late + 25, DAY + 360)
    ]


def test_a_bed_that_may_stand_is_not_begun_where_it_would_have_to_be_left() -> None:
    """Fresh resin at 21:00: it is loaded, and waits at its safe point for the morning."""
    found = laid(limits(), [batch("B", *WHOLE)], 21 * 60)
    assert times(found.batches[0])["1 Load"][0] == 21 * 60
    assert times(found.batches[0])["2 Inject"][0] == DAY + 360
    assert found.troubles == ()


def test_a_stage_goes_over_stock_only_where_nothing_else_is_left_and_says_so() -> None:
    """60 g/L for 600 L are 36 kg; of 50 kg the second batch finds 14."""
    plant = limits()
    plant = replace(plant, chemicals={**plant.chemicals, "acid": ChemicalSupply(1, 50.0, 0.0, ())})
    found = laid(plant, [batch("A", *WHOLE), batch("B", *WHOLE)], NOW)
    short = [
        (one.batch, one.stage, one.what, one.taken, one.room) for one in of_kind(found, TroubleKind.SHORT)
    ]
    assert short == [("B", "2 Inject", "stock acid", 36.0, 14.0)]
    assert over_by_what_waited(plant, found.batches) == []


def test_without_a_technician_the_vessel_is_taken_to_the_end_and_that_is_said() -> None:
    found = laid(limits(technician_shifts=()), [batch("A", JUDGE, FILL, RELEASE)], NOW)
    assert found.free_min == (10 * DAY,)
    assert found.batches[0].stages == ()
    assert found.troubles == (Trouble(TroubleKind.NEVER, "A", "judge"),)


def test_inflows_wait_until_the_waste_tank_holds_them() -> None:
    """Acid and displacement of one batch send 40 L/min for 70 min against 20 L/min that drain: by 1,400 L the level rises. Six such
    batches at six in the morning, when the tank has room for one, must wait for one another."""
    plant = limits(waste=WasteTank(12_000.0, 10_500.0 + 360 * 20, 20.0))
    found = laid(plant, [batch(str(number), INJECT, DISPLACE, RINSE) for number in range(6)], 360)
    fills = [times(one)[name] for one in found.batches for name in ("2 Inject", "3 Displace")]
    level, highest = 10_500.0 + 360 * 20, 0.0
    for minute in range(10 * DAY):
        inflow = 40 * sum(begins <= minute < ends for begins, ends in fills)
        level = max(0.0, level + inflow - 20)
        highest = max(highest, level) if minute >= 360 else 0.0
    assert 11_800.0 < highest <= 12_000.0
    assert found.troubles == ()


def test_legs_go_on_by_themselves_and_what_follows_waits_for_both() -> None:
    acid = Chain((replace(INJECT, dose_g_per_l=0.0), DISPLACE), has_begun=True)
    caustic = Chain(
        (
            replace(INJECT, name="7 Inject", chemical="caustic"),
            replace(DISPLACE, name="8 Displace", minutes=90),
        )
    )
    both = BegunBatch("M", "M1", ("T1",), 600.0, 1, ((acid, caustic), (Chain((JUDGE, FILL, RELEASE)),)), "M2")
    found = laid(limits(), [both], NOW)
    at = times(found.batches[0])
    assert at["2 Inject"][0] == at["7 Inject"][0] == NOW
    assert at["judge"][0] == max(at["3 Displace"][1], at["8 Displace"][1])
    assert found.batches[0].beside == "M2"
    assert found.troubles == ()


@pytest.mark.parametrize("seed", range(40))
def test_nothing_that_waited_is_over_a_limit_and_every_batch_keeps_its_order(seed: int) -> None:
    """Many batches anywhere in their recipe, at any hour."""
    rng = random.Random(seed)
    plant, now = limits(), rng.randrange(0, DAY, SLOT)
    batches = []
    for number in range(rng.randrange(8, 30)):
        at = rng.randrange(len(WHOLE))
        runs = rng.random() < 0.4
        first = (
            replace(WHOLE[at], minutes=rng.randrange(1, WHOLE[at].minutes + 1), dose_g_per_l=0.0)
            if runs
            else WHOLE[at]
        )
        stands = 10 if not runs and at in (2, 3) else None
        batches.append(batch(str(number), first, *WHOLE[at + 1 :], begun=runs, stands=stands))
    found = laid(plant, batches, now)
    begun = {(one.id, one.rounds[0][0].stages[0].name) for one in batches if one.rounds[0][0].has_begun}
    assert over_by_what_waited(plant, found.batches, begun) == []
    said = {(trouble.batch, trouble.stage) for trouble in of_kind(found, TroubleKind.STANDS)}
    for one, made in zip(batches, found.batches, strict=True):
        waits = {part.name: part.max_wait_after_min for part in one.rounds[0][0].stages}
        assert [part.name for part in made.stages] == list(waits)
        for before, after in zip(made.stages, made.stages[1:], strict=False):
            wait = after.start_min - before.end_min
            assert wait >= 0
            is_safe = waits[before.name] > 60
            assert is_safe or wait <= waits[before.name] or (one.id, after.name) in said
