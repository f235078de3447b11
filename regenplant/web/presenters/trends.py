"""Trends in words and drawings: the window, what drifts, the chart of a series, yields and where failures gather."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from enum import StrEnum

from django.urls import reverse

from regenplant import units
from regenplant.batches.causes import CAUSES
from regenplant.core.process.control_charts import BASELINE, FEWEST, FIRM, RECENT, Rule
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.drawing.scene import Scene
from regenplant.quality.models import RinseOutcome, TrendAlert
from regenplant.quality.trends import (
    FEWEST_FOR_YIELD,
    Failures,
    LotTrend,
    Measure,
    Rinse,
    Series,
    Trends,
    YieldLine,
    Yields,
    rules_of,
)
from regenplant.web.drawing.control import Frame, Look, Point, control_chart
from regenplant.web.presenters.words import counted, joined, sentence_case

SHOWN = 60
"""So many of the newest rinses are drawn; all of them stand in the table."""
FIRST_DAY = date(2000, 1, 1)
UNSAID = "nobody said yet"


class WindowName(StrEnum):
    QUARTER = "90_days"
    YEAR = "12_months"
    ALL = "all"
    DATES = "dates"

    @property
    def label(self) -> str:
        return {"90_days": "90 days", "12_months": "12 months", "all": "All", "dates": "Dates"}[self]


@dataclass(frozen=True, slots=True)
class Window:
    """Whole days at the plant, both counted in."""

    name: WindowName
    first: date
    last: date

    @property
    def words(self) -> str:
        if self.name is WindowName.DATES:
            return f"from {self.first.isoformat()} to {self.last.isoformat()}"
        return {"90_days": "in the last 90 days", "12_months": "in the last 12 months", "all": "ever"}[
            self.name
        ]

    def bounds(self, zone: tzinfo) -> tuple[datetime, datetime]:
        """From the first midnight at the plant up to, not including, the midnight after the last day."""
        return (
            datetime.combine(self.first, time(), zone),
            datetime.combine(self.last + timedelta(days=1), time(), zone),
        )


def window_named(name: WindowName, today: date) -> Window:
    """A window that ends today."""
    days = {WindowName.QUARTER: 89, WindowName.YEAR: 364}.get(name)
    return Window(name, FIRST_DAY if days is None else today - timedelta(days=days), today)


# --- figures ------------------------------------------------------------------------------------------------------------
def figure(value: float, measure: Measure) -> str:
    """ "6.8 BV", "42 min"."""
    if measure is Measure.TIME:
        return f"{value / 60:.0f}{units.NO_BREAK_SPACE}min"
    return units.format_quantity(value, "bed_volumes")


def percent(share: float) -> str:
    return f"{100 * share:.0f}{units.NO_BREAK_SPACE}%"


def limit_words(limit_siemens_per_m: float) -> str:
    """The limit the rinses of a series went to."""
    if limit_siemens_per_m <= 0:
        return "limit by temperature"
    return f"to {units.twin(limit_siemens_per_m, 'conductivity')}"


def what_of(measure: Measure) -> str:
    return "rinse to the end point" if measure is Measure.VOLUME else "time to the end point"


def family_words(code: str) -> str:
    return ResinFamily(code).label


def family_short(code: str) -> str:
    return ResinFamily(code).abbreviation


# --- sentences ----------------------------------------------------------------------------------------------------------
def overview_sentence(found: Trends, window: Window) -> str:
    """ "One lot takes more rinse than it did. 94 % of 212 batches passed at once in the last 12 months.\""""
    if not found.rinses:
        return f"No batch was judged {window.words}. A trend begins with the first rinse that QC judges."
    drifting = len({one.line for one in found.drifting})
    judged = [one for one in found.series if one.limits is not None]
    if drifting:
        verb = "takes" if drifting == 1 else "take"
        first = f"{sentence_case(counted(drifting, 'lot'))} {verb} more rinse than {'it' if drifting == 1 else 'they'} did."
    elif judged:
        first = f"No lot drifts: {counted(len(judged), 'line is', 'lines are')} watched."
    else:
        first = f"Not enough rinses yet to say what drifts: a lot needs {FEWEST}."
    share = found.yields.yield_frac
    if share is None:
        return first
    batches = counted(found.yields.batches, "batch", "batches")
    return f"{first} {percent(share)} of {batches} passed at once {window.words}."


