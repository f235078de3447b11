"""How a rinse stands, for a meter of that vessel and for whoever is signed in."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from regenplant.batches.models import Batch, RinseStanding
from regenplant.people.models import Person
from tests.api.meters import Meter, falling, message, meter_at
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


def asked(batch: Batch | str, client: Client | None = None, token: str = "") -> Any:
    headers = {"authorization": f"Bearer {token}"} if token else {}
    number = batch if isinstance(batch, str) else batch.number
    return (client or Client()).get(f"/api/rinses/{number}/", headers=headers)


def test_before_the_first_reading_it_says_what_is_missing(batch: Batch, meter: Meter) -> None:
    said = asked(batch, token=meter.token).json()
    assert (said["batch"], said["vessel"], said["readings"], said["newest"]) == (batch.number, "A1", 0, None)
    assert (
        said["is_rinsing"] is True and said["end_point"]["is_met"] is False and said["end_point"]["reasons"]
    )


def test_it_follows_the_readings_and_asking_writes_nothing(
    plant: SmallPlant, batch: Batch, meter: Meter
) -> None:
    meter.send(message(falling(plant.now, 120)))
    kept = RinseStanding.objects.get()
    said = asked(batch, token=meter.token).json()
    assert said["readings"] == 120
    # the last of the series: 5 + 395 * 0.999**119 + 0.0119 = 355.66 uS/cm at 25 degrees
    assert said["newest"]["conductivity_25_siemens_per_m"] == pytest.approx(0.035566, rel=1e-3)
    assert said["newest"]["temperature_kelvin"] == pytest.approx(298.15)
    assert RinseStanding.objects.get().renewed_at == kept.renewed_at


def test_a_meter_of_another_vessel_is_refused(plant: SmallPlant, batch: Batch) -> None:
    other = meter_at(plant, "C1")
    answer = asked(batch, token=other.token)
    assert answer.status_code == 403 and "sits at vessel C1" in answer.json()["error"]["message"]


def test_a_person_who_is_signed_in_may_ask_and_a_stranger_may_not(
    batch: Batch, outsider: Person, client_of: Any
) -> None:
    assert asked(batch, client_of(outsider)).json()["batch"] == batch.number
    answer = asked(batch)
    assert answer.status_code == 401 and answer.json()["error"]["code"] == "no_token"


def test_a_wrong_token_is_refused_whoever_is_signed_in(
    batch: Batch, outsider: Person, client_of: Any
) -> None:
    assert asked(batch, client_of(outsider), token="wrong").status_code == 401


def test_whoever_must_choose_a_password_first_is_refused(
    batch: Batch, outsider: Person, client_of: Any
) -> None:
    client = client_of(outsider)
    Person.objects.filter(pk=outsider.pk).update(one_time_until=timezone.now())
    assert asked(batch, client).status_code == 403


def test_a_device_has_no_session_even_where_one_is_forged(batch: Batch, meter: Meter, client_of: Any) -> None:
    assert asked(batch, client_of(meter.feed.account)).status_code == 401


@pytest.mark.parametrize("number", ["B-99999", "x", "%00", "é", "x" * 3000])
def test_a_batch_that_is_none_is_not_found(meter: Meter, number: str) -> None:
    answer = asked(number, token=meter.token)
    assert answer.status_code == 404 and answer.json()["error"]["code"] == "not_found"


def test_nobody_can_give_a_device_a_password_that_opens(meter: Meter) -> None:
    """Not even by hand in the database: the constraint refuses it."""
    with pytest.raises(IntegrityError), transaction.atomic():
        Person.objects.filter(pk=meter.feed.account_id).update(password=make_password("a long password"))
