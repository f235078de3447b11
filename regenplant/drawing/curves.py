"""A smooth line through points that never leaves the range of its neighbours; a long log made short enough to draw."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

Point = tuple[float, float]


def monotone_curve(points: Sequence[Point], per_segment: int = 10) -> tuple[Point, ...]:
    """Points along a piecewise cubic through ``points`` (x strictly rising) that rises and falls only where they do.

    It passes through every point and makes no hump of its own, so a drawn curve claims nothing that was not read.
    Source: F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5:300 (1984), the harmonic-mean slopes, with
    three-point ends; checked in the tests against an independent implementation of the same method.
    Raises: ValueError when x does not rise.
    """
    if any(b[0] <= a[0] for a, b in itertools.pairwise(points)):
        raise ValueError("a curve runs forward in x")
    if len(points) < 3:
        return tuple(points)
    slopes = _slopes(points)
    line: list[Point] = [points[0]]
    for (a, b), (slope_a, slope_b) in zip(
        itertools.pairwise(points), itertools.pairwise(slopes), strict=True
    ):
        width = b[0] - a[0]
        for step in range(1, per_segment + 1):
            t = step / per_segment
            y = (
                (1 + 2 * t) * (1 - t) ** 2 * a[1]
                + t * (1 - t) ** 2 * width * slope_a
                + t**2 * (3 - 2 * t) * b[1]
                + t**2 * (t - 1) * width * slope_b
            )
            line.append((a[0] + t * width, y))
    return tuple(line)


def _slopes(points: Sequence[Point]) -> list[float]:
    widths = [b[0] - a[0] for a, b in itertools.pairwise(points)]
    secants = [(b[1] - a[1]) / w for (a, b), w in zip(itertools.pairwise(points), widths, strict=True)]
    inner = []
    for left, right, w_left, w_right in zip(secants, secants[1:], widths, widths[1:], strict=False):
        if left * right <= 0:
            inner.append(0.0)
        else:
            heavy_right, heavy_left = 2 * w_right + w_left, w_right + 2 * w_left
            inner.append((heavy_right + heavy_left) / (heavy_right / left + heavy_left / right))
    first = _end_slope(widths[0], widths[1], secants[0], secants[1])
    last = _end_slope(widths[-1], widths[-2], secants[-1], secants[-2])
    return [first, *inner, last]


def _end_slope(near: float, far: float, secant: float, next_secant: float) -> float:
    slope = ((2 * near + far) * secant - near * next_secant) / (near + far)
    if slope * secant <= 0:
        return 0.0
    if secant * next_secant < 0 and abs(slope) > 3 * abs(secant):
        return 3 * secant
    return slope


def crossing(points: Sequence[Point], level: float) -> float | None:
    """The first x at which the straight line through ``points`` meets ``level``; None if it never does."""
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if y0 == level:
            return x0
        if (y0 - level) * (y1 - level) < 0:
            return x0 + (x1 - x0) * (level - y0) / (y1 - y0)
    return points[-1][0] if points and points[-1][1] == level else None


def thinned(points: Sequence[Point], most: int) -> list[Point]:
    """At most ``most`` of the points, in their order: the first, the last, and of each stretch between the lowest and the highest.

    A peak or a dip of one point is never lost, which an average or every n-th point would lose. Raises: ValueError below 4.
    """
    if most < 4:
        raise ValueError(f"a curve is drawn with at least 4 points, not {most}")
    if len(points) <= most:
        return list(points)
    stretches = (most - 2) // 2
    inner = range(1, len(points) - 1)
    size = math.ceil(len(inner) / stretches)
    kept, values = [0], [value for _, value in points]
    for start in range(1, len(points) - 1, size):
        stretch = range(start, min(start + size, len(points) - 1))
        low, high = min(stretch, key=values.__getitem__), max(stretch, key=values.__getitem__)
        kept += sorted({low, high})
    return [points[n] for n in (*kept, len(points) - 1)]
