"""Capacity left over the years: what was published as a band, what is believed now with its band, tests where they were sampled.

The time runs from the oldest delivery to two years ahead; what is ahead is dashed, because nobody knows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.drawing.scales import Axis
from regenplant.drawing.scene import WHOLE, Curve, Dot, Item, Label, Line, Link, Scene, Shape, px, share

HEIGHT = 320


@dataclass(frozen=True, slots=True)
class Band:
    """Share of new at one moment [-], ``years`` from now; below zero before now."""

    years: float
    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Tested:
    """One test at the moment its sample was taken. ``is_counted`` False: shown beside."""

    years: float
    value: float
    name: str
    says: str
    url: str
    is_counted: bool


@dataclass(frozen=True, slots=True)
class AgeingChart:
    """``published`` up to now, ``ahead`` from now on, both in order of time; ``in_use`` is what plans count with [-]."""

    published: Sequence[Band]
    now: Band
    ahead: Sequence[Band]
    tests: Sequence[Tested]
    in_use: float


def ageing_scene(chart: AgeingChart, *, label: str) -> Scene:
    """The drawing; percentages of new upward, years to the right."""
    shown = (
        [one.high for one in (*chart.published, chart.now, *chart.ahead)]
        + [one.value for one in chart.tests]
        + [chart.in_use]
    )
    least = (
        [one.low for one in (*chart.published, chart.now, *chart.ahead)]
        + [one.value for one in chart.tests]
        + [chart.in_use]
    )
    across = Axis(chart.published[0].years, chart.ahead[-1].years)
    up = Axis(max(0.0, min(least) - 0.05), max(shown) + 0.05)

    def at(years: float, value: float) -> tuple[float, float]:
        return across.clamped(years), 1.0 - up.clamped(value)

    items: list[Item] = []
    for value in up.ticks(5):
        y = share(1 - up.share(value))
        items.append(Line("hl", px(0), y, WHOLE, y))
        items.append(Label("t2", px(0), y, f"{100 * value:.0f} %", "end", dx=-10, dy=6))
    items.append(_area(chart.published, at))
    items.append(Curve("ax", tuple(at(one.years, one.mean) for one in chart.published)))
    items.append(_area(chart.ahead, at))
    items.append(Curve("fc", tuple(at(one.years, one.mean) for one in chart.ahead)))
    x_now, y_now = at(0.0, chart.now.mean)
    items.append(Line("ax", share(x_now), px(0), share(x_now), WHOLE))
    y_use = 1.0 - up.clamped(chart.in_use)
    items.append(Line("lim", px(0), share(y_use), WHOLE, share(y_use)))
    items.append(
        Label("ti t2 halo", share(0.01), share(y_use), "plans count with", dy=-7 if y_use > 0.12 else 19)
    )
    _, top = at(0.0, chart.now.high)
    _, bottom = at(0.0, chart.now.low)
    for one in chart.tests:
        items.append(_test(one, *at(one.years, one.value)))
    items.append(Line("lim", share(x_now), share(top), share(x_now), share(bottom)))
    items.append(Dot("pt last", share(x_now), share(y_now), 7))
    items.append(
        Label(
            "tb halo",
            share(x_now),
            share(y_now),
            f"{100 * chart.now.mean:.0f} %",
            "end" if x_now > 0.85 else "start",
            dx=-14 if x_now > 0.85 else 14,
            dy=6,
        )
    )
    items.append(Line("ax", px(0), px(0), px(0), WHOLE))
    items.append(Line("ax", px(0), WHOLE, WHOLE, WHOLE))
    items += _years(across)
    return Scene(label, HEIGHT, tuple(items))


def _area(bands: Sequence[Band], at: object) -> Curve:
    place = at  # a function of years and value
    assert callable(place)
    upper = [place(one.years, one.high) for one in bands]
    lower = [place(one.years, one.low) for one in reversed(bands)]
    return Curve("band", (*upper, *lower), is_closed=True)


def _test(one: Tested, x: float, y: float) -> Item:
    role = "pt off" if one.is_counted else "pt printed"
    diamond = ((0, -8), (8, 0), (0, 8), (-8, 0)) if one.is_counted else ((-5, -5), (5, -5), (5, 5), (-5, 5))
    marks: tuple[Item, ...] = (Dot("touch", share(x), share(y), 16), Shape(role, share(x), share(y), diamond))
    return Link(one.url, f"{one.name}: {one.says}", marks)


def _years(across: Axis) -> list[Item]:
    """Ticks at whole years; "now" always, others where they are far enough from it and from each other."""
    items: list[Item] = [Label("tb", share(across.clamped(0.0)), WHOLE, "now", "middle", dy=26)]
    for value in across.ticks(6):
        x = across.share(value)
        if abs(x - across.share(0.0)) > 0.09 and 0.0 <= x <= 1.0:
            words = f"{'−' if value < 0 else '+'}{abs(value):g} a"
            items.append(
                Label(
                    "t2",
                    share(x),
                    WHOLE,
                    words,
                    "start" if x < 0.06 else "end" if x > 0.94 else "middle",
                    dy=26,
                )
            )
    return items
