"""The rinse-down chart: the whole rinse on a log axis, and beside it the part near the limit on an even one.

Pure water has a ceiling, so the log chart alone hides the part that decides. The failing side of the limit is
hatched. Readings written by hand are pencil rings, the last one a disc; the curve is ink, a forecast dashed in its
band. A forecast never colours anything as passed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from regenplant.web.drawing.curves import monotone_curve
from regenplant.web.drawing.rinse_words import ForecastPoint, RinseDown, RinseReading, RinseRow, ShownRinse
from regenplant.web.drawing.scales import Axis, clock_ticks, minute_ticks, moment, tick_text
from regenplant.web.drawing.scene import (
    NOTHING,
    WHOLE,
    Anchor,
    Curve,
    Dot,
    Frame,
    Item,
    Label,
    Line,
    Rect,
    Scene,
    Shape,
    px,
    share,
)

__all__ = ["ForecastPoint", "RinseChart", "RinseDown", "RinseReading", "RinseRow", "rinse_chart"]

HATCH = 14.0
LEAST_LENGTH_S = 900.0
NEAR_LOW_FRAC, NEAR_HIGH_FRAC = 0.4, 1.6
"""The even chart shows from 0.4 to 1.6 of an "at least" limit, and from nothing to 2.5 of an "at most" one."""


@dataclass(frozen=True, slots=True)
class RinseChart:
    """The drawings and their words. ``near`` is None while nothing is near the limit."""

    caption: str
    whole: Scene
    near: Scene | None
    rows: tuple[RinseRow, ...]
    value_head: str
    other_head: str
    has_readings: bool
    has_forecast: bool
    has_earlier: bool
    has_limit: bool


def rinse_chart(rinse: RinseDown, *, system: str = "metric", height: int = 430) -> RinseChart:
    """Both drawings of one rinse-down, and the rows of its table."""
    shown = ShownRinse(rinse, system)
    end_s = _end(rinse, shown)
    near = _near_window(shown, end_s)
    return RinseChart(
        caption=shown.caption(),
        whole=Scene(
            shown.sentence(), height, tuple(_Plot(shown, 0.0, end_s, _log_axis(shown), False).items())
        ),
        near=Scene(shown.near_sentence(*near), height, tuple(_Plot(shown, *near, True).items()))
        if near
        else None,
        rows=tuple(shown.row(reading) for reading in reversed(rinse.readings)),
        value_head=shown.unit,
        other_head=shown.other_unit(),
        has_readings=bool(rinse.readings),
        has_forecast=bool(rinse.forecast),
        has_earlier=bool(rinse.earlier),
        has_limit=rinse.limit is not None,
    )


def _end(rinse: RinseDown, shown: ShownRinse) -> float:
    ends = [LEAST_LENGTH_S, rinse.now_s or 0.0]
    ends += [r.elapsed_s for r in rinse.readings] + [f.elapsed_s for f in rinse.forecast]
    hold_from = shown.hold_from()
    if hold_from is not None:
        ends.append((hold_from + rinse.hold_s) * 1.05)
    return math.ceil(max(ends) / 300) * 300.0


def _log_axis(shown: ShownRinse) -> Axis:
    values = [v for _, v in shown.readings] + [v for batch in shown.earlier for _, v in batch]
    values += [number for f in shown.forecast for number in f[1:]]
    values = [v for v in values if v > 0]
    if shown.limit is not None and shown.limit > 0:
        values += [shown.limit / 10, shown.limit * 1.6]
    if not values:
        values = [1.0, 10.0]
    low = 10.0 ** math.floor(math.log10(min(values)) + 1e-9)
    power = 10.0 ** math.floor(math.log10(max(values)))
    high = next(m * power for m in (1, 2, 5, 10, 20) if m * power >= max(values) and m * power > low)
    return Axis(low, high, is_log=True)


def _near_window(shown: ShownRinse, end_s: float) -> tuple[float, float, Axis] | None:
    """(start, end, axis) of the even chart; None while no reading and no forecast is in it."""
    if shown.limit is None or shown.limit <= 0:
        return None
    low, high = (NEAR_LOW_FRAC, NEAR_HIGH_FRAC) if shown.rinse.is_at_least else (0.0, 2.5)
    axis = Axis(low * shown.limit, high * shown.limit)
    inside = [t for t, v in shown.readings if axis.holds(v)] + [
        f[0] for f in shown.forecast if axis.holds(f[1])
    ]
    if not inside:
        return None
    start = max(0.0, math.floor(min(inside) / 60) * 60.0 - 60.0)
    return start, max(end_s, start + 600.0), axis


class _Plot:
    """One of the two drawings, in layers from back to front."""

    def __init__(self, shown: ShownRinse, start_s: float, end_s: float, axis: Axis, is_near: bool):
        self.shown, self.rinse = shown, shown.rinse
        self.time = Axis(start_s, end_s)
        self.axis = axis
        self.is_near = is_near

    def items(self) -> list[Item]:
        return [
            *self._grid(),
            *self._limit(),
            *self._words(),
            *self._curves(),
            *self._hold(),
            *self._now(),
            *self._dots(),
            *self._forecast_pass(),
            Line("ax", px(0), px(0), px(0), WHOLE),
            Line("ax", px(0), WHOLE, WHOLE, WHOLE),
        ]

    def _x(self, elapsed_s: float) -> float:
        return self.time.clamped(elapsed_s)

    def _y(self, value: float) -> float:
        return 1.0 - self.axis.clamped(value)

    def _is_seen(self, elapsed_s: float) -> bool:
        return self.time.holds(elapsed_s)

    def _grid(self) -> list[Item]:
        items: list[Item] = []
        limit = self.shown.limit if self.is_near else None
        for value in self.axis.ticks():
            y = share(self._y(value))
            items.append(Line("hl", px(0), y, WHOLE, y))
            if limit is None or abs(self.axis.share(value) - self.axis.share(limit)) > 0.07:
                items.append(Label("t2", px(0), y, tick_text(value), "end", dx=-10, dy=6))
        if limit is not None:
            items.append(Label("tb", px(0), share(self._y(limit)), tick_text(limit), "end", dx=-10, dy=6))
        items += [
            Line("ax", px(-5), share(self._y(value)), px(0), share(self._y(value)))
            for value in self.axis.minor_ticks()
        ]
        for number, (elapsed_s, text) in enumerate(self._time_ticks()):
            x = share(self._x(elapsed_s))
            items.append(Shape("ax", x, WHOLE, ((0, 0), (0, 7)), is_closed=False))
            items.append(Label("t2 thin" if number % 2 else "t2", x, WHOLE, text, "middle", dy=26))
        return items

    def _time_ticks(self) -> list[tuple[float, str]]:
        start, length = self.time.low, self.time.high - self.time.low
        about = 4 if self.is_near else 6
        if self.rinse.started_at is None:
            return list(minute_ticks(self.time.low, self.time.high, about))
        begun = moment(self.rinse.started_at, start)
        return [(start + t, text) for t, text in clock_ticks(begun, length, about)]

    def _limit(self) -> list[Item]:
        limit = self.shown.limit
        if limit is None or not self.axis.holds(limit):
            return []
        y = share(self._y(limit))
        top = px(0) if self.rinse.is_at_least else px(-HATCH)
        hatch = Rect("forbid", NOTHING, top, WHOLE, px(HATCH))
        return [Frame(px(0), y, WHOLE, px(HATCH), (hatch,), is_open=True), Line("lim", px(0), y, WHOLE, y)]

    def _path(self, points: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((self._x(t), self._y(v)) for t, v in points)

    def _clipped(self, points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        """The points this drawing can show; on the even chart a curve begins where it enters."""
        if not self.is_near:
            return [p for p in points if self._is_seen(p[0])]
        return [p for p in points if self._is_seen(p[0]) and self.axis.holds(p[1])]

    def _curves(self) -> list[Item]:
        items: list[Item] = []
        if not self.is_near:
            for batch in self.shown.earlier:
                if len(path := self._path(self._clipped(batch))) > 1:
                    items.append(Curve("ghost", path))
        forecast = [f for f in self.shown.forecast if self._is_seen(f[0])]
        if len(forecast) > 1:
            upper = self._path([(t, high) for t, _, _, high in forecast])
            lower = self._path([(t, low) for t, _, low, _ in reversed(forecast)])
            items.append(Curve("band", upper + lower, is_closed=True))
            items.append(Curve("fc", self._path([(t, value) for t, value, _, _ in forecast])))
        line = monotone_curve(_rising([(t, 1 - self._free_y(v)) for t, v in self.shown.readings]))
        seen = [(self._x(t), 1 - y) for t, y in line if self._is_seen(t) and -1e-9 <= y <= 1 + 1e-9]
        if len(seen) > 1:
            items.append(Curve("ln", tuple(seen)))
        return items

    def _free_y(self, value: float) -> float:
        """Height from the top without the clamp of the even chart, so that a curve enters it at the right place."""
        return self._y(value) if self.axis.is_log else 1.0 - self.axis.share(value)

    def _dots(self) -> list[Item]:
        items: list[Item] = []
        last = len(self.rinse.readings) - 1
        size = 6.5 if self.is_near else 5.5
        for number, reading in enumerate(self.rinse.readings):
            value = self.shown.value(reading.value)
            if not self._is_seen(reading.elapsed_s) or (self.is_near and not self.axis.holds(value)):
                continue
            role = "pt" + ("" if reading.is_by_hand else " printed") + (" last" if number == last else "")
            radius = size + 2.5 if number == last else size
            items.append(Dot(role, share(self._x(reading.elapsed_s)), share(self._y(value)), radius))
        return items

    def _hold(self) -> list[Item]:
        start = self.shown.hold_from()
        if start is None or not self._is_seen(start):
            return []
        left, right = self._x(start), self._x(start + self.rinse.hold_s)
        if right <= left:
            return []
        word = f"hold {self.rinse.hold_s / 60:.0f} min" if self.is_near else "hold"
        inside: tuple[Item, ...] = (
            Line("lim", px(1), px(0), px(1), px(14)),
            Line("lim", px(0), px(7), WHOLE, px(7)),
            Shape("lim", WHOLE, px(0), ((-1, 0), (-1, 14)), is_closed=False),
            Label("ti", share(0.5), px(-8), word, "middle"),
        )
        return [Frame(share(left), px(0), share(right - left), px(14), inside, is_open=True)]

    def _now(self) -> list[Item]:
        now = self.rinse.now_s
        if now is None or not self._is_seen(now):
            return []
        x = self._x(now)
        items: list[Item] = [Line("now", share(x), px(0), share(x), WHOLE)]
        if not self.is_near:
            anchor, dx = _beside(is_left=x > 0.3)
            y, dy = (WHOLE, -9.0) if self.rinse.is_at_least else (px(42), 0.0)
            items.append(Label("tp tb halo", share(x), y, f"now {self.shown.moment(now)}", anchor, dx, dy))
        return items

    def _forecast_pass(self) -> list[Item]:
        """On the even chart: when the forecast meets the limit, and between which times."""
        middle, early, late = self.shown.pass_times()
        limit = self.shown.limit
        if not self.is_near or middle is None or limit is None or not self._is_seen(middle):
            return []
        x, y = share(self._x(middle)), share(self._y(limit))
        down = 1 if self.rinse.is_at_least else -1
        anchor, dx = _beside(is_left=self._x(middle) >= 0.62)
        items: list[Item] = [Shape("lim", x, y, ((0, 0), (0, down * 58)), is_closed=False)]
        first, second = (44.0, 66.0) if down > 0 else (-46.0, -24.0)
        items.append(Label("tb halo", x, y, self.shown.moment(middle), anchor, dx, first))
        if early is not None and late is not None:
            words = f"{self.shown.moment(early)} to {self.shown.moment(late)}"
            items.append(Label("ti t2 halo", x, y, words, anchor, dx, second))
        return items

    def _words(self) -> list[Item]:
        if not self.rinse.readings:
            clear_of_earlier = 0.93 if self.rinse.earlier else 0.6
            return [
                Label(
                    "ti t2 halo", share(0.5), share(clear_of_earlier), "no reading is written yet", "middle"
                ),
                *self._limit_words(),
            ]
        return self._limit_words()

    def _limit_words(self) -> list[Item]:
        limit = self.shown.limit
        if limit is None or self.is_near or not self.axis.holds(limit):
            return []
        dy = -10.0 if self.rinse.is_at_least else 22.0
        return [
            Label("tb halo", share(0.01), share(self._y(limit)), self.shown.limit_words(), "start", dy=dy)
        ]


def _beside(*, is_left: bool) -> tuple[Anchor, float]:
    """How a text stands beside an upright line, and how far off."""
    return ("end", -8.0) if is_left else ("start", 8.0)


def _rising(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """One point per moment, in order of time: the last reading of a moment counts."""
    by_time = dict(sorted(points, key=lambda point: point[0]))
    return list(by_time.items())
