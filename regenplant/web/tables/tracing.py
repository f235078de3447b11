"""Listings of an investigation: the batches that shared something, and the tanks to call back."""

from __future__ import annotations

import django_tables2 as tables

from regenplant.quality.investigation import Recalled, Related
from regenplant.web.tables.columns import CodeColumn, HouseColumn, LocalTimeColumn, NumberColumn, StateColumn
from regenplant.web.tables.export import FORMATS


class RelatedTable(tables.Table):
    caption = ""
    noun, nouns = "batch", "batches"
    exports = FORMATS

    number = CodeColumn(
        accessor="batch__number",
        linkify=("batches-detail", [tables.A("batch__number")]),
        verbose_name="Batch",
    )
    state = StateColumn(accessor="batch__state", verbose_name="State")
    why = HouseColumn(accessor="shares", verbose_name="Shares", orderable=False)
    started = LocalTimeColumn(accessor="batch__started_at", verbose_name="Started", wide_only=True)
    vessel = CodeColumn(accessor="batch__vessel__code", verbose_name="Vessel", wide_only=True)
    tanks = NumberColumn(verbose_name="Tanks")
    shipped = NumberColumn(verbose_name="Shipped")

    class Meta:
        empty_text = "No other batch of the window shared anything with it."
        row_attrs = {"class": lambda record: "off" if record.batch.state in ("failed", "scrapped") else ""}

    def render_why(self, record: Related) -> str:
        return self.value_why(record)

    def value_why(self, record: Related) -> str:
        return ", ".join(f"{one.thing.label} {one.code}" for one in record.shares)


class RecallTable(tables.Table):
    caption = ""
    noun, nouns = "tank", "tanks"
    exports: tuple[str, ...] = FORMATS

    serial = CodeColumn(linkify=("tanks-detail", [tables.A("serial")]), verbose_name="Tank")
    customer = HouseColumn(verbose_name="Customer")
    site = HouseColumn(verbose_name="Site")
    shipped_at = LocalTimeColumn(verbose_name="Shipped", default="still here")
    batch = CodeColumn(linkify=("batches-detail", [tables.A("batch")]), verbose_name="Batch")
    lot = CodeColumn(verbose_name="Lot", visible=False)
    filled_at = LocalTimeColumn(verbose_name="Filled", visible=False)
    visit = CodeColumn(verbose_name="Visit", visible=False)
    why = HouseColumn(verbose_name="Why", wide_only=True)

    class Meta:
        empty_text = "No tank was filled from it."
        row_attrs = {"class": lambda record: "off" if _is_away(record) else ""}


def _is_away(record: Recalled) -> bool:
    return record.shipped_at is not None
