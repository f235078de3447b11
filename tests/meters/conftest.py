"""A rinse that runs, a meter with a topic there, and a real broker."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from regenplant.batches.models import Batch
from tests import factories
from tests.api.meters import Meter, meter_at, rinsing_batch
from tests.factories import SmallPlant
from tests.meters.broker import Broker, needed
from tests.meters.listening import Listening, PublishingMeter

TOPIC = "rinse/a1/outlet"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(8))


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return rinsing_batch(plant)


@pytest.fixture
def meter(plant: SmallPlant, batch: Batch) -> Meter:
    return meter_at(plant, "A1", topic=TOPIC)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    needed()
    folder = tmp_path / "broker"
    folder.mkdir()
    found = Broker(folder)
    found.start()
    yield found
    found.stop()


@pytest.fixture
def listening(tmp_path: Path, broker: Broker) -> Iterator[Listening]:
    folder = tmp_path / "plant"
    folder.mkdir()
    found = Listening(folder, broker)
    yield found
    found.stop()


@pytest.fixture
def publishing(broker: Broker) -> PublishingMeter:
    return PublishingMeter(broker, TOPIC)
