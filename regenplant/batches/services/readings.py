"""Readings of the rinse: value and unit as typed, for good; a correction is a new one with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.checking import Method, check_method
from regenplant.batches.models import Batch, Deviation, RinseReading, StepRun
from regenplant.batches.moves import locked, touch
from regenplant.batches.reopened import is_reopened
from regenplant.batches.rinse import (
    at_25,
    end_point,
    rinsed_bed_volumes,
    running_rinse,
    specification_of,
    what_is_odd,
)
from regenplant.batches.services._as_typed import (
    SENT_TWICE_S,
    correction_reason,
    refuse_before_start,
    why_late,
)
from regenplant.batches.services._deviations import deviation_once
from regenplant.batches.services._standing import renew
from regenplant.batches.services._subject import batch_subject
from regenplant.batches.services._typed_twice import keep_second_typing, refuse_different, refuse_not_again
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day

READINGS_OPEN = (BatchState.RINSING, BatchState.AWAITING_QC, BatchState.HELD)
"""States in which a reading may still be corrected."""


@dataclass(frozen=True, slots=True)
class ReadingAsTyped:
    """A rinse reading the way a person writes it. ``rinsed_text`` is what passed since this rinse step began; it may be empty:
    then time and flow tell."""

    value_text: str
    temperature_text: str
    instrument_id: int
    rinsed_text: str = ""
    again_text: str = ""
    """The value typed a second time, for the reading by which the end point holds."""


@use_case("reading.recorded", permission="reading.record")
def record_reading(
    *,
    by: By,
    batch_id: int,
    reading: ReadingAsTyped,
    system: units.UnitSystem = "metric",
    late: Reason | None = None,
) -> Outcome:
    """Write down one rinse reading: value and unit as typed, temperature, instrument; compensated by the kind of water.

    A reading of an overdue instrument is kept as information and can prove nothing. One that cannot be water (above the
    ceiling, frozen) is kept with the note "instrument check". Both open a minor deviation, once for each instrument.

    The reading by which the end point holds is critical: where the class wants critical values typed twice, it is refused
    until it comes with its second typing.

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    batch = locked(batch_id)
    step = running_rinse(batch)
    if step is None:
        raise RecordRefused(
            f"Batch {batch.number} is not in its final rinse. Readings are written while it rinses.",
            code="not_rinsing",
        )
    refuse_before_start(step, by)
    reason = why_late(by, late)
    row = _make_reading(by, batch, step, reading, system, reason=reason, is_late=reason is not None)
    _not_twice(by, row)
    _typed_twice(by, batch, row, reading, system)
    _deviations_of(by, batch, row)
    touch(batch)
    renew(batch, by.at)
    return _reading_outcome(batch, row, reason=reason)


@use_case("reading.corrected", permission="reading.record")
def correct_reading(
    *,
    by: By,
    reading_id: int,
    reading: ReadingAsTyped,
    category: str,
    reason: str,
    system: units.UnitSystem = "metric",
) -> Outcome:
    """Correct a wrong reading by a new one with a reason. The old one stays readable."""
    old = RinseReading.objects.select_related("step", "batch").get(pk=reading_id)
    batch = locked(old.batch_id)
    if BatchState(batch.state) not in READINGS_OPEN and not is_reopened(batch.pk):
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its readings are closed.", code="closed"
        )
    why = correction_reason(old, category, reason)
    row = _make_reading(
        by.happening_at(old.occurred_at),
        batch,
        old.step,
        reading,
        system,
        replaces=old,
        reason=why,
        is_late=old.is_late,
    )
    _typed_twice(by, batch, row, reading, system)
    _deviations_of(by, batch, row)
    touch(batch)
    renew(batch, by.at)
    return _reading_outcome(batch, row, before=str(old), reason=why)


def _make_reading(
    by: By,
    batch: Batch,
    step: StepRun,
    reading: ReadingAsTyped,
    system: units.UnitSystem,
    *,
    replaces: RinseReading | None = None,
    reason: Reason | None = None,
    is_late: bool = False,
) -> RinseReading:
    instrument = _conductivity_instrument(reading.instrument_id)
    value = units.understand(reading.value_text, "conductivity", system=system)
    temperature = units.understand(reading.temperature_text, "temperature", system=system)
    if not 273.15 <= temperature.value <= 373.15:
        raise RecordRefused(
            "Rinse water is between 0 and 100 °C (32 and 212 °F).", field="temperature", code="out_of_range"
        )
    meter = Compensation(instrument.compensation or Compensation.NONE)
    valid = is_instrument_valid(instrument, plant_day(by.happened_at), by.happened_at)
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
        cell_constant_per_cm=instrument.cell_constant_per_cm,
        water_kind=specification_of(batch).compensation.value,
        conductivity_25_siemens_per_m=at_25(value.value, temperature.value, meter, batch),
        rinsed_bv=rinsed,
        instrument=instrument,
        instrument_was_valid=valid,
        instrument_check=what_is_odd(batch, seen)[:200],
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
        is_late=is_late,
        replaces=replaces,
        reason_category=reason.category if reason else "",
        reason=reason.words if reason else "",
    )


def _typed_twice(
    by: By, batch: Batch, row: RinseReading, reading: ReadingAsTyped, system: units.UnitSystem
) -> None:
    """Hold a second typing against the first; ask for one where the end point holds by this reading."""
    name = "The reading"
    if reading.again_text.strip():
        refuse_different(name, row.conductivity_siemens_per_m, reading.again_text, "conductivity", system)
        if check_method(batch.segregation_class) is Method.TWICE:
            keep_second_typing(by=by, again=reading.again_text, reading=row)
        return
    counts = row.instrument_was_valid and not row.instrument_check
    if not counts or check_method(batch.segregation_class) is not Method.TWICE:
        return
    reached = end_point(batch)
    if reached.is_met and reached.limit is not None:
        refuse_not_again("The reading by which the end point holds")


def _deviations_of(by: By, batch: Batch, row: RinseReading) -> None:
    """A reading that proves nothing is a deviation, once for each instrument and rinse."""
    if not row.instrument_was_valid:
        what = f"not in calibration when the rinse was read at {row.step.name}; its readings prove nothing"
        source = Deviation.Source.INSTRUMENT
    elif row.instrument_check:
        what, source = row.instrument_check, Deviation.Source.READING
    else:
        return
    deviation_once(by=by, batch=batch, step=row.step, source=source, instrument=row.instrument, what=what)


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


def _reading_outcome(
    batch: Batch, row: RinseReading, *, before: str = "", reason: Reason | None = None
) -> Outcome:
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
            "reason_category": reason.category if reason else "",
        },
        reason=reason.sentence if reason else "",
        related=(("instrument", row.instrument.code),),
        result=row,
    )


say("reading.recorded", "{subject}: rinse reading {value} at {temperature} by {instrument}")
say("reading.corrected", "{subject}: rinse reading was corrected from {before_value} to {value}")
