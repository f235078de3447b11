"""Reading trends: which lots take more rinse than they did, how often a batch passes at once, and where failures gather.

Everything comes from one derived row for each batch (``RinseOutcome``), so that a page needs few queries however many batches
there were. Rules and limits stand in ``core.process.control_charts``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from enum import StrEnum
from functools import cached_property
from typing import Any, NamedTuple

from django.db.models import Exists, OuterRef, QuerySet

from regenplant.batches.models import Batch, Deviation
from regenplant.core.process.control_charts import (
    Chart,
    Limits,
    Observation,
    Rule,
    Share,
    chart,
    share_of,
)
from regenplant.people.models import Person
from regenplant.quality.models import QcDecision, RinseOutcome, TrendAlert

PASS = RinseOutcome.Verdict.PASS.value
FEWEST_FOR_YIELD = 20
"""Batches before limits of a yield are said; common practice, this program's choice."""


class Measure(StrEnum):
    """What of a rinse is followed."""

    VOLUME = "volume"
    TIME = "time"


class Rinse(NamedTuple):
    """One batch as the trends know it; the fields are those of ``RinseOutcome``."""

    number: str
    ended_at: datetime
    family: str
    resin_type: str
    segregation_class: str
    vessel: str
    recipe: str
    line: str
    lot_in: str
    lot_made: str
    is_rework: bool
    verdict: str
    limit_siemens_per_m: float | None
    is_reached: bool
    rinsed_bv: float | None
    rinse_s: float | None
    chemical_lots: list[str]
    reason: str

    @property
    def passed_first(self) -> bool:
        """Whether it passed without being a rework."""
        return self.verdict == PASS and not self.is_rework

    def value(self, measure: Measure) -> float | None:
        return self.rinsed_bv if measure is Measure.VOLUME else self.rinse_s

    def observation(self, measure: Measure) -> Observation:
        value = self.value(measure)
        assert value is not None
        return Observation(value, is_at_least=not self.is_reached, is_apart=self.is_rework)


def rinses(rows: QuerySet[RinseOutcome]) -> list[Rinse]:
    """One query, oldest first."""
    return [Rinse(*row) for row in rows.order_by("ended_at", "id").values_list(*Rinse._fields)]


# --- series of a line of lots -------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Series:
    """The rinses of one line of lots, by one recipe, to one limit: only these are compared with each other."""

    line: str
    recipe: str
    limit_siemens_per_m: float
    rinses: tuple[Rinse, ...]
    measure: Measure = Measure.VOLUME

    @property
    def key(self) -> tuple[str, str, float]:
        return self.line, self.recipe, self.limit_siemens_per_m

    @cached_property
    def chart(self) -> Chart:
        return chart([rinse.observation(self.measure) for rinse in self.rinses], floor=0.0)

    @property
    def last(self) -> Rinse:
        return self.rinses[-1]

    @property
    def limits(self) -> Limits | None:
        return self.chart.limits

    @property
    def drifts(self) -> bool:
        """Whether a rule was met by one of its newest rinses."""
        return bool(self.chart.standing)

    @property
    def standing_rules(self) -> tuple[Rule, ...]:
        met = {signal.rule for signal in self.chart.standing}
        return tuple(rule for rule in Rule if rule in met)


def series_of(found: Iterable[Rinse], measure: Measure = Measure.VOLUME) -> list[Series]:
    """Series by line, recipe and limit, the rinses of each in the order given. Batches without a line or a figure are in none."""
    groups: dict[tuple[str, str, float], list[Rinse]] = {}
    for rinse in found:
        if rinse.line and rinse.limit_siemens_per_m is not None and rinse.value(measure) is not None:
            groups.setdefault((rinse.line, rinse.recipe, rinse.limit_siemens_per_m), []).append(rinse)
    return [Series(*key, tuple(members), measure) for key, members in groups.items()]


def worst_first(found: Iterable[Series]) -> list[Series]:
    """Those that drift on top, the largest rise first, among equals the farthest jump; those without limits last."""

    def key(one: Series) -> tuple[bool, bool, float, float, str]:
        jump = max((signal.excess for signal in one.chart.standing), default=0.0)
        return not one.drifts, one.limits is None, -(one.chart.rise_frac or 0.0), -jump, one.line

    return sorted(found, key=key)


