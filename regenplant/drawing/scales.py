"""Axes: where a value stands between the ends of a drawing, and which ticks carry numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from regenplant.units import format_number


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale from ``low`` to ``high`` in the unit shown. A log axis has both ends above zero.

    Raises: ValueError for ends out of order, or not above zero on a log axis.
    """

    low: float
    high: float
    is_log: bool = False

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"an axis runs upward, not from {self.low} to {self.high}")
        if self.is_log and self.low <= 0:
            raise ValueError(f"a log axis starts above zero, not at {self.low}")

    def share(self, value: float) -> float:
        """Where the value stands, 0 at the low end and 1 at the high end; outside the axis beyond those."""
        if self.is_log:
            if value <= 0:
                return -math.inf
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def shares(self, values: Iterable[float]) -> list[float]:
        """``share`` of very many values, worked out in one place: a chart of a log asks for hundreds."""
        low, high = self.low, self.high
        if not self.is_log:
            length = high - low
            return [(value - low) / length for value in values]
        whole = math.log(high / low)
        return [math.log(value / low) / whole if value > 0 else -math.inf for value in values]

    def clamped(self, value: float) -> float:
        """``share`` kept between 0 and 1."""
        return min(1.0, max(0.0, self.share(value)))

    def holds(self, value: float) -> bool:
        """Whether the value lies on the axis, ends included (a billionth of the length forgiven for floats)."""
        return -1e-9 <= self.share(value) <= 1 + 1e-9

    def ticks(self, about: int = 6) -> tuple[float, ...]:
        """Values that carry a number: powers of ten on a log axis, steps of 1, 2 or 5 on an even one."""
        return self._decades() if self.is_log else self._steps(about)

    def minor_ticks(self) -> tuple[float, ...]:
        """On a log axis the 2 to 9 of each decade; none on an even one."""
        if not self.is_log:
            return ()
        first, last = math.floor(math.log10(self.low)), math.ceil(math.log10(self.high))
        values = (m * 10.0**e for e in range(first, last + 1) for m in range(2, 10))
        return tuple(value for value in values if self.holds(value))

    def _decades(self) -> tuple[float, ...]:
        first, last = math.floor(math.log10(self.low)), math.ceil(math.log10(self.high))
        return tuple(10.0**e for e in range(first, last + 1) if self.holds(10.0**e))

    def _steps(self, about: int) -> tuple[float, ...]:
        rough = (self.high - self.low) / max(1, about)
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return tuple(round(n * step, 12) for n in range(first, last + 1))


def tick_text(value: float) -> str:
    """A tick's number without idle zeros: 4, 0.05, 1 850 with its thin space."""
    text = format_number(value, digits=4, decimals=6)
    return text.rstrip("0").rstrip(".") if "." in text else text


CLOCK_STEPS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400)


def moment(start: datetime, elapsed_s: float) -> datetime:
    """The clock so many seconds after ``start``, in its zone, right across a change of summer time."""
    if start.tzinfo is None:
        return start + timedelta(seconds=elapsed_s)
    return (start.astimezone(UTC) + timedelta(seconds=elapsed_s)).astimezone(start.tzinfo)


def seconds_between(start: datetime, end: datetime) -> float:
    """Seconds that pass from ``start`` to ``end``, right across a change of summer time."""
    return end.timestamp() - start.timestamp()


def clock_ticks(start: datetime, length_s: float, about: int = 6) -> tuple[tuple[float, str], ...]:
    """(seconds after ``start``, "13:30") at whole clock steps, about ``about`` of them."""
    step = next((s for s in CLOCK_STEPS_S if length_s / s <= about), CLOCK_STEPS_S[-1])
    since_midnight = start.hour * 3600 + start.minute * 60 + start.second + start.microsecond / 1e6
    first = -since_midnight % step
    count = math.floor((length_s - first) / step + 1e-9) + 1
    return tuple((first + n * step, f"{moment(start, first + n * step):%H:%M}") for n in range(count))


def minute_ticks(start_s: float, end_s: float, about: int = 6) -> tuple[tuple[float, str], ...]:
    """(seconds, "20") in minutes from zero, for a chart without a clock."""
    return tuple((m * 60, tick_text(m)) for m in Axis(start_s / 60, end_s / 60).ticks(about))
