"""A plan is accepted whole or not at all; its batches are started by the gates of any start, cancelled, or replaced by the next plan."""

from __future__ import annotations

from typing import Any

import pytest

from regenplant.audit.verifying.registry import Look
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.planning import services
from regenplant.planning.models import DayPlan, PlanAcceptance, PlannedBatch, PlannedTank
from regenplant.planning.moved_on import members_of
from regenplant.planning.search import search
from regenplant.planning.selectors import accepted_plan, shown
from regenplant.planning.verification import check_plans
from regenplant.plant import services as plant_services
from regenplant.plant.models import Vessel
from regenplant.recipes.models import SpecificationVersion
from regenplant.tanks import services as tank_services
from tests import factories

STEPS = 4


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def made(plant: factories.SmallPlant, **arguments: Any) -> DayPlan:
    begun = services.begin_plan(by=plant.by("planner"), **{"seconds": 5, **arguments})
    row = search(begun.result.number, steps=STEPS)
    assert row is not None
    return row


@pytest.fixture
def draft(plant: factories.SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=4)
    return made(plant)


def accepted(plant: factories.SmallPlant, row: DayPlan, role: str = "planner") -> list[PlannedBatch]:
    services.accept_plan(by=plant.by(role), number=row.number, version=row.version)
    return list(PlannedBatch.objects.filter(acceptance__number=row.number))


def started(plant: factories.SmallPlant, row: PlannedBatch, role: str = "operator", **changes: Any) -> Batch:
    specification = SpecificationVersion.objects.filter(
        specification__family=row.resin_type.family, state="approved"
    ).first()
    assert specification is not None
    batch: Batch = services.start_planned(
        by=plant.by(role),
        planned_code=row.code,
        **{
            "visit_ids": list(row.tanks.values_list("visit_id", flat=True)),
            "vessel_id": row.vessel_id,
            "recipe_version_id": row.recipe_version_id,
            "specification_version_id": specification.pk,
            "anion_vessel_id": row.anion_vessel_id,
            **changes,
        },
    ).result
    return batch


@pytest.mark.parametrize("role", ["planner", "supervisor"])
def test_accepting_plans_a_batch_for_each_of_the_plan(
    plant: factories.SmallPlant, draft: DayPlan, role: str
) -> None:
    view = shown(draft)
    rows = accepted(plant, draft, role)
    assert [(row.plan_batch, row.vessel.code) for row in rows] == [
        (batch.id, batch.vessel) for batch in view.plan.batches
    ]
    for row, batch in zip(rows, view.plan.batches, strict=True):
        assert tuple(link.visit.tank.serial for link in row.tanks.all()) == batch.tanks
        assert row.starts_at == view.clock.moment(batch.start_min)
        assert row.state == PlannedBatch.State.WAITING
    assert accepted_plan() == draft
    draft.refresh_from_db()
    assert draft.state == DayPlan.State.ACCEPTED
    assert shown(draft).codes == {row.plan_batch: row.code for row in rows}
    assert not Batch.objects.exists()
    with pytest.raises(RecordRefused, match="is accepted"):
        services.accept_plan(by=plant.by(role), number=draft.number)


@pytest.mark.parametrize("role", ["operator", "qc"])
def test_others_accept_nothing(plant: factories.SmallPlant, draft: DayPlan, role: str) -> None:
    with pytest.raises(NotAllowed):
        accepted(plant, draft, role)
    assert not PlanAcceptance.objects.exists()


