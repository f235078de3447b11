"""Meter feeds: who may register one, what is refused and why, and a token that stands nowhere but on one page."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.audit.models import AuditEvent
from regenplant.audit.selectors import story
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.people.models import Person
from regenplant.plant import services
from regenplant.plant.models import MeterFeed
from regenplant.plant.selectors import open_meter_feeds
from regenplant.plant.services import MeterFeedSettings, NewToken
from regenplant.plant.tokens import digest_of
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def asked(plant: SmallPlant, **changed: Any) -> MeterFeedSettings:
    values: dict[str, Any] = {
        "code": "M1",
        "name": "Outlet of C1",
        "instrument_id": plant.instruments["CELL"].pk,
        "vessel_id": plant.vessels["C1"].pk,
        "topic": "rinse/c1/outlet",
        **changed,
    }
    return MeterFeedSettings(**values)


def registered(plant: SmallPlant, **changed: Any) -> NewToken:
    found: NewToken = services.register_meter_feed(
        by=plant.by("supervisor"), feed=asked(plant, **changed)
    ).result
    return found


def test_a_feed_is_registered_with_an_account_of_its_own(plant: SmallPlant) -> None:
    made = registered(plant)
    feed = MeterFeed.objects.get()
    assert feed.account.is_device and feed.account.username == "meter-m1"
    assert feed.registered_by == plant.people["supervisor"] and feed.is_active
    assert len(made.token) >= 43, "256 bits"
    assert feed.token_digest == digest_of(made.token) != made.token
    assert [line.sentence for line in story([("meter_feed", str(feed.pk))])] == [
        "Meter feed M1 was registered: CELL at vessel C1"
    ]
    assert list(open_meter_feeds()) == [feed]


def test_the_token_is_nowhere_in_the_record(plant: SmallPlant) -> None:
    made = registered(plant)
    renewed = services.renew_token(
        by=plant.by("supervisor"), feed_id=made.feed.pk, reason="It was seen."
    ).result
    payloads = "".join(AuditEvent.objects.values_list("payload", flat=True))
    rows = str(list(MeterFeed.objects.values())) + str(list(Person.objects.values()))
    for token in (made.token, renewed.token):
        assert token not in payloads and token not in rows
    assert digest_of(made.token) not in payloads, "nor is what is compared"


@pytest.mark.parametrize("who", ["operator", "qc", "planner", "safety"])
def test_who_may_not_set_up_the_plant_is_refused(plant: SmallPlant, who: str) -> None:
    made = registered(plant)
    more = {"feed_id": made.feed.pk, "reason": "Because."}
    for act, arguments in (
        (services.register_meter_feed, {"feed": asked(plant, code="M2")}),
        (services.change_meter_feed, {"feed_id": made.feed.pk, "name": "x", "vessel_id": 1, "topic": ""}),
        (services.renew_token, more),
        (services.revoke_token, more),
        (services.close_meter_feed, more),
        (services.open_meter_feed, more),
    ):
        with pytest.raises(NotAllowed):
            act(by=plant.by(who), **arguments)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"code": ""}, "code", "is empty"),
        ({"code": "M 1"}, "code", "no label carries"),
        ({"name": "x"}, "name", "at least 2"),
        ({"instrument_id": 0}, "instrument", "conductivity or resistivity cell"),
        ({"vessel_id": 0}, "vessel", "in use"),
        ({"topic": "rinse/+/outlet"}, "topic", "no wildcard"),
        ({"topic": "rinse/#"}, "topic", "no wildcard"),
        ({"topic": "/rinse"}, "topic", "no topic"),
        ({"topic": "$SYS/x"}, "topic", "no topic"),
        ({"topic": "a" * 121}, "topic", "at most 120"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(
    plant: SmallPlant, changed: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(RecordRefused, match=words) as refused:
        registered(plant, **changed)
    assert refused.value.field == field
    assert not MeterFeed.objects.exists() and not Person.objects.filter(is_device=True).exists()


def test_only_a_conductivity_cell_in_use_sends(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused) as refused:
        registered(plant, instrument_id=plant.instruments["PH"].pk)
    assert refused.value.code == "no_cell"


def test_code_cell_and_topic_are_each_ones_own(plant: SmallPlant) -> None:
    registered(plant)
    old = plant.instruments["OLD-CELL"].pk
    with pytest.raises(RecordRefused, match="Meter feed M1 exists already"):
        registered(plant, code="m1", instrument_id=old, topic="")
    with pytest.raises(RecordRefused, match="CELL sends by meter feed M1 already"):
        registered(plant, code="M2", topic="")
    with pytest.raises(RecordRefused, match="Meter feed M1 has the topic"):
        registered(plant, code="M2", instrument_id=old)
    assert registered(plant, code="M2", instrument_id=old, topic="").feed.pk


def test_it_moves_to_another_vessel_and_the_record_says_so(plant: SmallPlant) -> None:
    feed = registered(plant).feed
    services.change_meter_feed(
        by=plant.by("administrator"), feed_id=feed.pk, name="Outlet of A1",
        vessel_id=plant.vessels["A1"].pk, topic="", version=feed.version,
    )  # fmt: skip
    feed = MeterFeed.objects.get()
    assert (feed.vessel.code, feed.topic, feed.name) == ("A1", "", "Outlet of A1")
    assert story([("meter_feed", str(feed.pk))])[-1].sentence == (
        "Meter feed M1 was changed: name from Outlet of C1 to Outlet of A1; topic from rinse/c1/outlet to none; vessel from C1 to A1"
    )


def test_two_people_at_once_do_not_overwrite_each_other(plant: SmallPlant) -> None:
    feed = registered(plant).feed
    services.renew_token(by=plant.by("supervisor"), feed_id=feed.pk, reason="It was seen.", version=1)
    for act in (services.renew_token, services.revoke_token, services.close_meter_feed):
        with pytest.raises(StaleRecord):
            act(by=plant.by("administrator"), feed_id=feed.pk, reason="It was seen.", version=1)


def test_a_closed_feed_has_no_token_and_its_account_is_closed_until_it_is_opened(plant: SmallPlant) -> None:
    by, feed = plant.by("supervisor"), registered(plant).feed
    services.close_meter_feed(by=by, feed_id=feed.pk, reason="Taken down.")
    feed.refresh_from_db()
    assert (feed.is_active, feed.token_digest) == (False, None)
    assert not Person.objects.get(pk=feed.account_id).is_active and not open_meter_feeds().exists()
    more = {"feed_id": feed.pk, "reason": "Again."}
    for act in (services.renew_token, services.revoke_token, services.close_meter_feed):
        with pytest.raises(RecordRefused, match="M1 is closed"):
            act(by=by, **more)
    made = services.open_meter_feed(by=by, feed_id=feed.pk, reason="Back again.").result
    assert digest_of(made.token) == MeterFeed.objects.get().token_digest
    assert Person.objects.get(pk=feed.account_id).is_active
    with pytest.raises(RecordRefused, match="open already"):
        services.open_meter_feed(by=by, **more)


def test_a_feed_is_not_opened_beside_another_of_the_same_cell(plant: SmallPlant) -> None:
    by, feed = plant.by("supervisor"), registered(plant).feed
    services.close_meter_feed(by=by, feed_id=feed.pk, reason="Taken down.")
    registered(plant, code="M2", topic="")
    with pytest.raises(RecordRefused, match="sends by meter feed M2 already"):
        services.open_meter_feed(by=by, feed_id=feed.pk, reason="Back again.")


def test_a_token_that_is_not_there_is_not_revoked(plant: SmallPlant) -> None:
    by, feed = plant.by("supervisor"), registered(plant).feed
    services.revoke_token(by=by, feed_id=feed.pk, reason="It was seen.")
    with pytest.raises(RecordRefused, match="has no token"):
        services.revoke_token(by=by, feed_id=feed.pk, reason="It was seen.")


def test_acts_need_a_reason_and_a_feed(plant: SmallPlant) -> None:
    by, feed = plant.by("supervisor"), registered(plant).feed
    for act in (services.renew_token, services.revoke_token, services.close_meter_feed):
        with pytest.raises(RecordRefused, match="The reason"):
            act(by=by, feed_id=feed.pk, reason=" ")
        with pytest.raises(RecordRefused, match="not known here"):
            act(by=by, feed_id=0, reason="It was seen.")


@pytest.mark.parametrize(
    "changed",
    [{"is_active": False}, {"token_made_at": None}],
    ids=["closed with a token", "a token without its time"],
)
def test_the_database_itself_refuses(plant: SmallPlant, changed: dict[str, Any]) -> None:
    registered(plant)
    with pytest.raises(IntegrityError), transaction.atomic():
        MeterFeed.objects.update(**changed)


def test_cell_account_and_who_registered_it_never_change(plant: SmallPlant) -> None:
    registered(plant)
    for changed in (
        {"code": "M9"},
        {"instrument_id": plant.instruments["OLD-CELL"].pk},
        {"registered_by_id": plant.people["qc"].pk},
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            MeterFeed.objects.update(**changed)
