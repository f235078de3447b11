"""Plans count with tanks on their way and at the door; accepted, they are told when they do not come; started, they are the ones that came."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from django.utils import timezone

from regenplant.audit.verifying.registry import Look
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.scheduling.checker import check
from regenplant.planning import services
from regenplant.planning.deciding import work_out
from regenplant.planning.deviations import deviations
from regenplant.planning.figures import DEFAULTS
from regenplant.planning.members import members
from regenplant.planning.models import DayPlan, PlannedBatch, PlannedExpected
from regenplant.planning.selectors import PlanShown, planned_for, planned_for_expected, shown, waiting_batches
from regenplant.planning.verification import check_plans
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import ExpectedTank, TankVisit
from regenplant.web.areas.start import as_planned
from tests import factories
from tests.planning.test_accepting import made, started
from tests.tanks.test_expecting import away, expected

LOOK_OVER = timedelta(minutes=DEFAULTS.look_over_min)


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def coming(plant: factories.SmallPlant) -> list[ExpectedTank]:
    """One tank that waits and two that come in three hours."""
    factories.accepted_tanks(plant, "sac_h", count=1)
    return expected(plant, away(plant, 2), due_at=plant.now + timedelta(days=2))


def planned(plant: factories.SmallPlant) -> PlanShown:
    return shown(made(plant))


def received(plant: factories.SmallPlant, row: ExpectedTank, *, judged: bool = True) -> TankVisit:
    visit: TankVisit = tank_services.receive_tank(
        by=plant.by(), tank_id=row.tank_id, customer_id=row.customer_id, return_reason="exhausted"
    ).result
    if judged:
        visit = factories.accept_received(plant, visit)
    return visit


def accepted(plant: factories.SmallPlant) -> PlannedBatch:
    """The planned batch with the tanks that come."""
    view = planned(plant)
    services.accept_plan(by=plant.by("planner"), number=view.number)
    return next(row for row in waiting_batches() if any(one.expected for one in members(row)))


def sentences(now: datetime) -> list[str]:
    return [one.sentence for one in deviations(now)]


def test_no_batch_begins_before_its_tanks_are_at_the_door_and_looked_over(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    view = planned(plant)
    assert check(view.problem, view.plan).is_feasible
    serials = {row.tank.serial for row in coming}
    held = [one for one in view.plan.batches if serials & set(one.tanks)]
    assert serials <= {name for one in held for name in one.tanks}
    counts_from = coming[0].expected_at + LOOK_OVER
    assert all(view.clock.moment(one.start_min) >= counts_from for one in held)
    due = {tank.id: tank.due_min for tank in view.problem.tanks}
    assert {due[serial] for serial in serials} == {view.clock.minute(coming[0].due_at or plant.now)}
    assert any("on the way" in sentence for sentence in view.assumed)


@pytest.mark.parametrize("minutes", [0, 95])
def test_the_plant_says_how_long_a_tank_takes_from_the_door_to_being_accepted(
    plant: factories.SmallPlant, coming: list[ExpectedTank], minutes: int
) -> None:
    services.record_figures(
        by=plant.by("planner"), figures=replace(DEFAULTS, look_over_min=minutes), reason="We looked at the clock for a week."
    )  # fmt: skip
    door = factories.received_tank(plant, "sac_h")
    view = planned(plant)
    received_min = {tank.id: tank.received_min for tank in view.problem.tanks}
    for serial, at in ((coming[0].tank.serial, coming[0].expected_at), (door.tank.serial, plant.now)):
        assert view.clock.moment(received_min[serial]) == at + timedelta(minutes=minutes)
    said = " ".join(view.assumed)
    assert f"from {minutes} min after the time written down" in said
    assert f"from {minutes} min after this plan was made" in said
    (far,) = expected(
        plant,
        away(plant),
        expected_at=view.clock.moment(view.clock.end_min) - timedelta(minutes=60),
        due_at=None,
    )
    left = {serial for one in planned(plant).left_out for serial in one.serials}
    assert (far.tank.serial in left) is (minutes > 60)


def test_a_resin_of_which_nothing_waits_is_planned_too(plant: factories.SmallPlant) -> None:
    rows = expected(plant, away(plant, 3))
    view = planned(plant)
    assert {name for one in view.plan.batches for name in one.tanks} == {row.tank.serial for row in rows}


def test_a_tank_at_the_door_counts_as_the_class_of_its_shell(plant: factories.SmallPlant) -> None:
    visit = factories.received_tank(plant, "sac_h")
    view = planned(plant)
    (tank,) = view.problem.tanks
    assert (tank.id, tank.segregation) == (visit.tank.serial, visit.tank.segregation_class)
    assert view.clock.moment(tank.received_min) >= plant.now + LOOK_OVER
    services.accept_plan(by=plant.by("planner"), number=view.number)
    (row,) = waiting_batches()
    assert row.segregation_class == visit.tank.segregation_class
    assert sentences(plant.now) == []
    chosen = as_planned(row.code)
    assert chosen is not None and chosen.visit_ids == ()
    assert any("is received" in one for one in sentences(row.starts_at + timedelta(minutes=1)))


def test_one_that_is_overdue_or_comes_too_late_is_left_out_with_its_reason(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    (far,) = expected(
        plant, away(plant), expected_at=plant.now + timedelta(days=40), due_at=plant.now + timedelta(days=50)
    )
    plant.now = coming[0].expected_at + timedelta(hours=1)
    view = planned(plant)
    said = {left.serials[0]: left.why for left in view.left_out}
    assert "is not here; no plan counts with it" in said[coming[0].tank.serial]
    assert "after the days that are planned" in said[far.tank.serial]
    assert not {row.tank.serial for row in coming} & {tank.id for tank in view.problem.tanks}


def test_for_a_plan_of_tomorrow_a_tank_of_today_is_no_overdue_one(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    view = shown(made(plant, from_at=plant.now + timedelta(days=1)))
    assert {one.tank.serial for one in coming} <= {tank.id for tank in view.problem.tanks}


def test_accepted_they_stand_in_their_batch_and_what_intake_finds_is_started(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    row = accepted(plant)
    codes = planned_for_expected(one.pk for one in coming)
    assert {one.code for one in codes.values()} == {row.code}
    assert sentences(plant.now) == []
    assert list(check_plans(Look())) == []
    plant.now = coming[0].expected_at
    visits = [received(plant, one) for one in coming]
    assert {one.code for one in planned_for(visit.pk for visit in visits).values()} == {row.code}
    plant.now = max(plant.now, row.starts_at)
    assert not [one for one in sentences(plant.now) if "came back after" in one]
    chosen = as_planned(row.code)
    assert chosen is not None and set(chosen.visit_ids or ()) >= {visit.pk for visit in visits}
    batch = started(plant, row, visit_ids=list(chosen.visit_ids or ()))
    assert {visit.pk for visit in visits} <= set(batch.tank_links.values_list("visit_id", flat=True))
    assert not PlannedExpected.objects.filter(is_current=True).exists()
    assert list(check_plans(Look())) == []


def test_one_that_is_missing_put_off_or_called_off_has_left_the_plan(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    row = accepted(plant)
    first, second = coming
    late = sentences(first.expected_at + timedelta(minutes=16))
    assert {one for one in late if "and is not here" in one} == {
        f"{row.code}: {one.tank.serial} was expected {timezone.localtime(one.expected_at):%Y-%m-%d %H:%M} and is not here."
        for one in coming
    }
    tank_services.change_expected_tank(
        by=plant.by("planner"), expected_number=first.number, due_at=None, reason="the truck broke down",
        expected_at=row.starts_at + timedelta(hours=2),
    )  # fmt: skip
    tank_services.call_off_expected_tank(
        by=plant.by("planner"), expected_number=second.number, reason="it is not exhausted yet"
    )
    found = sentences(plant.now)
    assert any(
        f"{row.code}: {first.tank.serial} is expected" in one and "after the batch begins" in one
        for one in found
    )
    assert f"{row.code}: {second.tank.serial} does not come: it was called off." in found
    again = planned(plant)
    assert first.tank.serial in {tank.id for tank in again.problem.tanks}
    assert any(
        left.serials == (second.tank.serial,) and "does not come" in left.why for left in again.left_out
    )


def test_a_draft_whose_tank_does_not_come_any_more_is_not_accepted(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    view = planned(plant)
    tank_services.call_off_expected_tank(
        by=plant.by("planner"), expected_number=coming[0].number, reason="it is not exhausted yet"
    )
    with pytest.raises(StaleRecord, match=f"{coming[0].tank.serial} does not come"):
        services.accept_plan(by=plant.by("planner"), number=view.number)
    assert not PlannedBatch.objects.exists()


def test_a_planned_batch_of_which_no_tank_came_is_not_started(
    plant: factories.SmallPlant,
) -> None:
    expected(plant, away(plant, 2))
    row = accepted(plant)
    with pytest.raises(RecordRefused, match=f"None of these tanks stands in {row.code}"):
        started(plant, row, visit_ids=[factories.accepted_tank(plant, "sac_h").pk])
    row.refresh_from_db()
    assert row.state == PlannedBatch.State.WAITING


def test_a_rushed_tank_on_its_way_stays_rushed_when_it_came(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    view = planned(plant)
    row = DayPlan.objects.get(number=view.number)
    serial = coming[0].tank.serial
    batch = next(one for one in view.plan.batches if serial in one.tanks)
    wanted = view.clock.moment(batch.end_min) + timedelta(hours=3)
    chosen = work_out(
        number=row.number, kind="rush", batch=batch.id, tanks=[serial], wanted_by=wanted, steps=3
    )
    services.keep_decision(by=plant.by("planner"), **chosen)
    services.accept_plan(by=plant.by("planner"), number=row.number)
    received(plant, coming[0], judged=False)
    again = planned(plant)
    tank = next(one for one in again.problem.tanks if one.id == serial)
    assert tank.priority == max(again.problem.priority_weight)
    assert any(f"{serial} stay rushed" in one for one in again.assumed)
