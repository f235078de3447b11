"""Refusing numbers that cannot be: one sentence form for the whole of the engineering floor."""

from __future__ import annotations

import math

from regenplant.core.errors import OutOfRange

_SHOWN = {
    "S/m": ("µS/cm", 1e4), "mol/m³": ("mmol/L", 1.0), "eq/m³": ("meq/L", 1.0), "m/s": ("m/h", 3600.0), "kg/kg": ("g/kg", 1e3),
}  # fmt: skip
_IN_PERCENT = ("strength", "share", "fraction", "expansion", "uncertainty")


def _as_people_write(name: str, unit: str) -> tuple[str, float, float]:
    """(unit, factor, offset) in which a refusal speaks of a number held in SI."""
    if unit == "K" and name.startswith("temperature"):
        return "°C", 1.0, -273.15
    if unit == "kg/m³" and ("dose" in name or "concentration" in name):
        return "g/L", 1.0, 0.0
    if unit == "" and any(word in name for word in _IN_PERCENT):
        return "%", 100.0, 0.0
    shown, factor = _SHOWN.get(unit, (unit, 1.0))
    return shown, factor, 0.0


def require_positive(value: float, name: str, unit: str = "") -> float:
    """The value itself, if it is a number above zero.

    Raises: OutOfRange with the number seen.
    """
    if not (math.isfinite(value) and value > 0):
        shown, factor, _ = _as_people_write(name, unit)
        raise OutOfRange(
            f"The {name} is {value * factor:.6g}{_spaced(shown)}; it must be above zero.",
            code="not_positive",
            seen=value * factor,
            allowed_low=0.0,
            unit=shown or "-",
        )
    return value


def require_within(value: float, low: float, high: float, name: str, unit: str = "", why: str = "") -> float:
    """The value itself, if it lies from ``low`` to ``high``.

    Raises: OutOfRange with the number seen, the numbers allowed and ``why`` as the last sentence.
    """
    slack = 1e-12  # the last digit of a float is no reason to refuse a number that stands at the edge
    if not (math.isfinite(value) and low - slack * abs(low) <= value <= high + slack * abs(high)):
        reason = f" {why}" if why else ""
        shown, factor, offset = _as_people_write(name, unit)
        seen, least, most = (number * factor + offset for number in (value, low, high))
        raise OutOfRange(
            f"The {name} is {seen:.6g}{_spaced(shown)}; possible here is {least:.6g} to {most:.6g}{_spaced(shown)}.{reason}",
            code="out_of_range",
            seen=seen,
            allowed_low=least,
            allowed_high=most,
            unit=shown or "-",
        )
    return value


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""
