"""The coming two weeks: from the plan as long as it reaches, behind it from the record, each summed by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.from_plan import ATTENTION
from regenplant.planning import services
from regenplant.planning.coming import DAYS, ComingDays, coming_days
from regenplant.planning.figures import DEFAULTS
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.planning.selectors import shown
from regenplant.planning.usual_load import OPERATORS, TECHNICIANS, WASTE, Thing, ThingKind, usual_load
from regenplant.plant import services as plant_services
from regenplant.plant.days import plant_day
from regenplant.plant.models import Vessel
from tests import factories
from tests.planning.test_accepting import accepted, made, started


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def planned(plant: factories.SmallPlant) -> tuple[DayPlan, list[PlannedBatch]]:
    factories.accepted_tanks(plant, "sac_h", count=4)
    row = made(plant)
    return row, accepted(plant, row)


def asked(found: ComingDays, thing: Thing) -> float:
    return sum(day.asked[thing].asked for day in found.days if day.is_planned and thing in day.asked)


def test_without_plan_and_record_nothing_is_said_of_people_and_vessels(plant: factories.SmallPlant) -> None:
    found = coming_days(plant.now)
    assert len(found.days) == DAYS and found.days[0].day == plant_day(plant.now)
    assert found.is_empty
    assert (found.plan, found.planned_days, found.record_days) == ("", 0, 0)
    assert len(found.tanks) == 3, "the stocks stand there all the same"


def test_an_accepted_plan_is_summed_until_its_last_day(plant: factories.SmallPlant) -> None:
    """Hours of operators: each stage by its attention units, four of them a whole operator. By hand from the plan itself."""
    row, batches = planned(plant)
    view = shown(row)
    found = coming_days(plant.now)
    last = max(plant_day(one.ready_at) for one in batches)
    assert found.plan == row.number
    assert found.planned_days == (last - plant_day(plant.now)).days + 1
    assert [day.is_planned for day in found.days] == [number < found.planned_days for number in range(DAYS)]
    hands = technicians = inside = 0.0
    for batch in view.plan.batches:
        stages = view.problem.stages(batch.vessel, view.problem.tanks[0].key)
        assert stages is not None
        for stage, timed in zip(stages, batch.stages, strict=True):
            minutes = timed.end_min - timed.start_min
            hands += stage.attention / 4 * minutes / 60
            technicians += stage.technicians * minutes / 60
        filled = next(
            one.end_min for stage, one in zip(stages, batch.stages, strict=True) if stage.name == "fill tanks"
        )
        inside += (filled - batch.start_min) / 60
    assert hands > 0.0 and technicians > 0.0
    assert asked(found, OPERATORS) == pytest.approx(hands)
    assert asked(found, TECHNICIANS) == pytest.approx(technicians)
    assert asked(found, Thing(ThingKind.VESSEL, batches[0].vessel.code)) == pytest.approx(inside)
    assert asked(found, Thing(ThingKind.SKID, "hcl")) > 0.0 and asked(found, WASTE) > 0.0
    assert {hours for day in found.days for hours in day.overtime_h.values()} == {0.0}, "it keeps the shifts"


def test_what_is_there_are_the_working_hours_left_of_today_and_all_of_the_next_days(
    plant: factories.SmallPlant,
) -> None:
    """Monday 08:00 UTC, the plant's zone: early 06 to 14 and late 14 to 22, two operators each, a technician in the early one."""
    planned(plant)
    first = coming_days(plant.now).days[0]
    assert first.asked[OPERATORS].there == pytest.approx((22 - 8) * 2)
    assert first.asked[TECHNICIANS].there == pytest.approx(14 - 8)
    assert first.asked[Thing(ThingKind.VESSEL, "C1")].there == pytest.approx(24 - 8)


def test_a_plan_that_should_have_begun_counts_from_now_and_a_started_batch_with_what_is_left(
    plant: factories.SmallPlant,
) -> None:
    _, batches = planned(plant)
    before = coming_days(plant.now)
    plant.now = batches[0].starts_at + timedelta(days=1)
    late = coming_days(plant.now)
    assert asked(late, OPERATORS) == pytest.approx(asked(before, OPERATORS))
    started(plant, batches[0])
    after = coming_days(plant.now)
    assert (after.plan, after.planned_days) == ("", 0), "nothing of the plan waits"


