"""What people write down: entries of a step, and readings of the rinse. Both are kept as typed, for good."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.endings import RUNNING_TOTALS
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, RinseReading, StepEntry, StepRun
from regenplant.batches.moves import locked, touch
from regenplant.batches.rinse import at_25, rinsed_bed_volumes, specification_of, what_is_odd
from regenplant.batches.services._deviations import write_deviation
from regenplant.batches.services._subject import batch_subject
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day

READINGS_OPEN = (BatchState.RINSING, BatchState.AWAITING_QC, BatchState.HELD)
"""States in which a reading may still be corrected."""
SENT_TWICE_S = 20.0
"""The same reading by the same person within so short a time is one page sent twice, not two readings."""


@dataclass(frozen=True, slots=True)
class ReadingAsTyped:
    """A rinse reading the way a person writes it. ``rinsed_text`` may be empty: then time and flow tell."""

    value_text: str
    temperature_text: str
    instrument_id: int
    rinsed_text: str = ""


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
    _not_before_start(step, by)
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
    _not_replaced(old, reason)
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


@use_case("reading.recorded", permission="reading.record")
def record_reading(
    *, by: By, batch_id: int, reading: ReadingAsTyped, system: units.UnitSystem = "metric"
) -> Outcome:
    """Write down one rinse reading: value and unit as typed, temperature, instrument; compensated by the kind of water.

    A reading of an overdue instrument is kept as information and can prove nothing. One that cannot be water (above the
    ceiling, frozen) is kept with the note "instrument check".

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    batch = locked(batch_id)
    step = batch.steps.filter(kind=StepKind.FAST_RINSE, state=StepState.RUNNING).first()
    if step is None:
        raise RecordRefused(
            f"Batch {batch.number} is not in its fast rinse. Readings are written while it rinses.",
            code="not_rinsing",
        )
    _not_before_start(step, by)
    row = _make_reading(by, batch, step, reading, system)
    _not_twice(by, row)
    touch(batch)
    return _reading_outcome(batch, row)


@use_case("reading.corrected", permission="reading.record")
def correct_reading(
    *, by: By, reading_id: int, reading: ReadingAsTyped, reason: str, system: units.UnitSystem = "metric"
) -> Outcome:
    """Correct a wrong reading by a new one with a reason. The old one stays readable."""
    old = RinseReading.objects.select_related("step", "batch").get(pk=reading_id)
    batch = locked(old.batch_id)
    if BatchState(batch.state) not in READINGS_OPEN:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its readings are closed.", code="closed"
        )
    _not_replaced(old, reason)
    row = _make_reading(
        by.happening_at(old.occurred_at),
        batch,
        old.step,
        reading,
        system,
        replaces=old,
        reason=reason.strip(),
    )
    touch(batch)
    return _reading_outcome(
        batch, row, before=f"{old.value_as_typed} {old.unit_as_typed}", reason=reason.strip()
    )


# --- entries ----------------------------------------------------------------------------------------------------------
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
    if spec.kind == "choice":
        if not text.strip():
            raise RecordRefused(f"Nothing is written for {spec.name}.", field="value", code="empty")
        return None, text.strip()[:60], ""
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
    severity = "major" if StepKind(step.kind) in (StepKind.INJECT, StepKind.DISPLACE) else "minor"
    written = f"{entry.value_as_typed} {entry.unit_as_typed}".strip()
    limits = _limits(EntrySpec(entry.key, entry.name, entry.kind, entry.low, entry.high), "metric")
    write_deviation(
        by=by,
        batch=batch,
        step=step,
        severity=severity,
        what=f"{step.name}: {entry.name} {written}, allowed {limits}",
    )


