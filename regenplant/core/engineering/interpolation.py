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


def _monotone_slopes(xs: Sequence[float], ys: Sequence[float]) -> list[float]:
    """Fritsch and Butland's harmonic slopes: zero where the data turn, never steep enough to overshoot."""
    steps = [xs[i + 1] - xs[i] for i in range(len(xs) - 1)]
    rises = [(ys[i + 1] - ys[i]) / steps[i] for i in range(len(steps))]
    inner = []
    for i in range(1, len(xs) - 1):
        before, after = rises[i - 1], rises[i]
        if before * after <= 0.0:
            inner.append(0.0)
            continue
        first, second = 2.0 * steps[i] + steps[i - 1], steps[i] + 2.0 * steps[i - 1]
        inner.append((first + second) / (first / before + second / after))
    return [rises[0], *inner, rises[-1]]


def monotone(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Monotone cubic interpolation, exact at the points.

    ``xs`` rise, at least two; ``x`` lies within them (the caller checks its range and says so in its own words).
    """
    slopes = _monotone_slopes(xs, ys)
    index = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    width = xs[index + 1] - xs[index]
    s = (x - xs[index]) / width
    rise = s * s * (3.0 - 2.0 * s)
    return (
        (1.0 - rise) * ys[index]
        + rise * ys[index + 1]
        + s * (1.0 - s) ** 2 * width * slopes[index]
        + s * s * (s - 1.0) * width * slopes[index + 1]
    )


def straight_root(
    function: Callable[[float], float], low: float, high: float, tolerance: float = 1e-11
) -> float:
    """Where a nearly straight function crosses zero between ``low`` and ``high``: regula falsi with the Illinois step.

    The ends have opposite signs (the caller makes sure); ``tolerance`` is relative to the answer. It needs a dozen calls
    where halving needs fifty.
    """
    at_low, at_high = function(low), function(high)
    found, side = low, 0
    for _ in range(200):
        if at_low == at_high:
            break
        before = found
        found = (low * at_high - high * at_low) / (at_high - at_low)
        value = function(found)
        if value == 0.0 or abs(found - before) <= tolerance * max(abs(found), 1e-300):
            break
        if (value > 0.0) == (at_low > 0.0):
            low, at_low = found, value
            at_high = at_high / 2.0 if side == 1 else at_high
            side = 1
        else:
            high, at_high = found, value
            at_low = at_low / 2.0 if side == -1 else at_low
            side = -1
    return found


def bracket_rising(
    rising: Callable[[float], float], target: float, low: float, high: float, halvings: int = 40
) -> tuple[float, float]:
    """The two ends, (high − low)/2^halvings apart, of the stretch in which a function that never falls reaches a target.

    It may have steps and flat stretches: below the target at the first end, not below at the second, unless no such
    place is inside. The first such place where there are several.
    """
    for _ in range(halvings):
        middle = (low + high) / 2.0
        if rising(middle) < target:
            low = middle
        else:
            high = middle
    return low, high


def solve_rising(
    rising: Callable[[float], float], target: float, low: float, high: float, halvings: int = 40
) -> float:
    """Where a function that never falls has just reached a target; the nearer end if it does not."""
    return bracket_rising(rising, target, low, high, halvings)[1]
