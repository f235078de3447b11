"""Listings of chemicals."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.chemicals.counts import DayBalance
from regenplant.chemicals.expiring import Expiry
from regenplant.chemicals.models import ChemicalLot, DataSheet, Movement, Place, StockCount
from regenplant.chemicals.selectors import newest_check
from regenplant.core.process.reconciliation import Verdict
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

    code = CodeColumn(verbose_name="Tank", linkify=("chemicals-tank", {"code": tables.A("code")}))
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


class CountTable(tables.Table):
    caption = "As 100 %. A count moves nothing; a difference is booked by another person than who counted."
    noun, nouns = "count", "counts"
    exports: tuple[str, ...] | None = None

    number = CodeColumn(verbose_name="Count", linkify=("chemicals-count", {"number": tables.A("number")}))
    counted_at = LocalTimeColumn(verbose_name="When")
    found_grams_100 = GramsColumn(verbose_name="Found")
    spread_grams_100 = GramsColumn(verbose_name="±")
    gap = GramsColumn(verbose_name="Against books", accessor="gap_grams_100", orderable=False)
    state = HouseColumn(verbose_name="State", accessor="pk", orderable=False)
    counted_by = PersonColumn(verbose_name="By", accessor="counted_by__full_name", wide_only=True)

    class Meta:
        model = StockCount
        fields = ()
        orderable = False
        empty_text = "Never counted yet."

    def render_state(self, record: StockCount) -> SafeString | str:
        if hasattr(record, "replaced_by"):
            return f"replaced by {record.replaced_by.number}"
        return mark("done", "Agreed") if record.is_within else mark("check", "Differed")


_VERDICTS = {
    Verdict.NONE: ("done", "Closes"),
    Verdict.WITHIN: ("check", "Small"),
    Verdict.ABOVE: ("failed", "Look"),
}


class BalanceTable(tables.Table):
    caption = "From count to count; of a day with several the last one closes it. A day without a count is closed by the next."
    noun, nouns = "balance", "balances"
    exports: tuple[str, ...] | None = EXPORTS

    day = DayColumn(verbose_name="Day", linkify=("chemicals-count", {"number": tables.A("closing__number")}))
    place = CodeColumn(verbose_name="Tank", accessor="place__code")
    verdict = HouseColumn(verbose_name="State", accessor="balance__verdict")
    gap = QuantityColumn("mass", verbose_name="Difference", accessor="balance__gap_kg")
    spread = QuantityColumn("mass", verbose_name="±", accessor="balance__spread_kg", wide_only=True)
    share = QuantityColumn(
        "fraction", verbose_name="Missing of the use", accessor="balance__gap_frac", wide_only=True
    )
    days = NumberColumn(verbose_name="Days", visible=False)
    opening = QuantityColumn("mass", verbose_name="Opening", accessor="balance__opening_kg", wide_only=True)
    received = QuantityColumn("mass", verbose_name="Came", accessor="balance__received_kg", wide_only=True)
    used = QuantityColumn("mass", verbose_name="Used", accessor="balance__used_kg")
    other = QuantityColumn(
        "mass", verbose_name="Drained, spilled", accessor="balance__other_kg", wide_only=True
    )
    expected = QuantityColumn(
        "mass", verbose_name="Should be", accessor="balance__expected_kg", wide_only=True
    )
    found = QuantityColumn("mass", verbose_name="Found", accessor="balance__closing_kg", wide_only=True)

    class Meta:
        order_by = ()
        orderable = False
        empty_text = "No count in this time. Each tank is counted by its level once a shift or day; then the balance can be drawn."

    def render_verdict(self, record: DayBalance) -> SafeString:
        return mark(*_VERDICTS[record.balance.verdict])

    def value_verdict(self, record: DayBalance) -> str:
        return record.balance.verdict.value


class ExpiryTable(tables.Table):
    caption = "Soonest first. The day itself still counts."
    noun, nouns = "line", "lines"
    exports: tuple[str, ...] | None = None

    what = HouseColumn(verbose_name="What")
    of = CodeColumn(verbose_name="Of")
    chemical = ChemicalColumn(verbose_name="Chemical")
    day = DayColumn(verbose_name="Until")
    state = HouseColumn(verbose_name="State", accessor="of")
    consequence = HouseColumn(verbose_name="What then", wide_only=True)

    class Meta:
        orderable = False
        empty_text = "No lot is in use and no tank is set up, so nothing can run out."

    def render_of(self, record: Expiry) -> SafeString:
        name = "chemicals-tank" if record.is_tank else "chemicals-lot"
        return format_html('<a href="{}">{}</a>', reverse(name, args=[record.of]), record.of)

    def render_state(self, record: Expiry) -> SafeString | str:
        if record.day is None:
            return mark("overdue", "Missing")
        if record.is_overdue:
            return mark("overdue", "Overdue")
        left = int(record.days_left or 0)
        words = "today" if left == 0 else f"in {left} day{'s' if left != 1 else ''}"
        return mark("check", words.capitalize()) if record.is_soon else words
