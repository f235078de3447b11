"""The spool and what hands it on, without a broker: nothing lost, nothing twice, refused with its reason."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils import timezone

from regenplant.audit.models import AuditEvent
from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.received import unlike_its_text
from regenplant.core.errors import RecordBusy
from regenplant.plant.services import close_meter_feed
from regenplant.web.api.listening import handing_on, spool
from regenplant.web.api.listening.spool import AlreadyListening, OnlyListener, Spool, opened
from tests.api.meters import Meter, falling, message, reading
from tests.factories import SmallPlant, work_off
from tests.meters.conftest import TOPIC

AT = datetime(2026, 3, 11, 14, 5, tzinfo=UTC)


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Spool]:
    with opened(tmp_path) as found:
        yield found


def put(own: Spool, *messages: Any, topic: str = TOPIC) -> None:
    for one in messages:
        text = one if isinstance(one, bytes) else json.dumps(one).encode()
        own.put(topic, text, timezone.now())
    own.keep()


def kept() -> int:
    return sum(row.count for row in MeterLog.objects.all())


# --- the file -----------------------------------------------------------------------------------------------------------
def test_what_was_put_is_there_after_keep_and_not_before(tmp_path: Path, own: Spool) -> None:
    own.put("a", b"1", AT)
    with opened(tmp_path) as other:
        assert other.waiting(10) == []
        own.keep()
        assert [(one.topic, one.payload, one.arrived_at) for one in other.waiting(10)] == [("a", b"1", AT)]


def test_the_same_text_that_waits_is_one_message_and_on_another_topic_another(own: Spool) -> None:
    for topic, text in (("a", b"1"), ("a", b"1"), ("b", b"1"), ("a", b"2")):
        own.put(topic, text, AT)
    own.keep()
    assert [(one.topic, one.payload) for one in own.waiting(10)] == [("a", b"1"), ("b", b"1"), ("a", b"2")]


def test_refused_messages_stay_with_their_reason_and_the_oldest_go_first(
    own: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spool, "MOST_REFUSED", 3)
    for index in range(5):
        own.put("a", str(index).encode(), AT)
    own.keep()
    own.refuse([one.id for one in own.waiting(10)], "no_rinse", "No rinse runs.", AT)
    assert own.count_waiting() == 0
    assert [one.payload for one in own.refused()] == [b"4", b"3", b"2"]
    assert own.refused_by_reason() == [("a", "no_rinse", "No rinse runs.", 3, AT, AT)]


def test_refused_messages_are_taken_up_again_once_each(own: Spool) -> None:
    for _ in range(2):  # refused, sent again, refused again
        own.put("a", b"1", AT)
        own.keep()
        own.refuse([one.id for one in own.waiting(10)], "no_rinse", "No rinse runs.", AT)
    assert len(own.refused()) == 2
    assert own.take_up_again() == 1
    assert [one.payload for one in own.waiting(10)] == [b"1"] and own.refused() == []


def test_one_listener_has_the_spool(tmp_path: Path) -> None:
    first = OnlyListener(tmp_path)
    with pytest.raises(AlreadyListening, match="Another listener works with the spool"):
        OnlyListener(tmp_path)
    first.close()
    OnlyListener(tmp_path).close()


# --- handing on ----------------------------------------------------------------------------------------------------------
@pytest.mark.django_db
def test_messages_of_a_while_become_one_packet_of_the_meters_account(
    plant: SmallPlant, batch: Batch, meter: Meter, own: Spool
) -> None:
    readings = falling(plant.now, 30)
    texts = [json.dumps(message([one]), indent=2) for one in readings]
    put(own, *(text.encode() for text in texts))
    counts = handing_on.hand_on(own)
    assert (counts.messages, counts.kept, counts.refused, own.count_waiting()) == (30, 30, 0, 0)
    row = MeterLog.objects.get()
    assert (row.source, row.name, row.count, row.entered_by) == ("mqtt", "M1", 30, meter.feed.account)
    assert row.received_text == "\n".join(texts)
    assert list(unlike_its_text(row)) == [], "read again from its text it says the same"
    assert AuditEvent.objects.filter(event="reading.log_taken_in").get().terminal == f"M1, MQTT {TOPIC}"


@pytest.mark.django_db
def test_the_same_message_again_counts_nothing_twice(plant: SmallPlant, meter: Meter, own: Spool) -> None:
    body = message(falling(plant.now, 10))
    for _ in range(3):
        put(own, body)
        assert handing_on.hand_on(own).refused == 0
    assert kept() == 10 and own.count_waiting() == 0


@pytest.mark.django_db
def test_what_cannot_be_read_or_belongs_nowhere_is_refused_and_takes_no_other_with_it(
    plant: SmallPlant, meter: Meter, own: Spool
) -> None:
    put(
        own,
        message(falling(plant.now, 5)),
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"readings": [{"at": "2026-03-11T14:05:30Z", "value": NaN, "unit": "uS/cm", "temperature_c": 20}]}',
        message([{**reading(plant.now), "unit": "bar"}]),
        message([reading(plant.now - timedelta(hours=1))]),
        message([reading(timezone.now() + timedelta(hours=1))]),
        b" " * (5 * 1024 * 1024),
    )
    put(own, message(falling(plant.now, 5)), topic="rinse/nobody")
    counts = handing_on.hand_on(own)
    assert (counts.kept, counts.refused, own.count_waiting()) == (5, 8, 0)
    told = {(topic, code) for topic, code, *_ in own.refused_by_reason()}
    assert told == {
        (TOPIC, "not_readable"), (TOPIC, "before_rinse"), (TOPIC, "clock_ahead"), (TOPIC, "too_large"), ("rinse/nobody", "no_feed"),
    }  # fmt: skip
    whys = " ".join(one.why for one in own.refused())
    for words in (
        "no JSON text in UTF-8",
        "readings.0.unit",
        "before the rinse of batch",
        "No open meter feed has the topic",
    ):
        assert words in whys, words


@pytest.mark.django_db
def test_without_a_rinse_and_from_a_closed_feed_nothing_is_kept(
    plant: SmallPlant, meter: Meter, own: Spool
) -> None:
    close_meter_feed(by=plant.by("supervisor"), feed_id=meter.feed.pk, reason="Taken down.")
    put(own, message(falling(plant.now, 5)))
    assert handing_on.hand_on(own).refused == 1
    assert own.refused()[0].code == "no_feed" and not MeterLog.objects.exists()


@pytest.mark.django_db
def test_what_waited_while_the_rinse_ended_still_belongs_to_it(
    plant: SmallPlant, batch: Batch, meter: Meter, own: Spool
) -> None:
    """The listener was down; the batch rinses no more, and is not judged yet."""
    put(own, message(falling(plant.now, 20)))
    work_off(plant, batch.steps.get(state="running"))
    put(own, message([reading(plant.now + timedelta(hours=1))]))
    counts = handing_on.hand_on(own)
    assert (counts.kept, counts.refused) == (20, 1)
    assert own.refused()[0].code == "after_rinse"


@pytest.mark.django_db
def test_while_the_database_is_away_messages_wait_and_are_taken_when_it_is_back(
    plant: SmallPlant, meter: Meter, own: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_cursor(self: Any, *args: Any, **kwargs: Any) -> Any:
        raise OperationalError("connection to server failed: Connection refused")

    put(own, message(falling(plant.now, 10)))
    with monkeypatch.context() as patched:
        patched.setattr(BaseDatabaseWrapper, "cursor", no_cursor)
        patched.setattr(handing_on.connection, "close", lambda: None)  # the test's own transaction stays
        for _ in range(5):
            assert handing_on.hand_on(own).is_held_up
    assert own.count_waiting() == 1 and own.waiting(1)[0].tries == 0
    assert handing_on.hand_on(own).kept == 10 and kept() == 10


@pytest.mark.django_db
def test_while_others_write_too_long_messages_wait(
    plant: SmallPlant, meter: Meter, own: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(**_: Any) -> Any:
        raise RecordBusy("Another act was being written for more than 20 seconds.")

    put(own, message(falling(plant.now, 10)))
    with monkeypatch.context() as patched:
        patched.setattr("regenplant.web.api.taking.take_in", busy)
        assert handing_on.hand_on(own).is_held_up
    assert own.count_waiting() == 1
    assert handing_on.hand_on(own).kept == 10


@pytest.mark.django_db
def test_a_defect_is_not_swallowed_and_a_message_that_ends_the_program_is_set_aside(
    plant: SmallPlant, meter: Meter, own: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def defect(**_: Any) -> Any:
        raise RuntimeError("a defect")

    put(own, message(falling(plant.now, 10)))
    with monkeypatch.context() as patched:
        patched.setattr("regenplant.web.api.taking.take_in", defect)
        for _ in range(spool.MOST_TRIES):
            with pytest.raises(RuntimeError):
                handing_on.hand_on(own)
        assert handing_on.hand_on(own).refused == 1
    assert own.refused()[0].code == "ended_in_the_middle"
    assert own.take_up_again() == 1 and handing_on.hand_on(own).kept == 10


@pytest.mark.django_db
def test_after_a_kill_between_record_and_spool_nothing_counts_twice(
    plant: SmallPlant, meter: Meter, own: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The act was written, the spool not: the message is handed on once more, alone."""
    put(own, *(message([one]) for one in falling(plant.now, 10)))

    def killed(self: Spool, keys: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(Spool, "taken", killed)
        with pytest.raises(KeyboardInterrupt):
            handing_on.hand_on(own)
    assert kept() == 10 and own.count_waiting() == 10
    counts = handing_on.hand_on(own)
    assert (counts.kept, counts.known_already, counts.refused) == (0, 10, 0)
    assert kept() == 10 and own.count_waiting() == 0


def test_the_oldest_go_first_and_topics_are_remembered(own: Spool) -> None:
    own.put("a", b"1", AT)
    own.put("b", b"2", AT)
    own.keep()
    assert [one.payload for one in own.waiting(1)] == [b"1"]
    own.set_topics(["x", "y"])
    assert own.topics() == {"x", "y"}
