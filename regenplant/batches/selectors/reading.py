"""One reading before it is written, and the working of one that is: what it means at 25 °C, and whether it counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.models import Batch, RinseReading
from regenplant.batches.rinse import core_reading_of, specification_of, what_is_odd
from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day


@dataclass(frozen=True, slots=True)
class ReadingMeaning:
    """What a reading says at 25 °C [S/m], how it got there, and what speaks against it."""

    at_25_siemens_per_m: float
    meter: Compensation
    """What the meter did by itself."""
    water: Compensation
    """The kind of water at this stage."""
    instrument: Instrument
    is_valid: bool
    """In calibration on that day; else it informs only."""
    doubt: str
    """Why it points to the instrument instead of the water; "" if it does not."""
    estimate: Estimate | None
    """The working of the correction; None where the meter corrected by itself."""


def meaning_of(
    batch: Batch,
    *,
    conductivity_siemens_per_m: float,
    temperature_kelvin: float,
    instrument: Instrument,
    at: datetime,
) -> ReadingMeaning:
    """What a reading of this cell at this temperature would mean for this batch; nothing is saved.

    Raises: OutOfRange for a reading that is not above zero or a temperature outside liquid water.
    """
    meter = Compensation(instrument.compensation or Compensation.NONE)
    is_valid = is_instrument_valid(instrument, plant_day(at), at)
    reading = CoreReading(
        at.timestamp(), 0.0, conductivity_siemens_per_m, temperature_kelvin, meter, instrument.code, is_valid
    )
    return _meaning(batch, reading, instrument)


def meaning_of_row(batch: Batch, row: RinseReading) -> ReadingMeaning:
    """What a stored reading means, from what the meter showed."""
    return _meaning(batch, core_reading_of(row), row.instrument)


def _meaning(batch: Batch, reading: CoreReading, instrument: Instrument) -> ReadingMeaning:
    water = specification_of(batch).compensation
    estimate = (
        None
        if reading.is_compensated
        else conductivity.at_25_celsius(reading.conductivity_siemens_per_m, reading.temperature_kelvin, water)
    )
    return ReadingMeaning(
        at_25_siemens_per_m=reading.at_25_celsius(water),
        meter=reading.compensation,
        water=water,
        instrument=instrument,
        is_valid=reading.instrument_is_valid,
        doubt=what_is_odd(batch, reading),
        estimate=estimate,
    )
