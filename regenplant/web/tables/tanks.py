"""Listings of tanks, of round trips, of customers."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import django_tables2 as tables
from django.urls import reverse

from regenplant.tanks.models import Customer, Tank, TankVisit
from regenplant.tanks.selectors import AWAY_STATES
from regenplant.web.tables.columns import (
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
    StateColumn,
)
from regenplant.web.tables.export import FORMATS


def by_scan(code: str) -> str:
    """The address that leads to whatever has this code."""
    return f"{reverse('scan')}?{urlencode({'code': code})}"


class ScanColumn(CodeColumn):
    """A code of another area; its link leads there as a scan would."""

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, linkify=lambda value: by_scan(str(value)) if value else None, **kwargs)


class TankTable(tables.Table):
    caption = ""
    noun, nouns = "tank", "tanks"
    exports = FORMATS

    serial = CodeColumn(linkify=("tanks-detail", [tables.A("serial")]), verbose_name="Tank")
    visit_state = StateColumn(verbose_name="Now", default="away")
    resin_type = CodeColumn(accessor="resin_type__code", order_by="resin_type__code", verbose_name="Resin")
    segregation_class = HouseColumn(verbose_name="Class")
    resin_volume_m3 = QuantityColumn("resin_volume", verbose_name="Resin", wide_only=True)
    size = CodeColumn(
        accessor="size__code", order_by="size__diameter_m", verbose_name="Size, in", wide_only=True
    )
    visit_customer = HouseColumn(verbose_name="Last customer", wide_only=True)
    visit_bay = CodeColumn(verbose_name="Bay", wide_only=True)
    visit_received_at = DayColumn(verbose_name="Came in", wide_only=True)
    visit_due_at = LocalTimeColumn(verbose_name="Promised for", visible=False)
    family = HouseColumn(accessor="resin_type__family", verbose_name="Family", visible=False)
    dedicated_to = HouseColumn(accessor="dedicated_to__name", verbose_name="Dedicated to", visible=False)
    resin_lot = HouseColumn(accessor="resin_lot__code", verbose_name="Lot inside", visible=False)
    neck_band = HouseColumn(verbose_name="Neck band", visible=False)

    class Meta:
        empty_text = "No tank fits what is chosen. Choose less."
        model = Tank
        fields = ()
        order_by = "serial"

    def render_segregation_class(self, record: Tank) -> str:
        return record.segregation_class

    def render_visit_bay(self, value: str, record: Any) -> str:
        return "–" if record.visit_state in AWAY_STATES else value


class VisitTable(tables.Table):
    noun, nouns = "round trip", "round trips"
    exports = FORMATS

    number = CodeColumn(linkify=("intake-visit", [tables.A("number")]), verbose_name="Visit")
    received_at = DayColumn(verbose_name="In")
    state = StateColumn(verbose_name="State")
    customer = HouseColumn(accessor="customer__name", verbose_name="From", wide_only=True)
    segregation_class = HouseColumn(verbose_name="Class")
    batch_number = ScanColumn(verbose_name="Batch")
    refilled_lot = ScanColumn(accessor="refilled_lot__code", verbose_name="Lot", wide_only=True)
    rinsed_bv = QuantityColumn("bed_volumes", verbose_name="Rinsed", wide_only=True)
    released_at = DayColumn(verbose_name="Released", wide_only=True)
    shipped_at = DayColumn(verbose_name="Out", wide_only=True)

    class Meta:
        empty_text = "This tank was never here yet. Its first round trip appears when it is received."
        model = TankVisit
        fields = ()
        order_by = "-received_at"

    def render_segregation_class(self, record: TankVisit) -> str:
        return record.segregation_class


class CustomerVisitTable(VisitTable):
    """Round trips of one customer's tanks."""

    tank = CodeColumn(
        accessor="tank__serial", linkify=("tanks-detail", [tables.A("tank__serial")]), verbose_name="Tank"
    )
    received_by = PersonColumn(accessor="received_by__full_name", verbose_name="By", wide_only=True)
    due_at = DayColumn(verbose_name="Promised", wide_only=True)

    class Meta(VisitTable.Meta):
        empty_text = "No tank of this customer was here yet."
        exclude = ("customer", "rinsed_bv")
        sequence = ("number", "tank", "received_at", "...")


class CustomerTable(tables.Table):
    noun, nouns = "customer", "customers"
    exports = FORMATS

    code = CodeColumn(linkify=("customers-detail", [tables.A("code")]), verbose_name="Code")
    name = HouseColumn(verbose_name="Customer")
    declared_service = HouseColumn(verbose_name="Declared service", wide_only=True)
    contact = HouseColumn(verbose_name="Contact", wide_only=True)
    tanks_here = NumberColumn(verbose_name="Tanks here")
    tanks_dedicated = NumberColumn(verbose_name="Dedicated tanks")

    class Meta:
        empty_text = "No customer is recorded yet. Add the first one."
        model = Customer
        fields = ()
        order_by = "name"
