"""The listing of batches."""

from __future__ import annotations

import django_tables2 as tables

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.web.tables.columns import (
    CodeColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
    StateColumn,
)
from regenplant.web.tables.export import FORMATS


class BatchTable(tables.Table):
    caption = ""
    noun, nouns = "batch", "batches"
    exports = FORMATS

    number = CodeColumn(linkify=("batches-detail", [tables.A("number")]), verbose_name="Batch")
    state = StateColumn(verbose_name="State")
    vessel = CodeColumn(accessor="vessel__code", order_by="vessel__code", verbose_name="Vessel")
    family = CodeColumn(
        accessor="resin_type__family", order_by="resin_type__family", verbose_name="Family", wide_only=True
    )
    segregation_class = HouseColumn(verbose_name="Class")
    resin_volume_m3 = QuantityColumn("resin_volume", verbose_name="Resin")
    tank_count = NumberColumn(verbose_name="Tanks", wide_only=True)
    recipe = CodeColumn(
        accessor="recipe_version__recipe__code",
        order_by=("recipe_version__recipe__code", "recipe_version__number"),
        verbose_name="Recipe",
        wide_only=True,
    )
    planned_at = LocalTimeColumn(verbose_name="Planned", wide_only=True)
    started_at = LocalTimeColumn(verbose_name="Started", visible=False)
    finished_at = LocalTimeColumn(verbose_name="Ended", visible=False)
    open_deviation_count = NumberColumn(verbose_name="Open dev.", wide_only=True)
    planned_by = PersonColumn(accessor="planned_by__full_name", verbose_name="By", visible=False)
    parent = CodeColumn(accessor="parent__number", verbose_name="Rework of", wide_only=True)

    class Meta:
        model = Batch
        fields = ()
        empty_text = "No batch fits what is chosen. Choose less."
        order_by = ("-planned_at", "-number")
        row_attrs = {"class": lambda record: "off" if record.open_deviation_count else ""}

    def render_family(self, record: Batch) -> str:
        return ResinFamily(record.resin_type.family).abbreviation

    def value_family(self, record: Batch) -> str:
        return ResinFamily(record.resin_type.family).label

    def render_segregation_class(self, record: Batch) -> str:
        return record.segregation_class

    def render_state(self, record: Batch) -> object:
        return self.base_columns["state"].render(record.state)

    def value_state(self, record: Batch) -> str:
        return str(self.base_columns["state"].value(record.state))

    def render_recipe(self, record: Batch) -> str:
        return f"{record.recipe_version.recipe.code} v{record.recipe_version.number}"

    def value_recipe(self, record: Batch) -> str:
        return f"{record.recipe_version.recipe.code} version {record.recipe_version.number}"
