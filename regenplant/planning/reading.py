"""The live plant with what an accepted plan already says, and with the names that a made plan keeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.scheduling.problem import Problem, Standing, Tank
from regenplant.planning.accepted_text import accepted_content
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.kept import Left, Notes, RushKept, WayKept, notes_from
from regenplant.planning.live import LeftOut, LivePlant, live_plant
from regenplant.planning.members import READ, members, missing
from regenplant.planning.models import PlanAcceptance, PlannedBatch
from regenplant.tanks.models import ExpectedTank


@dataclass(frozen=True, slots=True)
class Read:
    """What a made plan begins with."""

    problem: Problem
    notes: Notes


def read_plant(now: datetime, figures: PlanningFigures, *, present: datetime | None = None) -> Read:
    """The plant at this moment, which may lie ahead of the ``present``. Batches that wait from an accepted plan keep their places where
    they can: moving them costs. Tanks that were rushed there stay so.

    Raises: RecordRefused where no waste tank is set up.
    """
    live = live_plant(now, figures, present=present)
    tanks, said = _still_rushed(live)
    rows = _waiting()
    gone = _gone(live, rows, now)
    live = replace(live, assumed=(*live.assumed, *said), left_out=(*live.left_out, *gone))
    return Read(replace(live.problem, tanks=tanks, standing=_standing(live, rows)), _notes(live))


def _still_rushed(live: LivePlant) -> tuple[tuple[Tank, ...], tuple[str, ...]]:
    """The tanks, those that the accepted plan rushes still rushed as long as they wait in the same round trip; and a sentence of it.

    What counted as rush there because of its customer alone follows the customer, whose contract may have ended.
    """
    acceptance = PlanAcceptance.objects.first()
    if acceptance is None:
        return live.problem.tanks, ()
    content = accepted_content(acceptance.content)
    notes = notes_from(content["notes"])
    heaviest = max(live.problem.priority_weight)
    wanted = {
        one["id"]: notes.clock.moment(one["due_min"])
        for one in content["problem"]["tanks"]
        if one["priority"] == heaviest
        and (one["id"] not in notes.rush or one["due_min"] < notes.rush[one["id"]].due_min)
    }
    numbers = _numbers(live)
    tanks, named = [], []
    for tank in live.problem.tanks:
        by = wanted.get(tank.id)
        known = {notes.visits.get(tank.id), notes.expected.get(tank.id)}
        if by is not None and known & numbers[tank.id]:
            tank = replace(tank, priority=heaviest, due_min=min(tank.due_min, live.clock.minute(by)))
            named.append(tank.id)
        tanks.append(tank)
    said = (f"{', '.join(named)} stay rushed, as {acceptance.number} says.",) if named else ()
    return tuple(tanks), said


def _numbers(live: LivePlant) -> dict[str, set[str | None]]:
    """Under which numbers each tank is known in this round trip, by serial: as it was expected, and as it came. One query."""
    here = {visit.number: serial for serial, visit in live.visits.items() if visit.number}
    found: dict[str, set[str | None]] = {serial: set() for serial in live.visits}
    for number, serial in here.items():
        found[serial].add(number)
    for one in live.awaited.values():
        if one.expected is not None:
            found[one.visit.tank.serial].add(one.expected.number)
    came = ExpectedTank.objects.filter(visit__number__in=here).values_list("visit__number", "number")
    for visit, number in came:
        found[here[visit]].add(number)
    return found


def _waiting() -> list[PlannedBatch]:
    """Planned batches that nobody started yet."""
    return list(
        PlannedBatch.objects.filter(state=PlannedBatch.State.WAITING)
        .select_related("vessel")
        .prefetch_related(*READ)
        .order_by("starts_at", "code")
    )


def _gone(live: LivePlant, rows: Sequence[PlannedBatch], now: datetime) -> tuple[LeftOut, ...]:
    """Tanks of planned batches that cannot be planned any more, and why: nobody is to miss them without a word."""
    told = {tank.id for tank in live.problem.tanks}.union(*(left.serials for left in live.left_out))
    return tuple(
        LeftOut(
            (one.tank.serial,),
            f"{row.code}, planned before, goes without it: {why}",
        )
        for row in rows
        for one in members(row)
        if one.tank.serial not in told and (why := missing(one, row.starts_at, now))
    )


def _standing(live: LivePlant, rows: Sequence[PlannedBatch]) -> tuple[Standing, ...]:
    """Planned batches that nobody started yet, with those of their tanks that still wait."""
    there = {tank.id for tank in live.problem.tanks}
    found = []
    for row in rows:
        serials = tuple(one.tank.serial for one in members(row) if one.tank.serial in there)
        if serials:
            start = max(live.clock.minute(row.starts_at), live.clock.now_min)
            found.append(Standing(serials, row.vessel.code, start))
    return tuple(found)


def _notes(live: LivePlant) -> Notes:
    owners = {
        visit.tank.dedicated_to.code: visit.tank.dedicated_to.name
        for visit in live.visits.values()
        if visit.tank.dedicated_to is not None
    }
    return Notes(
        clock=live.clock,
        resins={
            visit.resin_type.code: ResinFamily(visit.resin_type.family).label
            for visit in live.visits.values()
        },
        owners=owners,
        customers={serial: visit.customer.name for serial, visit in live.visits.items()},
        visits={serial: visit.number for serial, visit in live.visits.items() if visit.number},
        expected={
            serial: one.expected.number for serial, one in live.awaited.items() if one.expected is not None
        },
        rush={
            tank.id: RushKept(live.rush[tank.id], tank.due_min)
            for tank in live.problem.tanks
            if tank.id in live.rush
        },
        ways={
            code: WayKept(
                way.recipe.recipe.code,
                way.recipe.number,
                {vessel: row.code for vessel, row in way.anion_vessels.items()},
            )
            for code, way in live.ways.items()
        },
        left_out=tuple(Left(item.serials, item.why) for item in live.left_out),
        assumed=live.assumed,
    )
