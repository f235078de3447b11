"""The audit of use as listings: totals, groups, and every batch; the same for files, with typed numbers and units in the heads."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_tables2 as tables
from django.urls import reverse

from regenplant import units
from regenplant.use.selectors import UseLine
from regenplant.use.watching import Watch
from regenplant.web.presenters.chemical_use import is_off
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


class SpreadColumn(PercentColumn):
    """A standard deviation in per cent."""

    def render(self, value: float) -> str:
        return signed_percent(value).lstrip("+")


class GramsColumn(QuantityColumn):
    """A mass that is kept in whole grams; an en dash for nought, where that means that nothing is asked for."""

    def __init__(self, *args: Any, dash: bool = False, **kwargs: Any):
        self.dash = dash
        super().__init__("mass", *args, **kwargs)

    def render(self, value: float) -> str:
        return NOT_WRITTEN if self.dash and not value else super().render(value / 1000.0)

    def value(self, value: float) -> float:
        return super().value(value / 1000.0)


class MillilitresColumn(QuantityColumn):
    """Resin as loaded."""

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__("resin_volume", *args, **kwargs)

    def render(self, value: float) -> str:
        return super().render(value / 1e6)

    def value(self, value: float) -> float:
        return super().value(value / 1e6)


class MeanColumn(PercentColumn):
    """The mean of the batches' own differences with their spread, where there are enough of them."""

    def render(self, value: float, record: Any = None) -> str:
        spread = record.sums.spread_frac
        return signed_percent(value) + (
            f" ±{units.NO_BREAK_SPACE}{100 * spread:.1f}" if spread is not None else ""
        )


class RatioColumn(HouseColumn):
    """A bare ratio with two decimals."""

    classes = "num"

    def render(self, value: float) -> str:
        return f"{value:.2f}"

    def value(self, value: float) -> float:
        return round(value, 4)


class CostColumn(HouseColumn):
    """A cost in the plant's currency, which the head names; a star where a part of the mass has no price."""

    classes = "num"

    def render(self, value: int, record: Any) -> str:
        if not record.sums.priced_grams:
            return NOT_WRITTEN
        star = "*" if record.sums.priced_grams < record.sums.used_grams else ""
        return f"{value / 1000:.2f}{star}"

    def value(self, value: int, record: Any) -> float | None:
        return value / 1000 if record.sums.priced_grams else None


class _Watched(tables.Table):
    """Rows beyond the watch level are marked."""

    def __init__(self, *args: Any, watch: Watch, currency: str = "", caption: str = "", **kwargs: Any):
        self.watch = watch
        self.caption = caption
        super().__init__(*args, **kwargs)
        if currency:
            self.columns["cost"].column.verbose_name = f"Cost, {currency}"
        else:
            self.columns.hide("cost")
            self.columns["cost"].column.exclude_from_export = True


class SumsTable(_Watched):
    """What should have gone in, was planned and went in, by chemical."""

    chemical = CodeColumn(accessor="chemical__formula", verbose_name="Chemical")
    batches = NumberColumn(accessor="sums__batches", verbose_name="Batches")
    theory = GramsColumn(accessor="sums__theory_grams", verbose_name="Theory", wide_only=True, dash=True)
    plan = GramsColumn(accessor="sums__planned_grams", verbose_name="Plan", wide_only=True)
    used = GramsColumn(accessor="sums__used_grams", verbose_name="Used")
    variance = PercentColumn(accessor="sums__variance_frac", verbose_name="Used − plan")
    mean = MeanColumn(accessor="sums__mean_variance_frac", verbose_name="Mean ± spread", wide_only=True)
    ratio = RatioColumn(accessor="sums__ratio", verbose_name="Ratio", wide_only=True)
    efficiency = SpreadColumn(
        accessor="sums__efficiency_frac", verbose_name="Effi\u00adciency", wide_only=True
    )
    dose = QuantityColumn("dose", accessor="sums__used_kg_per_m3", verbose_name="Dose", wide_only=True)
    cost = CostColumn(accessor="sums__cost_milli", verbose_name="Cost", wide_only=True)

    noun, nouns = "total", "totals"

    class Meta:
        orderable = False
        empty_text = "No batch took a chemical in this period."
        row_attrs = {"class": lambda record, table: "off" if is_off(record.sums, table.watch) else ""}


class GroupsTable(SumsTable):
    """The same for each group; its name leads to its batches."""

    group = HouseColumn(
        accessor="key", verbose_name="Group", linkify=lambda record, table: table.links[id(record)]
    )
    used = GramsColumn(accessor="sums__used_grams", verbose_name="Used", wide_only=True)
    """On a phone the difference and of how many batches it is come first; the totals above tell the masses."""
    noun, nouns = "group", "groups"

    def __init__(
        self, *args: Any, names: Mapping[str, str], links: Mapping[int, str], head: str = "", **kwargs: Any
    ):
        self.names, self.links = names, links
        super().__init__(*args, **kwargs)
        self.columns["group"].column.verbose_name = head or "Group"

    class Meta(SumsTable.Meta):
        sequence: tuple[str, ...] = ("group", "chemical", "batches", "theory", "plan", "used", "...")

    def render_group(self, value: str) -> str:
        return self.names[value]

    def value_group(self, value: str) -> str:
        return self.names[value]


