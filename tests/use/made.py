"""Batches that took more or less than planned, and the audit worked out once more from raw rows, without the program's own readers."""

from __future__ import annotations

from collections import defaultdict
from datetime import date

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.chemicals.models import Movement
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.selectors import plant_day
from regenplant.tanks.models import TankVisit
from regenplant.use.selectors import By, Question
from tests import factories
from tests.factories import SmallPlant


def injected(
    plant: SmallPlant, family: str, factor: float = 1.0, visits: list[TankVisit] | None = None
) -> Batch:
    """A batch after its injection, for which ``factor`` of the planned stock was drawn by tank level."""
    batch = factories.frozen_batch(plant, family, visits)
    step = factories.run_to(plant, batch, StepKind.INJECT)
    planned = plan_of(batch).step(step.number)
    factories.write_required(plant, step, is_before=False)
    if factor != 1.0:
        drawn = planned.value("stock_m3") * 1000 * factor
        batch_services.write_entry(
            by=plant.by(),
            step_id=step.pk,
            key="stock_drawn",
            text=f"{drawn:.4f} L",
            again=f"{drawn:.4f} L",
            outside_is_true=True,
        )
    plant.forward(minutes=step.planned_duration_s / 60)
    batch_services.finish_step(by=plant.by(), step_id=step.pk)
    batch.refresh_from_db()
    return batch


def passed(plant: SmallPlant, family: str, factor: float = 1.0) -> Batch:
    """The same, run to its end, passed and filled, so that its vessel is free again."""
    from regenplant.tanks import services as tank_services

    batch = factories.pass_batch(plant, injected(plant, family, factor))
    for link in batch.tank_links.select_related("visit"):
        tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(
            by=plant.by(),
            batch_id=batch.pk,
            visit_id=link.visit_id,
            volume_m3=link.visit.resin_volume_m3,
        )
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()
    return batch


def whole(plant: SmallPlant, by: By = By.FAMILY, **narrow: str) -> Question:
    """A year up to the plant's day."""
    last = plant_day(plant.now)
    return Question(date(last.year - 1, last.month, 1), last, by, **narrow)


def ledger_grams() -> dict[str, int]:
    """Net grams in the place of batches by chemical, from the movements themselves."""
    found: dict[str, int] = defaultdict(int)
    for row in Movement.objects.values("chemical", "grams_100", "from_place__kind", "to_place__kind"):
        found[row["chemical"]] += row["grams_100"] * (
            (row["to_place__kind"] == "batch") - (row["from_place__kind"] == "batch")
        )
    return {chemical: grams for chemical, grams in found.items() if grams}
