"""Columns that every listing shares. A column never makes a query: select or annotate what it shows.

    volume = QuantityColumn("resin_volume", accessor="resin_volume_m3", verbose_name="Resin")   head "Resin, L"
    state = StateColumn(verbose_name="State")                                                    shape and word
    received_by = PersonColumn(verbose_name="By")                                                pencil
    received_at = LocalTimeColumn(verbose_name="Received")                                       2026-03-11 14:05
    due_on = DayColumn(verbose_name="Due")                                                       2026-03-11

``wide_only=True`` on any of them drops the column on narrow screens. In exports a quantity is a number in the
unit that its head names, a time is ISO 8601 with its offset.
"""

from __future__ import annotations

import inspect
from datetime import date, datetime
from typing import Any

import django_tables2 as tables
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.web.active_units import active
from regenplant.web.drawing.marks import mark_for
from regenplant.web.templatetags.parts import mark

NOT_WRITTEN = "–"


class HouseColumn(tables.Column):
    """A column with our classes on head and cells, and an en dash for what is not written."""

    classes = ""

    def __init_subclass__(cls, **kwargs: Any):
        """The library asks for the signature of ``render`` at every cell; kept, it is a lookup."""
        super().__init_subclass__(**kwargs)
        for own in (cls.__dict__.get("render"), cls.__dict__.get("value")):
            if own is not None:
                own.__signature__ = inspect.signature(own)

    def __init__(self, *args: Any, wide_only: bool = False, **kwargs: Any):
        kwargs.setdefault("default", NOT_WRITTEN)
        wanted = f"{self.classes} {'wo' if wide_only else ''}".split()
        attrs = {key: dict(value) for key, value in (kwargs.pop("attrs", None) or {}).items()}
        for part in ("th", "td", "tf"):
            own = attrs.setdefault(part, {})
            names = [*str(own.get("class", "")).split(), *wanted]
            if part == "th":
                names = [name for name in names if name != "hand"]
            if names:
                own["class"] = " ".join(dict.fromkeys(names))
        super().__init__(*args, attrs=attrs, **kwargs)


class CodeColumn(HouseColumn):
    """A number, serial or code that is never broken over two lines; give ``linkify`` to lead to its page."""

    classes = "nb"


class SentenceColumn(HouseColumn):
    """Whole sentences: never narrower than can be read on a phone; the table is pushed aside there."""

    classes = "long"


class QuantityColumn(HouseColumn):
    """A quantity in SI, shown in the reader's units, the unit in the head."""

    classes = "num"

    def __init__(self, kind: str, *args: Any, **kwargs: Any):
        self.kind = units.kind_named(kind).key
        super().__init__(*args, **kwargs)

    @property
    def header(self) -> str:
        unit = units.unit_text(self.kind, active())
        name = self.verbose_name or units.kind_named(self.kind).name.capitalize()
        return f"{name}, {unit}" if unit else str(name)

    def render(self, value: float) -> str:
        return units.format_quantity(float(value), self.kind, active(), with_unit=False)

    def value(self, value: float) -> float:
        """For exports: a number in the unit of the head, without the noise of the conversion."""
        return float(f"{units.shown_value(float(value), self.kind, active()):.10g}")


class NumberColumn(HouseColumn):
    """A count or another bare number, right-aligned."""

    classes = "num"


class StateColumn(HouseColumn):
    """A state of a lifecycle as shape and word."""

    classes = "nb"

    def render(self, value: object) -> SafeString:
        return mark(value)

    def value(self, value: object) -> str:
        return mark_for(value).word


class PersonColumn(HouseColumn):
    """A person, in pencil: what a hand did."""

    classes = "hand nb"

    def render(self, value: object) -> str:
        return str(value)


class LocalTimeColumn(HouseColumn):
    """A moment in the plant's zone."""

    classes = "nb"

    def render(self, value: datetime) -> SafeString:
        local = timezone.localtime(value)
        return format_html('<time datetime="{}">{}</time>', _iso(value), f"{local:%Y-%m-%d %H:%M}")

    def value(self, value: datetime) -> str:
        return _iso(value)


class DayColumn(HouseColumn):
    """A day; of a moment, its day in the plant's zone. Exports keep the whole moment."""

    classes = "nb"

    def render(self, value: date | datetime) -> str:
        return f"{timezone.localtime(value) if isinstance(value, datetime) else value:%Y-%m-%d}"

    def value(self, value: date | datetime) -> str:
        return _iso(value) if isinstance(value, datetime) else value.isoformat()


def _iso(moment: datetime) -> str:
    return timezone.localtime(moment).isoformat(timespec="seconds")
