"""Readings made ready for weighing: logarithms over the limit, thinned, with the clipped ones marked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.forecasting.rinse_so_far import RinseSoFar

MOST_POINTS = 36
_RECENT = 4.0
"""Weight falls by e for so many units of ln(volume) back from the last reading, the other way round."""
_WORTH = 3.0
"""So many independent readings any number of them is worth at most."""


@dataclass(frozen=True, slots=True)
class Track:
    """Arrays, one entry for each point kept, in the order of time."""

    bv: Any
    logarithms: Any
    """ln(conductivity / limit)."""
    clipped: Any
    weights: Any
    last_bv: float
    last_logarithm: float
    """Of the last readings together: the median of up to three, each moved to the last by the slope between them."""
    water_logarithm: float
    """ln(rinse water / limit)."""


@dataclass(frozen=True, slots=True)
class Raw:
    """All readings as arrays: bed volumes, minutes, ln(conductivity / limit), degrees Celsius, clipped or not."""

    bv: Any
    minutes: Any
    logarithms: Any
    temperature: Any
    clipped: Any


def raw(rinse: RinseSoFar) -> Raw:
    np = array_library()
    readings = rinse.readings
    limit = rinse.limit_siemens_per_m
    known = [each.temperature_kelvin for each in readings if each.temperature_kelvin is not None]
    usual = sum(known) / len(known) if known else 288.15
    return Raw(
        np.array([each.bed_volumes_bv for each in readings], dtype=float),
        np.array([each.at_s / 60.0 for each in readings], dtype=float),
        np.log(np.array([each.conductivity_siemens_per_m / limit for each in readings], dtype=float)),
        np.array([(each.temperature_kelvin or usual) - 273.15 for each in readings], dtype=float),
        np.array([each.is_clipped for each in readings], dtype=bool),
    )


def track(rinse: RinseSoFar, every: Raw) -> Track:
    """The readings thinned to at most ``MOST_POINTS`` by medians over stretches of volume, late ones weighed more."""
    np = array_library()
    last_bv = max(float(every.bv[-1]), 0.02)
    bv, logarithms, clipped = every.bv, every.logarithms, every.clipped
    if len(bv) > MOST_POINTS:
        bv, logarithms, clipped = _thinned(np, every)
    recent = np.exp(np.log(np.maximum(bv, 0.02) / last_bv) * _RECENT)
    worth = min(_WORTH, float(len(every.bv)) ** 0.75)
    water = max(rinse.rinse_water_siemens_per_m / rinse.limit_siemens_per_m, 1e-4)
    return Track(
        bv, logarithms, clipped, recent / recent.sum() * worth, last_bv, _last(np, every), math.log(min(water, 1e4))
    )  # fmt: skip


def _thinned(np: Any, every: Raw) -> tuple[Any, Any, Any]:
    parts = np.array_split(np.arange(len(every.bv)), MOST_POINTS)
    bv = np.array([every.bv[part].mean() for part in parts])
    logarithms = np.array([float(np.median(every.logarithms[part])) for part in parts])
    clipped = np.array([bool(every.clipped[part].mean() > 0.5) for part in parts])
    return bv, logarithms, clipped


def _last(np: Any, every: Raw) -> float:
    if len(every.bv) < 4:
        return float(every.logarithms[-1])
    bv, logarithms = every.bv[-4:], every.logarithms[-4:]
    span = bv[-1] - bv[0]
    slope = (logarithms[-1] - logarithms[0]) / span if span > 1e-6 else 0.0
    return float(np.median(logarithms[-3:] + slope * (bv[-1] - bv[-3:])))
