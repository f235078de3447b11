"""The listener against a real broker: a stream, repeats, a broker and a listener killed in the middle. Every reading once."""

from __future__ import annotations

import json
import logging
import subprocess
import threading
import time
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.utils import timezone

from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.points import points_of
from regenplant.plant.services import change_meter_feed
from regenplant.web.api.listening.spool import opened
from tests.api.meters import Meter, falling, message, reading
from tests.factories import SmallPlant
from tests.meters.broker import Broker
from tests.meters.listening import Listening, PublishingMeter, until

log = logging.getLogger(__name__)
pytestmark = pytest.mark.django_db(transaction=True)


def kept() -> int:
    return sum(MeterLog.objects.values_list("count", flat=True))


def all_of(count: int) -> Any:
    return lambda: kept() >= count


def assert_exactly(batch: Batch, readings: list[dict[str, Any]]) -> None:
    """Each reading is in the record once, with its value, and nothing else is."""
    assert kept() == len(readings)
    points = points_of(batch)
    assert len(points) == len(readings)
    assert len(np.unique(points.at_s)) == len(readings)
    sent = sorted(float(one["value"]) * 1e-4 for one in readings)  # 1 uS/cm is 1e-4 S/m
    assert np.allclose(sorted(points.conductivity_siemens_per_m.tolist()), sent, rtol=1e-9)


