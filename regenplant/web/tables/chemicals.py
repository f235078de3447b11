"""Listings of chemicals."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.chemicals.models import ChemicalLot, DataSheet, Movement, Place
from regenplant.chemicals.selectors import newest_check
from regenplant.core.process.vocabulary import Chemical
from regenplant.web.active_units import active
from regenplant.web.tables.columns import (
    NOT_WRITTEN,
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
)
from regenplant.web.templatetags.parts import mark

EXPORTS = ("csv", "xlsx")


class ChemicalColumn(HouseColumn):
    """A chemical by its formula, which fits every width."""

    def render(self, record: Any, bound_column: Any) -> str:
        # The table hands over the label of a choice; the record holds its key.
        return Chemical(bound_column.accessor.resolve(record)).formula

    def value(self, record: Any, bound_column: Any) -> str:
        return Chemical(bound_column.accessor.resolve(record)).label


class GramsColumn(HouseColumn):
    """Whole grams of the ledger, shown as a mass in the reader's unit, which stands in the head."""

    classes = "num nb"

    @property
    def header(self) -> str:
        return f"{self.verbose_name}, {units.unit_text('mass', active())}"

    def render(self, value: int) -> str:
        return units.format_quantity(value / 1000.0, "mass", active(), with_unit=False)

    def value(self, value: int) -> float:
        """For exports: the mass in the unit of the head, to the gram."""
        return float(f"{units.shown_value(value / 1000.0, 'mass', active()):.10g}")


class LotTable(tables.Table):
    caption, noun, nouns, exports = "", "lot", "lots", EXPORTS

    code = CodeColumn(verbose_name="Lot", linkify=("chemicals-lot", {"code": tables.A("code")}))
    chemical = ChemicalColumn(verbose_name="Chemical")
    received_at = LocalTimeColumn(verbose_name="Received", wide_only=True)
    certificate_strength_frac = QuantityColumn("strength", verbose_name="Certificate")
    checked = QuantityColumn(
        "strength", verbose_name="Plant check", accessor="pk", orderable=False, empty_values=()
    )
    state = HouseColumn(verbose_name="State", accessor="pk", orderable=False)
    supplier_lot = HouseColumn(verbose_name="Supplier’s lot", wide_only=True)

    class Meta:
        model = ChemicalLot
        fields = ()
        empty_text = "No lot fits. A lot appears when a delivery is received."

    def render_checked(self, record: ChemicalLot) -> str:
        check = newest_check(record)
        return (
            units.format_quantity(check.strength_frac, "strength", active(), with_unit=False)
            if check
            else NOT_WRITTEN
        )

    def value_checked(self, record: ChemicalLot) -> float | str:
        check = newest_check(record)
        return round(check.strength_frac * 100, 6) if check else ""

    def render_state(self, record: ChemicalLot) -> SafeString | str:
        return (
            mark("running", "In use")
            if record.is_in_use
            else "finished"
            if record.is_finished
            else mark("waiting", "Not in use")
        )

    def value_state(self, record: ChemicalLot) -> str:
        return "in use" if record.is_in_use else "finished" if record.is_finished else "not in use"


class MovementTable(tables.Table):
    caption = "Mass as 100 % substance. What was wrong is taken back by its counter-movement; both stay."
    noun, nouns = "movement", "movements"
    exports: tuple[str, ...] | None = EXPORTS

    number = NumberColumn(
        verbose_name="No.", linkify=("chemicals-movement-correct", {"number": tables.A("number")})
    )
    moved_at = LocalTimeColumn(verbose_name="When", wide_only=True)
    chemical = ChemicalColumn(verbose_name="Chemical")
    from_place = CodeColumn(verbose_name="From", accessor="from_place__code")
    to_place = CodeColumn(verbose_name="To", accessor="to_place__code")
    grams_100 = GramsColumn(verbose_name="As 100 %")
    reference = CodeColumn(verbose_name="For")
    lot = CodeColumn(verbose_name="Lot", accessor="lot__code", wide_only=True)
    moved_by = PersonColumn(verbose_name="By", accessor="moved_by__full_name", wide_only=True)
    reason = HouseColumn(verbose_name="Reason", orderable=False, empty_values=(), wide_only=True)

    class Meta:
        model = Movement
        fields = ()
        empty_text = "No movement fits. The first one comes with the first delivery."

    def render_reason(self, record: Movement) -> str:
        back = getattr(record, "corrected_by", None)
        if back is not None:
            return f"taken back by {back.number}"
        if record.corrects is not None:
            return f"takes back {record.corrects.number}: {record.reason}"
        return record.reason or NOT_WRITTEN

    def value_reason(self, record: Movement) -> str:
        return record.reason


class PlaceTable(tables.Table):
    caption, noun, nouns, exports = "", "tank", "tanks", EXPORTS

    code = CodeColumn(verbose_name="Tank", linkify=("chemicals-place", {"code": tables.A("code")}))
    name = HouseColumn(verbose_name="Name", wide_only=True)
    chemical = ChemicalColumn(verbose_name="For")
    capacity_m3 = QuantityColumn("liquid_volume", verbose_name="Capacity")
    low_stock_grams_100 = GramsColumn(verbose_name="Low mark, as 100 %")

    class Meta:
        model = Place
        fields = ()
        empty_text = "No bulk tank is set up yet. A supervisor adds the first one."


class SheetTable(tables.Table):
    caption, noun, nouns, exports = "", "sheet", "sheets", EXPORTS

    chemical = ChemicalColumn(verbose_name="Chemical")
    supplier = HouseColumn(verbose_name="Supplier", linkify=("chemicals-sheet", {"pk": tables.A("pk")}))
    strength_text = HouseColumn(verbose_name="Strength")
    revised_on = DayColumn(verbose_name="Revised")
    signal_word = HouseColumn(verbose_name="Signal word")
    hazard_codes = HouseColumn(verbose_name="Hazard codes", orderable=False)
    un_number = HouseColumn(verbose_name="UN", wide_only=True)
    is_in_force = HouseColumn(verbose_name="State", orderable=False)

    class Meta:
        model = DataSheet
        fields = ()
        empty_text = "No data sheet is on file. Labels and warnings need one for each chemical."

    def __init__(self, *args: Any, may_withdraw: bool = False, **kwargs: Any):
        self.may_withdraw = may_withdraw
        super().__init__(*args, **kwargs)

    def render_hazard_codes(self, value: list[str]) -> str:
        return " ".join(value) or NOT_WRITTEN

    def render_is_in_force(self, record: DataSheet) -> SafeString | str:
        if not record.is_in_force:
            return "replaced"
        if not self.may_withdraw:
            return "in force"
        url = reverse("chemicals-sheet-withdraw", kwargs={"pk": record.pk})
        return format_html('in force <a href="{}" aria-label="Withdraw {}">Withdraw</a>', url, str(record))

    def value_is_in_force(self, record: DataSheet) -> str:
        return "in force" if record.is_in_force else "replaced"
