"""A tank of acid, ready for deliveries."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from regenplant.audit.by import By
from regenplant.chemicals import services
from regenplant.chemicals.models import ChemicalLot, Place
from regenplant.people.models import Person
from regenplant.plant.services import ProfileSettings, save_profile

Acts = Callable[..., By]


@pytest.fixture
def tank(supervisor: Person, by: Acts) -> Place:
    save_profile(by=by(supervisor), profile=ProfileSettings(name="Test plant"))
    return services.add_place(
        by=by(supervisor), code="T-HCL", name="Acid tank", kind="bulk_tank", chemical="hcl", capacity_m3=12.0,
        low_stock_grams_100=800_000,
    ).result  # fmt: skip


@pytest.fixture
def delivered(tank: Place, operator: Person, by: Acts) -> ChemicalLot:
    """3 000 kg as 100 %, not checked yet."""
    return services.receive_delivery(
        by=by(operator),
        code="A-117",
        chemical="hcl",
        certificate_strength_frac=0.32,
        place_id=tank.pk,
        grams_100=3_000_000,
        is_packaged=True,
    ).result


@pytest.fixture
def in_use(delivered: ChemicalLot, qc_technician: Person, by: Acts) -> ChemicalLot:
    services.check_strength(
        by=by(qc_technician), lot_id=delivered.pk, temperature_kelvin=293.15, value_as_typed="1159", unit_as_typed="kg/m3",
        density_kg_per_m3=1159.0,
    )  # fmt: skip
    return services.put_lot_in_use(by=by(qc_technician), lot_id=delivered.pk).result
