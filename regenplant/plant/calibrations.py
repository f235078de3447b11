"""Reading calibrations: how an instrument stands on a day, when it is due, and which failures wait for a look."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from django.db.models import QuerySet

from regenplant.core.process.calibration import Point
from regenplant.plant.days import plant_day
from regenplant.plant.models import Calibration, CalibrationPoint, Instrument, OutOfService

CALIBRATED_AS: dict[str, tuple[str, str, str]] = {
    Instrument.Kind.CONDUCTIVITY: ("conductivity", "fraction", "2 %"),
    Instrument.Kind.PH: ("ph", "", "0.05"),
    Instrument.Kind.HYDROMETER: ("density", "fraction", "0.2 %"),
    Instrument.Kind.FLOW: ("flow", "fraction", "5 %"),
    Instrument.Kind.THERMOMETER: ("temperature", "temperature_rise", "0.5 K"),
    Instrument.Kind.WET_TEST: ("concentration", "fraction", "10 %"),
    Instrument.Kind.BALANCE: ("mass", "fraction", "0.1 %"),
}
"""By kind of instrument: kind of its points, kind of their tolerance ("fraction" makes it a share of the reference, "" a
difference in the unit of the point), and a tolerance to begin with (a proposal of this program; the plant types its own)."""

INTERVAL_DAYS: dict[str, int] = {
    Instrument.Kind.CONDUCTIVITY: 180,
    Instrument.Kind.PH: 30,
    Instrument.Kind.HYDROMETER: 365,
    Instrument.Kind.FLOW: 365,
    Instrument.Kind.THERMOMETER: 365,
    Instrument.Kind.WET_TEST: 90,
    Instrument.Kind.BALANCE: 365,
}
"""Proposals of this program, from general practice and not from a rule; every instrument can have its own interval."""


def interval_days(instrument: Instrument) -> int:
    """Days from one calibration to the next: the instrument's own, else the proposal of its kind."""
    return instrument.interval_days or INTERVAL_DAYS[instrument.kind]


class Due(StrEnum):
    """How an instrument stands on a day, the worst first."""

    OUT_OF_SERVICE = "out_of_service"
    NEVER = "never"
    OVERDUE = "overdue"
    TODAY = "today"
    SOON = "soon"
    IN_TIME = "in_time"
    NOT_IN_USE = "not_in_use"

    @property
    def label(self) -> str:
        return {
            "out_of_service": "out of service",
            "never": "never calibrated",
            "overdue": "overdue",
            "today": "due today",
            "soon": "due soon",
            "in_time": "in calibration",
            "not_in_use": "out of use",
        }[self]

    @property
    def proves_nothing(self) -> bool:
        return self in (Due.OUT_OF_SERVICE, Due.NEVER, Due.OVERDUE, Due.NOT_IN_USE)

    @property
    def needs_person(self) -> bool:
        return self in (Due.OUT_OF_SERVICE, Due.NEVER, Due.OVERDUE, Due.TODAY)


def due_of(instrument: Instrument, today: date, soon_days: float) -> Due:
    """How the instrument stands today. No query. Out on its due day still proves something: it is due, not overdue."""
    if not instrument.is_active:
        return Due.NOT_IN_USE
    if instrument.out_of_service_at is not None:
        return Due.OUT_OF_SERVICE
    due = instrument.calibration_due_on
    if due is None or instrument.calibrated_on is None:
        return Due.NEVER
    if due < today:
        return Due.OVERDUE
    if due == today:
        return Due.TODAY
    return Due.SOON if due - today <= timedelta(days=soon_days) else Due.IN_TIME


# --- the standing, from the rows ------------------------------------------------------------------------------------
def standing_calibrations(instrument_id: int) -> QuerySet[Calibration]:
    """Calibrations that no later one replaces, newest first."""
    return Calibration.objects.filter(instrument_id=instrument_id, replaced_by__isnull=True)


