"""Tanks of a customer whose contract says so count as rush in every plan, and as all others once it ended."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from regenplant.audit.selectors import newest_act
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.scheduling.checker import check
from regenplant.planning import services
from regenplant.planning.deciding import work_out
from regenplant.planning.kept import notes_from, notes_to
from regenplant.planning.selectors import shown
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Customer, CustomerRush
from tests import factories
from tests.planning.test_accepting import accepted, made
from tests.tanks.test_expecting import away, expected

WHY = "Contract of this year: back within a day."


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def other(plant: factories.SmallPlant) -> Customer:
    customer: Customer = tank_services.add_customer(
        by=plant.by("planner"), code="OWL", name="Owl Street Bakery"
    ).result
    return customer


def rushed(plant: factories.SmallPlant, customer: Customer, who: str = "planner") -> CustomerRush:
    row: CustomerRush = tank_services.rush_customer(
        by=plant.by(who), customer_id=customer.pk, reason=WHY
    ).result
    return row


def priorities(plant: factories.SmallPlant) -> dict[str, int]:
    return {tank.id: tank.priority for tank in shown(made(plant)).problem.tanks}


def test_its_tanks_weigh_as_rush_those_on_their_way_too_and_no_others(
    plant: factories.SmallPlant, other: Customer
) -> None:
    waits = [visit.tank.serial for visit in factories.accepted_tanks(plant, "sac_h", count=2)]
    (mine,) = expected(plant, away(plant))
    (way,) = expected(plant, away(plant), customer_id=other.pk)
    assert set(priorities(plant).values()) == {1}
    rushed(plant, other)
    view = shown(made(plant))
    found = {tank.id: tank.priority for tank in view.problem.tanks}
    assert found == {way.tank.serial: 3, mine.tank.serial: 1, **dict.fromkeys(waits, 1)}
    due = {tank.id: tank.due_min for tank in view.problem.tanks}
    assert due[way.tank.serial] == due[mine.tank.serial], "what was promised stays as it was"
    assert check(view.problem, view.plan).is_feasible
    assert view.names.rush[way.tank.serial].customer == other.name
    assert (
        f"{way.tank.serial}: rush, because of the customer; tanks of {other.name} always are." in view.assumed
    )


def test_a_tank_of_it_is_served_before_one_that_came_earlier(
    plant: factories.SmallPlant, other: Customer
) -> None:
    """One vessel, more tanks than it takes in a day, all due at once: without the mark nothing tells them apart."""
    due_at = plant.now + timedelta(hours=4)
    mine = expected(plant, away(plant, 8), expected_at=plant.now + timedelta(hours=1), due_at=due_at)
    way = expected(
        plant, away(plant, 4), expected_at=plant.now + timedelta(hours=1), due_at=due_at, customer_id=other.pk
    )
    rushed(plant, other)
    view = shown(made(plant))
    ready = {name: batch.end_min for batch in view.plan.batches for name in batch.tanks}
    assert max(ready[one.tank.serial] for one in way) <= min(ready[one.tank.serial] for one in mine)


def test_who_when_and_why_are_written_and_it_ends_once(plant: factories.SmallPlant, other: Customer) -> None:
    row = rushed(plant, other, "supervisor")
    assert (row.made_by, row.made_at, row.reason) == (plant.people["supervisor"], plant.now, WHY)
    act = newest_act("customer.rushed")
    assert act is not None and act.sentence.startswith(
        f"Tanks of {other.name} count as rush from now on: {WHY}"
    )
    with pytest.raises(RecordRefused, match="count as rush already"):
        rushed(plant, other)
    plant.forward(hours=1)
    tank_services.end_customer_rush(by=plant.by("planner"), rush_id=row.pk, reason="The contract ended.")
    row.refresh_from_db()
    assert (row.ended_by, row.ended_at, row.ended_reason) == (
        plant.people["planner"], plant.now, "The contract ended.",
    )  # fmt: skip
    with pytest.raises(StaleRecord, match="ended it meanwhile"):
        tank_services.end_customer_rush(by=plant.by("planner"), rush_id=row.pk, reason="The contract ended.")
    again = rushed(plant, other)
    assert again.pk != row.pk
    with pytest.raises(RecordRefused, match="No customer is rushed by this mark"):
        tank_services.end_customer_rush(by=plant.by("planner"), rush_id=99_999, reason="The contract ended.")


@pytest.mark.parametrize("who", ["operator", "qc"])
def test_others_mark_nobody(plant: factories.SmallPlant, other: Customer, who: str) -> None:
    with pytest.raises(NotAllowed):
        rushed(plant, other, who)
    assert not CustomerRush.objects.exists()


def test_without_a_reason_nothing_is_written(plant: factories.SmallPlant, other: Customer) -> None:
    with pytest.raises(RecordRefused) as refused:
        tank_services.rush_customer(by=plant.by("planner"), customer_id=other.pk, reason="so")
    assert refused.value.field == "reason"
    row = rushed(plant, other)
    with pytest.raises(RecordRefused):
        tank_services.end_customer_rush(by=plant.by("planner"), rush_id=row.pk, reason=" ")
    row.refresh_from_db()
    assert row.ended_at is None


def test_the_database_keeps_what_was_said(plant: factories.SmallPlant, other: Customer) -> None:
    row = rushed(plant, other)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE tanks_customerrush SET reason = 'changed by hand' WHERE id = %s", [row.pk])


def test_once_it_ended_a_plan_made_again_rushes_only_what_was_rushed_by_hand(
    plant: factories.SmallPlant,
) -> None:
    assert plant.customer is not None
    hand, usual = (visit.tank.serial for visit in factories.accepted_tanks(plant, "sac_h", count=2))
    mark = rushed(plant, plant.customer)
    row = made(plant)
    services.keep_decision(
        by=plant.by("planner"),
        **work_out(
            number=row.number, kind="rush", batch="", tanks=[hand], version=row.version, wanted_by=plant.now + timedelta(hours=9)
        ),
    )  # fmt: skip
    row.refresh_from_db()
    accepted(plant, row)
    assert priorities(plant) == {hand: 3, usual: 3}
    tank_services.end_customer_rush(by=plant.by("planner"), rush_id=mark.pk, reason="The contract ended.")
    view = shown(made(plant))
    assert {tank.id: tank.priority for tank in view.problem.tanks} == {hand: 3, usual: 1}
    assert f"{hand} stay rushed, as {row.number} says." in view.assumed
    assert not view.names.rush


def test_notes_of_older_plans_know_of_no_rush(plant: factories.SmallPlant) -> None:
    factories.accepted_tanks(plant, "sac_h", count=1)
    assert plant.customer is not None
    rushed(plant, plant.customer)
    notes = shown(made(plant)).names
    assert notes.rush and notes_from(notes_to(notes)) == notes
    older = {name: value for name, value in notes_to(notes).items() if name != "rush"}
    assert notes_from(older).rush == {}
