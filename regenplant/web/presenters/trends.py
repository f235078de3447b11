"""Trends in words: what drifts and why it is called so, yields, and where failures gather."""

from __future__ import annotations

from regenplant import units
from regenplant.batches.causes import CAUSES
from regenplant.core.process.control_charts import BASELINE, FEWEST, FIRM, RECENT, Rule
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.drift import rules_of
from regenplant.quality.gathered_failures import Failures
from regenplant.quality.models import RinseOutcome, TrendAlert
from regenplant.quality.rinse_series import Measure, Series
from regenplant.quality.trends import LotTrend, Trends
from regenplant.quality.yields import FEWEST_FOR_YIELD
from regenplant.web.presenters.trend_windows import Window
from regenplant.web.presenters.words import counted, joined, sentence_case

UNSAID = "nobody said yet"


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


def cause_words(code: str) -> str:
    return CAUSES.get(code, UNSAID)


def verdict_words(code: str) -> str:
    return str(RinseOutcome.Verdict(code).label)


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
