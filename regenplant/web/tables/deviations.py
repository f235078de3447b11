"""The listing of deviations."""

from __future__ import annotations

import django_tables2 as tables

from regenplant.batches.causes import CAUSES
from regenplant.batches.models import Deviation
from regenplant.web.tables.columns import (
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    PersonColumn,
    SentenceColumn,
)
from regenplant.web.tables.export import FORMATS


class DeviationTable(tables.Table):
    caption = ""
    noun, nouns = "deviation", "deviations"
    exports = FORMATS

    number = CodeColumn(linkify=("deviations-detail", [tables.A("number")]), verbose_name="Deviation")
    severity = HouseColumn(verbose_name="Severity", order_by=("rank", "opened_at"))
    batch = CodeColumn(
        accessor="batch__number",
        linkify=("batches-detail", [tables.A("batch__number")]),
        verbose_name="Batch",
    )
    what = SentenceColumn(verbose_name="What")
    step = HouseColumn(accessor="step__name", verbose_name="Step", visible=False)
    source = HouseColumn(verbose_name="Came from", visible=False)
    opened_at = DayColumn(verbose_name="Opened", wide_only=True)
    owner = PersonColumn(accessor="owner__full_name", verbose_name="Looked into by", wide_only=True)
    due_on = DayColumn(verbose_name="Due", wide_only=True)
    cause_category = HouseColumn(verbose_name="Cause", visible=False)
    decision_kind = HouseColumn(verbose_name="Decided", wide_only=True)
    decided_at = LocalTimeColumn(verbose_name="Decided at", visible=False)
    decided_by = PersonColumn(accessor="decided_by__full_name", verbose_name="Decided by", visible=False)

    class Meta:
        model = Deviation
        fields = ()
        empty_text = "No deviation fits what is chosen. Choose less."
        row_attrs = {"class": lambda record: "off" if record.is_open and record.severity != "minor" else ""}

    def render_cause_category(self, value: str) -> str:
        return CAUSES.get(value, value)

    def value_cause_category(self, value: str) -> str:
        return CAUSES.get(value, value)
