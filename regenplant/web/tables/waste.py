"""Listings of the waste."""

from __future__ import annotations

import django_tables2 as tables

from regenplant.waste.models import WasteMovement
from regenplant.web.tables.columns import (
    CodeColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
    SentenceColumn,
)

EXPORTS = ("csv", "xlsx")


class WasteMovementTable(tables.Table):
    """What came into a waste tank and left it."""

    caption, noun, nouns, exports = "", "movement", "movements", EXPORTS

    number = CodeColumn(verbose_name="No.")
    moved_at = LocalTimeColumn(verbose_name="At")
    kind = CodeColumn(verbose_name="What", accessor="get_kind_display", orderable=False)
    volume_m3 = QuantityColumn("liquid_volume", verbose_name="Came (+), left (−)")
    level_m3 = QuantityColumn("liquid_volume", verbose_name="Then")
    ph = NumberColumn(verbose_name="pH", wide_only=True)
    reference = SentenceColumn(verbose_name="For", wide_only=True, empty_values=())
    moved_by = PersonColumn(verbose_name="By", wide_only=True)

    class Meta:
        order_by = "-number"

    def render_reference(self, record: WasteMovement) -> str:
        """What it was for, and what was noted."""
        return "; ".join(words for words in (record.reference, record.reason) if words) or "–"

    value_reference = render_reference
