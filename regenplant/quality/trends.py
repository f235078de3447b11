"""The pages of the trends: which lots take more rinse than they did, and everything about one line of lots."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from django.db.models import Exists, OuterRef

from regenplant.batches.models import Batch
from regenplant.quality.drift import open_alerts
from regenplant.quality.models import QcDecision, RinseOutcome, TrendAlert
from regenplant.quality.rinse_series import PASS, Measure, Rinse, Series, rinses, series_of, worst_first
from regenplant.quality.yields import Yields, yields


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
        """Series with a rule met by their newest rinses, worst first."""
        return tuple(one for one in self.series if one.drifts)

    @property
    def failed(self) -> int:
        """How many batches of the window failed or were given up."""
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
