"""On instances so small that every plan can be looked at, the search finds the best there is.

The enumeration shares nothing with the search: it counts out every pooling of the tanks, every vessel and every start on the grid, and
asks the checker. It leaves out only what is dearer already than the best plan so far.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from typing import Any

import pytest

from regenplant.core.scheduling import figures, place_bound
from regenplant.core.scheduling.bounds import lower_bound
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage
from regenplant.core.scheduling.problem import Problem, Tank, Vessel
from regenplant.core.scheduling.solve import Budget, solve
from tests.core.scheduling.instances import instance, stage

HOUR = 60
HOURS = 21


def tiny(seed: int) -> dict[str, Any]:
    """Two to four tanks, two vessels, three stages, a grid of an hour."""
    rng = random.Random(seed + 900)
    data = instance(seed, tanks=rng.choice((2, 3, 3, 4)))
    data.update(slot_min=HOUR, calendar_end_min=HOURS * HOUR)
    data["vessels"] = data["vessels"][:2]
    for vessel in data["vessels"]:
        vessel.update(families=["cation", "anion"], ready_min=0)
    for tank in data["tanks"]:
        tank.update(
            family=rng.choice(("cation", "anion")), condition="normal", segregation="industrial", lot=None
        )
        tank.update(received_min=rng.choice((0, 0, 180)), due_min=rng.choice((240, 420, 900)))
    data["recipes"] = [
        {"family": family, "treatment": "standard", "stages": [
            stage("inject", 60, chemical=chemical, dose_g_per_l=80, water="deionized", flow_bv_per_h=4, to_waste=True, attention=1),
            stage("rinse", 60, water="deionized", flow_bv_per_h=8, max_wait_after=60),
            stage("qc", 60, technicians=1, attention=3),
        ]}
        for family, chemical in (("cation", "acid"), ("anion", "caustic"))
    ]  # fmt: skip
    data["chemicals"]["acid"].update(initial_kg=rng.choice((20, 60)), deliveries=[{"at": 360, "kg": 100}])
    data["chemicals"]["caustic"].update(initial_kg=60, deliveries=[])
    data["waste"] = {"capacity_l": rng.choice((1400, 4000)), "initial_l": 300, "drain_l_per_min": 4}
    data["operator_shifts"] = [{"start": 0, "end": 1200, "operators": 1}]
    data["qc_shifts"] = [
        {"start": 120, "end": 720, "technicians": 1},
        {"start": 960, "end": 1260, "technicians": 1},
    ]
    return data


def poolings(tanks: list[Tank]) -> Iterator[list[list[Tank]]]:
    """Every way to part the tanks into batches of one key."""
    if not tanks:
        yield []
        return
    head, *rest = tanks
    for others in itertools.chain.from_iterable(
        itertools.combinations(rest, n) for n in range(len(rest) + 1)
    ):
        if all(other.key == head.key for other in others):
            left = [tank for tank in rest if tank not in others]
            for more in poolings(left):
                yield [[head, *others], *more]


def placings(problem: Problem, tanks: list[Tank]) -> list[tuple[float, PlannedBatch]]:
    """Every vessel and start of one batch with its price, cheapest first."""
    found = []
    stages = problem.recipes[tanks[0].key.family, tanks[0].key.treatment]
    for vessel in problem.vessels:
        if sum(tank.volume_l for tank in tanks) > vessel.max_fill_l:
            continue
        for begin in range(0, problem.calendar_end_min, problem.slot_min):
            for waits in itertools.product(
                *(range(0, item.max_wait_after_min + 1, HOUR) for item in stages[:-1])
            ):
                batch = placed(problem, vessel, tanks, begin, waits)
                if can_stand(problem, (batch,)):
                    found.append((price(problem, vessel, tanks, batch), batch))
    return sorted(found, key=lambda item: item[0])


def placed(
    problem: Problem, vessel: Vessel, tanks: list[Tank], begin: int, waits: tuple[int, ...]
) -> PlannedBatch:
    at, timed = begin, []
    stages = problem.recipes[tanks[0].key.family, tanks[0].key.treatment]
    for item, wait in zip(stages, (*waits, 0), strict=True):
        minutes = figures.stage_minutes(item, len(tanks), problem.slot_min)
        timed.append(PlannedStage(item.name, at, at + minutes))
        at += minutes + wait
    names = tuple(tank.id for tank in tanks)
    return PlannedBatch("-".join(names), vessel.id, names, is_underfilled(vessel, tanks), tuple(timed))


def is_underfilled(vessel: Vessel, tanks: list[Tank]) -> bool:
    return sum(tank.volume_l for tank in tanks) < vessel.min_fill_l


def can_stand(problem: Problem, batches: tuple[PlannedBatch, ...]) -> bool:
    """Whether these batches break nothing together, but for tanks that are left out."""
    sentences = check(problem, Plan("", batches)).violations
    return all("stands in 0 batches" in sentence for sentence in sentences)


def price(problem: Problem, vessel: Vessel, tanks: list[Tank], batch: PlannedBatch) -> float:
    """What the batch costs at least: itself, its chemicals and water, its lateness."""
    stages = problem.recipes[tanks[0].key.family, tanks[0].key.treatment]
    charged = figures.charge_l(sum(tank.volume_l for tank in tanks), vessel)
    percent = figures.dose_percent(problem, tanks)
    needs = [figures.stage_need(item, len(tanks), charged, percent, problem.slot_min) for item in stages]
    late_h = figures.weighted_late_min(problem, tanks, batch.end_min) / 60
    waiver = problem.costs.underfill_waiver if batch.underfill_waiver else 0.0
    own = problem.costs.batch + waiver + figures.running_cost(problem, needs)
    return own + late_h * problem.costs.late_per_weighted_hour


def best_of_all(problem: Problem) -> float:
    """The lowest score of any plan whatever."""
    best = float("inf")
    for pooling in poolings(list(problem.tanks)):
        options = [placings(problem, tanks) for tanks in pooling]
        least = [min((cost for cost, _ in found), default=float("inf")) for found in options]
        stack: list[tuple[float, tuple[PlannedBatch, ...]]] = [(0.0, ())]
        while stack:  # the cheapest first, so that what is dearer falls away soon
            spent, chosen = stack.pop()
            rest = options[len(chosen) :]
            if spent + sum(least[len(chosen) :]) >= best:
                continue
            if not rest:
                verdict = check(problem, Plan("", chosen))
                if verdict.is_feasible:
                    best = min(best, verdict.score.total)
                continue
            still = sum(least[len(chosen) + 1 :])
            worth = [item for item in rest[0] if spent + item[0] + still < best]
            stack.extend(
                (spent + cost, (*chosen, batch))
                for cost, batch in reversed(worth)
                if not chosen or can_stand(problem, (*chosen, batch))
            )
    return best


@pytest.mark.parametrize("seed", (0, *range(2, 10), *range(11, 16)))  # 1 and 10 take a minute each
def test_the_search_finds_the_best_plan_of_a_tiny_instance(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = problem_from(tiny(seed))
    best = best_of_all(problem)
    answer = solve(problem, 1, Budget(steps=400))
    assert answer.score == pytest.approx(best, abs=1e-6)
    assert lower_bound(Compiled(problem), 5.0, lambda: 0.0).total <= best + 1e-6
    monkeypatch.setattr(place_bound, "MOST_COLUMNS", 0)  # as where every batch in every place is too much
    assert lower_bound(Compiled(problem), 5.0, lambda: 0.0).total <= best + 1e-6