def single(readings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [message([one], message_id=f"m-{index}") for index, one in enumerate(readings)]


def test_a_stream_is_kept_whole_and_repeats_count_nothing(
    plant: SmallPlant, batch: Batch, meter: Meter, listening: Listening, publishing: PublishingMeter
) -> None:
    readings = falling(plant.now, 300)
    listening.start()
    listening.until_it_listens()
    messages = single(readings)
    publishing.publish(messages)
    publishing.publish(messages[100:200])
    publishing.publish([message(readings)])  # all of them once more, in one
    until(all_of(300), lambda: f"all readings are kept\n{listening.words()}")
    until(lambda: "known already" in listening.words(), "the repeats are told")
    assert listening.stop() == 0
    assert "Stopped." in listening.words()
    assert_exactly(batch, readings)
    assert MeterLog.objects.count() < 60, "messages of a while are one packet"


def test_a_broker_that_stops_and_starts_in_the_middle_loses_nothing(
    plant: SmallPlant,
    batch: Batch,
    meter: Meter,
    broker: Broker,
    listening: Listening,
    publishing: PublishingMeter,
) -> None:
    readings = falling(plant.now, 200)
    listening.start()
    listening.until_it_listens()
    sender = threading.Thread(target=publishing.publish, args=(single(readings),), kwargs={"pause_s": 0.01})
    sender.start()
    until(lambda: kept() > 20, lambda: f"the stream has begun\n{listening.words()}")
    broker.stop()
    time.sleep(1.0)
    broker.start()
    sender.join()
    until(all_of(200), lambda: f"all readings are kept\n{listening.words()}")
    assert listening.stop() == 0
    assert "The broker is gone" in listening.words()
    assert_exactly(batch, readings)


def test_a_broker_that_is_killed_costs_nothing_that_the_meter_sends_again(
    plant: SmallPlant,
    batch: Batch,
    meter: Meter,
    broker: Broker,
    listening: Listening,
    publishing: PublishingMeter,
) -> None:
    """A broker killed where it stands may lose what it had not written; a meter that sends its last minutes again makes it whole."""
    readings = falling(plant.now, 200)
    listening.start()
    listening.until_it_listens()
    publishing.publish(single(readings[:120]))
    broker.kill()
    time.sleep(0.5)
    broker.start()
    publishing.publish(single(readings[60:]))
    until(all_of(200), lambda: f"all readings are kept\n{listening.words()}")
    assert listening.stop() == 0
    assert_exactly(batch, readings)


def test_a_listener_that_is_killed_again_and_again_loses_and_doubles_nothing(
    plant: SmallPlant, batch: Batch, meter: Meter, listening: Listening, publishing: PublishingMeter
) -> None:
    readings = falling(plant.now, 400)
    listening.start(every_s=0.1)
    listening.until_it_listens()
    sender = threading.Thread(target=publishing.publish, args=(single(readings),), kwargs={"pause_s": 0.02})
    sender.start()
    for mark in (40, 150, 260):
        until(all_of(mark), lambda: f"the stream goes on\n{listening.words()}")
        listening.kill()
        listening.start(every_s=0.1)
    sender.join()
    until(all_of(400), lambda: f"all readings are kept\n{listening.words()}")
    assert listening.stop() == 0
    with opened(listening.folder) as spool:
        assert spool.count_waiting() == 0 and spool.refused() == []
    assert_exactly(batch, readings)


def test_what_the_broker_keeps_while_nobody_listens_comes_when_somebody_does(
    plant: SmallPlant,
    batch: Batch,
    meter: Meter,
    broker: Broker,
    listening: Listening,
    publishing: PublishingMeter,
) -> None:
    readings = falling(plant.now, 100)
    listening.start()
    listening.until_it_listens()
    assert listening.stop() == 0
    publishing.publish(single(readings))
    broker.stop()
    broker.start()
    assert kept() == 0
    listening.start()
    until(all_of(100), lambda: f"all readings are kept\n{listening.words()}")
    assert listening.stop() == 0
    assert_exactly(batch, readings)


def test_it_spools_without_the_database_and_goes_on_later(
    plant: SmallPlant,
    batch: Batch,
    meter: Meter,
    broker: Broker,
    listening: Listening,
    publishing: PublishingMeter,
) -> None:
    listening.start()
    listening.until_it_listens()
    assert listening.stop() == 0
    away = Listening(
        listening.folder, broker, database="postgresql://nobody@127.0.0.1:9/nothing?connect_timeout=1"
    )
    away.forget_words()
    away.start()
    try:
        away.until_it_listens()
        readings = falling(plant.now, 50)
        publishing.publish(single(readings))
        until(lambda: "messages wait in the spool" in away.words(), "it says that messages wait")
    finally:
        assert away.stop() == 0
    with opened(listening.folder) as spool:
        assert spool.count_waiting() == 50
    listening.start()
    until(all_of(50), lambda: f"all readings are kept\n{listening.words()}")
    assert listening.stop() == 0
    assert_exactly(batch, readings)


def test_refused_messages_are_listed_with_their_reason_and_can_be_tried_again(
    plant: SmallPlant, batch: Batch, meter: Meter, listening: Listening, publishing: PublishingMeter
) -> None:
    listening.start()
    listening.until_it_listens()
    publishing.publish(
        [
            "no JSON",
            message([reading(plant.now - timedelta(hours=2))]),
            message([reading(timezone.now() + timedelta(hours=2))]),
        ]
    )
    until(
        lambda: "3 messages refused" in listening.words() or listening.words().count("refused.") >= 2,
        listening.words(),
    )
    with opened(listening.folder) as spool:
        until(lambda: len(spool.refused()) == 3, "three are refused")
    assert listening.stop() == 0
    told = listening.told("--show-refused")
    assert "0 messages wait, 3 were refused." in told
    for words in (
        "not_readable",
        "before_rinse",
        "clock_ahead",
        "rinse/a1/outlet",
        "This is no JSON text",
        "'no JSON'",
    ):
        assert words in told, words
    assert "3 messages wait to be taken once more." in listening.told("--try-again")
    assert "3 messages wait, 0 were refused." in listening.told("--show-refused")


def test_a_topic_that_changes_is_followed_while_it_listens(
    plant: SmallPlant,
    batch: Batch,
    meter: Meter,
    broker: Broker,
    listening: Listening,
    publishing: PublishingMeter,
) -> None:
    listening.start()
    listening.until_it_listens()
    change_meter_feed(
        by=plant.by("supervisor"),
        feed_id=meter.feed.pk,
        name="Outlet",
        vessel_id=batch.vessel_id,
        topic="rinse/a1/other",
    )
    until(
        lambda: "rinse/a1/other" in listening.words(), lambda: f"the topic is followed\n{listening.words()}"
    )
    PublishingMeter(broker, "rinse/a1/other").publish(single(falling(plant.now, 10)))
    until(all_of(10), lambda: f"all readings are kept\n{listening.words()}")
    publishing.publish(single(falling(plant.now + timedelta(minutes=1), 10)))  # the old topic: nobody listens
    time.sleep(1.0)
    assert listening.stop() == 0
    assert kept() == 10


def test_wrong_credentials_end_it_with_a_sentence_and_no_password(
    listening: Listening, broker: Broker
) -> None:
    done = subprocess.run(
        listening.command("--broker", f"127.0.0.1:{broker.port}"), cwd=".", env=listening.environ(password="wrong words"),
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "lets nobody in as “plant”" in done.stderr and "REGENPLANT_MQTT_PASSWORD" in done.stderr
    assert "wrong words" not in done.stdout + done.stderr and "Traceback" not in done.stderr


def test_a_second_listener_is_refused(listening: Listening) -> None:
    listening.start()
    listening.until_it_listens()
    assert "Another listener works with the spool" in listening.told("--broker", "127.0.0.1:1")
    assert listening.stop() == 0


def test_it_waits_for_a_broker_that_is_not_there_yet_and_stops_when_told(
    broker: Broker, listening: Listening
) -> None:
    broker.stop()
    listening.start()
    until(lambda: "does not answer" in listening.words(), "it says that the broker is away")
    broker.start()
    listening.until_it_listens()
    assert listening.stop() == 0


def test_messages_a_second(
    plant: SmallPlant, batch: Batch, meter: Meter, listening: Listening, publishing: PublishingMeter
) -> None:
    """How fast messages of one reading become safe and kept; the figure stands in DEVELOPERS.md."""
    count = 2_000
    texts = [json.dumps(one) for one in single(falling(plant.now, count))]
    listening.start()
    listening.until_it_listens()
    began = time.monotonic()
    publishing.publish(texts)
    until(all_of(count), lambda: f"all readings are kept\n{listening.words()}")
    took_s = time.monotonic() - began
    assert listening.stop() == 0
    log.warning("%s messages in %.1f s: %.0f a second", count, took_s, count / took_s)
    assert kept() == count and count / took_s > 20, "a meter sends one a second"
