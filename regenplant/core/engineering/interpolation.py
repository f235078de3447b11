"""Smooth interpolation in small tables: one curve without corners, exact at the rows."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence


def _slope(xs: Sequence[float], ys: Sequence[float], index: int) -> float:
    """Slope at a row: the parabola through it and its neighbours; one-sided at the ends."""
    last = len(xs) - 1
    if index == 0:
        return (ys[1] - ys[0]) / (xs[1] - xs[0])
    if index == last:
        return (ys[last] - ys[last - 1]) / (xs[last] - xs[last - 1])
    width_left, width_right = xs[index] - xs[index - 1], xs[index + 1] - xs[index]
    slope_left = (ys[index] - ys[index - 1]) / width_left
    slope_right = (ys[index + 1] - ys[index]) / width_right
    return (slope_left * width_right + slope_right * width_left) / (width_left + width_right)


def smooth(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Cubic Hermite interpolation with finite-difference slopes.

    ``xs`` rise; ``x`` lies within them (the caller checks its own range and says so in its own words).
    """
    index = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    width = xs[index + 1] - xs[index]
    s = (x - xs[index]) / width
    rise = s * s * (3.0 - 2.0 * s)
    return (
        (1.0 - rise) * ys[index]
        + rise * ys[index + 1]
        + s * (1.0 - s) ** 2 * width * _slope(xs, ys, index)
        + s * s * (s - 1.0) * width * _slope(xs, ys, index + 1)
    )


def linear(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Straight lines between rows; the end lines go on outside (the caller decides whether that is allowed)."""
    index = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    share = (x - xs[index]) / (xs[index + 1] - xs[index])
    return ys[index] + share * (ys[index + 1] - ys[index])


def smooth_step(x: float, start: float, end: float) -> float:
    """0 up to ``start``, 1 from ``end`` on, and a rise without corners between."""
    s = min(max((x - start) / (end - start), 0.0), 1.0)
    return s * s * (3.0 - 2.0 * s)


def root(function: Callable[[float], float], low: float, high: float, tolerance: float = 1e-12) -> float:
    """Where a continuous function crosses zero between ``low`` and ``high``, by halving.

    The caller makes sure that the ends have opposite signs; halving cannot leave the interval.
    """
    sign_low = function(low) > 0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if high - low <= tolerance * max(abs(middle), 1e-300):
            break
        if (function(middle) > 0) == sign_low:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
