"""No plan is cheaper than the bound, and on tiny instances the bound of batching is what counting all partitions finds."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest
from scipy.optimize import linprog

from regenplant.core.scheduling import bounds, figures
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
