"""A day plan over the hours: who stands in which vessel, and below it on the same hours what every batch shares, against its limit.

Each kind of stage has a pattern of its own, so that the drawing is read in grey. What may not be entered is hatched, as everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from regenplant.core.scheduling.loads import Load, LoadKind, Steps
from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import Part, PartKind, Stay, StayKind
from regenplant.drawing.scales import Axis, clock_ticks, moment
from regenplant.drawing.scene import WHOLE, Curve, Frame, Item, Label, Line, Link, Rect, Scene, px, share

LANE = 58.0
LOAD = 66.0
GAP = 16.0
_BAR_TOP, _BAR, _STRIP = 7.0, 44.0, 13.0
_PLOT_TOP, _PLOT = 24.0, 36.0
_NAME = 31.0
_CAPTION = 17.0
_LEFT = -76.0
_TICKS = 12
_NARROWEST = 820.0
"""So many pixels the hours take at least; narrower pages scroll them."""
_LETTER = 9.8
"""Pixels of a letter of a label, on the safe side."""
_STAYS = {
    StayKind.PLANNED: "bar-plan",
    StayKind.RUNNING: "bar-run",
    StayKind.CLOSED: "bar-lock",
}
_PARTS = {
    PartKind.HANDS: "inkf",
    PartKind.CHEMICAL: "bar-done",
    PartKind.CHECK: "hollow",
    PartKind.WAIT: "bar-wait",
}


@dataclass(frozen=True, slots=True)
class PlanDrawing:
    """What is drawn. Minutes count from ``zero``, a moment in the plant's zone."""

    zero: datetime
    shown: Window
    """From where to where."""
    now_min: float | None
    lanes: Sequence[tuple[str, Sequence[Stay]]]
    """Name of a vessel and who stands in it."""
    loads: Sequence[tuple[str, Load]]
    """Each with its caption."""
    nobody: Sequence[Window] = ()
    """When nobody works, as a quiet band."""
    links: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    """Address and name of a batch by its name in the plan."""


def day_plan_scene(plan: PlanDrawing) -> Scene:
    """The drawing with its hours above."""
    axis = Axis(float(plan.shown.start_min), float(plan.shown.end_min))
    loads_top = LANE * len(plan.lanes) + GAP
    height = loads_top + LOAD * len(plan.loads)
    items: list[Item] = [*_nobody(plan, axis, height), *_hours(plan, axis, height)]
    for number, (name, stays) in enumerate(plan.lanes):
        top = number * LANE
        items.append(Line("hl", px(_LEFT), px(top), WHOLE, px(top)))
        items.append(Label("lane-n", px(_LEFT), px(top + 40), name))
        for stay, after in zip(stays, (*stays[1:], None), strict=True):
            items += _stay(plan, axis, stay, top, 1.0 if after is None else axis.clamped(after.start_min))
    items.append(Line("ax", px(_LEFT), px(LANE * len(plan.lanes)), WHOLE, px(LANE * len(plan.lanes))))
    for number, (caption, load) in enumerate(plan.loads):
        items += _load(axis, caption, load, loads_top + number * LOAD)
    if plan.now_min is not None and axis.holds(plan.now_min):
        x = share(axis.share(plan.now_min))
        items.append(Line("now", x, px(-22), x, px(height)))
        now = moment(plan.zero, plan.now_min * 60)
        items.append(Label("tp tb halo", x, px(-28), f"now {now:%H:%M}", "middle"))
    return Scene(_sentence(plan), int(height), tuple(items))


def names_scene(plan: PlanDrawing) -> Scene:
    """The names of the vessels and the captions of what is shared once more, where they stand in the drawing: they stay in sight while its
    hours are scrolled."""
    items = [
        Label("lane-n", px(0), px(number * LANE + 40), name) for number, (name, _) in enumerate(plan.lanes)
    ]
    loads_top = LANE * len(plan.lanes) + GAP
    items += [
        Label("tb halo cap", px(0), px(loads_top + number * LOAD + _CAPTION), caption)
        for number, (caption, _) in enumerate(plan.loads)
    ]
    return Scene(
        "Names of the vessels, captions of what is shared.",
        int(loads_top + LOAD * len(plan.loads)),
        tuple(items),
    )


def _nobody(plan: PlanDrawing, axis: Axis, height: float) -> Iterator[Item]:
    for window in plan.nobody:
        left, right = axis.clamped(window.start_min), axis.clamped(window.end_min)
        if right > left:
            yield Rect("band", share(left), px(0), share(right - left), px(height))


def _hours(plan: PlanDrawing, axis: Axis, height: float) -> Iterator[Item]:
    start = moment(plan.zero, plan.shown.start_min * 60)
    length_s = (plan.shown.end_min - plan.shown.start_min) * 60
    near_now = 0.03 * (axis.high - axis.low)
    for seconds, text in clock_ticks(start, length_s, _TICKS):
        at = plan.shown.start_min + seconds / 60
        x = share(axis.clamped(at))
        is_midnight = text == "00:00"
        yield Line("ax" if is_midnight else "hl", x, px(0), x, px(height))
        words = f"{moment(start, seconds):%a %m-%d}" if is_midnight else text
        if plan.now_min is None or is_midnight or abs(at - plan.now_min) > near_now:
            yield Label("t2 tb" if is_midnight else "t2", x, px(-10), words, "middle")