def series_sentence(one: Series) -> str:
    """What is to be said about a series, its figures with it."""
    chart, measure, limits = one.chart, one.measure, one.limits
    what = what_of(measure)
    if limits is None:
        return (
            f"Not enough rinses yet: {counted(chart.counted, 'rinse counts', 'rinses count')} of {FEWEST} that limits need. "
            "Given-up rinses and reworks are no part of them."
        )
    said = f"Mean {figure(limits.centre, measure)} over the first {limits.count}, upper limit {figure(limits.upper, measure)}."
    level = chart.level
    if level is None:
        return said
    now = f"The last ones stand at {figure(level, measure)}"
    rise = chart.rise_frac
    if rise is not None and abs(rise) >= 0.005:
        now += f", {percent(abs(rise))} {'more' if rise > 0 else 'less'}"
    if not one.drifts:
        return f"No drift in the {what}. {said} {now}."
    rules = "; ".join(rule.words for rule in one.standing_rules)
    return f"The {what} drifts: {rules}. {said} {now}."


def lot_sentence(found: LotTrend) -> str:
    """The page of a line in one sentence; figures stand with each chart."""
    if not found.series:
        return "No rinse of this line went to a conductivity limit, so there is nothing to compare."
    what = what_of(found.series[0].measure)
    drifting = [one.recipe for one in found.series if one.drifts]
    if drifting:
        return f"The {what} drifts by {joined(drifting)}."
    if all(one.limits is None for one in found.series):
        return f"Not enough rinses yet: a chart needs {FEWEST} by one recipe."
    return f"No drift in the {what}."


def drift_sentence(one: Series) -> str:
    """The drifting lot on the overview, worst first."""
    limits, level, rise = one.limits, one.chart.level, one.chart.rise_frac
    assert limits is not None and level is not None
    more = (
        f", {percent(rise)} more than its first {limits.count}" if rise is not None and rise > 0.005 else ""
    )
    last = one.last
    newest = f"{last.number} took {'at least ' if not last.is_reached else ''}{figure(last.value(one.measure) or 0.0, one.measure)}"
    return (
        f"{one.recipe}: its last rinses stand at {figure(level, one.measure)}{more} ({figure(limits.centre, one.measure)}). "
        f"{newest}; the upper limit is {figure(limits.upper, one.measure)}."
    )


def alert_sentence(alert: TrendAlert) -> str:
    """What was seen when the alert was raised."""
    rules = "; ".join(rule.words for rule in rules_of(alert))
    return (
        f"{alert.batch} took {figure(alert.rinsed_bv, Measure.VOLUME)} by {alert.recipe}; mean {figure(alert.centre_bv, Measure.VOLUME)} "
        f"over the first {alert.baseline}, upper limit {figure(alert.upper_bv, Measure.VOLUME)}, weighted mean of the last "
        f"{figure(alert.level_bv, Measure.VOLUME)}. Met: {rules}."
    )


def looked_words(alert: TrendAlert) -> str:
    """What follows once somebody looked."""
    if alert.looked_by is None or alert.worst_bv is None:
        return ""
    return f"It comes again when a rinse takes more than {figure(alert.worst_bv, Measure.VOLUME)}."


LOOK_SENTENCE = (
    "Resin that ages, fouls or lost volume takes more rinse; so does a meter or a totalizer that is off, colder water, a smaller flow. "
    "Say what was found and what follows: a sample for organics, a cleaning, a calibration."
)


