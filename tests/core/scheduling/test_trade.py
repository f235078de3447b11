"""What the trade asks beyond the exchange format: closed vessels, beds that must not stand alone, unchecked chemicals, the day's
budget, a second person, batches that run already, and what people decided. Held by a checker that knows nothing of the search."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.diagnosis import impossible
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.exchange_trade import trade_troubles
from regenplant.core.scheduling.plan import Plan, PlannedBatch
from regenplant.core.scheduling.problem import Problem, Standing, Window
from regenplant.core.scheduling.solve import Answer, Budget, solve
from tests.core.scheduling.instances import DAY, instance
from tests.core.scheduling.instances import stage as drawn_stage

DAYS = 12


def planned(problem: Problem, steps: int = 30) -> Answer:
    return solve(problem, 1, Budget(steps=steps))


def key_of(tank: dict[str, Any]) -> tuple[Any, ...]:
    return tank["family"], tank["segregation"], tank["lot"], tank["condition"] == "fouled"


def trade(seed: int, tanks: int = 14) -> dict[str, Any]:
    """A drawn instance with some of everything."""
    data = instance(seed, tanks=tanks)
    rng = random.Random(seed + 5_000)
    data["second_shifts"] = [
        {"start": day * DAY + 480, "end": day * DAY + 1000, "people": 1} for day in range(DAYS)
    ]
    data["openings"] = [{"start": day * DAY + 330, "end": day * DAY + 1350} for day in range(DAYS)]
    data["budgets"] = [
        {"ion": ion, "start": day * DAY, "end": (day + 1) * DAY, "kg": rng.choice((20, 45, 90))}
        for ion in ("chloride", "sodium")
        for day in range(DAYS)
    ]
    for recipe in data["recipes"]:
        for stage in recipe["stages"]:
            if stage["chemical"]:
                ion = "chloride" if stage["chemical"] == "acid" else "sodium"
                stage["load_g_per_l"] = {ion: stage["dose_g_per_l"] * 0.6}
            if recipe["family"] == "mixed" and stage["name"] == "displace_caustic" and rng.random() < 0.5:
                stage["beside"] = [
                    {
                        "chemical": "acid",
                        "dose_g_per_l": 30,
                        "water": "deionized",
                        "flow_bv_per_h": 2,
                        "to_waste": True,
                    },
                    {"chemical": "caustic"},
                ]
            if recipe["family"] == "mixed" and stage["name"] not in ("load", "rinse", "qc", "unload"):
                stage["in_one_opening"] = True
            if stage["name"] == "qc":
                stage["second_people"] = 1
        recipe["stages"][-1]["max_wait_after"] = 4000
        if rng.random() < 0.6:
            recipe["stages"].append(drawn_stage("release", 15, second_people=1, after_vessel=True))
    for vessel in data["vessels"]:
        if rng.random() < 0.5:
            start = rng.randrange(0, 3 * DAY, 5)
            vessel["closed"] = [{"start": start, "end": start + rng.choice((300, 1200, 2600))}]
    if rng.random() < 0.5:
        data["chemicals"]["acid"]["unusable"] = [{"start": rng.choice((0, 700)), "end": 1440 + 500}]
    if rng.random() < 0.6:
        data["running"] = [running(data, rng)]
    if rng.random() < 0.7 and data["tanks"]:
        data["pins"] = pins(data, rng)
    if rng.random() < 0.3:
        data["cost"].update(move_per_tank_hour=3.0, other_vessel_per_tank=15.0)
        data["standing"] = [
            {"tanks": [tank["id"]], "vessel": data["vessels"][0]["id"], "start": 480 + 60 * number}
            for number, tank in enumerate(data["tanks"][:3])
        ]
    return data


def running(data: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    vessel = rng.choice(data["vessels"])
    begun = 420
    vessel["ready_min"] = max(vessel["ready_min"], begun + 300)
    return {
        "id": "R1",
        "vessel": vessel["id"],
        "tanks": ["away"],
        "stages": [
            {
                "name": "inject_acid", "start": begun, "end": begun + 45, "chemical": "acid", "grams": 8_000,
                "water": "deionized", "flow_l_per_min": 9, "to_waste": True, "attention": 1, "load_g": {"chloride": 4_000},
            },
            {"name": "qc", "start": begun + 200, "end": begun + 220, "technicians": 1, "second_people": 1},
        ],
    }  # fmt: skip


def pins(data: dict[str, Any], rng: random.Random) -> list[dict[str, Any]]:
    """Decisions that can be carried out by themselves: alone or with one of the same key, sometimes a vessel, sometimes a time."""
    chosen = rng.choice(data["tanks"])
    others = [tank for tank in data["tanks"] if tank is not chosen and key_of(tank) == key_of(chosen)]
    tanks = [chosen, *others[:1]]
    vessel = next(item for item in data["vessels"] if chosen["family"] in item["families"])
    pin: dict[str, Any] = {"id": "P1", "tanks": [tank["id"] for tank in tanks]}
    if rng.random() < 0.6:
        pin["vessel"] = vessel["id"]
    if rng.random() < 0.4:
        pin["start"] = 4 * DAY + 480
    return [pin]


@pytest.mark.parametrize("seed", range(80))
def test_a_plan_keeps_what_the_trade_asks(seed: int) -> None:
    problem = problem_from(trade(seed, tanks=2 + seed % 15))
    answer = planned(problem)
    verdict = check(problem, answer.plan)
    out = set(answer.unplaced)
    allowed = [f"tank {name} stands in 0 batches" for name in out]
    allowed += [
        f"{pin.id}: its tanks are not one batch" for pin in problem.pins if out.intersection(pin.tanks)
    ]
    assert sorted(verdict.violations) == sorted(allowed)
    if not out:
        assert answer.score == pytest.approx(verdict.score.total, abs=1e-6)
    named = {name for item in impossible(problem) for name in item.tanks}
    assert named <= out
    assert out <= named | {name for pin in problem.pins for name in pin.tanks}, (
        "only what somebody decided may fail"
    )


def shifted(plan: Plan, at: int, minutes: int) -> Plan:
    batch = plan.batches[at]
    stages = tuple(
        replace(s, start_min=s.start_min + minutes, end_min=s.end_min + minutes) for s in batch.stages
    )
    return with_batch(plan, at, replace(batch, stages=stages))


def with_batch(plan: Plan, at: int, batch: PlannedBatch) -> Plan:
    return replace(plan, batches=(*plan.batches[:at], batch, *plan.batches[at + 1 :]))


def base() -> dict[str, Any]:
    data = instance(4, tanks=8)
    data["second_shifts"] = [
        {"start": day * DAY + 360, "end": day * DAY + 1320, "people": 1} for day in range(DAYS)
    ]
    return data


def violations_after(change: Callable[[dict[str, Any], Plan], None]) -> tuple[str, ...]:
    """What the checker says of a plan that was made before the change."""
    data = base()
    plan = planned(problem_from(data)).plan
    assert check(problem_from(data), plan).is_feasible
    changed = copy.deepcopy(data)
    change(changed, plan)
    return check(problem_from(changed), plan).violations


def first(plan: Plan) -> PlannedBatch:
    return min(plan.batches, key=lambda batch: batch.start_min)


def close_vessel(data: dict[str, Any], plan: Plan) -> None:
    batch = first(plan)
    vessel = next(item for item in data["vessels"] if item["id"] == batch.vessel)
    vessel["closed"] = [{"start": batch.end_min - 5, "end": batch.end_min + 600}]


def ask_second(data: dict[str, Any], plan: Plan) -> None:
    data["second_shifts"] = []
    for recipe in data["recipes"]:
        for stage in recipe["stages"]:
            stage["second_people"] = int(stage["name"] == "qc")


def shut_the_plant(data: dict[str, Any], plan: Plan) -> None:
    middle = first(plan).stages[1].start_min + 5
    data["openings"] = [{"start": 0, "end": middle}, {"start": middle + 10, "end": DAYS * DAY}]
    for recipe in data["recipes"]:
        for stage in recipe["stages"]:
            stage["in_one_opening"] = bool(stage["chemical"])


def expire(data: dict[str, Any], plan: Plan) -> None:
    for supply in data["chemicals"].values():
        supply["unusable"] = [{"start": 0, "end": 6 * DAY}]


def spend(data: dict[str, Any], plan: Plan) -> None:
    data["budgets"] = [{"ion": "chloride", "start": 0, "end": DAYS * DAY, "kg": 0.5}]
    for recipe in data["recipes"]:
        for stage in recipe["stages"]:
            stage["load_g_per_l"] = {"chloride": 50} if stage["chemical"] else {}


def others_draw(data: dict[str, Any], plan: Plan) -> None:
    held = max(supply["initial_kg"] for supply in data["chemicals"].values())
    data["running"] = [
        {"id": "R", "vessel": data["vessels"][0]["id"], "tanks": [], "stages": [
            {"name": "inject", "start": 0, "end": 30, "chemical": name, "grams": 1000 * (held + 2_000)}
            for name in data["chemicals"]
        ]}
    ]  # fmt: skip


def others_work(data: dict[str, Any], plan: Plan) -> None:
    batch = first(plan)
    data["running"] = [
        {"id": "R", "vessel": data["vessels"][0]["id"], "tanks": [], "stages": [
            {"name": "load", "start": batch.start_min, "end": batch.end_min, "attention": 8, "technicians": 1}
        ]}
    ]  # fmt: skip


def others_fill_the_waste(data: dict[str, Any], plan: Plan) -> None:
    injection = next(stage for stage in first(plan).stages if stage.name.startswith("inject"))
    begun = injection.start_min - 20
    room = data["waste"]["capacity_l"] - data["waste"]["initial_l"]
    flow = room // (injection.end_min - begun) + data["waste"]["drain_l_per_min"]
    data["running"] = [
        {"id": "R", "vessel": data["vessels"][0]["id"], "tanks": [], "stages": [
            {"name": "rinse", "start": begun, "end": injection.end_min, "water": "deionized", "flow_l_per_min": flow, "to_waste": True}
        ]}
    ]  # fmt: skip
    data["water"]["deionized"]["rate_l_per_min"] = 10_000


def decide_vessel(data: dict[str, Any], plan: Plan) -> None:
    batch = plan.batches[0]
    other = next(item["id"] for item in data["vessels"] if item["id"] != batch.vessel)
    data["pins"] = [{"id": "P", "tanks": list(batch.tanks), "vessel": other}]


def decide_time(data: dict[str, Any], plan: Plan) -> None:
    batch = plan.batches[0]
    data["pins"] = [{"id": "P", "tanks": list(batch.tanks), "start": batch.start_min + 35}]


def decide_alone(data: dict[str, Any], plan: Plan) -> None:
    batch = next(batch for batch in plan.batches if len(batch.tanks) > 1)
    data["pins"] = [{"id": "P", "tanks": [batch.tanks[0]]}]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (close_vessel, "closed from"),
        (ask_second, "second people: 1 too many"),
        (shut_the_plant, "while the plant is closed"),
        (expire, "of unchecked strength"),
        (spend, "0.5 kg are left of the budget"),
        (others_draw, "stock falls to"),
        (others_work, "too many, minute"),
        (others_fill_the_waste, "waste tank:"),
        (decide_vessel, "P: stands in"),
        (decide_time, "P: begins minute"),
        (decide_alone, "P: its tanks are not one batch"),
    ],
)
def test_the_checker_finds_each_limit_that_a_plan_breaks(
    change: Callable[[dict[str, Any], Plan], None], words: str
) -> None:
    assert any(words in sentence for sentence in violations_after(change))


def test_what_running_batches_overrun_alone_is_no_fault_of_the_plan() -> None:
    data = base()
    data["tanks"] = []
    data["running"] = [
        {"id": "R", "vessel": data["vessels"][0]["id"], "tanks": [], "stages": [
            {"name": "load", "start": 0, "end": 90, "attention": 40, "technicians": 3, "second_people": 2, "chemical": "acid",
             "grams": 9_000_000, "water": "deionized", "flow_l_per_min": 5_000, "to_waste": True}
        ]}
    ]  # fmt: skip
    problem = problem_from(data)
    assert check(problem, planned(problem).plan).is_feasible


def test_a_bed_is_never_left_standing_over_the_night_where_that_is_forbidden() -> None:
    """Caustic may be fed today and acid from tomorrow on. Without the rule the separated bed stands over the night; with it the
    whole bed waits until both can be fed on one day."""
    nights = {}
    for forbidden in (False, True):
        data = instance(4, tanks=1)
        data["tanks"][0].update(
            family="mixed", condition="normal", segregation="industrial", lot=None, received_min=0
        )
        data["openings"] = [{"start": day * DAY + 360, "end": day * DAY + 1320} for day in range(DAYS)]
        data["chemicals"]["acid"]["unusable"] = [{"start": 0, "end": DAY + 400}]
        data["chemicals"]["caustic"]["unusable"] = [{"start": DAY, "end": 3 * DAY}]
        for stage in next(item for item in data["recipes"] if item["family"] == "mixed")["stages"]:
            if stage["name"] == "displace_caustic":
                stage.update(max_wait_after=1200)
            stage["in_one_opening"] = forbidden and stage["name"] not in ("load", "rinse", "qc", "unload")
        problem = problem_from(data)
        plan = planned(problem).plan
        assert check(problem, plan).is_feasible
        (batch,) = plan.batches
        times = {stage.name: stage for stage in batch.stages}
        nights[forbidden] = times["inject_acid"].start_min // DAY - times["displace_caustic"].end_min // DAY
    assert nights == {False: 1, True: 0}


def test_a_plan_that_is_known_stays_where_it_can() -> None:
    """A vessel falls out: with a price on moves, fewer tanks move than when the plan is made anew."""
    data = instance(12, tanks=14)
    before = planned(problem_from(data), 200).plan
    data["standing"] = [
        {"tanks": list(batch.tanks), "vessel": batch.vessel, "start": batch.start_min}
        for batch in before.batches
    ]
    lost = before.batches[0].vessel
    next(item for item in data["vessels"] if item["id"] == lost)["closed"] = [{"start": 0, "end": 1000}]
    moved = {}
    for price in (0.0, 8.0):
        data["cost"].update(move_per_tank_hour=price, other_vessel_per_tank=price * 4)
        problem = problem_from(data)
        answer = planned(problem, 200)
        assert check(problem, answer.plan).is_feasible
        moved[price] = tanks_moved(problem.standing, answer.plan)
    assert moved[8.0] < moved[0.0]


def tanks_moved(standing: tuple[Standing, ...], plan: Plan) -> int:
    now = {name: (batch.vessel, batch.start_min) for batch in plan.batches for name in batch.tanks}
    return sum(now[name] != (item.vessel, item.start_min) for item in standing for name in item.tanks)


def test_a_decision_on_vessel_and_time_is_carried_out_to_the_minute() -> None:
    data = instance(4, tanks=8)
    tank = data["tanks"][0]
    vessel = next(item for item in data["vessels"] if tank["family"] in item["families"])
    data["pins"] = [{"id": "P1", "tanks": [tank["id"]], "vessel": vessel["id"], "start": 3 * DAY + 600}]
    problem = problem_from(data)
    answer = planned(problem, 60)
    assert check(problem, answer.plan).is_feasible
    batch = next(batch for batch in answer.plan.batches if tank["id"] in batch.tanks)
    assert (batch.tanks, batch.vessel, batch.start_min) == ((tank["id"],), vessel["id"], 3 * DAY + 600)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda data: data.update(pins=[{"id": "P", "tanks": ["nobody"]}]), "nobody, which is not there"),
        (lambda data: data.update(pins=[{"id": "P", "tanks": []}]), "names no tank"),
        (
            lambda data: data.update(pins=[{"id": "P", "tanks": [item["id"] for item in data["tanks"]]}]),
            "must not go together",
        ),
        (
            lambda data: data.update(
                pins=[{"id": name, "tanks": [data["tanks"][0]["id"]]} for name in ("P", "Q")]
            ),
            "stands in 2 pins",
        ),
        (
            lambda data: data.update(pins=[{"id": "P", "tanks": [data["tanks"][0]["id"]], "vessel": "X"}]),
            "vessel X",
        ),
        (
            lambda data: data.update(openings=[{"start": 0, "end": 60}, {"start": 60, "end": 90}]),
            "give them as one",
        ),
        (lambda data: data["vessels"][0].update(closed=[{"start": 60, "end": 60}]), "is no time"),
        (
            lambda data: data.update(
                budgets=[{"ion": "chloride", "start": at, "end": 2_000, "kg": 1} for at in (0, 500)]
            ),
            "two budgets of chloride",
        ),
        (
            lambda data: data.update(budgets=[{"ion": "chloride", "start": 3, "end": 90, "kg": 1}]),
            "off the grid",
        ),
        (
            lambda data: data.update(running=[{"id": "R", "vessel": "X", "tanks": [], "stages": []}]),
            "stands in the vessel X",
        ),
        (lambda data: data.update(running=[{"vessel": "V0"}]), "lacks the field 'id'"),
    ],
)
def test_what_does_not_fit_together_is_refused_with_its_place(
    change: Callable[[dict[str, Any]], Any], words: str
) -> None:
    data = base()
    change(data)
    with pytest.raises(OutOfRange, match=words):
        problem_from(data)


def test_what_does_not_fit_together_is_told_by_the_clock_of_whoever_asks() -> None:
    data = base()
    problem = replace(problem_from(data), openings=(Window(60, 120), Window(120, 180)))
    (trouble,) = trade_troubles(problem, lambda minute: f"{minute / 60:02.0f}:00")
    assert trouble == "the openings from 01:00 and from 02:00 touch; give them as one"


def _hold_nobody(data: dict[str, Any]) -> None:
    ask_second(data, Plan("", ()))


def _too_long(data: dict[str, Any]) -> None:
    data["openings"] = [{"start": day * DAY + 360, "end": day * DAY + 370} for day in range(DAYS)]
    for recipe in data["recipes"]:
        recipe["stages"][0]["in_one_opening"] = True


def _never_checked(data: dict[str, Any]) -> None:
    for supply in data["chemicals"].values():
        supply["unusable"] = [{"start": 0, "end": DAYS * DAY}]


def _no_budget(data: dict[str, Any]) -> None:
    spend(data, Plan("", ()))


def _wrong_vessel(data: dict[str, Any]) -> None:
    tank = next(item for item in data["tanks"] if item["family"] == "mixed")
    data["vessels"][-1]["families"] = ["anion"]
    data["pins"] = [{"id": "P", "tanks": [tank["id"]], "vessel": data["vessels"][-1]["id"]}]


def _too_early(data: dict[str, Any]) -> None:
    tank = next(item for item in data["tanks"] if item["received_min"] > 600)
    data["pins"] = [{"id": "P", "tanks": [tank["id"]], "start": 0}]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_hold_nobody, "1 people beside the technician, at most 0"),
        (_too_long, "must not be left alone; the longest opening is 10 min"),
        (_never_checked, "is never checked"),
        (_no_budget, "no day’s budget has more than 0.5 kg left"),
        (_wrong_vessel, "which does not take mixed"),
        (_too_early, "before the last of them comes"),
    ],
)
def test_what_no_plan_can_keep_is_named_before_the_search(
    change: Callable[[dict[str, Any]], None], words: str
) -> None:
    data = base()
    change(data)
    problem = problem_from(data)
    found = [item for item in impossible(problem) if words in item.reason]
    assert found
    assert {name for item in found for name in item.tanks} <= set(planned(problem, 5).unplaced)