def _not_replaced(old: StepEntry | RinseReading, reason: str) -> None:
    if hasattr(old, "replaced_by"):
        raise RecordRefused(
            "This value was already corrected. Correct the newest one.", code="already_corrected"
        )
    if len(reason.strip()) < 10:
        raise RecordRefused(
            "The reason is too short. Say in at least 10 characters what was wrong.", field="reason"
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


def _not_before_start(step: StepRun, by: By) -> None:
    if by.happened_at > by.at:
        raise RecordRefused(
            "The time lies in the future. Write when it happened.", field="occurred_at", code="future"
        )
    if step.started_at and by.happened_at < step.started_at:
        raise RecordRefused(
            f"The time lies before {step.name} started.", field="occurred_at", code="before_start"
        )


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


# --- readings ---------------------------------------------------------------------------------------------------------
def _make_reading(
    by: By,
    batch: Batch,
    step: StepRun,
    reading: ReadingAsTyped,
    system: units.UnitSystem,
    *,
    replaces: RinseReading | None = None,
    reason: str = "",
) -> RinseReading:
    instrument = _conductivity_instrument(reading.instrument_id)
    value = units.understand(reading.value_text, "conductivity", system=system)
    temperature = units.understand(reading.temperature_text, "temperature", system=system)
    if not 273.15 <= temperature.value <= 373.15:
        raise RecordRefused(
            "Rinse water is between 0 and 100 °C (32 and 212 °F).", field="temperature", code="out_of_range"
        )
    meter = Compensation(instrument.compensation or Compensation.NONE)
    valid = is_instrument_valid(instrument, plant_day(by.happened_at))
    rinsed = _rinsed(by, batch, step, reading, system, replaces)
    seen = CoreReading(
        by.happened_at.timestamp(), rinsed, value.value, temperature.value, meter, instrument.code, valid
    )
    return RinseReading.objects.create(
        batch=batch,
        step=step,
        value_as_typed=value.value_as_typed,
        unit_as_typed=value.unit_as_typed,
        conductivity_siemens_per_m=value.value,
        temperature_as_typed=f"{temperature.value_as_typed} {temperature.unit_as_typed}".strip(),
        temperature_kelvin=temperature.value,
        meter_compensation=meter.value,
        water_kind=specification_of(batch).compensation.value,
        conductivity_25_siemens_per_m=at_25(value.value, temperature.value, meter, batch),
        rinsed_bv=rinsed,
        instrument=instrument,
        instrument_was_valid=valid,
        instrument_check=what_is_odd(batch, seen)[:200],
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
        replaces=replaces,
        reason=reason,
    )


def _rinsed(
    by: By,
    batch: Batch,
    step: StepRun,
    reading: ReadingAsTyped,
    system: units.UnitSystem,
    replaces: RinseReading | None,
) -> float:
    """Bed volumes passed at this reading; a correction that names no volume keeps the old one."""
    if replaces is not None and not reading.rinsed_text.strip():
        return replaces.rinsed_bv
    return rinsed_bed_volumes(batch, step, by.happened_at, reading.rinsed_text, system)


def _not_twice(by: By, row: RinseReading) -> None:
    """Refuse a page that was sent twice: it would count as two readings in a row."""
    twin = (
        RinseReading.objects.filter(
            batch=row.batch,
            entered_by=by.user,
            instrument=row.instrument,
            value_as_typed=row.value_as_typed,
            unit_as_typed=row.unit_as_typed,
            temperature_as_typed=row.temperature_as_typed,
            entered_at__gte=by.at - timedelta(seconds=SENT_TWICE_S),
        )
        .exclude(pk=row.pk)
        .order_by("-id")
        .first()
    )
    if twin and abs((twin.occurred_at - row.occurred_at).total_seconds()) < SENT_TWICE_S:
        raise RecordRefused(
            "This reading is already written; it was sent twice. Read the cell again for the next one.",
            code="already_written",
        )


def _conductivity_instrument(pk: int) -> Instrument:
    instrument = Instrument.objects.filter(pk=pk).first()
    if instrument is None or instrument.kind != Instrument.Kind.CONDUCTIVITY or not instrument.is_active:
        raise RecordRefused("Choose the conductivity cell that was read.", field="instrument", code="no_cell")
    return instrument


def _reading_outcome(batch: Batch, row: RinseReading, *, before: str = "", reason: str = "") -> Outcome:
    return Outcome(
        subject=batch_subject(batch),
        before={"value": before} if before else {},
        after={"value": f"{row.value_as_typed} {row.unit_as_typed}"},
        facts={
            "reading": row.pk,
            "temperature": row.temperature_as_typed,
            "instrument": row.instrument.code,
            "conductivity_25_siemens_per_m": row.conductivity_25_siemens_per_m,
            "rinsed_bv": round(row.rinsed_bv, 3),
            "instrument_check": row.instrument_check,
        },
        reason=reason,
        related=(("instrument", row.instrument.code),),
        result=row,
    )


say("entry.written", "{subject}: {step}, {name} {value}")
say("entry.corrected", "{subject}: {step}, {name} was corrected from {before_value} to {value}")
say("reading.recorded", "{subject}: rinse reading {value} at {temperature} by {instrument}")
say("reading.corrected", "{subject}: rinse reading was corrected from {before_value} to {value}")
