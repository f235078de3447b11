"""Lots that age, as a listing."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse

from regenplant.core.process.resin_advice import Step
from regenplant.web.presenters import ageing as words
from regenplant.web.tables.columns import CodeColumn, HouseColumn, NumberColumn
from regenplant.web.tables.export import FORMATS


class AgeingTable(tables.Table):
    """Lots in use, worst first."""

    lot = CodeColumn(
        accessor="lot__code",
        verbose_name="Lot",
        linkify=lambda record: reverse("resin-ageing-lot", args=[record.lot.code]),
    )
    resin = CodeColumn(accessor="lot__resin_type__code", verbose_name="Resin")
    segregation_class = HouseColumn(accessor="lot__segregation_class", verbose_name="Class", wide_only=True)
    age = NumberColumn(accessor="age_years", verbose_name="Mean age, a", wide_only=True)
    cycles = NumberColumn(accessor="lot__cycles", verbose_name="Cycles", wide_only=True)
    left = NumberColumn(accessor="proposed__mean", verbose_name="Left, %")
    band = HouseColumn(
        accessor="proposed",
        verbose_name="5 to 95 %",
        wide_only=True,
        attrs={"td": {"class": "num nb"}, "th": {"class": "num"}},
    )
    in_use = NumberColumn(verbose_name="In plans, %", wide_only=True)
    advice = HouseColumn(accessor="urgent__step", verbose_name="Advice")

    caption = "Capacity left as a share of new: the middle of what is believed and its band. “In plans” is the factor that plans count with."
    noun, nouns = "lot", "lots"
    exports = FORMATS

    class Meta:
        orderable = False
        empty_text = "No lot fits."
        row_attrs = {
            "class": lambda record: "off" if record.urgent.step in (Step.REPLACE, Step.CLEAN) else ""
        }

    def render_age(self, value: float) -> str:
        return f"{value:.1f}"

    def value_age(self, value: float) -> float:
        return round(value, 2)

    def render_left(self, value: float) -> str:
        return f"{100 * value:.0f}"

    def value_left(self, value: float) -> float:
        return round(100 * value, 2)

    def render_in_use(self, value: float) -> str:
        return f"{100 * value:.0f}"

    def value_in_use(self, value: float) -> float:
        return round(100 * value, 2)

    def render_band(self, value: object) -> str:
        return words.band_words(value).replace("%", "").strip()  # type: ignore[arg-type]

    def value_band(self, value: object) -> str:
        return words.band_words(value)  # type: ignore[arg-type]

    def render_advice(self, value: Step) -> str:
        return value.label

    def value_advice(self, value: Step) -> str:
        return value.label
