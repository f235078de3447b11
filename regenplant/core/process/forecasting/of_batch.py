"""From what a batch holds to its forecast and diagnosis. This is the door for the program; the rest of the room is behind it.

    columns = ReadingColumns(at_s, rinsed_bv, conductivity_25_siemens_per_m, temperature_kelvin)   # or columns_of_readings(...)
    said = forecast_of_batch(
        columns,
        SetPoints(family, bed_volume_m3, flow_m3_per_s, limit_siemens_per_m, rinse_water_siemens_per_m),
        history=[(8.8, 3.9), (9.1, None), (None, None)],      # earlier rinses of the pool, oldest first: end point, BV per decade
        chemistry=Chemistry(ph=9.4),                          # what else was measured, or None
        began_s=rinse_began, now_s=now,                       # from the same zero as at_s, or None
    )
    said.p50.bed_volumes_bv, said.p50.minutes_from_now, said.p50.water_litres, said.p_never
    said.enough_data, said.reason, said.causes[0].next_test, said.as_json()

It never raises a DomainError: what stands in the way of a forecast is said in ``reason``, so that keeping a reading never fails on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.errors import DomainError, OutOfRange
from regenplant.core.process.forecasting import history as pools
from regenplant.core.process.forecasting import network
from regenplant.core.process.forecasting.batch_forecast import BatchForecast, BatchPoint
from regenplant.core.process.forecasting.diagnosis import diagnose
from regenplant.core.process.forecasting.forecast import ForecastPoint, forecast
from regenplant.core.process.forecasting.rinse_so_far import (
    PastRinse,
    ReadingSoFar,
    RinsedBed,
    RinseSoFar,
    checked,
    readings_from,
)
from regenplant.core.process.forecasting.signs import Chemistry
from regenplant.core.process.forecasting.thinning import Columns, in_order, thinned
from regenplant.core.process.specification import RinseReading
from regenplant.core.process.vocabulary import ResinFamily

__all__ = [
    "BatchForecast", "BatchPoint", "Chemistry", "ReadingColumns", "SetPoints", "bed_of", "columns_of_readings", "forecast_of_batch",
    "readings_of",
]  # fmt: skip

_BEDS = {
    ResinFamily.SAC_HYDROGEN: RinsedBed.CATION_AFTER_ACID,
    ResinFamily.WAC_HYDROGEN: RinsedBed.CATION_AFTER_ACID,
    ResinFamily.SAC_SODIUM: RinsedBed.SOFTENER_AFTER_BRINE,
    ResinFamily.SBA_TYPE_1: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.SBA_TYPE_2: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.SBA_ACRYLIC: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.WBA: RinsedBed.ANION_AFTER_CAUSTIC,
    ResinFamily.MIXED_BED: RinsedBed.MIXED_BED,
    ResinFamily.MIXED_BED_POLISHING: RinsedBed.MIXED_BED,
}
_STREAMS = {
    RinsedBed.CATION_AFTER_ACID: Compensation.ACID,
    RinsedBed.ANION_AFTER_CAUSTIC: Compensation.BASE,
    RinsedBed.MIXED_BED: Compensation.NEUTRAL,
    RinsedBed.SOFTENER_AFTER_BRINE: Compensation.NEUTRAL,
}
_LEAST_SIEMENS_PER_M = 0.95 * 5.5e-6
"""Pure water at 25 °C less a meter's usual uncertainty: what reads less is no water [S/m]."""
_MOST_SIEMENS_PER_M = 1000.0
_MOST_BV = 10_000.0
_NEWEST_HISTORY = 10
"""So many earlier rinses the proof of the forecast knows; older ones say less of the pool as it is."""
_WATER_OVER_LIMIT = {
    RinsedBed.CATION_AFTER_ACID: 0.1,
    RinsedBed.ANION_AFTER_CAUSTIC: 0.1,
    RinsedBed.MIXED_BED: 1.5,
    RinsedBed.SOFTENER_AFTER_BRINE: 0.7,
}
"""Rinse water over limit where nobody noted the water: common practice, and said so in the forecast's notes [-]."""


@dataclass(frozen=True, slots=True)
class SetPoints:
    """What the rinse runs by. ``rinse_water_siemens_per_m`` at 25 °C, None where it was not noted; the limit at 25 °C too [S/m]."""

    family: ResinFamily
    bed_volume_m3: float
    flow_m3_per_s: float
    """Set for the fast rinse [m^3/s]."""
    limit_siemens_per_m: float
    rinse_water_siemens_per_m: float | None = None


@dataclass(frozen=True, slots=True)
class ReadingColumns:
    """Readings that stand, one entry each, as lists or arrays of equal length; order does not matter, nor does their number.

    ``at_s`` from any one zero, for example the epoch [s]; ``rinsed_bv`` since the judged rinse began [-];
    ``conductivity_25_siemens_per_m`` at 25 °C by the kind of water [S/m]; ``temperature_kelvin`` None or NaN where not taken [K].
    """

    at_s: Any
    rinsed_bv: Any
    conductivity_25_siemens_per_m: Any
    temperature_kelvin: Any = None


