"""A batch with a metal flag, for the tests."""

from __future__ import annotations

from regenplant.batches.models import Batch
from regenplant.core.process.intake import (
    FittingCondition,
    InspectionData,
    Odour,
    OxidizerStrip,
    ShellCondition,
    WaterColour,
)
from regenplant.tanks import services as tanks
from tests import factories
from tests.factories import SmallPlant


def flagged_batch(plant: SmallPlant) -> Batch:
    """Tanks that the safety lead accepted by disposition although their service names a metal."""
    assert plant.size is not None
    customer = tanks.add_customer(
        by=plant.by("planner"), code="RINSE", name="Lantern Plating Test Bench", declared_service="Rinse water of copper plating",
    ).result  # fmt: skip
    visits = []
    for _ in range(3):
        made = tanks.add_tank(
            by=plant.by("planner"), size_id=plant.size.pk, resin_type_id=plant.types["sac_h"].pk, segregation_class="D"
        ).result  # fmt: skip
        visit = tanks.receive_tank(
            by=plant.by(), tank_id=made.pk, customer_id=customer.pk, return_reason="exhausted"
        ).result
        seen = InspectionData(
            ShellCondition.SOUND, FittingCondition.SOUND, Odour.NONE, WaterColour.CLEAR, OxidizerStrip.NONE, 7.0, "7"
        )  # fmt: skip
        tanks.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen)
        visit.refresh_from_db()
        tanks.accept_tank(
            by=plant.by("safety"), visit_id=visit.pk, segregation_class="D", version=visit.version,
            reason="Disposition: tested, traces of copper only, drums are ready.",
        )  # fmt: skip
        visit.refresh_from_db()
        visits.append(visit)
    return factories.frozen_batch(plant, "sac_h", visits)
