"""What binds a batch: known by construction, one problem for each kind of limit; and on drawn instances, held by the checker: the place
that a binding limit is said to refuse is refused, and by nothing else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.limits import Limit, LimitKind
from regenplant.core.scheduling.on_board import on_board, parts_of
from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage
from regenplant.core.scheduling.problem import Problem, Shift, Window
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.core.scheduling.why_here import Refusal, why_here, why_tanks
from regenplant.core.scheduling.why_now import Binding, why_now
from tests.core.scheduling.small_plant import DAY, END, LASTS, planned, plenty, stage_of
from tests.core.scheduling.test_trade import trade

Kind = LimitKind
ONE = (("V1", ("K1",), 0),)


def the(data: dict[str, Any], *rows: tuple[str, tuple[str, ...], int], of: str = "") -> Binding:
    """The only limit that binds the last batch."""
    problem, plan = planned(data, *rows)
    assert check(problem, plan).violations == ()
    (binding,) = why_now(problem, plan, of or plan.batches[-1].id).bindings
    return binding


def test_a_batch_at_the_beginning_with_plenty_of_all_is_bound_by_nothing() -> None:
    problem, plan = planned(plenty(100), *ONE)
    why = why_now(problem, plan, "B1")
    assert why.bindings == ()
    assert (why.start_min, why.ready_min, why.earliest_min) == (0, LASTS, LASTS)
    assert why.earlier_costs is None
    assert why.at_once_min is None


def test_a_tank_that_comes_later() -> None:
    data = plenty(100, 50)
    data["tanks"][1]["received_min"] = 300
    binding = the(data, ("V1", ("K1", "K2"), 300))
    assert (binding.limit, binding.until_min, binding.by) == (Limit(Kind.ARRIVAL), 300, ("K2",))
    assert binding.ready_min == LASTS


def test_a_vessel_in_which_a_batch_runs() -> None:
    data = plenty(100)
    data["vessels"][0]["ready_min"] = 240
    data["running"] = [
        {"id": "R1", "vessel": "V1", "tanks": [], "stages": [{"name": "rinse", "start": 0, "end": 240}]}
    ]
    binding = the(data, ("V1", ("K1",), 240))
    assert (binding.limit, binding.until_min, binding.by) == (Limit(Kind.READY), 240, ("R1",))


def test_a_vessel_in_which_another_batch_of_the_plan_stands() -> None:
    binding = the(plenty(150, 150), ("V1", ("K1",), 0), ("V1", ("K2",), LASTS))
    assert (binding.limit, binding.until_min, binding.by) == (Limit(Kind.TAKEN), LASTS, ("B1",))
    assert binding.ready_min == LASTS


def test_a_clean_down() -> None:
    data = plenty(100)
    data["vessels"][0].update(families=["cation", "anion"])
    data["vessels"][0]["previous"]["family"] = "anion"
    binding = the(data, ("V1", ("K1",), 60))
    assert (binding.limit, binding.at_min, binding.until_min) == (Limit(Kind.CHANGEOVER), 0, 60)


def test_a_closed_vessel() -> None:
    data = plenty(100)
    data["vessels"][0]["closed"] = [{"start": 0, "end": 200}]
    binding = the(data, ("V1", ("K1",), 200))
    assert (binding.limit, binding.at_min, binding.until_min) == (Limit(Kind.CLOSED), 0, 200)


def test_nobody_is_on_shift() -> None:
    data = plenty(100)
    data["operator_shifts"] = [{"start": 360, "end": END, "operators": 1}]
    binding = the(data, ("V1", ("K1",), 360))
    assert (binding.limit, binding.stage, binding.until_min) == (Limit(Kind.OPERATORS), "load", 360)
    assert (binding.by, binding.is_offered) == ((), False)


def test_the_only_operator_is_at_another_batch() -> None:
    data = plenty(150, 150)
    data["operator_shifts"] = [{"start": 0, "end": END, "operators": 1}]
    stage_of(data, "inject")["attention"] = 0
    binding = the(data, ("V2", ("K1",), 0), ("V1", ("K2",), 30))
    assert (binding.limit, binding.at_min, binding.until_min) == (Limit(Kind.OPERATORS), 0, 30)
    assert (binding.by, binding.is_offered) == (("B1",), True)


def test_the_technician_comes_later() -> None:
    data = plenty(100)
    data["qc_shifts"] = [{"start": 400, "end": END, "technicians": 1}]
    binding = the(data, ("V1", ("K1",), 310))
    assert (binding.limit, binding.stage) == (Limit(Kind.TECHNICIANS), "qc")
    assert (binding.at_min, binding.until_min, binding.ready_min) == (90, 400, LASTS)


def test_the_second_person_comes_later() -> None:
    data = plenty(100)
    stage_of(data, "qc")["second_people"] = 1
    data["second_shifts"] = [{"start": 300, "end": END, "people": 1}]
    binding = the(data, ("V1", ("K1",), 210))
    assert (binding.limit, binding.stage, binding.until_min) == (Limit(Kind.SECOND_PEOPLE), "qc", 300)


def test_a_bed_that_must_not_stand_while_nobody_is_there() -> None:
    data = plenty(100)
    stage_of(data, "inject")["in_one_opening"] = True
    data["openings"] = [{"start": 300, "end": END}]
    binding = the(data, ("V1", ("K1",), 270))
    assert (binding.limit, binding.stage, binding.until_min) == (Limit(Kind.OPENING), "inject", 300)


def test_the_only_feed_line_is_taken() -> None:
    data = plenty(150, 150)
    data["chemicals"]["acid"]["skid_lines"] = 1
    binding = the(data, ("V2", ("K1",), 0), ("V1", ("K2",), 60))
    assert (binding.limit, binding.stage, binding.by) == (Limit(Kind.SKID, "acid"), "inject", ("B1",))
    assert (binding.at_min, binding.until_min, binding.is_offered) == (30, 90, True)


def test_stock_until_a_delivery() -> None:
    data = plenty(150, 150)
    data["chemicals"]["acid"].update(initial_kg=15, deliveries=[{"at": 600, "kg": 15}])
    binding = the(data, ("V2", ("K1",), 0), ("V1", ("K2",), 570))
    assert (binding.limit, binding.stage, binding.until_min) == (Limit(Kind.STOCK, "acid"), "inject", 600)
    assert (binding.by, binding.ready_min) == (("B1",), LASTS)


def test_a_strength_that_is_not_checked() -> None:
    data = plenty(100)
    data["chemicals"]["acid"]["unusable"] = [{"start": 0, "end": 500}]
    binding = the(data, ("V1", ("K1",), 470))
    assert (binding.limit, binding.stage, binding.until_min) == (Limit(Kind.STRENGTH, "acid"), "inject", 500)


def test_water_for_one_batch_at_a_time() -> None:
    data = plenty(150, 150)
    data["water"]["deionized"]["rate_l_per_min"] = 20  # 150 L at 6 bed volumes an hour take 15 L/min
    binding = the(data, ("V2", ("K1",), 0), ("V1", ("K2",), 60))
    assert (binding.limit, binding.stage, binding.by) == (Limit(Kind.WATER, "deionized"), "inject", ("B1",))
    assert (binding.at_min, binding.until_min) == (30, 90)


def test_the_waste_tank_is_full() -> None:
    data = plenty(150)
    # 60 min x 15 L/min less 60 x 1 L/min raise it by 840 L: it must have fallen to 1,160 L, at 440 min
    data["waste"] = {"capacity_l": 2000, "initial_l": 1600, "drain_l_per_min": 1}
    binding = the(data, ("V1", ("K1",), 410))
    assert (binding.limit, binding.stage) == (Limit(Kind.WASTE), "inject")
    assert (binding.at_min, binding.until_min, binding.ready_min) == (30, 440, LASTS)


def test_the_budget_of_the_day_is_spent() -> None:
    data = plenty(150, 150)
    stage_of(data, "inject")["load_g_per_l"] = {"chloride": 60}
    data["budgets"] = [
        {"ion": "chloride", "start": day * DAY, "end": (day + 1) * DAY, "kg": 10} for day in range(3)
    ]
    binding = the(data, ("V2", ("K1",), 0), ("V1", ("K2",), DAY - 30))
    assert (binding.limit, binding.until_min, binding.by) == (Limit(Kind.BUDGET, "chloride"), DAY, ("B1",))


def test_a_time_that_somebody_decided() -> None:
    data = plenty(100)
    data["pins"] = [{"id": "P1", "tanks": ["K1"], "vessel": "V1", "start": 500}]
    binding = the(data, ("V1", ("K1",), 500))
    assert (binding.limit, binding.until_min) == (Limit(Kind.DECIDED), 500)


def test_two_limits_of_which_neither_gives_way_alone() -> None:
    data = plenty(100)
    data["operator_shifts"] = [{"start": 310, "end": END, "operators": 1}]
    data["qc_shifts"] = [{"start": 400, "end": END, "technicians": 1}]
    problem, plan = planned(data, ("V1", ("K1",), 310))
    why = why_now(problem, plan, "B1")
    assert why.are_together
    assert {one.limit.kind for one in why.bindings} == {Kind.OPERATORS, Kind.TECHNICIANS}
    assert {one.ready_min for one in why.bindings} == {LASTS}


def test_what_could_be_earlier_says_what_that_costs() -> None:
    data = plenty(100)
    data["tanks"][0]["due_min"] = 200
    problem, plan = planned(data, ("V1", ("K1",), 300))
    why = why_now(problem, plan, "B1")
    assert (why.ready_min, why.earliest_min) == (300 + LASTS, LASTS)
    assert why.earlier_costs is not None
    assert why.earlier_costs.late == pytest.approx(-20 * (300 + LASTS - 200) / 60)
    assert why.earlier_costs.makespan == pytest.approx(-2 * 300 / 60)


def test_loading_earlier_only_lets_the_bed_stand() -> None:
    data = plenty(100)
    stage_of(data, "load")["max_wait_after"] = 720
    data["qc_shifts"] = [{"start": 400, "end": END, "technicians": 1}]
    problem, plan = planned(data, ("V1", ("K1",), 310))
    assert why_now(problem, plan, "B1").at_once_min == 0


# --- where -----------------------------------------------------------------------------------------------------------------
def elsewhere(change: Callable[[dict[str, Any]], None]) -> Any:
    data = plenty(100)
    data["tanks"][0]["due_min"] = LASTS
    change(data["vessels"][1])
    problem, plan = planned(data, *ONE)
    (other,) = why_here(problem, plan, "B1").others
    return other


@pytest.mark.parametrize(
    ("refusal", "change"),
    [
        (Refusal.FAMILY, {"families": ["anion"]}),
        (Refusal.SEGREGATION, {"segregation": ["potable"]}),
        (Refusal.TOO_SMALL, {"max_fill_l": 99, "min_fill_l": 10}),
        (Refusal.CLOSED, {"closed": [{"start": 0, "end": END}]}),
        (Refusal.NO_PLACE, {"ready_min": END - 60}),
    ],
)
def test_what_refuses_another_vessel(refusal: Refusal, change: dict[str, Any]) -> None:
    assert elsewhere(lambda vessel: vessel.update(change)).refusal is refusal


def test_another_vessel_was_decided_against() -> None:
    data = plenty(100)
    data["pins"] = [{"id": "P1", "tanks": ["K1"], "vessel": "V1"}]
    problem, plan = planned(data, *ONE)
    (other,) = why_here(problem, plan, "B1").others
    assert other.refusal is Refusal.DECIDED


def test_another_vessel_costs_lateness_clean_down_or_a_waiver() -> None:
    later = elsewhere(lambda vessel: vessel.update(ready_min=180))
    assert (later.refusal, later.ready_min, later.costs.late) == (None, 180 + LASTS, pytest.approx(60.0))
    other = elsewhere(lambda vessel: vessel["previous"].update(segregation="potable"))
    assert other.costs.changeovers == pytest.approx(10 + 4.0 * 2 * 200 / 1000)
    large = elsewhere(lambda vessel: vessel.update(max_fill_l=400, min_fill_l=200))
    assert large.is_underfilled
    assert large.costs.waivers == 25.0
    # dosed and rinsed as 200 L: 10 kg acid more, and 10 L/min of water and of waste for an hour
    assert large.costs.chemicals == pytest.approx(10 * 0.5 + 0.6 * (4 + 5))
    same = elsewhere(lambda vessel: None)
    assert same.costs.total == pytest.approx(0.0)


# --- which tanks -----------------------------------------------------------------------------------------------------------
def test_tanks_that_could_go_with_it_and_what_that_costs() -> None:
    data = plenty(150, 40, 100, 45)
    data["tanks"][3]["received_min"] = 600
    problem, plan = planned(
        data, ("V1", ("K1",), 0), ("V2", ("K2",), 0), ("V2", ("K3",), LASTS), ("V1", ("K4",), 600)
    )
    why = why_tanks(problem, plan, "B1")
    assert (why.volume_l, why.room_l, why.same_key) == (150, 50, 3)
    assert why.too_big == ("K3",)
    assert why.come_later == ("K4",)
    assert why.cheapest_added is not None
    assert why.cheapest_added.tank == "K2"
    assert why.cheapest_added.costs is not None
    # one batch and one waiver less; 10 L that were dosed for nothing
    assert why.cheapest_added.costs.batches == -35
    assert why.cheapest_added.costs.waivers == -25
    assert why.cheapest_apart is None


def test_splitting_costs_a_batch_and_a_waiver() -> None:
    data = plenty(100, 40)
    problem, plan = planned(data, ("V1", ("K1", "K2"), 0))
    why = why_tanks(problem, plan, "B1")
    assert why.cheapest_apart is not None
    assert why.cheapest_apart.costs is not None
    assert (why.cheapest_apart.costs.batches, why.cheapest_apart.costs.waivers) == (35, 25)
    assert why.cheapest_added is why.cheapest_joined is None


@pytest.mark.parametrize("ask", [why_now, why_here, why_tanks])
def test_a_batch_that_is_not_there_is_refused(ask: Callable[[Problem, Plan, str], Any]) -> None:
    problem, plan = planned(plenty(100), *ONE)
    with pytest.raises(OutOfRange, match="no batch B9"):
        ask(problem, plan, "B9")


# --- on drawn instances ----------------------------------------------------------------------------------------------------
def without(problem: Problem, limit: Limit, vessel: str, batch: PlannedBatch) -> Problem:
    """The problem without this limit, made apart from the search."""
    kind, many = limit.kind, 10_000
    always = (Shift(0, problem.calendar_end_min, many),)
    supply = problem.chemicals.get(limit.name)
    changes: Any = {}
    if kind is Kind.ARRIVAL:
        changes["tanks"] = tuple(
            replace(one, received_min=0) if one.id in batch.tanks else one for one in problem.tanks
        )
    elif kind in (Kind.READY, Kind.CLOSED):
        field: Any = {"ready_min": 0} if kind is Kind.READY else {"closed": ()}
        changes["vessels"] = tuple(
            replace(one, **field) if one.id == vessel else one for one in problem.vessels
        )
    elif kind is Kind.CHANGEOVER:
        change = problem.changeover
        nothing = {a: dict.fromkeys(row, 0) for a, row in change.family_min.items()}
        classes = {a: dict.fromkeys(row, 0) for a, row in change.segregation_min.items()}
        changes["changeover"] = replace(
            problem.changeover, family_min=nothing, segregation_min=classes, other_lot_min=0
        )
    elif kind is Kind.OPERATORS:
        changes["operator_shifts"] = always
    elif kind is Kind.TECHNICIANS:
        changes["technician_shifts"] = always
    elif kind is Kind.SECOND_PEOPLE:
        changes["second_shifts"] = always
    elif kind is Kind.OPENING:
        changes["openings"] = (Window(-1, problem.calendar_end_min + 1),)
    elif kind is Kind.WATER:
        changes["water_l_per_min"] = {**problem.water_l_per_min, limit.name: many}
    elif kind is Kind.WASTE:
        changes["waste"] = replace(problem.waste, capacity_l=1e9)
    elif kind is Kind.BUDGET:
        changes["budgets"] = tuple(one for one in problem.budgets if one.ion != limit.name)
    elif kind is Kind.DECIDED:
        changes["pins"] = tuple(replace(one, start_min=None) for one in problem.pins)
    elif supply is not None:
        ways: dict[Kind, dict[str, Any]] = {
            Kind.SKID: {"skid_lines": many},
            Kind.STOCK: {"initial_kg": 1e9},
            Kind.STRENGTH: {"unusable": ()},
        }
        changes["chemicals"] = {**problem.chemicals, limit.name: replace(supply, **ways[kind])}
    return replace(problem, **changes)


def moved(problem: Problem, plan: Plan, batch: PlannedBatch, binding: Binding) -> tuple[Problem, Plan]:
    """The plan with the batch where it would be without the limit; for a taken vessel in another one like it."""
    stages = tuple(
        PlannedStage(one.name, start, start + one.end_min - one.start_min)
        for one, start in zip(batch.stages, binding.starts_min, strict=True)
    )
    there = replace(batch, stages=stages)
    if binding.limit.kind is Kind.TAKEN:
        vessel = next(one for one in problem.vessels if one.id == batch.vessel)
        problem = replace(problem, vessels=(*problem.vessels, replace(vessel, id="beside")))
        there = replace(there, vessel="beside")
    others = tuple(one for one in plan.batches if one.id != batch.id)
    return problem, Plan(plan.instance, (*others, there))


@pytest.mark.parametrize("seed", range(24))
def test_a_limit_that_binds_refuses_the_earlier_place_and_nothing_else_does(seed: int) -> None:
    problem = problem_from(trade(seed))
    plan = solve(problem, 1, Budget(steps=5)).plan
    known = set(check(problem, plan).violations)  # tanks without a batch, as the plan left them
    bound = 0
    for batch in plan.batches:
        why = why_now(problem, plan, batch.id)
        assert why.earliest_min <= why.ready_min == batch.end_min
        if why.are_together:
            continue
        for binding in why.bindings:
            bound += 1
            assert binding.ready_min < why.earliest_min
            wider, other = moved(problem, plan, batch, binding)
            if binding.limit.kind is not Kind.TAKEN:
                assert set(check(problem, other).violations) - known
            pins = tuple(
                replace(one, vessel=None) if binding.limit.kind is Kind.TAKEN else one for one in wider.pins
            )
            free = without(replace(wider, pins=pins), binding.limit, batch.vessel, batch)
            assert set(check(free, other).violations) <= known
    assert bound or not plan.batches


@pytest.mark.parametrize("seed", range(12))
def test_the_parts_of_a_plan_are_the_score_of_the_checker(seed: int) -> None:
    problem = problem_from(trade(seed))
    answer = solve(problem, 1, Budget(steps=5))
    parts = parts_of(on_board(Compiled(problem), answer.plan))
    score = check(problem, answer.plan).score
    never_h = (
        sum(  # tanks without a batch are late to the end in the checker's score, and no part of the board's
            problem.priority_weight[tank.priority] * max(0, problem.calendar_end_min - tank.due_min) / 60
            for tank in problem.tanks
            if tank.id in answer.unplaced
        )
    )
    price = problem.costs.late_per_weighted_hour
    assert parts.total + price * never_h == pytest.approx(score.total)
    assert parts.late == pytest.approx(price * (score.weighted_late_h - never_h))
    assert parts.moves == pytest.approx(score.moves)


@pytest.mark.parametrize("seed", range(8))
def test_asking_changes_nothing_of_the_plan_and_answers_the_same_again(seed: int) -> None:
    problem = problem_from(trade(seed))
    plan = solve(problem, 1, Budget(steps=5)).plan
    before = check(problem, plan)
    for batch in plan.batches[:3]:
        for ask in (why_now, why_here, why_tanks):
            assert ask(problem, plan, batch.id) == ask(problem, plan, batch.id)
    assert check(problem, plan) == before
