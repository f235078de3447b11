"""What people write down during a step. Entries are kept as typed, for good; a correction is a new one with a reason."""

from __future__ import annotations

from datetime import timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.endings import RUNNING_TOTALS
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.batches.moves import locked, touch
from regenplant.batches.services._as_typed import SENT_TWICE_S, refuse_out_of_time, refuse_replaced
from regenplant.batches.services._deviations import write_deviation
from regenplant.batches.services._subject import batch_subject
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import StepKind

NO_NUMBERS = ("confirm", "choice", "text")
"""Kinds of entry that hold no number: a tick, a choice, words."""
LONGEST_TEXT = 200
MAJOR_OUTSIDE = (
    StepKind.INJECT,
    StepKind.DISPLACE,
    StepKind.SOAK,
    StepKind.SANITIZE,
    StepKind.FLOAT,
    StepKind.CUT,
)
"""Steps at which a value outside its limits is a major deviation: chemical in the bed, or what each leg will meet."""


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
) -> Outcome:
    """Write down one entry of a step. A value outside its limits is refused until the person says that it is true;
    then it is kept and opens a deviation.

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    step, batch = _writable(step_id)
    spec = _spec(step, batch, key)
    if not spec.is_before and step.state != StepState.RUNNING:
        raise RecordRefused(
            f"{step.name} is {step.state}. Entries are written while it runs.", code="step_not_running"
        )
    refuse_out_of_time(step, by)
    entry = _make_entry(by, step, spec, text, system, instrument_id, outside_is_true)
    _entry_not_twice(by, entry)
    _deviation_if_outside(by, batch, step, entry)
    touch(batch)
    return _entry_outcome(batch, step, entry)


@use_case("entry.corrected", permission="entry.record")
def correct_entry(
    *,
    by: By,
    entry_id: int,
    text: str,
    reason: str,
    system: units.UnitSystem = "metric",
    outside_is_true: bool = False,
) -> Outcome:
    """Correct a wrong entry by a new one with a reason. The old one stays readable."""
    old = StepEntry.objects.select_related("step__batch").get(pk=entry_id)
    step, batch = _writable(old.step_id, for_correction=True)
    refuse_replaced(old, reason)
    spec = _spec(step, batch, old.key)
    entry = _make_entry(
        by.happening_at(old.occurred_at),
        step,
        spec,
        text,
        system,
        old.instrument_id,
        outside_is_true,
        replaces=old,
        reason=reason.strip(),
    )
    _deviation_if_outside(by, batch, step, entry)
    touch(batch)
    return _entry_outcome(
        batch, step, entry, before=f"{old.value_as_typed} {old.unit_as_typed}".strip(), reason=reason.strip()
    )


def _writable(step_id: int, *, for_correction: bool = False) -> tuple[StepRun, Batch]:
    step = StepRun.objects.select_related("batch").get(pk=step_id)
    batch = locked(step.batch_id)
    open_states = (
        BatchState.READY,
        BatchState.RUNNING,
        BatchState.RINSING,
        *((BatchState.AWAITING_QC, BatchState.HELD) if for_correction else ()),
    )
    if BatchState(batch.state) not in open_states:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its steps are closed.", code="closed"
        )
    return step, batch


def _spec(step: StepRun, batch: Batch, key: str) -> EntrySpec:
    for spec in plan_of(batch).step(step.number).entries:
        if spec.key == key:
            return spec
    raise RecordRefused(f"{step.name} has no entry of this name.", code="unknown_entry")


def _make_entry(
    by: By,
    step: StepRun,
    spec: EntrySpec,
    text: str,
    system: units.UnitSystem,
    instrument_id: int | None,
    outside_is_true: bool,
    *,
    replaces: StepEntry | None = None,
    reason: str = "",
) -> StepEntry:
    value, typed, unit = _value(spec, text, system)
    is_within = _is_within(value, spec)
    if is_within is False and not outside_is_true:
        raise RecordRefused(
            f"{units.twin(value or 0.0, spec.kind, system)} is outside the limits {_limits(spec, system)}. Correct it, or say that it is true.",
            code="outside_limits",
            field="value",
            seen=value,
            allowed_low=spec.low,
            allowed_high=spec.high,
        )
    return StepEntry.objects.create(
        step=step,
        key=spec.key,
        name=spec.name,
        kind=spec.kind,
        value_as_typed=typed,
        unit_as_typed=unit,
        value=value,
        low=spec.low,
        high=spec.high,
        is_within=is_within,
        instrument_id=instrument_id,
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
        replaces=replaces,
        reason=reason,
    )


def _value(spec: EntrySpec, text: str, system: units.UnitSystem) -> tuple[float | None, str, str]:
    if spec.kind == "confirm":
        if text.strip().lower() not in ("yes", "on", "true", "1"):
            raise RecordRefused(
                f"{spec.name} is confirmed with a tick, when it is true.", field="value", code="not_confirmed"
            )
        return None, "yes", ""
    if spec.kind in ("choice", "text"):
        if not text.strip():
            raise RecordRefused(f"Nothing is written for {spec.name}.", field="value", code="empty")
        return None, words_of(text, spec.name, field="value", most=LONGEST_TEXT), ""
    found = units.understand(text, spec.kind, system=system)
    return found.value, found.value_as_typed, found.unit_as_typed


def _is_within(value: float | None, spec: EntrySpec) -> bool | None:
    if value is None or (spec.low is None and spec.high is None):
        return None
    slack = 1e-9 * max(abs(value), 1.0)
    if spec.key in RUNNING_TOTALS and spec.low is not None and value < spec.low - slack:
        return None
    return (spec.low is None or value >= spec.low - slack) and (
        spec.high is None or value <= spec.high + slack
    )


def _limits(spec: EntrySpec, system: units.UnitSystem) -> str:
    low = units.format_quantity(spec.low, spec.kind, system) if spec.low is not None else ""
    high = units.format_quantity(spec.high, spec.kind, system) if spec.high is not None else ""
    return f"{low} to {high}" if low and high else f"(at least {low})" if low else f"(at most {high})"


def _deviation_if_outside(by: By, batch: Batch, step: StepRun, entry: StepEntry) -> None:
    if entry.is_within is not False:
        return
    severity = "major" if StepKind(step.kind) in MAJOR_OUTSIDE else "minor"
    written = f"{entry.value_as_typed} {entry.unit_as_typed}".strip()
    limits = _limits(EntrySpec(entry.key, entry.name, entry.kind, entry.low, entry.high), "metric")
    write_deviation(
        by=by,
        batch=batch,
        step=step,
        severity=severity,
        what=f"{step.name}: {entry.name} {written}, allowed {limits}",
    )


def _entry_not_twice(by: By, entry: StepEntry) -> None:
    """Refuse a page that was sent twice: the same entry, typed the same, by the same person within seconds."""
    twins = StepEntry.objects.filter(
        step_id=entry.step_id,
        key=entry.key,
        entered_by=by.user,
        value_as_typed=entry.value_as_typed,
        unit_as_typed=entry.unit_as_typed,
        entered_at__gte=by.at - timedelta(seconds=SENT_TWICE_S),
        replaced_by__isnull=True,
    ).exclude(pk=entry.pk)
    if twins.exists():
        raise RecordRefused(f"{entry.name} is already written; it was sent twice.", code="already_written")


def _entry_outcome(
    batch: Batch, step: StepRun, entry: StepEntry, *, before: str = "", reason: str = ""
) -> Outcome:
    written = f"{entry.value_as_typed} {entry.unit_as_typed}".strip()
    return Outcome(
        subject=batch_subject(batch),
        before={"value": before} if before else {},
        after={"value": written},
        facts={
            "step": step.name,
            "name": entry.name,
            "entry": entry.pk,
            "is_within": entry.is_within,
            "value_si": entry.value,
        },
        reason=reason,
        result=entry,
    )


say("entry.written", "{subject}: {step}, {name} {value}")
say("entry.corrected", "{subject}: {step}, {name} was corrected from {before_value} to {value}")
