"""Forecast of a rinse from its readings: where the tail leads, with a band, and how likely it never gets there.

The floor of a tail is not known before the tail bends, so a plain least-squares fit gives bands that are nonsense. Here the
three unknowns (start, slope, floor) are weighed on a grid, with the noise of the readings marginalised, and what follows
for the end point is read off as 5, 50 and 95 %. The floor may lie anywhere, by its logarithm, from that of pure water to
the last reading.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.libraries import array_library
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange

LOWEST_FLOOR_SIEMENS_PER_M = 5.5e-6
"""0.055 µS/cm: pure water at 25 °C; a tail cannot end below it [S/m]."""
LEAST_READINGS = 4
MOST_READINGS = 500
_METER_DECADES = 0.004
"""Resolution of a meter in log10: readings are never taken as better than 1 %."""
_COARSE, _FINE = (24, 30, 22), (24, 34, 60)
"""Grid points for level, slope and floor, before and after the grid is narrowed to where the weight is."""
_LEAST_WEIGHT = 1e-7
"""Of the heaviest grid point; lighter ones together move no bound by a visible digit."""
_FAR_DECADES = 1.0
_LN10 = math.log(10.0)


@dataclass(frozen=True, slots=True)
class RinseForecast:
    """``bed_volumes`` is the median (infinite when "never" is more likely), ``early`` and ``late`` the 5 and 95 % bounds."""

    slope: Estimate
    bed_volumes: Estimate
    early: Estimate
    late: Estimate
    never_frac: Estimate
    sentence: str


@dataclass(frozen=True, slots=True)
class _Axes:
    """``level`` is the salt's part of the conductivity at the ``pivot``, in the midst of the readings: there it hardly
    hangs together with the slope, so that few grid points do."""

    pivot: float
    level: Any
    slope: Any
    floor: Any


def forecast(
    bed_volumes: Sequence[float],
    conductivities_siemens_per_m: Sequence[float],
    endpoint_siemens_per_m: float,
    lowest_floor_siemens_per_m: float = LOWEST_FLOOR_SIEMENS_PER_M,
) -> RinseForecast:
    """Bed volumes at which a rinse reaches its end point, from the readings so far.

    Parameters
    ----------
    bed_volumes : Sequence[float]
        Water passed at each reading, rising, 4 to 500 of them [-]
    conductivities_siemens_per_m : Sequence[float]
        Conductivity at 25 °C at each reading, > 0 [S/m]
    endpoint_siemens_per_m : float
        Conductivity to reach, > 0 [S/m]
    lowest_floor_siemens_per_m : float
        Least conductivity the tail may end at: pure water, or the rinse water if that is known [S/m]

    Returns
    -------
    forecast : RinseForecast
        Slope of the tail, bed volumes with their band, and the chance that the end point is never reached

    Raises: OutOfRange for too few readings, readings out of order or not above zero, or a tail that does not fall.
    Source: rinse_tail; the readings must lie in the tail, after displacement.
    """
    np = array_library()
    volumes, readings = _checked(bed_volumes, conductivities_siemens_per_m)
    require_positive(endpoint_siemens_per_m, "end point", "S/m")
    lowest = min(lowest_floor_siemens_per_m, min(readings) / 1.01)
    require_positive(lowest, "least floor of the tail", "S/m")
    b, y = np.array(volumes), np.log10(np.array(readings))
    axes = _first_axes(np, volumes, readings, lowest)
    weights = _weights(np, axes, b, y)
    axes = _narrowed(np, axes, weights, _FINE)
    weights = _weights(np, axes, b, y)
    return _read_off(np, axes, weights, volumes, readings, endpoint_siemens_per_m)


def _checked(volumes: Sequence[float], readings: Sequence[float]) -> tuple[list[float], list[float]]:
    if len(volumes) != len(readings):
        raise OutOfRange(
            f"{len(volumes)} bed volumes and {len(readings)} readings are given; each reading needs its own.",
            code="uneven",
        )
    require_within(len(readings), LEAST_READINGS, MOST_READINGS, "number of readings")
    for volume, reading in zip(volumes, readings, strict=True):
        require_within(volume, 0.0, 1000.0, "bed volumes passed")
        require_positive(reading, "reading", "S/m")
    if any(later <= before for before, later in pairwise(volumes)):
        raise OutOfRange("The bed volumes do not rise from reading to reading.", code="not_rising")
    if readings[-1] >= readings[0]:
        raise OutOfRange("The conductivity does not fall; there is no tail to follow.", code="no_fall")
    return list(volumes), list(readings)


def _first_axes(np: Any, volumes: list[float], readings: list[float], lowest: float) -> _Axes:
    span = volumes[-1] - volumes[0]
    fall = max(math.log10(readings[0] / readings[-1]), 0.02)
    mean = span / fall
    slope = np.linspace(math.log10(max(mean / 30.0, 0.02)), math.log10(mean * 3.0), _COARSE[1])
    middle = math.sqrt(readings[0] * readings[-1])
    nearest = min(range(len(readings)), key=lambda index: abs(math.log(readings[index] / middle)))
    level = np.linspace(math.log10(readings[nearest]) - 1.0, math.log10(readings[nearest]) + 0.5, _COARSE[0])
    floor = np.linspace(math.log10(lowest), math.log10(min(readings) * 0.9999), _COARSE[2])
    return _Axes(volumes[nearest], level, slope, floor)


def _weights(np: Any, axes: _Axes, b: Any, y: Any) -> Any:
    """Weight of each grid point: the sum of squares in log10, the unknown noise integrated out."""
    # single precision and natural logarithms: five times faster, and a millionth of a decade is no reading
    level = (10.0**axes.level).astype(np.float32)[:, None]
    floor = (10.0**axes.floor).astype(np.float32)
    decades = (axes.pivot - b)[:, None] / 10.0**axes.slope
    decay = (10.0 ** np.clip(decades, -30.0, 30.0)).astype(np.float32)
    squares = np.zeros((len(axes.level), len(axes.slope), len(axes.floor)), dtype=np.float32)
    for fall, reading in zip(decay, y, strict=True):
        apart = np.log((level * fall)[:, :, None] + floor)
        apart -= np.float32(reading * _LN10)
        apart *= apart
        squares += apart
    count = len(y)
    logarithm = -0.5 * count * np.log(squares.astype(np.float64) / _LN10**2 + count * _METER_DECADES**2)
    weights = np.exp(logarithm - logarithm.max())
    return weights / weights.sum()


def _narrowed(np: Any, axes: _Axes, weights: Any, counts: tuple[int, int, int]) -> _Axes:
    """Finer axes over where the weight is; the floor keeps its whole lower side where it is not told apart."""
    found = []
    for index, (axis, count) in enumerate(zip((axes.level, axes.slope, axes.floor), counts, strict=True)):
        marginal = weights.sum(axis=tuple(other for other in range(3) if other != index))
        kept = np.nonzero(marginal > 1e-6 * marginal.max())[0]
        low, high = max(kept[0] - 1, 0), min(kept[-1] + 1, len(axis) - 1)
        found.append(np.linspace(axis[low], axis[high], count))
    return _Axes(axes.pivot, *found)


def _read_off(
    np: Any, axes: _Axes, weights: Any, volumes: list[float], readings: list[float], endpoint: float
) -> RinseForecast:
    slopes = 10.0**axes.slope
    marginal = weights.sum(axis=(0, 2))
    slope = float((slopes * marginal).sum())
    spread = float(np.sqrt(max(float(((slopes - slope) ** 2 * marginal).sum()), 0.0)))
    floors = 10.0**axes.floor
    left = endpoint - floors
    reaches = left > 0.0
    safe = np.where(reaches, left, 1.0)
    ends = axes.pivot + slopes[None, :, None] * (axes.level[:, None, None] - np.log10(safe)[None, None, :])
    ends = np.where(reaches[None, None, :], np.maximum(ends, 0.0), np.inf)
    counted = weights > _LEAST_WEIGHT * weights.max()
    ends, kept = ends[counted], weights[counted]
    order = np.argsort(ends)
    sorted_ends, summed = ends[order], np.cumsum(kept[order]) / kept.sum()
    early, middle, late = (
        float(sorted_ends[min(int(np.searchsorted(summed, share)), len(summed) - 1)]) for share in (0.05, 0.5, 0.95)
    )  # fmt: skip
    never = float(weights.sum(axis=(0, 1))[~reaches].sum())
    return _answer(slope, spread, (early, middle, late), never, volumes, readings, endpoint)


def _answer(
    slope: float, spread: float, ends: tuple[float, float, float], never: float, volumes: list[float], readings: list[float], endpoint: float
) -> RinseForecast:  # fmt: skip
    inputs = (
        Input("n", "number of readings", float(len(readings)), "dimensionless", "count"),
        Input("B_1", "bed volumes at the first reading", volumes[0], "dimensionless", "bed_volumes"),
        Input("κ_1", "first reading", readings[0], "S/m", "conductivity"),
        Input("B_n", "bed volumes at the last reading", volumes[-1], "dimensionless", "bed_volumes"),
        Input("κ_n", "last reading", readings[-1], "S/m", "conductivity"),
    )
    warnings = []
    if math.log10(readings[-1] / endpoint) > _FAR_DECADES:
        warnings.append(
            "The last reading is more than a factor of ten above the end point: too early for a forecast to be relied on."
        )
    if never > 0.05:
        warnings.append(
            f"The tail may level out above the end point (chance {never:.0%}). Look at the rinse water, the valves, and for mixed-up resin."
        )
    said = tuple(warnings)
    formula = (
        "solve log10 κ = log10(κ_0 · 10^(−B / s) + κ_f) for κ_0, s, κ_f over all readings, weighed on a grid"
    )

    def figure(symbol: str, name: str, value: float, kind: str, frac: float | None = None) -> Estimate:
        with_end = (*inputs, Input("κ_e", "end point", endpoint, "S/m", "conductivity"))
        return Estimate(
            symbol, name, value, "dimensionless", kind, formula, inputs if symbol == "s" else with_end,
            "grid posterior of start, slope and floor, noise marginalised", "rinse_tail", "readings in the tail, after displacement",
            said, frac,
        )  # fmt: skip

    sentence = _sentence(ends, never)
    return RinseForecast(
        slope=figure(
            "s", "bed volumes per factor of ten, from the readings", slope, "bed_volumes", spread / slope
        ),
        bed_volumes=figure("B_e", "rinse to the end point, forecast", ends[1], "bed_volumes"),
        early=figure("B_05", "rinse to the end point, early bound (5 %)", ends[0], "bed_volumes"),
        late=figure("B_95", "rinse to the end point, late bound (95 %)", ends[2], "bed_volumes"),
        never_frac=figure("P_n", "chance that the end point is never reached", never, "fraction"),
        sentence=sentence,
    )


def _sentence(ends: tuple[float, float, float], never: float) -> str:
    early, middle, late = ends
    if not math.isfinite(early):
        return f"The tail levels out above the end point: it is never reached (chance {never:.0%})."
    if not math.isfinite(middle):
        return f"Most likely never reached (chance {never:.0%}); if it is, not before {early:.2f} BV."
    band = (
        f"9 in 10 between {early:.2f} and {late:.2f} BV"
        if math.isfinite(late)
        else f"not before {early:.2f} BV"
    )
    return f"End point at {middle:.2f} BV, {band}; never in {never:.0%}."