def failures_sentence(found: Failures, window: Window) -> str:
    if not found.batches:
        return f"No batch was judged {window.words}."
    if not found.lines:
        return f"None of {counted(found.batches, 'batch', 'batches')} failed {window.words}."
    said = f"{len(found.lines)} of {counted(found.batches, 'batch', 'batches')} failed or were given up {window.words}."
    if found.gathered:
        names = joined(f"{one.name} ({one.failed} of {one.batches})" for one in found.gathered)
        return f"{said} More than chance explains: {names}."
    return said


# --- notes below ----------------------------------------------------------------------------------------------------------
def method_rows() -> list[tuple[str, str]]:
    """Which rules are asked, why, and where they are from."""
    rows = [(sentence_case(rule.words), f"{rule.why} {rule.source}.") for rule in Rule]
    rows.append(
        (
            "How many rinses",
            f"Limits are said from {FEWEST} rinses on and come from the first {FEWEST} to {BASELINE}, so that a slow drift does not "
            f"carry them along; under {FIRM} they are provisional. One wild rinse among them sets no limits. A rule that was met "
            f"stands for {RECENT} rinses. These numbers are common practice and this program’s choice.",
        )
    )
    rows.append(
        (
            "What counts",
            "Rinses of one line of lots, by one recipe, to one limit. A line goes back over the largest parent of each lot. A rinse that was "
            "given up is drawn as an arrow: it took at least so much, and never counts as little. A rework is an open square and counts for nothing.",
        )
    )
    return rows


def yield_note() -> str:
    return (
        "First-pass yield: batches that passed without a rework, of all that were judged or given up after their start. Limits are exact "
        f"binomial ones around the yield of the whole window, beyond them lies 0.135 % on each side, from {FEWEST_FOR_YIELD} batches on "
        "(common practice). “Within” is where the true yield lies in 95 % of such tables, exact. Watch levels of the trade: 92 % for mixed beds, 97 % for softeners (common practice)."
    )


# --- drawings ---------------------------------------------------------------------------------------------------------------
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


def point_words(one: Series, index: int) -> str:
    """What is to be said about one rinse; "" for one like the others."""
    rinse, chart = one.rinses[index], one.chart
    parts = []
    if rinse.is_rework:
        parts.append("rework, not counted")
    if not rinse.is_reached:
        parts.append("given up: at least so much")
    parts += [rule.short for rule in chart.rules_at(index)]
    if index in chart.below:
        parts.append("below the lower limit: look at meter and totalizer")
    if index == chart.set_aside:
        parts.append("sets no limits")
    return "; ".join(parts)


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


# --- rows ------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class RinseRow:
    """One rinse of a series in its table."""

    rinse: Rinse
    smooth: str
    says: str
    is_called: bool

    @classmethod
    def of(cls, one: Series, index: int) -> RinseRow:
        smooth = one.chart.smooth[index] if one.chart.smooth else None
        return cls(
            one.rinses[index],
            figure(smooth, one.measure) if smooth is not None else "",
            point_words(one, index),
            bool(one.chart.rules_at(index)),
        )


@dataclass(frozen=True, slots=True)
class YieldRow:
    """A yield in a table: name, counts, and the exact interval of its true value."""

    name: str
    of_all: str
    """ "43 of 44"."""
    yield_frac: float
    between: str
    is_low: bool


def yield_rows(
    lines: Sequence[YieldLine], *, are_families: bool = False, newest_first: bool = False
) -> list[YieldRow]:
    rows = [
        YieldRow(
            family_short(line.name) if are_families else line.name,
            f"{line.passed} of {line.batches}",
            line.yield_frac,
            _between(line),
            line.is_low,
        )
        for line in lines
    ]
    return rows[::-1] if newest_first else rows


def _between(line: YieldLine) -> str:
    if line.share is None:
        return ""
    low, high = line.share.interval
    return f"{100 * low:.0f} to {100 * high:.0f}"


def cause_words(code: str) -> str:
    return CAUSES.get(code, UNSAID)


def verdict_words(code: str) -> str:
    return str(RinseOutcome.Verdict(code).label)
