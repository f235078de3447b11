"""What has left the accepted plan is told in a sentence each, at the page and at the change of shift; a plan made again keeps what began."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.batches import services as batch_services
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.checker import check
from regenplant.planning.deviations import deviations
from regenplant.planning.handed_on import plan_section
from regenplant.planning.models import DayPlan, Decision, PlannedBatch
from regenplant.planning.selectors import shown
from regenplant.plant import services as plant_services
from regenplant.tanks import services as tank_services
from regenplant.web.presenters.day_plan import move_rows
from tests import factories
from tests.planning.test_accepting import accepted, made, started
from tests.planning.test_deciding import decided


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def planned(plant: factories.SmallPlant) -> PlannedBatch:
    factories.accepted_tanks(plant, "sac_h", count=4)
    row = accepted(plant, made(plant))[0]
    plant.now = row.starts_at
    return row


def sentences(plant: factories.SmallPlant) -> list[str]:
    return [one.sentence for one in deviations(plant.now)]


def test_without_an_accepted_plan_nothing_left_it(plant: factories.SmallPlant) -> None:
    assert deviations(plant.now) == ()
    assert plan_section(plant.now).lines == ()


def test_what_goes_as_planned_is_no_deviation(plant: factories.SmallPlant, planned: PlannedBatch) -> None:
    assert sentences(plant) == []
    started(plant, planned)
    assert sentences(plant) == []


def test_a_start_that_is_overdue(plant: factories.SmallPlant, planned: PlannedBatch) -> None:
    plant.now = planned.starts_at + timedelta(minutes=40)
    assert any(
        f"{planned.code} was to begin in {planned.vessel.code}" in one and "40 min ago" in one
        for one in sentences(plant)
    )


def test_a_vessel_that_is_locked_out(plant: factories.SmallPlant, planned: PlannedBatch) -> None:
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=planned.vessel_id, number="7", reason="Drain valve leaks"
    )
    assert sentences(plant) == [
        f"{planned.code} needs {planned.vessel.code}, which is locked out: Drain valve leaks."
    ]


def test_a_tank_on_hold(plant: factories.SmallPlant, planned: PlannedBatch) -> None:
    link = planned.tanks.select_related("visit__tank").first()
    assert link is not None
    tank_services.hold_tank(
        by=plant.by("supervisor"),
        visit_id=link.visit_id,
        reason="The label is torn",
        version=link.visit.version,
    )
    (sentence,) = sentences(plant)
    assert sentence.startswith(f"{planned.code}: {link.visit.tank.serial} is held")


def test_a_plan_made_again_says_of_which_tank_it_goes_without_and_why(
    plant: factories.SmallPlant, planned: PlannedBatch
) -> None:
    link = planned.tanks.select_related("visit__tank").first()
    assert link is not None
    tank_services.hold_tank(
        by=plant.by("supervisor"),
        visit_id=link.visit_id,
        reason="The label is torn",
        version=link.visit.version,
    )
    view = shown(made(plant))
    serial = link.visit.tank.serial
    assert serial not in {tank.id for tank in view.problem.tanks}
    (left,) = [one for one in view.left_out if serial in one.serials]
    assert left.why.startswith(f"{planned.code}, planned before, goes without it: {serial} is held")
    assert "The label is torn" in left.why


def test_a_batch_that_is_held_and_one_that_is_behind(
    plant: factories.SmallPlant, planned: PlannedBatch
) -> None:
    batch = started(plant, planned)
    plant.now = planned.starts_at + timedelta(hours=3)
    (sentence,) = sentences(plant)
    assert batch.number in sentence
    assert "behind: ready" in sentence
    factories.run_to(plant, batch, StepKind.BACKWASH)
    batch.refresh_from_db()
    batch_services.hold_batch(
        by=plant.by("supervisor"), batch_id=batch.pk, reason="The acid pump stutters", version=batch.version
    )
    (sentence,) = sentences(plant)
    assert f"{batch.number}, planned as {planned.code}, is held" in sentence


def test_a_tank_that_came_back_and_is_in_no_plan(plant: factories.SmallPlant, planned: PlannedBatch) -> None:
    plant.now += timedelta(minutes=5)
    (visit,) = factories.accepted_tanks(plant, "sac_h", count=1)
    assert any(
        f"{visit.tank.serial} came back after the plan was accepted" in one for one in sentences(plant)
    )


def test_the_change_of_shift_hears_of_it_and_of_what_begins_soon(
    plant: factories.SmallPlant, planned: PlannedBatch
) -> None:
    plant.now = planned.starts_at + timedelta(minutes=40)
    lines = plan_section(plant.now).lines
    assert lines[0].needs_person
    assert lines[0].key == planned.code
    assert any(line.what.startswith(f"{planned.code} begins in") for line in lines)


def test_a_plan_made_again_leaves_what_was_started_where_it_is(
    plant: factories.SmallPlant, planned: PlannedBatch
) -> None:
    batch = started(plant, planned)
    factories.accepted_tanks(plant, "sac_h", count=2)
    again = made(plant)
    view = shown(again)
    assert [one.id for one in view.problem.running] == [batch.number]
    held = {serial for one in view.plan.batches for serial in one.tanks}
    assert not held & {link.visit.tank.serial for link in planned.tanks.all()}
    assert check(view.problem, view.plan).is_feasible
    assert DayPlan.objects.count() == 2


def test_what_moves_is_told_against_the_plan_that_holds(
    plant: factories.SmallPlant, planned: PlannedBatch
) -> None:
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=planned.vessel_id, number="7", reason="Drain valve leaks"
    )
    factories.another_vessel(plant, "C9", "sac_h")
    rows = move_rows(shown(made(plant)))
    assert rows[0].is_moved
    assert rows[0].was.startswith(planned.vessel.code)
    assert rows[0].now.startswith("C9")


def test_a_tank_that_the_accepted_plan_rushes_stays_rushed_when_planned_again(
    plant: factories.SmallPlant,
) -> None:
    factories.accepted_tanks(plant, "sac_h", count=3)
    draft = made(plant)
    batch = shown(draft).plan.batches[0]
    wanted = shown(draft).clock.moment(batch.start_min + 30)
    rushed, *others = batch.tanks
    view = decided(plant, draft, kind=Decision.Kind.RUSH, batch=batch.id, tanks=(rushed,), wanted_by=wanted)
    accepted(plant, draft)
    plant.forward(minutes=30)
    again = shown(made(plant))
    by_serial = {tank.id: tank for tank in again.problem.tanks}
    heaviest = max(view.problem.priority_weight)
    assert by_serial[rushed].priority == heaviest
    assert again.clock.moment(by_serial[rushed].due_min) == wanted
    assert {by_serial[name].priority for name in others} == {1}
    assert f"{rushed} stay rushed, as {draft.number} says." in again.assumed
