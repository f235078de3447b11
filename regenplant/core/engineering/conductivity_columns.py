"""Compensation of whole columns of readings: the same equations as ``conductivity.at_25_celsius``, a hundred thousand at once."""

from __future__ import annotations

from typing import Any

from regenplant.core.engineering import water
from regenplant.core.engineering.conductivity import (
    Compensation,
    _conductivity_of_trace,
    _least,
    _lowest_trace,
    _own_conductance,
)
from regenplant.core.engineering.libraries import array_library
from regenplant.core.engineering.pure_water import water_parts

SAME_TEMPERATURE_KELVIN = 0.001
"""Where a log holds very many temperatures they are taken to the next millikelvin, which moves a conductivity by 0.003 % at most."""
_MANY = 3000


def at_25_celsius_of(conductivity_siemens_per_m: Any, temperature_kelvin: Any, kind: Compensation) -> Any:
    """Conductivities brought from their own temperatures to 25 °C, by the kind of water.

    Parameters
    ----------
    conductivity_siemens_per_m : array
        Readings, not compensated [S/m]
    temperature_kelvin : array
        Temperature of the water in the cell at each [K]
    kind : Compensation
        NEUTRAL, ACID or BASE: what the trace is

    Returns
    -------
    conductivity : array
        Conductivity at 25 °C [S/m]; NaN for a reading not above zero or a temperature outside 0 to 100 °C

    Raises: nothing; what cannot be is NaN.
    Source: mccleskey, as ``conductivity.at_25_celsius``.
    """
    np = array_library()
    seen = np.asarray(conductivity_siemens_per_m, dtype=float)
    kelvin = np.asarray(temperature_kelvin, dtype=float)
    found = np.full(seen.shape, np.nan)
    can_be = (
        (seen > 0.0)
        & np.isfinite(seen)
        & (kelvin >= water.FREEZING_KELVIN)
        & (kelvin <= water.BOILING_KELVIN)
    )
    if not can_be.any():
        return found
    found[can_be] = _brought(np, seen[can_be], kelvin[can_be], kind)
    return found


def _brought(np: Any, seen: Any, kelvin: Any, kind: Compensation) -> Any:
    levels, which = np.unique(kelvin, return_inverse=True)
    if len(levels) > _MANY:
        rounded = np.clip(np.round(kelvin / SAME_TEMPERATURE_KELVIN) * SAME_TEMPERATURE_KELVIN, water.FREEZING_KELVIN, water.BOILING_KELVIN)  # fmt: skip
        levels, which = np.unique(rounded, return_inverse=True)
    rows = np.array([_of_temperature(kind, float(level)) for level in levels])
    product, conductance, rho, own, lowest, least = (rows[which, column] for column in range(6))
    reference = water.REFERENCE_KELVIN
    if kind is Compensation.NEUTRAL:
        trace = np.maximum((seen - conductance * np.sqrt(product)) / own, 0.0)
    else:
        inside = seen * seen - 4.0 * own * (conductance - own) * product
        major = (seen + np.sqrt(np.maximum(inside, 0.0))) / (2.0 * own)
        trace = np.maximum(major - product / major, lowest)
    moved = trace * water_parts(reference)[2] / rho
    value = _of_traces(np, moved, kind, reference)
    return np.where(seen < least, seen / least * _least(kind, reference), value)


def _of_temperature(kind: Compensation, kelvin: float) -> tuple[float, float, float, float, float, float]:
    """(ion product, conductance of water's ions, density, own conductance, lowest trace, conductivity there)."""
    lowest = _lowest_trace(kind, kelvin)
    least = _conductivity_of_trace(lowest, kind, kelvin)
    return (*water_parts(kelvin), _own_conductance(kind, kelvin), lowest, least)


def _of_traces(np: Any, traces: Any, kind: Compensation, kelvin: float) -> Any:
    product, conductance, _ = water_parts(kelvin)
    own = _own_conductance(kind, kelvin)
    if kind is Compensation.NEUTRAL:
        return traces * own + conductance * np.sqrt(product)
    major = traces / 2.0 + np.sqrt(traces * traces / 4.0 + product)
    return traces * own + conductance * product / major
