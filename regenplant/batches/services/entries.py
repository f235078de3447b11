"""What people write down during a step. Entries are kept as typed, for good; a correction is a new one with a reason."""

from __future__ import annotations

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason, reason_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches import drained
from regenplant.batches.models import Batch, StepEntry
from regenplant.batches.moves import current_entries, touch
from regenplant.batches.services._as_typed import correction_reason, refuse_before_start, why_late
from regenplant.batches.services._entry_rows import (
    LONGEST_TEXT,
    Typed,
    deviations_of,
    entry_outcome,
    make_entry,
    make_nothing,
    needed_spec,
    refuse_not_running,
    refuse_twice,
    writable,
)
from regenplant.batches.services._settling import settle_draw
from regenplant.batches.services._standing import renew_what_is_kept
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.core.process.entry_rules import NO_NUMBERS, RUNNING_TOTALS, applies_always, may_be_left
from regenplant.core.process.plan import EntrySpec

__all__ = ["LONGEST_TEXT", "NO_NUMBERS", "correct_entry", "leave_entry", "write_entry"]

Standing = StepEntry.Standing


@use_case("entry.written", permission="entry.record")
def write_entry(
    *,
    by: By,
    step_id: int,
    key: str,
    text: str,
    system: units.UnitSystem = "metric",
    instrument_id: int | None = None,
    outside_is_true: bool = False,
    again: str = "",
    late: Reason | None = None,
) -> Outcome:
    """Write down one entry of a step. A value outside its limits is refused until the person says that it is true;
    then it is kept and opens a deviation.

    ``again`` is the second typing of a critical value, where the class of the batch wants it typed twice; ``late`` says why
    something is written longer after it happened than the plant allows.

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    step, batch = writable(step_id)
    spec = needed_spec(step, batch, key)
    refuse_not_running(step, spec)
    refuse_before_start(step, by)
    reason = why_late(by, late)
    typed = Typed(text, system, instrument_id, outside_is_true, again)
    entry = make_entry(by, batch, step, spec, typed, reason=reason, is_late=reason is not None)
    refuse_twice(by, entry)
    deviations_of(by, batch, step, spec, entry)
    touch(batch)
    renew_what_is_kept(batch, by.at)
    return entry_outcome(batch, step, entry, reason=reason)


@use_case("entry.not_written", permission="entry.record")
def leave_entry(
    *,
    by: By,
    step_id: int,
    key: str,
    standing: str,
    category: str,
    reason: str,
) -> Outcome:
    """Say that an entry was not done, or that it does not apply, and why. What was asked for and not done opens a deviation.

    Only a person who may waive it says of an entry the plan always asks for that it does not apply.

    Raises: NotAllowed, RecordRefused; the latter also for what must be true before a step starts.
    """
    step, batch = writable(step_id)
    spec = needed_spec(step, batch, key)
    refuse_not_running(step, spec)
    kind = _kind_of_nothing(standing)
    why = reason_of(
        category, reason, f"why it {'was not done' if kind is Standing.NOT_DONE else 'does not apply'}"
    )
    refuse_before_start(step, by)
    is_late = why_late(by, why) is not None
    if not may_be_left(spec):
        raise RecordRefused(
            f"{spec.name} stands before {step.name} may start. It is done, or the step does not start.",
            code="never_left",
            field="standing",
        )
    _refuse_waiving(by, batch, spec, kind)
    present = current_entries(step).get(key)
    if present is not None and key not in RUNNING_TOTALS:
        raise RecordRefused(
            f"{spec.name} stands written already: {present.words}. Correct that entry.",
            code="already_written",
        )
    entry = make_nothing(by, step, spec, kind, reason=why, is_late=is_late)
    refuse_twice(by, entry)
    deviations_of(by, batch, step, spec, entry)
    touch(batch)
    renew_what_is_kept(batch, by.at)
    return entry_outcome(batch, step, entry, reason=why)


@use_case("entry.corrected", permission="entry.record")
def correct_entry(
    *,
    by: By,
    entry_id: int,
    category: str,
    reason: str,
    text: str = "",
    system: units.UnitSystem = "metric",
    outside_is_true: bool = False,
    again: str = "",
    standing: str = Standing.WRITTEN.value,
) -> Outcome:
    """Correct a wrong entry by a new one with a reason: another value, or that it was not done or does not apply. The old
    one stays readable. Where the mass of an ended step follows from it, the difference leaves the stock or comes back to it; where
    what it drained follows from it, the books of the waste are put right.

    Raises: NotAllowed, UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    old = StepEntry.objects.select_related("step__batch").get(pk=entry_id)
    step, batch = writable(old.step_id, for_correction=True)
    why = correction_reason(old, category, reason)
    spec = needed_spec(step, batch, old.key)
    then = by.happening_at(old.occurred_at)
    if standing == Standing.WRITTEN:
        typed = Typed(text, system, old.instrument_id, outside_is_true, again)
        entry = make_entry(then, batch, step, spec, typed, replaces=old, reason=why, is_late=old.is_late)
    else:
        kind = _kind_of_nothing(standing)
        _refuse_waiving(by, batch, spec, kind)
        entry = make_nothing(then, step, spec, kind, replaces=old, reason=why, is_late=old.is_late)
    deviations_of(by, batch, step, spec, entry)
    settle_draw(by, batch, step, entry)
    drained.corrected(by, batch, step, entry)
    touch(batch)
    renew_what_is_kept(batch, by.at)
    return entry_outcome(batch, step, entry, before=old.words, reason=why)


def _kind_of_nothing(standing: str) -> StepEntry.Standing:
    if standing not in (Standing.NOT_DONE, Standing.NOT_APPLICABLE):
        raise RecordRefused("Say which it is: not done, or not applicable.", field="standing", code="unknown")
    return Standing(standing)


def _refuse_waiving(by: By, batch: Batch, spec: EntrySpec, kind: StepEntry.Standing) -> None:
    if kind is not Standing.NOT_APPLICABLE or not applies_always(spec):
        return
    if not by.user.may("entry.waive", batch.segregation_class):
        names = " or ".join(
            role.value for role in by.user.matrix.holders("entry.waive", batch.segregation_class)
        )
        who = (
            f"Only a {names} may say that it does not apply."
            if names
            else "Nobody may say that it does not apply."
        )
        raise NotAllowed(
            f"{spec.name} is always asked for. {who}", field="standing", permission="entry.waive"
        )


say("entry.written", "{subject}: {step}, {name} {value}")
say("entry.not_written", "{subject}: {step}, {name}: {value}")
say("entry.corrected", "{subject}: {step}, {name} was corrected from {before_value} to {value}")
