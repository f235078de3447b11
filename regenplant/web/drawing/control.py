"""A control chart: one figure for each batch on its mean, with the limits, the weighted mean, and each point leading to its batch.

A point above the limits is a filled diamond with its name; one that was given up is an arrow upward, because the figure is that
much or more; a rework is a small open square beside the course of things. The forbidden side above the upper limit is hatched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.drawing.scales import Axis, tick_text
from regenplant.drawing.scene import (
    WHOLE,
    Anchor,
    Curve,
    Dot,
    Item,
    Label,
    Line,
    Link,
    Rect,
    Scene,
    Shape,
    px,
    share,
)


class Look(StrEnum):
    """How a point is drawn."""

    PLAIN = "plain"
    AT_LEAST = "at_least"
    APART = "apart"


@dataclass(frozen=True, slots=True)
class Point:
    """One batch. ``low`` and ``high`` are limits of its own, where each has other ones (yields)."""

    name: str
    value: float
    url: str = ""
    look: Look = Look.PLAIN
    is_called: bool = False
    """A rule calls it: amber, and no circle any more."""
    says: str = ""
    """What a reader is told who points at it."""
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Frame:
    """The lines of the chart, in the unit shown; None for those that are not said."""

    centre: float | None = None
    lower: float | None = None
    upper: float | None = None
    smooth: Sequence[float | None] = ()
    ceiling: float | None = None
    """The highest value that can be."""


def control_chart(points: Sequence[Point], frame: Frame, *, label: str, height: int = 300) -> Scene:
    """The points in the order given, oldest first, evenly apart: what counts is which came after which."""
    if not points:
        return Scene(f"{label}: nothing yet.", height, ())
    axis = _axis(points, frame)
    items: list[Item] = []
    for value in axis.ticks(5):
        y = share(1 - axis.share(value))
        items.append(Line("hl", px(0), y, WHOLE, y))
        items.append(Label("t2", px(0), y, tick_text(value), "end", dx=-10, dy=6))
    items += _limits(frame, axis)
    width = 1 / len(points)
    for number, point in enumerate(points):
        if point.low is not None and point.high is not None:
            top, bottom = 1 - axis.clamped(point.high), 1 - axis.clamped(point.low)
            items.append(Rect("band", share(number * width), share(top), share(width), share(bottom - top)))
    items += _smooth(frame.smooth, axis, width)
    items.append(Line("ax", px(0), px(0), px(0), WHOLE))
    items.append(Line("ax", px(0), WHOLE, WHOLE, WHOLE))
    # the newest of them carries its name: more names would cover each other
    named = max((number for number, point in enumerate(points) if point.is_called), default=None)
    for number, point in enumerate(points):
        items += _point(point, (number + 0.5) * width, 1 - axis.clamped(point.value), number == named)
    items.append(Label("t2", px(0), WHOLE, points[0].name, "start", dy=26))
    if len(points) > 1:
        items.append(Label("t2", WHOLE, WHOLE, points[-1].name, "end", dy=26))
    return Scene(label, height, tuple(items))


def _axis(points: Sequence[Point], frame: Frame) -> Axis:
    shown = [point.value for point in points]
    shown += [value for point in points for value in (point.low, point.high) if value is not None]
    shown += [value for value in (frame.centre, frame.lower, frame.upper) if value is not None]
    low, high = min(shown), max(shown)
    room = (high - low) * 0.12 or abs(high) * 0.1 or 1.0
    top = high + room if frame.ceiling is None else min(frame.ceiling, high + room)
    return Axis(max(0.0, low - room), top if top > low else low + room)


def _limits(frame: Frame, axis: Axis) -> list[Item]:
    items: list[Item] = []
    if frame.upper is not None:
        y = 1 - axis.clamped(frame.upper)
        items.append(Rect("forbid", px(0), px(0), WHOLE, share(y)))
        items.append(Line("lim", px(0), share(y), WHOLE, share(y)))
        items.append(Label("ti t2 halo", share(0.01), share(y), "upper limit", dy=-7))
    if frame.lower is not None:
        y = 1 - axis.clamped(frame.lower)
        items.append(Line("ax", px(0), share(y), WHOLE, share(y)))
        items.append(Label("ti t2 halo", share(0.01), share(y), "lower limit", dy=18))
    if frame.centre is not None:
        y = 1 - axis.clamped(frame.centre)
        items.append(Line("ax", px(0), share(y), WHOLE, share(y)))
        items.append(Label("ti t2 halo", share(0.01), share(y), "mean", dy=-6))
    return items


def _smooth(values: Sequence[float | None], axis: Axis, width: float) -> list[Item]:
    line = tuple(
        ((number + 0.5) * width, 1 - axis.clamped(value))
        for number, value in enumerate(values)
        if value is not None
    )
    return [Curve("fc", line)] if len(line) > 1 else []


def _point(point: Point, x: float, y: float, is_named: bool) -> list[Item]:
    at_x, at_y = share(x), share(y)
    shape: list[Item]
    role = "pt off" if point.is_called else "pt printed"
    if point.look is Look.AT_LEAST:
        shape = [
            Shape(
                role,
                at_x,
                at_y,
                ((0, -11), (7, 2), (2.5, 2), (2.5, 9), (-2.5, 9), (-2.5, 2), (-7, 2)),
            )
        ]
    elif point.look is Look.APART:
        shape = [Shape(role, at_x, at_y, ((-4, -4), (4, -4), (4, 4), (-4, 4)))]
    elif point.is_called:
        shape = [Shape(role, at_x, at_y, ((0, -8), (8, 0), (0, 8), (-8, 0)))]
    else:
        shape = [Dot(role, at_x, at_y, 5.5)]
    if is_named:
        anchor: Anchor = "start" if x < 0.15 else "end" if x > 0.85 else "middle"
        shape.append(Label("tb halo", at_x, at_y, point.name, anchor, dy=-15 if y > 0.14 else 26))
    if not point.url:
        return shape
    return [Link(point.url, f"{point.name}: {point.says}", (Dot("touch", at_x, at_y, 16), *shape))]
