"""Whether a plan keeps every limit, worked out from nothing but problem and plan; and what it costs.

Written apart from the solver on purpose: it shares the figures of a batch (figures.py) and nothing of how plans are found. It sweeps
over events in time and knows no grid but for the rule that stages begin on it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.judged import Judged
from regenplant.core.scheduling.plan import Plan, PlannedBatch
from regenplant.core.scheduling.problem import (
    Key,
    Problem,
    Vessel,
    VesselState,
)
from regenplant.core.scheduling.telling import When, in_minutes
from regenplant.core.scheduling.trade_checks import trade_limits
from regenplant.core.scheduling.uses import (
    Interval,
    offered_changes,
    planned_uses,
    running_uses,
    waste_levels,
)

LEVEL_TOLERANCE_L = 1e-6
"""Rounding of sums of litres, no room in the tank."""


@dataclass(frozen=True, slots=True)
class Score:
    """The objective in its parts."""

    weighted_late_h: float
    late_tanks: int
    batches: int
    waivers: int
    changeovers: int
    running_cost: float
    makespan_h: float
    total: float
    moves: float = 0.0
    """What it costs that tanks leave the places that a known plan gave them."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What breaks a limit, in sentences, and the score."""

    violations: tuple[str, ...]
    score: Score

    @property
    def is_feasible(self) -> bool:
        """Whether nothing breaks a limit."""
        return not self.violations


def check(problem: Problem, plan: Plan, when: When = in_minutes) -> Verdict:
    """Every limit of the problem held against the plan; sentences tell moments by ``when``."""
    violations: list[str] = []
    whole: list[Judged] = []
    for batch in plan.batches:
        found = _whole(problem, batch, violations)
        if found is not None:
            whole.append(found)
            violations.extend(_own_limits(problem, found, when))
    violations.extend(_every_tank_once(problem, plan))
    changes: list[Vessel] = []
    for vessel in problem.vessels:
        here = sorted(
            (item for item in whole if item.vessel is vessel), key=lambda item: item.batch.start_min
        )
        changes.extend(_changeovers(problem, vessel, here, violations, when))
    violations.extend(_shared_limits(problem, whole, when))
    violations.extend(trade_limits(problem, plan, whole, when))
    return Verdict(tuple(violations), _score(problem, whole, changes, len(plan.batches)))


def judged(problem: Problem, plan: Plan) -> list[Judged]:
    """The batches whose parts are known, as they are judged; another is left out (``check`` says why)."""
    found = (_whole(problem, batch, []) for batch in plan.batches)
    return [item for item in found if item is not None]


def _whole(problem: Problem, batch: PlannedBatch, violations: list[str]) -> Judged | None:
    """The batch with its parts, or None and the reason among the violations."""
    tank_of = {tank.id: tank for tank in problem.tanks}
    vessel = next((vessel for vessel in problem.vessels if vessel.id == batch.vessel), None)
    unknown = [name for name in batch.tanks if name not in tank_of]
    tanks = tuple(tank_of[name] for name in batch.tanks if name in tank_of)
    keys = {tank.key for tank in tanks}
    if vessel is None:
        violations.append(f"{batch.id}: no vessel {batch.vessel}")
    elif unknown or not tanks:
        violations.append(f"{batch.id}: no tanks {', '.join(unknown)}" if unknown else f"{batch.id}: empty")
    elif len(keys) > 1:
        violations.append(f"{batch.id}: crosses keys {'; '.join(sorted(map(str, keys)))}")
    else:
        key = keys.pop()
        stages = problem.stages(vessel.id, key)
        if stages is None:
            violations.append(f"{batch.id}: no recipe for {key}")
        elif [stage.name for stage in stages] != [stage.name for stage in batch.stages]:
            violations.append(f"{batch.id}: other stages than its recipe")
        else:
            charged = figures.charge_l(sum(tank.volume_l for tank in tanks), vessel)
            percent = figures.dose_percent(problem, tanks)
            needs = tuple(
                figures.stage_need(stage, len(tanks), charged, percent, problem.slot_min) for stage in stages
            )
            return Judged(batch, vessel, tanks, key, needs)
    return None


