"""Who stands in a vessel, from when to when: batches of a plan with their stages and waits, batches that run, clean-downs, closed times."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.scheduling.checker import judged
from regenplant.core.scheduling.judged import Judged
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Key, Problem, Stage, Vessel, VesselState, Window


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
    """From when to when something keeps the vessel. ``batch`` is empty where it is no batch; ``late`` counts its tanks."""

    kind: StayKind
    start_min: int
    end_min: int
    batch: str = ""
    tanks: int = 0
    late: int = 0
    family: str = ""
    parts: tuple[Part, ...] = ()


def stays(problem: Problem, plan: Plan) -> dict[str, tuple[Stay, ...]]:
    """By vessel, in the order of the problem's vessels; each in order of time.

    A clean-down is drawn at once after what stood there before; it may be done any time before the next batch is loaded.
    """
    whole = judged(problem, plan)
    found = {}
    for vessel in problem.vessels:
        here = sorted(
            (item for item in whole if item.vessel is vessel), key=lambda item: item.batch.start_min
        )
        rows = [*_running(problem, vessel), *_planned(problem, vessel, here)]
        rows += [Stay(StayKind.CLOSED, max(0, window.start_min), window.end_min) for window in vessel.closed]
        found[vessel.id] = tuple(sorted(rows, key=lambda stay: (stay.start_min, stay.end_min)))
    return found


def occupied_min(rows: tuple[Stay, ...], window: Window) -> int:
    """For how many minutes of the window batches and clean-downs keep the vessel; closed times do not count."""
    return sum(
        max(0, min(stay.end_min, window.end_min) - max(stay.start_min, window.start_min))
        for stay in rows
        if stay.kind is not StayKind.CLOSED
    )


def _running(problem: Problem, vessel: Vessel) -> Iterator[Stay]:
    """Until the vessel is ready: what follows takes people only."""
    for batch in problem.running:
        if batch.vessel != vessel.id or not batch.stages:
            continue
        yield Stay(
            StayKind.RUNNING,
            max(0, batch.stages[0].start_min),
            vessel.ready_min,
            batch.id,
            len(batch.tanks),
        )


def _planned(problem: Problem, vessel: Vessel, in_order: list[Judged]) -> Iterator[Stay]:
    state: VesselState | Key = vessel.previous
    free_min = vessel.ready_min
    for item in in_order:
        minutes = problem.changeover.minutes(state, item.key)
        if minutes:
            yield Stay(StayKind.CLEANING, free_min, free_min + minutes)
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
