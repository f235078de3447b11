"""Trends as drawings: the chart of each series on the page of a line, and first-pass yield by month."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from regenplant.drawing.scene import Scene
from regenplant.quality.rinse_series import Measure, Rinse, Series
from regenplant.quality.trends import LotTrend
from regenplant.quality.yields import YieldLine, Yields
from regenplant.web.drawing.control import Frame, Look, Point, control_chart
from regenplant.web.presenters.trends import (
    figure,
    limit_words,
    percent,
    point_words,
    series_sentence,
    what_of,
)
from regenplant.web.presenters.words import joined, sentence_case

SHOWN = 60
"""So many of the newest rinses are drawn; all of them stand in the table."""


@dataclass(frozen=True, slots=True)
class SeriesBlock:
    """One series on the page of a line."""

    title: str
    note: str
    sentence: str
    drifts: bool
    scene: Scene | None
    caption: str
    rinses: tuple[Rinse, ...]
    series: Series


def series_blocks(found: LotTrend) -> list[SeriesBlock]:
    return [_block(one) for one in found.series]


def _block(one: Series) -> SeriesBlock:
    unit = "bed volumes" if one.measure is Measure.VOLUME else "minutes"
    hidden = len(one.rinses) - SHOWN
    left = f", the last {SHOWN} of {len(one.rinses)}" if hidden > 0 else ""
    return SeriesBlock(
        title=one.recipe,
        note=limit_words(one.limit_siemens_per_m),
        sentence=series_sentence(one),
        drifts=one.drifts,
        scene=series_scene(one),
        caption=f"{unit} to the end point, oldest left{left}; dashed: weighted mean",
        rinses=one.rinses,
        series=one,
    )


def series_scene(one: Series) -> Scene:
    """The chart of a series, each point with the way to its batch."""
    first = max(0, len(one.rinses) - SHOWN)
    scale = 1 / 60 if one.measure is Measure.TIME else 1.0
    points = [_point(one, index, scale) for index in range(first, len(one.rinses))]
    limits, smooth = one.limits, one.chart.smooth[first:]
    frame = Frame()
    if limits is not None:
        frame = Frame(
            centre=limits.centre * scale,
            lower=limits.lower * scale if limits.lower > 0 else None,
            upper=limits.upper * scale,
            smooth=[None if value is None else value * scale for value in smooth],
        )
    label = f"{sentence_case(what_of(one.measure))}, line {one.line}, {one.recipe}. {series_sentence(one)}"
    return control_chart(points, frame, label=label)


def _point(one: Series, index: int, scale: float) -> Point:
    rinse, value = one.rinses[index], one.rinses[index].value(one.measure)
    assert value is not None
    look = Look.APART if rinse.is_rework else Look.PLAIN if rinse.is_reached else Look.AT_LEAST
    said = [figure(value, one.measure), point_words(one, index)]
    return Point(
        rinse.number,
        value * scale,
        url=reverse("batches-detail", args=[rinse.number]),
        look=look,
        is_called=bool(one.chart.rules_at(index)),
        says=", ".join(filter(None, said)),
    )


def month_scene(found: Yields) -> Scene | None:
    """First-pass yield by month with exact limits; None for fewer than two months."""
    if len(found.by_month) < 2:
        return None
    points = [_yield_point(line) for line in found.by_month[-24:]]
    share = found.yield_frac or 0.0
    below = [line.name for line in found.by_month if line.is_low]
    tail = f" Below chance: {joined(below)}." if below else " No month is below what chance explains."
    label = f"First-pass yield by month: {percent(share)} over {found.batches} batches.{tail if found.has_limits else ''}"
    centre = 100 * share if found.has_limits else None
    return control_chart(points, Frame(centre=centre, ceiling=102.0), label=label, height=230)


def _yield_point(line: YieldLine) -> Point:
    share = line.share
    return Point(
        line.name,
        100 * line.yield_frac,
        is_called=line.is_low,
        low=100 * share.low / share.trials if share is not None else None,
        high=100 * share.high / share.trials if share is not None else None,
    )
