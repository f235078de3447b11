"""The limit bar: one value, what is allowed, where it stands, said in words as well.

The allowed span is open paper, the rest is hatched. The pointer is solid ink within, hollow while a wanted value
is not reached yet, red outside. A value beyond the scale stands at the end of it and the words say so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from regenplant import units
from regenplant.drawing.scales import Axis, tick_text
from regenplant.drawing.scene import Item, Label, Length, Line, Rect, Scene, Shape, px, share

NEAR_FRAC = 0.06
"""Within this share of the allowed span (of the limit itself where there is only one) a value is "near the
limit". A convention of this display, not a rule of the process."""

HEIGHT = 58
_TOP, _BASE, _TICK_END, _TEXT = 16.0, 32.0, 37.0, 54.0

Expectation = Literal["keep", "reach"]
ScaleKind = Literal["", "even", "log"]


class Standing(StrEnum):
    """Where a value stands against its limits."""

    UNWRITTEN = "unwritten"
    UNLIMITED = "unlimited"
    WITHIN = "within"
    NEAR = "near"
    BELOW = "below"
    ABOVE = "above"
    NOT_YET = "not_yet"
    MET = "met"


_TONES = {Standing.BELOW: "low", Standing.ABOVE: "low", Standing.NEAR: "near"}


@dataclass(frozen=True, slots=True)
class LimitBar:
    """What the component shows: texts already formatted, and the drawing."""

    caption: str
    value_text: str
    unit: str
    other: str
    verdict: str
    standing: Standing
    is_off_scale: bool
    scene: Scene

    @property
    def tone(self) -> str:
        """Class of the verdict's word: "low" outside, "near" at the edge, else ""."""
        return _TONES.get(self.standing, "")


@dataclass(frozen=True, slots=True)
class Limits:
    """What is allowed, in the unit shown. None means no limit on that side."""

    low: float | None = None
    high: float | None = None
    target: float | None = None

    def __post_init__(self) -> None:
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"the low limit {self.low} is above the high limit {self.high}")

    def standing(self, value: float | None, expects: Expectation = "keep") -> Standing:
        """Where the value stands. ``expects`` "reach" makes an unmet limit "not yet" instead of outside."""
        if value is None:
            return Standing.UNWRITTEN
        if self.low is None and self.high is None:
            return Standing.UNLIMITED
        if self.low is not None and value < self.low:
            return Standing.NOT_YET if expects == "reach" else Standing.BELOW
        if self.high is not None and value > self.high:
            return Standing.NOT_YET if expects == "reach" and self.low is None else Standing.ABOVE
        if expects == "reach":
            return Standing.MET
        return Standing.NEAR if self._nearest(value) < self._near_width() else Standing.WITHIN

    def _nearest(self, value: float) -> float:
        gaps = [abs(value - limit) for limit in (self.low, self.high) if limit is not None]
        return min(gaps)

    def _near_width(self) -> float:
        if self.low is not None and self.high is not None:
            return NEAR_FRAC * (self.high - self.low)
        only = self.high if self.low is None else self.low
        return NEAR_FRAC * abs(only or 0.0)


def limit_bar(
    *,
    caption: str,
    value: float | None,
    kind: str = "",
    unit: str = "",
    low: float | None = None,
    high: float | None = None,
    target: float | None = None,
    earlier: Sequence[float] = (),
    scale: ScaleKind = "",
    expects: Expectation = "keep",
    scale_low: float | None = None,
    scale_high: float | None = None,
    verdict: str = "",
    other: str = "",
    system: str = "metric",
) -> LimitBar:
    """One value against its limits.

    With ``kind`` every number is SI and is shown in the units of ``system``; without it they are shown as they
    come. ``unit`` replaces the unit's text ("% HCl"). ``scale`` "" takes a log axis for resistivity and conductivity. ``verdict`` and ``other``
    replace the words found here (a page that knows the rule says so; then the edge is not coloured). Raises: ValueError when the low limit is above the high one.
    """
    show = _Shown(kind, system, unit)
    limits = Limits(show.number(low), show.number(high), show.number(target))
    shown = show.number(value)
    standing = limits.standing(shown, expects)
    if verdict and standing is Standing.NEAR:
        standing = Standing.WITHIN
    axis = _axis(limits, shown, _is_log(scale, kind), show.number(scale_low), show.number(scale_high))
    is_off = shown is not None and not axis.holds(shown)
    words = verdict or _verdict(limits, shown, standing, show)
    if is_off:
        words = f"{words}: off scale"
    value_text, unit_text = (
        show.so_far(value, low) if standing is Standing.NOT_YET else show.text(value),
        show.unit,
    )
    other_text = other or (units.other_system(value, kind, system) if kind and value is not None else "")
    said = " ".join(filter(None, (value_text, unit_text)))
    sentence = f"{caption}: {said}, {words}.{limit_sentence(low, high, kind=kind, unit=unit, system=system)}"
    scene = Scene(
        sentence,
        HEIGHT,
        tuple(_items(axis, limits, shown, standing, show, [show.number(e) for e in earlier])),
    )
    return LimitBar(caption, value_text, unit_text, other_text, words, standing, is_off, scene)


