"""A small plant with a permit, and a discharge brought as far as a test wants it."""

from __future__ import annotations

from typing import Any

from regenplant.core.process.discharge import PermitContent
from regenplant.plant import services as plant_services
from regenplant.plant.models import WasteTank
from regenplant.waste import services
from regenplant.waste.models import Discharge, DischargeReading
from tests import factories
from tests.factories import SmallPlant
from tests.plant.tables import without_sewer

ANALYSIS = {"chloride": 20.0, "sodium": 12.0, "sulfate": 1.5, "tds": 36.0}
"""What a laboratory found in the tank [kg/m^3]."""


def plant_with_permit(**change: Any) -> SmallPlant:
    plant = factories.small_plant()
    permitted(plant, **change)
    return plant


def permitted(plant: SmallPlant, **change: Any) -> None:
    """A permit that another person approved."""
    content = PermitContent(
        **{"number": "Demo 7", "expires_on": "2030-06-30", "ph_low": 5.5, "ph_high": 9.0, **change}
    )
    draft = plant_services.draft_permit(
        by=plant.by("supervisor"), content=content, reason="as the paper says"
    ).result
    other = plant.by("supervisor 2")
    plant_services.approve_permit(by=other, version_id=draft.pk, permit=factories.approval(other, draft))


def with_own_drains(plant: SmallPlant) -> None:
    """A class table of the plant's own, stricter in one cell, that another person approved."""
    draft = plant_services.draft_drain_table(
        by=plant.by("supervisor"), table=without_sewer(), reason="Letter of the sewer office"
    ).result
    other = plant.by("supervisor 2")
    plant_services.approve_drain_table(by=other, version_id=draft.pk, permit=factories.approval(other, draft))


def opened(plant: SmallPlant, volume_m3: float = 1.0) -> Discharge:
    tank = WasteTank.objects.get(code="N1")
    return services.open_discharge(by=plant.by(), tank_id=tank.pk, planned_volume_m3=volume_m3).result


def read(
    plant: SmallPlant,
    row: Discharge,
    ph: float,
    *,
    celsius: float = 24.0,
    who: str = "operator",
    meter: str = "PH",
    **by: Any,
) -> DischargeReading:
    reading = services.ReadingAsRead(ph, celsius + 273.15, f"{ph:g}", f"{celsius:g} °C")
    acting = plant.by(who)
    if "taken_at" in by:
        acting = acting.happening_at(by["taken_at"])
    return services.record_reading(
        by=acting, discharge_id=row.pk, reading=reading, instrument_id=plant.instruments[meter].pk
    ).result


def proven(plant: SmallPlant, volume_m3: float = 1.0) -> Discharge:
    """Mixed for a quarter of an hour and read twice, ten minutes apart."""
    row = opened(plant, volume_m3)
    plant.forward(minutes=15)
    read(plant, row, 7.1)
    plant.forward(minutes=10)
    read(plant, row, 7.2)
    return row


def release(plant: SmallPlant, row: Discharge, *, who: str = "supervisor", **more: Any) -> Discharge:
    given = {"measured_kg_per_m3": ANALYSIS, **more}
    return services.release_discharge(
        by=plant.by(who),
        discharge_id=row.pk,
        permit=factories.permit(plant, who, services.RELEASE_MEANING),
        **given,
    ).result


def discharged(plant: SmallPlant, volume_m3: float = 1.0) -> Discharge:
    row = release(plant, proven(plant, volume_m3))
    plant.forward(minutes=20)
    return services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=volume_m3).result