# --- drift --------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Drift:
    """What an alert is raised with."""

    series: Series
    number: str
    rules: tuple[Rule, ...]
    rinsed_bv: float
    centre_bv: float
    upper_bv: float
    level_bv: float
    baseline: int


def drift_at(outcome: RinseOutcome) -> Drift | None:
    """The drift that this batch shows and that nobody was told of; None where there is none. Three queries at most.

    Told is who has an open alert of this series, or looked at one when a rinse as bad as this was seen already.
    """
    if not outcome.line or outcome.limit_siemens_per_m is None or outcome.rinsed_bv is None:
        return None
    series = next(iter(series_of(rinses(_same_series(outcome)))))
    index = next(i for i, rinse in enumerate(series.rinses) if rinse.number == outcome.number)
    rules, limits, level = series.chart.rules_at(index), series.limits, series.chart.smooth
    if not rules or limits is None or index < series.chart.since or _is_known(series, outcome.rinsed_bv):
        return None
    return Drift(
        series=series,
        number=outcome.number,
        rules=rules,
        rinsed_bv=outcome.rinsed_bv,
        centre_bv=limits.centre,
        upper_bv=limits.upper,
        level_bv=level[index] or outcome.rinsed_bv,
        baseline=limits.count,
    )


def _same_series(one: RinseOutcome | TrendAlert) -> QuerySet[RinseOutcome]:
    return RinseOutcome.objects.filter(
        line=one.line, recipe=one.recipe, limit_siemens_per_m=one.limit_siemens_per_m
    )


def _is_known(series: Series, rinsed_bv: float) -> bool:
    alerts = TrendAlert.objects.filter(
        line=series.line, recipe=series.recipe, limit_siemens_per_m=series.limit_siemens_per_m
    )
    newest = alerts.order_by("-raised_at", "-id").first()
    if newest is None:
        return False
    return newest.worst_bv is None or rinsed_bv <= newest.worst_bv


def worst_of(alert: TrendAlert) -> float:
    """The largest volume of its series so far; that of the alert where the rows are gone."""
    found = [rinse.rinsed_bv for rinse in rinses(_same_series(alert)) if rinse.rinsed_bv is not None]
    return max([alert.rinsed_bv, *found])


def open_alerts() -> QuerySet[TrendAlert]:
    """Drifts that nobody looked at yet, newest first."""
    return TrendAlert.objects.filter(looked_at__isnull=True)


def drifts_waiting_for(person: Person) -> QuerySet[TrendAlert]:
    """The drifts that wait for this person; none without the right to look at them."""
    return open_alerts() if person.may("trend.look") else TrendAlert.objects.none()


def looked_at_alerts() -> QuerySet[TrendAlert]:
    return TrendAlert.objects.filter(looked_at__isnull=False).select_related("looked_by")


def rules_of(alert: TrendAlert) -> tuple[Rule, ...]:
    return tuple(Rule(code) for code in alert.rules)


# --- first-pass yield -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class YieldLine:
    """First-pass yield of one month, family, vessel or recipe."""

    name: str
    passed: int
    batches: int
    share: Share | None
    """With exact limits; None while there are too few batches altogether."""

    @property
    def yield_frac(self) -> float:
        return self.passed / self.batches

    @property
    def is_low(self) -> bool:
        return self.share is not None and self.share.is_low


@dataclass(frozen=True, slots=True)
class Yields:
    """First-pass yield: batches that passed at once, of all first regenerations that were judged or given up."""

    passed: int
    batches: int
    by_month: tuple[YieldLine, ...]
    by_family: tuple[YieldLine, ...]
    by_vessel: tuple[YieldLine, ...]
    by_recipe: tuple[YieldLine, ...]

    @property
    def has_limits(self) -> bool:
        return self.batches >= FEWEST_FOR_YIELD

    @property
    def yield_frac(self) -> float | None:
        return self.passed / self.batches if self.batches else None

    @property
    def low(self) -> tuple[YieldLine, ...]:
        return tuple(
            line
            for lines in (self.by_month, self.by_family, self.by_vessel, self.by_recipe)
            for line in lines
            if line.is_low
        )