def limit_text(
    low: float | None, high: float | None, *, kind: str = "", unit: str = "", system: str = "metric"
) -> str:
    """The limits in words: "60 to 73 L/min", "at least 10 MΩ·cm", "at most 1 mg/L", "" for none."""
    if kind and not unit:
        return units.limit_words(low, high, kind, system)
    show = _Shown(kind, system, unit)
    tail = f"{units.NO_BREAK_SPACE}{show.unit}" if show.unit else ""
    if low is not None and high is not None:
        return f"{show.tick(low)} to {show.tick(high)}{tail}"
    if low is not None:
        return f"at least {show.tick(low)}{tail}"
    if high is not None:
        return f"at most {show.tick(high)}{tail}"
    return ""


def limit_sentence(
    low: float | None, high: float | None, *, kind: str = "", unit: str = "", system: str = "metric"
) -> str:
    """`` Limit 60 to 73 L/min.`` with its leading space, or "" when there is no limit."""
    text = limit_text(low, high, kind=kind, unit=unit, system=system)
    return f" Limit {text}." if text else ""


@dataclass(frozen=True, slots=True)
class _Shown:
    """How numbers of one kind are shown."""

    kind: str
    system: str
    plain_unit: str

    @property
    def unit(self) -> str:
        return self.plain_unit or (units.unit_text(self.kind, self.system) if self.kind else "")

    def number(self, value: float | None) -> float | None:
        if value is None or not self.kind:
            return value
        return units.shown_value(value, self.kind, self.system)

    def text(self, value: float | None) -> str:
        if not self.kind:
            return "–" if value is None else units.format_number(value)
        return units.format_quantity(value, self.kind, self.system, with_unit=False)

    def so_far(self, value: float | None, needed: float | None) -> str:
        """A value that is not there yet: never with the number that it has to reach."""
        if value is None or needed is None or not self.kind:
            return self.text(value)
        return units.format_so_far(value, needed, self.kind, self.system, with_unit=False)

    def tick(self, value: float) -> str:
        return (
            units.limit_number(value, self.kind, self.system) if self.kind else self._shorn(self.text(value))
        )

    def gap(self, width: float) -> str:
        """A difference in the unit shown, with the digits of the kind; "" when it rounds to nothing."""
        digits, decimals = 4, 3
        if self.kind:
            kind = units.kind_named(self.kind)
            digits, decimals = kind.digits, kind.decimals[self.system == "us"]
        if width < 0.5 * 10.0**-decimals:
            return ""
        return self._shorn(units.format_number(width, digits=digits, decimals=decimals))

    @staticmethod
    def _shorn(text: str) -> str:
        if "." not in text or "×" in text:
            return text
        return text.rstrip("0").rstrip(".")


def _is_log(scale: ScaleKind, kind: str) -> bool:
    return scale == "log" or (scale == "" and kind in ("resistivity", "conductivity"))


def _verdict(limits: Limits, value: float | None, standing: Standing, show: _Shown) -> str:
    plain = {
        Standing.UNWRITTEN: "not written",
        Standing.UNLIMITED: "no limit",
        Standing.WITHIN: "within",
        Standing.NOT_YET: "not yet",
        Standing.MET: "met",
    }
    if standing in plain or value is None:
        return plain.get(standing, "")
    if standing is Standing.BELOW and limits.low is not None:
        gap = show.gap(limits.low - value)
        return f"{gap} below the limit" if gap else "just below the limit"
    if standing is Standing.ABOVE and limits.high is not None:
        gap = show.gap(value - limits.high)
        return f"{gap} above the limit" if gap else "just above the limit"
    gaps = [abs(value - limit) for limit in (limits.low, limits.high) if limit is not None]
    gap = show.gap(min(gaps))
    return f"{gap} from the limit" if gap else "at the limit"


def _axis(limits: Limits, value: float | None, is_log: bool, low: float | None, high: float | None) -> Axis:
    """The scale: the allowed span in the middle third, or the limit three quarters along a one-sided scale."""
    positive = [v for v in (limits.low, limits.high, limits.target, value) if v is not None and v > 0]
    if is_log and positive and (limits.low is None or limits.low > 0):
        auto_low, auto_high = _log_ends(limits, positive)
    else:
        is_log = False
        auto_low, auto_high = _even_ends(limits, value)
    start, end = auto_low if low is None else low, auto_high if high is None else high
    if start >= end:
        end = start + (abs(start) or 1.0)
    return Axis(start, end, is_log and start > 0)


