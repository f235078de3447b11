"""What a forecast is made from: the readings of a rinse so far, its set points, and earlier rinses of the same pool."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from regenplant.core.engineering.libraries import array_library
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.forecasting.thinning import MOST_KEPT, Columns, thinned

HORIZON_BV = 60.0
"""A rinse that has not reached its end point after so many bed volumes counts as never reaching it [-]."""
METER_TOPS_SIEMENS_PER_M = (0.2, 2.0, 20.0)
"""Usual ends of a meter's range: 2000, 20,000 and 200,000 µS/cm; a reading that shows one of them is at least that [S/m]."""
MOST_READINGS = 100_000
MOST_HISTORY = 200
_TOP_SHARE = 1e-6
_MOST_BV, _MOST_S, _MOST_SIEMENS_PER_M = 10_000.0, 1e8, 1000.0
_COLDEST_KELVIN, _HOTTEST_KELVIN = 200.0, 500.0


class RinsedBed(StrEnum):
    """Which bed is rinsed of what: it tells what kind of water leaves."""

    CATION_AFTER_ACID = "cation_after_acid"
    ANION_AFTER_CAUSTIC = "anion_after_caustic"
    MIXED_BED = "mixed_bed"
    SOFTENER_AFTER_BRINE = "softener_after_brine"


@dataclass(frozen=True, slots=True)
class ReadingSoFar:
    """One reading of the water that leaves.

    ``bed_volumes_bv`` water passed since the rinse began, >= 0 [-]; ``at_s`` time since it began, >= 0 [s];
    ``conductivity_siemens_per_m`` compensated to 25 °C, > 0 [S/m]; ``temperature_kelvin`` of the water [K].
    """

    bed_volumes_bv: float
    at_s: float
    conductivity_siemens_per_m: float
    temperature_kelvin: float | None = None
    is_clipped: bool = False
    """The meter was at the top of its range: the water was at least this."""


@dataclass(frozen=True, slots=True)
class PastRinse:
    """An earlier rinse of the same pooling key. ``endpoint_bv`` is None when it was given up [-]."""

    endpoint_bv: float | None
    decade_bv: float | None = None
    """Volume for the last tenfold fall before the end point [-]."""


@dataclass(frozen=True, slots=True)
class RinseSoFar:
    """A rinse as it stands now. Readings are in the order of time; history has the oldest rinse first."""

    bed: RinsedBed
    bed_volume_m3: float
    flow_m3_per_s: float
    """Flow set for the fast rinse; what really flowed follows from the readings [m^3/s]."""
    rinse_water_siemens_per_m: float
    """Conductivity of the rinse water at 25 °C [S/m]."""
    limit_siemens_per_m: float
    """End point: conductivity at 25 °C [S/m]."""
    readings: tuple[ReadingSoFar, ...]
    history: tuple[PastRinse, ...] = ()

    @property
    def flow_bv_per_h(self) -> float:
        return self.flow_m3_per_s * 3600.0 / self.bed_volume_m3


def checked(rinse: RinseSoFar) -> RinseSoFar:
    """The rinse with a long log made short, and readings at the top of a meter's range marked as clipped.

    Raises: OutOfRange, with the number of the reading, for what cannot be a rinse.
    """
    require_within(rinse.bed_volume_m3, 1e-6, 1000.0, "resin volume", "m³")
    require_within(rinse.flow_bv_per_h, 0.01, 1000.0, "flow set", "BV/h")
    require_within(rinse.rinse_water_siemens_per_m, 0.0, 100.0, "conductivity of the rinse water", "S/m")
    require_positive(rinse.limit_siemens_per_m, "end point", "S/m")
    if not rinse.readings:
        raise OutOfRange("No readings; a forecast needs at least one.", code="no_readings")
    if len(rinse.readings) > MOST_READINGS:
        raise OutOfRange(
            f"{len(rinse.readings)} readings; at most {MOST_READINGS:,} are taken.", code="too_many_readings"
        )
    if len(rinse.history) > MOST_HISTORY:
        raise OutOfRange(
            f"{len(rinse.history)} earlier rinses; at most {MOST_HISTORY} are taken.", code="too_much_history"
        )
    columns = columns_of(rinse.readings)
    if not _are_possible(columns) or any(_is_odd(each.temperature_kelvin) for each in rinse.readings):
        _refuse_first(rinse.readings)
    _check_history(rinse.history)
    short = rinse.readings if len(rinse.readings) <= MOST_KEPT else readings_from(thinned(columns))
    return replace(rinse, readings=_with_clipped(short, rinse.limit_siemens_per_m))


def columns_of(readings: Sequence[ReadingSoFar]) -> Columns:
    """Readings as arrays."""
    np = array_library()
    return Columns(
        np.array([each.bed_volumes_bv for each in readings], dtype=float),
        np.array([each.at_s for each in readings], dtype=float),
        np.array([each.conductivity_siemens_per_m for each in readings], dtype=float),
        np.array([each.temperature_kelvin for each in readings], dtype=float),
        np.array([each.is_clipped for each in readings], dtype=bool),
    )


