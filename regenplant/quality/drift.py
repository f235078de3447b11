"""Drift of a series: what an alert is raised with, which alerts wait, and for whom."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from regenplant.core.process.control_charts import Rule
from regenplant.people.models import Person
from regenplant.quality.models import RinseOutcome, TrendAlert
from regenplant.quality.rinse_series import Series, rinses, series_of


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
    """Drifts that somebody looked at."""
    return TrendAlert.objects.filter(looked_at__isnull=False).select_related("looked_by")


def rules_of(alert: TrendAlert) -> tuple[Rule, ...]:
    """The rules that were met when the alert was raised."""
    return tuple(Rule(code) for code in alert.rules)
