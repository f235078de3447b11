"""No plan is cheaper than the bound, and on tiny instances the bound of batching is what counting all partitions finds."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest
from scipy.optimize import linprog

from regenplant.core.scheduling import bounds, figures, place_bound
from regenplant.core.scheduling.bounds import lower_bound
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.problem import Problem, Tank
from regenplant.core.scheduling.solve import Budget, solve
from tests.core.scheduling.instances import instance


@pytest.mark.parametrize("seed", range(40))
def test_no_plan_lies_below_the_bound(seed: int) -> None:
    problem = problem_from(instance(seed, tanks=4 + seed % 15))
    answer = solve(problem, 1, Budget(steps=40))
    bound = lower_bound(Compiled(problem), 5.0, time.monotonic)
    assert not answer.unplaced
    assert 0 < bound.total <= answer.score + 1e-6


@pytest.mark.parametrize("seed", range(40, 70))
def test_no_plan_lies_below_the_bound_of_vessels_short_of_time(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As for instances that are too large for every batch in every place; with litres and fills that are no whole numbers too."""
    monkeypatch.setattr(place_bound, "MOST_COLUMNS", 0)
    data = instance(seed, tanks=4 + seed % 15)
    if seed % 2:
        for at, tank in enumerate(data["tanks"]):
            tank["volume_l"] -= (at % 7) / 9
        for vessel in data["vessels"]:
            vessel["min_fill_l"] += 0.4
    problem = problem_from(data)
    answer = solve(problem, 1, Budget(steps=80))
    bound = lower_bound(Compiled(problem), 5.0, time.monotonic)
    assert not answer.unplaced
    assert bound.total <= answer.score + 1e-6


def one_vessel(seed: int) -> Problem:
    """Nine tanks, late or dear, in one small vessel; of everything else there is enough."""
    data = instance(seed, tanks=9)
    data["vessels"] = data["vessels"][:1]
    data["vessels"][0].update(max_fill_l=170, min_fill_l=85)
    data["waste"]["capacity_l"] = 100_000
    data["water"]["deionized"]["rate_l_per_min"] = 1_000
    for shift in data["operator_shifts"]:
        shift["operators"] = 4
    for supply in data["chemicals"].values():
        supply["initial_kg"] = 1_000
    return problem_from(data)


def test_batches_in_places_bring_the_bound_near_the_plans_found() -> None:
    """Arrivals, due dates, clean-downs and the order of a vessel together: over twelve instances less than half of what is between
    bound and plan when each is looked at alone, and some plans are proved the best there are."""
    near = apart = 0.0
    proved = 0
    for seed in range(12):
        problem = one_vessel(seed)
        score = solve(problem, 1, Budget(steps=400)).score
        bound = lower_bound(Compiled(problem), 20.0, time.monotonic, at_most=score)
        assert bound.total <= score + 1e-6
        near += score - bound.total
        apart += score - (bound.total - bound.together)
        proved += bound.total > 0.999 * score
    assert near < 0.5 * apart
    assert proved >= 2


def partitions(tanks: list[Tank]) -> Iterator[list[list[Tank]]]:
    if not tanks:
        yield []
        return
    first, rest = tanks[0], tanks[1:]
    for smaller in partitions(rest):
        yield [[first], *smaller]
        for at, group in enumerate(smaller):
            yield [*smaller[:at], [first, *group], *smaller[at + 1 :]]


def price(problem: Problem, group: list[Tank]) -> float:
    """A batch of these tanks in its cheapest vessel."""
    stages = problem.recipes[group[0].key.family, group[0].key.treatment]
    volume = sum(tank.volume_l for tank in group)
    prices = []
    for vessel in problem.vessels:
        if problem.allowed(vessel, group[0].key) and volume <= vessel.max_fill_l:
            charged = figures.charge_l(volume, vessel)
            percent = figures.dose_percent(problem, group)
            needs = [
                figures.stage_need(stage, len(group), charged, percent, problem.slot_min) for stage in stages
            ]
            waiver = problem.costs.underfill_waiver if volume < vessel.min_fill_l else 0.0
            prices.append(problem.costs.batch + waiver + figures.running_cost(problem, needs))
    return min(prices, default=float("inf"))


def cheapest(problem: Problem) -> float:
    """Of every partition the cheapest; without changeovers."""
    return min(sum(price(problem, group) for group in groups) for groups in partitions(list(problem.tanks)))


def relaxed(problem: Problem) -> float:
    """The linear relaxation over all subsets, written out."""
    tanks = problem.tanks
    groups = [
        [tank for at, tank in enumerate(tanks) if number >> at & 1] for number in range(1, 1 << len(tanks))
    ]
    priced = [(price(problem, group), group) for group in groups]
    priced = [(cost, group) for cost, group in priced if cost < float("inf")]
    covers = [[-float(tank in group) for _, group in priced] for tank in tanks]
    answer = linprog([cost for cost, _ in priced], A_ub=covers, b_ub=[-1.0] * len(tanks))
    return float(answer.fun)


def one_key(seed: int, **changes: Any) -> Problem:
    data = instance(seed, tanks=7, **changes)
    for number, tank in enumerate(data["tanks"]):
        condition = "heavy" if number % 3 == 0 else "normal"
        tank.update(family="cation", segregation="industrial", lot=None, condition=condition)
    for vessel in data["vessels"]:
        vessel["previous"] = {"family": "cation", "segregation": "industrial", "lot": None}
    return problem_from(data)


@pytest.mark.parametrize("seed", range(8))
def test_the_bound_of_batching_is_the_cheapest_partition(seed: int) -> None:
    problem = one_key(seed)
    found = lower_bound(Compiled(problem), 30.0, time.monotonic).batching
    assert found == pytest.approx(cheapest(problem), abs=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_too_many_batches_to_count_give_the_linear_relaxation(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = one_key(seed)
    monkeypatch.setattr(bounds, "MOST_PATTERNS", 3)
    found = lower_bound(Compiled(problem), 30.0, time.monotonic).batching
    assert found == pytest.approx(relaxed(problem), abs=1e-3)
    assert found <= cheapest(problem) + 1e-6


def full_vessel(seed: int) -> Problem:
    """Five tanks of one key, each of which fills the only vessel that may take it."""
    data = instance(seed, tanks=5)
    data["vessels"] = data["vessels"][:1]
    data["waste"]["capacity_l"] = 100_000
    for supply in data["chemicals"].values():
        supply["initial_kg"] = 1_000
    (vessel,) = data["vessels"]
    state = {"family": "cation", "segregation": "industrial", "lot": None}
    vessel.update(families=["cation"], previous=state)
    for tank in data["tanks"]:
        tank.update(
            family="cation",
            segregation="industrial",
            lot=None,
            condition="normal",
            received_min=0,
            volume_l=vessel["max_fill_l"],
        )
    return problem_from(data)


@pytest.mark.parametrize("seed", [1, 3, 8, 9])
def test_batches_that_must_follow_each_other_bound_the_makespan(seed: int) -> None:
    """One vessel, five full batches: no plan ends before five of them in a row do, and with stock and room for waste one does."""
    problem = full_vessel(seed)
    compiled = Compiled(problem)
    alone = compiled.span_per_slot * max(bounds.earliest_ends(compiled).values())
    found = lower_bound(compiled, 30.0, time.monotonic).makespan
    answer = solve(problem, 1, Budget(steps=60))
    makespan = check(problem, answer.plan).score.makespan_h * problem.costs.makespan_per_hour
    assert len(answer.plan.batches) == 5
    assert 1.3 * alone < found <= makespan + 1e-6 and found > 0.9 * makespan