def _own_limits(problem: Problem, item: Judged, when: When) -> Iterator[str]:
    """What one batch must keep by itself: class, fill, times of its stages."""
    batch, vessel = item.batch, item.vessel
    if not problem.allowed(vessel, item.key):
        yield f"{batch.id}: {vessel.id} does not take {item.key}"
    volume_l = sum(tank.volume_l for tank in item.tanks)
    if volume_l > vessel.max_fill_l:
        yield f"{batch.id}: {volume_l:g} L in {vessel.id}, which takes {vessel.max_fill_l:g} L"
    if item.is_underfilled and not batch.underfill_waiver:
        yield f"{batch.id}: {volume_l:g} L below the minimum of {vessel.min_fill_l:g} L without a waiver"
    latest = max(tank.received_min for tank in item.tanks)
    if batch.start_min < latest:
        yield f"{batch.id}: loaded {when(batch.start_min)}, before a tank comes, {when(latest)}"
    if batch.end_min > problem.calendar_end_min:
        yield f"{batch.id}: ends {when(batch.end_min)}, after the days that are planned, {when(problem.calendar_end_min)}"
    for stage, need in zip(batch.stages, item.needs, strict=True):
        if stage.start_min % problem.slot_min:
            yield f"{batch.id}: {stage.name} starts off the grid, {when(stage.start_min)}"
        if stage.end_min - stage.start_min != need.minutes:
            yield f"{batch.id}: {stage.name} lasts {stage.end_min - stage.start_min} min instead of {need.minutes}"
    for before, after, need in zip(batch.stages, batch.stages[1:], item.needs, strict=False):
        wait = after.start_min - before.end_min
        if not 0 <= wait <= need.stage.max_wait_after_min:
            yield (
                f"{batch.id}: {wait} min between {before.name} and {after.name}, "
                f"allowed 0 to {need.stage.max_wait_after_min}"
            )


def _every_tank_once(problem: Problem, plan: Plan) -> Iterator[str]:
    times = Counter(name for batch in plan.batches for name in batch.tanks)
    for tank in problem.tanks:
        if times[tank.id] != 1:
            yield f"tank {tank.id} stands in {times[tank.id]} batches"
    for name, count in Counter(batch.id for batch in plan.batches).items():
        if count > 1:
            yield f"batch {name} stands {count} times"


def _changeovers(
    problem: Problem, vessel: Vessel, in_order: list[Judged], violations: list[str], when: When
) -> Iterator[Vessel]:
    """The vessel once for each changeover; what begins too early among the violations."""
    state: VesselState | Key = vessel.previous
    free_min = vessel.ready_min
    for item in in_order:
        minutes = problem.changeover.minutes(state, item.key)
        if item.batch.start_min < free_min + minutes:
            violations.append(
                f"{item.batch.id}: starts {when(item.batch.start_min)} in {vessel.id}, which is ready {when(free_min + minutes)}"
            )
        if minutes:
            yield vessel
        state, free_min = item.key, item.vessel_free_min


def _shared_limits(problem: Problem, whole: list[Judged], when: When) -> Iterator[str]:
    """What all batches share: people, skids, water, stock, waste. Batches that run take their part first; what they alone
    overrun is no fault of the plan."""
    uses, running = planned_uses(whole), running_uses(problem)
    offered = {
        "operators' attention": offered_changes(problem.operator_shifts, problem.attention_per_operator),
        "QC technicians": offered_changes(problem.technician_shifts, 1),
        "second people": offered_changes(problem.second_shifts, 1),
    }
    for name, taken in uses.people.items():
        yield from _above(name, taken, offered[name], running.people[name], when)
    for name, taken in uses.skids.items():
        lines: list[tuple[int, float]] = [(0, problem.chemicals[name].skid_lines)]
        yield from _above(f"{name} skid", taken, lines, running.skids[name], when)
    for name, taken in uses.water.items():
        rate = [(0, problem.water_l_per_min[name])]
        yield from _above(f"{name} water", taken, rate, running.water[name], when)
    for name, draws in uses.draws.items():
        yield from _short_of(problem, name, draws, running.draws[name], when)
    yield from _overflow(problem, uses.waste, running.waste, when)


