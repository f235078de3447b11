"""Showers and eyewashes: a round over all of them is the plant's test (CS-04); one that fails stops chemical."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import DatabaseError, transaction

from regenplant.audit.selectors import newest_act
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.plant.selectors import is_eyewash_overdue, profile
from regenplant.safety.models import WashStation, WashTest
from regenplant.safety.selectors import StationStanding, station_standings
from regenplant.safety.services import Found, inspect_wash_station, save_wash_station, write_wash_round
from tests.factories import SmallPlant

TODAY = date(2026, 3, 2)
WORKS = Found(True)


def standing(today: date = TODAY) -> dict[str, StationStanding]:
    return {row.station.code: row for row in station_standings(profile(), today)}


def walked(plant: SmallPlant, stations: list[WashStation], *found: Found, on: date = TODAY) -> None:
    pairs = {row.pk: one for row, one in zip(stations, found, strict=True)}
    write_wash_round(by=plant.by("operator"), tested_on=on, found=pairs)


@pytest.mark.requirement("CS-04")
def test_a_round_that_finds_all_working_is_the_plants_test(
    plant: SmallPlant, stations: list[WashStation]
) -> None:
    assert [row.calls for row in standing().values()] == [True, True]
    plant.forward(days=1)
    walked(plant, stations, WORKS, WORKS, on=TODAY + timedelta(days=1))
    assert profile().eyewash_tested_on == TODAY + timedelta(days=1)
    seven = profile().eyewash_test_interval_days
    found = standing(TODAY + timedelta(days=1))["W1"]
    assert found.weekly_due == TODAY + timedelta(days=1 + seven) and not found.is_weekly_overdue
    assert standing(TODAY + timedelta(days=2 + seven))["W1"].is_weekly_overdue
    assert newest_act("wash_round.written").sentence.endswith("2 stations: all work")  # type: ignore[union-attr]


@pytest.mark.requirement("CS-04")
def test_one_that_fails_stops_chemical_until_a_round_finds_all_working(
    plant: SmallPlant, stations: list[WashStation]
) -> None:
    walked(plant, stations, WORKS, Found(False, "The left nozzle is dry."))
    assert profile().eyewash_tested_on is None and is_eyewash_overdue(profile(), TODAY)
    found = standing()
    assert (found["W1"].is_failing, found["W2"].is_failing) == (False, True)
    act = newest_act("plant.eyewash_tested")
    assert act is not None and act.reason == "W2: The left nozzle is dry."
    walked(plant, stations, WORKS, WORKS)
    assert not is_eyewash_overdue(profile(), TODAY) and not standing()["W2"].is_failing


@pytest.mark.parametrize(
    ("given", "on", "says"),
    [
        ({0: WORKS}, TODAY, "Nothing is said about W2"),
        ({0: WORKS, 1: Found(False, "bad")}, TODAY, "The note on W2 has 3 characters"),
        ({0: WORKS, 1: WORKS}, date(2026, 3, 3), "still to come"),
        ({0: WORKS, 1: WORKS, 99: WORKS}, TODAY, "not in use"),
    ],
)
def test_what_a_round_must_say(
    plant: SmallPlant, stations: list[WashStation], given: dict[int, Found], on: date, says: str
) -> None:
    keys = {0: stations[0].pk, 1: stations[1].pk, 99: 10**9}
    with pytest.raises(RecordRefused, match=says):
        write_wash_round(
            by=plant.by("operator"), tested_on=on, found={keys[key]: one for key, one in given.items()}
        )
    assert not WashTest.objects.exists()


def test_an_older_round_than_the_last_is_refused_whole(
    plant: SmallPlant, stations: list[WashStation]
) -> None:
    walked(plant, stations, WORKS, WORKS)
    with pytest.raises(RecordRefused, match="A newer test of W1, of 2026-03-02"):
        walked(plant, stations, WORKS, WORKS, on=date(2026, 3, 1))
    assert WashTest.objects.count() == 2


def test_a_round_needs_stations_and_the_right(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="No station is in use"):
        write_wash_round(by=plant.by("operator"), tested_on=TODAY, found={})
    with pytest.raises(NotAllowed):
        write_wash_round(by=plant.by("planner"), tested_on=TODAY, found={})
    with pytest.raises(NotAllowed):
        save_wash_station(by=plant.by("operator"), code="W3", spot="Yard", kind="shower")


def test_the_yearly_inspection_has_its_own_day_and_stops_too(
    plant: SmallPlant, stations: list[WashStation]
) -> None:
    walked(plant, stations, WORKS, WORKS)
    first = stations[0]
    inspect_wash_station(by=plant.by("operator"), station_id=first.pk, tested_on=TODAY, is_working=True)
    found = standing()["W1"]
    assert found.yearly_due == date(2027, 3, 2) and not found.calls
    assert standing(date(2027, 3, 3))["W1"].is_yearly_overdue
    with pytest.raises(RecordRefused, match="Write at least 5"):
        inspect_wash_station(by=plant.by("operator"), station_id=first.pk, tested_on=TODAY, is_working=False)
    inspect_wash_station(
        by=plant.by("operator"),
        station_id=first.pk,
        tested_on=TODAY,
        is_working=False,
        note="No flow at all.",
    )
    assert standing()["W1"].is_failing and profile().eyewash_tested_on is None


def test_a_station_out_of_use_is_in_no_round(plant: SmallPlant, stations: list[WashStation]) -> None:
    second = stations[1]
    change = {"code": "", "spot": second.spot, "kind": second.kind, "is_in_use": False}
    save_wash_station(by=plant.by("supervisor"), station_id=second.pk, version=1, **change)
    assert list(standing()) == ["W1"]
    walked(plant, stations[:1], WORKS)
    with pytest.raises(StaleRecord, match="you had version 1"):
        save_wash_station(by=plant.by("supervisor"), station_id=second.pk, version=1, **change)
    with pytest.raises(RecordRefused, match="exists already"):
        save_wash_station(by=plant.by("supervisor"), code="w2", spot="Yard", kind="shower")


def test_a_test_never_changes(plant: SmallPlant, stations: list[WashStation]) -> None:
    walked(plant, stations, WORKS, WORKS)
    with pytest.raises(DatabaseError), transaction.atomic():
        WashTest.objects.update(is_working=False, note="It was dry all the time.")
    with pytest.raises(DatabaseError), transaction.atomic():
        WashTest.objects.all().delete()
