"""Tanks on their way: written down, put off, called off; what comes is the tank that was expected."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.tanks import services
from regenplant.tanks.models import ExpectedTank, Tank, TankVisit
from regenplant.tanks.selectors import expected_tanks
from tests import factories

State = ExpectedTank.State


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def away(plant: factories.SmallPlant, count: int = 1, segregation_class: str = "D") -> list[Tank]:
    """Tanks that are registered and not here."""
    assert plant.size is not None and plant.customer is not None
    return [
        services.add_tank(
            by=plant.by("planner"),
            size_id=plant.size.pk,
            resin_type_id=plant.types["sac_h"].pk,
            segregation_class=segregation_class,
            dedicated_to_id=None,
        ).result
        for _ in range(count)
    ]


def expected(
    plant: factories.SmallPlant, tanks: list[Tank], who: str = "planner", **change: Any
) -> list[ExpectedTank]:
    assert plant.customer is not None
    arguments: dict[str, Any] = {
        "tank_ids": [tank.pk for tank in tanks],
        "customer_id": plant.customer.pk,
        "expected_at": plant.now + timedelta(hours=3),
        "due_at": plant.now + timedelta(hours=30),
        **change,
    }
    rows: list[ExpectedTank] = services.expect_tanks(by=plant.by(who), **arguments).result
    return rows


@pytest.mark.parametrize("who", ["operator", "supervisor", "planner"])
def test_tanks_of_one_truck_are_written_down_in_one_act(plant: factories.SmallPlant, who: str) -> None:
    tanks = away(plant, 3)
    rows = expected(plant, tanks, who)
    assert [row.tank for row in rows] == tanks
    assert {row.state for row in rows} == {State.EXPECTED}
    assert list(expected_tanks()) == rows


def test_a_technician_writes_none_down(plant: factories.SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        expected(plant, away(plant), "qc")
    assert not ExpectedTank.objects.exists()


def test_what_comes_is_the_tank_that_was_expected_with_its_promise(plant: factories.SmallPlant) -> None:
    (tank,) = away(plant)
    (row,) = expected(plant, [tank])
    assert plant.customer is not None
    visit: TankVisit = services.receive_tank(
        by=plant.by(), tank_id=tank.pk, customer_id=plant.customer.pk, return_reason="exhausted"
    ).result
    row.refresh_from_db()
    assert (row.state, row.visit) == (State.CAME, visit)
    assert visit.due_at == row.due_at
    assert not expected_tanks().exists()


def test_a_promise_at_the_door_takes_the_place_of_the_one_before(plant: factories.SmallPlant) -> None:
    (tank,) = away(plant)
    expected(plant, [tank])
    assert plant.customer is not None
    due_at = plant.now + timedelta(hours=50)
    visit: TankVisit = services.receive_tank(
        by=plant.by(),
        tank_id=tank.pk,
        customer_id=plant.customer.pk,
        return_reason="exhausted",
        due_at=due_at,
    ).result
    assert visit.due_at == due_at


def test_another_time_and_called_off(plant: factories.SmallPlant) -> None:
    (row,) = expected(plant, away(plant))
    later = plant.now + timedelta(hours=5)
    services.change_expected_tank(
        by=plant.by("planner"), expected_number=row.number, expected_at=later, due_at=None,
        reason="the truck broke down", version=row.version,
    )  # fmt: skip
    with pytest.raises(StaleRecord):
        services.call_off_expected_tank(
            by=plant.by("planner"), expected_number=row.number, reason="not emptied", version=row.version
        )
    row.refresh_from_db()
    assert (row.expected_at, row.due_at, row.version) == (later, None, 2)
    services.call_off_expected_tank(by=plant.by("planner"), expected_number=row.number, reason="not emptied")
    row.refresh_from_db()
    assert row.state == State.CALLED_OFF
    with pytest.raises(RecordRefused, match="was called off already"):
        services.call_off_expected_tank(
            by=plant.by("planner"), expected_number=row.number, reason="not emptied"
        )
    assert expected(plant, [row.tank])[0].pk != row.pk


@pytest.mark.parametrize(
    ("hours", "due", "words"),
    [
        (-1, None, "lies between now and"),
        (24 * 61, None, "lies between now and"),
        (5, 4, "after the tank comes"),
    ],
)
def test_times_that_cannot_be(plant: factories.SmallPlant, hours: int, due: int | None, words: str) -> None:
    due_at = None if due is None else plant.now + timedelta(hours=due)
    with pytest.raises(OutOfRange, match=words):
        expected(plant, away(plant), expected_at=plant.now + timedelta(hours=hours), due_at=due_at)
    assert not ExpectedTank.objects.exists()


def test_tanks_that_cannot_be_expected_and_then_none_is(plant: factories.SmallPlant) -> None:
    good = away(plant)
    here = factories.received_tank(plant, "sac_h").tank
    with pytest.raises(RecordRefused, match="is here already"):
        expected(plant, [*good, here])
    suspect = away(plant, segregation_class="E")
    with pytest.raises(RecordRefused, match="is not regenerated"):
        expected(plant, [*good, *suspect])
    with pytest.raises(RecordRefused, match="1 to 60"):
        expected(plant, [])
    assert not ExpectedTank.objects.exists()
    (row,) = expected(plant, good)
    with pytest.raises(RecordRefused, match=f"is expected already, .* as {row.number}"):
        expected(plant, good)
    with pytest.raises(IntegrityError), transaction.atomic():
        ExpectedTank.objects.create(
            number="ET-1", tank=row.tank, customer=row.customer, expected_at=row.expected_at,
            entered_by=row.entered_by, entered_at=row.entered_at,
        )  # fmt: skip
