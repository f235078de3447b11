"""The plan from the program of the bound keeps every limit, and its bound is below it."""

from __future__ import annotations

import time

import pytest

from regenplant.core.scheduling import place_bound
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.from_bound import plan_of_bound
from regenplant.core.scheduling.solve import Budget, plan_on, solve
from tests.core.scheduling.instances import instance


@pytest.mark.parametrize("seed", range(10))
def test_what_the_program_says_is_a_plan(seed: int) -> None:
    problem = problem_from(instance(seed, tanks=9))
    search, bound = plan_of_bound(Compiled(problem), 1, 10.0, time.monotonic)
    assert search is not None and not search.unplaced
    verdict = check(problem, plan_on(search))
    assert verdict.is_feasible
    assert verdict.score.total == pytest.approx(search.score, abs=1e-6)
    assert 0 < bound <= search.score + 1e-6
    best = solve(problem, 1, Budget(steps=300)).score
    assert bound <= best + 1e-6


def test_a_known_plan_that_is_the_best_is_proved_so() -> None:
    """Nothing cheaper is there: the bound is the score itself."""
    problem = problem_from(instance(3, tanks=1))
    known = solve(problem, 1, Budget(steps=20)).score
    search, bound = plan_of_bound(Compiled(problem), 1, 10.0, time.monotonic, at_most=known)
    assert bound == pytest.approx(known, abs=1e-3)
    assert search is None or search.score >= known - 1e-6


def test_a_larger_instance_has_no_such_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place_bound, "MOST_COLUMNS", 0)
    compiled = Compiled(problem_from(instance(3, tanks=9)))
    assert plan_of_bound(compiled, 1, 10.0, time.monotonic) == (None, 0.0)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_search_by_the_clock_brings_a_bound_of_a_small_instance(workers: int) -> None:
    problem = problem_from(instance(5, tanks=8))
    answer = solve(problem, 1, Budget(seconds=4.0, workers=workers, clock=time.monotonic))
    assert check(problem, answer.plan).is_feasible
    assert 0 < answer.bound <= answer.score + 1e-6