def yields(found: Sequence[Rinse], zone: tzinfo) -> Yields:
    """Months are those of the plant. A rework is no first pass and no failed one: its first regeneration counted already."""
    first = [rinse for rinse in found if not rinse.is_rework]
    passed = sum(rinse.passed_first for rinse in first)

    def grouped(key: Callable[[Rinse], str]) -> tuple[YieldLine, ...]:
        all_of, good = Counter(map(key, first)), Counter(key(rinse) for rinse in first if rinse.passed_first)
        return tuple(
            _yield_line(name, good[name], all_of[name], passed, len(first)) for name in sorted(all_of)
        )

    return Yields(
        passed,
        len(first),
        by_month=grouped(lambda rinse: f"{rinse.ended_at.astimezone(zone):%Y-%m}"),
        by_family=grouped(lambda rinse: rinse.family),
        by_vessel=grouped(lambda rinse: rinse.vessel),
        by_recipe=grouped(lambda rinse: rinse.recipe),
    )


def _yield_line(name: str, passed: int, batches: int, all_passed: int, all_batches: int) -> YieldLine:
    if all_batches < FEWEST_FOR_YIELD:
        return YieldLine(name, passed, batches, None)
    return YieldLine(name, passed, batches, share_of(passed, batches, all_passed / all_batches))


# --- the pages --------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Trends:
    """The overview: every series with a rinse in the window, worst first, and the yields of the window."""

    rinses: tuple[Rinse, ...]
    """Of the window."""
    series: tuple[Series, ...]
    yields: Yields
    alerts: tuple[TrendAlert, ...]
    not_read: int
    """Judged batches that no row tells of: ``manage.py renew_trends`` reads them."""

    @property
    def drifting(self) -> tuple[Series, ...]:
        return tuple(one for one in self.series if one.drifts)

    @property
    def failed(self) -> int:
        return sum(rinse.verdict != PASS for rinse in self.rinses)


def trends(start: datetime, end: datetime, zone: tzinfo) -> Trends:
    """The overview from ``start`` up to, not including, ``end``. Three queries.

    Limits come from the first rinses of a line, however long ago: the window says what is shown, not what is compared with.
    """
    found = rinses(RinseOutcome.objects.filter(ended_at__lt=end))
    shown = [rinse for rinse in found if rinse.ended_at >= start]
    series = [one for one in series_of(found) if one.last.ended_at >= start]
    return Trends(
        tuple(shown),
        tuple(worst_first(series)),
        yields(shown, zone),
        tuple(open_alerts()),
        not_read(),
    )


def not_read() -> int:
    """How many judged batches have no row. One query."""
    known = RinseOutcome.objects.filter(number=OuterRef("number"))
    judged = QcDecision.objects.filter(batch=OuterRef("pk"))
    return Batch.objects.filter(Exists(judged), ~Exists(known)).count()


@dataclass(frozen=True)
class LotTrend:
    """Everything about one line of lots."""

    line: str
    series: tuple[Series, ...]
    """The one with the newest rinse first."""
    alerts: tuple[TrendAlert, ...]
    lots: tuple[str, ...]
    """Codes of the lots of the line that batches made, newest first."""


def lot_trend(code: str, measure: Measure = Measure.VOLUME) -> LotTrend | None:
    """The line that a lot belongs to; None for a lot no judged batch knows. Three queries."""
    known = RinseOutcome.objects.filter(line=code).exists()
    line = code if known else _line_made(code)
    if not line:
        return None
    found = rinses(RinseOutcome.objects.filter(line=line))
    series = sorted(series_of(found, measure), key=lambda one: one.last.ended_at, reverse=True)
    alerts = TrendAlert.objects.filter(line=line).select_related("looked_by")
    lots = tuple(rinse.lot_made for rinse in reversed(found) if rinse.lot_made)
    return LotTrend(line, tuple(series), tuple(alerts), lots)


def is_in_trends(code: str) -> bool:
    """Whether a judged batch held resin of this lot. One query."""
    found = RinseOutcome.objects
    return (found.filter(line=code) | found.filter(lot_made=code) | found.filter(lot_in=code)).exists()


def _line_made(code: str) -> str:
    rows = RinseOutcome.objects.filter(lot_made=code) | RinseOutcome.objects.filter(lot_in=code)
    return rows.values_list("line", flat=True).first() or ""


# --- failures -----------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Failure:
    """A batch that failed or was given up, with what is known of its cause by now."""

    rinse: Rinse
    cause_category: str = ""
    """One of ``batches.causes.CAUSES``; "" while nobody said."""
    cause: str = ""
    reworked_by: str = ""
    """Number of the batch that reworks it."""