def _above(
    what: str, uses: list[Interval], offered: list[tuple[int, float]], running: list[Interval], when: When
) -> Iterator[str]:
    """Each moment from which more is used than running batches leave of what is offered."""
    room: dict[int, float] = defaultdict(float)
    used: dict[int, float] = defaultdict(float)
    for at, amount in offered:
        room[at] += amount
    for start, end, amount in running:
        room[start] -= amount
        room[end] += amount
    for start, end, amount in uses:
        used[start] += amount
        used[end] -= amount
    left = taken = 0.0
    for at in sorted({*room, *used}):
        left += room.get(at, 0.0)
        taken += used.get(at, 0.0)
        over = taken - max(0.0, left)
        if over > 0:
            yield f"{what}: {over:g} too many, {when(at)}"


def _short_of(
    problem: Problem, name: str, taken: list[tuple[int, int]], running: list[tuple[int, int]], when: When
) -> Iterator[str]:
    """The first moment at which the stock is below its minimum after the plan drew on it; what arrives in the same minute counts
    first."""
    supply = problem.chemicals[name]
    moves = [(item.at_min, 0, item.kg * 1000) for item in supply.deliveries]
    moves += [(at, 1, -grams) for at, grams in running]
    moves += [(at, 2, -grams) for at, grams in taken]
    level_g, planned = supply.initial_kg * 1000, False
    for at, rank, grams in sorted(moves):
        level_g += grams
        planned = planned or (rank == 2 and grams < 0)
        if planned and level_g < supply.min_kg * 1000:
            yield f"{name}: stock falls to {level_g / 1000:g} kg, {when(at)}, minimum {supply.min_kg:g} kg"
            return


def _overflow(
    problem: Problem, inflows: list[Interval], running: list[Interval], when: When
) -> Iterator[str]:
    """Whether the plan makes the waste tank run over: its level rises and falls in straight lines between events."""
    capacity_l = problem.waste.capacity_l + LEVEL_TOLERANCE_L
    events = sorted({at for start, end, _ in (*inflows, *running) for at in (start, end)})
    alone = waste_levels(problem, running, events)
    for at, level, without in zip(
        events, waste_levels(problem, [*inflows, *running], events), alone, strict=True
    ):
        if level > capacity_l and level > without + LEVEL_TOLERANCE_L:
            yield f"waste tank: {level:g} L, {when(at)}, it holds {problem.waste.capacity_l:g} L"
            return


def _score(problem: Problem, whole: list[Judged], changes: list[Vessel], batches: int) -> Score:
    done = {tank.id: item.batch.end_min for item in whole for tank in item.tanks}
    late_min = {
        tank.id: max(0, done.get(tank.id, problem.calendar_end_min) - tank.due_min) for tank in problem.tanks
    }
    weight = {tank.id: problem.priority_weight[tank.priority] for tank in problem.tanks}
    weighted_h = sum(late_min[name] * weight[name] for name in late_min) / 60
    waivers = sum(item.is_underfilled for item in whole)
    running = batches * problem.costs.batch + waivers * problem.costs.underfill_waiver
    running += sum(figures.changeover_cost(problem, vessel) for vessel in changes)
    running += sum(figures.running_cost(problem, item.needs) for item in whole)
    makespan_h = max(done.values(), default=0) / 60
    moves = _moves(problem, whole)
    total = (
        moves
        + problem.costs.late_per_weighted_hour * weighted_h
        + running
        + problem.costs.makespan_per_hour * makespan_h
    )
    return Score(
        weighted_late_h=weighted_h,
        late_tanks=sum(minutes > 0 for minutes in late_min.values()),
        batches=batches,
        waivers=waivers,
        changeovers=len(changes),
        running_cost=running,
        makespan_h=makespan_h,
        total=total,
        moves=moves,
    )


def _moves(problem: Problem, whole: list[Judged]) -> float:
    known = {name: item for item in problem.standing for name in item.tanks}
    return sum(
        figures.moves_cost(problem, known[tank.id], 1, item.vessel.id, item.batch.start_min)
        for item in whole
        for tank in item.tanks
        if tank.id in known
    )
