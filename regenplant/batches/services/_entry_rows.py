"""The row of one entry: what was typed, understood and held against its limits, and the deviation it opens by itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome
from regenplant.batches.checking import Method, check_method, spec_of
from regenplant.batches.models import Batch, Deviation, StepEntry, StepRun
from regenplant.batches.moves import locked
from regenplant.batches.reopened import is_reopened
from regenplant.batches.services._as_typed import SENT_TWICE_S
from regenplant.batches.services._deviations import deviation_once, write_deviation
from regenplant.batches.services._subject import batch_subject
from regenplant.batches.services._typed_twice import keep_second_typing, refuse_different, refuse_not_again
from regenplant.batches.within import is_within
from regenplant.core.errors import RecordRefused
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day

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


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person typed for one entry. ``again`` is the second typing of a critical value, "" where it is not asked."""

    text: str
    system: units.UnitSystem
    instrument_id: int | None = None
    outside_is_true: bool = False
    again: str = ""


def writable(step_id: int, *, for_correction: bool = False) -> tuple[StepRun, Batch]:
    """A step whose batch still takes entries, with its batch locked. Raises: RecordRefused."""
    step = StepRun.objects.select_related("batch").get(pk=step_id)
    batch = locked(step.batch_id)
    open_states = (
        BatchState.READY,
        BatchState.RUNNING,
        BatchState.RINSING,
        *((BatchState.AWAITING_QC, BatchState.HELD) if for_correction else ()),
    )
    if BatchState(batch.state) not in open_states and not (for_correction and is_reopened(batch.pk)):
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its steps are closed.", code="closed"
        )
    return step, batch


def needed_spec(step: StepRun, batch: Batch, key: str) -> EntrySpec:
    """What an entry of this step is. Raises: RecordRefused."""
    spec = spec_of(batch, step.number, key)
    if spec is None:
        raise RecordRefused(f"{step.name} has no entry of this name.", code="unknown_entry")
    return spec


def refuse_not_running(step: StepRun, spec: EntrySpec) -> None:
    if not spec.is_before and step.state != StepState.RUNNING:
        raise RecordRefused(
            f"{step.name} is {step.state}. Entries are written while it runs.", code="step_not_running"
        )


def make_entry(
    by: By,
    batch: Batch,
    step: StepRun,
    spec: EntrySpec,
    typed: Typed,
    *,
    replaces: StepEntry | None = None,
    reason: Reason | None = None,
    is_late: bool = False,
) -> StepEntry:
    """The row, with its check where it is typed twice. Raises: RecordRefused, UnitNotUnderstood, OutOfRange."""
    value, text, unit = _value(spec, typed)
    within = is_within(value, spec)
    if within is False and not typed.outside_is_true:
        raise RecordRefused(
            f"{units.twin(value or 0.0, spec.kind, typed.system)} is outside the limits {limits_words(spec, typed.system)}. "
            "Correct it, or say that it is true.",
            code="outside_limits",
            field="value",
            seen=value,
            allowed_low=spec.low,
            allowed_high=spec.high,
        )
    asks_again = _is_typed_twice(batch, spec, within)
    if asks_again and not typed.again.strip():
        refuse_not_again(spec.name)
    if asks_again and value is not None:
        refuse_different(spec.name, value, typed.again, spec.kind, typed.system)
    instrument = Instrument.objects.filter(pk=typed.instrument_id).first() if typed.instrument_id else None
    entry = StepEntry.objects.create(
        step=step,
        key=spec.key,
        name=spec.name,
        kind=spec.kind,
        value_as_typed=text,
        unit_as_typed=unit,
        value=value,
        low=spec.low,
        high=spec.high,
        is_within=within,
        instrument=instrument,
        instrument_was_valid=instrument is None
        or is_instrument_valid(instrument, plant_day(by.happened_at), by.happened_at),
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
        is_late=is_late,
        replaces=replaces,
        reason_category=reason.category if reason else "",
        reason=reason.words if reason else "",
    )
    if asks_again:
        keep_second_typing(by=by, again=typed.again, entry=entry)
    return entry


def _is_typed_twice(batch: Batch, spec: EntrySpec, within: bool | None) -> bool:
    """A running total on its way is not judged yet, and typed once; what stands at the end is typed twice."""
    if not is_critical(spec) or within is None:
        return False
    return check_method(batch.segregation_class) is Method.TWICE


def make_nothing(
    by: By,
    step: StepRun,
    spec: EntrySpec,
    standing: StepEntry.Standing,
    *,
    reason: Reason,
    replaces: StepEntry | None = None,
    is_late: bool = False,
) -> StepEntry:
    """A row that says with a reason which kind of nothing stands here."""
    return StepEntry.objects.create(
        step=step,
        key=spec.key,
        name=spec.name,
        kind=spec.kind,
        standing=standing.value,
        low=spec.low,
        high=spec.high,
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
        is_late=is_late,
        replaces=replaces,
        reason_category=reason.category,
        reason=reason.words,
    )


