"""Listings of instruments, and of what rests on one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.plant.calibrations import Due
from regenplant.plant.models import Instrument
from regenplant.quality.instrument_impact import Result
from regenplant.web.active_units import active
from regenplant.web.presenters import instruments as said
from regenplant.web.tables.columns import CodeColumn, DayColumn, HouseColumn, LocalTimeColumn
from regenplant.web.tables.export import FORMATS
from regenplant.web.templatetags.parts import codes, mark

_MARKS = {
    Due.OUT_OF_SERVICE: ("refused", "out of service"),
    Due.NEVER: ("overdue", "never calibrated"),
    Due.OVERDUE: ("overdue", "overdue"),
    Due.TODAY: ("check", "due today"),
    Due.SOON: ("check", "due soon"),
}


class InstrumentTable(tables.Table):
    caption, noun, nouns, exports = "", "instrument", "instruments", FORMATS

    code = CodeColumn(verbose_name="Code", linkify=("setup-instrument", {"code": tables.A("code")}))
    name = HouseColumn(verbose_name="Name", wide_only=True)
    kind = HouseColumn(verbose_name="Kind", wide_only=True)
    calibrated_on = DayColumn(verbose_name="Calibrated", wide_only=True)
    calibration_due_on = DayColumn(verbose_name="Due")
    standing = HouseColumn(verbose_name="State", orderable=False, empty_values=())

    class Meta:
        model = Instrument
        fields = ()
        empty_text = "No instrument is set up yet. A supervisor adds the first one."

    def __init__(self, *args: Any, due: Mapping[int, Due], **kwargs: Any):
        self.due = due
        off = {pk for pk, one in due.items() if one.proves_nothing and one is not Due.NOT_IN_USE}
        super().__init__(
            *args, row_attrs={"class": lambda record: "off" if record.pk in off else ""}, **kwargs
        )

    def render_standing(self, record: Instrument) -> SafeString | str:
        due = self.due[record.pk]
        return mark(*_MARKS[due]) if due in _MARKS else due.label

    def value_standing(self, record: Instrument) -> str:
        return self.due[record.pk].label


class ImpactTable(tables.Table):
    """Results that rest on an instrument. ``fails`` shows the error that a calibration found."""

    caption = "Nearest to its limit first; the margin is a share of the limit."
    noun, nouns, exports = "result", "results", FORMATS

    batch = HouseColumn(accessor="batch__number", verbose_name="Batch")
    value = HouseColumn(verbose_name="Value", orderable=False, wide_only=True)
    margin = HouseColumn(verbose_name="Margin", empty_values=())
    went = HouseColumn(verbose_name="Tanks and customers", orderable=False, empty_values=(), wide_only=True)
    # in the file only: on the page each stands under its neighbour
    what = HouseColumn(verbose_name="Result", visible=False)
    limit = HouseColumn(verbose_name="Limit", orderable=False, empty_values=(), visible=False)
    at = LocalTimeColumn(verbose_name="Measured at", visible=False)
    with_error = HouseColumn(
        verbose_name="With the error found", orderable=False, empty_values=(), visible=False
    )
    holds = HouseColumn(verbose_name="Then", orderable=False, empty_values=(), visible=False)
    decided = HouseColumn(verbose_name="Decision", orderable=False, empty_values=(), visible=False)

    class Meta:
        fields = ()
        empty_text = "Nothing rests on it in this time."
        row_attrs = {"class": lambda record: "off" if record.holds_no_longer else ""}

    def __init__(self, *args: Any, fails: bool, **kwargs: Any):
        self.fails = fails
        super().__init__(*args, exclude=() if fails else ("with_error", "holds"), **kwargs)

    def render_batch(self, record: Result) -> SafeString:
        number, (word, _, day) = record.batch.number, said.decided_words(record).rpartition(" ")
        return format_html(
            '<a class="nb" href="{}">{}</a><br>{}<br><span class="quiet">{} <span class="nb">{}</span></span>',
            reverse("batches-detail", args=[number]), number, record.what, word, day,
        )  # fmt: skip

    def value_batch(self, record: Result) -> str:
        return record.batch.number

    def render_value(self, record: Result) -> SafeString:
        then = f"then {said.error_value(record, active())}" if self.fails else ""
        return format_html(
            '<span class="nb">{}</span><br>{}<span class="quiet">{}</span>',
            self.value_value(record),
            format_html('<span class="nb">{}</span><br>', then) if then else "",
            said.limit_words(record, active()),
        )

    def value_value(self, record: Result) -> str:
        return units.format_quantity(record.value, record.kind, active())

    def value_limit(self, record: Result) -> str:
        return said.limit_words(record, active())

    def render_margin(self, record: Result) -> SafeString:
        own = said.margin_words(record.margin)
        if not self.fails:
            return format_html("{}", own)
        words = said.holds_words(record)
        return format_html(
            "{}<br>then {}<br>{}",
            own,
            said.margin_words(record.margin_with_error),
            mark("check", words) if record.holds_no_longer else words,
        )

    def value_margin(self, value: float | None) -> float | None:
        return None if value is None else float(f"{value:.6g}")

    def value_with_error(self, record: Result) -> str:
        return said.error_words(record, active())

    def value_holds(self, record: Result) -> str:
        return said.holds_words(record)

    def value_decided(self, record: Result) -> str:
        return said.decided_words(record)

    def render_went(self, record: Result) -> SafeString:
        return codes(said.went_words(record))

    def value_went(self, record: Result) -> str:
        return said.went_words(record)
