"""Round trips of a lot's resin, and lots of a tank or a customer, as listings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_tables2 as tables

from regenplant.quality.lots_behind import Behind
from regenplant.resins.models import ResinLot
from regenplant.web.presenters.resin_lots import deliveries_words
from regenplant.web.tables.columns import CodeColumn, DayColumn, HouseColumn, NumberColumn
from regenplant.web.tables.export import FORMATS
from regenplant.web.tables.tanks import ScanColumn


class LotVisitTable(tables.Table):
    """Fillings with resin of one lot, the last first."""

    caption = ""
    noun, nouns = "round trip", "round trips"
    exports = FORMATS

    tank = CodeColumn(
        accessor="tank__serial", linkify=("tanks-detail", [tables.A("tank__serial")]), verbose_name="Tank"
    )
    refilled_at = DayColumn(verbose_name="Filled")
    share = NumberColumn(accessor="refilled_lot_id", verbose_name="Of it, %", orderable=False)
    customer = HouseColumn(accessor="customer__name", verbose_name="For")
    shipped_at = DayColumn(verbose_name="Shipped", default="not yet", wide_only=True)
    batch_number = ScanColumn(verbose_name="Batch", wide_only=True)
    lot = CodeColumn(
        accessor="refilled_lot__code",
        linkify=("setup-lot", [tables.A("refilled_lot__code")]),
        verbose_name="Lot",
        wide_only=True,
    )
    number = CodeColumn(linkify=("intake-visit", [tables.A("number")]), verbose_name="Visit", wide_only=True)

    class Meta:
        empty_text = "No tank was filled with its resin."

    def __init__(self, *args: Any, holding: Mapping[int, tuple[float, int]], **kwargs: Any):
        self.holding = holding
        super().__init__(*args, **kwargs)

    def render_share(self, value: int) -> str:
        return f"{self.value_share(value):.1f}"

    def value_share(self, value: int) -> float:
        return round(100.0 * self.holding[value][0], 4)


class FilledLotTable(tables.Table):
    """Lots that tanks were filled with, the last first."""

    caption = ""
    noun, nouns = "lot", "lots"
    exports = FORMATS

    code = CodeColumn(linkify=("setup-lot-trace", [tables.A("code")]), verbose_name="Lot")
    resin = CodeColumn(accessor="resin_type__code", verbose_name="Resin", wide_only=True)
    fillings = NumberColumn(verbose_name="Fillings")
    tank_count = NumberColumn(verbose_name="Tanks")
    first_at = DayColumn(verbose_name="First", wide_only=True)
    last_at = DayColumn(verbose_name="Last")
    batch_number = ScanColumn(verbose_name="Batch", wide_only=True)
    made_of = HouseColumn(accessor="parts", verbose_name="Deliveries in it", orderable=False, wide_only=True)

    class Meta:
        empty_text = "No tank was filled yet."

    def render_made_of(self, record: ResinLot) -> str:
        return deliveries_words(record)


class BehindLotTable(tables.Table):
    """Lots behind the fillings of a customer or a tank, or lots its resin went into: filled last first, then those made last."""

    caption = ""
    noun, nouns = "lot", "lots"
    exports = FORMATS

    code = CodeColumn(linkify=("setup-lot-trace", [tables.A("code")]), verbose_name="Lot")
    steps = NumberColumn(accessor="pk", verbose_name="Steps away", orderable=False)
    share = NumberColumn(accessor="pk", verbose_name="Of all resin, %", orderable=False)
    resin = CodeColumn(accessor="resin_type__code", verbose_name="Resin", wide_only=True)
    fillings = NumberColumn(verbose_name="Fillings")
    last_at = DayColumn(verbose_name="Last", wide_only=True)
    made_at = DayColumn(verbose_name="Made", wide_only=True)
    batch_number = ScanColumn(verbose_name="Batch", wide_only=True)
    made_of = HouseColumn(accessor="parts", verbose_name="Deliveries in it", orderable=False, wide_only=True)

    class Meta:
        empty_text = "No lot is on record here yet."

    def __init__(self, *args: Any, found: Mapping[int, Behind], **kwargs: Any):
        self.found = found
        super().__init__(*args, **kwargs)
        if all(one.share_frac is None for one in found.values()):
            for name in ("share", "fillings", "last_at"):
                self.columns.hide(name)
                self.columns[name].column.exclude_from_export = True

    def render_steps(self, value: int) -> int:
        return self.found[value].steps

    value_steps = render_steps

    def render_share(self, value: int) -> str:
        share = self.found[value].share_frac
        return "" if share is None else f"{100.0 * share:.1f}"

    def value_share(self, value: int) -> float | None:
        share = self.found[value].share_frac
        return None if share is None else round(100.0 * share, 4)

    def render_made_of(self, record: ResinLot) -> str:
        return deliveries_words(record)
