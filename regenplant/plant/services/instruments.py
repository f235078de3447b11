"""Acts on measuring instruments and their calibration."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from regenplant.audit.by import By
from regenplant.audit.records import (
    code_of,
    one_of,
    refuse_known,
    saved_words,
    values_of,
    within,
    words_of,
    write_changed,
)
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.plant.models import COMPENSATIONS, Instrument
from regenplant.plant.selectors import plant_day

LONGEST_CALIBRATION = timedelta(days=3 * 366)
"""A bound against slips of the year; the plant's own interval is shorter."""


@dataclass(frozen=True, slots=True)
class InstrumentSettings:
    """An instrument as its papers say. ``uncertainty_frac`` is the stated relative uncertainty of a reading."""

    code: str
    name: str
    kind: str
    cell_constant_per_cm: float | None = None
    compensation: str = ""
    uncertainty_frac: float = 0.01
    is_active: bool = True


def _subject(instrument: Instrument) -> tuple[str, str, str]:
    return ("instrument", str(instrument.pk), instrument.code)


@use_case("instrument.saved", permission="plant.edit")
def save_instrument(*, by: By, instrument: InstrumentSettings, version: int | None = None) -> Outcome:
    """Add an instrument, or change the one with this code. It proves nothing until its calibration is written.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    code = code_of(instrument.code, "The instrument’s code", longest=16)
    _refuse_instrument(instrument)
    values = {**values_of(instrument), "code": code, "name": instrument.name.strip()}
    record = Instrument.objects.select_for_update().filter(code=code).first()
    if record is None:
        record = Instrument.objects.create(**values)
        return Outcome(
            subject=_subject(record), after={"name": record.name, "kind": record.kind}, result=record
        )
    if version is None:
        refuse_known(Instrument, code, "Instrument")
    before, after = write_changed(record, values, version=version, label=f"Instrument {code}")
    return Outcome(subject=_subject(record), before=before, after=after, result=record)


def _refuse_instrument(instrument: InstrumentSettings) -> None:
    words_of(instrument.name, "The instrument’s name", field="name", most=80, least=2)
    one_of(instrument.kind, Instrument.Kind.values, "The kind", field="kind")
    within(
        instrument.uncertainty_frac,
        0.0001,
        0.5,
        "The stated uncertainty",
        "fraction",
        field="uncertainty_frac",
    )
    is_cell = instrument.kind == Instrument.Kind.CONDUCTIVITY
    if is_cell and not instrument.compensation:
        raise RecordRefused(
            "A conductivity cell needs to say how its meter compensates for temperature: none, neutral, acid, base, or a flat 2 % per kelvin. "
            "It stands in the meter’s set-up menu.",
            field="compensation",
        )
    if not is_cell and (instrument.compensation or instrument.cell_constant_per_cm is not None):
        raise RecordRefused(
            "Only a conductivity cell has a cell constant and a compensation. Leave both empty, or choose the kind again.",
            field="kind",
        )
    if instrument.compensation:
        one_of(instrument.compensation, COMPENSATIONS, "The compensation", field="compensation")
    if instrument.cell_constant_per_cm is not None:
        within(
            instrument.cell_constant_per_cm,
            0.001,
            100.0,
            "The cell constant in 1/cm",
            "ratio",
            field="cell_constant_per_cm",
        )


@use_case("instrument.calibrated", permission="instrument.calibrate")
def record_calibration(
    *,
    by: By,
    instrument_id: int,
    calibrated_on: date,
    due_on: date,
    note: str = "",
    version: int | None = None,
) -> Outcome:
    """Write down a calibration and the day the next one is due.

    Raises: RecordRefused (a day to come, older than the last one, due before it was made), StaleRecord.
    """
    record = Instrument.objects.select_for_update().filter(pk=instrument_id).first()
    if record is None:
        raise RecordRefused("This instrument is not known here.", code="unknown")
    today = plant_day(by.at)
    if calibrated_on > today:
        raise RecordRefused(f"{calibrated_on} is still to come; today is {today}.", field="calibrated_on")
    if record.calibrated_on is not None and calibrated_on < record.calibrated_on:
        raise RecordRefused(
            f"A newer calibration, of {record.calibrated_on}, is written.", field="calibrated_on"
        )
    if due_on <= calibrated_on:
        raise RecordRefused(
            f"The next one would be due on {due_on}, not after {calibrated_on}.", field="due_on"
        )
    if due_on - calibrated_on > LONGEST_CALIBRATION:
        raise RecordRefused(
            f"From {calibrated_on} to {due_on} is more than three years. Look at the year, and at the certificate.",
            field="due_on",
        )
    words = words_of(note, "The note", field="note", most=200)
    values = {"calibrated_on": calibrated_on, "calibration_due_on": due_on}
    before, after = write_changed(record, values, version=version, label=f"Instrument {record.code}")
    facts = {"calibrated_on": calibrated_on.isoformat(), "due_on": due_on.isoformat()}
    return Outcome(
        subject=_subject(record), before=before, after=after, facts=facts, reason=words, result=record
    )


say("instrument.saved", saved_words("Instrument"))
say(
    "instrument.calibrated",
    "Instrument {subject} was calibrated on {calibrated_on}; the next one is due on {due_on}",
)
