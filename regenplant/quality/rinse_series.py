"""Rinses as the trends compare them: one for each judged batch, and the series of one line of lots by one recipe to one limit.

Everything comes from one derived row for each batch (``RinseOutcome``), so that a page needs few queries however many batches
there were. Rules and limits stand in ``core.process.control_charts``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

from django.db.models import QuerySet

from regenplant.core.process.control_charts import Chart, Limits, Observation, Rule, chart
from regenplant.quality.models import RinseOutcome

PASS = RinseOutcome.Verdict.PASS.value


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
    load_frac: float | None
    is_load_whole: bool
    chemical_lots: list[str]
    reason: str

    @property
    def passed_first(self) -> bool:
        """Whether it passed without being a rework."""
        return self.verdict == PASS and not self.is_rework

    def value(self, measure: Measure) -> float | None:
        """Bed volumes [-] or seconds [s] to the end point; None where they are not known."""
        return self.rinsed_bv if measure is Measure.VOLUME else self.rinse_s

    def observation(self, measure: Measure) -> Observation:
        """As a point of a chart. Only for a rinse with this figure."""
        value = self.value(measure)
        assert value is not None
        return Observation(value, is_at_least=not self.is_reached, is_apart=self.is_rework)


def rinses(rows: QuerySet[RinseOutcome]) -> list[Rinse]:
    """One query, oldest first."""
    return [Rinse(*row) for row in rows.order_by("ended_at", "id").values_list(*Rinse._fields)]


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
        """What makes its rinses comparable."""
        return self.line, self.recipe, self.limit_siemens_per_m

    @cached_property
    def chart(self) -> Chart:
        """Its control chart, worked out once; no volume and no time lies below zero."""
        return chart([rinse.observation(self.measure) for rinse in self.rinses], floor=0.0)

    @property
    def last(self) -> Rinse:
        """The newest."""
        return self.rinses[-1]

    @property
    def limits(self) -> Limits | None:
        """None while there are too few rinses."""
        return self.chart.limits

    @property
    def drifts(self) -> bool:
        """Whether a rule was met by one of its newest rinses."""
        return bool(self.chart.standing)

    @property
    def standing_rules(self) -> tuple[Rule, ...]:
        """Rules met by its newest rinses, each once, jumps first."""
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