GroupsTable.base_columns["group"].empty_values = ()


class SignedGroupsTable(GroupsTable):
    """Groups of a signed report: they lead nowhere, as the record has gone on since."""

    group = HouseColumn(accessor="key", verbose_name="Group", empty_values=())

    class Meta(GroupsTable.Meta):
        """Said again: a table takes over columns from the one it is made of, and nothing else."""


class LinesTable(_Watched):
    """Every batch with every chemical it took, or the part of it that was asked for."""

    batch = CodeColumn(
        accessor="row__number", verbose_name="Batch", linkify=lambda record: batch_url(record.row.number)
    )
    chemical = CodeColumn(accessor="chemical__formula", verbose_name="Chemical")
    started = DayColumn(accessor="row__started_at", verbose_name="Started", wide_only=True)
    vessel = CodeColumn(accessor="row__vessel", verbose_name="Vessel", wide_only=True)
    theory = GramsColumn(accessor="sums__theory_grams", verbose_name="Theory", wide_only=True, dash=True)
    plan = GramsColumn(accessor="sums__planned_grams", verbose_name="Plan", wide_only=True)
    used = GramsColumn(accessor="sums__used_grams", verbose_name="Used")
    variance = PercentColumn(accessor="variance_frac", verbose_name="Used − plan")
    ratio = RatioColumn(accessor="sums__ratio", verbose_name="Ratio", wide_only=True)
    dose = QuantityColumn("dose", accessor="sums__used_kg_per_m3", verbose_name="Dose", wide_only=True)
    cost = CostColumn(accessor="sums__cost_milli", verbose_name="Cost", wide_only=True)

    noun, nouns = "line", "lines"

    class Meta:
        orderable = False
        empty_text = "No batch took a chemical in this period. Choose another period."
        row_attrs = {"class": lambda record, table: "off" if record.is_outside(table.watch) else ""}


class LinesFile(LinesTable):
    """The same for a file: one fact in each column, and what the page has no room for."""

    name = HouseColumn(accessor="chemical__label", verbose_name="Chemical, name")
    family = HouseColumn(accessor="row__family", verbose_name="Family")
    resin_class = HouseColumn(accessor="row__segregation_class", verbose_name="Class")
    shift = HouseColumn(accessor="row__shift", verbose_name="Shift")
    recipe = HouseColumn(accessor="row__recipe", verbose_name="Recipe")
    form = HouseColumn(accessor="row__volume_form", verbose_name="Resin counted in form")
    resin = MillilitresColumn(accessor="sums__volume_ml", verbose_name="Resin")
    difference = GramsColumn(accessor="difference_grams", verbose_name="Used − plan")
    variance = PercentColumn(accessor="variance_frac", verbose_name="Used − plan, %")
    efficiency = SpreadColumn(accessor="sums__efficiency_frac", verbose_name="Efficiency, %")

    class Meta(LinesTable.Meta):
        sequence = (
            "batch",
            "started",
            "shift",
            "family",
            "resin_class",
            "vessel",
            "recipe",
            "chemical",
            "name",
            "...",
        )


class _ForFile(tables.Table):
    """What totals and groups say in a file: one fact in each column. Named last among the bases, its columns take the place of the page's."""

    resin = MillilitresColumn(accessor="sums__volume_ml", verbose_name="Resin")
    variance = PercentColumn(accessor="sums__variance_frac", verbose_name="Used − plan, %")
    mean = PercentColumn(accessor="sums__mean_variance_frac", verbose_name="Mean of batches, %")
    spread = SpreadColumn(accessor="sums__spread_frac", verbose_name="Spread of batches, %")
    efficiency = SpreadColumn(accessor="sums__efficiency_frac", verbose_name="Efficiency, %")
    compared = NumberColumn(accessor="sums__compared", verbose_name="Batches compared")


class SumsFile(SumsTable, _ForFile):
    """Totals for a file."""


class GroupsFile(GroupsTable, _ForFile):
    """Groups for a file, with their code."""

    code = HouseColumn(accessor="key", verbose_name="Code")

    class Meta(GroupsTable.Meta):
        sequence = ("group", "code", "chemical", "batches", "theory", "plan", "used", "...")


def batch_url(number: str) -> str:
    """The page of one batch's use."""
    return reverse("chemical-use-batch", args=[number])


__all__ = [
    "GroupsFile",
    "GroupsTable",
    "LinesFile",
    "LinesTable",
    "SignedGroupsTable",
    "SumsFile",
    "SumsTable",
    "UseLine",
]
