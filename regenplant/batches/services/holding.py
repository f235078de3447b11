"""Stopping and going on."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.reasons import Reason
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches import drained, given_up
from regenplant.batches.models import Batch, Deviation, Hold
from regenplant.batches.moves import batch_snapshot, locked, move_batch, open_hold
from regenplant.batches.services._as_typed import why_late
from regenplant.batches.services._deviations import write_deviation
from regenplant.batches.services._step_meant import step_in_trouble
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.batches.services._words import long_enough
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchAction, StepState


@use_case("batch.held", permission="batch.hold")
def hold_batch(
    *, by: By, batch_id: int, reason: str, version: int | None = None, late: Reason | None = None
) -> Outcome:
    """Hold at a safe point. Refused while a chemical stands in the bed."""
    return _stop(by, batch_id, reason, version, late, BatchAction.HOLD)


@use_case("batch.interrupted", permission="batch.hold")
def interrupt_batch(
    *, by: By, batch_id: int, reason: str, version: int | None = None, late: Reason | None = None
) -> Outcome:
    """Write down that a batch stopped where it must not stop (power dip, pump trip). Opens a critical deviation."""
    return _stop(by, batch_id, reason, version, late, BatchAction.INTERRUPT)


@use_case("batch.resumed", permission="batch.run")
def resume_batch(*, by: By, batch_id: int, note: str, version: int | None = None) -> Outcome:
    """Go on from where it was held; ``note`` says what was put right."""
    batch = locked(batch_id, version)
    long_enough(note, "note", "what was put right")
    hold = open_hold(batch)
    why_late(by, None)
    if hold is not None and by.happened_at < hold.held_at:
        raise RecordRefused("The time lies before it was held.", field="occurred_at", code="before_start")
    move_batch(batch, BatchAction.RESUME, by=by, snapshot=batch_snapshot(batch, by=by), held_from="")
    if hold is not None:
        hold.resumed_at, hold.resumed_by = by.happened_at, by.user
        hold.save(update_fields=["resumed_at", "resumed_by"])
    return Outcome(
        subject=batch_subject(batch),
        before={"state": "held"},
        after={"state": batch.state},
        reason=note.strip(),
        result=batch,
    )


@use_case("batch.aborted", permission="batch.abort")
def abort_batch(*, by: By, batch_id: int, reason: str, version: int | None = None) -> Outcome:
    """End a batch for good. Never started: its tanks go back to the waiting list, those of a rework to the batch it would have
    reworked. Started: it is reworked or scrapped."""
    batch = locked(batch_id, version)
    long_enough(reason, "reason", "why the batch is aborted")
    why_late(by, None)
    related = with_tanks(batch)
    before = batch.state
    move_batch(
        batch, BatchAction.ABORT, by=by, snapshot=batch_snapshot(batch, by=by), finished_at=by.happened_at
    )
    hold = open_hold(batch)
    if hold is not None:
        hold.resumed_at, hold.resumed_by = by.happened_at, by.user
        hold.save(update_fields=["resumed_at", "resumed_by"])
    if batch.started_at is None:
        _let_tanks_go(batch)
    else:
        for step in batch.steps.filter(state=StepState.RUNNING):
            drained.told(by, batch, step)
        given_up.told(by, batch, reason.strip())
    return Outcome(
        subject=batch_subject(batch),
        before={"state": before},
        after={"state": batch.state},
        reason=reason.strip(),
        related=related,
        result=batch,
    )


def _let_tanks_go(batch: Batch) -> None:
    links = batch.tank_links.filter(is_current=True)
    visits = list(links.values_list("visit_id", flat=True))
    links.update(is_current=False)
    if batch.parent is not None:
        batch.parent.tank_links.filter(visit__in=visits).update(is_current=True)


def _stop(
    by: By, batch_id: int, reason: str, version: int | None, late: Reason | None, action: BatchAction
) -> Outcome:
    batch = locked(batch_id, version)
    long_enough(reason, "reason", "why it stands still")
    _while_it_ran(by, batch)
    late_reason = why_late(by, late)
    snapshot = batch_snapshot(batch, by=by)
    before = batch.state
    move_batch(batch, action, by=by, snapshot=snapshot, held_from=before)
    is_interruption = action is BatchAction.INTERRUPT
    Hold.objects.create(
        batch=batch,
        reason=reason.strip(),
        is_interruption=is_interruption,
        held_at=by.happened_at,
        held_by=by.user,
    )
    facts: dict[str, Any] = {"chemical_in_bed": snapshot.chemical_in_bed}
    if is_interruption:
        where = (
            f" with {snapshot.chemical_in_bed} in {snapshot.stands_in}" if snapshot.chemical_in_bed else ""
        )
        deviation = write_deviation(
            by=by,
            batch=batch,
            step=step_in_trouble(batch),
            severity="critical",
            source=Deviation.Source.INTERRUPTED.value,
            what=f"Stopped{where}: {reason.strip()}",
        )
        facts["deviation"] = deviation.number
    return Outcome(
        subject=batch_subject(batch),
        before={"state": before},
        after={"state": batch.state},
        facts=facts,
        reason="; ".join(filter(None, (reason.strip(), late_reason.sentence if late_reason else ""))),
        related=with_tanks(batch),
        result=batch,
    )


def _while_it_ran(by: By, batch: Batch) -> None:
    """A stop lies after the start of the batch and the end of its last hold. Raises: RecordRefused."""
    last = batch.holds.exclude(resumed_at=None).order_by("-resumed_at").first()
    since = (last.resumed_at if last else None) or batch.started_at
    if since and by.happened_at < since:
        what = "it last went on" if last else "it started"
        raise RecordRefused(f"The time lies before {what}.", field="occurred_at", code="before_start")


say("batch.held", "{subject} was held")
say("batch.interrupted", "{subject} was interrupted ({deviation})")
say("batch.resumed", "{subject} went on")
say("batch.aborted", "{subject} was aborted")
