"""Batches that have begun, as the day plan sees them: what they still take, and when their vessels fall free.

A vessel whose batch waits for a person's decision (failed, aborted, held) has no time at which it falls free; it is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.selectors.progress import progress_of
from regenplant.batches.waste_room import waste_by_step
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.scheduling.figures import stage_need
from regenplant.core.scheduling.from_plan import stages_of
from regenplant.core.scheduling.problem import RunningBatch, RunningStage, Shift, Stage, VesselState
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import PlanningFigures

GOING_ON = (
    BatchState.READY,
    BatchState.RUNNING,
    BatchState.RINSING,
    BatchState.AWAITING_QC,
    BatchState.PASSED,
)
BEHIND = 3
"""Stages that follow the last step: judging, filling, release."""


@dataclass(frozen=True, slots=True)
class VesselAtWork:
    """A vessel that a batch has."""

    vessel_id: int
    free_min: int
    state: VesselState
    batch: RunningBatch


def vessels_at_work(clock: PlanClock, figures: PlanningFigures) -> dict[int, VesselAtWork]:
    """Vessels with a batch that goes on by itself, by key."""
    rows = (
        Batch.objects.filter(state__in=[state.value for state in GOING_ON])
        .select_related("vessel", "anion_vessel", "resin_type")
        .prefetch_related("steps", "holds", "tank_links__visit__tank__dedicated_to")
        .order_by("planned_at", "number")
    )
    found: dict[int, VesselAtWork] = {}
    for row in rows:
        running, free_min = _running(row, clock, figures)
        links = [link for link in row.tank_links.all() if link.is_current]
        owner = links[0].visit.tank.dedicated_to if links else None
        state = VesselState(
            row.resin_type.code, row.segregation_class, owner.code if owner is not None else None
        )
        found[row.vessel_id] = VesselAtWork(row.vessel_id, free_min, state, running)
        if row.anion_vessel_id is not None:
            found[row.anion_vessel_id] = VesselAtWork(row.anion_vessel_id, free_min, state, running)
    return found


def _running(batch: Batch, clock: PlanClock, figures: PlanningFigures) -> tuple[RunningBatch, int]:
    """What is left of a batch, one stage after the other from now on, judging and filling when people are there."""
    plan = plan_of(batch)
    litres = batch.resin_volume_m3 * 1000
    tanks = [link for link in batch.tank_links.all() if link.is_current]
    stages = stages_of(plan, waste_by_step(batch), figures.hands)
    left_s = {
        line.number: max(60.0, line.left_s) if line.state == StepState.RUNNING else line.planned_s
        for line in progress_of(batch, clock.now).steps
        if line.state in (StepState.RUNNING, StepState.WAITING)
    }
    running = {line.number for line in progress_of(batch, clock.now).steps if line.state == StepState.RUNNING}
    at = clock.now_min
    made: list[RunningStage] = []
    for index, stage in enumerate(stages):
        is_behind = index >= len(stages) - BEHIND
        numbers = _numbers(stage.name)
        if not is_behind and not any(number in left_s for number in numbers):
            continue
        if stage.name == "judge" and batch.state == BatchState.PASSED:
            continue
        need = stage_need(stage, len(tanks), litres, 100.0, clock.slot_min)
        minutes = need.minutes
        started = [number for number in numbers if number in running]
        if started and not is_behind:
            left = max(left_s[number] for number in started) / 60
            minutes = min(minutes, max(clock.slot_min, -(-int(left) // clock.slot_min) * clock.slot_min))
        begin = _when_people_are_there(stage, at, minutes, clock, figures)
        parts = stage.name.split(" + ") if len(need.uses) > 1 else [stage.name]
        taken = [
            (use, 0 if any(number in running for number in _numbers(part)) else use.grams)
            for use, part in zip(need.uses, parts, strict=True)
            if is_behind or any(number in left_s for number in _numbers(part))
        ]
        for part_number, (use, grams) in enumerate(taken):
            is_first = part_number == 0  # people are counted once, whatever runs side by side
            made.append(
                RunningStage(
                    name=stage.name,
                    start_min=begin,
                    end_min=begin + minutes,
                    attention=stage.attention if is_first else 0,
                    technicians=stage.technicians if is_first else 0,
                    second_people=stage.second_people if is_first else 0,
                    chemical=use.chemical,
                    grams=grams,
                    water=use.water,
                    flow_l_per_min=use.flow_l_per_min,
                    to_waste=use.to_waste,
                    load_g={} if started or not is_first else dict(need.load_g),
                )
            )
        at = begin + minutes
    free_min = next((stage.end_min for stage in reversed(made) if stage.name != "release"), clock.now_min)
    serials = tuple(link.visit.tank.serial for link in tanks)
    return RunningBatch(batch.number, batch.vessel.code, serials, tuple(made)), free_min


def _numbers(name: str) -> list[int]:
    """The steps of a stage; both legs of a mixed bed may share one."""
    return [int(part.split(" ", 1)[0]) for part in name.split(" + ") if part.split(" ", 1)[0].isdigit()]


def _when_people_are_there(
    stage: Stage, at: int, minutes: int, clock: PlanClock, figures: PlanningFigures
) -> int:
    """The first moment from which everybody a stage needs is there for all of it; ``at`` where that never is."""
    begin = at
    for wanted, what in (
        (stage.technicians, "technicians"),
        (stage.second_people, "second_people"),
        (1 if stage.attention else 0, "operators"),
    ):
        if wanted:
            begin = _first(clock.shifts(figures.working_times, what), begin, minutes)
    return begin


def _first(shifts: Sequence[Shift], at: int, minutes: int) -> int:
    return next(
        (max(at, shift.start_min) for shift in shifts if max(at, shift.start_min) + minutes <= shift.end_min),
        at,
    )
