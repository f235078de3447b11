"""Deliveries that were unlocked, for the tests of weigh tickets."""

from __future__ import annotations

from typing import Any

from regenplant.chemicals import services
from regenplant.chemicals.models import Place, Unloading, WeighTicket
from regenplant.chemicals.services import UNLOCK_MEANING, Papers
from tests import factories
from tests.factories import SmallPlant

DENSITY_32 = 1159.0
"""Hydrochloric acid of 32 % by weight at 20 °C, kg/m³: hydrochloric acid property table, read (as in test_lots)."""
VOLUME_M3 = 1.078
NET_KG = 1249.4
"""1.078 m³ · 1159 kg/m³ = 1249.4 kg; 400 kg as 100 % / 0.32 = 1250 kg by the papers: hand calculation."""


def unlocked(plant: SmallPlant, code: str = "B-HCL", lot: str = "A-118") -> Unloading:
    """400 kg of acid as 100 % at 32 %, opened, sampled, scanned and unlocked."""
    place = Place.objects.get(code=code)
    if not place.connection_code:
        services.set_fill_connection(
            by=plant.by("supervisor"), place_id=place.pk, connection_code=f"FILL-{code}", un_number="UN1789", ullage_margin_m3=0.1
        )  # fmt: skip
    papers = Papers("4711 / 2", "hcl", "UN1789", lot, "S-90", 0.32, 400_000, place.pk)
    row: Unloading = services.open_unloading(by=plant.by(), papers=papers).result
    assert row.alarm == ""
    services.check_sample(
        by=plant.by(), unloading_id=row.pk, density_kg_per_m3=DENSITY_32, temperature_kelvin=293.15, value_as_typed="1159",
        unit_as_typed="kg/m3",
    )  # fmt: skip
    services.confirm_connection(by=plant.by("operator 2"), unloading_id=row.pk, scanned=f"FILL-{code}")
    services.unlock(
        by=plant.by(), unloading_id=row.pk, permit=factories.permit(plant, "operator", UNLOCK_MEANING)
    )
    row.refresh_from_db()
    return row


def ticket(plant: SmallPlant, row: Unloading, net_kg: float = NET_KG, **more: Any) -> WeighTicket:
    """Written by the operator."""
    arguments: dict[str, Any] = {
        "paper_number": "W-7", "net_as_typed": f"{net_kg:g} kg", "volume_m3": VOLUME_M3, "volume_as_typed": "1.078 m3", **more,
    }  # fmt: skip
    found: WeighTicket = services.write_weigh_ticket(
        by=plant.by(), unloading_id=row.pk, net_kg=net_kg, **arguments
    ).result
    return found
