"""Batches that have begun, as the day plan sees them: what they still take, when, and when their vessels fall free.

A vessel whose batch waits for a person's decision (failed, aborted, held) has no time at which it falls free; it is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.selectors.progress import Progress, StepLine, progress_of
from regenplant.batches.waste_room import waste_by_step
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.vocabulary import Leg
from regenplant.core.scheduling.from_plan import rest_of
from regenplant.core.scheduling.problem import Problem, RunningBatch, Stage, VesselState
from regenplant.core.scheduling.under_way import BegunBatch, Chain, laid
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.under_way_words import sentence

GOING_ON = (
    BatchState.READY,
    BatchState.RUNNING,
    BatchState.RINSING,
    BatchState.AWAITING_QC,
    BatchState.PASSED,
)


@dataclass(frozen=True, slots=True)
class VesselAtWork:
    """A vessel that a batch has."""

    vessel_id: int
    free_min: int
    state: VesselState
    batch: RunningBatch


@dataclass(frozen=True, slots=True)
class UnderWay:
    """Everything that goes on by itself."""

    vessels: Mapping[int, VesselAtWork]
    """By key of the vessel."""
    batches: tuple[RunningBatch, ...]
    said: tuple[str, ...]
    """What is over a limit, stands too long or cannot go on, each a sentence."""
    said_of: Mapping[str, tuple[str, ...]]
    """Those that are about one batch, by its number."""


def laid_under_way(limits: Problem, clock: PlanClock, figures: PlanningFigures) -> UnderWay:
    """Batches that go on by themselves, laid from now on inside what is shared."""
    rows = list(
        Batch.objects.filter(state__in=[state.value for state in GOING_ON])
        .select_related("vessel", "anion_vessel", "resin_type")
        .prefetch_related(
            "steps__started_by", "steps__finished_by", "holds", "tank_links__visit__tank__dedicated_to"
        )
        .order_by("planned_at", "number")
    )
    if not rows:
        return UnderWay({}, (), (), {})
    found = laid(limits, [_begun(row, clock, figures) for row in rows], clock.now_min)
    vessels: dict[int, VesselAtWork] = {}
    for row, batch, free_min in zip(rows, found.batches, found.free_min, strict=True):
        links = [link for link in row.tank_links.all() if link.is_current]
        owner = links[0].visit.tank.dedicated_to if links else None
        lot = owner.code if owner is not None else None
        state = VesselState(row.resin_type.code, row.segregation_class, lot)
        for vessel_id in filter(None, (row.vessel_id, row.anion_vessel_id)):
            vessels[vessel_id] = VesselAtWork(vessel_id, free_min, state, batch)
    said: list[str] = []
    said_of: defaultdict[str, list[str]] = defaultdict(list)
    for trouble in found.troubles:
        words = sentence(trouble, clock)
        said.append(words)
        if trouble.batch:
            said_of[trouble.batch].append(words)
    return UnderWay(
        vessels, found.batches, tuple(said), {name: tuple(words) for name, words in said_of.items()}
    )


def _begun(batch: Batch, clock: PlanClock, figures: PlanningFigures) -> BegunBatch:
    """What is left of a batch, from where its steps stand."""
    progress = progress_of(batch, clock.now)
    running = {line.number for line in progress.steps if line.state == StepState.RUNNING}
    left_min = {
        line.number: (max(0.0, line.left_s) if line.number in running else line.planned_s) / 60
        for line in progress.steps
        if line.state in (StepState.RUNNING, StepState.WAITING)
    }
    rounds = rest_of(plan_of(batch), waste_by_step(batch), figures.hands, left_min, running)
    if batch.state == BatchState.PASSED:
        rounds = tuple(tuple(_judged(chain) for chain in of_round) for of_round in rounds)
    links = [link for link in batch.tank_links.all() if link.is_current]
    return BegunBatch(
        id=batch.number,
        vessel=batch.vessel.code,
        tanks=tuple(link.visit.tank.serial for link in links),
        litres=batch.resin_volume_m3 * 1000,
        to_fill=sum(not link.is_filled for link in links),
        rounds=tuple(
            tuple(_chain(chain, progress, running, figures) for chain in of_round) for of_round in rounds
        ),
        beside=batch.anion_vessel.code if batch.anion_vessel is not None else "",
    )


def _judged(chain: tuple[Stage, ...]) -> tuple[Stage, ...]:
    return tuple(stage for stage in chain if stage.name != "judge")


def _chain(
    stages: tuple[Stage, ...], progress: Progress, running: set[int], figures: PlanningFigures
) -> Chain:
    """A chain with where its bed stands now."""
    numbers = [int(part.split(" ", 1)[0]) for part in stages[0].name.split(" + ") if part[0].isdigit()]
    if any(number in running for number in numbers):
        return Chain(stages, has_begun=True)
    last = _before(progress, numbers)
    if last is None or last.is_safe_hold_after:
        return Chain(stages)
    return Chain(stages, stands_min=figures.hands.unsafe_wait_min)


def _before(progress: Progress, numbers: list[int]) -> StepLine | None:
    """The last ended step of the bed or leg that goes on with these steps; None where nothing was done, or only judging is left."""
    if not numbers:
        return None
    legs = {line.leg for line in progress.steps if line.number in numbers}
    ended = [
        line
        for line in progress.steps
        if line.number < min(numbers)
        and line.state not in (StepState.RUNNING, StepState.WAITING)
        and (line.leg in legs or Leg.WHOLE.value in (line.leg, *legs))
    ]
    return ended[-1] if ended else None