def test_hours_outside_of_the_working_times_are_overtime(plant: factories.SmallPlant) -> None:
    """The plan was made for two shifts; then the plant records that nobody works any more but an hour on Mondays."""
    planned(plant)
    wanted = asked(coming_days(plant.now), OPERATORS)
    (early, _) = DEFAULTS.working_times
    hour = replace(early, start_min=6 * 60, end_min=7 * 60, weekdays=(0,))
    services.record_figures(
        by=plant.by("planner"),
        figures=replace(DEFAULTS, working_times=(hour,)),
        reason="Nobody is left to work.",
    )
    over = sum(day.overtime_h[OPERATORS] for day in coming_days(plant.now).days if day.is_planned)
    assert over == pytest.approx(wanted)


def test_a_vessel_that_is_locked_out_has_no_hours(plant: factories.SmallPlant) -> None:
    planned(plant)
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"),
        vessel_id=Vessel.objects.get(code="A1").pk,
        number="7",
        reason="Drain valve leaks",
    )
    found = coming_days(plant.now).days[0].asked[Thing(ThingKind.VESSEL, "A1")]
    assert found.there == 0.0 and found.share_frac is None


# --- the record -----------------------------------------------------------------------------------------------------------
def two_batches(plant: factories.SmallPlant) -> Batch:
    """One on the first day, whose day is no whole one, and one on the next; seen nine days after the first."""
    begin = plant.now
    factories.filled_batch(plant, "sac_h")
    plant.now = begin + timedelta(days=1)
    second = factories.filled_batch(plant, "sac_h")
    plant.now = begin + timedelta(days=9)
    return second


def test_the_usual_load_is_that_of_the_whole_days_on_record(plant: factories.SmallPlant) -> None:
    """Eight whole days with one batch. By hand: its steps by their attention, its tanks and itself by the filling times, its judging."""
    batch = two_batches(plant)
    found = usual_load(plant.now, DEFAULTS)
    assert found.days == 8
    hands_min = 0.0
    for step in StepRun.objects.filter(batch=batch, finished_at__isnull=False):
        assert step.started_at is not None and step.finished_at is not None
        minutes = (step.finished_at - step.started_at).total_seconds() / 60
        hands_min += (
            min(minutes, 2 * step.planned_duration_s / 60) * ATTENTION.get(StepKind(step.kind), 0) / 4
        )
    tanks = batch.tank_links.filter(filled_at__isnull=False).count()
    hands_min += tanks * DEFAULTS.hands.filling_per_tank_min + DEFAULTS.hands.filling_min
    usual = found.of(OPERATORS, 3)
    assert usual is not None and usual.mean * 8 == pytest.approx(hands_min, rel=1e-6)
    judged = found.of(TECHNICIANS, 0)
    assert judged is not None and judged.mean * 8 == pytest.approx(DEFAULTS.hands.judging_min)
    assert found.of(Thing(ThingKind.VESSEL, batch.vessel.code), 0) is not None
    assert found.of(Thing(ThingKind.VESSEL, "A1"), 0) is None


def test_days_without_a_plan_are_those_of_the_record_and_say_so(plant: factories.SmallPlant) -> None:
    two_batches(plant)
    found = coming_days(plant.now)
    assert (found.plan, found.planned_days, found.record_days) == ("", 0, 8)
    assert not found.is_empty and not any(day.is_planned for day in found.days)
    weekend = [day for day in found.days if day.day.weekday() >= 5]
    assert all(day.asked[OPERATORS].there == 0.0 for day in weekend)
    assert all(day.overtime_h[OPERATORS] == day.asked[OPERATORS].asked > 0.0 for day in weekend)
    assert all(day.overtime_h[OPERATORS] == 0.0 for day in found.days if day not in weekend)
    assert all(day.spread[OPERATORS] > 0.0 for day in found.days)


def test_a_record_shorter_than_a_week_says_nothing(plant: factories.SmallPlant) -> None:
    two_batches(plant)
    plant.now -= timedelta(days=3)
    assert usual_load(plant.now, DEFAULTS).week == {}
    assert coming_days(plant.now).is_empty
