"""Which readings count: what points to the instrument instead of the water, what is only for information, what is left.

A reading that points to its instrument is kept and never a result: not above zero, not in liquid water, better than water can be,
a jump that water cannot make, or the same figure for too long. All of it is worked out over columns, so that a log of a hundred
thousand readings is judged by the very same rules as five readings by hand.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.engineering.libraries import array_library
from regenplant.core.errors import OutOfRange
from regenplant.core.process.series import FLAT, UNCOMPENSATED, Series
from regenplant.core.process.specification import (
    CONDUCTIVITY,
    Limit,
    LimitBasis,
    RinseReading,
    Specification,
    keeps_within,
    reaches,
)
from regenplant.core.process.wording import number, say

DEAD_CELL_SIEMENS_PER_M = 1e-9
"""A thousandth of what ice-cold pure water shows: whatever reads this or less is not in water [S/m]."""
FLAT_LINE_READINGS = 6
"""So many equal readings in a row, to the last digit and at one temperature, ask for a look at the instrument."""
FROZEN_S = 600.0
"""So many readings over so long a time, inside the limit, are a display that stands still and no result: a living cell moves its
last digit, or its thermometer does. Common practice, from memory [s]."""
JUMP_WITHIN_S = 60.0
"""Readings further apart say nothing about a jump: valves are turned meanwhile [s]."""
LEAST_MIXED_BV = 0.05
"""Water between bed and cell that mixes on its way: what passes through it cannot change faster than by a factor e each time so
much has passed. A twentieth of a bed is less than any underdrain and freeboard hold; common practice, from memory [-]."""


# --- one reading ----------------------------------------------------------------------------------------------------
def instrument_doubt(reading: RinseReading, specification: Specification) -> str:
    """Why a reading points at its instrument instead of the water; "" if it does not."""
    name = reading.instrument_code
    if not reading.conductivity_siemens_per_m > DEAD_CELL_SIEMENS_PER_M:
        return f"Cell {name} shows {number(reading.conductivity_siemens_per_m * 1e4, decimals=4, digits=4)} µS/cm; water is above zero. Check it."
    if not 273.15 <= reading.temperature_kelvin <= 373.15:
        return f"Cell {name} shows {say(reading.temperature_kelvin, 'temperature')}; that is not liquid water. Check its thermometer."
    if reading.compensation is Compensation.FLAT:
        return ""
    value = reading.at_25_celsius(specification.compensation)
    lowest = conductivity.lowest_believable_siemens_per_m(specification.meter_uncertainty_frac)
    if value < lowest:
        return (
            f"{say(1.0 / value, 'resistivity')} cannot be: at 25 °C water ends at "
            f"{say(conductivity.HIGHEST_RESISTIVITY_OHM_M, 'resistivity')} "
            f"({say(1.0 / lowest, 'resistivity')} with this meter). Check cell {name}."
        )
    return ""


def not_counted(reading: RinseReading, limit: Limit | None) -> str:
    """Why a reading is for information only; "" if it counts."""
    name = reading.instrument_code
    if not reading.instrument_is_valid:
        return f"Readings of {name} are for information: it was out of calibration."
    if limit is not None and limit.basis is LimitBasis.UNCOMPENSATED_TABLE and reading.is_compensated:
        return f"Readings of {name} are compensated; this limit is a table for uncompensated readings."
    below_flat = reading.conductivity_siemens_per_m < conductivity.FLAT_VALID_FROM_SIEMENS_PER_M
    if reading.compensation is Compensation.FLAT and below_flat:
        return f"Readings of {name} below 10 µS/cm are compensated by a flat 2 %/K, which is not valid there."
    return ""


# --- all of them ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Sifted:
    """Readings in order of time, and what each is good for. Masks over ``series``."""

    series: Series
    value: Any
    """As the limit looks at it [S/m]."""
    at_25: Any
    """Brought to 25 °C; NaN where that cannot be [S/m]."""
    is_doubted: Any
    """Not above zero, not in liquid water, or better than water can be."""
    is_jump: Any
    jumped_from: Any
    """Place of the reading a jump came from; -1 where there is none."""
    is_frozen: Any
    counts: Any
    meets: Any
    """Inside the limit; False without one."""
    checks: tuple[str, ...]
    left_out: tuple[str, ...]

    def words(self, place: int) -> str:
        """What a jump, or a figure that stands still, asks for."""
        if self.is_jump[place]:
            return _jump_words(self.series, self.at_25, int(self.jumped_from[place]), place)
        return _frozen_words(self.series, self.is_frozen, place)


def sifted(series: Series, specification: Specification) -> Sifted:
    """Look at every reading once.

    Parameters
    ----------
    series : Series
        Readings in any order
    specification : Specification
        The version frozen with the batch

    Returns
    -------
    sifted : Sifted
        What counts, what does not, and why

    Raises: nothing for odd readings.
    """
    np = array_library()
    ordered = series.in_order()
    limit = specification.limit(CONDUCTIVITY)
    at_25 = ordered.at_25_celsius(specification.compensation)
    dead, not_liquid, too_good = _doubts(ordered, at_25, specification)
    doubted = dead | not_liquid | too_good
    is_table = limit is not None and limit.basis is LimitBasis.UNCOMPENSATED_TABLE
    value = ordered.conductivity_siemens_per_m if is_table else at_25
    meets = _meets(ordered, value, limit) & ~doubted
    jumped_from = _jumps(ordered, at_25, doubted, specification.jump_factor)
    jump = jumped_from >= 0
    frozen = _frozen(ordered, meets)
    overdue = ~ordered.is_valid
    compensated = (ordered.way != UNCOMPENSATED) & is_table
    flat = (ordered.way == FLAT) & (
        ordered.conductivity_siemens_per_m < conductivity.FLAT_VALID_FROM_SIEMENS_PER_M
    )
    informs = overdue | compensated | flat
    checks = _told(
        ordered,
        (
            (
                dead | not_liquid | too_good,
                lambda place: instrument_doubt(ordered.reading(place), specification),
            ),
            (jump, lambda place: _jump_words(ordered, at_25, int(jumped_from[place]), place)),
            (frozen, lambda place: _frozen_words(ordered, frozen, place)),
        ),
        kinds=(dead * 1 + not_liquid * 2 + too_good * 3),
    )
    flat_line = _flat_line(ordered)
    left_out = _told(
        ordered,
        ((informs & ~doubted, lambda place: not_counted(ordered.reading(place), limit)),),
        kinds=np.where(overdue, 1, np.where(compensated, 2, 3)),
        is_counted=False,
    )
    return Sifted(
        ordered, value, at_25, doubted, jump, jumped_from, frozen, ~(doubted | informs | jump | frozen), meets,
        (*checks, flat_line) if flat_line else checks, left_out,
    )  # fmt: skip


def _doubts(series: Series, at_25: Any, specification: Specification) -> tuple[Any, Any, Any]:
    """(not above zero, not liquid water, better than water can be), each of them alone."""
    dead = ~(series.conductivity_siemens_per_m > DEAD_CELL_SIEMENS_PER_M)
    not_liquid = ~dead & ~((series.temperature_kelvin >= 273.15) & (series.temperature_kelvin <= 373.15))
    lowest = conductivity.lowest_believable_siemens_per_m(specification.meter_uncertainty_frac)
    return dead, not_liquid, ~dead & ~not_liquid & (series.way != FLAT) & (at_25 < lowest)


def _meets(series: Series, value: Any, limit: Limit | None) -> Any:
    np = array_library()
    if limit is None:
        return np.zeros(len(series), dtype=bool)
    if limit.table:
        rows = tuple((row[0], row[1]) for row in limit.table)
        found = np.zeros(len(series), dtype=bool)
        liquid = (series.temperature_kelvin >= 273.15) & (series.temperature_kelvin <= 373.15)
        levels, which = np.unique(series.temperature_kelvin[liquid], return_inverse=True)
        allowed = np.array([_allowed_at(rows, float(level)) for level in levels], dtype=float)
        found[liquid] = keeps_within(value[liquid], allowed[which]) if len(levels) else False
        return found
    inside = np.isfinite(value)
    if limit.low is not None:
        inside &= reaches(value, limit.low)
    if limit.high is not None:
        inside &= keeps_within(value, limit.high)
    return inside


def _allowed_at(rows: tuple[tuple[float, float], ...], temperature_kelvin: float) -> float:
    """The row of a table; below its first one nothing is allowed."""
    try:
        return table_limit_siemens_per_m(rows, temperature_kelvin)
    except OutOfRange:
        return -math.inf


def _jumps(series: Series, at_25: Any, doubted: Any, factor: float) -> Any:
    """For a reading that lies further from the one before, of the same cell, than water can go in that time: the place of that
    one; else -1."""
    np = array_library()
    found = np.full(len(series), -1)
    for place in range(len(series.instrument_codes)):
        own = np.flatnonzero((series.instrument == place) & ~doubted)
        if len(own) < 2:
            continue
        between_s = np.diff(series.at_s[own])
        passed_bv = np.maximum(np.diff(series.volume_bv[own]), 0.0)
        moved = np.abs(np.diff(np.log(at_25[own])))
        is_jump = (
            (between_s > 0.0)
            & (between_s <= JUMP_WITHIN_S)
            & (moved > math.log(factor) + passed_bv / LEAST_MIXED_BV)
        )
        found[own[1:][is_jump]] = own[:-1][is_jump]
    return found


def _frozen(series: Series, meets: Any) -> Any:
    """Readings inside the limit that are part of a stretch of equal ones, to the last digit, of one cell, that lasts too long."""
    np = array_library()
    found = np.zeros(len(series), dtype=bool)
    for place in range(len(series.instrument_codes)):
        own = np.flatnonzero(series.instrument == place)
        if len(own) < FLAT_LINE_READINGS:
            continue
        seen, kelvin = series.conductivity_siemens_per_m[own], series.temperature_kelvin[own]
        changes = np.flatnonzero((np.diff(seen) != 0.0) | (np.diff(kelvin) != 0.0)) + 1
        starts, ends = np.append(0, changes), np.append(changes, len(own))
        lasts = series.at_s[own[ends - 1]] - series.at_s[own[starts]]
        for stretch in np.flatnonzero((ends - starts >= FLAT_LINE_READINGS) & (lasts >= FROZEN_S)):
            found[own[starts[stretch] : ends[stretch]]] = True
    return found & meets


def _flat_line(series: Series) -> str:
    """The newest readings, whatever they are: equal to the last digit they ask for a look, however short a time it was."""
    if len(series) < FLAT_LINE_READINGS:
        return ""
    tail = series.where(slice(-FLAT_LINE_READINGS, None))
    columns = (tail.conductivity_siemens_per_m, tail.temperature_kelvin, tail.instrument)
    if not all(bool((column == column[0]).all()) for column in columns):
        return ""
    code = series.instrument_codes[int(tail.instrument[0])]
    return f"Cell {code} has shown the same figure {FLAT_LINE_READINGS} times. See whether it is alive."


def _jump_words(series: Series, at_25: Any, before: int, place: int) -> str:
    code = series.instrument_codes[int(series.instrument[place])]
    within_s = float(series.at_s[place] - series.at_s[before])
    return (
        f"Cell {code} went from {say(float(at_25[before]), 'conductivity')} to {say(float(at_25[place]), 'conductivity')} in "
        f"{say(within_s, 'duration')}; water cannot. Check it for air, a loose plug or a change of range."
    )


def _frozen_words(series: Series, frozen: Any, place: int) -> str:
    np = array_library()
    same = np.flatnonzero(
        frozen
        & (series.instrument == series.instrument[place])
        & (series.conductivity_siemens_per_m == series.conductivity_siemens_per_m[place])
        & (series.temperature_kelvin == series.temperature_kelvin[place])
    )
    code = series.instrument_codes[int(series.instrument[place])]
    lasted_s = float(series.at_s[same[-1]] - series.at_s[same[0]])
    return (
        f"Cell {code} has shown the same figure to the last digit for {say(lasted_s, 'duration')}. See whether it is alive; "
        "write down every digit it shows."
    )


def _told(
    series: Series,
    groups: tuple[tuple[Any, Callable[[int], str]], ...],
    *,
    kinds: Any,
    is_counted: bool = True,
) -> tuple[str, ...]:
    """One sentence for each instrument and kind, in order of their first readings; a log may hold thousands of a kind."""
    np = array_library()
    found: list[tuple[int, str]] = []
    for group, (mask, words) in enumerate(groups):
        if not mask.any():
            continue
        kind_of = kinds if group == 0 else np.zeros(len(series), dtype=int)
        pairs = np.unique(np.stack((series.instrument[mask], kind_of[mask])), axis=1).T
        for instrument, kind in pairs:
            own = np.flatnonzero(mask & (series.instrument == instrument) & (kind_of == kind))
            more = len(own) - 1
            tail = (
                f" The same with {more} more {'reading' if more == 1 else 'readings'}."
                if more and is_counted
                else ""
            )
            found.append((int(own[0]), words(int(own[0])) + tail))
    return tuple(dict.fromkeys(sentence for _, sentence in sorted(found, key=lambda pair: pair[0])))
