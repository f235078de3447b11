"""Second persons: the accuracy check of a critical entry, and what two people tick together. Each gives their own password."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.batches.checking import check_of, end_point_reading, is_critical_row
from regenplant.batches.models import Batch, EntryCheck, RinseReading, StepEntry
from regenplant.batches.moves import locked, touch
from regenplant.batches.reopened import is_reopened
from regenplant.batches.services._as_typed import refuse_before_start, why_late
from regenplant.batches.services._entry_rows import needed_spec, refuse_not_running, refuse_twice, writable
from regenplant.batches.services._subject import batch_subject
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState
from regenplant.people.binding import SignaturePermit, bind
from regenplant.plant.selectors import profile

CHECK_MEANING = "entry checked by a second person"
TOGETHER_MEANING = "checked together"
OPEN_FOR_CHECKS = (BatchState.RUNNING, BatchState.RINSING, BatchState.HELD, BatchState.AWAITING_QC)


@use_case("entry.checked", permission="entry.check")
def check_entry(*, by: By, entry_id: int, permit: SignaturePermit) -> Outcome:
    """A second person looked as well and found the same. ``by`` is that person, ``permit`` their own password.

    Raises: RecordRefused for an entry that needs no check, was corrected or checked, or is one's own; SignatureRefused.
    """
    entry = StepEntry.objects.select_related("step", "entered_by").get(pk=entry_id)
    batch = _open_batch(entry.step.batch_id)
    if not is_critical_row(batch, entry):
        raise RecordRefused(f"{entry.name} needs no second person.", code="not_critical")
    _refuse_own_or_done(by, entry, entry.name)
    signed = {
        "batch": batch.number,
        "step": entry.step.name,
        "entry": entry.pk,
        "name": entry.name,
        "value": entry.words,
        "low": entry.low,
        "high": entry.high,
        "written_by": entry.entered_by.full_name,
        "happened_at": entry.occurred_at.isoformat(),
    }
    check = _signed_check(by, batch, permit, f"entry {entry.pk}", signed, entry=entry)
    touch(batch)
    return _outcome(batch, check, step=entry.step.name, name=entry.name, value=entry.words)


@use_case("reading.checked", permission="entry.check")
def check_reading(*, by: By, reading_id: int, permit: SignaturePermit) -> Outcome:
    """A second person read the cell too: the reading by which the end point holds. As ``check_entry``."""
    reading = RinseReading.objects.select_related("step", "entered_by", "instrument").get(pk=reading_id)
    batch = _open_batch(reading.batch_id)
    _refuse_own_or_done(by, reading, "This reading")
    proving = end_point_reading(batch)
    if proving is None or proving.pk != reading.pk:
        raise RecordRefused(
            "Only the reading by which the end point holds is checked, and this is not it.",
            code="not_critical",
        )
    signed = {
        "batch": batch.number,
        "reading": reading.pk,
        "value": str(reading),
        "temperature": reading.temperature_as_typed,
        "instrument": reading.instrument.code,
        "written_by": reading.entered_by.full_name,
        "happened_at": reading.occurred_at.isoformat(),
    }
    check = _signed_check(by, batch, permit, f"reading {reading.pk}", signed, reading=reading)
    touch(batch)
    return _outcome(batch, check, step=reading.step.name, name="rinse reading", value=str(reading))


@use_case("entry.checked_together", permission="entry.record")
def confirm_together(*, by: By, step_id: int, key: str, second: By, permit: SignaturePermit) -> Outcome:
    """Tick what two people check together: ``by`` is signed in and ticks, ``second`` signs with a password of their own.

    Raises: RecordRefused when both are one person or the entry is no such tick; NotAllowed; SignatureRefused.
    """
    step, batch = writable(step_id)
    spec = needed_spec(step, batch, key)
    if spec.kind != "second_person":
        raise RecordRefused(f"{spec.name} is written by one person.", code="one_person")
    refuse_not_running(step, spec)
    refuse_before_start(step, by)
    why_late(by, None)
    if second.user.pk == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} ticks it, so the second person is another one.",
            field="second_username",
            code="own_work",
        )
    require(second, "entry.check", batch.segregation_class)
    entry = StepEntry.objects.create(
        step=step,
        key=spec.key,
        name=spec.name,
        kind=spec.kind,
        value_as_typed="yes",
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
    )
    refuse_twice(by, entry)
    signed = {
        "batch": batch.number,
        "step": step.name,
        "entry": entry.pk,
        "name": spec.name,
        "first": by.user.full_name,
        "happened_at": by.happened_at.isoformat(),
    }
    check = _signed_check(
        second, batch, permit, f"entry {entry.pk}", signed, entry=entry, meaning=TOGETHER_MEANING
    )
    touch(batch)
    return _outcome(batch, check, step=step.name, name=spec.name, value="yes", first=by.user.full_name)


def _open_batch(batch_id: int) -> Batch:
    batch = locked(batch_id)
    if BatchState(batch.state) not in OPEN_FOR_CHECKS and not is_reopened(batch.pk):
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its entries are closed.", code="closed"
        )
    return batch


def _refuse_own_or_done(by: By, row: StepEntry | RinseReading, name: str) -> None:
    if hasattr(row, "replaced_by"):
        raise RecordRefused(f"{name} was corrected. Check the newest value.", code="already_corrected")
    if check_of(row) is not None:
        raise RecordRefused(f"{name} is checked already.", code="already_checked")
    if row.entered_by_id == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} wrote it down, so another person checks it.",
            field="second_username",
            code="own_work",
        )


def _signed_check(
    by: By,
    batch: Batch,
    permit: SignaturePermit,
    what: str,
    signed: dict[str, Any],
    *,
    entry: StepEntry | None = None,
    reading: RinseReading | None = None,
    meaning: str = CHECK_MEANING,
) -> EntryCheck:
    signature = bind(
        permit,
        by=by,
        meaning=meaning,
        record_kind="entry_check",
        record_key=f"{batch.number} {what}",
        record_version=1,
        content=signed,
        zone=profile().time_zone,
    )
    return EntryCheck.objects.create(
        entry=entry,
        reading=reading,
        method=EntryCheck.Method.SECOND_PERSON,
        checked_at=by.at,
        checked_by=by.user,
        signature=signature,
    )


def _outcome(
    batch: Batch, check: EntryCheck, *, step: str, name: str, value: str, first: str = ""
) -> Outcome:
    assert check.signature is not None
    signature = check.signature
    return Outcome(
        subject=batch_subject(batch),
        facts={
            "step": step,
            "name": name,
            "value": value,
            "check": check.pk,
            "first": first,
            "second": signature.printed_name,
        },
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
        result=check,
    )


say("entry.checked", "{subject}: {step}, {name} {value} was checked by {second} as a second person")
say("reading.checked", "{subject}: {name} {value} was checked by {second} as a second person")
say("entry.checked_together", "{subject}: {step}, {name}: {first} and {second}, each by their own password")
