"""A small plant whose people report, answer and test."""

from __future__ import annotations

import pytest

from regenplant.plant.services import ProfileSettings, save_profile
from regenplant.safety.models import NearMiss, WashStation
from regenplant.safety.services import report_near_miss, save_wash_station
from tests import factories
from tests.factories import SmallPlant


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.tank_plant()
    save_profile(by=plant.by("supervisor"), profile=ProfileSettings(name="Test plant"))
    return plant


@pytest.fixture
def told(plant: SmallPlant) -> NearMiss:
    """Told by the operator."""
    row: NearMiss = report_near_miss(
        by=plant.by("operator"),
        kind="release",
        what="The hose jumped off the nipple while water ran through it.",
        spot="Unloading door",
        about="b-hcl",
        done_at_once="Valve shut, hose hung up.",
        told_by="Driver of the truck",
    ).result
    return row


@pytest.fixture
def stations(plant: SmallPlant) -> list[WashStation]:
    return [
        save_wash_station(by=plant.by("supervisor"), code=code, spot=spot, kind=kind).result
        for code, spot, kind in (("W1", "Between C1 and C2", "both"), ("W2", "Unloading door", "eyewash"))
    ]
