"""The live plant with what an accepted plan already says, and with the names that a made plan keeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from regenplant.batches.readiness import unfit
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.scheduling.problem import Problem, Standing, Tank
from regenplant.planning.accepted_text import accepted_content
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.kept import Left, Notes, WayKept, notes_from
from regenplant.planning.live import LeftOut, LivePlant, live_plant
from regenplant.planning.models import PlanAcceptance, PlannedBatch

OTHERS = " Choose other tanks."
"""What ``unfit`` advises somebody who chooses."""


@dataclass(frozen=True, slots=True)
class Read:
    """What a made plan begins with."""

    problem: Problem
    notes: Notes


def read_plant(now: datetime, figures: PlanningFigures) -> Read:
    """The plant at this moment. Batches that wait from an accepted plan keep their places where they can: moving them costs.
    Tanks that were rushed there stay so.

    Raises: RecordRefused where no waste tank is set up.
    """
    live = live_plant(now, figures)
    tanks, said = _still_rushed(live)
    rows = _waiting()
    gone = _gone(live, rows, now)
    live = replace(live, assumed=(*live.assumed, *said), left_out=(*live.left_out, *gone))
    return Read(replace(live.problem, tanks=tanks, standing=_standing(live, rows)), _notes(live))


def _still_rushed(live: LivePlant) -> tuple[tuple[Tank, ...], tuple[str, ...]]:
    """The tanks, those that the accepted plan rushes still rushed as long as they wait in the same round trip; and a sentence of it."""
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
    }
    tanks, named = [], []
    for tank in live.problem.tanks:
        by = wanted.get(tank.id)
        if by is not None and live.visits[tank.id].number == notes.visits.get(tank.id):
            tank = replace(tank, priority=heaviest, due_min=min(tank.due_min, live.clock.minute(by)))
            named.append(tank.id)
        tanks.append(tank)
    said = (f"{', '.join(named)} stay rushed, as {acceptance.number} says.",) if named else ()
    return tuple(tanks), said


def _waiting() -> list[PlannedBatch]:
    """Planned batches that nobody started yet."""
    return list(
        PlannedBatch.objects.filter(state=PlannedBatch.State.WAITING)
        .select_related("vessel")
        .prefetch_related("tanks__visit__tank")
        .order_by("starts_at", "code")
    )


def _gone(live: LivePlant, rows: Sequence[PlannedBatch], now: datetime) -> tuple[LeftOut, ...]:
    """Tanks of planned batches that cannot be planned any more, and why: nobody is to miss them without a word."""
    told = {tank.id for tank in live.problem.tanks}.union(*(left.serials for left in live.left_out))
    return tuple(
        LeftOut(
            (link.visit.tank.serial,),
            f"{row.code}, planned before, goes without it: {why.removesuffix(OTHERS)}",
        )
        for row in rows
        for link in row.tanks.all()
        if link.visit.tank.serial not in told and (why := unfit(link.visit, None, now))
    )


def _standing(live: LivePlant, rows: Sequence[PlannedBatch]) -> tuple[Standing, ...]:
    """Planned batches that nobody started yet, with those of their tanks that still wait."""
    there = {tank.id for tank in live.problem.tanks}
    found = []
    for row in rows:
        serials = tuple(link.visit.tank.serial for link in row.tanks.all() if link.visit.tank.serial in there)
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
        visits={serial: visit.number for serial, visit in live.visits.items()},
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