@dataclass(frozen=True, slots=True)
class Standing:
    """What the rows say about an instrument: the good calibration in force, and since when it is out of service."""

    calibrated_on: date | None
    due_on: date | None
    out_since: datetime | None


def standing_from(calibrations: Iterable[Calibration], times_out: Iterable[OutOfService]) -> Standing:
    """The standing that follows from every calibration that stands and every time out of service. Pure."""
    good = max(
        (row for row in calibrations if row.is_good), key=lambda row: (row.done_at, row.pk), default=None
    )
    after = [row.from_at for row in times_out if good is None or row.from_at >= good.done_at]
    return Standing(
        good.done_on if good else None, good.due_on if good else None, min(after) if after else None
    )


def standing_of(instrument: Instrument) -> Standing:
    """The standing from the rows; two queries. What an instrument had before calibrations were rows stays as it is."""
    calibrations, times_out = _rows(instrument)
    found = standing_from(calibrations, times_out)
    if not calibrations:
        return Standing(instrument.calibrated_on, instrument.calibration_due_on, found.out_since)
    return found


def _rows(instrument: Instrument) -> tuple[list[Calibration], list[OutOfService]]:
    """A time out that follows from a calibration counts while that calibration stands."""
    times_out = OutOfService.objects.filter(instrument=instrument, calibration__replaced_by__isnull=True)
    return list(standing_calibrations(instrument.pk)), list(times_out)


def was_valid(instrument: Instrument, on: date, at: datetime | None = None) -> bool:
    """Whether it proved something on that day (at that moment), judged by the calibrations and times out of then. Two queries.

    The newest good calibration made by then decides; a later one says nothing about earlier readings. After a time out
    nothing counts until a good calibration that was finished after it.
    """
    calibrations, times_out = _rows(instrument)
    good = [row for row in calibrations if row.is_good]
    governing = max(
        (row for row in good if row.done_on <= on and (at is None or row.done_at <= at)),
        key=lambda row: (row.done_at, row.pk),
        default=None,
    )
    if governing is not None:
        in_time = on <= governing.due_on
    elif calibrations or instrument.calibrated_on is None or instrument.calibration_due_on is None:
        in_time = False
    else:
        in_time = instrument.calibrated_on <= on <= instrument.calibration_due_on
    if not in_time:
        return False
    before = [row.from_at for row in times_out if _is_by(row.from_at, on, at)]
    if not before:
        return True
    last_out = max(before)
    return any(last_out < row.done_at and _is_by(row.done_at, on, at) for row in good)


def _is_by(moment: datetime, on: date, at: datetime | None) -> bool:
    """Whether a moment had come; without an exact time, whether its day had."""
    return moment <= at if at is not None else plant_day(moment) <= on


# --- points and failures --------------------------------------------------------------------------------------------
def core_points(rows: Iterable[CalibrationPoint]) -> tuple[Point, ...]:
    """Stored points as the core judges them."""
    return tuple(
        Point(row.reference_value, row.found_value, row.left_value, row.tolerance, row.is_relative)
        for row in rows
    )


def good_before(calibration: Calibration) -> Calibration | None:
    """The last calibration before this one after which the instrument proved something: what was measured since then is in
    doubt when this one finds it outside. None where none is on record."""
    rows = standing_calibrations(calibration.instrument_id).filter(done_at__lt=calibration.done_at)
    return next((row for row in rows if row.is_good), None)


def failures_to_look_at() -> QuerySet[Calibration]:
    """Calibrations that found an instrument outside its tolerance, and of which nobody has looked at the impact yet."""
    return Calibration.objects.filter(
        found_within=False, replaced_by__isnull=True, impact_look__isnull=True
    ).select_related("instrument")


def found_words(found: bool | None) -> str:
    """ "as found within", "as found outside", "no as-found on record"."""
    return "no as-found on record" if found is None else f"as found {'within' if found else 'outside'}"
