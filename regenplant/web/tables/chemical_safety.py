"""Listings of spills, inventory peaks and reporting thresholds."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.chemicals.models import Spill
from regenplant.chemicals.reporting import InventoryLine
from regenplant.chemicals.spills import newest_figure
from regenplant.core.process.thresholds import Threshold
from regenplant.web.active_units import active
from regenplant.web.tables.chemicals import EXPORTS, ChemicalColumn
from regenplant.web.tables.columns import (
    NOT_WRITTEN,
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
    SentenceColumn,
)
from regenplant.web.templatetags.parts import mark


class SpillTable(tables.Table):
    caption, noun, nouns, exports = "The newest figure of each, as 100 %.", "spill", "spills", EXPORTS

    number = CodeColumn(verbose_name="Spill", linkify=("chemicals-spill", {"number": tables.A("number")}))
    happened_at = LocalTimeColumn(verbose_name="Found")
    chemical = ChemicalColumn(verbose_name="Chemical")
    mass = QuantityColumn("mass", verbose_name="As 100 %", accessor="pk", orderable=False, empty_values=())
    reported = HouseColumn(
        verbose_name="Reportable quantity", accessor="pk", orderable=False, empty_values=()
    )
    location = HouseColumn(verbose_name="Where", wide_only=True)
    state = HouseColumn(verbose_name="State")
    written_by = PersonColumn(verbose_name="By", accessor="written_by__full_name", wide_only=True)

    class Meta:
        model = Spill
        fields = ()
        empty_text = "No spill was ever written down."

    def render_mass(self, record: Spill) -> str:
        return units.format_quantity(
            newest_figure(record).grams_100 / 1000.0, "mass", active(), with_unit=False
        )

    def value_mass(self, record: Spill) -> float:
        return float(f"{units.shown_value(newest_figure(record).grams_100 / 1000.0, 'mass', active()):.10g}")

    def value_reported(self, record: Spill) -> str:
        figure = newest_figure(record)
        return "reached" if figure.is_reached else "not reached" if figure.limit_grams else "none known"

    def render_reported(self, record: Spill) -> SafeString | str:
        word = self.value_reported(record)
        return mark("check", "Reached") if word == "reached" else word

    def render_state(self, record: Spill) -> SafeString:
        return mark("held", "Open") if record.state == Spill.State.OPEN else mark("done", "Closed")

    def value_state(self, record: Spill) -> str:
        return str(record.state)


class InventoryTable(tables.Table):
    caption = "In all bulk tanks together. A movement that was taken back makes no peak."
    noun, nouns, exports = "chemical", "chemicals", EXPORTS

    chemical = HouseColumn(verbose_name="Chemical", orderable=False)
    pure = QuantityColumn(
        "mass", verbose_name=f"Most, as 100{units.NO_BREAK_SPACE}%", accessor="peak__pure_kg", orderable=False
    )
    pure_at = DayColumn(verbose_name="On", accessor="peak__pure_at", orderable=False, wide_only=True)
    product = QuantityColumn(
        "mass", verbose_name="Most, as product", accessor="peak__product_kg", orderable=False
    )
    product_at = DayColumn(verbose_name="On", accessor="peak__product_at", orderable=False, wide_only=True)
    mean = QuantityColumn(
        "mass",
        verbose_name=f"Mean, as 100{units.NO_BREAK_SPACE}%",
        accessor="peak__mean_pure_kg",
        orderable=False,
        wide_only=True,
    )
    days = NumberColumn(
        verbose_name="Days on site", accessor="peak__days_present", orderable=False, wide_only=True
    )
    limit = HouseColumn(verbose_name="Reported from", accessor="threshold", orderable=False, wide_only=True)
    reached = HouseColumn(verbose_name="Reached", accessor="is_reached", orderable=False, empty_values=())

    class Meta:
        fields = ()
        sequence = (
            "chemical",
            "reached",
            "limit",
            "pure",
            "pure_at",
            "product",
            "product_at",
            "mean",
            "days",
        )
        empty_text = "Nothing stood in a bulk tank in this year."

    def render_chemical(self, record: InventoryLine) -> str:
        return record.chemical.formula

    def value_chemical(self, record: InventoryLine) -> str:
        return record.chemical.label

    def render_days(self, value: float) -> str:
        return f"{value:.0f}"

    def render_limit(self, value: Threshold) -> str:
        return f"{units.format_quantity(value.limit_kg, 'mass', active())}, {value.counted.label}"

    def value_limit(self, value: Threshold) -> str:
        return self.render_limit(value)

    def value_reached(self, record: InventoryLine) -> str:
        if record.threshold is None:
            return "no figure known"
        return "cannot be said" if record.is_reached is None else "yes" if record.is_reached else "no"

    def render_reached(self, record: InventoryLine) -> SafeString | str:
        word = self.value_reached(record)
        return mark("check", "Reached") if word == "yes" else word


class ThresholdTable(tables.Table):
    caption = "Reference figures are copied from texts, not from the authority’s own list. The plant’s own figure holds where it has one."
    noun, nouns, exports = "threshold", "thresholds", EXPORTS

    chemical = HouseColumn(verbose_name="Chemical", orderable=False)
    kind = HouseColumn(verbose_name="Threshold", orderable=False)
    limit_kg = QuantityColumn("mass", verbose_name="Figure", orderable=False)
    stated = HouseColumn(verbose_name="As stated", orderable=False, wide_only=True)
    counted = HouseColumn(verbose_name="Counts", orderable=False)
    citation = SentenceColumn(verbose_name="Source", orderable=False)

    class Meta:
        fields = ()
        empty_text = "No threshold is known here."

    def __init__(self, *args: Any, may_write: bool = False, **kwargs: Any):
        self.may_write = may_write
        super().__init__(*args, **kwargs)

    def render_chemical(self, record: Threshold) -> str:
        return record.chemical.formula

    def value_chemical(self, record: Threshold) -> str:
        return record.chemical.label

    def render_kind(self, record: Threshold) -> SafeString | str:
        if not self.may_write:
            return record.kind.label
        url = f"{reverse('chemicals-threshold')}?chemical={record.chemical.value}&kind={record.kind.value}"
        return format_html('<a href="{}">{}</a>', url, record.kind.label)

    def value_kind(self, record: Threshold) -> str:
        return record.kind.label

    def render_counted(self, record: Threshold) -> str:
        return record.counted.label

    def value_counted(self, record: Threshold) -> str:
        return record.counted.label

    def render_citation(self, record: Threshold) -> str:
        return f"the plant’s own: {record.citation}" if record.is_own else record.citation or NOT_WRITTEN
