"""The rinse-down on paper: readings against minutes on a logarithmic axis, the failing side of the limit hatched."""

from __future__ import annotations

import math

from regenplant import units
from regenplant.documents.batch_record.content import RecordReading, Rinse
from regenplant.documents.faces import HAIR, INK, PAPER, SMALL, SMALL_STRONG, TICK
from regenplant.documents.flow import Block
from regenplant.documents.parts import check_mark
from regenplant.documents.pen import Pen
from regenplant.documents.texts import limit_words

HEIGHT = 150.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 8.0, 14.0, 22.0
_LEAST_MINUTES = 15.0
_HATCH = 9.0


def rinse_curve(rinse: Rinse, width: float, system: str) -> Block | None:
    """The curve; None while nothing is read or no time is known."""
    points = [(reading.minutes, reading) for reading in rinse.readings if reading.minutes is not None]
    if not points and not rinse.logged:
        return None
    plot = _Plot(rinse, [(minutes, reading) for minutes, reading in points], width, system)
    return Block(HEIGHT, plot.draw)


class _Plot:
    """One curve with its axes."""

    def __init__(
        self, rinse: Rinse, points: list[tuple[float, RecordReading]], width: float, system: str
    ) -> None:
        self.rinse, self.points, self.system = rinse, points, system
        self.width, self.height = width - _LEFT - _RIGHT, HEIGHT - _TOP - _BOTTOM
        every = [(minutes, reading.value) for minutes, reading in points] + list(rinse.logged)
        self.end = max(_LEAST_MINUTES, max(minutes for minutes, _ in every) * 1.03)
        self.begin = min(0.0, *(minutes for minutes, _ in every))
        values = [units.shown_value(value, rinse.kind, system) for _, value in every]
        if rinse.limit is not None:
            values.append(units.shown_value(rinse.limit, rinse.kind, system))
        self.low = math.floor(math.log10(min(values) * 0.9))
        self.high = max(math.ceil(math.log10(max(values) * 1.1)), self.low + 1)

    def _x(self, minutes: float) -> float:
        return _LEFT + self.width * (minutes - self.begin) / (self.end - self.begin)

    def _y(self, value: float) -> float:
        shown = math.log10(units.shown_value(value, self.rinse.kind, self.system))
        return _TOP + self.height * (1.0 - (shown - self.low) / (self.high - self.low))

    def draw(self, pen: Pen, x: float, y: float) -> None:
        self._grid(pen, x, y)
        self._limit(pen, x, y)
        line = [(x + self._x(minutes), y + self._y(reading.value)) for minutes, reading in self.points]
        logged = [(x + self._x(minutes), y + self._y(value)) for minutes, value in self.rinse.logged]
        course = logged or line  # what meters logged holds the readings by hand as well
        if len(course) > 1:
            pen.polygon(course, stroke=INK, weight=0.8, closed=False)
        for (left, top), (_, reading) in zip(line, self.points, strict=True):
            if reading.doubts:
                check_mark(pen, left - 3.5, top - 3.5, 7)
            else:
                pen.circle(left, top, 2.1, fill=PAPER, stroke=INK, weight=0.8)
        left, top = (line or logged)[-1]
        pen.circle(left, top, 2.1, fill=INK, stroke=INK, weight=0.8)

    def _grid(self, pen: Pen, x: float, y: float) -> None:
        right, base = x + _LEFT + self.width, y + _TOP + self.height
        for power in range(self.low, self.high + 1):
            top = y + _TOP + self.height * (1.0 - (power - self.low) / (self.high - self.low))
            pen.rule(x + _LEFT, top, right, top, weight=0.4, ink=HAIR)
            number = units.format_number(10.0**power, digits=1, decimals=max(0, -power))
            pen.text(x + _LEFT - 5, top + 2.5, number, SMALL, anchor="end")
        pen.text(x + _LEFT, y + 7, units.unit_text(self.rinse.kind, self.system), SMALL_STRONG, anchor="end")
        pen.rule(x + _LEFT, y + _TOP, x + _LEFT, base, weight=0.7)
        pen.rule(x + _LEFT, base, right, base, weight=0.7)
        for minutes in self._ticks():
            left = x + self._x(minutes)
            pen.rule(left, base, left, base + 3, weight=0.6)
            pen.text(left, base + 11, f"{minutes:g}", SMALL, anchor="middle")
        pen.text(right, base + 20, "minutes since the rinse began", SMALL, anchor="end")

    def _ticks(self) -> list[float]:
        step = next((s for s in (5, 10, 15, 20, 30, 60, 120, 240) if self.end / s <= 9), 480)
        return [float(minutes) for minutes in range(0, int(self.end) + 1, step)]

    def _limit(self, pen: Pen, x: float, y: float) -> None:
        if self.rinse.limit is None:
            return
        top = y + self._y(self.rinse.limit)
        hatched = top if self.rinse.is_at_least else top - _HATCH
        pen.hatch(x + _LEFT, hatched, self.width, _HATCH, gap=3.4, ink=TICK, weight=0.35)
        pen.rule(x + _LEFT, top, x + _LEFT + self.width, top, weight=1.2)
        low, high = (self.rinse.limit, None) if self.rinse.is_at_least else (None, self.rinse.limit)
        base = top - 3 if self.rinse.is_at_least else top + 8.5
        words = limit_words(low, high, self.rinse.kind, self.system)
        pen.text(x + _LEFT + 4, base, words, SMALL_STRONG)
