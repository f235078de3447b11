"""Readings of the rinse: value and unit as typed, for good; a correction is a new one with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch, RinseReading, StepRun
from regenplant.batches.moves import locked, touch
from regenplant.batches.rinse import (
    at_25,
    rinsed_bed_volumes,
    running_rinse,
    specification_of,
    what_is_odd,
)
from regenplant.batches.services._as_typed import SENT_TWICE_S, refuse_out_of_time, refuse_replaced
from regenplant.batches.services._subject import batch_subject
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
    step = running_rinse(batch)
    if step is None:
        raise RecordRefused(
            f"Batch {batch.number} is not in its final rinse. Readings are written while it rinses.",
            code="not_rinsing",
        )
    refuse_out_of_time(step, by)
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
    refuse_replaced(old, reason)
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


say("reading.recorded", "{subject}: rinse reading {value} at {temperature} by {instrument}")
say("reading.corrected", "{subject}: rinse reading was corrected from {before_value} to {value}")
