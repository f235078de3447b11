"""What a plan takes of everything shared, held against a count minute by minute that uses neither the checker nor the board."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from itertools import pairwise

import pytest

from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.loads import Load, LoadKind, loads
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem, RunningBatch, RunningStage, Window
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.core.scheduling.stays import PartKind, StayKind, occupied_min, stays
from tests.core.scheduling.test_trade import trade

SEEDS = range(4)


def made(seed: int) -> tuple[Problem, Plan]:
    problem = problem_from(trade(seed))
    return problem, solve(problem, 1, Budget(steps=3)).plan


def at(load: Load, minute: int) -> float:
    """The amount in the minute that begins then."""
    if not load.is_sloped:
        return [amount for start, amount in load.taken if start <= minute][-1]
    before = [step for step in load.taken if step[0] <= minute][-1]
    after = next((step for step in load.taken if step[0] > minute), before)
    if after[0] == before[0]:
        return before[1]
    return before[1] + (after[1] - before[1]) * (minute - before[0]) / (after[0] - before[0])


def counted(problem: Problem, plan: Plan) -> dict[tuple[str, str], dict[int, float]]:
    """Minute by minute, straight from the recipes: (kind, name) -> minute -> amount."""
    tanks = {tank.id: tank for tank in problem.tanks}
    vessels = {vessel.id: vessel for vessel in problem.vessels}
    used: dict[tuple[str, str], dict[int, float]] = defaultdict(lambda: defaultdict(float))

    def add(kind: str, name: str, start: int, end: int, amount: float) -> None:
        for minute in range(max(0, start), end):
            used[kind, name][minute] += amount

    for batch in plan.batches:
        members = [tanks[name] for name in batch.tanks]
        charged = max(sum(tank.volume_l for tank in members), vessels[batch.vessel].min_fill_l)
        percent = max(problem.dose_percent[tank.condition] for tank in members)
        recipe = problem.stages(batch.vessel, members[0].key)
        assert recipe is not None
        for timed, stage in zip(batch.stages, recipe, strict=True):
            span = (timed.start_min, timed.end_min)
            add("people", "operators' attention", *span, stage.attention)
            add("people", "QC technicians", *span, stage.technicians)
            add("people", "second people", *span, stage.second_people)
            for part in stage.parts:
                if part.chemical:
                    add("skid", part.chemical, *span, 1)
                    used["draw", part.chemical][span[0]] += math.ceil(
                        part.dose_g_per_l * charged * percent / 100
                    )
                if part.water:
                    flow = math.ceil(part.flow_l_per_min) or math.ceil(part.flow_bv_per_h * charged / 60)
                    add("water", part.water, *span, flow)
                    if part.to_waste:
                        add("waste", "", *span, flow)
    for running in problem.running:
        for left in running.stages:
            span = (left.start_min, left.end_min)
            add("people", "operators' attention", *span, left.attention)
            add("people", "QC technicians", *span, left.technicians)
            add("people", "second people", *span, left.second_people)
            if left.chemical:
                add("skid", left.chemical, *span, 1)
                used["draw", left.chemical][max(0, span[0])] += left.grams
            if left.water:
                add("water", left.water, *span, left.flow_l_per_min)
                if left.to_waste:
                    add("waste", "", *span, left.flow_l_per_min)
    return used


@pytest.mark.parametrize("seed", SEEDS)
def test_every_load_is_what_is_counted_minute_by_minute(seed: int) -> None:
    problem, plan = made(seed)
    used = counted(problem, plan)
    found = {(load.kind, load.name): load for load in loads(problem, plan)}
    until = max(batch.end_min for batch in plan.batches) + 60
    level = float(problem.waste.initial_l)
    stock_g = {name: supply.initial_kg * 1000 for name, supply in problem.chemicals.items()}
    for minute in range(until):
        for (kind, name), amounts in used.items():
            if kind in ("people", "skid", "water") and any(amounts.values()):
                assert at(found[LoadKind(kind), name], minute) == amounts.get(minute, 0.0)
        for name, supply in problem.chemicals.items():
            stock_g[name] += 1000 * sum(item.kg for item in supply.deliveries if item.at_min == minute)
            stock_g[name] -= used["draw", name].get(minute, 0.0)
            if (LoadKind.STOCK, name) in found:
                assert at(found[LoadKind.STOCK, name], minute) == pytest.approx(stock_g[name] / 1000)
        assert at(found[LoadKind.WASTE, ""], minute) == pytest.approx(
            level, abs=problem.waste.drain_l_per_min
        )
        level = max(0.0, level + used["waste", ""].get(minute, 0.0) - problem.waste.drain_l_per_min)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_tightest_moment_leaves_least(seed: int) -> None:
    problem, plan = made(seed)
    for load in loads(problem, plan):
        when, amount = load.tightest()
        sign = -1 if load.kind is LoadKind.STOCK else 1
        asked = [item for item in load.taken if item[1] > 0] or list(load.taken)
        assert (when, amount) in load.taken
        assert all(
            sign * (load.room_at(when) - amount) <= sign * (load.room_at(other) - value) + 1e-9
            for other, value in asked
        )


@pytest.mark.parametrize("seed", SEEDS)
def test_stays_hold_every_batch_once_and_never_two_at_a_time(seed: int) -> None:
    problem, plan = made(seed)
    found = stays(problem, plan)
    planned = [stay for row in found.values() for stay in row if stay.kind is StayKind.PLANNED]
    assert sorted(stay.batch for stay in planned) == sorted(batch.id for batch in plan.batches)
    for row in found.values():
        kept = [stay for stay in row if stay.kind is not StayKind.CLOSED]
        assert all(one.end_min <= two.start_min for one, two in pairwise(kept))
    for stay in planned:
        assert stay.parts[0].start_min == stay.start_min
        assert stay.parts[-1].end_min == stay.end_min
        assert all(one.end_min == two.start_min for one, two in pairwise(stay.parts))
        assert {part.kind for part in stay.parts} >= {PartKind.HANDS, PartKind.CHECK}


def test_minutes_in_a_window_are_those_of_each_day_together() -> None:
    problem, plan = made(1)
    for row in stays(problem, plan).values():
        whole = occupied_min(row, Window(0, 20 * 1440))
        assert whole == sum(occupied_min(row, Window(day * 1440, (day + 1) * 1440)) for day in range(20))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_clean_down_ends_before_its_batch_and_lies_in_an_opening_where_one_holds_it(seed: int) -> None:
    problem, plan = made(seed)
    starts = {batch.id: batch.start_min for batch in plan.batches}
    openings = tuple(Window(day * 1440 + 330, day * 1440 + 1350) for day in range(12))
    for row in stays(replace(problem, openings=openings), plan).values():
        for before, clean in pairwise((None, *(one for one in row if one.kind is not StayKind.CLOSED))):
            if clean is None or clean.kind is not StayKind.CLEANING:
                continue
            free = before.end_min if before is not None else 0
            assert free <= clean.start_min
            assert clean.end_min <= starts[clean.batch]
            length = clean.end_min - clean.start_min
            latest = [
                min(window.end_min, starts[clean.batch])
                for window in openings
                if min(window.end_min, starts[clean.batch]) - length >= max(window.start_min, free)
            ]
            assert clean.end_min == max(latest, default=starts[clean.batch])


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_taken_within_a_day_is_what_is_taken_then(seed: int) -> None:
    problem, plan = made(seed)
    for load in loads(problem, plan):
        for day in range(4):
            window = Window(day * 1440, (day + 1) * 1440)
            part = load.within(window)
            for minute in range(window.start_min, window.end_min, 7):
                assert part.taken_at(minute) == pytest.approx(load.taken_at(minute))
                assert part.room_at(minute) == load.room_at(minute)
            at, amount = part.peak()
            assert window.start_min <= at <= window.end_min
            many = [part.taken_at(minute) for minute in range(window.start_min, window.end_min, 7)]
            if load.kind is LoadKind.STOCK:
                assert amount <= min(many) + 1e-6
            else:
                assert amount >= max(many) - 1e-6


def test_a_batch_under_way_has_its_stages_in_both_of_its_vessels() -> None:
    problem, _ = made(1)
    first, second = problem.vessels[0].id, "beside"
    stages = (
        RunningStage("5 Inject", 30, 60, attention=1, chemical="acid"),
        RunningStage("judge", 120, 140, technicians=1),
        RunningStage("fill tanks", 140, 200, attention=problem.attention_per_operator),
        RunningStage("release", 220, 240, second_people=1),
    )
    batch = RunningBatch("B-1", first, ("T1", "T2"), stages, beside=second)
    vessels = (replace(problem.vessels[0], ready_min=200), *problem.vessels[1:])
    found = stays(replace(problem, running=(batch,), vessels=vessels), Plan("none", ()))
    for name in (first, second):
        (stay,) = (one for one in found[name] if one.kind is StayKind.RUNNING)
        assert (stay.start_min, stay.end_min, stay.tanks) == (0, 200, 2)
        assert [(part.kind, part.start_min, part.end_min) for part in stay.parts] == [
            (PartKind.WAIT, 0, 30),
            (PartKind.CHEMICAL, 30, 60),
            (PartKind.WAIT, 60, 120),
            (PartKind.CHECK, 120, 140),
            (PartKind.HANDS, 140, 200),
        ]