def _value(spec: EntrySpec, typed: Typed) -> tuple[float | None, str, str]:
    if spec.kind == "second_person":
        raise RecordRefused(
            f"{spec.name} takes two people, each with their own password.", field="value", code="two_people"
        )
    if spec.kind == "confirm":
        if typed.text.strip().lower() not in ("yes", "on", "true", "1"):
            raise RecordRefused(
                f"{spec.name} is confirmed with a tick, when it is true.", field="value", code="not_confirmed"
            )
        return None, "yes", ""
    if spec.kind in ("choice", "text"):
        if not typed.text.strip():
            raise RecordRefused(f"Nothing is written for {spec.name}.", field="value", code="empty")
        return None, words_of(typed.text, spec.name, field="value", most=LONGEST_TEXT), ""
    found = units.understand(typed.text, spec.kind, system=typed.system)
    return found.value, found.value_as_typed, found.unit_as_typed


def limits_words(spec: EntrySpec, system: units.UnitSystem) -> str:
    """The limits of an entry in a sentence."""
    low = units.format_quantity(spec.low, spec.kind, system) if spec.low is not None else ""
    high = units.format_quantity(spec.high, spec.kind, system) if spec.high is not None else ""
    return f"{low} to {high}" if low and high else f"(at least {low})" if low else f"(at most {high})"


# --- deviations that open by themselves -----------------------------------------------------------------------------
def deviations_of(by: By, batch: Batch, step: StepRun, spec: EntrySpec, entry: StepEntry) -> None:
    """What an entry opens: a value outside its limits, an instrument past its calibration, something not done."""
    if entry.is_within is False:
        write_deviation(
            by=by,
            batch=batch,
            step=step,
            severity=_severity(step),
            source=Deviation.Source.LIMIT.value,
            what=f"{step.name}: {entry.name} {entry.words}, allowed {limits_words(spec, 'metric')}",
        )
    if entry.instrument is not None and not entry.instrument_was_valid:
        deviation_once(
            by=by,
            batch=batch,
            step=step,
            source=Deviation.Source.INSTRUMENT,
            instrument=entry.instrument,
            what=f"not in calibration when {entry.name[:1].lower()}{entry.name[1:]} was read at {step.name}",
        )
    if entry.standing != StepEntry.Standing.WRITTEN and _is_missed(spec, entry):
        write_deviation(
            by=by,
            batch=batch,
            step=step,
            severity=Deviation.Severity.MAJOR.value if is_critical(spec) else _severity(step),
            source=Deviation.Source.NOT_DONE.value,
            what=f"{step.name}: {entry.name} stands as {entry.words}. {entry.reason}",
        )


def _is_missed(spec: EntrySpec, entry: StepEntry) -> bool:
    """Whether the plan asked for it: what may stay open, or may not apply, is no deviation."""
    if entry.standing == StepEntry.Standing.NOT_DONE:
        return spec.is_required
    return spec.is_required and not spec.may_not_apply


def _severity(step: StepRun) -> str:
    kind = Deviation.Severity.MAJOR if StepKind(step.kind) in MAJOR_OUTSIDE else Deviation.Severity.MINOR
    return kind.value


def refuse_twice(by: By, entry: StepEntry) -> None:
    """Refuse a page that was sent twice: the same entry, typed the same, by the same person within seconds."""
    twins = StepEntry.objects.filter(
        step_id=entry.step_id,
        key=entry.key,
        standing=entry.standing,
        entered_by=by.user,
        value_as_typed=entry.value_as_typed,
        unit_as_typed=entry.unit_as_typed,
        entered_at__gte=by.at - timedelta(seconds=SENT_TWICE_S),
        replaced_by__isnull=True,
    ).exclude(pk=entry.pk)
    if twins.exists():
        raise RecordRefused(f"{entry.name} is already written; it was sent twice.", code="already_written")


def entry_outcome(
    batch: Batch, step: StepRun, entry: StepEntry, *, before: str = "", reason: Reason | None = None
) -> Outcome:
    """What an act on an entry did."""
    return Outcome(
        subject=batch_subject(batch),
        before={"value": before} if before else {},
        after={"value": entry.words},
        facts={
            "step": step.name,
            "name": entry.name,
            "entry": entry.pk,
            "standing": entry.standing,
            "is_within": entry.is_within,
            "value_si": entry.value,
            "reason_category": reason.category if reason else "",
        },
        reason=reason.sentence if reason else "",
        result=entry,
    )
