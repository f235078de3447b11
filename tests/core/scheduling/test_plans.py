"""No plan ever breaks a limit: by the project's own checker, and by the independent referee where it lies beside the project."""

from __future__ import annotations

import copy
import importlib.util
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.diagnosis import impossible
from regenplant.core.scheduling.exchange import plan_to, problem_from
from regenplant.core.scheduling.solve import Answer, Budget, solve
from tests.core.scheduling.instances import DAY, instance

REFEREE = Path(__file__).parents[4] / "shared" / "planning" / "check.py"


def _referee() -> Callable[[Any, Any], dict[str, Any]] | None:
    if not REFEREE.exists():
        return None
    spec = importlib.util.spec_from_file_location("referee", REFEREE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.check


referee = _referee()


def planned(data: dict[str, Any], steps: int = 60) -> Answer:
    return solve(problem_from(data), 1, Budget(steps=steps))


def held(data: dict[str, Any], answer: Answer) -> None:
    """No limit broken, the score as the checker counts it, and both checkers of one mind."""
    problem = problem_from(data)
    verdict = check(problem, answer.plan)
    left_out = [f"tank {name} stands in 0 batches" for name in answer.unplaced]
    assert sorted(verdict.violations) == sorted(left_out)
    if not answer.unplaced:
        assert answer.score == pytest.approx(verdict.score.total, abs=1e-6)
    if referee is not None:
        judged = referee(data, plan_to(answer.plan))
        assert len(judged["errors"]) == len(answer.unplaced)
        assert judged["score"] == pytest.approx(verdict.score.total, abs=0.01)


@pytest.mark.parametrize("seed", range(150))
def test_a_plan_of_a_drawn_instance_keeps_every_limit(seed: int) -> None:
    data = instance(seed, tanks=2 + seed % 17)
    answer = planned(data, steps=25)
    held(data, answer)
    named = {name for item in impossible(problem_from(data)) for name in item.tanks}
    assert set(answer.unplaced) == named


AWKWARD: dict[str, Callable[[dict[str, Any]], None]] = {
    "no tanks": lambda data: data.update(tanks=[]),
    "one giant tank": lambda data: data["tanks"][0].update(volume_l=5_000),
    "no technician": lambda data: data.update(qc_shifts=[]),
    "no operator": lambda data: data.update(operator_shifts=[]),
    "empty stock, no delivery": lambda data: data["chemicals"]["acid"].update(initial_kg=5, deliveries=[]),
    "everything dedicated": lambda data: [
        tank.update(segregation="dedicated", lot=f"own-{number}") for number, tank in enumerate(data["tanks"])
    ],
    "no vessel for a family": lambda data: [vessel.update(families=["anion"]) for vessel in data["vessels"]],
    "a waste tank that hardly drains": lambda data: data["waste"].update(drain_l_per_min=1, capacity_l=3000),
    "a full waste tank": lambda data: data["waste"].update(initial_l=2600, drain_l_per_min=2),
    "water too little for one batch": lambda data: data["water"]["deionized"].update(rate_l_per_min=10),
    "one slot of technician a day": lambda data: data.update(
        qc_shifts=[{"start": day * DAY + 600, "end": day * DAY + 625, "technicians": 1} for day in range(12)]
    ),
    "all come at the end": lambda data: [tank.update(received_min=12 * DAY - 100) for tank in data["tanks"]],
    "all are late": lambda data: [tank.update(due_min=0) for tank in data["tanks"]],
    "no vessel": lambda data: data.update(vessels=[]),
}


@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize("seed", range(4))
def test_awkward_instances_are_planned_as_far_as_they_can_be(name: str, seed: int) -> None:
    data = copy.deepcopy(instance(seed))
    AWKWARD[name](data)
    answer = planned(data, steps=15)
    held(data, answer)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("one giant tank", "holds 5000 L; the largest vessel"),
        ("no technician", "takes 1 QC technicians, at most 0 are ever on shift"),
        ("no operator", "units of attention, at most 0"),
        ("empty stock, no delivery", "kg of acid, stock and deliveries leave 0 kg"),
        ("no vessel for a family", "No vessel takes"),
        ("water too little for one batch", "L/min of deionized water, 10 L/min are made"),
        ("no vessel", "No vessel takes"),
    ],
)
def test_what_cannot_be_served_is_named_with_its_datum(name: str, words: str) -> None:
    data = instance(3)
    AWKWARD[name](data)
    assert any(words in item.reason for item in impossible(problem_from(data)))


def test_what_can_be_served_is_not_called_impossible() -> None:
    assert impossible(problem_from(instance(3))) == ()


def test_more_steps_give_no_dearer_plan_and_the_same_seed_the_same_plan() -> None:
    data = instance(8, tanks=18)
    short, long, again = planned(data, 5), planned(data, 300), planned(data, 300)
    assert long.score <= short.score
    assert long.plan == again.plan