def _stay(plan: PlanDrawing, axis: Axis, stay: Stay, top: float, free_to: float) -> list[Item]:
    """A bar; ``free_to`` is where the next one of the lane begins, up to which a name has room that the bar is too short for."""
    left, right = axis.clamped(stay.start_min), axis.clamped(stay.end_min)
    if right <= left:
        return []
    x, width = share(left), share(right - left)
    if stay.kind is StayKind.CLEANING:
        return [Rect("bar-clean", x, px(top + 22), width, px(14))]
    parts = [item for part in stay.parts for item in _part(part, axis, left, right)]
    items: list[Item] = [
        Rect(_STAYS[stay.kind], x, px(top + _BAR_TOP), width, px(_BAR)),
        Frame(x, px(top + _BAR_TOP), width, px(_BAR), tuple(parts)),
    ]
    if not stay.batch:
        return items
    url, name = plan.links.get(stay.batch, ("", stay.batch))
    late = f", {stay.late} late" if stay.late else ""
    words = f"{name} · {stay.tanks}{late}"
    is_outside = _room(right - left) < len(words) and _room(free_to - right) >= len(words)
    if is_outside:
        items.append(Label("tb halo", share(right), px(top + _NAME), words, dx=8))
    else:
        shown = next((one for one in (words, name) if len(one) <= _room(right - left)), "")
        if shown:
            items.append(Label("tb halo", x, px(top + _NAME), shown, dx=8))
    if not url:
        return items
    begins, ends = (moment(plan.zero, at * 60) for at in (stay.start_min, stay.end_min))
    when = f"{begins:%m-%d %H:%M} to {ends:%m-%d %H:%M}"
    if stay.kind is StayKind.RUNNING:
        when = f"under way, has its vessel until {ends:%m-%d %H:%M}"
    says = f"{name}: {stay.tanks} tanks{late}, {when}"
    return [Link(url, says, tuple(items), is_reached=True)]


def _room(of: float) -> int:
    """How many letters have room in a share of the hours, where they are drawn narrowest."""
    return int((of * _NARROWEST - 12) / _LETTER)


def _part(part: Part, axis: Axis, left: float, right: float) -> list[Item]:
    """A strip at the foot of the bar, which is drawn from ``left`` to ``right`` of the axis: of a bar that goes on on another day only
    the parts of the hours that are drawn."""
    role = _PARTS.get(part.kind)
    start, end = ((axis.clamped(at) - left) / (right - left) for at in (part.start_min, part.end_min))
    if role is None or end <= start:
        return []
    return [Rect(role, share(start), px(_BAR - _STRIP), share(end - start), px(_STRIP))]


def _load(axis: Axis, caption: str, load: Load, top: float) -> list[Item]:
    highest = max(amount for _, amount in (*load.taken, *load.room))
    up = Axis(0.0, 1.08 * highest if highest > 0 else 1.0)
    plot_top = top + _PLOT_TOP
    is_floor = load.kind is LoadKind.STOCK
    items: list[Item] = []
    for start, end, room in _spans(load.room, axis):
        y = plot_top + _PLOT * (1 - up.clamped(room))
        x, width = share(axis.clamped(start)), share(axis.clamped(end) - axis.clamped(start))
        edge, depth = (y, plot_top + _PLOT - y) if is_floor else (plot_top, y - plot_top)
        if depth > 0:
            items.append(Rect("forbid", x, px(edge), width, px(depth)))
        items.append(Line("lim", x, px(y), share(axis.clamped(end)), px(y)))
    points = _points(load, axis, up)
    area = (*points, (points[-1][0], 1.0), (points[0][0], 1.0))
    curves: tuple[Item, ...] = (Curve("flow", area, is_closed=True), Curve("ln", points))
    items.append(Frame(px(0), px(plot_top), WHOLE, px(_PLOT), curves))
    items.append(Line("ax", px(0), px(plot_top + _PLOT), WHOLE, px(plot_top + _PLOT)))
    items.append(Label("tb halo cap", px(_LEFT), px(top + _CAPTION), caption))
    return items


def _spans(steps: Steps, axis: Axis) -> Iterator[tuple[float, float, float]]:
    """(from, to, amount) of steps as far as they are on the axis."""
    ends = [at for at, _ in steps[1:]] + [axis.high]
    for (start, amount), end in zip(steps, ends, strict=True):
        start, end = max(start, axis.low), min(end, axis.high)
        if start < end:
            yield start, end, amount


def _points(load: Load, axis: Axis, up: Axis) -> tuple[tuple[float, float], ...]:
    """The line that is drawn, in shares from the upper left corner."""
    if load.is_sloped:
        inside = [(at, amount) for at, amount in load.taken if axis.low < at < axis.high]
        line = [
            (axis.low, _between(load.taken, axis.low)),
            *inside,
            (axis.high, _between(load.taken, axis.high)),
        ]
    else:
        line = [(at, amount) for start, end, amount in _spans(load.taken, axis) for at in (start, end)] or [
            (axis.low, load.taken[-1][1]),
            (axis.high, load.taken[-1][1]),
        ]
    return tuple((axis.clamped(at), 1 - up.clamped(amount)) for at, amount in line)


def _between(steps: Steps, at: float) -> float:
    """On the straight line between two entries; outside as at the nearest."""
    before = steps[0]
    for step in steps:
        if step[0] >= at:
            length = step[0] - before[0]
            return before[1] + (step[1] - before[1]) * (at - before[0]) / length if length else step[1]
        before = step
    return before[1]


def _sentence(plan: PlanDrawing) -> str:
    batches = sum(
        bool(stay.batch) and stay.kind is not StayKind.CLEANING for _, stays in plan.lanes for stay in stays
    )
    start, end = (moment(plan.zero, at * 60) for at in plan.shown)
    return (
        f"Which batch stands in which vessel from {start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}: {len(plan.lanes)} vessels, "
        f"{batches} batches; below, what they share against its limit. The same is in the tables."
    )
