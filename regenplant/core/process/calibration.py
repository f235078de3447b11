"""Calibration of an instrument: points against their tolerance, the error found, and what it would do to a value.

A point compares a reference with what the instrument showed before anything was set (as found) and after (as left). Where
nothing was set, as left is as found. An error that grows with the reading (a cell constant, a flow factor, a balance) is a
factor; an error of a scale with no natural zero (pH, temperature) is a difference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.errors import OutOfRange

MOST_TOLERANCE_FRAC = 0.5
"""A bound against slips: an instrument that may be wrong by half measures nothing."""
_ROUNDING = 1e-9
"""Share of the tolerance that the arithmetic of a unit conversion may cost."""


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a calibration, all in the same SI unit.

    ``tolerance`` is a share of the reference where ``is_relative``, else a difference in the unit of the reference.
    """

    reference: float
    as_found: float | None
    as_left: float | None
    tolerance: float
    is_relative: bool = True

    def __post_init__(self) -> None:
        if not self.tolerance > 0.0 or (self.is_relative and self.tolerance > MOST_TOLERANCE_FRAC):
            raise OutOfRange(
                f"The tolerance of a point is above 0, and at most {MOST_TOLERANCE_FRAC:.0%} of its reference where it is a share; "
                f"{self.tolerance:g} was written.",
                field="tolerance",
            )
        if self.is_relative and not self.reference > 0.0:
            raise OutOfRange(
                "The reference of a point is above 0, as its error is a share of it.", field="reference"
            )
        shown = [value for value in (self.as_found, self.as_left) if value is not None]
        if not shown:
            raise OutOfRange("A point says what was found, or what was left, or both.", field="as_found")
        if self.is_relative and min(shown) <= 0.0:
            raise OutOfRange("What the instrument showed at a point is above 0.", field="as_found")

    @property
    def left(self) -> float:
        """As left; as found where nothing was set."""
        return float(self.as_left if self.as_left is not None else self.as_found or 0.0)

    def error_of(self, shown: float) -> float:
        """By how much ``shown`` is off: a share of the reference, or a difference [-, or the unit of the reference]."""
        off = shown - self.reference
        return off / self.reference if self.is_relative else off

    def is_within(self, shown: float) -> bool:
        """Whether ``shown`` is within the tolerance; on its edge is within."""
        return abs(self.error_of(shown)) <= self.tolerance * (1.0 + _ROUNDING)


def found_within(points: Sequence[Point]) -> bool | None:
    """Whether every point was found within its tolerance; None where no as-found is on record."""
    known = [point for point in points if point.as_found is not None]
    return all(point.is_within(float(point.as_found or 0.0)) for point in known) if known else None


def left_within(points: Sequence[Point]) -> bool | None:
    """Whether every point was left within its tolerance; None without points."""
    return all(point.is_within(point.left) for point in points) if points else None


def corrected(value: float, points: Sequence[Point]) -> float | None:
    """What ``value`` would have been, had the instrument not had the error found.

    The error of the nearest point counts: nearest by ratio where errors are shares, else by difference. It is not known since
    when the error was there, so this is the worst that a reading of the whole time can have been off by this error.

    Returns: the corrected value, in the unit of ``value``; None where no point has an as-found.
    """
    known = [(point, float(point.as_found)) for point in points if point.as_found is not None]
    if not known:
        return None

    def distance(pair: tuple[Point, float]) -> float:
        point, shown = pair
        if point.is_relative and value > 0.0:
            return abs(math.log(value / shown))
        return abs(value - shown)

    point, shown = min(known, key=distance)
    return value * point.reference / shown if point.is_relative else value - (shown - point.reference)


def margin_frac(value: float, low: float | None, high: float | None) -> float | None:
    """How far ``value`` keeps from the nearer of its limits, as a share of that limit; negative beyond it.

    A limit of zero has no share: there the value itself counts. None where there is no limit.
    """
    found = []
    if high is not None:
        found.append((high - value) / abs(high) if high else -value)
    if low is not None:
        found.append((value - low) / abs(low) if low else value)
    return min(found, default=None)
