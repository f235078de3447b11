"""Refusing numbers that cannot be: one sentence form for the whole of the engineering floor."""

from __future__ import annotations

import math

from regenplant.core.errors import OutOfRange


def require_positive(value: float, name: str, unit: str = "") -> float:
    """The value itself, if it is a number above zero.

    Raises: OutOfRange with the number seen.
    """
    if not (math.isfinite(value) and value > 0):
        raise OutOfRange(
            f"The {name} is {value:g}{_spaced(unit)}; it must be above zero.",
            code="not_positive",
            seen=value,
            allowed_low=0.0,
        )
    return value


def require_within(value: float, low: float, high: float, name: str, unit: str = "", why: str = "") -> float:
    """The value itself, if it lies from ``low`` to ``high``.

    Raises: OutOfRange with the number seen, the numbers allowed and ``why`` as the last sentence.
    """
    if not (math.isfinite(value) and low <= value <= high):
        reason = f" {why}" if why else ""
        raise OutOfRange(
            f"The {name} is {value:g}{_spaced(unit)}; possible here is {low:g} to {high:g}{_spaced(unit)}.{reason}",
            code="out_of_range",
            seen=value,
            allowed_low=low,
            allowed_high=high,
        )
    return value


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""