@dataclass(frozen=True, slots=True)
class FailureCount:
    """Failures of one lot, vessel or cause. ``share`` compares with all batches; None for causes, and while there are too few."""

    name: str
    failed: int
    batches: int | None
    share: Share | None = None

    @property
    def is_many(self) -> bool:
        """More than chance explains."""
        return self.share is not None and self.share.count > self.share.high


@dataclass(frozen=True, slots=True)
class Failures:
    lines: tuple[Failure, ...]
    """Newest first."""
    batches: int
    by_lot: tuple[FailureCount, ...] = ()
    by_chemical_lot: tuple[FailureCount, ...] = ()
    by_vessel: tuple[FailureCount, ...] = ()
    by_cause: tuple[FailureCount, ...] = ()
    vessels: tuple[str, ...] = field(default=())
    """Every vessel of the window, for the filter."""

    @property
    def gathered(self) -> tuple[FailureCount, ...]:
        """Where failures gather beyond chance."""
        groups = (self.by_lot, self.by_chemical_lot, self.by_vessel)
        return tuple(count for counts in groups for count in counts if count.is_many)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What narrows the failures; empty means all."""

    family: str = ""
    vessel: str = ""
    cause: str = ""


def failures(start: datetime, end: datetime, wanted: Wanted = Wanted()) -> Failures:
    """Failed and given-up batches of the window with where they gather. Three queries."""
    window = RinseOutcome.objects.filter(ended_at__gte=start, ended_at__lt=end)
    every = rinses(window)
    found = [
        rinse
        for rinse in every
        if wanted.family in ("", rinse.family) and wanted.vessel in ("", rinse.vessel)
    ]
    bad = window.exclude(verdict=PASS)
    causes = _causes(bad)
    lines = [
        Failure(rinse, *causes.get(rinse.number, ("", "", "")))
        for rinse in reversed(found)
        if rinse.verdict != PASS
    ]
    if wanted.cause:
        lines = [line for line in lines if (line.cause_category or "unsaid") == wanted.cause]
    failed = [line.rinse for line in lines]
    by_cause = Counter(line.cause_category for line in lines)
    return Failures(
        lines=tuple(lines),
        batches=len(found),
        by_lot=_gathered(failed, found, lambda rinse: [rinse.line] if rinse.line else []),
        by_chemical_lot=_gathered(failed, found, lambda rinse: rinse.chemical_lots),
        by_vessel=_gathered(failed, found, lambda rinse: [rinse.vessel]),
        by_cause=tuple(FailureCount(name, count, None) for name, count in by_cause.most_common()),
        vessels=tuple(sorted({rinse.vessel for rinse in every})),
    )


def _gathered(
    failed: Sequence[Rinse], every: Sequence[Rinse], names: Callable[[Rinse], Iterable[str]]
) -> tuple[FailureCount, ...]:
    bad = Counter(name for rinse in failed for name in names(rinse))
    of_all = Counter(name for rinse in every for name in names(rinse))
    overall = len(failed) / len(every) if len(every) >= FEWEST_FOR_YIELD else None
    return tuple(
        FailureCount(
            name,
            count,
            of_all[name],
            share_of(count, of_all[name], overall) if overall is not None else None,
        )
        for name, count in sorted(bad.items(), key=lambda item: (-item[1], item[0]))
    )


def _causes(bad: QuerySet[RinseOutcome]) -> dict[str, tuple[str, str, str]]:
    """Kind of cause, cause in words and number of the rework, by the number of the failed batch. Two queries.

    What the rework says of its cause stands; else what was decided about the newest deviation that names one.
    """
    numbers = bad.values("number")
    found: dict[str, tuple[str, str, str]] = {}
    decided = Deviation.objects.filter(batch__number__in=numbers).exclude(cause_category="")
    for number, kind, words in decided.order_by("opened_at", "id").values_list(
        "batch__number", "cause_category", "cause"
    ):
        found[number] = (kind, words, "")
    reworks = Batch.objects.filter(parent__number__in=numbers).order_by("planned_at", "id")
    rows: Iterable[Any] = reworks.values_list(
        "parent__number", "rework_cause_category", "rework_cause", "number"
    )
    for number, kind, words, child in rows:
        before = found.get(number, ("", "", ""))
        found[number] = (kind or before[0], words or before[1], child)
    return found
