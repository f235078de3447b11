"""The plant's records as a planning problem, and a plan of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
from django.core.management import CommandError, call_command

from regenplant.batches.frozen import plan_of
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.problem import RunningStage, Window
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import DEFAULTS, PlanningFigures, WorkingTime
from regenplant.planning.live import live_plant
from regenplant.plant import services as plant_services
from regenplant.plant.models import PlantProfile, Vessel
from tests import factories

NOW = factories.START + timedelta(hours=3)
ALWAYS = tuple(range(7))
ROUND_THE_CLOCK = PlanningFigures(
    working_times=(
        WorkingTime("all day", 0, 1440, operators=2, technicians=1, second_people=1, weekdays=ALWAYS),
    )
)


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def test_waiting_tanks_become_the_tanks_of_the_problem(plant: factories.SmallPlant) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", count=3)
    live = live_plant(NOW)
    assert {tank.id for tank in live.problem.tanks} == {visit.tank.serial for visit in visits}
    tank = next(one for one in live.problem.tanks if one.id == visits[0].tank.serial)
    assert tank.volume_l == pytest.approx(visits[0].resin_volume_m3 * 1000, abs=0.05)
    assert tank.family == visits[0].resin_type.code
    assert live.visits[tank.id] == visits[0]
    assert live.left_out == ()


def test_its_plan_keeps_every_limit_and_starts_now_or_later(plant: factories.SmallPlant) -> None:
    factories.accepted_tanks(plant, "sac_h", count=3)
    live = live_plant(NOW, ROUND_THE_CLOCK)
    answer = solve(live.problem, 1, Budget(steps=20))
    assert check(live.problem, answer.plan).is_feasible
    assert answer.unplaced == ()
    assert all(live.clock.moment(batch.start_min) >= NOW for batch in answer.plan.batches)


def test_a_dose_of_the_problem_is_that_of_the_batch_plan(plant: factories.SmallPlant) -> None:
    """Tanks planned as a batch take the kilograms that the frozen batch of the same tanks takes."""
    visits = factories.accepted_tanks(plant, "sac_h", count=3)
    live = live_plant(NOW)
    vessel = next(one for one in live.problem.vessels if visits[0].resin_type.code in one.families)
    stages = live.problem.vessel_recipes[vessel.id, visits[0].resin_type.code, "standard"]
    litres = sum(visit.resin_volume_m3 for visit in visits) * 1000
    planned_kg = sum(stage.dose_g_per_l for stage in stages if stage.chemical == "hcl") * litres / 1000
    batch = factories.frozen_batch(plant, "sac_h", visits)
    assert planned_kg == pytest.approx(plan_of(batch).totals["chemical_kg_100:hcl"].value, rel=1e-6)


def test_a_batch_that_is_ready_has_its_vessel_until_it_is_filled(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.accepted_tanks(plant, "sac_h", count=2)
    live = live_plant(NOW, ROUND_THE_CLOCK)
    (running,) = live.problem.running
    assert running.id == batch.number
    assert running.stages[0].start_min == live.clock.now_min
    vessel = next(one for one in live.problem.vessels if one.id == batch.vessel.code)
    filled = next(stage for stage in running.stages if stage.name == "fill tanks")
    assert vessel.ready_min == filled.end_min
    assert vessel.previous.family == batch.resin_type.code


def test_a_batch_under_way_takes_only_what_is_left(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    whole = stages_left()
    factories.run_to(plant, batch, StepKind.DISPLACE)
    left = stages_left()
    assert sum(stage.grams for stage in whole) > 0
    assert sum(stage.grams for stage in left) == 0
    assert [stage.name for stage in left] == [stage.name for stage in whole][-len(left) :]


def stages_left() -> tuple[RunningStage, ...]:
    (running,) = live_plant(NOW, ROUND_THE_CLOCK).problem.running
    return running.stages


def test_nothing_is_planned_into_a_vessel_that_is_locked_out(plant: factories.SmallPlant) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", count=2)
    code = next(
        one.id for one in live_plant(NOW).problem.vessels if visits[0].resin_type.code in one.families
    )
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"),
        vessel_id=Vessel.objects.get(code=code).pk,
        number="7",
        reason="Drain valve leaks",
    )
    live = live_plant(NOW, ROUND_THE_CLOCK)
    vessel = next(one for one in live.problem.vessels if one.id == code)
    assert vessel.closed == (Window(0, live.clock.end_min),)
    assert any("Drain valve leaks" in sentence for sentence in live.assumed)
    assert solve(live.problem, 1, Budget(steps=5)).unplaced


def test_without_a_waste_tank_nothing_is_planned(
    plant: factories.SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    factories.accepted_tanks(plant, "sac_h", count=2)
    monkeypatch.setattr("regenplant.plant.selectors.waste_tank", lambda: None)
    with pytest.raises(CommandError, match="No waste tank is set up"):
        call_command("plan_day", "--seconds", "0.2", stdout=StringIO())


def test_the_command_prints_the_plan_and_what_it_takes_for_granted(plant: factories.SmallPlant) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", count=2)
    out = StringIO()
    call_command("plan_day", "--seconds", "0.5", stdout=out)
    said = out.getvalue()
    assert "m³ are treated and discharged in a day" in said
    assert "1 batches; " in said or "2 batches; " in said or "Cannot be served" in said
    assert visits[0].tank.serial in said


def test_an_empty_plant_has_an_empty_plan(plant: factories.SmallPlant) -> None:
    live = live_plant(NOW)
    assert live.problem.tanks == ()
    assert solve(live.problem, 1, Budget(steps=5)).plan.batches == ()


# --- the clock ------------------------------------------------------------------------------------------------------------
def set_zone(name: str) -> None:
    PlantProfile.objects.update(time_zone=name)


def test_shifts_run_by_the_clock_at_the_plant(plant: factories.SmallPlant) -> None:
    set_zone("Pacific/Auckland")
    clock = PlanClock(NOW, 5, 3)
    times = (WorkingTime("early", 6 * 60, 14 * 60, 2, 1, 0, ALWAYS),)
    starts = [
        clock.moment(shift.start_min).astimezone(ZoneInfo("Pacific/Auckland"))
        for shift in clock.shifts(times, "operators")
    ]
    later = [start for start in starts if start > NOW + timedelta(minutes=5)]
    assert later
    assert {(start.hour, start.minute) for start in later} == {(6, 0)}
    assert clock.shifts(times, "second_people") == ()


def test_a_shift_past_midnight_ends_on_the_next_day(plant: factories.SmallPlant) -> None:
    set_zone("UTC")
    clock = PlanClock(NOW.replace(hour=3, minute=0), 5, 2)
    times = (WorkingTime("night", 22 * 60, 6 * 60, 1, 0, 0, ALWAYS),)
    shifts = clock.shifts(times, "operators")
    assert (shifts[0].start_min, shifts[0].end_min) == (180, 360)
    assert (shifts[1].start_min, shifts[1].end_min) == (22 * 60, 30 * 60)


def test_a_day_on_which_the_clock_changes_keeps_its_shifts(plant: factories.SmallPlant) -> None:
    """2026-10-25 has 25 hours in Berlin (IANA time zone database)."""
    set_zone("Europe/Berlin")
    clock = PlanClock(datetime(2026, 10, 25, 0, 30, tzinfo=UTC), 5, 2)
    times = (WorkingTime("early", 6 * 60, 14 * 60, 1, 0, 0, ALWAYS),)
    first, second = clock.shifts(times, "operators")
    assert first.start_min == 7 * 60
    assert second.start_min - first.start_min == 24 * 60
    assert clock.end_min == 49 * 60


def test_neighbouring_shifts_are_one_opening(plant: factories.SmallPlant) -> None:
    set_zone("UTC")
    clock = PlanClock(NOW.replace(hour=1, minute=0), 5, 1)
    everyday = tuple(
        WorkingTime(one.name, one.start_min, one.end_min, one.operators, 0, 0, ALWAYS)
        for one in DEFAULTS.working_times
    )
    assert clock.openings(everyday) == (Window(6 * 60, 22 * 60),)
