"""A tank from the side with what stands in it: the shape on record, the filling, and the levels that matter, each with its words.

The filling is what was counted; the books, the low mark and the highest level that is filled are lines. Levels are those that the gauge shows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.engineering.tank_levels import Ends, TankForm, TankShape, end_depth_m
from regenplant.drawing.scene import Curve, Item, Label, Line, Scene, px, share

HEIGHT = 280
_TOP, _BOTTOM = 0.05, 0.97
"""Share of the drawing's height at which the tank begins and ends."""
_WIDTH = 0.36
_STEP = 21.0
"""Least distance of two lines of words [px]."""


@dataclass(frozen=True, slots=True)
class LevelMark:
    """One level over the lowest point inside [m], its words, and the look of its line: "ln" ink, "fc" dashed, "lim" a limit."""

    level_m: float
    words: str
    role: str


def tank_level(
    shape: TankShape,
    filled_m: float | None,
    marks: Sequence[LevelMark],
    label: str,
    *,
    tank_share: float = _WIDTH,
) -> Scene:
    """The drawing. ``filled_m`` is the level of the filling over the lowest point [m], None for an unknown one.

    ``tank_share`` of its width is the tank, the rest is for words: less where the words are long, so that a phone shows them whole.
    """
    full = shape.full_level_m
    half = _half_widths(shape)
    items: list[Item] = [_outline("ok", half, 1.0, tank_share)]
    if filled_m is not None and filled_m > 0.0:
        items.append(_outline("flow", half, min(filled_m / full, 1.0), tank_share))
    items += _marks([mark for mark in marks if 0.0 <= mark.level_m <= full * 1.0001], full, tank_share)
    said = "; ".join(mark.words for mark in marks)
    return Scene(f"{label}: {said}." if said else label, HEIGHT, tuple(items))


def _half_widths(shape: TankShape) -> list[tuple[float, float]]:
    """(share of the full level, half width as a share of the widest), from the bottom up."""
    rows = 48
    full = shape.full_level_m
    return [(index / rows, _half_width(shape, full * index / rows)) for index in range(rows + 1)]


def _half_width(shape: TankShape, level: float) -> float:
    if shape.form in (TankForm.BOX, TankForm.TABLE) or shape.ends is Ends.FLAT:
        return 1.0
    radius, depth = shape.diameter_m / 2.0, end_depth_m(shape.ends, shape.diameter_m)
    if shape.form is TankForm.UPRIGHT:
        return math.sqrt(max(1.0 - (1.0 - min(level / depth, 1.0)) ** 2, 0.0))
    out = depth * math.sqrt(max(1.0 - ((level - radius) / radius) ** 2, 0.0))
    return (shape.length_m / 2.0 + out) / (shape.length_m / 2.0 + depth)


def _y(level_share: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * level_share


def _outline(role: str, half: Sequence[tuple[float, float]], upto: float, tank_share: float) -> Curve:
    """The shape up to a share of its full level, in shares of the drawing."""
    rows = [(at, width) for at, width in half if at <= upto]
    if rows[-1][0] < upto:
        rows.append((upto, next(width for at, width in half if at > upto)))
    middle = tank_share / 2.0
    left = [(middle - middle * width, _y(at)) for at, width in rows]
    right = [(middle + middle * width, _y(at)) for at, width in reversed(rows)]
    return Curve(role, tuple(left + right), is_closed=True)


def _marks(marks: Sequence[LevelMark], full: float, tank_share: float) -> list[Item]:
    """Lines from the tank to their words; words that would meet are moved apart, the lines lead to them."""
    ordered = sorted(marks, key=lambda mark: -mark.level_m)
    places = [_y(mark.level_m / full) * HEIGHT for mark in ordered]
    texts: list[float] = []
    for place in places:
        texts.append(max(place, texts[-1] + _STEP if texts else 12.0))
    over = texts[-1] - (HEIGHT - 6.0) if texts else 0.0
    if over > 0.0:
        for index in range(len(texts) - 1, -1, -1):
            texts[index] = min(texts[index], HEIGHT - 6.0 - _STEP * (len(texts) - 1 - index))
    items: list[Item] = []
    for mark, place, text in zip(ordered, places, texts, strict=True):
        items += [
            Line(mark.role, share(0.0), px(place), share(tank_share), px(place)),
            Line("hl", share(tank_share), px(place), share(tank_share + 0.04), px(text)),
            Label("", share(tank_share + 0.05), px(text), mark.words, dy=5.0),
        ]
    return items