def test_a_plan_whose_tank_was_taken_meanwhile_is_refused_with_what_moved(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    visits = _visits(draft)
    batch = factories.frozen_batch(plant, "sac_h", visits[:2])
    with pytest.raises(StaleRecord, match=f"{visits[0].tank.serial} is already in batch {batch.number}"):
        accepted(plant, draft)
    assert not PlannedBatch.objects.exists()
    assert not PlanAcceptance.objects.exists()


def _visits(draft: DayPlan) -> list[Any]:
    view = shown(draft)
    tanks = members_of(view)
    return [tanks[serial].visit for serial in view.plan.batches[0].tanks]


def test_a_plan_with_a_vessel_that_was_locked_out_meanwhile_is_refused(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    code = shown(draft).plan.batches[0].vessel
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"),
        vessel_id=Vessel.objects.get(code=code).pk,
        number="7",
        reason="Drain valve leaks",
    )
    with pytest.raises(StaleRecord, match=f"{code} is locked out: Drain valve leaks"):
        accepted(plant, draft)


def test_a_plan_with_a_tank_on_hold_is_refused(plant: factories.SmallPlant, draft: DayPlan) -> None:
    visit = _visits(draft)[0]
    tank_services.hold_tank(
        by=plant.by("supervisor"), visit_id=visit.pk, reason="The label is torn off", version=visit.version
    )
    with pytest.raises(StaleRecord, match=f"{visit.tank.serial} is held"):
        accepted(plant, draft)


def test_an_empty_plan_is_not_accepted(plant: factories.SmallPlant) -> None:
    row = made(plant)
    with pytest.raises(RecordRefused, match="holds no batch"):
        accepted(plant, row)


def test_starting_takes_the_batch_from_the_plan(plant: factories.SmallPlant, draft: DayPlan) -> None:
    row = accepted(plant, draft)[0]
    batch = started(plant, row)
    row.refresh_from_db()
    assert (row.state, row.batch_number) == (PlannedBatch.State.STARTED, batch.number)
    assert {link.visit_id for link in batch.tank_links.all()} == {link.visit_id for link in row.tanks.all()}
    assert not PlannedTank.objects.filter(planned=row, is_current=True).exists()
    with pytest.raises(StaleRecord, match=f"started already, as {batch.number}"):
        started(plant, row)


def test_a_start_that_is_refused_leaves_the_planned_batch_waiting(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    row = accepted(plant, draft)[0]
    with pytest.raises(StaleRecord, match="no longer the one you saw"):
        started(plant, row, shown_digest="0" * 64)
    row.refresh_from_db()
    assert row.state == PlannedBatch.State.WAITING
    with pytest.raises(NotAllowed):
        started(plant, row, "qc")


def test_tanks_of_no_planned_batch_are_not_started_as_one(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    row = accepted(plant, draft)[0]
    others = factories.accepted_tanks(plant, "sac_h", count=3)
    with pytest.raises(RecordRefused, match="None of these tanks"):
        started(plant, row, visit_ids=[visit.pk for visit in others])


def test_a_planned_batch_is_cancelled_with_its_reason(plant: factories.SmallPlant, draft: DayPlan) -> None:
    row = accepted(plant, draft)[0]
    with pytest.raises(RecordRefused, match="at least 10"):
        services.cancel_planned(by=plant.by("planner"), planned_code=row.code, reason="no")
    with pytest.raises(NotAllowed):
        services.cancel_planned(by=plant.by("operator"), planned_code=row.code, reason="The truck is away")
    services.cancel_planned(by=plant.by("planner"), planned_code=row.code, reason="The truck is away")
    row.refresh_from_db()
    assert (row.state, row.reason) == (PlannedBatch.State.CANCELLED, "The truck is away")
    with pytest.raises(StaleRecord, match="cancelled"):
        started(plant, row)


def test_the_next_plan_keeps_what_waits_in_place_and_replaces_it_when_accepted(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    before = accepted(plant, draft)
    again = made(plant)
    view = shown(again)
    assert [(one.vessel, one.start_min) for one in view.problem.standing] == [
        (row.vessel.code, view.clock.minute(row.starts_at)) for row in before
    ]
    after = accepted(plant, again)
    assert [(row.vessel, row.starts_at) for row in after] == [(row.vessel, row.starts_at) for row in before]
    for row in before:
        row.refresh_from_db()
        assert row.state == PlannedBatch.State.REPLACED


def test_what_was_accepted_is_held_against_its_batches(plant: factories.SmallPlant, draft: DayPlan) -> None:
    rows = accepted(plant, draft)
    started(plant, rows[0])
    assert list(check_plans(Look())) == []
