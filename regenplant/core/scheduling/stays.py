"""Who stands in a vessel, from when to when: batches of a plan with their stages and waits, batches that run, clean-downs, closed times."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.scheduling.checker import judged
from regenplant.core.scheduling.judged import Judged
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import (
    Key,
    Problem,
    RunningStage,
    Stage,
    Vessel,
    VesselState,
    Window,
)


class StayKind(StrEnum):
    """What keeps the vessel."""

    PLANNED = "planned"
    RUNNING = "running"
    CLEANING = "cleaning"
    CLOSED = "closed"


class PartKind(StrEnum):
    """What is done in a part of a stay."""

    HANDS = "hands"
    """Loading, unloading: a whole person."""
    CHEMICAL = "chemical"
    CHECK = "check"
    """A technician or a second person is there."""
    OTHER = "other"
    WAIT = "wait"
    """The bed stands at a safe point between two stages."""


@dataclass(frozen=True, slots=True)
class Part:
    """One stage, or a wait between two."""

    name: str
    kind: PartKind
    start_min: int
    end_min: int


@dataclass(frozen=True, slots=True)
class Stay:
    """From when to when something keeps the vessel. ``batch`` is empty where it is no batch; of a clean-down it is the one that it is
    for. ``late`` counts its tanks."""

    kind: StayKind
    start_min: int
    end_min: int
    batch: str = ""
    tanks: int = 0
    late: int = 0
    family: str = ""
    parts: tuple[Part, ...] = ()


def stays(problem: Problem, plan: Plan) -> dict[str, tuple[Stay, ...]]:
    """By vessel, in the order of the problem's vessels, then others in which a batch runs; each in order of time.

    A clean-down stands as late as somebody is there for it, before the batch that it is for is loaded; it may be done sooner.
    """
    whole = judged(problem, plan)
    found = {}
    for vessel in problem.vessels:
        here = sorted(
            (item for item in whole if item.vessel is vessel), key=lambda item: item.batch.start_min
        )
        rows = [*_running(problem, vessel.id), *_planned(problem, vessel, here)]
        rows += [Stay(StayKind.CLOSED, max(0, window.start_min), window.end_min) for window in vessel.closed]
        found[vessel.id] = _in_order(rows)
    others = {name for batch in problem.running for name in (batch.vessel, batch.beside) if name}
    for name in sorted(others.difference(found)):
        found[name] = _in_order(_running(problem, name))
    return found


def _in_order(rows: Iterable[Stay]) -> tuple[Stay, ...]:
    return tuple(sorted(rows, key=lambda stay: (stay.start_min, stay.end_min)))


def occupied_min(rows: tuple[Stay, ...], window: Window) -> int:
    """For how many minutes of the window batches and clean-downs keep the vessel; closed times do not count."""
    return sum(
        max(0, min(stay.end_min, window.end_min) - max(stay.start_min, window.start_min))
        for stay in rows
        if stay.kind is not StayKind.CLOSED
    )


def _running(problem: Problem, vessel: str) -> Iterator[Stay]:
    """What runs there, from the beginning until the vessel falls free: what follows takes people only. One of which nothing can go on
    keeps it to the end."""
    ready = {one.id: one.ready_min for one in problem.vessels}
    for batch in problem.running:
        if vessel not in (batch.vessel, batch.beside):
            continue
        inside = [stage for stage in batch.stages if stage.name != "release"]
        free_min = ready.get(
            vessel, max((stage.end_min for stage in inside), default=problem.calendar_end_min)
        )
        stages = [stage for stage in inside if stage.start_min < free_min]
        yield Stay(
            StayKind.RUNNING,
            0,
            free_min,
            batch.id,
            len(batch.tanks),
            parts=tuple(_running_parts(stages, problem.attention_per_operator)),
        )


def _running_parts(stages: Iterable[RunningStage], whole_person: int) -> Iterator[Part]:
    """The stages that are left, both legs of a mixed bed beside each other, and where the bed stands before and between them."""
    before = 0
    for stage in sorted(stages, key=lambda one: (one.start_min, one.end_min)):
        if stage.start_min > before:
            yield Part("wait", PartKind.WAIT, before, stage.start_min)
        if stage.technicians or stage.second_people:
            kind = PartKind.CHECK
        elif stage.chemical:
            kind = PartKind.CHEMICAL
        else:
            kind = PartKind.HANDS if stage.attention >= whole_person else PartKind.OTHER
        yield Part(stage.name, kind, max(0, stage.start_min), stage.end_min)
        before = max(before, stage.end_min)


def _planned(problem: Problem, vessel: Vessel, in_order: list[Judged]) -> Iterator[Stay]:
    state: VesselState | Key = vessel.previous
    free_min = vessel.ready_min
    for item in in_order:
        minutes = problem.changeover.minutes(state, item.key)
        if minutes:
            begins = _clean_from(problem, free_min, item.batch.start_min, minutes)
            yield Stay(StayKind.CLEANING, begins, begins + minutes, item.batch.id)
        yield Stay(
            StayKind.PLANNED,
            item.batch.start_min,
            item.vessel_free_min,
            item.batch.id,
            len(item.tanks),
            sum(tank.due_min < item.batch.end_min for tank in item.tanks),
            item.key.family,
            tuple(_parts(item, problem.attention_per_operator)),
        )
        state, free_min = item.key, item.vessel_free_min


def _clean_from(problem: Problem, free_min: int, by_min: int, minutes: int) -> int:
    """As late as the whole clean-down lies in one opening before the batch is loaded; right before it where no opening holds it."""
    ends = [
        min(by_min, window.end_min)
        for window in problem.openings
        if min(by_min, window.end_min) - minutes >= max(free_min, window.start_min)
    ]
    return max(ends, default=by_min) - minutes


def _parts(item: Judged, whole_person: int) -> Iterator[Part]:
    before = item.batch.start_min
    for timed, need in zip(item.batch.stages, item.needs, strict=True):
        if need.stage.after_vessel:
            return
        if timed.start_min > before:
            yield Part("wait", PartKind.WAIT, before, timed.start_min)
        yield Part(timed.name, _kind(need.stage, whole_person), timed.start_min, timed.end_min)
        before = timed.end_min


def _kind(stage: Stage, whole_person: int) -> PartKind:
    if stage.technicians or stage.second_people:
        return PartKind.CHECK
    if any(part.chemical for part in stage.parts):
        return PartKind.CHEMICAL
    return PartKind.HANDS if stage.attention >= whole_person else PartKind.OTHER
