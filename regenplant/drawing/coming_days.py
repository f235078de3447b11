"""Days ahead: the course of a stock over its lowest mark, and the hours that are asked of people against those that are there.

What a plan says is drawn whole, what the record of other weeks says broken: the two are told apart in grey.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from regenplant.drawing.scales import Axis, tick_text
from regenplant.drawing.scene import WHOLE, Curve, Frame, Item, Label, Line, Rect, Scene, Shape, px, share

HEIGHT = 182
_PLOT = 158.0
"""Pixels of the plot; below it stand the days."""
_BAR = 0.62
"""Share of a day's width."""
_DOWN = ((0.0, 0.0), (-7.0, -12.0), (7.0, -12.0))


@dataclass(frozen=True, slots=True)
class StockLine:
    """Of one tank, in the unit shown; one value for each day."""

    name: str
    days: Sequence[date]
    likely: Sequence[float]
    fewest: Sequence[float]
    """Where more is used than likely."""
    most: Sequence[float]
    low: float
    planned: int
    """How many of the first days a plan says."""
    arrivals: Sequence[tuple[int, str]]
    """Day from which a delivery counts, and its number."""
    unit: str


def stock_scene(stock: StockLine) -> Scene:
    """The course from today on, with the band of nine courses in ten."""
    count = len(stock.days)
    up = Axis(0.0, 1.12 * max(*stock.most, *stock.likely, stock.low, 1e-9))

    def at(day: int) -> float:
        return (day + 0.5) / count

    def points(values: Sequence[float], first: int, last: int) -> tuple[tuple[float, float], ...]:
        return tuple((at(day), 1 - up.clamped(values[day])) for day in range(first, last + 1))

    items: list[Item] = [*_scale(up, stock.unit), *_days(stock.days)]
    if stock.low > 0.0:
        y = 1 - up.clamped(stock.low)
        items.append(Rect("forbid", px(0), share(y), WHOLE, share(1 - y)))
        items.append(Line("lim", px(0), share(y), WHOLE, share(y)))
        items.append(Label("ti t2 halo", share(0.01), share(y), "low mark", dy=-6))
    last = count - 1
    band = (*points(stock.most, 0, last), *reversed(points(stock.fewest, 0, last)))
    items.append(Curve("band", band, is_closed=True))
    behind = max(0, stock.planned - 1)
    if stock.planned > 1:
        items.append(Curve("ln", points(stock.likely, 0, behind)))
    if behind < last:
        items.append(Curve("fc", points(stock.likely, behind, last)))
    for day, number in stock.arrivals:
        if 0 <= day < count:
            items.append(Shape("pt printed", share(at(day)), px(14), _DOWN))
            items.append(Label("t2 halo", share(at(day)), px(12), number, dx=11))
    items.append(Line("ax", px(0), WHOLE, WHOLE, WHOLE))
    return Scene(_stock_sentence(stock), HEIGHT, (_plot(items),))


@dataclass(frozen=True, slots=True)
class HoursLine:
    """Of people of one kind [h]; one value for each day. ``asked`` None where neither plan nor record says anything."""

    name: str
    days: Sequence[date]
    asked: Sequence[float | None]
    there: Sequence[float | None]
    over: Sequence[float]
    planned: int


def hours_scene(hours: HoursLine) -> Scene:
    """A bar for each day, what is beyond the working hours hatched, a line for what is there."""
    known = [value for value in (*hours.asked, *hours.there) if value is not None]
    up = Axis(0.0, 1.18 * max(*known, 1.0) if known else 1.0)
    width = 1 / len(hours.days)
    items: list[Item] = [*_scale(up, "h"), *_days(hours.days)]
    for day, (asked, there, over) in enumerate(zip(hours.asked, hours.there, hours.over, strict=True)):
        x = share((day + (1 - _BAR) / 2) * width)
        if asked:
            y = 1 - up.clamped(asked)
            role = "bar-run" if day < hours.planned else "bar-clean"
            items.append(Rect(role, x, share(y), share(_BAR * width), share(1 - y)))
            if over > 0.0:
                part = up.share(min(over, asked))
                items.append(Rect("bar-lock", x, share(y), share(_BAR * width), share(part)))
        if there is not None:
            y = 1 - up.clamped(there)
            left, right = share(day * width) if day else px(0), share((day + 1) * width)
            items.append(Line("lim", left, share(y), right, share(y)))
    items.append(Line("ax", px(0), WHOLE, WHOLE, WHOLE))
    return Scene(_hours_sentence(hours), HEIGHT, (_plot(items),))


def _plot(items: Sequence[Item]) -> Frame:
    return Frame(px(0), px(0), WHOLE, px(_PLOT), tuple(items), is_open=True)


def _scale(up: Axis, unit: str) -> Iterator[Item]:
    for value in up.ticks(3):
        y = share(1 - up.share(value))
        yield Line("hl", px(0), y, WHOLE, y)
        yield Label("t2", px(0), y, tick_text(value) if value else f"0 {unit}", "end", dx=-8, dy=5)


def _days(days: Sequence[date]) -> Iterator[Item]:
    """Below every second its day of the month and of the week, so that they stand apart on a phone; a stroke before each Monday."""
    for number, day in enumerate(days):
        if number % 2 == 0:
            x = share((number + 0.5) / len(days))
            yield Label("t2", x, WHOLE, f"{day:%d}", "middle", dy=20)
            yield Label("t2", x, WHOLE, f"{day:%a}"[:2], "middle", dy=38)
        if day.weekday() == 0 and number:
            edge = share(number / len(days))
            yield Line("hl", edge, px(0), edge, WHOLE)


def _stock_sentence(stock: StockLine) -> str:
    below = next((day for day, kg in zip(stock.days, stock.likely, strict=True) if kg < stock.low), None)
    when = f"likely under its low mark on {below}" if below else "likely above its low mark all the time"
    return (
        f"{stock.name} from {stock.days[0]} to {stock.days[-1]}: {tick_text(stock.likely[0])} {stock.unit} to "
        f"{tick_text(stock.likely[-1])} {stock.unit}, {when}. The same stands in the table."
    )


def _hours_sentence(hours: HoursLine) -> str:
    over = [f"{day}" for day, own in zip(hours.days, hours.over, strict=True) if own > 0.0]
    said = (
        f"beyond the working hours on {', '.join(over)}" if over else "within the working hours on every day"
    )
    return f"Hours asked of {hours.name} from {hours.days[0]} to {hours.days[-1]}: {said}. The same stands in the table."
