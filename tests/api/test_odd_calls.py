"""Calls that a broken or hostile meter makes: answered as described, none half written, none that ends the program."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.received import unlike_its_text
from regenplant.batches.standing import standing_of
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.web.api import taking
from tests.api.meters import Meter, falling, message, reading
from tests.factories import SmallPlant, work_off

pytestmark = pytest.mark.django_db


def at(plant: SmallPlant, seconds: float = 5.0) -> Any:
    return plant.now + timedelta(seconds=seconds)


@pytest.mark.parametrize(
    "flaw",
    [
        '"value": 1e99999999999999999999',
        '"value": "1", "unit": "\\ud800"',
        '"value": "1", "unit": "\\u0000"',
        '"value": "1", "unit": "((((("',
        f'"value": {"9" * 5000}',
        '"value": "1", "totalizer_l": 1e99999999999999999999',
        '"value": "1", "at": "9999-12-31T23:59:59-23:59"',
        '"value": "1", "at": "2000-01-01T00:00:00+23:59"',
        '"value": "1", "at": "2026-03-11T14:05:30+99:99"',
        '"value": "1", "temperature_c": 1e99999999999999999999',
        '"value": "1", "temperature_c": [25]',
        '"value": "1", "\\ud800": 1',
        '"value": "１"',
    ],
)
def test_no_call_ends_the_program(plant: SmallPlant, meter: Meter, flaw: str) -> None:
    good = {key: json.dumps(value) for key, value in reading(at(plant)).items() if f'"{key}"' not in flaw}
    body = ", ".join(f'"{key}": {value}' for key, value in good.items())
    answer = meter.send(f'{{"readings": [{{{body}, {flaw}}}]}}')
    assert answer.status_code in (200, 400, 422), answer.content[:300]
    assert "error" in answer.json() or sum(one["count"] for one in answer.json()["not_kept"]) == 1
    assert not MeterLog.objects.exists()


@pytest.mark.parametrize("value, unit", [("1e308", "MS/m"), ("1e300", "S/cm"), ("1e-320", "Mohm cm"), ("1e-310", "kohm cm"), ("1e308", "S/cm"), ("-1e308", "S/cm")])  # fmt: skip
def test_a_figure_beyond_every_meter_keeps_no_record_from_being_read(
    plant: SmallPlant, batch: Batch, meter: Meter, value: str, unit: str
) -> None:
    readings = [*falling(plant.now, 5), reading(at(plant, 30), value, unit)]
    answer = meter.send(message(readings))
    assert answer.status_code == 200, answer.content[:300]
    said = answer.json()
    assert said["kept"] + sum(one["count"] for one in said["not_kept"]) == 6 and said["kept"] >= 5
    assert standing_of(batch) is not None
    assert [list(unlike_its_text(log)) for log in MeterLog.objects.all()] == [[]] * MeterLog.objects.count()


def test_a_resistivity_of_zero_is_told_and_takes_no_other_reading_with_it(
    plant: SmallPlant, meter: Meter
) -> None:
    """A cell that is short-circuited says so each time; the call was refused whole, again and again."""
    readings = [reading(at(plant, n), f"0.01{n}", "Mohm cm") for n in range(1, 5)]
    readings.append(reading(at(plant, 9), "0.000", "Mohm cm"))
    said = meter.send(message(readings)).json()
    assert said["kept"] == 4
    (told,) = said["not_kept"]
    assert (told["code"], told["count"]) == ("no_figure", 1) and "above or below zero" in told["why"]


def test_two_units_in_one_call_are_kept_whole_or_not_at_all(
    plant: SmallPlant, meter: Meter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """409 promises that nothing is written: what the first unit wrote must be undone when the second is refused."""
    own = taking.take_in

    def once(**given: Any) -> Any:
        if MeterLog.objects.exists():
            raise RecordRefused("The rinse was judged meanwhile.", code="not_rinsing")
        return own(**given)

    monkeypatch.setattr(taking, "take_in", once)
    readings = [*falling(plant.now, 5), reading(at(plant, 30), "0.02", "Mohm cm")]
    answer = meter.send(message(readings))
    assert answer.status_code == 409 and not MeterLog.objects.exists()


def test_what_came_after_the_rinse_is_told_as_that(plant: SmallPlant, batch: Batch, meter: Meter) -> None:
    work_off(plant, batch.steps.get(kind=StepKind.FAST_RINSE))
    plant.forward(minutes=40)
    said = meter.send(message([reading(plant.now)])).json()
    (told,) = said["not_kept"]
    assert told["code"] == "after_rinse"
    assert "after the rinse" in told["why"] and f"{batch.number} ended" in told["why"]


def test_the_same_call_from_two_at_once_counts_once_and_adds_up(plant: SmallPlant, meter: Meter) -> None:
    readings = falling(plant.now, 20)
    mixed = [*readings, *readings[5:10], reading(timezone.now() + timedelta(hours=1))]
    first, again = meter.send(message(mixed)).json(), meter.send(message(mixed)).json()
    for said in (first, again):
        assert said["kept"] + said["known_already"] + sum(one["count"] for one in said["not_kept"]) == len(
            mixed
        )
    assert first["kept"] == 20 and again["kept"] == 0 and again["batch"] == first["batch"]


def test_moments_within_one_millisecond_add_up(plant: SmallPlant, meter: Meter) -> None:
    began = at(plant)
    readings = [reading(began + timedelta(microseconds=300 * n), f"60.{n}") for n in range(12)]
    said = meter.send(message(readings)).json()
    assert said["kept"] + said["known_already"] == 12 and said["kept"] == MeterLog.objects.get().count
