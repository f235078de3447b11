"""Marking a customer whose tanks are always rushed, and what the pages of customer, tank and plan say of it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from regenplant.tanks.models import CustomerRush
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]
WHY = "Contract of this year: back within a day."


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def address(plant: SmallPlant) -> str:
    assert plant.customer is not None
    return f"/customers/{plant.customer.code}/"


def test_it_is_marked_and_ended_from_the_page_of_the_customer(
    as_: As, plant: SmallPlant, address: str
) -> None:
    planner = as_("planner")
    page = planner.get(address)
    assert "as all others" in text_of(page)
    assert f'href="{address}rush/"' in page.content.decode()
    answer = planner.post(f"{address}rush/", {"reason": WHY}, follow=True)
    said = text_of(answer)
    assert "count as rush." in said
    assert "always rush, since" in said
    assert f"{plant.people['planner'].full_name}: {WHY}" in said
    row = CustomerRush.objects.get()
    form = planner.get(f"{address}rush/end/")
    assert WHY in text_of(form)
    data = {"rush_id": str(row.pk), "reason": "The contract ended."}
    assert planner.post(f"{address}rush/end/", data).status_code == 302
    assert "as all others" in text_of(planner.get(address))
    stale = planner.post(f"{address}rush/end/", data)
    assert stale.status_code == 409
    assert "Somebody ended it meanwhile" in text_of(stale)


def test_who_may_not_sees_why_and_is_refused(as_: As, address: str) -> None:
    operator = as_("operator")
    page = operator.get(address).content.decode()
    assert f'href="{address}rush/"' not in page
    assert "Always rush its tanks" in page
    assert operator.post(f"{address}rush/", {"reason": WHY}).status_code == 403
    assert not CustomerRush.objects.exists()


def test_bad_input_is_told_beside_its_field_and_nothing_is_written(as_: As, address: str) -> None:
    planner = as_("planner")
    refused = planner.post(f"{address}rush/", {"reason": "so"})
    assert refused.status_code == 422
    assert "reason" in refused.context["form"].errors
    assert not CustomerRush.objects.exists()
    assert planner.get(f"{address}rush/end/").status_code == 404, "never rushed"
    assert planner.get("/customers/NOBODY/rush/").status_code == 404
    planner.post(f"{address}rush/", {"reason": WHY})
    assert planner.post(f"{address}rush/", {"reason": WHY}).status_code == 422
    assert planner.post(f"{address}rush/end/", {"rush_id": "99999", "reason": WHY}).status_code == 422
    assert CustomerRush.objects.filter(ended_at__isnull=True).count() == 1


def test_tank_and_plan_say_that_the_rush_comes_from_the_customer(
    as_: As, plant: SmallPlant, address: str
) -> None:
    (visit,) = factories.accepted_tanks(plant, "sac_h", count=1)
    planner, serial = as_("planner"), visit.tank.serial
    assert "Rush, because of the customer" not in text_of(planner.get(f"/tanks/{serial}/"))
    planner.post(f"{address}rush/", {"reason": WHY})
    words = f"Rush, because of the customer: tanks of {visit.customer.name} always are. {WHY}"
    assert words in text_of(planner.get(f"/tanks/{serial}/"))
    row = searched_plan(plant)
    for page in (
        f"/day-plan/{row.number}/",
        f"/day-plan/{row.number}/several/",
        f"/day-plan/{row.number}/tanks/{serial}/",
    ):
        assert "rush, by its customer" in text_of(planner.get(page)), page
    assert f"{serial}: rush, because of the customer" in text_of(planner.get(f"/day-plan/{row.number}/"))
