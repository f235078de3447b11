"""Showers and eyewashes: which there are, the round over all of them, and the yearly inspection of each.

A round that finds all of them working is the plant's eyewash test (CS-04); one that does not work stops chemical from starting, as
before. What the plant does not list as a station is tested by the plain test of the emergency page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from regenplant.audit.by import By
from regenplant.audit.records import code_of, one_of, refuse_known, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.plant.selectors import plant_day
from regenplant.plant.services import record_eyewash_test
from regenplant.safety.models import WashStation, WashTest

LEAST_NOTE = 5


@dataclass(frozen=True, slots=True)
class Found:
    """What a round found at one station."""

    is_working: bool
    note: str = ""


@use_case("wash_station.saved", permission="plant.edit")
def save_wash_station(
    *,
    by: By,
    code: str,
    spot: str,
    kind: str,
    is_in_use: bool = True,
    station_id: int | None = None,
    version: int | None = None,
) -> Outcome:
    """Add a shower or eyewash, or change where it stands and whether it is in use. Raises: RecordRefused, StaleRecord."""
    values = {
        "spot": words_of(spot, "Where it stands", field="spot", most=80, least=3),
        "kind": one_of(kind, WashStation.Kind.values, "The kind", field="kind"),
        "is_in_use": is_in_use,
    }
    if station_id is None:
        wanted = code_of(code, "The code", longest=20)
        refuse_known(WashStation, wanted, "Station")
        row = WashStation.objects.create(code=wanted, **values)
        return Outcome(subject=("wash_station", row.code, row.code), after={"spot": row.spot}, result=row)
    found = WashStation.objects.select_for_update().filter(pk=station_id).first()
    if found is None:
        raise RecordRefused("This station is not known here.", code="unknown")
    before, after = write_changed(found, values, version=version, label=f"Station {found.code}")
    return Outcome(subject=("wash_station", found.code, found.code), before=before, after=after, result=found)


@use_case("wash_round.written", permission="plant.daily")
def write_wash_round(*, by: By, tested_on: date, found: Mapping[int, Found]) -> Outcome:
    """Write down a round over every station in use, by primary key. One that does not work counts for all: no chemical starts.

    Raises: RecordRefused (a station left out or not known, a day to come or older than the last test, one that does not work
    without a word).
    """
    _refuse_day(tested_on, plant_day(by.at))
    stations = list(WashStation.objects.filter(is_in_use=True))
    if not stations:
        raise RecordRefused("No station is in use. Add the showers and eyewashes first.", code="no_stations")
    missing = [row.code for row in stations if row.pk not in found]
    if missing:
        raise RecordRefused(
            f"Nothing is said about {', '.join(missing)}. A round covers every station in use.",
            code="missing",
        )
    if set(found) - {row.pk for row in stations}:
        raise RecordRefused(
            "A station that is not in use is in the round. Open the page again.", code="unknown"
        )
    bad = [row for row in stations if not found[row.pk].is_working]
    for row in stations:
        _write(by, row, WashTest.Kind.WEEKLY, tested_on, found[row.pk])
    told = "; ".join(f"{row.code}: {found[row.pk].note.strip()}" for row in bad)
    note = told if len(told) <= 200 else f"{told[:199]}…"
    record_eyewash_test(by=by, tested_on=tested_on, is_working=not bad, note=note)
    return Outcome(
        subject=("wash_round", tested_on.isoformat(), f"the round of {tested_on}"),
        after={row.code: found[row.pk].is_working for row in stations},
        facts={
            "count": len(stations),
            "answer": "all work" if not bad else f"not working: {', '.join(row.code for row in bad)}",
        },
        reason=note,
        related=tuple(("wash_station", row.code) for row in stations),
        result=bad,
    )


@use_case("wash_station.inspected", permission="plant.daily")
def inspect_wash_station(
    *, by: By, station_id: int, tested_on: date, is_working: bool, note: str = ""
) -> Outcome:
    """Write down the yearly inspection of one station. Raises: RecordRefused."""
    row = WashStation.objects.filter(pk=station_id, is_in_use=True).first()
    if row is None:
        raise RecordRefused("This station is not known here, or not in use.", code="unknown")
    _refuse_day(tested_on, plant_day(by.at))
    test = _write(by, row, WashTest.Kind.YEARLY, tested_on, Found(is_working, note))
    if not is_working:
        record_eyewash_test(
            by=by, tested_on=plant_day(by.at), is_working=False, note=f"{row.code}: {test.note}"[:200]
        )
    return Outcome(
        subject=("wash_station", row.code, row.code),
        after={"is_working": is_working},
        facts={"tested_on": tested_on.isoformat(), "answer": "works" if is_working else "does not work"},
        reason=test.note,
        result=test,
    )


def _write(by: By, station: WashStation, kind: WashTest.Kind, tested_on: date, found: Found) -> WashTest:
    newest = station.tests.filter(kind=kind.value).order_by("-tested_on").first()
    if newest is not None and newest.tested_on > tested_on:
        raise RecordRefused(
            f"A newer test of {station.code}, of {newest.tested_on}, is written. {tested_on} is older.", field="tested_on"
        )  # fmt: skip
    least = 0 if found.is_working else LEAST_NOTE
    return WashTest.objects.create(
        station=station,
        kind=kind.value,
        tested_on=tested_on,
        is_working=found.is_working,
        note=words_of(found.note, f"The note on {station.code}", field=f"note_{station.pk}", most=200, least=least),
        tested_by=by.user,
        tested_at=by.at,
    )  # fmt: skip


def _refuse_day(tested_on: date, today: date) -> None:
    if tested_on > today:
        raise RecordRefused(
            f"{tested_on} is still to come; today is {today}. Write the day of the test.", field="tested_on"
        )


def _say_saved(subject: str, stored: dict[str, object]) -> str:
    return f"Station {subject} was changed" if stored.get("before") else f"Station {subject} was added"


say("wash_station.saved", _say_saved)
say("wash_round.written", "Showers and eyewashes, {subject}, {count} stations: {answer}")
say("wash_station.inspected", "Station {subject} was inspected on {tested_on}: {answer}")
