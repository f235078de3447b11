"""The laboratory bench: which instruments and test kits fit a limit, and whether they count today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from regenplant.core.process.specification import Limit
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid

KIND_FOR = {
    "ph": Instrument.Kind.PH,
    "conductivity": Instrument.Kind.CONDUCTIVITY,
    "temperature": Instrument.Kind.THERMOMETER,
}
"""The instrument that measures a kind of quantity; everything else is a wet test."""


@dataclass(frozen=True, slots=True)
class BenchInstrument:
    """An instrument to choose from, and whether its results count today."""

    instrument: Instrument
    is_valid: bool


def instruments_for(limits: tuple[Limit, ...], today: date) -> dict[str, tuple[BenchInstrument, ...]]:
    """By measurement: the instruments that fit, those in calibration first. One query."""
    found = [
        BenchInstrument(row, is_instrument_valid(row, today))
        for row in Instrument.objects.filter(is_active=True)
    ]
    found.sort(key=lambda item: (not item.is_valid, item.instrument.code))
    return {
        limit.measurement: tuple(
            item
            for item in found
            if item.instrument.kind == KIND_FOR.get(limit.kind, Instrument.Kind.WET_TEST)
        )
        for limit in limits
    }
