"""A problem and its plan, kept as plain data and read again."""

from __future__ import annotations

import json
import random
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.scheduling import exchange
from regenplant.core.scheduling.problem import Pin, Problem
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.planning.clock import PlanClock
from regenplant.planning.decided import Decided, decided_from, decided_to, with_decisions
from regenplant.planning.kept import (
    Left,
    Notes,
    WayKept,
    notes_from,
    notes_to,
    plan_from,
    plan_to,
    problem_from,
    problem_to,
)
from regenplant.planning.live import live_plant
from tests import factories
from tests.core.scheduling.test_trade import pins, running, trade

NOW = factories.START + timedelta(hours=3)


def through_json(data: dict[str, Any]) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(json.dumps(data))
    return kept


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_any_problem_is_read_as_it_was_kept(seed: int) -> None:
    problem = any_problem(seed)
    assert problem_from(through_json(problem_to(problem))) == problem


def any_problem(seed: int) -> Problem:
    data = trade(seed)
    rng = random.Random(seed)
    data["running"] = [running(data, rng)]
    data["pins"] = pins(data, rng)
    return exchange.problem_from(data)


@pytest.mark.django_db
def test_the_live_plant_and_its_plan_are_read_as_they_were_kept() -> None:
    plant = factories.small_plant()
    factories.frozen_batch(plant, "sac_h")
    factories.accepted_tanks(plant, "sac_h", count=3)
    problem = live_plant(NOW).problem
    assert problem_from(through_json(problem_to(problem))) == problem
    plan = solve(problem, 1, Budget(steps=3)).plan
    assert plan_from(through_json(plan_to(plan))) == plan


@pytest.mark.django_db
def test_notes_are_read_as_they_were_kept() -> None:
    notes = Notes(
        PlanClock(NOW, 5, 10),
        resins={"C1": "Cation"},
        owners={"OWN": "Some Works"},
        customers={"T-1": "Some Works"},
        visits={"T-1": "V-1"},
        ways={"C1": WayKept("H-14", 3, {"V1": "V2"})},
        left_out=(Left(("T-2", "T-3"), "C9: no vessel."),),
        assumed=("The strength is checked.",),
    )
    assert notes_from(through_json(notes_to(notes))) == notes


def test_a_decision_is_read_as_it_was_kept() -> None:
    decided = Decided(pins=(Pin("", ("A", "B"), "V1", 300),), left_out=("C",), rush={"D": 600}, pooled=("E",))
    assert decided_from(through_json(decided_to(decided))) == decided


def test_a_later_decision_takes_the_place_of_an_earlier_one_about_a_tank() -> None:
    problem = any_problem(1)
    one, two, three, *_ = (tank.id for tank in problem.tanks)
    first = Decided(pins=(Pin("", (one, two), None, None),))
    second = Decided(pins=(Pin("", (two, three), None, None),))
    changed = with_decisions(problem, (first, second)).pins
    assert [pin.tanks for pin in changed if set(pin.tanks) & {one, two, three}] == [(two, three)]
    pooled = with_decisions(problem, (first, Decided(pooled=(one,)))).pins
    assert [pin.tanks for pin in pooled if set(pin.tanks) & {one, two}] == []


def test_a_tank_that_is_left_out_is_in_no_problem_and_a_rush_is_due_earlier_and_weighs_most() -> None:
    problem = any_problem(1)
    one, two, *_ = (tank.id for tank in problem.tanks)
    changed = with_decisions(problem, (Decided(left_out=(one,)), Decided(rush={two: 0})))
    assert one not in {tank.id for tank in changed.tanks}
    assert len(changed.tanks) == len(problem.tanks) - 1
    rushed = next(tank for tank in changed.tanks if tank.id == two)
    assert (rushed.due_min, rushed.priority) == (0, max(problem.priority_weight))
