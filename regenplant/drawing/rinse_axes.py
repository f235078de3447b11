"""From where to where the axes of a rinse-down chart run."""

from __future__ import annotations

import math

from regenplant.drawing.rinse_words import ShownRinse
from regenplant.drawing.scales import Axis

LEAST_LENGTH_S, LEAST_LENGTH_BV = 900.0, 3.0
NEAR_LOW_FRAC, NEAR_HIGH_FRAC = 0.4, 1.6
"""The even chart shows from 0.4 to 1.6 of an "at least" limit, and from nothing to 2.5 of an "at most" one."""
NEAR_FARTHEST_FRAC = 2.5
"""Readings that pass an "at least" limit stay on the even chart up to here: they are what decides."""
ROOM_FRAC = 1.15
LOG_ROOM_FRAC = 1.5
"""Above the highest reading of an "at least" limit, so that the bracket of the hold stands clear of the curve."""
FARTHEST_NOW = 2.0
"""Nor does a rinse that nobody reads any more push its readings into a corner."""
FARTHEST_EXPECTED = 1.7
"""The axis ends at the latest at so many times what has passed and what is expected; the words name what lies beyond."""


def end_of(shown: ShownRinse) -> float:
    """Where the axis along the bottom ends: readings, now, hold window and what is expected are on it."""
    rinse = shown.rinse
    least, step = (LEAST_LENGTH_BV, 1.0) if shown.is_by_volume else (LEAST_LENGTH_S, 300.0)
    read = shown.xs_of(rinse.readings)
    passed = [least, *read]
    if rinse.now_s is not None:
        now = shown.x(rinse.now_s)
        passed.append(min(now, FARTHEST_NOW * max(least, *read)) if read else now)
    ends = [*passed, *(f[0] for f in shown.forecast)]
    middle, _, late = shown.pass_times()
    if rinse.expected is not None and middle is not None and late is not None:
        ends.append(min(late, FARTHEST_EXPECTED * max(middle, *passed)) * 1.03)
    hold = shown.hold_window()
    if hold is not None:
        ends.append(min(hold[1], FARTHEST_EXPECTED * max(passed) + (hold[1] - hold[0])) * 1.05)
    return math.ceil(max(ends) / step) * step


def log_axis(shown: ShownRinse) -> Axis:
    """The upright axis of the whole chart: from a whole power of ten, with a decade below the limit."""
    values = [v for _, v in shown.readings] + [v for batch in shown.earlier for _, v in batch]
    values += [number for f in shown.forecast for number in f[1:]]
    values += [limit for _, limit in shown.limit_steps]
    if shown.rinse.is_at_least and shown.readings:
        values.append(LOG_ROOM_FRAC * max(v for _, v in shown.readings))
    values = [v for v in values if v > 0]
    limit = shown.last_limit
    if limit is not None and limit > 0:
        values += [limit / 10, limit * 1.6]
    if not values:
        values = [1.0, 10.0]
    low = 10.0 ** math.floor(math.log10(min(values)) + 1e-9)
    power = 10.0 ** math.floor(math.log10(max(values)))
    high = next(m * power for m in (1, 2, 5, 10, 20) if m * power >= max(values) and m * power > low)
    return Axis(low, high, is_log=True)


def near_window(shown: ShownRinse, end: float) -> tuple[float, float, Axis] | None:
    """(start, end, axis) of the even chart; None while no reading and no forecast is in it."""
    if shown.limit is None or shown.limit <= 0:
        return None
    low, high = (NEAR_LOW_FRAC, NEAR_HIGH_FRAC) if shown.rinse.is_at_least else (0.0, 2.5)
    axis = Axis(low * shown.limit, high * shown.limit)
    if shown.rinse.is_at_least:
        passed = [v for _, v in shown.readings if v <= NEAR_FARTHEST_FRAC * shown.limit]
        axis = Axis(axis.low, max([axis.high, *(ROOM_FRAC * v for v in passed)]))
    shares = axis.shares(v for _, v in shown.readings)
    inside = [x for (x, _), one in zip(shown.readings, shares, strict=True) if -1e-9 <= one <= 1 + 1e-9] + [
        f[0] for f in shown.forecast if axis.holds(f[1])
    ]
    if not inside:
        return None
    if shown.is_by_volume:
        start = max(0.0, math.floor(min(inside) * 4) / 4 - 0.25)
        return start, max(end, start + 2.0), axis
    start = max(0.0, math.floor(min(inside) / 60) * 60.0 - 60.0)
    return start, max(end, start + 600.0), axis
