"""Readings of a meter into the record: which rinse they belong to, which of them fit it, and the one act that keeps them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from django.db import transaction

from regenplant import units
from regenplant.audit.by import By
from regenplant.batches.models import Batch
from regenplant.batches.packets import METER_AHEAD_S
from regenplant.batches.selectors import OpenRinse, rinse_open_in
from regenplant.batches.services import LoggedReading, Packet, take_in
from regenplant.core.errors import RecordRefused
from regenplant.plant.models import MeterFeed
from regenplant.web.api.schemas import ReadingIn

CLOCK_AHEAD = timedelta(seconds=METER_AHEAD_S)
_BETWEEN = (
    "Measured while no judged rinse of the batch ran: between two rinses of it, or ahead of the clock here."
)
COLDEST_C, HOTTEST_C = 0.0, 100.0


@dataclass(frozen=True, slots=True)
class NotKept:
    """Readings that are not kept, for one reason."""

    code: str
    why: str
    count: int
    first_at: datetime
    last_at: datetime


@dataclass(frozen=True, slots=True)
class Sorted:
    """Readings that fit a rinse, each moment once and in order; how often a moment came again; and the rest with its reasons."""

    fit: tuple[ReadingIn, ...]
    again: int
    not_kept: tuple[NotKept, ...]


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of the readings of one packet; each is counted in exactly one of kept, known already and not kept."""

    batch: Batch | None
    kept: int
    known_already: int
    not_kept: tuple[NotKept, ...]


def rinse_at(feed: MeterFeed) -> OpenRinse | None:
    """The rinse that what a meter sends belongs to: the one that runs in its vessel, or the last one there while it is not judged
    yet, so that what waited on the way is not lost. None where there is none."""
    return rinse_open_in(feed.vessel_id)


def sort_out(
    readings: Sequence[ReadingIn], feed: MeterFeed, rinse: OpenRinse | None, now: datetime
) -> Sorted:
    """Which readings fit the rinse, and why the others do not."""
    fit: dict[datetime, ReadingIn] = {}
    rest: dict[str, list[datetime]] = {}
    for reading in readings:
        code = _unfit(reading, rinse, now)
        if code:
            rest.setdefault(code, []).append(reading.at)
        else:
            fit.setdefault(reading.at, reading)
    left = sum(len(times) for times in rest.values())
    return Sorted(
        tuple(fit[at] for at in sorted(fit)),
        len(readings) - left - len(fit),
        tuple(
            NotKept(code, _why(code, feed, rinse), len(times), min(times), max(times))
            for code, times in rest.items()
        ),
    )


def take(
    *,
    by: By,
    feed: MeterFeed,
    rinse: OpenRinse,
    readings: Iterable[ReadingIn],
    source: str,
    name: str,
    received_text: str,
) -> Taken:
    """Keep readings that fit (``sort_out``), in one act of the feed's account for each unit among them: all of them, or none.

    Raises: DomainError.
    """
    by_unit: dict[str, list[ReadingIn]] = {}
    for reading in readings:
        by_unit.setdefault(reading.unit, []).append(reading)
    kept = known = 0
    left: list[NotKept] = []
    with transaction.atomic() if len(by_unit) > 1 else nullcontext():
        for of_one in by_unit.values():
            packet = Packet(
                instrument_id=feed.instrument_id,
                source=source,
                name=name,
                received_text=received_text,
                readings=tuple(logged(reading) for reading in of_one),
            )
            facts = _facts(by, rinse, packet)
            kept += facts["kept"]
            known += facts["known_already"]
            if facts["outside"]:
                first, last = of_one[0].at, of_one[-1].at
                left.append(NotKept("outside", _BETWEEN, facts["outside"], first, last))
    return Taken(rinse.batch if kept or known else None, kept, known, tuple(left))


def _facts(by: By, rinse: OpenRinse, packet: Packet) -> Mapping[str, Any]:
    """How many of a packet were kept, known and outside; a packet with nothing new is no failure for a meter that sends again."""
    try:
        return take_in(by=by, batch_id=rinse.batch.pk, packet=packet).facts
    except RecordRefused as refusal:
        if refusal.code != "nothing_new":
            raise
        return refusal.context


def _unfit(reading: ReadingIn, rinse: OpenRinse | None, now: datetime) -> str:
    if reading.at > now + CLOCK_AHEAD:
        return "clock_ahead"
    if rinse is None:
        return "no_rinse"
    if reading.at < rinse.started_at:
        return "before_rinse"
    if rinse.finished_at is not None and reading.at > rinse.finished_at:
        return "after_rinse"
    if not is_water(reading):
        return "temperature"
    if not is_figure(reading):
        return "no_figure"
    return ""


def _why(code: str, feed: MeterFeed, rinse: OpenRinse | None) -> str:
    if code == "clock_ahead":
        minutes = CLOCK_AHEAD.total_seconds() / 60
        return f"The time lies more than {minutes:g} min ahead of the clock here. Set the clock of the meter."
    if code == "temperature":
        return f"Rinse water is between {COLDEST_C:g} and {HOTTEST_C:g} °C. Look at the temperature probe."
    if code == "no_figure":
        return "The figure is beyond every meter, or a resistivity that is not above or below zero. Look at the cell and its cable."
    if rinse is None:
        return f"No rinse runs in vessel {feed.vessel.code} now, so the readings belong to none."
    if code == "after_rinse":
        return f"Measured after the rinse of batch {rinse.batch.number} ended at {rinse.finished_at:%Y-%m-%d %H:%M:%S} UTC."
    return f"Measured before the rinse of batch {rinse.batch.number} began at {rinse.started_at:%Y-%m-%d %H:%M:%S} UTC."


@lru_cache(maxsize=1)
def _zero_celsius_kelvin() -> float:
    """Looked up once: a call brings ten thousand temperatures."""
    return units.convert(0.0, "degC", "kelvin")


@lru_cache(maxsize=1)
def _litre_m3() -> float:
    return units.convert(1.0, "liter", "meter**3")


def is_water(reading: ReadingIn) -> bool:
    """Whether what the probe showed is a temperature of water."""
    return COLDEST_C <= reading.temperature_c <= HOTTEST_C


def is_figure(reading: ReadingIn) -> bool:
    """Whether its number is one in S/m: a resistivity of 0 is none, and neither is what no float holds."""
    scale, value = _scale_of(reading.unit), float(reading.value)
    return not (scale.is_reciprocal and value == 0.0) and math.isfinite(scale.to_si(value))


@lru_cache(maxsize=256)
def _scale_of(unit: str) -> units.Scale:
    return units.scale_of(unit, "conductivity")


def logged(reading: ReadingIn) -> LoggedReading:
    """A reading as the record takes it."""
    litres = reading.totalizer_l
    return LoggedReading(
        at=reading.at,
        value_text=reading.value,
        unit_text=reading.unit,
        temperature_kelvin=reading.temperature_c + _zero_celsius_kelvin(),
        totalizer_m3=None if litres is None else litres * _litre_m3(),
    )