def _log_ends(limits: Limits, positive: list[float]) -> tuple[float, float]:
    if limits.low is not None and limits.high is not None and limits.high > limits.low:
        span = limits.high / limits.low
        return limits.low / span, limits.high * span
    if limits.low is not None:
        return limits.low / 100, max(limits.low * 1.83, min(max(positive) * 1.1, limits.low * 20))
    if limits.high is not None:
        return min(limits.high / 1.83, max(min(positive) / 1.1, limits.high / 20)), limits.high * 100
    return min(positive) / 3, max(positive) * 3


def _even_ends(limits: Limits, value: float | None) -> tuple[float, float]:
    low, high = limits.low, limits.high
    if low is not None and high is not None:
        span = (high - low) or abs(high) or 1.0
        start, end = low - span, high + span
        return (max(0.0, start) if low >= 0 else start), end
    if low is not None:
        reach = max(low / 0.75, (value or low) * 1.1) if low > 0 else max(low + 1.0, value or 0.0)
        return min(0.0, low), reach
    if high is not None:
        return min(0.0, 2 * high), max(2 * high, high + 1.0) if high <= 0 else 2 * high
    shown = abs(value or 0.0)
    return min(0.0, value or 0.0) * 1.5, (shown or 1.0) * 1.5


def _items(
    axis: Axis,
    limits: Limits,
    value: float | None,
    standing: Standing,
    show: _Shown,
    earlier: list[float | None],
) -> list[Item]:
    start = axis.clamped(limits.low) if limits.low is not None else 0.0
    end = axis.clamped(limits.high) if limits.high is not None else 1.0
    items: list[Item] = []
    if start > 0:
        items.append(_block("forbid", 0.0, start))
    if end < 1:
        items.append(_block("forbid", end, 1.0))
    items.append(Line("ax", share(0), px(_BASE), share(1), px(_BASE)))
    items.append(_block("ok", start, end))
    items += _limit_ticks(axis, limits, show)
    items += [
        Line("ghost", share(axis.clamped(e)), px(18), share(axis.clamped(e)), px(30))
        for e in earlier
        if e is not None
    ]
    if limits.target is not None and axis.holds(limits.target):
        items.append(
            Shape("hollow", share(axis.clamped(limits.target)), px(24), ((0, -9), (6, 0), (0, 9), (-6, 0)))
        )
    if value is not None:
        items += _pointer(axis.clamped(value), standing)
    return items


def _block(role: str, start: float, end: float) -> Rect:
    return Rect(role, share(start), px(_TOP), share(end - start), px(_BASE - _TOP))


def _limit_ticks(axis: Axis, limits: Limits, show: _Shown) -> list[Item]:
    places = [(axis.clamped(v), v) for v in (limits.low, limits.high) if v is not None]
    is_tight = len(places) == 2 and places[1][0] - places[0][0] < 0.16
    items: list[Item] = []
    for index, (place, number) in enumerate(places):
        at = share(place)
        items.append(Line("lim", at, px(12), at, px(_TICK_END)))
        anchor, dx = _anchor(place)
        if is_tight:
            anchor, dx = ("end", 4.0) if index == 0 else ("start", -4.0)
        items.append(Label("t2", at, px(_TEXT), _limit_number(number, show), anchor, dx))
    return items


def _limit_number(shown: float, show: _Shown) -> str:
    """The tick's number; it is already in the unit shown."""
    if not show.kind:
        return tick_text(shown)
    return show._shorn(units.format_shown(shown, show.kind, show.system))


def _anchor(place: float) -> tuple[Literal["start", "middle", "end"], float]:
    """Text at the ends of the scale turns inward, so that it never leaves the drawing."""
    if place < 0.06:
        return "start", 0.0
    if place > 0.94:
        return "end", 0.0
    return "middle", 0.0


def _pointer(place: float, standing: Standing) -> list[Item]:
    is_out = standing in (Standing.BELOW, Standing.ABOVE)
    stem = "redf" if is_out else "inkf"
    head = "hollow" if standing is Standing.NOT_YET else stem
    at: Length = share(place)
    top = px(0)
    if math.isclose(place, 0.0):
        at = px(0)
    return [
        Shape(stem, at, top, ((-1.5, 12), (1.5, 12), (1.5, 32), (-1.5, 32))),
        Shape(head, at, top, ((-10, 1), (10, 1), (0, 15))),
    ]
