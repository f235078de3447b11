"""A rinse that runs, a meter with a topic there, and a real broker."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from regenplant.batches.models import Batch
from tests import factories
from tests.api.meters import Meter, meter_at
from tests.factories import SmallPlant
from tests.meters.broker import Broker, running
from tests.meters.listening import Listening, PublishingMeter

TOPIC = "rinse/a1/outlet"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(8))


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return factories.rinsing_batch(plant)


@pytest.fixture
def meter(plant: SmallPlant, batch: Batch) -> Meter:
    return meter_at(plant, "A1", topic=TOPIC)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with running(tmp_path / "broker") as found:
        yield found


@pytest.fixture
def listening(tmp_path: Path, broker: Broker) -> Iterator[Listening]:
    found = Listening(tmp_path / "plant", broker)
    yield found
    found.stop()


@pytest.fixture
def publishing(broker: Broker) -> PublishingMeter:
    return PublishingMeter(broker, TOPIC)