def test_searching_pays() -> None:
    """Over ten instances the search takes at least a twentieth off the first plan."""
    first = found = 0.0
    for seed in range(10):
        data = instance(seed, tanks=16)
        first += planned(data, 0).score
        found += planned(data, 200).score
    assert found < 0.95 * first


def _moved(batch: dict[str, Any], minutes: int) -> None:
    for item in batch["stages"]:
        item["start"] += minutes
        item["end"] += minutes


SPOILT: dict[str, Callable[[dict[str, Any], dict[str, Any]], None]] = {
    "a tank left out": lambda plan, data: plan["batches"][0]["tanks"].pop(),
    "a batch twice": lambda plan, data: plan["batches"].append(copy.deepcopy(plan["batches"][0])),
    "a tank nobody has": lambda plan, data: plan["batches"][0]["tanks"].append("nobody"),
    "a vessel nobody has": lambda plan, data: plan["batches"][0].update(vessel="none"),
    "an empty batch": lambda plan, data: plan["batches"][0].update(tanks=[]),
    "off the grid": lambda plan, data: _moved(plan["batches"][0], 1),
    "a month later": lambda plan, data: _moved(plan["batches"][-1], 30 * DAY),
    "at night": lambda plan, data: _moved(plan["batches"][-1], 5 * DAY + 720),
    "a stage cut short": lambda plan, data: plan["batches"][0]["stages"][1].update(
        end=plan["batches"][0]["stages"][1]["start"] + 5
    ),
    "a stage left out": lambda plan, data: plan["batches"][0]["stages"].pop(),
    "a long wait": lambda plan, data: _moved({"stages": plan["batches"][0]["stages"][3:]}, DAY),
    "everything at once": lambda plan, data: [
        _moved(batch, plan["batches"][0]["stages"][0]["start"] - batch["stages"][0]["start"])
        for batch in plan["batches"]
    ],
    "no waiver": lambda plan, data: [batch.update(underfill_waiver=False) for batch in plan["batches"]],
    "all in one vessel": lambda plan, data: [
        batch.update(vessel=data["vessels"][-1]["id"]) for batch in plan["batches"]
    ],
    "all tanks in one batch": lambda plan, data: plan["batches"][0].update(
        tanks=[tank["id"] for tank in data["tanks"]]
    ),
}


@pytest.mark.skipif(referee is None, reason="the referee does not lie beside the project")
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", SPOILT)
def test_both_checkers_find_what_was_spoilt(name: str, seed: int) -> None:
    from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage

    data = instance(seed, tanks=12)
    plan = plan_to(planned(data, 10).plan)
    SPOILT[name](plan, data)
    ours = Plan(
        plan["instance"],
        tuple(
            PlannedBatch(
                batch["id"],
                batch["vessel"],
                tuple(batch["tanks"]),
                batch["underfill_waiver"],
                tuple(PlannedStage(item["name"], item["start"], item["end"]) for item in batch["stages"]),
            )
            for batch in plan["batches"]
        ),
    )
    assert referee is not None
    assert check(problem_from(data), ours).is_feasible == referee(data, plan)["feasible"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda data: data.pop("waste"), "lacks the field 'waste'"),
        (lambda data: data["tanks"][0].pop("volume_l"), "lacks the field 'volume_l'"),
        (lambda data: data["tanks"][0].update(condition="burnt"), "condition burnt"),
        (lambda data: data["tanks"][0].update(priority=7), "priority 7"),
        (lambda data: data["tanks"][0].update(volume_l=-3), "volume_l is -3"),
        (lambda data: data["tanks"][0].update(family="wood"), "no changeover from"),
        (lambda data: data["tanks"][1].update(id=data["tanks"][0]["id"]), "stands twice"),
        (lambda data: data["chemicals"].pop("acid"), "chemical acid"),
        (lambda data: data.update(slot_min=0), "slot_min is 0"),
        (lambda data: data.update(tanks=5), "cannot be read"),
    ],
)
def test_an_instance_that_cannot_be_read_is_refused_with_the_place(
    change: Callable[[dict[str, Any]], Any], words: str
) -> None:
    data = instance(1)
    change(data)
    with pytest.raises(OutOfRange, match=words):
        problem_from(data)


@pytest.mark.parametrize(
    "budget",
    [
        {},
        {"seconds": 1},
        {"seconds": 1, "steps": 1},
        {"seconds": 0, "clock": time.monotonic},
        {"steps": -1},
        {"steps": 5, "workers": 0},
    ],
)
def test_a_budget_that_means_nothing_is_refused(budget: dict[str, Any]) -> None:
    with pytest.raises(OutOfRange):
        Budget(**budget)


def test_workers_side_by_side_keep_the_limits_too() -> None:
    data = instance(21, tanks=16)
    held(data, solve(problem_from(data), 1, Budget(seconds=2.0, workers=2, clock=time.monotonic)))
