"""Where reality has left the accepted plan: holds, failures, lock-outs, tanks taken or come back, batches late, stock too low.

Each is a sentence with what it is about. Nothing is re-planned by itself: a person asks for it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.batches.readiness import occupants
from regenplant.core.process.lifecycle import BatchState
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures_kept import figures_in_force
from regenplant.planning.live import SLOT_MIN
from regenplant.planning.members import members, missing
from regenplant.planning.models import PlanAcceptance, PlannedBatch
from regenplant.planning.running import UnderWay, VesselAtWork, laid_under_way
from regenplant.planning.selectors import planned_for, waiting_batches
from regenplant.planning.shared import shared_at
from regenplant.planning.shortages import short
from regenplant.tanks.selectors import waiting_by_key

BEHIND = timedelta(minutes=15)
"""From so much on a batch is told as behind its plan; planning value, from memory."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One thing that is not as planned."""

    sentence: str
    planned: str = ""
    """Code of the planned batch it is about."""
    batch: str = ""
    """Number of the batch it is about."""


def deviations(now: datetime) -> tuple[Deviation, ...]:
    """All of the accepted plan, the most urgent kinds first; none where no plan was accepted."""
    acceptance = PlanAcceptance.objects.first()
    if acceptance is None:
        return ()
    waiting = waiting_batches()
    reckoned = figures_in_force()
    clock = PlanClock(now, SLOT_MIN, reckoned.days)
    under_way = laid_under_way(shared_at(clock, reckoned).limits, clock, reckoned)
    found = [
        *_started(acceptance, clock, under_way),
        *(one for row in waiting for one in _of_waiting(row, now)),
        *_vessels_not_free(waiting, clock, under_way.vessels),
        *(Deviation(sentence) for sentence in short(acceptance, waiting, now, reckoned)),
        *_come_back(acceptance, now),
    ]
    return tuple(dict.fromkeys(found))


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"


def _lasting(span: timedelta) -> str:
    minutes = int(span.total_seconds() // 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.1f} h"


def _started(acceptance: PlanAcceptance, clock: PlanClock, under_way: UnderWay) -> Iterator[Deviation]:
    """Batches of this plan that stand still, failed, cannot go on, or will be ready later than planned."""
    rows = {row.batch_number: row for row in acceptance.batches.filter(state=PlannedBatch.State.STARTED)}
    going = {one.id: one for one in under_way.batches}
    for batch in Batch.objects.filter(number__in=rows).order_by("number"):
        row = rows[batch.number]
        if batch.state in (BatchState.HELD, BatchState.FAILED, BatchState.ABORTED):
            yield Deviation(
                f"{batch.number}, planned as {row.code}, is {batch.get_state_display()}: its tanks are not ready {_clock(row.ready_at)}.",
                row.code,
                batch.number,
            )
            continue
        for words in under_way.said_of.get(batch.number, ()):
            yield Deviation(words, row.code, batch.number)
        if batch.number in going and going[batch.number].stages:
            ready = clock.moment(going[batch.number].stages[-1].end_min)
            if ready > row.ready_at + BEHIND:
                yield Deviation(
                    f"{batch.number}, planned as {row.code}, is {_lasting(ready - row.ready_at)} behind: ready {_clock(ready)} as it goes now.",
                    row.code,
                    batch.number,
                )


def _of_waiting(row: PlannedBatch, now: datetime) -> Iterator[Deviation]:
    """What keeps a planned batch from its start: time, vessel, tanks."""
    if row.starts_at + BEHIND < now:
        yield Deviation(
            f"{row.code} was to begin in {row.vessel.code} {_clock(row.starts_at)}, {_lasting(now - row.starts_at)} ago.",
            row.code,
        )
    for vessel in filter(None, (row.vessel, row.anion_vessel)):
        if vessel.is_locked_out:
            yield Deviation(
                f"{row.code} needs {vessel.code}, which is locked out: {vessel.lock_out_reason.rstrip('.')}.",
                row.code,
            )
    for member in members(row):
        sentence = missing(member, row.starts_at, now)
        if sentence:
            yield Deviation(f"{row.code}: {sentence}", row.code)


def _vessels_not_free(
    waiting: Sequence[PlannedBatch], clock: PlanClock, at_work: Mapping[int, VesselAtWork]
) -> Iterator[Deviation]:
    """The first planned batch of each vessel against what stands in it."""
    seen: set[int] = set()
    for row in waiting:
        if row.vessel_id in seen:
            continue
        seen.add(row.vessel_id)
        busy = at_work.get(row.vessel_id)
        if busy is not None:
            free = clock.moment(busy.free_min)
            if free > row.starts_at + BEHIND:
                yield Deviation(
                    f"{row.code} begins {_clock(row.starts_at)}, but {row.vessel.code} is free {_clock(free)} as {busy.batch.id} goes now.",
                    row.code,
                    busy.batch.id,
                )
            continue
        still = occupants(row.vessel).first()
        if still is not None:
            yield Deviation(
                f"{row.code} needs {row.vessel.code}, where {still.number} is {still.get_state_display()}.",
                row.code,
                still.number,
            )


def _come_back(acceptance: PlanAcceptance, now: datetime) -> Iterator[Deviation]:
    """Tanks that wait, came after the plan was accepted, and stand in no planned batch; those promised soonest by name."""
    visits = [visit for pool in waiting_by_key(now) for visit in pool.visits]
    planned = planned_for(visit.pk for visit in visits)
    new = [
        visit for visit in visits if visit.pk not in planned and visit.received_at > acceptance.accepted_at
    ]
    for visit in sorted(new, key=lambda one: (one.due_at is None, one.due_at or one.received_at, one.pk)):
        due = f", promised for {_clock(visit.due_at)}" if visit.due_at else ""
        yield Deviation(
            f"{visit.tank.serial} came back after the plan was accepted{due}, and is in no planned batch."
        )