def readings_from(columns: Columns) -> tuple[ReadingSoFar, ...]:
    """Arrays as readings again."""
    return tuple(
        ReadingSoFar(bv, at_s, value, kelvin if kelvin == kelvin else None, is_clipped)
        for bv, at_s, value, kelvin, is_clipped in zip(
            columns.bed_volumes_bv.tolist(),
            columns.at_s.tolist(),
            columns.conductivity_siemens_per_m.tolist(),
            columns.temperature_kelvin.tolist(),
            columns.is_clipped.tolist(),
            strict=True,
        )
    )


def _is_odd(kelvin: float | None) -> bool:
    """Not a number, which is no way to say that it was not taken."""
    return kelvin is not None and kelvin != kelvin


def _are_possible(columns: Columns) -> bool:
    """The quick look; a log may hold a hundred thousand readings. Not-a-number is never possible, but for a temperature not taken."""
    np = array_library()
    kelvin = columns.temperature_kelvin
    bv, at_s, values = columns.bed_volumes_bv, columns.at_s, columns.conductivity_siemens_per_m
    return bool(
        ((bv >= 0.0) & (bv <= _MOST_BV) & (at_s >= 0.0) & (at_s <= _MOST_S)).all()
        and ((values > 0.0) & (values <= _MOST_SIEMENS_PER_M)).all()
        and (np.isnan(kelvin) | ((kelvin >= _COLDEST_KELVIN) & (kelvin <= _HOTTEST_KELVIN))).all()
        and (np.diff(bv) >= 0.0).all()
        and (np.diff(at_s) >= 0.0).all()
    )


def _refuse_first(readings: tuple[ReadingSoFar, ...]) -> None:
    """Raise for the first reading that cannot be, or lies before the one above it."""
    before_bv, before_s = 0.0, 0.0
    for number, reading in enumerate(readings, start=1):
        if not _is_possible(reading):
            _refuse(reading, number)
        if reading.bed_volumes_bv < before_bv or reading.at_s < before_s:
            raise OutOfRange(
                f"Reading {number} lies before the one above it ({reading.bed_volumes_bv:g} after {before_bv:g} BV, "
                f"{reading.at_s / 60:g} after {before_s / 60:g} min); put them in the order of time.",
                code="not_in_order",
            )
        before_bv, before_s = reading.bed_volumes_bv, reading.at_s


def _is_possible(reading: ReadingSoFar) -> bool:
    """The quick look; a log may hold a hundred thousand readings."""
    kelvin = reading.temperature_kelvin
    return (
        0.0 <= reading.bed_volumes_bv <= _MOST_BV
        and 0.0 <= reading.at_s <= _MOST_S
        and 0.0 < reading.conductivity_siemens_per_m <= _MOST_SIEMENS_PER_M
        and (kelvin is None or _COLDEST_KELVIN <= kelvin <= _HOTTEST_KELVIN)
    )


def _refuse(reading: ReadingSoFar, number: int) -> None:
    """Raise with the word for what is wrong with a reading that is not possible."""
    require_within(reading.bed_volumes_bv, 0.0, _MOST_BV, f"reading {number}, bed volumes passed")
    require_within(reading.at_s, 0.0, _MOST_S, f"reading {number}, time", "s")
    require_positive(reading.conductivity_siemens_per_m, f"reading {number}, conductivity", "S/m")
    require_within(
        reading.conductivity_siemens_per_m, 0.0, _MOST_SIEMENS_PER_M, f"reading {number}, conductivity", "S/m"
    )
    if reading.temperature_kelvin is not None:
        require_within(
            reading.temperature_kelvin,
            _COLDEST_KELVIN,
            _HOTTEST_KELVIN,
            f"reading {number}, temperature",
            "K",
        )


def _check_history(history: tuple[PastRinse, ...]) -> None:
    for number, past in enumerate(history, start=1):
        for value, name in ((past.endpoint_bv, "end point"), (past.decade_bv, "bed volumes per decade")):
            if value is not None:
                require_within(value, 1e-6, 10_000.0, f"earlier rinse {number}, {name}")


def _with_clipped(readings: tuple[ReadingSoFar, ...], limit_siemens_per_m: float) -> tuple[ReadingSoFar, ...]:
    """Readings at a usual end of range, and a run of equal ones that nothing exceeds, are "at least"; never at or below the limit."""
    highest = max(each.conductivity_siemens_per_m for each in readings)
    if highest <= limit_siemens_per_m:
        return readings
    same = [abs(each.conductivity_siemens_per_m / highest - 1.0) < _TOP_SHARE for each in readings]
    is_run = sum(same) >= 3 and same[0]
    is_top = any(abs(highest / top - 1.0) < _TOP_SHARE for top in METER_TOPS_SIEMENS_PER_M)
    if not (is_run or is_top):
        return readings
    return tuple(
        replace(each, is_clipped=True) if at_top and not each.is_clipped else each
        for each, at_top in zip(readings, same, strict=True)
    )
