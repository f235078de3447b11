"""Vessels over the hours: one lane each; done striped, running heavy with its progress, planned thin, held amber."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant.drawing.scales import Axis, clock_ticks, seconds_between
from regenplant.drawing.scene import WHOLE, Frame, Item, Label, Line, Rect, Scene, Symbol, px, share

LANE = 66.0
_BAR_TOP, _BAR = 8.0, 50.0
_ROLES = {
    "done": "bar-done",
    "running": "bar-run",
    "planned": "bar-plan",
    "held": "bar-held",
    "clean": "bar-clean",
    "locked": "bar-lock",
}


@dataclass(frozen=True, slots=True)
class LaneBar:
    """One stay in a vessel. ``state``: done, running, planned, held, clean (a clean-down), locked."""

    start: datetime
    end: datetime
    state: str
    name: str = ""
    note: str = ""
    is_pinned: bool = False


@dataclass(frozen=True, slots=True)
class Lane:
    """One vessel and its stays."""

    name: str
    bars: tuple[LaneBar, ...]


def vessel_lanes(
    lanes: Sequence[Lane], *, start: datetime, end: datetime, now: datetime | None = None
) -> Scene:
    """The lanes between two moments, times in the plant's zone. What lies outside is cut at the edge."""
    axis = Axis(0.0, seconds_between(start, end))
    height = LANE * len(lanes) + 4
    items: list[Item] = []
    for seconds, text in clock_ticks(start, axis.high, 9):
        x = share(axis.share(seconds))
        items.append(Line("hl", x, px(0), x, px(height)))
        if now is None or abs(seconds - seconds_between(start, now)) > 0.04 * axis.high:
            items.append(Label("t2", x, px(-10), text, "middle"))
    for number, lane in enumerate(lanes):
        top = number * LANE
        items.append(Line("hl", px(-76), px(top), WHOLE, px(top)))
        items.append(Label("lane-n", px(-76), px(top + 44), lane.name))
        for bar in lane.bars:
            items += _bar(bar, axis, start, top, now)
        for bar in lane.bars:
            items += _sign(bar, axis, start, top)
    items.append(Line("ax", px(-76), px(LANE * len(lanes)), WHOLE, px(LANE * len(lanes))))
    if now is not None and start <= now <= end:
        x = share(axis.share(seconds_between(start, now)))
        items.append(Line("now", x, px(-22), x, px(height)))
        items.append(Label("tp tb halo", x, px(-28), f"now {now:%H:%M}", "middle"))
    return Scene(_sentence(lanes, start, end), int(height), tuple(items))


def _bar(bar: LaneBar, axis: Axis, start: datetime, top: float, now: datetime | None) -> list[Item]:
    left = axis.clamped(seconds_between(start, bar.start))
    right = axis.clamped(seconds_between(start, bar.end))
    if right <= left:
        return []
    x, width = share(left), share(right - left)
    if bar.state == "clean":
        return [Rect("bar-clean", x, px(top + 22), width, px(14))]
    items: list[Item] = [Rect(_ROLES[bar.state], x, px(top + _BAR_TOP), width, px(_BAR))]
    if bar.state == "running" and now is not None:
        done = axis.clamped(seconds_between(start, min(now, bar.end)))
        items.append(Rect("inkf", x, px(top + _BAR_TOP + _BAR - 7), share(max(0.0, done - left)), px(6)))
    words = "bar-held-t" if bar.state == "held" else "halo"
    inside: tuple[Item, ...] = (
        Label(f"tb {words}", px(10), px(20), bar.name),
        Label(words, px(10), px(40), bar.note),
    )
    items.append(Frame(x, px(top + _BAR_TOP), width, px(_BAR), inside))
    return items


def _sign(bar: LaneBar, axis: Axis, start: datetime, top: float) -> list[Item]:
    """A pin or a held mark, riding on the end of the bar, in front of what comes next."""
    sign = "pin" if bar.is_pinned else "held" if bar.state == "held" else ""
    seconds = seconds_between(start, bar.end)
    if not sign or not axis.holds(seconds):
        return []
    role = "on-amber" if sign == "held" else ""
    return [Symbol(sign, share(axis.share(seconds)), px(top + _BAR_TOP), 22, role)]


def _sentence(lanes: Sequence[Lane], start: datetime, end: datetime) -> str:
    stays = sum(len([bar for bar in lane.bars if bar.state != "clean"]) for lane in lanes)
    return (
        f"Which batch stands in which vessel from {start:%H:%M} to {end:%H:%M}: {len(lanes)} vessels, {stays} stays. "
        "The same is in the list below."
    )
