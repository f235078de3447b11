"""The limit bar on paper: the allowed span open, the rest hatched, the limits with their numbers, the target as a diamond.

A person may mark on it by hand where the value stands. Where a limit stands on the bar is a convention of the drawing,
not a scale: only the place of the target between two limits is to scale (logarithmic for conductivity and resistivity).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from regenplant import units
from regenplant.documents.faces import INK, PAPER, SMALL, SMALL_STRONG, width_of
from regenplant.documents.flow import Block, paragraph, stacked
from regenplant.documents.pen import Pen
from regenplant.documents.texts import both, limit_number, limit_words, limit_words_other

_LOW_AT, _HIGH_AT, _ALONE_AT = 0.22, 0.78, 0.4
_THICKNESS = 6.0
_NUMBER_DROP = 9.5
HEIGHT = 3.0 + _THICKNESS + _NUMBER_DROP + 1.5


@dataclass(frozen=True, slots=True)
class Bar:
    """Where everything stands, as shares of the width; None: no limit on that side."""

    low_at: float | None
    high_at: float | None
    target_at: float | None


def arranged(low: float | None, high: float | None, target: float | None, kind: str) -> Bar:
    """The places of limits and target. Raises ValueError when the low limit is above the high one."""
    if low is not None and high is not None:
        if low > high:
            raise ValueError(f"the low limit {low} is above the high limit {high}")
        at_end = low <= units.kind_named(kind).low
        low_at = 0.0 if at_end else _LOW_AT
        return Bar(low_at, _HIGH_AT, _between(target, low, high, kind, low_at))
    if low is not None:
        return Bar(_ALONE_AT, None, _beyond(target, low, _ALONE_AT))
    if high is not None:
        return Bar(None, 1.0 - _ALONE_AT, _beyond(target, high, 1.0 - _ALONE_AT))
    return Bar(None, None, None)


def _between(target: float | None, low: float, high: float, kind: str, low_at: float) -> float | None:
    if target is None or not low <= target <= high:
        return None
    if high == low:
        return _HIGH_AT
    share = (target - low) / (high - low)
    if kind in ("conductivity", "resistivity") and low > 0:
        share = math.log(target / low) / math.log(high / low)
    return low_at + share * (_HIGH_AT - low_at)


def _beyond(target: float | None, limit: float, limit_at: float) -> float | None:
    """A target beside a single limit: on the limit, or well inside."""
    if target is None:
        return None
    if math.isclose(target, limit):
        return limit_at
    inside = 0.7 if limit_at < 0.5 else 0.3
    return inside if (target > limit) == (limit_at < 0.5) else None


def limit_bar(
    low: float | None, high: float | None, target: float | None, kind: str, system: str, width: float
) -> Block:
    """The bar with its numbers in the units that stand first; the same in the other units belongs below it."""
    bar = arranged(low, high, target, kind)
    is_pair = low is not None and high is not None and bar.low_at != 0.0

    def draw(pen: Pen, x: float, y: float) -> None:
        top, base = y + 3.0, y + 3.0 + _THICKNESS + _NUMBER_DROP
        pen.box(x, top, width, _THICKNESS, stroke=INK, weight=0.6)
        if bar.low_at:
            pen.hatch(x, top, bar.low_at * width, _THICKNESS)
        if bar.high_at is not None:
            pen.hatch(x + bar.high_at * width, top, (1.0 - bar.high_at) * width, _THICKNESS)
        for place in (bar.low_at, bar.high_at):
            if place:
                pen.rule(x + place * width, top - 2.5, x + place * width, top + _THICKNESS + 2.5, weight=1.2)
        if bar.target_at is not None:
            _diamond(pen, x + bar.target_at * width, top + _THICKNESS / 2)
        if is_pair:
            _pair(
                pen,
                x,
                base,
                bar,
                (limit_number(low or 0.0, kind, system), limit_number(high or 0.0, kind, system)),
                width,
            )
            unit = units.unit_text(kind, system)
            if unit:
                pen.text(x + width + 3, base, unit, SMALL)
        else:
            pen.text(x, base, limit_words(low, high, kind, system), SMALL_STRONG)

    return Block(HEIGHT, draw)


def _pair(pen: Pen, x: float, base: float, bar: Bar, texts: tuple[str, str], width: float) -> None:
    """The two numbers below their ticks, apart from each other and not beyond the end of the bar."""
    for place, text in zip((bar.low_at or 0.0, bar.high_at or 1.0), texts, strict=True):
        half = width_of(text, SMALL_STRONG.face, SMALL_STRONG.size) / 2
        centre = min(max(x + place * width, x + half), x + width - half)
        pen.text(centre, base, text, SMALL_STRONG, anchor="middle")


def limit_cell(
    low: float | None, high: float | None, target: float | None, kind: str, system: str, width: float
) -> Block:
    """Bar, numbers with their unit, and the limits in the other units; a plan value alone where nothing is limited."""
    if low is None and high is None:
        return paragraph(
            f"planned {both(target, kind, system)}" if target is not None else "no limit", SMALL, width
        )
    unit = units.unit_text(kind, system)
    room = width_of(unit, SMALL.face, SMALL.size) + 6 if unit else 4.0
    bar = limit_bar(low, high, target, kind, system, max(width - max(room, 24.0), width * 0.6))
    twin = limit_words_other(low, high, kind, system)
    return stacked([bar, paragraph(twin, SMALL, width)]) if twin else bar


def _diamond(pen: Pen, x: float, y: float) -> None:
    pen.polygon([(x, y - 4.6), (x + 3.1, y), (x, y + 4.6), (x - 3.1, y)], fill=PAPER, stroke=INK, weight=0.9)