def forecast_of_batch(
    readings: ReadingColumns,
    set_points: SetPoints,
    history: Sequence[tuple[float | None, float | None]] = (),
    chemistry: Chemistry | None = None,
    *,
    began_s: float | None = None,
    now_s: float | None = None,
) -> BatchForecast:
    """Forecast and diagnosis of a batch's judged rinse.

    Parameters
    ----------
    readings : ReadingColumns
        All readings that stand; what cannot be is left out and counted, a long log is made short
    set_points : SetPoints
        Resin family, bed, flow, limit and rinse water
    history : Sequence[tuple[float | None, float | None]]
        Earlier rinses of the same pooling key, oldest first: (end point, volume of the last tenfold fall) [-]; an end point of None is
        a rinse that was given up. The newest ten count
    chemistry : Chemistry | None
        What else was measured of the water that leaves
    began_s : float | None
        When the judged rinse began, from the zero of ``at_s`` [s]; without it worked back from the first reading by the flow set
    now_s : float | None
        The moment "from now" counts from, from the same zero [s]; without it the last reading

    Returns
    -------
    forecast : BatchForecast
        With ``enough_data`` False and a reason where nothing can be said

    Range and source: as ``forecast.forecast``; raises no DomainError.
    """
    bed = bed_of(set_points.family)
    if bed is None:
        return _silent("not_forecast", f"No rinse-down is forecast for {set_points.family.label}.")
    columns, left_out = _standing(readings)
    if len(columns.at_s) == 0:
        return _silent("no_readings", _nothing_yet(bed, history, left_out), left_out=left_out)
    last_s = float(columns.at_s[-1])
    notes = _left_out_note(left_out)
    water = set_points.rinse_water_siemens_per_m
    if water is None:
        water = _WATER_OVER_LIMIT[bed] * set_points.limit_siemens_per_m
        notes += (
            f"The rinse water was not noted; {water * 1e4:.3g} µS/cm is assumed. Measure it at the vessel's inlet.",
        )
    try:
        rinse = checked(
            RinseSoFar(
                bed,
                set_points.bed_volume_m3,
                set_points.flow_m3_per_s,
                water,
                set_points.limit_siemens_per_m,
                readings_from(_from_the_start(columns, set_points, began_s)),
                _usable_history(history),
            )
        )
        said = forecast(rinse)
    except OutOfRange as refusal:
        return _silent("set_points", refusal.message, columns=columns, left_out=left_out, notes=notes)
    try:
        found = diagnose(rinse, chemistry, said.never_frac)
        causes, diagnosis = found.suggestions, found.sentence
    except DomainError as refusal:
        causes, diagnosis = (), f"No diagnosis: {refusal.message}"
    waited_min = 0.0 if now_s is None else max(now_s - last_s, 0.0) / 60.0
    return BatchForecast(
        p05=_point(said.early, waited_min),
        p50=_point(said.middle, waited_min),
        p95=_point(said.late, waited_min),
        p_never=said.never_frac,
        enough_data=said.has_enough,
        reason="" if said.has_enough else said.sentence,
        reason_code="" if said.has_enough else "band_too_wide",
        sentence=said.sentence,
        is_below_limit=said.is_below_limit,
        rinsed_bv=float(columns.bed_volumes_bv[-1]),
        at_s=last_s,
        taken=len(columns.at_s),
        left_out=left_out,
        notes=notes,
        causes=causes,
        diagnosis=diagnosis,
        model=network.version(),
    )


def bed_of(family: ResinFamily) -> RinsedBed | None:
    """What is rinsed when this family is regenerated; None where no rinse-down is forecast (carbon).

    The proof of the forecast covers strong-acid cation, strong-base anion, mixed beds and softeners; weak resins are taken as the
    strong one of their sign, which is less sure.
    """
    return _BEDS.get(family)


def columns_of_readings(readings: Sequence[RinseReading], family: ResinFamily) -> ReadingColumns:
    """Columns of readings as the judgement takes them, brought to 25 °C by the kind of water; see ``readings_of`` for what is left out."""
    bed = bed_of(family)
    first_s = min((each.at_s for each in readings), default=0.0)
    found = () if bed is None else readings_of(readings, bed)
    return ReadingColumns(
        [first_s + each.at_s for each in found],
        [each.bed_volumes_bv for each in found],
        [each.conductivity_siemens_per_m for each in found],
        [each.temperature_kelvin for each in found],
    )


