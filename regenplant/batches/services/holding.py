"""Stopping and going on; deviations and their decision."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import standing_chemicals
from regenplant.batches.models import Batch, Deviation, Hold, StepRun
from regenplant.batches.moves import batch_snapshot, locked, move_batch, open_hold, touch
from regenplant.batches.services._deviations import write_deviation
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchAction, StepState


@use_case("batch.held", permission="batch.hold")
def hold_batch(*, by: By, batch_id: int, reason: str, version: int | None = None) -> Outcome:
    """Hold at a safe point. Refused while a chemical stands in the bed."""
    return _stop(by, batch_id, reason, version, BatchAction.HOLD)


@use_case("batch.interrupted", permission="batch.hold")
def interrupt_batch(*, by: By, batch_id: int, reason: str, version: int | None = None) -> Outcome:
    """Write down that a batch stopped where it must not stop (power dip, pump trip). Opens a critical deviation."""
    return _stop(by, batch_id, reason, version, BatchAction.INTERRUPT)


@use_case("batch.resumed", permission="batch.run")
def resume_batch(*, by: By, batch_id: int, note: str, version: int | None = None) -> Outcome:
    """Go on from where it was held; ``note`` says what was put right."""
    batch = locked(batch_id, version)
    _long_enough(note, "note", "what was put right")
    hold = open_hold(batch)
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
    """End a batch for good. Never started: its tanks go back to the waiting list. Started: it is reworked or scrapped."""
    batch = locked(batch_id, version)
    _long_enough(reason, "reason", "why the batch is aborted")
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
        batch.tank_links.filter(is_current=True).update(is_current=False)
    return Outcome(
        subject=batch_subject(batch),
        before={"state": before},
        after={"state": batch.state},
        reason=reason.strip(),
        related=related,
        result=batch,
    )


@use_case("deviation.opened", permission="deviation.open")
def open_deviation(*, by: By, batch_id: int, what: str, severity: str, step_id: int | None = None) -> Outcome:
    """Write down something that was not as planned; ``step_id`` says at which step, else it is the one that runs."""
    batch = locked(batch_id)
    _long_enough(what, "what", "what happened")
    if severity not in Deviation.Severity.values:
        raise RecordRefused("Severity is minor, major or critical.", field="severity")
    deviation = write_deviation(
        by=by,
        batch=batch,
        step=_step_meant(batch, step_id),
        severity=severity,
        what=what.strip(),
    )
    touch(batch)
    return _deviation_outcome(deviation, reason=what.strip())


@use_case("deviation.closed", permission="deviation.close")
def close_deviation(*, by: By, deviation_id: int, decision: str) -> Outcome:
    """Decide an open deviation. A person does not decide a deviation about their own work alone."""
    open_row = Deviation.objects.select_for_update(of=("self",)).select_related("batch", "step")
    deviation = open_row.get(pk=deviation_id)
    batch = locked(deviation.batch_id)
    if deviation.decided_at is not None:
        raise RecordRefused(
            f"{deviation.number} is already decided: {deviation.decision}", code="already_decided"
        )
    _long_enough(decision, "decision", "what was decided and why")
    if deviation.opened_by_id == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} opened {deviation.number}, so another person must decide it.",
            code="own_work",
        )
    deviation.decision, deviation.decided_at, deviation.decided_by = decision.strip(), by.happened_at, by.user
    deviation.save(update_fields=["decision", "decided_at", "decided_by"])
    touch(batch)
    return _deviation_outcome(deviation, reason=decision.strip())


def _stop(by: By, batch_id: int, reason: str, version: int | None, action: BatchAction) -> Outcome:
    batch = locked(batch_id, version)
    _long_enough(reason, "reason", "why it stands still")
    _while_it_ran(by, batch)
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
            step=_step_in_trouble(batch),
            severity="critical",
            what=f"Stopped{where}: {reason.strip()}",
        )
        facts["deviation"] = deviation.number
    return Outcome(
        subject=batch_subject(batch),
        before={"state": before},
        after={"state": batch.state},
        facts=facts,
        reason=reason.strip(),
        related=with_tanks(batch),
        result=batch,
    )


def _step_meant(batch: Batch, step_id: int | None) -> StepRun | None:
    if step_id is None:
        return _step_in_trouble(batch)
    step = batch.steps.filter(pk=step_id).first()
    if step is None:
        raise RecordRefused(f"This step does not belong to batch {batch.number}.", code="not_in_batch")
    return step


def _step_in_trouble(batch: Batch) -> StepRun | None:
    """The step that runs; of two legs at work the one with a chemical in it."""
    running = [step for step in batch.steps.order_by("number") if step.state == StepState.RUNNING]
    standing = standing_chemicals(batch.steps.all(), plan_of(batch))
    return next((step for step in running if step.leg in standing), running[0] if running else None)


def _deviation_outcome(deviation: Deviation, *, reason: str) -> Outcome:
    return Outcome(
        subject=("batch", deviation.batch.number, f"Batch {deviation.batch.number}"),
        facts={"deviation": deviation.number, "severity": deviation.severity, "what": deviation.what},
        reason=reason,
        related=(("deviation", deviation.number),),
        result=deviation,
    )


def _while_it_ran(by: By, batch: Batch) -> None:
    """A stop lies between the start of the batch (or the end of its last hold) and now. Raises: RecordRefused."""
    if by.happened_at > by.at:
        raise RecordRefused(
            "The time lies in the future. Write when it happened.", field="occurred_at", code="future"
        )
    last = batch.holds.exclude(resumed_at=None).order_by("-resumed_at").first()
    since = (last.resumed_at if last else None) or batch.started_at
    if since and by.happened_at < since:
        what = "it last went on" if last else "it started"
        raise RecordRefused(f"The time lies before {what}.", field="occurred_at", code="before_start")


def _long_enough(text: str, field: str, what: str) -> None:
    if len(text.strip()) < 10:
        raise RecordRefused(f"Too short. Say in at least 10 characters {what}.", field=field)


say("batch.held", "{subject} was held")
say("batch.interrupted", "{subject} was interrupted ({deviation})")
say("batch.resumed", "{subject} went on")
say("batch.aborted", "{subject} was aborted")
say("deviation.opened", "{subject}: deviation {deviation} ({severity}) was opened: {what}")
say("deviation.closed", "{subject}: deviation {deviation} was decided")
