"""What would bring a late tank on time: known by construction, one problem for each change; and on drawn instances, by the checker: with
the change the plan keeps every limit and has the tank on time, and in the plan that was asked about it is late."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.helping import Help, Tried, what_would_help
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem
from regenplant.core.scheduling.relaxing import Relaxation, RelaxKind, relaxed
from regenplant.core.scheduling.solve import Budget, solve
from tests.core.scheduling.instances import DAY
from tests.core.scheduling.small_plant import END, LASTS, planned, plenty, stage_of
from tests.core.scheduling.test_trade import trade

Kind = RelaxKind
Row = tuple[str, tuple[str, ...], int]


def asked(data: dict[str, Any], *rows: Row, tank: str = "K1") -> Help:
    problem, plan = planned(data, *rows)
    assert check(problem, plan).violations == ()
    return what_would_help(problem, plan, tank, steps=5)


def helping(answer: Help) -> set[tuple[Kind, str]]:
    return {(one.how.kind, one.how.name) for one in answer.tried if one.helps}


def late(data: dict[str, Any], due_min: int, tank: int = 0) -> dict[str, Any]:
    data["tanks"][tank]["due_min"] = due_min
    return data


def alone(data: dict[str, Any]) -> dict[str, Any]:
    """One vessel only."""
    data["vessels"] = data["vessels"][:1]
    return data


def test_an_hour_of_the_technician_before_the_shift() -> None:
    data = late(plenty(100), 340 + 30)
    data["qc_shifts"] = [{"start": 400, "end": END, "technicians": 1}]
    answer = asked(data, ("V1", ("K1",), 310))
    assert answer.alone_min == 430
    assert not answer.first.is_on_time
    assert helping(answer) == {(Kind.TECHNICIAN_HOUR, "")}
    (one,) = [item for item in answer.tried if item.helps]
    assert one.how == Relaxation(Kind.TECHNICIAN_HOUR, "", 340, 400, 1.0)
    assert (one.ready_min, one.late_min) == (370, 0)
    assert one.costs == pytest.approx(-20 - 2)  # an hour late less, all ready an hour earlier


def test_an_hour_of_an_operator_after_the_shift() -> None:
    data = late(plenty(100), 210)
    stage_of(data, "load")["attention"] = 0
    stage_of(data, "inject").update(attention=0, in_one_opening=True, max_wait_after=600)
    stage_of(data, "qc")["attention"] = 4
    data["tanks"][0]["received_min"] = 90
    data["operator_shifts"] = [
        {"start": 0, "end": 180, "operators": 1},
        {"start": 600, "end": END, "operators": 1},
    ]
    data["openings"] = [{"start": 0, "end": 180}, {"start": 600, "end": END}]
    answer = asked(data, ("V1", ("K1",), 570))
    assert helping(answer) == {(Kind.OPERATOR_HOUR, "")}
    (one,) = [item for item in answer.tried if item.helps]
    assert (one.how.at_min, one.how.until_min, one.ready_min) == (180, 240, 210)


def test_an_hour_of_a_second_person_and_of_a_whole_shift() -> None:
    data = late(plenty(100), 430)
    stage_of(data, "qc")["second_people"] = 1
    data["second_shifts"] = [{"start": 460, "end": END, "people": 1}]
    data["qc_shifts"] = [{"start": 460, "end": END, "technicians": 1}]
    answer = asked(data, ("V1", ("K1",), 370))
    assert helping(answer) == set()  # neither of them alone, and operators are there all the time
    data["operator_shifts"] = [{"start": 460, "end": END, "operators": 8}]
    stage_of(data, "load")["attention"] = stage_of(data, "inject")["attention"] = 0
    assert helping(asked(data, ("V1", ("K1",), 370))) == {(Kind.SHIFT_HOUR, "")}


def test_a_delivery_as_little_earlier_as_is_enough() -> None:
    data = late(plenty(100), 430)
    data["chemicals"]["acid"].update(initial_kg=0, deliveries=[{"at": 500, "kg": 50}])
    answer = asked(data, ("V1", ("K1",), 470))
    # injection must begin by 340: of 1, 2, 4, 8 hours before 500 it is four
    found = {one.how.kind: one.how for one in answer.tried if one.helps}
    assert set(found) == {Kind.DELIVERY, Kind.MORE_STOCK}
    assert (found[Kind.DELIVERY].at_min, found[Kind.DELIVERY].until_min) == (500, 260)
    assert found[Kind.DELIVERY].amount == 4
    assert found[Kind.MORE_STOCK].amount == 10


def test_one_vessel_more_and_a_vessel_that_is_closed() -> None:
    data = alone(late(plenty(150, 150), LASTS + 30, tank=1))
    late(data, LASTS, tank=0)
    rows: tuple[Row, ...] = (("V1", ("K1",), 0), ("V1", ("K2",), LASTS))
    answer = asked(data, *rows, tank="K2")
    assert answer.alone_min == LASTS
    assert answer.first.is_on_time  # before the other one, which is late for it
    assert answer.first.others_late == 1
    assert answer.first.costs > 0
    assert helping(answer) == {(Kind.VESSEL_MORE, "V1")}
    both = late(plenty(150, 150), LASTS + 30, tank=1)
    late(both, LASTS, tank=0)
    both["vessels"][1]["closed"] = [{"start": 0, "end": END}]
    assert (Kind.VESSEL_OPEN, "V2") in helping(asked(both, *rows, tank="K2"))


def test_more_water() -> None:
    data = late(plenty(150, 150), LASTS, tank=1)
    late(data, LASTS, tank=0)
    data["water"]["deionized"]["rate_l_per_min"] = 28  # two injections take 30
    answer = asked(data, ("V2", ("K1",), 0), ("V1", ("K2",), 60), tank="K2")
    assert helping(answer) == {(Kind.WATER, "deionized")}
    (one,) = [item for item in answer.tried if item.helps]
    assert one.how.amount == 7


def test_a_waste_tank_emptied_before() -> None:
    data = late(plenty(150), 300)
    data["waste"] = {"capacity_l": 2000, "initial_l": 1600, "drain_l_per_min": 1}
    answer = asked(data, ("V1", ("K1",), 410))
    assert helping(answer) == {(Kind.WASTE, "")}


def test_a_strength_that_is_checked_and_one_more_feed_line() -> None:
    data = late(plenty(100), 300)
    data["chemicals"]["acid"]["unusable"] = [{"start": 0, "end": 500}]
    assert helping(asked(data, ("V1", ("K1",), 470))) == {(Kind.STRENGTH, "acid")}
    two = late(plenty(150, 150), LASTS, tank=1)
    late(two, LASTS, tank=0)
    two["chemicals"]["acid"]["skid_lines"] = 1
    answer = asked(two, ("V2", ("K1",), 0), ("V1", ("K2",), 60), tank="K2")
    assert helping(answer) == {(Kind.LINE, "acid")}


def test_nothing_helps_where_the_tank_alone_takes_longer_and_how_much_later_still_is_said() -> None:
    answer = asked(late(plenty(100), 60), ("V1", ("K1",), 0))
    assert helping(answer) == set()
    assert answer.alone_min == LASTS > answer.due_min
    assert answer.first.late_min == LASTS - 60
    assert {one.late_min for one in answer.tried} == {LASTS - 60}


def test_a_better_order_needs_no_change_at_all() -> None:
    answer = asked(late(plenty(100), 200), ("V1", ("K1",), 600))
    assert answer.first.is_on_time
    assert answer.first.costs < 0
    assert helping(answer) == set()


def test_a_budget_of_the_permit_is_nothing_to_be_changed() -> None:
    data = late(plenty(100), 300)
    stage_of(data, "inject")["load_g_per_l"] = {"chloride": 60}
    data["budgets"] = [{"ion": "chloride", "start": 0, "end": DAY, "kg": 1}]
    answer = asked(data, ("V1", ("K1",), DAY - 30))
    assert helping(answer) == set()


@pytest.mark.parametrize(
    ("tank", "words"), [("K1", "is on time"), ("K2", "stands in no batch"), ("K9", "stands in no batch")]
)
def test_a_tank_that_is_not_late_or_in_no_batch_is_refused(tank: str, words: str) -> None:
    problem, plan = planned(plenty(100, 100), ("V1", ("K1",), 0))
    with pytest.raises(OutOfRange, match=words):
        what_would_help(problem, plan, tank)


def test_what_is_out_of_time_is_said() -> None:
    problem, plan = planned(late(plenty(100), 60), ("V1", ("K1",), 0))
    answer = what_would_help(problem, plan, "K1", steps=1, is_over=lambda: True)
    assert answer.tried == ()
    assert answer.not_tried > 3


# --- on drawn instances ----------------------------------------------------------------------------------------------------
def first_late(problem: Problem, plan: Plan) -> str | None:
    """The tank that is late by least."""
    due = {tank.id: tank.due_min for tank in problem.tanks}
    rows = [
        (batch.end_min - due[name], name)
        for batch in plan.batches
        for name in batch.tanks
        if batch.end_min > due[name]
    ]
    return min(rows)[1] if rows else None


def on_time(problem: Problem, one: Tried, tank: str) -> bool:
    due = next(item.due_min for item in problem.tanks if item.id == tank)
    return all(batch.end_min <= due for batch in one.plan.batches if tank in batch.tanks)


@pytest.mark.parametrize("seed", range(0, 30, 5))
def test_every_change_that_is_named_is_true_by_the_checker(seed: int) -> None:
    problem = problem_from(trade(seed))
    answer = solve(problem, 1, Budget(steps=30))
    known = {f"tank {name} stands in 0 batches" for name in answer.unplaced}
    pins = {f"{pin.id}: its tanks are not one batch" for pin in problem.pins}
    tank = first_late(problem, answer.plan)
    if tank is None:
        assert check(problem, answer.plan).score.late_tanks == len(answer.unplaced)
        return
    assert check(problem, answer.plan).is_feasible or answer.unplaced
    found = what_would_help(problem, answer.plan, tank, steps=5)
    before = check(problem, answer.plan).score
    assert found.ready_min > found.due_min
    assert found.alone_min <= found.first.ready_min
    for one in (found.first, *found.tried):
        looser = relaxed(problem, one.how)
        verdict = check(looser, one.plan)
        assert set(verdict.violations) <= known | pins
        assert one.is_on_time == on_time(problem, one, tank)
        assert one.costs == pytest.approx(verdict.score.total - before.total)
        assert one.is_on_time or not one.helps
        if one.helps and one is not found.first:
            assert not found.first.is_on_time or one.costs < found.first.costs


@pytest.mark.parametrize("seed", range(6))
def test_a_plan_of_the_problem_is_one_of_every_looser_one(seed: int) -> None:
    problem = problem_from(trade(seed))
    plan = solve(problem, 1, Budget(steps=3)).plan
    known = set(check(problem, plan).violations)
    acid = problem.chemicals["acid"].deliveries[0]
    for how in (
        Relaxation(Kind.NOTHING),
        Relaxation(Kind.OPERATOR_HOUR, "", 1320, 1380, 1),
        Relaxation(Kind.TECHNICIAN_HOUR, "", 360, 420, 1),
        Relaxation(Kind.SECOND_HOUR, "", 420, 480, 1),
        Relaxation(Kind.SHIFT_HOUR, "", 1320, 1380, 1),
        Relaxation(Kind.DELIVERY, "acid", acid.at_min, acid.at_min - 120, 2),
        Relaxation(Kind.MORE_STOCK, "acid", amount=10),
        Relaxation(Kind.VESSEL_MORE, problem.vessels[0].id),
        Relaxation(Kind.VESSEL_OPEN, problem.vessels[0].id),
        Relaxation(Kind.WATER, "deionized", amount=20),
        Relaxation(Kind.WASTE),
        Relaxation(Kind.STRENGTH, "acid"),
        Relaxation(Kind.LINE, "acid", amount=1),
    ):
        looser = relaxed(problem, how)
        assert set(check(looser, plan).violations) <= known
        assert (looser == problem) == (how.kind is Kind.NOTHING or _is_there(problem, how))


def _is_there(problem: Problem, how: Relaxation) -> bool:
    """Whether the problem has it already."""
    if how.kind is Kind.VESSEL_OPEN:
        return not problem.vessels[0].closed
    return how.kind is Kind.STRENGTH and not problem.chemicals["acid"].unusable


def test_the_answer_repeats_itself() -> None:
    problem = problem_from(trade(2, tanks=8))
    plan = solve(problem, 1, Budget(steps=5)).plan
    tank = first_late(problem, plan)
    assert tank is not None
    assert what_would_help(problem, plan, tank, steps=5) == what_would_help(problem, plan, tank, steps=5)


def test_a_tank_weighs_as_before_when_the_cost_is_counted() -> None:
    data = late(plenty(100), 60)
    problem, plan = planned(data, ("V1", ("K1",), 600))
    answer = what_would_help(problem, plan, "K1", steps=5)
    heavier = replace(problem, priority_weight={**problem.priority_weight, 1: 5.0})
    again = what_would_help(heavier, plan, "K1", steps=5)
    gained_h = 600 / 60
    assert answer.first.costs == pytest.approx(-20 * gained_h - 2 * gained_h)
    assert again.first.costs == pytest.approx(-100 * gained_h - 2 * gained_h)
