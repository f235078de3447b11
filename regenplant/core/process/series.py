"""Readings of a rinse as columns: what a log of a hundred thousand readings is judged from, and a few by hand as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_columns import at_25_celsius_of
from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.specification import RinseReading

WAYS = tuple(Compensation)
"""How a reading may have been compensated, by its number in the column."""
UNCOMPENSATED, FLAT = WAYS.index(Compensation.NONE), WAYS.index(Compensation.FLAT)


@dataclass(frozen=True, slots=True)
class Series:
    """Columns of equal length.

    ``at_s`` [s], ``volume_bv`` [-], ``conductivity_siemens_per_m`` as the meter showed it [S/m], ``temperature_kelvin`` [K],
    ``way`` (place in ``WAYS``), ``instrument`` (place in ``instrument_codes``), ``is_valid`` (in calibration when read).
    """

    at_s: Any
    volume_bv: Any
    conductivity_siemens_per_m: Any
    temperature_kelvin: Any
    way: Any
    instrument: Any
    is_valid: Any
    instrument_codes: tuple[str, ...]
    is_by_hand: Any = None
    """Written by a person, whose moments are those of the plant's clock; the others come with the clock of their meter. None: all by
    one clock."""

    def __len__(self) -> int:
        return len(self.at_s)

    def where(self, keep: Any) -> Series:
        """The rows of a mask or of indices."""
        return Series(
            self.at_s[keep], self.volume_bv[keep], self.conductivity_siemens_per_m[keep], self.temperature_kelvin[keep],
            self.way[keep], self.instrument[keep], self.is_valid[keep], self.instrument_codes,
            None if self.is_by_hand is None else self.is_by_hand[keep],
        )  # fmt: skip

    def in_order(self) -> Series:
        """In order of time; what was read at the same moment stays as it was."""
        np = array_library()
        if len(self) < 2 or bool((np.diff(self.at_s) >= 0.0).all()):
            return self
        return self.where(np.argsort(self.at_s, kind="stable"))

    def has_one_clock(self, keep: Any) -> bool:
        """Whether the moments of these rows come from one clock: all by hand, or all of one meter."""
        if self.is_by_hand is None or not len(keep):
            return True
        by_hand = self.is_by_hand[keep]
        if bool(by_hand.all()):
            return True
        cells = self.instrument[keep]
        return not bool(by_hand.any()) and bool((cells == cells[0]).all())

    def reading(self, place: int) -> RinseReading:
        """One row as a reading."""
        return RinseReading(
            float(self.at_s[place]),
            float(self.volume_bv[place]),
            float(self.conductivity_siemens_per_m[place]),
            float(self.temperature_kelvin[place]),
            WAYS[int(self.way[place])],
            self.instrument_codes[int(self.instrument[place])],
            bool(self.is_valid[place]),
        )

    def at_25_celsius(self, stream: Compensation) -> Any:
        """Conductivities at 25 °C [S/m]: as the meter gave them, or brought there by the kind of water; NaN where that cannot be."""
        np = array_library()
        found = np.array(self.conductivity_siemens_per_m, dtype=float)
        raw = self.way == UNCOMPENSATED
        if raw.any():
            found[raw] = at_25_celsius_of(found[raw], self.temperature_kelvin[raw], stream)
        return found


def series_of(readings: Sequence[RinseReading]) -> Series:
    """Readings as columns, in the order they come."""
    np = array_library()
    codes: dict[str, int] = {}
    for each in readings:
        codes.setdefault(each.instrument_code, len(codes))
    return Series(
        np.array([each.at_s for each in readings], dtype=float),
        np.array([each.volume_bv for each in readings], dtype=float),
        np.array([each.conductivity_siemens_per_m for each in readings], dtype=float),
        np.array([each.temperature_kelvin for each in readings], dtype=float),
        np.array([WAYS.index(each.compensation) for each in readings], dtype=np.int8),
        np.array([codes[each.instrument_code] for each in readings], dtype=np.int32),
        np.array([each.instrument_is_valid for each in readings], dtype=bool),
        tuple(codes),
    )


def way_of(compensation: Compensation) -> int:
    """The place of a compensation in a column of ``Series.way``."""
    return WAYS.index(compensation)
