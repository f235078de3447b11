"""Readings over HTTP: taken once however often they are sent, refused with a sentence, never half, never for another vessel."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from regenplant.audit.models import AuditEvent
from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.received import unlike_its_text
from regenplant.plant import services as plant_services
from regenplant.web.api import endpoints, tokens
from regenplant.web.api.limits import LARGEST_BYTES
from regenplant.web.doors import DOORS
from tests.api.meters import URL, Meter, falling, message, meter_at, reading
from tests.factories import SmallPlant
from tests.web.test_doors import address as door

pytestmark = pytest.mark.django_db


def problem(answer: Any, status: int) -> dict[str, Any]:
    assert answer.status_code == status, answer.content
    assert set(answer.json()) == {"error"}
    found: dict[str, Any] = answer.json()["error"]
    assert found["message"] and found["code"]
    return found


# --- taken --------------------------------------------------------------------------------------------------------------
def test_readings_are_kept_under_the_meters_own_account(
    plant: SmallPlant, batch: Batch, meter: Meter
) -> None:
    body = message(falling(plant.now, 50), message_id="night-1")
    text = json.dumps(body)
    answer = meter.send(text)
    assert answer.status_code == 200
    assert answer.json() == {
        "batch": batch.number,
        "kept": 50,
        "known_already": 0,
        "not_kept": [],
        "message_id": "night-1",
    }
    row = MeterLog.objects.get()
    assert (row.batch, row.count, row.source, row.name) == (batch, 50, "http", "M1")
    assert row.received_text == text, "kept exactly as received"
    assert row.entered_by == meter.feed.account and row.entered_by.is_device
    event = AuditEvent.objects.order_by("-number")[0]
    assert event.event == "reading.log_taken_in" and event.terminal == "M1, 127.0.0.1"


def test_the_same_call_again_counts_nothing_twice(plant: SmallPlant, meter: Meter) -> None:
    body = message(falling(plant.now, 30))
    first, second = meter.send(body).json(), meter.send(body).json()
    assert (first["kept"], first["known_already"]) == (30, 0)
    assert (second["kept"], second["known_already"]) == (0, 30)
    assert MeterLog.objects.count() == 1


def test_what_is_new_in_a_call_that_overlaps_is_kept(plant: SmallPlant, meter: Meter) -> None:
    readings = falling(plant.now, 40)
    meter.send(message(readings[:25]))
    answer = meter.send(message(readings[15:])).json()
    assert (answer["kept"], answer["known_already"]) == (15, 10)
    assert sum(row.count for row in MeterLog.objects.all()) == 40


def test_a_moment_twice_in_one_call_is_one_reading(plant: SmallPlant, meter: Meter) -> None:
    twice = [*falling(plant.now, 1), *falling(plant.now, 2)]
    answer = meter.send(message(twice)).json()
    assert (answer["kept"], answer["known_already"]) == (2, 1)


def test_any_offset_any_unit_and_a_number_or_its_text(plant: SmallPlant, meter: Meter) -> None:
    """Two units in one call are two packets; 0.1 Mohm cm is 10 uS/cm."""
    east = (plant.now + timedelta(seconds=2)).astimezone(timezone.get_fixed_timezone(330))
    body = message(
        [
            {**reading(east), "at": east.isoformat(), "value": 60},
            reading(plant.now + timedelta(seconds=1), "0.1", "Mohm cm"),
        ]
    )
    assert meter.send(body).json()["kept"] == 2
    assert sorted(MeterLog.objects.values_list("unit_as_typed", flat=True)) == ["Mohm cm", "uS/cm"]
    for row in MeterLog.objects.all():
        assert list(unlike_its_text(row)) == [], "read again from its text it says the same"


def test_a_packet_that_differs_from_what_was_received_is_found(plant: SmallPlant, meter: Meter) -> None:
    meter.send(message(falling(plant.now, 20)))
    row = MeterLog.objects.get()
    assert list(unlike_its_text(row)) == []
    row.received_text = row.received_text.replace("399.", "398.")
    assert list(unlike_its_text(row)) == ["holds 2 readings that were not received so"]
    row.received_text = "no JSON"
    assert list(unlike_its_text(row)) == ["cannot be read from what was received"]


def test_ten_thousand_readings_fit_one_call_and_one_more_does_not(plant: SmallPlant, meter: Meter) -> None:
    readings = falling(plant.now, 10_001, every_s=0.1)
    refused = problem(meter.send(message(readings)), 422)
    assert refused["flaws"][0]["where"] == "readings" and "10000" in refused["flaws"][0]["what"]
    assert not MeterLog.objects.exists()
    assert meter.send(message(readings[:10_000])).json()["kept"] == 10_000


# --- understood and not kept ----------------------------------------------------------------------------------------------
def test_what_does_not_belong_is_told_and_the_rest_is_kept(
    plant: SmallPlant, batch: Batch, meter: Meter
) -> None:
    now = timezone.now()
    body = message(
        [
            reading(plant.now - timedelta(hours=1)),
            reading(plant.now - timedelta(minutes=5)),
            reading(plant.now + timedelta(seconds=5)),
            reading(now + timedelta(minutes=10)),
            {**reading(plant.now + timedelta(seconds=6)), "temperature_c": 140.0},
        ]
    )
    answer = meter.send(body).json()
    assert (answer["kept"], answer["known_already"]) == (1, 0)
    told = {one["code"]: one for one in answer["not_kept"]}
    assert {code: one["count"] for code, one in told.items()} == {
        "before_rinse": 2,
        "clock_ahead": 1,
        "temperature": 1,
    }
    assert f"before the rinse of batch {batch.number} began" in told["before_rinse"]["why"]
    assert "more than 2 min ahead of the clock here" in told["clock_ahead"]["why"]
    assert "between 0 and 100 °C" in told["temperature"]["why"]
    assert answer["kept"] + answer["known_already"] + sum(one["count"] for one in told.values()) == 5


def test_where_no_rinse_runs_nothing_is_kept_and_it_is_said(plant: SmallPlant, batch: Batch) -> None:
    elsewhere = meter_at(plant, "C1")
    answer = elsewhere.send(message(falling(plant.now, 3)))
    assert answer.status_code == 200 and answer.json()["batch"] is None and answer.json()["kept"] == 0
    (told,) = answer.json()["not_kept"]
    assert (told["code"], told["count"]) == ("no_rinse", 3) and "vessel C1" in told["why"]
    assert not MeterLog.objects.exists()


def test_a_reading_that_cannot_be_water_is_kept_and_never_counts(plant: SmallPlant, meter: Meter) -> None:
    """It points to the instrument: a record, not a result."""
    readings = [*falling(plant.now, 10), reading(plant.now + timedelta(seconds=30), "-3.0")]
    assert meter.send(message(readings)).json()["kept"] == 11
    assert MeterLog.objects.get().check_count >= 1


# --- refused whole --------------------------------------------------------------------------------------------------------
BAD: dict[str, tuple[str, str]] = {
    "no offset": ('"at": "2026-03-11T14:05:30", "value": "1", "unit": "uS/cm", "temperature_c": 20', "at"),
    "a number for a time": ('"at": 1773234330, "value": "1", "unit": "uS/cm", "temperature_c": 20', "at"),
    "before clocks were set": ('"at": "1970-01-01T00:00:00Z", "value": "1", "unit": "uS/cm", "temperature_c": 20', "at"),
    "no such day": ('"at": "2026-02-30T14:05:30Z", "value": "1", "unit": "uS/cm", "temperature_c": 20', "at"),
    "no number": ('"at": "2026-03-11T14:05:30Z", "value": "n/a", "unit": "uS/cm", "temperature_c": 20', "value"),
    "nan as text": ('"at": "2026-03-11T14:05:30Z", "value": "nan", "unit": "uS/cm", "temperature_c": 20', "value"),
    "too large": ('"at": "2026-03-11T14:05:30Z", "value": 1e999, "unit": "uS/cm", "temperature_c": 20', "value"),
    "true": ('"at": "2026-03-11T14:05:30Z", "value": true, "unit": "uS/cm", "temperature_c": 20', "value"),
    "no unit": ('"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "", "temperature_c": 20', "unit"),
    "a unit of something else": ('"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "bar", "temperature_c": 20', "unit"),
    "no temperature": ('"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "uS/cm"', "temperature_c"),
    "temperature too large": ('"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "uS/cm", "temperature_c": 1e999', "temperature_c"),
    "temperature as text": ('"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "uS/cm", "temperature_c": "20"', "temperature_c"),
    "water flows back": (
        '"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "uS/cm", "temperature_c": 20, "totalizer_l": -1', "totalizer_l",
    ),
    "a field nobody knows": (
        '"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "uS/cm", "temperature_c": 20, "valve": "open"', "valve",
    ),
}  # fmt: skip


def test_one_flaw_refuses_the_whole_call_and_says_where(plant: SmallPlant, meter: Meter) -> None:
    good = json.dumps(falling(plant.now, 1)[0])
    for name, (flawed, where) in BAD.items():
        refused = problem(meter.send(f'{{"readings": [{good}, {{{flawed}}}]}}'), 422)
        assert refused["code"] == "not_readable" and "nothing was written" in refused["message"], name
        assert any(flaw["where"] == f"readings.1.{where}" for flaw in refused["flaws"]), (name, refused)
    assert not MeterLog.objects.exists()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[" * 100_000,
        "\x00",
        "{",
        '{"readings": [{"at": "2026-03-11T14:05:30Z", "value": NaN, "unit": "uS/cm", "temperature_c": 20}]}',
        '{"readings": [{"at": "2026-03-11T14:05:30Z", "value": "1", "unit": "uS/cm", "temperature_c": Infinity}]}',
    ],
    ids=["nothing", "deep", "nul", "half", "NaN", "Infinity"],
)
def test_what_is_no_json_is_refused(meter: Meter, text: str) -> None:
    assert problem(meter.send(text), 422 if not text else 400)
    assert not MeterLog.objects.exists()


@pytest.mark.parametrize("text", ["[]", '"x"', "null", "7", "{}", '{"readings": []}', '{"readings": {}}'])
def test_json_that_is_no_readings_is_refused(meter: Meter, text: str) -> None:
    assert problem(meter.send(text), 422)["code"] == "not_readable"


def test_bytes_that_are_no_text_are_refused(meter: Meter) -> None:
    assert problem(meter.send(b'{"readings": "\xff\xfe"}'), 400)


def test_a_call_too_large_is_refused_before_it_is_read(meter: Meter) -> None:
    refused = problem(meter.send(" " * (LARGEST_BYTES + 1)), 413)
    assert str(LARGEST_BYTES) in refused["message"]


def test_nothing_is_half_written_when_the_act_fails(
    plant: SmallPlant, meter: Meter, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = AuditEvent.objects.count()
    monkeypatch.setattr("regenplant.batches.services.logs.renew", _fails)
    assert meter.send(message(falling(plant.now, 5))).status_code == 500
    assert not MeterLog.objects.exists() and AuditEvent.objects.count() == before
    monkeypatch.undo()
    assert meter.send(message(falling(plant.now, 5))).json()["kept"] == 5


def _fails(*args: Any) -> None:
    raise RuntimeError("a defect")


def test_a_database_that_is_away_is_told_to_a_program_and_the_call_may_be_sent_again(
    plant: SmallPlant, meter: Meter, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_cursor(self: Any, *args: Any, **kwargs: Any) -> Any:
        raise OperationalError("connection to server failed: Connection refused")

    with monkeypatch.context() as patched:
        patched.setattr(BaseDatabaseWrapper, "cursor", no_cursor)
        answer = meter.send(message(falling(plant.now, 5)))
    assert answer["Retry-After"] == "60" and problem(answer, 503)["code"] == "database_away"
    assert meter.send(message(falling(plant.now, 5))).json()["kept"] == 5


# --- who -----------------------------------------------------------------------------------------------------------------
def test_without_a_token_and_with_a_wrong_one_nothing_is_taken(plant: SmallPlant, meter: Meter) -> None:
    body = json.dumps(message(falling(plant.now, 2)))
    for headers in (
        {},
        {"authorization": "Bearer"},
        {"authorization": "Bearer wrong"},
        {"authorization": f"Basic {meter.token}"},
    ):
        answer = Client().post(URL, body, content_type="application/json", headers=headers)
        problem(answer, 401)
        assert answer["WWW-Authenticate"].startswith("Bearer")
    assert not MeterLog.objects.exists()


def test_an_old_token_a_revoked_one_and_a_closed_feed_are_refused(plant: SmallPlant, meter: Meter) -> None:
    by, pk = plant.by("supervisor"), meter.feed.pk
    renewed = plant_services.renew_token(by=by, feed_id=pk, reason="It was seen.").result
    body = message(falling(plant.now, 2))
    problem(meter.send(body), 401)
    new = Meter(meter.feed, renewed.token)
    assert new.send(body).json()["kept"] == 2
    plant_services.revoke_token(by=by, feed_id=pk, reason="Meter in repair.")
    problem(new.send(body), 401)
    again = plant_services.renew_token(by=by, feed_id=pk, reason="Back again.").result
    plant_services.close_meter_feed(by=by, feed_id=pk, reason="Taken down.")
    problem(Meter(meter.feed, again.token).send(body), 401)
    assert MeterLog.objects.get().count == 2, "what it sent stays"


def test_too_many_wrong_tokens_are_told_to_wait_and_a_right_one_passes(
    plant: SmallPlant, meter: Meter
) -> None:
    wrong = Meter(meter.feed, "wrong")
    for _ in range(tokens.WRONG_ALLOWED):
        problem(wrong.send({}), 401)
    answer = wrong.send({})
    assert problem(answer, 429)["code"] == "too_many_tries" and answer["Retry-After"] == "60"
    assert meter.send(message(falling(plant.now, 1))).json()["kept"] == 1


def test_a_persons_session_writes_no_readings_and_needs_no_form_key(
    plant: SmallPlant, meter: Meter, client_of: Any
) -> None:
    """The one address without a form key takes no session, so that no page elsewhere can make a browser write."""
    body = json.dumps(message(falling(plant.now, 2)))
    client = client_of(plant.people["operator"])
    problem(client.post(URL, body, content_type="application/json"), 401)
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = client.cookies
    answer = strict.post(
        URL, body, content_type="application/json", headers={"authorization": f"Bearer {meter.token}"}
    )
    assert answer.status_code == 200 and MeterLog.objects.get().entered_by == meter.feed.account
    refused = strict.post(f"/batches/{MeterLog.objects.get().batch.number}/rinse/", {})
    assert refused.status_code == 403, "everywhere else the form key is asked for"


def test_no_session_is_opened_read_or_written(plant: SmallPlant, meter: Meter) -> None:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        answer = meter.send(
            message(falling(plant.now, 2)), cookie="sessionid=abcdefghijklmnopqrstuvwxyz123456"
        )
    assert answer.status_code == 200 and not answer.cookies
    assert not any("django_session" in query["sql"] for query in asked)
    assert "Cookie" not in answer.get("Vary", "")


def test_no_token_is_in_the_log_the_record_or_an_answer(
    plant: SmallPlant, meter: Meter, caplog: pytest.LogCaptureFixture, settings: Any
) -> None:
    settings.DEBUG = True
    with caplog.at_level("DEBUG"):
        texts = [
            meter.send(message(falling(plant.now, 2))).content.decode(),
            Meter(meter.feed, f"{meter.token}x").send({}).content.decode(),
            Client()
            .post(
                URL, "{}", content_type="application/json", headers={"authorization": f"Token {meter.token}"}
            )
            .content.decode(),
        ]
    everything = "\n".join([*texts, caplog.text, *AuditEvent.objects.values_list("payload", flat=True)])
    assert meter.token not in everything


def test_a_device_does_nothing_else(plant: SmallPlant, batch: Batch, meter: Meter) -> None:
    for method, address in (
        ("post", f"/batches/{batch.number}/rinse/"),
        ("get", "/floor/"),
        ("get", "/setup/"),
    ):
        answer = getattr(Client(), method)(address, headers={"authorization": f"Bearer {meter.token}"})
        assert answer.status_code in (302, 401), address


def test_a_device_opens_no_door_of_the_program(meter: Meter) -> None:
    """Every address that takes something: neither its token nor a session forged for its account passes."""
    forged = Client()
    forged.force_login(meter.feed.account, backend="django.contrib.auth.backends.ModelBackend")
    before = AuditEvent.objects.count()
    for name in DOORS:
        url = door(name)
        token = Client().post(url, {}, headers={"authorization": f"Bearer {meter.token}"})
        assert token.status_code in (302, 401), name
        assert forged.post(url, {}).status_code in (302, 401, 403), name
    assert AuditEvent.objects.count() == before


def test_other_methods_are_refused(meter: Meter) -> None:
    headers = {"authorization": f"Bearer {meter.token}"}
    for method in ("get", "put", "delete", "patch"):
        assert getattr(Client(), method)(URL, headers=headers).status_code == 405


def test_every_status_the_program_answers_is_in_the_description() -> None:
    schema = endpoints.api.get_openapi_schema(path_prefix="/api/")
    said = set(schema["paths"]["/api/readings/"]["post"]["responses"])
    assert {str(status) for status in said} >= {"200", "400", "401", "403", "409", "413", "422", "429", "503"}