def readings_of(readings: Sequence[RinseReading], bed: RinsedBed) -> tuple[ReadingSoFar, ...]:
    """Readings that stand, in the order of time, brought to 25 °C by the kind of water at this stage.

    Time counts from the first one where it was taken from another zero. A reading that cannot be brought to 25 °C (better than water can
    be, or at an impossible temperature) asks for a look at the instrument and is left out here, as it is in the judgement.
    """
    ordered = sorted(readings, key=lambda reading: (reading.at_s, reading.volume_bv))
    found: list[ReadingSoFar] = []
    for reading in ordered:
        try:
            value = reading.at_25_celsius(_STREAMS[bed])
        except OutOfRange:
            continue
        if value < _LEAST_SIEMENS_PER_M:
            continue
        found.append(
            ReadingSoFar(reading.volume_bv, reading.at_s - ordered[0].at_s, value, reading.temperature_kelvin)
        )
    return tuple(found)


def _standing(readings: ReadingColumns) -> tuple[Columns, int]:
    """The readings that can be, in order of time with a volume that never falls; and how many were left out."""
    np = array_library()
    at_s = np.asarray(readings.at_s, dtype=float)
    bv = np.asarray(readings.rinsed_bv, dtype=float)
    value = np.asarray(readings.conductivity_25_siemens_per_m, dtype=float)
    given = readings.temperature_kelvin
    kelvin = np.full(len(at_s), np.nan) if given is None else np.asarray(given, dtype=float)
    kelvin = np.where((kelvin >= 250.0) & (kelvin <= 423.0), kelvin, np.nan)
    every = Columns(bv, at_s, value, kelvin, np.zeros(len(at_s), dtype=bool))
    is_possible = np.isfinite(at_s) & (bv >= 0.0) & (bv <= _MOST_BV)
    is_possible &= (value >= _LEAST_SIEMENS_PER_M) & (value <= _MOST_SIEMENS_PER_M)
    kept, backwards = in_order(every.where(is_possible))
    return kept, int((~is_possible).sum()) + backwards


def _from_the_start(columns: Columns, set_points: SetPoints, began_s: float | None) -> Columns:
    """Times from the beginning of the rinse; a long log made short."""
    short = thinned(columns)
    first_s = float(short.at_s[0])
    if began_s is None or not began_s <= first_s:
        flow = set_points.flow_m3_per_s
        passed_m3 = float(short.bed_volumes_bv[0]) * set_points.bed_volume_m3
        began_s = first_s - (passed_m3 / flow if flow > 0.0 else 0.0)
    return Columns(
        short.bed_volumes_bv,
        short.at_s - began_s,
        short.conductivity_siemens_per_m,
        short.temperature_kelvin,
        short.is_clipped,
    )


def _usable_history(history: Sequence[tuple[float | None, float | None]]) -> tuple[PastRinse, ...]:
    """The newest earlier rinses; one with an end point that is no volume says nothing and is left out."""

    def is_volume(value: float | None) -> bool:
        return value is not None and math.isfinite(value) and 1e-6 <= value <= _MOST_BV

    usable = [
        PastRinse(end, decade if is_volume(decade) else None)
        for end, decade in history
        if end is None or is_volume(end)
    ]
    return tuple(usable[-_NEWEST_HISTORY:])


def _nothing_yet(bed: RinsedBed, history: Sequence[tuple[float | None, float | None]], left_out: int) -> str:
    usable = _usable_history(history)
    ends = sum(past.endpoint_bv is not None for past in usable)
    first = "No reading stands yet" if not left_out else f"None of {left_out} readings can be right"
    usual = math.exp(pools.of_pool(bed, usable).centre)
    if not ends:
        return f"{first}, and nothing is known of this pool. Take a reading."
    return f"{first}. This pool usually ends at about {usual:.2g} BV ({ends} earlier rinses). Take a reading."


def _left_out_note(left_out: int) -> tuple[str, ...]:
    if not left_out:
        return ()
    return (
        f"{left_out} readings cannot be right (not above zero, better than water, or volume running backwards) and are left out. "
        "Look at the instrument.",
    )


def _point(point: ForecastPoint | None, waited_min: float) -> BatchPoint | None:
    if point is None:
        return None
    left_min = point.left_s / 60.0
    return BatchPoint(
        point.bed_volumes_bv,
        point.water_m3 * 1e3,
        point.left_bv,
        point.left_m3 * 1e3,
        left_min,
        max(left_min - waited_min, 0.0),
    )


def _silent(
    code: str, reason: str, *, columns: Columns | None = None, left_out: int = 0, notes: tuple[str, ...] = ()
) -> BatchForecast:
    """Nothing can be said, and why."""
    is_known = columns is not None and len(columns.at_s) > 0
    return BatchForecast(
        p05=None,
        p50=None,
        p95=None,
        p_never=None,
        enough_data=False,
        reason=reason,
        reason_code=code,
        sentence=reason,
        is_below_limit=False,
        rinsed_bv=float(columns.bed_volumes_bv[-1]) if columns is not None and is_known else None,
        at_s=float(columns.at_s[-1]) if columns is not None and is_known else None,
        taken=len(columns.at_s) if columns is not None else 0,
        left_out=left_out,
        notes=notes,
        causes=(),
        diagnosis="",
        model=network.version(),
    )
