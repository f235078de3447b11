"""A small plant whose anion batch rinses in A1, and a meter there."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from regenplant.batches.models import Batch
from regenplant.web.api.tokens import tries
from tests import factories
from tests.api.meters import Meter, meter_at
from tests.factories import SmallPlant


@pytest.fixture(autouse=True)
def no_tries() -> Iterator[None]:
    """Wrong tokens of other tests are not counted here."""
    tries.forget()
    yield
    tries.forget()


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(8))


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return factories.rinsing_batch(plant)


@pytest.fixture
def meter(plant: SmallPlant, batch: Batch) -> Meter:
    return meter_at(plant, "A1")
