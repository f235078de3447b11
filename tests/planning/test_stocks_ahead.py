"""The forecast of each tank with the accepted plan: its draws on their days, at the tank they come from."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.batches.frozen import plan_of
from regenplant.planning.models import PlannedBatch
from regenplant.planning.stocks_ahead import TankAhead, stocks_ahead
from regenplant.plant.days import plant_day
from tests import factories
from tests.planning.test_accepting import accepted, made, started

STOCK_KG = 3_000.0


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def acid(plant: factories.SmallPlant) -> TankAhead:
    (found,) = [tank for tank in stocks_ahead(plant.now) if tank.place.chemical == "hcl"]
    return found


def planned(plant: factories.SmallPlant) -> PlannedBatch:
    factories.accepted_tanks(plant, "sac_h", count=4)
    (row,) = accepted(plant, made(plant))
    return row


def test_without_a_plan_only_open_batches_draw(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    need = plan_of(batch).totals["chemical_kg_100:hcl"].value
    found = acid(plant)
    assert (found.plan, found.forecast.course) == ("", None)
    assert found.forecast.planned_kg == pytest.approx(need)
    assert found.forecast.level_kg(3) == pytest.approx(STOCK_KG - need)


def test_what_an_accepted_plan_draws_counts_until_its_batch_is_started(plant: factories.SmallPlant) -> None:
    row = planned(plant)
    found = acid(plant)
    course = found.forecast.course
    assert course is not None and found.plan == row.acceptance.number
    assert course.reach_day == (plant_day(row.ready_at) - plant_day(plant.now)).days
    drawn = course.until(course.reach_day)
    assert drawn > 0.0 and found.forecast.planned_kg == 0.0
    assert found.forecast.level_kg(course.reach_day) == pytest.approx(STOCK_KG - drawn)
    plant.now = row.starts_at
    batch = started(plant, row)
    now = acid(plant)
    assert (now.plan, now.forecast.course) == ("", None), "the started batch is an open one"
    assert now.forecast.planned_kg == pytest.approx(plan_of(batch).totals["chemical_kg_100:hcl"].value)
    assert now.forecast.planned_kg == pytest.approx(drawn, rel=1e-3)


def test_a_start_that_is_overdue_draws_today(plant: factories.SmallPlant) -> None:
    row = planned(plant)
    plant.now = row.ready_at + timedelta(days=3)
    course = acid(plant).forecast.course
    assert course is not None and course.reach_day == 0
    assert [day for day, _ in course.draws] == [0]


def test_tanks_of_other_chemicals_have_a_plan_that_draws_nothing(plant: factories.SmallPlant) -> None:
    row = planned(plant)
    others = [tank for tank in stocks_ahead(plant.now) if tank.place.chemical != "hcl"]
    assert others and all(tank.plan == row.acceptance.number for tank in others)
    assert {tank.forecast.course.until(99) for tank in others if tank.forecast.course} == {0.0}
