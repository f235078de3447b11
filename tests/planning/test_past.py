"""Days that are over, planned again: the problem is what the record says, the plan never weighs worse than the whiteboard, and the
command prints both.
"""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.first_come import first_come
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.planning.figures import DEFAULTS
from regenplant.planning.first_come import way_of
from regenplant.planning.past import past_days
from regenplant.tanks.models import TankVisit
from tests import factories
from tests.factories import START, SmallPlant

FIRST = START.date()


@pytest.fixture
def plant(db: None) -> SmallPlant:
    """Three batches on one day: two of cation resin of four and two tanks, one of anion resin."""
    plant = factories.small_plant()
    for family, count in (("sac_h", 4), ("sba_1", 3)):
        factories.frozen_batch(plant, family, factories.accepted_tanks(plant, family, count=count))
    return plant


def test_the_problem_is_what_the_record_says(plant: SmallPlant) -> None:
    past = past_days(FIRST, 1, DEFAULTS)
    assert past.batches == 2
    visits = {visit.number: visit for visit in TankVisit.objects.all()}
    assert set(past.order) == set(visits) == {tank.id for tank in past.problem.tanks}
    for tank in past.problem.tanks:
        assert tank.volume_l == pytest.approx(1000 * visits[tank.id].resin_volume_m3, abs=0.05)
        assert tank.family == visits[tank.id].resin_type.code
    for row in Batch.objects.select_related("vessel", "resin_type"):
        stages = past.problem.vessel_recipes[row.vessel.code, row.resin_type.code, "standard"]
        grams = sum(stage.dose_g_per_l for stage in stages) * row.resin_volume_m3 * 1000
        planned = sum(
            step.value("chemical_kg_100") for step in plan_of(row).steps if "chemical_kg_100" in step.figures
        )
        assert grams == pytest.approx(1000 * planned)


def test_a_plan_of_it_keeps_every_limit_and_weighs_no_more_than_first_come(plant: SmallPlant) -> None:
    past = past_days(FIRST, 1, DEFAULTS)
    plan = solve(past.problem, 1, Budget(steps=40)).plan
    whiteboard = first_come(past.problem, past.order)
    assert check(past.problem, plan).is_feasible
    assert check(past.problem, whiteboard).is_feasible
    before, after = way_of(past.problem, whiteboard), way_of(past.problem, plan)
    assert after.totals.score <= before.totals.score
    assert after.on_time >= before.on_time
    assert sum(after.totals.chemicals_kg.values()) <= sum(before.totals.chemicals_kg.values()) + 1e-9
    assert after.totals.water_m3 <= before.totals.water_m3 + 1e-9


def test_the_hours_of_people_are_those_of_the_stages(plant: SmallPlant) -> None:
    """Counted again from the stages of the plan as they are timed."""
    past = past_days(FIRST, 1, DEFAULTS)
    plan = first_come(past.problem, past.order)
    family = {tank.id: tank.family for tank in past.problem.tanks}
    hours = {"attention": 0.0, "technicians": 0.0}
    for batch in plan.batches:
        stages = past.problem.vessel_recipes.get((batch.vessel, family[batch.tanks[0]], "standard"))
        assert stages is not None
        for timed, stage in zip(batch.stages, stages, strict=True):
            hours["attention"] += stage.attention / 4 * (timed.end_min - timed.start_min) / 60
            hours["technicians"] += stage.technicians * (timed.end_min - timed.start_min) / 60
    way = way_of(past.problem, plan)
    assert (way.operator_h, way.technician_h) == (
        pytest.approx(hours["attention"]),
        pytest.approx(hours["technicians"]),
    )


def test_the_command_prints_both_ways_and_writes_nothing(plant: SmallPlant) -> None:
    before = Batch.objects.count(), TankVisit.objects.count()
    out = StringIO()
    call_command("plan_past", "--from", FIRST.isoformat(), "--days", "1", "--steps", "20", stdout=out)
    said = out.getvalue()
    assert "2 batches were begun, of 7 tanks." in said
    past = past_days(FIRST, 1, DEFAULTS)
    way = way_of(past.problem, first_come(past.problem, past.order))
    (line,) = [one for one in said.splitlines() if one.startswith("water")]
    assert line.split()[2] == f"{way.totals.water_m3:.1f}"
    assert (Batch.objects.count(), TankVisit.objects.count()) == before


def test_what_cannot_be_looked_at_is_refused(plant: SmallPlant) -> None:
    with pytest.raises(OutOfRange, match="From 1 to 14 days"):
        past_days(FIRST, 15, DEFAULTS)
    with pytest.raises(RecordRefused, match="No batch was begun"):
        past_days(FIRST - timedelta(days=30), 5, DEFAULTS)
    with pytest.raises(CommandError, match="is no day such as"):
        call_command("plan_past", "--from", "yesterday")
    with pytest.raises(CommandError, match="From 1 to 14 days"):
        call_command("plan_past", "--from", FIRST.isoformat(), "--days", "0")
