"""Trends as listings: lines of lots, the rinses of one, yields, failures and where they gather."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse

from regenplant.quality.gathered_failures import Failure
from regenplant.quality.rinse_series import Series
from regenplant.web.presenters import trends as words
from regenplant.web.presenters.trend_rows import RinseRow
from regenplant.web.tables.columns import (
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    QuantityColumn,
)
from regenplant.web.tables.export import FORMATS
from regenplant.web.templatetags.quantities import signed_percent


class ShareColumn(HouseColumn):
    """A share as a percentage without sign. In exports the bare percentage."""

    classes = "num"

    def render(self, value: float) -> str:
        return words.percent(value)

    def value(self, value: float) -> float:
        return round(100 * value, 2)


class RiseColumn(HouseColumn):
    """How far above its mean: +24 %."""

    classes = "num"

    def render(self, value: float) -> str:
        return signed_percent(value)

    def value(self, value: float) -> float:
        return round(100 * value, 2)


class MinutesColumn(HouseColumn):
    """Seconds as whole minutes."""

    classes = "num"

    def render(self, value: float) -> str:
        return f"{value / 60:.0f}"

    def value(self, value: float) -> float:
        return round(value / 60, 2)


class LineTable(tables.Table):
    """Every line of lots with a rinse in the window, worst first."""

    line = CodeColumn(
        verbose_name="Line of lots", linkify=lambda record: reverse("trends-lot", args=[record.line])
    )
    resin = CodeColumn(accessor="last__resin_type", verbose_name="Resin", wide_only=True)
    recipe = HouseColumn(verbose_name="Recipe")
    counted = NumberColumn(accessor="chart__counted", verbose_name="Rinses", wide_only=True)
    mean = QuantityColumn(
        "bed_volumes", accessor="limits__centre", verbose_name="Mean at first", wide_only=True
    )
    upper = QuantityColumn(
        "bed_volumes", accessor="limits__upper", verbose_name="Upper limit", wide_only=True
    )
    level = QuantityColumn("bed_volumes", accessor="chart__level", verbose_name="Now", wide_only=True)
    rise = RiseColumn(accessor="chart__rise_frac", verbose_name="Change")
    ended = DayColumn(accessor="last__ended_at", verbose_name="Last rinse", wide_only=True)

    caption = "Rinse to the end point in bed volumes; “now” is the weighted mean of the last rinses, – where there are fewer than eight."
    noun, nouns = "line of lots", "lines of lots"

    class Meta:
        orderable = False
        empty_text = "No rinse to a conductivity limit was judged in this time."
        row_attrs = {"class": lambda record: "off" if record.drifts else ""}


class RinseTable(tables.Table):
    """The rinses of one series, newest first."""

    number = CodeColumn(
        accessor="rinse__number",
        verbose_name="Batch",
        linkify=lambda record: reverse("batches-detail", args=[record.rinse.number]),
    )
    ended = LocalTimeColumn(accessor="rinse__ended_at", verbose_name="Judged", wide_only=True)
    volume = QuantityColumn("bed_volumes", accessor="rinse__rinsed_bv", verbose_name="Rinse")
    minutes = MinutesColumn(accessor="rinse__rinse_s", verbose_name="Time, min")
    smooth = HouseColumn(
        verbose_name="Weighted mean",
        wide_only=True,
        attrs={"td": {"class": "num nb"}, "th": {"class": "num"}},
    )
    vessel = CodeColumn(accessor="rinse__vessel", verbose_name="Vessel", wide_only=True)
    lot = CodeColumn(accessor="rinse__lot_in", verbose_name="Most from lot", wide_only=True)
    verdict = HouseColumn(accessor="rinse__verdict", verbose_name="Verdict", wide_only=True)
    says = HouseColumn(verbose_name="What is said")

    noun, nouns = "rinse", "rinses"
    exports = FORMATS

    def __init__(self, *args: Any, caption: str = "", **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.caption = caption

    class Meta:
        orderable = False
        empty_text = "No rinse yet."
        row_attrs = {"class": lambda record: "off" if record.is_called else ""}

    def render_verdict(self, value: str) -> str:
        return words.verdict_words(value)

    def value_verdict(self, value: str) -> str:
        return words.verdict_words(value)


class YieldTable(tables.Table):
    """First-pass yields of one kind of group."""

    name = CodeColumn(verbose_name="")
    of_all = NumberColumn(verbose_name="At once", attrs={"td": {"class": "nb"}})
    yield_frac = ShareColumn(verbose_name="Yield")
    between = HouseColumn(
        verbose_name="Within, %",
        wide_only=True,
        attrs={"td": {"class": "num nb"}, "th": {"class": "num"}},
    )

    caption = ""

    def __init__(self, *args: Any, heading: str, nouns: tuple[str, str], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.columns["name"].column.verbose_name = heading
        self.noun, self.nouns = nouns

    class Meta:
        orderable = False
        empty_text = "No batch was judged in this time."
        row_attrs = {"class": lambda record: "off" if record.is_low else ""}


class CountTable(tables.Table):
    """Where failures gather."""

    name = CodeColumn(verbose_name="")
    failed = NumberColumn(verbose_name="Failed")
    batches = NumberColumn(verbose_name="Of")

    caption = ""

    def __init__(self, *args: Any, heading: str, nouns: tuple[str, str], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.columns["name"].column.verbose_name = heading
        self.noun, self.nouns = nouns

    class Meta:
        orderable = False
        empty_text = "None."
        row_attrs = {"class": lambda record: "off" if record.is_many else ""}


class CauseTable(CountTable):
    """Failures by what caused them; there is no "of" for a cause."""

    name = HouseColumn(verbose_name="", empty_values=())

    class Meta(CountTable.Meta):
        exclude = ("batches",)

    def render_name(self, value: str) -> str:
        return words.cause_words(value)


class FailureTable(tables.Table):
    """Every failed or given-up batch."""

    number = CodeColumn(
        accessor="rinse__number",
        verbose_name="Batch",
        linkify=lambda record: reverse("batches-detail", args=[record.rinse.number]),
    )
    ended = DayColumn(accessor="rinse__ended_at", verbose_name="Judged")
    verdict = HouseColumn(accessor="rinse__verdict", verbose_name="Verdict", visible=False)
    family = HouseColumn(accessor="rinse__family", verbose_name="Family", visible=False)
    resin = CodeColumn(accessor="rinse__resin_type", verbose_name="Resin", visible=False)
    recipe = CodeColumn(accessor="rinse__recipe", verbose_name="Recipe", visible=False)
    vessel = CodeColumn(accessor="rinse__vessel", verbose_name="Vessel")
    line = CodeColumn(
        accessor="rinse__line",
        verbose_name="Line of lots",
        linkify=lambda record: reverse("trends-lot", args=[record.rinse.line]) if record.rinse.line else None,
        wide_only=True,
    )
    chemical_lots = HouseColumn(
        accessor="rinse__chemical_lots", verbose_name="Chemical lots", wide_only=True, orderable=False
    )
    cause_category = HouseColumn(verbose_name="Cause", empty_values=())
    cause = HouseColumn(verbose_name="Cause in words", visible=False)
    reason = HouseColumn(accessor="rinse__reason", verbose_name="Why it failed", wide_only=True)
    rinsed = QuantityColumn("bed_volumes", accessor="rinse__rinsed_bv", verbose_name="Rinsed", visible=False)
    reworked_by = CodeColumn(
        verbose_name="Reworked by",
        linkify=lambda record: (
            reverse("batches-detail", args=[record.reworked_by]) if record.reworked_by else None
        ),
        wide_only=True,
    )

    caption = "Batches that QC failed, and batches given up after their start."
    noun, nouns = "batch", "batches"
    exports = FORMATS

    class Meta:
        empty_text = "No batch failed that fits what is chosen."
        order_by = "-ended"

    def render_verdict(self, value: str) -> str:
        return words.verdict_words(value)

    def value_verdict(self, value: str) -> str:
        return words.verdict_words(value)

    def render_family(self, value: str) -> str:
        return words.family_words(value)

    def value_family(self, value: str) -> str:
        return words.family_words(value)

    def render_chemical_lots(self, value: list[str]) -> str:
        return ", ".join(value)

    def value_chemical_lots(self, value: list[str]) -> str:
        return ", ".join(value)

    def render_cause_category(self, record: Failure) -> str:
        return words.cause_words(record.cause_category)

    def value_cause_category(self, record: Failure) -> str:
        return words.cause_words(record.cause_category)


def rinse_rows(one: Series) -> list[RinseRow]:
    """The rinses of a series as rows, newest first."""
    return [RinseRow.of(one, index) for index in reversed(range(len(one.rinses)))]
