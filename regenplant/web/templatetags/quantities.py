"""Filters that show numbers and times. ``{% load quantities %}``.

Values come in coherent SI, the argument is a kind of ``regenplant.units.KINDS``; what a person sees is in the
unit system of the request (``regenplant.web.active_units``). None is shown as an en dash: not written.

    {{ plan.volume_m3|in_unit:"liquid_volume" }}        3 322 L
    {{ plan.volume_m3|number_in:"liquid_volume" }}      3 322
    {{ plan.volume_m3|both_units:"liquid_volume" }}     3 322 L · 877.6 US gal
    {{ plan.volume_m3|other_unit:"liquid_volume" }}     877.6 US gal
    {{ "flow"|unit_of }}                                L/min
    {{ step.duration_s|hours }}                         0:50
    {{ reading.at|clock }}   {{ batch.at|when }}   {{ lot.on|day }}   14:05   Wed 2026-03-11 14:05   2026-03-11
    {{ 0.032|percent:1 }}   {{ -0.6|signed:1 }}   {{ 1416|number }}   3.2 %   −0.6   1 416
"""

from __future__ import annotations

from datetime import date, datetime

from django import template
from django.utils import timezone

from regenplant import units, working
from regenplant.core.engineering.estimate import Estimate
from regenplant.web.active_units import active

register = template.Library()

NOT_WRITTEN = "–"


@register.filter
def in_unit(value: float | None, kind: str) -> str:
    """The SI value in the person's unit, with the unit."""
    return units.format_quantity(_number(value), kind, active())


@register.filter
def number_in(value: float | None, kind: str) -> str:
    """The SI value in the person's unit, without the unit (which stands in the table's head)."""
    return units.format_quantity(_number(value), kind, active(), with_unit=False)


@register.filter
def both_units(value: float | None, kind: str) -> str:
    """Both unit systems, the person's own first."""
    number = _number(value)
    return NOT_WRITTEN if number is None else units.twin(number, kind, active())


@register.filter
def figure_in_units(estimate: Estimate) -> str:
    """A figure in both unit systems, or in SI where it has no kind."""
    if estimate.kind:
        return units.twin(estimate.value, estimate.kind, active())
    return working.shown(estimate.value, "", estimate.unit, active())


@register.filter
def other_unit(value: float | None, kind: str) -> str:
    """The other unit system alone, "" where there is none."""
    number = _number(value)
    return "" if number is None else units.other_system(number, kind, active())


@register.filter
def unit_of(kind: str) -> str:
    """The unit of a kind in the person's system."""
    return units.unit_text(kind, active())


@register.filter
def number(value: float | None, decimals: int = 3) -> str:
    """A bare number: thin space between thousands, true minus, at most ``decimals`` decimals, no idle zeros."""
    bare = _number(value)
    if bare is None:
        return NOT_WRITTEN
    text = _fixed(bare, int(decimals))
    return text.rstrip("0").rstrip(".") if "." in text else text


@register.filter
def signed(value: float | None, decimals: int = 1) -> str:
    """A difference with its sign: +3.2, −0.6, 0.0."""
    bare = _number(value)
    if bare is None:
        return NOT_WRITTEN
    text = _fixed(bare, int(decimals))
    return text if text.startswith(units.MINUS) or not text.strip("0.") else f"+{text}"


def _fixed(value: float, decimals: int) -> str:
    """So many decimals, and no minus before what rounds to nought."""
    text = f"{abs(value):,.{decimals}f}".replace(",", units.THIN_SPACE)
    return f"{units.MINUS}{text}" if value < 0 and text.strip(f"0.{units.THIN_SPACE}") else text


@register.filter
def percent(value: float | None, decimals: int = 1) -> str:
    """A share (0.032) as "3.2 %"."""
    bare = _number(value)
    return NOT_WRITTEN if bare is None else f"{_fixed(100 * bare, int(decimals))}{units.NO_BREAK_SPACE}%"


@register.filter
def signed_percent(value: float | None, decimals: int = 1) -> str:
    """A relative difference (0.032) as "+3.2 %"."""
    bare = _number(value)
    return NOT_WRITTEN if bare is None else f"{signed(100 * bare, decimals)}{units.NO_BREAK_SPACE}%"


@register.filter
def hours(seconds: float | None) -> str:
    """A duration as hours and minutes: 0:18, 1:17, −0:09. Half minutes round up."""
    bare = _number(seconds)
    if bare is None:
        return NOT_WRITTEN
    minutes = int(abs(bare) / 60 + 0.5)
    sign = units.MINUS if bare < 0 and minutes else ""
    return f"{sign}{minutes // 60}:{minutes % 60:02d}"


@register.filter
def clock(moment: datetime | None) -> str:
    """A moment as plant time of day: 14:05."""
    return NOT_WRITTEN if moment is None else f"{_local(moment):%H:%M}"


@register.filter
def when(moment: datetime | None) -> str:
    """A moment as plant day and time: Wed 2026-03-11 14:05."""
    return (
        NOT_WRITTEN
        if moment is None
        else f"{_local(moment):%a %Y-%m-%d %H:%M}".replace(" ", units.NO_BREAK_SPACE)
    )


@register.filter
def day(moment: date | datetime | None) -> str:
    """A day: 2026-03-11."""
    if moment is None:
        return NOT_WRITTEN
    return f"{_local(moment) if isinstance(moment, datetime) else moment:%Y-%m-%d}"


def _local(moment: datetime) -> datetime:
    return timezone.localtime(moment) if timezone.is_aware(moment) else moment


def _number(value: object) -> float | None:
    """A template hands over None for what is missing and "" for what does not exist; both are "not written"."""
    if value is None or value == "":
        return None
    if isinstance(value, (int, float)):
        return float(value)
    return float(str(value))
