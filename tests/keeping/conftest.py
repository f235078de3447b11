"""One eventful batch for all tests of this folder; its copy is made once, as the bytes do not depend on any database."""

from __future__ import annotations

import pytest

from regenplant.batches.models import Batch
from tests import factories
from tests.keeping import scene

_COPY: list[bytes] = []


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def batch(plant: factories.SmallPlant) -> Batch:
    return scene.eventful_batch(plant)


@pytest.fixture
def ready(plant: factories.SmallPlant) -> Batch:
    """A batch of three tanks that waits for its start."""
    return factories.frozen_batch(plant, "sac_h")


@pytest.fixture
def copy_bytes(db: None, request: pytest.FixtureRequest) -> bytes:
    """The ZIP of the eventful batch's copy."""
    if not _COPY:
        plant, batch = request.getfixturevalue("plant"), request.getfixturevalue("batch")
        _COPY.append(scene.copied(plant, batch).content)
    return _COPY[0]


@pytest.fixture
def opened(copy_bytes: bytes) -> scene.Opened:
    return scene.opened(copy_bytes)
