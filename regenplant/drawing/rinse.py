"""The rinse-down chart: the whole rinse on a log axis, and beside it the part near the limit on an even one.

Pure water has a ceiling, so the log chart alone hides the part that decides. The failing side of the limit is hatched; a limit by
temperature is a line in steps. Readings written by hand are rings, the last one a disc; a square informs only, a diamond points to
its instrument and is in no curve; a meter's log is a line of at most 600 points. The hold window is tinted once it has begun. When
the end point is expected stands as a dashed bar on the limit, called "if at all" where it is doubtful. A forecast never colours anything as passed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from operator import itemgetter

from regenplant.drawing.curves import monotone_curve, thinned
from regenplant.drawing.rinse_axes import end_of, log_axis, near_window
from regenplant.drawing.rinse_words import (
    Across,
    Counts,
    Expected,
    ExpectedEnd,
    ForecastPoint,
    RinseDown,
    RinseReading,
    RinseRow,
    ShownRinse,
)
from regenplant.drawing.scales import Axis, clock_ticks, minute_ticks, moment, tick_text
from regenplant.drawing.scene import (
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

__all__ = [
    "Across",
    "Counts",
    "Expected",
    "ExpectedEnd",
    "ForecastPoint",
    "RinseChart",
    "RinseDown",
    "RinseReading",
    "RinseRow",
    "rinse_chart",
]

HATCH = 14.0
MOST_SMOOTH = 60
"""Up to so many points a smooth curve runs through them; a log is drawn from point to point."""
MOST_MARKS = 120
DIAMOND = ((0.0, -8.0), (8.0, 0.0), (0.0, 8.0), (-8.0, 0.0))
SQUARE = ((-5.5, -5.5), (5.5, -5.5), (5.5, 5.5), (-5.5, 5.5))


@dataclass(frozen=True, slots=True)
class RinseChart:
    """The drawings and their words. ``near`` is None while nothing is near the limit."""

    caption: str
    whole: Scene
    near: Scene | None
    rows: tuple[RinseRow, ...]
    count: int
    """Readings there are; ``rows`` may be fewer."""
    value_head: str
    other_head: str
    has_readings: bool
    has_forecast: bool
    has_expected: bool
    is_doubtful: bool
    """The end point that is expected is more likely than not never reached."""
    has_earlier: bool
    has_limit: bool
    has_log: bool
    has_checks: bool
    has_informing: bool
    has_hold: bool
    has_volumes: bool

    @property
    def is_cut(self) -> bool:
        """Whether the table holds fewer rows than there are readings."""
        return len(self.rows) < self.count


def rinse_chart(rinse: RinseDown, *, system: str = "metric", height: int = 430) -> RinseChart:
    """Both drawings of one rinse-down, and the rows of its table."""
    shown = ShownRinse(rinse, system)
    end = end_of(shown)
    near = near_window(shown, end)
    return RinseChart(
        caption=shown.caption(),
        whole=Scene(shown.sentence(), height, tuple(_Plot(shown, 0.0, end, log_axis(shown), False).items())),
        near=Scene(shown.near_sentence(*near), height, tuple(_Plot(shown, *near, True).items()))
        if near
        else None,
        rows=shown.rows(),
        count=len(rinse.readings),
        value_head=shown.unit,
        other_head=shown.other_unit(),
        has_readings=any(r.is_by_hand for r in rinse.readings),
        has_forecast=bool(rinse.forecast),
        has_expected=rinse.expected is not None,
        is_doubtful=shown.is_doubtful,
        has_earlier=bool(rinse.earlier),
        has_limit=shown.last_limit is not None,
        has_log=any(not r.is_by_hand for r in rinse.readings),
        has_checks=any(r.counts is Counts.CHECK for r in rinse.readings),
        has_informing=any(r.counts is Counts.INFORMS for r in rinse.readings),
        has_hold=rinse.held_from_s is not None and shown.hold_window() is not None,
        has_volumes=any(r.rinsed_bv is not None for r in rinse.readings),
    )


class _Plot:
    """One of the two drawings, in layers from back to front. ``x`` is what the axis counts: seconds or bed volumes."""

    def __init__(self, shown: ShownRinse, start: float, end: float, axis: Axis, is_near: bool):
        self.shown, self.rinse = shown, shown.rinse
        self.across = Axis(start, end)
        self.axis = axis
        self.is_near = is_near

    def items(self) -> list[Item]:
        return [
            *self._hold_tint(),
            *self._grid(),
            *self._limit(),
            *self._curves(),
            *self._expected(),
            *self._hold(),
            *self._now(),
            *self._words(),
            *self._marks(),
            *self._pass_words(),
            Line("ax", px(0), px(0), px(0), WHOLE),
            Line("ax", px(0), WHOLE, WHOLE, WHOLE),
        ]

    def _x(self, x: float) -> float:
        return self.across.clamped(x)

    def _y(self, value: float) -> float:
        return 1.0 - self.axis.clamped(value)

    def _is_seen(self, x: float) -> bool:
        return self.across.holds(x)

    # --- axes -------------------------------------------------------------------------------------------------------
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
        for number, (at, text) in enumerate(self._ticks()):
            x = share(self._x(at))
            items.append(Shape("ax", x, WHOLE, ((0, 0), (0, 7)), is_closed=False))
            items.append(Label("t2 thin" if number % 2 else "t2", x, WHOLE, text, "middle", dy=26))
        return items

    def _ticks(self) -> list[tuple[float, str]]:
        start, length = self.across.low, self.across.high - self.across.low
        about = 4 if self.is_near else 6
        if self.shown.is_by_volume:
            return [(value, tick_text(value)) for value in self.across.ticks(about)]
        if self.rinse.started_at is None:
            return list(minute_ticks(self.across.low, self.across.high, about))
        begun = moment(self.rinse.started_at, start)
        return [(start + t, text) for t, text in clock_ticks(begun, length, about)]

    # --- the limit --------------------------------------------------------------------------------------------------
    def _limit(self) -> list[Item]:
        if self.shown.limit is not None:
            return self._tread(0.0, 1.0, self.shown.limit)
        items: list[Item] = []
        steps = self.shown.limit_steps
        ends = [*(x for x, _ in steps[1:]), *([self.across.high] if steps else [])]
        for number, ((x, limit), end) in enumerate(zip(steps, ends, strict=True)):
            left = self._x(x) if number else 0.0
            items += self._tread(left, self._x(end), limit)
            if number:
                before = share(self._y(steps[number - 1][1]))
                items.append(Line("lim", share(left), before, share(left), share(self._y(limit))))
        return items

    def _tread(self, left: float, right: float, limit: float) -> list[Item]:
        """The limit from one place to another, hatched on the side that fails."""
        if not self.axis.holds(limit) or right - left < 1e-6:
            return []
        y = share(self._y(limit))
        top = px(0) if self.rinse.is_at_least else px(-HATCH)
        hatch = Rect("forbid", NOTHING, top, WHOLE, px(HATCH))
        x, width = share(left), share(right - left)
        return [
            Frame(x, y, width, px(HATCH), (hatch,), is_open=True),
            Line("lim", x, y, share(right), y),
        ]

    # --- lines ------------------------------------------------------------------------------------------------------
    def _path(self, points: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((self._x(x), self._y(v)) for x, v in points)

    def _curves(self) -> list[Item]:
        items: list[Item] = []
        if not self.is_near:
            for batch in self.shown.earlier:
                seen = [p for p in batch if self._is_seen(p[0])]
                if len(path := self._path(seen)) > 1:
                    items.append(Curve("ghost", path))
        forecast = [f for f in self.shown.forecast if self._is_seen(f[0])]
        if len(forecast) > 1:
            upper = self._path([(x, high) for x, _, _, high in forecast])
            lower = self._path([(x, low) for x, _, low, _ in reversed(forecast)])
            items.append(Curve("band", upper + lower, is_closed=True))
            items.append(Curve("fc", self._path([(x, value) for x, value, _, _ in forecast])))
        return [*items, *(Curve("ln", stretch) for stretch in self._line())]

    def _line(self) -> list[tuple[tuple[float, float], ...]]:
        """The curve through the readings, as stretches that this drawing can show; on the even chart it begins where it enters."""
        readings = self.shown.readings
        heights = self._heights(value for _, value in readings)
        points = _rising([(x, height) for (x, _), height in zip(readings, heights, strict=True)])
        line = monotone_curve(points) if len(points) <= MOST_SMOOTH else points
        stretches: list[list[tuple[float, float]]] = [[]]
        for across, (_, height) in zip(self.across.shares(x for x, _ in line), line, strict=True):
            if -1e-9 <= across <= 1 + 1e-9 and -1e-9 <= height <= 1 + 1e-9:
                stretches[-1].append((min(1.0, max(0.0, across)), 1 - height))
            elif stretches[-1]:
                stretches.append([])
        return [tuple(stretch) for stretch in stretches if len(stretch) > 1]

    def _heights(self, values: Iterable[float]) -> list[float]:
        """Heights from the bottom, without the clamp of the even chart, so that a curve enters it at the right place."""
        shares = self.axis.shares(values)
        return [min(1.0, max(0.0, one)) for one in shares] if self.axis.is_log else shares

    # --- marks ------------------------------------------------------------------------------------------------------
    def _marks(self) -> list[Item]:
        """Hand readings, the last of all, and what does not count; of very many a spread of them."""
        last = self.shown.believed[-1] if self.shown.believed else None
        marked = [
            r
            for r in self.rinse.readings
            if (r.is_by_hand or r.counts is not Counts.YES or self._is_short) and r is not last
        ]
        if len(marked) > MOST_MARKS:
            kept = {
                int(n) for n, _ in thinned([(float(n), r.value) for n, r in enumerate(marked)], MOST_MARKS)
            }
            marked = [r for n, r in enumerate(marked) if n in kept]
        items = [self._mark(reading, is_last=False) for reading in marked]
        if last is not None:
            items.append(self._mark(last, is_last=True))
        return [item for item in items if item is not None]

    @property
    def _is_short(self) -> bool:
        return len(self.rinse.readings) <= MOST_SMOOTH

    def _mark(self, reading: RinseReading, *, is_last: bool) -> Item | None:
        value, at = self.shown.value(reading.value), self.shown.x_of(reading)
        if not self._is_seen(at) or (self.is_near and not self.axis.holds(value)):
            return None
        x, y = share(self._x(at)), share(self._y(value))
        if reading.counts is Counts.CHECK:
            return Shape("pt off", x, y, DIAMOND)
        role = "pt" + ("" if reading.is_by_hand else " printed") + (" last" if is_last else "")
        if reading.counts is Counts.INFORMS:
            return Shape(role, x, y, SQUARE)
        size = 6.5 if self.is_near else 5.5
        return Dot(role, x, y, size + 2.5 if is_last else size)

    # --- hold window ------------------------------------------------------------------------------------------------
    def _hold_tint(self) -> list[Item]:
        """The window itself, only once it has begun: what is expected is never tinted."""
        window = self.shown.hold_window()
        if window is None or self.rinse.held_from_s is None:
            return []
        left, right = self._x(window[0]), self._x(window[1])
        if right <= left:
            return []
        return [Rect("held-w", share(left), px(0), share(right - left), WHOLE)]

    def _hold(self) -> list[Item]:
        window = self.shown.hold_window()
        if window is None or not self._is_seen(window[0]):
            return []
        left, right = self._x(window[0]), self._x(window[1])
        if right <= left:
            return []
        word = self._hold_word()
        inside: tuple[Item, ...] = (
            Line("lim", px(1), px(0), px(1), px(14)),
            Line("lim", px(0), px(7), WHOLE, px(7)),
            Shape("lim", WHOLE, px(0), ((-1, 0), (-1, 14)), is_closed=False),
            Label("ti", share(0.5), px(-8), word, "middle"),
        )
        return [Frame(share(left), px(0), share(right - left), px(14), inside, is_open=True)]

    def _hold_word(self) -> str:
        """Whether the window has begun, or is where it would lie."""
        if self.rinse.held_from_s is None:
            return "hold, if at all" if self.shown.is_doubtful else "expected hold"
        return f"hold {self.rinse.hold_s / 60:.0f} min" if self.is_near else "hold"

    # --- now and what is expected -----------------------------------------------------------------------------------
    def _now(self) -> list[Item]:
        if self.rinse.now_s is None:
            return []
        now = self.shown.x(self.rinse.now_s)
        if not self._is_seen(now):
            return []
        x = self._x(now)
        items: list[Item] = [Line("now", share(x), px(0), share(x), WHOLE)]
        if not self.is_near:
            anchor, dx = _beside(is_left=x > 0.5)
            y, dy = (WHOLE, -9.0) if self.rinse.is_at_least else (px(42), 0.0)
            word = f"now {self.shown.moment(self.rinse.now_s)}"
            items.append(Label("tp tb halo", share(x), y, word, anchor, dx, dy))
        return items

    def _expected(self) -> list[Item]:
        """A dashed bar on the limit from 5 to 95 %, a stroke at 50 %, and a dashed line down to the axis."""
        middle, early, late = self.shown.pass_times()
        limit = self.shown.last_limit
        if self.rinse.expected is None or middle is None or early is None or late is None or limit is None:
            return []
        if not self.axis.holds(limit) or late < self.across.low or early > self.across.high:
            return []
        left, right = self._x(early), max(self._x(late), self._x(early) + 0.004)
        y = share(self._y(limit))
        bar = Rect("fband", px(0), px(-9), WHOLE, px(18))
        items: list[Item] = [Frame(share(left), y, share(right - left), px(18), (bar,), is_open=True)]
        if self._is_seen(middle):
            x = share(self._x(middle))
            items += [Line("fc", x, y, x, WHOLE), Shape("lim", x, y, ((0, -13), (0, 13)), is_closed=False)]
        return items

    def _pass_words(self) -> list[Item]:
        """When the end point is expected, and between which times: at the bar, or on the even chart at the forecast's crossing."""
        middle, early, late = self.shown.pass_times()
        limit = self.shown.last_limit
        if middle is None or limit is None or not self._is_seen(middle) or not self.axis.holds(limit):
            return []
        if not self.is_near and self.rinse.expected is None:
            return []
        x, y = share(self._x(middle)), share(self._y(limit))
        has_bar = self.rinse.expected is not None
        down = 1 if self.rinse.is_at_least or has_bar else -1
        anchor, dx = _beside(is_left=self._x(middle) >= 0.5)
        items: list[Item] = []
        if not has_bar:
            items.append(Shape("lim", x, y, ((0, 0), (0, down * 58)), is_closed=False))
        first, second = (46.0, 68.0) if down > 0 else (-46.0, -24.0)
        at = self.shown.at(middle)
        if self.shown.is_doubtful:
            items.append(Label("ti t2 halo", x, y, f"if at all, {at}", anchor, dx, first))
        else:
            items.append(Label("tb halo", x, y, at, anchor, dx, first))
        if early is not None and late is not None:
            words = self.shown.between(early, late)
            items.append(Label("ti t2 halo", x, y, words, anchor, dx, second))
        return items

    # --- words ------------------------------------------------------------------------------------------------------
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
        steps = self.shown.limit_steps
        limit = self.shown.limit if self.shown.limit is not None else steps[0][1] if steps else None
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
    """One point per place, in order: the last reading of a place counts."""
    by_place = dict(sorted(points, key=itemgetter(0)))
    return list(by_place.items())
