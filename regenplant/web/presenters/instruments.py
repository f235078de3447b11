"""Instruments in words: how one stands, what a calibration said, and what rests on it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.urls import reverse

from regenplant import units
from regenplant.plant.calibrations import Due, core_points, due_of, failures_to_look_at, found_words
from regenplant.plant.days import plant_day
from regenplant.plant.limits import content_in_force
from regenplant.plant.models import Calibration, CalibrationPoint, Instrument
from regenplant.quality.instrument_impact import Impact, Result
from regenplant.web.presenters.words import day_and_clock

NONE = "–"


def soon_days_at(now: datetime) -> float:
    """How many days ahead a calibration counts as due soon, by the plant’s limits."""
    return content_in_force(now).record.calibration_due_soon_days


def standing_words(instrument: Instrument, due: Due, today: date) -> str:
    """One sentence: how the instrument stands today, and what that means for its readings."""
    day = instrument.calibration_due_on
    if due is Due.NOT_IN_USE:
        return "Taken out of use. Its readings prove nothing from now on."
    if due is Due.OUT_OF_SERVICE and instrument.out_of_service_at is not None:
        since = day_and_clock(instrument.out_of_service_at)
        return f"Out of service since {since}. Readings from then on prove nothing until a calibration made after it."
    if day is None:
        return "Never calibrated here, so its readings prove nothing yet."
    if due is Due.OVERDUE:
        return (
            f"Calibration has been due for {_days((today - day).days)}. "
            "Until it is calibrated its readings inform and prove nothing."
        )
    if due is Due.TODAY:
        return "Calibration is due today. From tomorrow on its readings prove nothing."
    if due is Due.SOON:
        return f"In calibration until {day}, {_days((day - today).days)} from today: it is due soon."
    return f"In calibration until {day}, {_days((day - today).days)} from today."


def due_words(instrument: Instrument, due: Due) -> str:
    """What a page that measures says of an instrument that is not simply in calibration; "" for one that is."""
    code, day = instrument.code, instrument.calibration_due_on
    return {
        Due.OUT_OF_SERVICE: f"{code} is out of service: its readings inform and prove nothing.",
        Due.NEVER: f"{code} was never calibrated: its readings inform and prove nothing.",
        Due.OVERDUE: f"{code} was due for calibration on {day}: its readings inform and prove nothing.",
        Due.TODAY: f"{code} is due for calibration today. From tomorrow on its readings prove nothing.",
        Due.SOON: f"{code} is due for calibration on {day}.",
    }.get(due, "")


def due_notes(instruments: Iterable[Instrument], now: datetime) -> list[str]:
    """For pages that measure: which of these instruments is out, overdue or due, the worst first."""
    today, soon = plant_day(now), soon_days_at(now)
    order = list(Due)
    found = sorted(
        ((due_of(one, today, soon), one) for one in instruments), key=lambda pair: order.index(pair[0])
    )
    return [words for due, one in found if (words := due_words(one, due))]


@dataclass(frozen=True, slots=True)
class InstrumentAlert:
    """One line of the alerts: an instrument that needs a person, and where to act."""

    sentence: str
    tone: str
    symbol: str
    url: str
    action: str


def instrument_alerts(now: datetime) -> list[InstrumentAlert]:
    """Failures nobody looked at, then every instrument in use that is out, overdue, due today or soon."""
    today, soon = plant_day(now), soon_days_at(now)
    found = [
        InstrumentAlert(
            f"{row.instrument.code} was found outside its tolerance on {row.done_on}. What was measured since the calibration "
            "before it waits for a look.",
            "amber",
            "check",
            reverse("setup-instrument-calibration-impact", args=[row.instrument.code, row.pk]),
            "What rests on it",
        )
        for row in failures_to_look_at()
    ]
    order = list(Due)
    rows = [(due_of(one, today, soon), one) for one in Instrument.objects.filter(is_active=True)]
    for due, one in sorted(rows, key=lambda pair: order.index(pair[0])):
        if words := due_words(one, due):
            symbol = "check" if due in (Due.TODAY, Due.SOON) else "overdue"
            tone = "amber" if due.needs_person else ""
            url = reverse("setup-instrument", args=[one.code])
            found.append(InstrumentAlert(words, tone, symbol, url, "Open it"))
    return found


def _days(count: int) -> str:
    return f"{count} day{'' if count == 1 else 's'}"


@dataclass(frozen=True, slots=True)
class PointView:
    reference: str
    found: str
    left: str
    tolerance: str
    found_error: str
    left_error: str
    is_found_outside: bool
    is_left_outside: bool


@dataclass(frozen=True, slots=True)
class CalibrationView:
    """One calibration as the page tells it."""

    row: Calibration
    who: str
    reference: str
    found: str
    left: str
    points: tuple[PointView, ...]
    is_replaced: bool
    waits_for_look: bool
    look: str


def calibration_view(row: Calibration) -> CalibrationView:
    """With its points; ``points``, ``replaced_by`` and ``impact_look`` are fetched beforehand."""
    replaced, look = getattr(row, "replaced_by", None), getattr(row, "impact_look", None)
    said = f"{look.words} {look.looked_by.full_name}, {day_and_clock(look.looked_at)}." if look else ""
    parts = [row.get_reference_kind_display() if row.reference_kind else "", row.reference]
    if row.certificate:
        until = f", good until {row.reference_expires_on}" if row.reference_expires_on else ""
        parts.append(f"certificate {row.certificate}{until}")
    return CalibrationView(
        row=row,
        who=row.laboratory or (row.done_by.full_name if row.done_by else "not on record"),
        reference=", ".join(filter(None, parts)) or "not on record",
        found=found_words(row.found_within),
        left=("no points; its certificate stands for them" if row.certificate else "no points on record")
        if row.left_within is None
        else f"as left {'within' if row.left_within else 'outside'}",
        points=tuple(_point(point) for point in row.points.all()),
        is_replaced=replaced is not None,
        waits_for_look=row.found_within is False and replaced is None and look is None,
        look=said,
    )


def _point(row: CalibrationPoint) -> PointView:
    (point,) = core_points([row])
    return PointView(
        reference=row.reference_as_typed,
        found=row.found_as_typed or NONE,
        left=row.left_as_typed or "not set",
        tolerance=row.tolerance_as_typed,
        found_error=_error(row, None if point.as_found is None else point.error_of(point.as_found)),
        left_error=_error(row, point.error_of(point.left)),
        is_found_outside=point.as_found is not None and not point.is_within(point.as_found),
        is_left_outside=not point.is_within(point.left),
    )


def _error(row: CalibrationPoint, error: float | None) -> str:
    if error is None:
        return ""
    sign = "+" if error > 0 else units.MINUS if error < 0 else ""
    if row.is_relative:
        return f"{sign}{abs(error) * 100:.2g} %"
    return f"{sign}{abs(error):.2g}{' K' if row.kind == 'temperature' else ''}"


# --- the impact -------------------------------------------------------------------------------------------------------
def impact_sentence(impact: Impact) -> str:
    """What the page opens with."""
    since = f"since {day_and_clock(impact.period.since)}" if impact.period.since else "so far"
    if impact.period.failure is not None:
        since = f"{since}, up to its calibration of {impact.period.failure.done_on}"
    if not impact.results:
        return f"Nothing rests on {impact.instrument.code} {since}."
    many = f"{len(impact.results)} result{'' if len(impact.results) == 1 else 's'} of {impact.batches} batch{'' if impact.batches == 1 else 'es'}"
    rest = f"{many} rest{'s' if len(impact.results) == 1 else ''} on {impact.instrument.code} {since}"
    if impact.period.failure is None:
        return f"{rest}."
    if not impact.no_longer:
        return f"{rest}. With the error found every one of them would still hold."
    return f"{rest}. With the error found {impact.no_longer} would hold no longer."


def limit_words(result: Result, system: str) -> str:
    return units.limit_words(result.low, result.high, result.kind, system)


def margin_words(margin: float | None) -> str:
    """ "12 % within", "3 % beyond"."""
    if margin is None:
        return NONE
    return f"{abs(margin) * 100:.3g} % {'within' if margin >= 0 else 'beyond'}"


def error_value(result: Result, system: str) -> str:
    """The value with the error found taken off."""
    if result.with_error is None:
        return "not known"
    return units.format_quantity(result.with_error, result.kind, system)


def error_words(result: Result, system: str) -> str:
    """The value with the error found taken off, and how far it would be from the limit."""
    value = error_value(result, system)
    return value if result.with_error is None else f"{value}, {margin_words(result.margin_with_error)}"


def holds_words(result: Result) -> str:
    if result.margin_with_error is None:
        return "not known"
    if result.holds_no_longer:
        return "would not hold"
    return "would still hold" if result.margin_with_error >= 0 else "outside either way"


def went_words(result: Result) -> str:
    """Tanks by customer and day of shipping: "Heron Works: T-1, T-2 (shipped 2026-03-11)"."""
    went: dict[tuple[str, str], list[str]] = {}
    for tank in result.tanks:
        shipped = f" (shipped {plant_day(tank.shipped_at)})" if tank.shipped_at else ""
        went.setdefault((tank.customer, shipped), []).append(tank.serial)
    words = (f"{customer}: {', '.join(serials)}{shipped}" for (customer, shipped), serials in went.items())
    return "; ".join(words) or NONE


def decided_words(result: Result) -> str:
    if result.released_at is not None:
        return f"released {plant_day(result.released_at)}"
    if result.decided_at is not None:
        return f"{'passed' if result.verdict == 'pass' else 'failed'} {plant_day(result.decided_at)}"
    return "not decided yet"
