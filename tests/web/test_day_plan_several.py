"""The page on which several tanks are decided about: sorted by any head, nothing chosen is lost by it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from regenplant.people.models import Person
from regenplant.planning.models import DayPlan
from regenplant.planning.selectors import shown
from regenplant.web.presenters.day_plan_several import heads, order_of, tick_rows
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.tanks.test_expecting import away, expected
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
COLUMNS = ("tank", "batch", "key", "customer", "due", "ready")


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def found(plant: SmallPlant) -> DayPlan:
    """Two resins; tanks on their way with promises of several days, one of them without a promise; one batch taken out of the plan."""
    for family in ("sac_h", "sba_1"):
        factories.accepted_tanks(plant, family, count=2)
    soon = timezone.now() + timedelta(hours=1)
    for hours in (50, 30, 40, None):
        due_at = soon + timedelta(hours=hours) if hours else None
        expected(plant, away(plant), expected_at=soon, due_at=due_at)
    row = searched_plan(plant)
    assert row.plan is not None
    lone = row.plan["batches"].pop()
    assert lone["tanks"] and row.plan["batches"]
    row.save()
    return row


@pytest.fixture
def client(plant: SmallPlant, client_of: Callable[[Person], Client]) -> Client:
    return client_of(plant.people["planner"])


@pytest.mark.parametrize("way", ["", "-"])
@pytest.mark.parametrize("name", COLUMNS)
def test_rows_are_sorted_by_each_column_and_what_is_unknown_comes_last(
    found: DayPlan, name: str, way: str
) -> None:
    view = shown(found)
    field = {"tank": "serial", "due": "due_at", "ready": "ready_at"}.get(name, name)
    rows = tick_rows(view, f"{way}{name}")
    assert sorted(row.serial for row in rows) == sorted(tank.id for tank in view.problem.tanks)
    values = [getattr(row, field) for row in rows]
    known = [one for one in values if one]
    assert known == sorted(known, reverse=way == "-")
    assert values[: len(known)] == known
    if name in ("batch", "due", "ready"):
        assert len(known) < len(values), "some say nothing of it"


def test_a_head_turns_the_order_round_and_says_how_it_is_sorted() -> None:
    assert {head.order: head.sorted for head in heads("due")}["-due"] == "ascending"
    assert {head.order: head.sorted for head in heads("-due")}["due"] == "descending"
    assert sum(bool(head.sorted) for head in heads("due")) == 1
    assert [order_of(asked) for asked in ("due", "-due", "", "nonsense", "--due")] == [
        "due", "-due", "batch", "batch", "batch",
    ]  # fmt: skip


def test_what_was_ticked_and_written_stays_when_the_rows_are_sorted(client: Client, found: DayPlan) -> None:
    address = f"/day-plan/{found.number}/several/"
    view = shown(found)
    chosen = [tank.id for tank in view.problem.tanks][:2]
    sent = {
        "tanks": chosen,
        "version": "0",
        "kind": "rush",
        "wanted_by": "2026-12-01T09:30",
        "order": "batch",
    }
    answer = client.post(address, {**sent, "sort": "-due"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert page.count(" checked") == 3
    for serial in chosen:
        assert f'value="{serial}"' in page
    assert 'value="2026-12-01T09:30"' in page
    assert '<input type="hidden" name="order" value="-due">' in page
    assert 'aria-sort="descending"' in page
    serials = [row.serial for row in tick_rows(view, "-due")]
    places = [page.index(f'<b class="nb">{serial}</b>') for serial in serials]
    assert places == sorted(places)
    assert not found.decisions.exists()
    stale = client.post(address, {**sent, "kind": "leave_out", "version": str(found.version + 1)})
    assert stale.status_code == 409, (
        "sorting kept the version that was shown, and a decision is held against it"
    )
    assert 'aria-sort="ascending"' in stale.content.decode()


def test_enter_decides_and_never_sorts(client: Client, found: DayPlan) -> None:
    """Enter presses the first button of a form."""
    page = client.get(f"/day-plan/{found.number}/several/").content.decode()
    form = page[page.index('<form method="post" class="stack"') :]
    first = form[form.index("<button") :]
    assert 'name="sort"' not in first[: first.index(">")]


def test_each_row_says_key_customer_due_and_ready(client: Client, plant: SmallPlant, found: DayPlan) -> None:
    page = text_of(client.get(f"/day-plan/{found.number}/several/"))
    assert plant.customer is not None
    for words in (
        "Resin, class",
        "Due",
        "Ready, as planned",
        "class D",
        plant.customer.name,
        "in no batch",
        "counts from",
    ):
        assert words in page


def test_nothing_ticked_is_told_at_the_tanks(client: Client, found: DayPlan) -> None:
    sent = {"version": str(found.version), "kind": "leave_out", "wanted_by": "", "order": "due"}
    answer = client.post(f"/day-plan/{found.number}/several/", sent)
    assert answer.status_code == 422
    assert "Nothing is written here yet, and it is needed." in text_of(answer)
    assert 'aria-describedby="tanks-refused"' in answer.content.decode()
