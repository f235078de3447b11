"""The start of a planned batch says which of its tanks cannot go in, by number, before anybody starts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from regenplant.people.models import Person
from regenplant.planning import services
from regenplant.planning.members import members
from regenplant.planning.models import PlannedBatch
from regenplant.planning.not_here import absences
from regenplant.planning.selectors import waiting_batches
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import ExpectedTank
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.planning.test_accepting import started
from tests.planning.test_awaited import received
from tests.tanks.test_expecting import away, expected
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def client(plant: SmallPlant, client_of: Callable[[Person], Client]) -> Client:
    return client_of(plant.people["operator"])


def planned(plant: SmallPlant, *, here: int, coming: int) -> tuple[PlannedBatch, list[ExpectedTank]]:
    """A planned batch of tanks that wait and of tanks that come an hour from now."""
    if here:
        factories.accepted_tanks(plant, "sac_h", count=here)
    now = timezone.now()
    rows = (
        expected(plant, away(plant, coming), expected_at=now + timedelta(hours=1), due_at=None)
        if coming
        else []
    )
    plan = searched_plan(plant)
    services.accept_plan(by=plant.by("planner", at=now), number=plan.number, version=plan.version)
    (row,) = waiting_batches()
    return row, rows


def start(client: Client, code: str) -> tuple[int, str]:
    answer = client.get("/start/", {"planned": code}, follow=True)
    return answer.status_code, text_of(answer)


def test_nothing_is_missing_where_all_are_here(plant: SmallPlant, client: Client) -> None:
    row, _ = planned(plant, here=4, coming=0)
    status, text = start(client, row.code)
    assert status == 200
    assert "cannot go in now" not in text


def test_each_that_is_missing_is_named_with_its_reason(plant: SmallPlant, client: Client) -> None:
    row, (off, door) = planned(plant, here=2, coming=2)
    held, kept = (one.visit for one in members(row) if one.visit is not None)
    assert held is not None and kept is not None
    by = plant.by("planner", at=timezone.now())
    tank_services.call_off_expected_tank(by=by, expected_number=off.number, reason="it is not exhausted yet")
    plant.now = timezone.now()
    received(plant, door, judged=False)
    tank_services.hold_tank(
        by=plant.by("supervisor"),
        visit_id=held.pk,
        version=held.version,
        reason="the shell leaks at the head",
    )
    row = next(one for one in waiting_batches() if one.pk == row.pk)
    said = absences(row, timezone.now())
    assert len(said) == 3
    status, text = start(client, row.code)
    assert status == 200
    assert "3 of 4 planned tanks cannot go in now." in text
    for sentence in (
        f"{off.tank.serial} does not come: it was called off.",
        f"{door.tank.serial} is at the door and not judged yet",
        f"{held.tank.serial} is held; only accepted tanks go into a batch. Held: the shell leaks at the head.",
    ):
        assert sentence in text, sentence
    assert not any(kept.tank.serial in sentence for sentence in said)


def test_one_that_was_put_off_beyond_the_beginning_says_so(plant: SmallPlant, client: Client) -> None:
    row, (one,) = planned(plant, here=3, coming=1)
    later = row.starts_at + timedelta(hours=3)
    tank_services.change_expected_tank(
        by=plant.by("planner", at=timezone.now()), expected_number=one.number, due_at=None, expected_at=later,
        reason="the truck broke down",
    )  # fmt: skip
    _, text = start(client, row.code)
    assert (
        f"{one.tank.serial} was put off: it is expected {timezone.localtime(later):%Y-%m-%d %H:%M}, after the batch was to begin."
        in text
    )


def test_one_that_is_overdue_says_so(plant: SmallPlant) -> None:
    row, (one,) = planned(plant, here=3, coming=1)
    said = absences(row, one.expected_at + timedelta(minutes=16))
    assert said == [
        f"{one.tank.serial} was expected {timezone.localtime(one.expected_at):%Y-%m-%d %H:%M} and is not here."
    ]


def test_one_that_intake_judged_as_another_class_says_so(plant: SmallPlant) -> None:
    row, (one,) = planned(plant, here=3, coming=1)
    plant.now = one.expected_at
    visit = received(plant, one)
    type(visit).objects.filter(pk=visit.pk).update(segregation_class="C")
    row = next(item for item in waiting_batches() if item.pk == row.pk)
    assert absences(row, plant.now) == [
        f"{one.tank.serial} was judged as class C; {row.code} is class {row.segregation_class}."
    ]


def test_where_no_tank_of_the_pool_is_here_the_missing_ones_are_named_all_the_same(
    plant: SmallPlant, client: Client
) -> None:
    row, coming = planned(plant, here=0, coming=3)
    status, text = start(client, row.code)
    assert status == 404
    assert "3 of 3 planned tanks cannot go in now." in text
    at = f"{timezone.localtime(coming[0].expected_at):%Y-%m-%d %H:%M}"
    assert all(f"{one.tank.serial} is on its way, expected {at}." in text for one in coming)


def test_once_started_or_for_a_code_nobody_knows_nothing_is_told(plant: SmallPlant, client: Client) -> None:
    row, _ = planned(plant, here=3, coming=1)
    plant.now = timezone.now()
    started(plant, row)
    for code in (row.code, "PB-9999", "\x00"):
        _, text = start(client, code)
        assert "cannot go in now" not in text
