"""Chemical use as listings: totals by family and chemical, and every batch."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse

from regenplant.batches.selectors.use import UseLine, UseTotal
from regenplant.web.presenters.chemical_use import total_is_off
from regenplant.web.tables.columns import (
    NOT_WRITTEN,
    CodeColumn,
    DayColumn,
    HouseColumn,
    NumberColumn,
    QuantityColumn,
)
from regenplant.web.templatetags.quantities import signed_percent


class PercentColumn(HouseColumn):
    """A relative difference, signed: +3.2 %. In exports the bare percentage."""

    classes = "num"

    def render(self, value: float) -> str:
        return signed_percent(value)

    def value(self, value: float) -> float:
        return round(100 * value, 3)


class TheoryColumn(QuantityColumn):
    """Mass that the load asks for; an en dash where the chemical elutes nothing (cleaning, sanitizing)."""

    def render(self, value: float) -> str:
        return NOT_WRITTEN if value == 0.0 else super().render(value)


class TotalsTable(tables.Table):
    """What should have gone in, was planned and went in, by family and chemical."""

    chemical = CodeColumn(accessor="chemical__formula", verbose_name="Chemical")
    family = CodeColumn(accessor="family__abbreviation", verbose_name="Family", order_by="family")
    batches = NumberColumn(verbose_name="Batches", wide_only=True)
    resin = QuantityColumn("resin_volume", accessor="resin_volume_m3", verbose_name="Resin", wide_only=True)
    theory = TheoryColumn("mass", accessor="theory_kg_100", verbose_name="Theory", wide_only=True)
    plan = QuantityColumn("mass", accessor="planned_kg_100", verbose_name="Plan", wide_only=True)
    used = QuantityColumn("mass", accessor="used_kg_100", verbose_name="Used")
    variance = PercentColumn(accessor="variance_frac", verbose_name="Used − plan")
    spread = PercentColumn(accessor="spread_frac", verbose_name="Spread", wide_only=True)
    dose = QuantityColumn("dose", accessor="used_kg_per_m3", verbose_name="Used", wide_only=True)

    caption = "Masses as 100 %; spread is the standard deviation of the batches, from three on."
    noun, nouns = "total", "totals"

    class Meta:
        orderable = False
        empty_text = "No batch took a chemical in this period."
        row_attrs = {"class": lambda record: "off" if total_is_off(record) else ""}

    def render_spread(self, value: float) -> str:
        return signed_percent(value).lstrip("+")


class UseTable(tables.Table):
    """Every batch with every chemical it took."""

    batch = CodeColumn(
        accessor="batch__number", verbose_name="Batch", linkify=lambda record: _batch_url(record)
    )
    started = DayColumn(accessor="batch__started_at", verbose_name="Started", wide_only=True)
    family = CodeColumn(
        accessor="family__abbreviation", verbose_name="Family", order_by="family", wide_only=True
    )
    step = CodeColumn(
        accessor="chemical__formula",
        verbose_name="Step",
        order_by="chemical",
        linkify=lambda record: _step_url(record),
    )
    resin = QuantityColumn("resin_volume", accessor="resin_volume_m3", verbose_name="Resin", wide_only=True)
    theory = TheoryColumn("mass", accessor="theory_kg_100", verbose_name="Theory", wide_only=True)
    plan = QuantityColumn("mass", accessor="planned_kg_100", verbose_name="Plan", wide_only=True)
    used = QuantityColumn("mass", accessor="used_kg_100", verbose_name="Used")
    variance = PercentColumn(accessor="variance_frac", verbose_name="Used − plan")
    plan_dose = QuantityColumn("dose", accessor="planned_kg_per_m3", verbose_name="Plan", wide_only=True)
    used_dose = QuantityColumn("dose", accessor="used_kg_per_m3", verbose_name="Used", wide_only=True)

    noun, nouns = "line", "lines"
    exports = ("csv", "xlsx")

    def __init__(self, *args: Any, caption: str = "", **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.caption = caption

    class Meta:
        empty_text = "No batch took a chemical in this period. Choose another period."
        row_attrs = {"class": lambda record: "off" if record.is_outside else ""}

    def render_step(self, value: Any, record: UseLine) -> str:
        return f"{record.step_number} · {value}"


class UseFile(UseTable):
    """The same for a file: one fact in each column, and what the page has no room for."""

    step = NumberColumn(accessor="step_number", verbose_name="Step")
    chemical = HouseColumn(accessor="chemical__label", verbose_name="Chemical")
    vessel = HouseColumn(accessor="batch__vessel__code", verbose_name="Vessel")
    resin_class = HouseColumn(accessor="batch__segregation_class", verbose_name="Class")
    difference = QuantityColumn("mass", accessor="variance_kg_100", verbose_name="Used − plan")
    variance = PercentColumn(accessor="variance_frac", verbose_name="Used − plan, %")

    class Meta(UseTable.Meta):
        sequence = ("batch", "started", "family", "resin_class", "vessel", "step", "chemical", "...")

    def render_step(self, value: Any, record: UseLine) -> str:
        return str(value)


def _batch_url(record: UseLine | UseTotal) -> str:
    assert isinstance(record, UseLine)
    return reverse("batches-detail", args=[record.batch.number])


def _step_url(record: UseLine) -> str:
    """The entries of the batch, where what was drawn and fed in this step stands as it was written."""
    return f"{_batch_url(record)}#s-written"
