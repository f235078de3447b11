"""The waiting list through HTTP: pools, the vessel each fits, why a tank is in or out, and who may start."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from regenplant.plant import services as plant_services
from regenplant.tanks import services
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


@pytest.fixture
def page_of(plant, client_of):
    def read(who: str = "operator") -> str:
        return text_of(client_of(plant.people[who]).get(reverse("waiting")))

    return read


def text_of(response: Any) -> str:
    assert response.status_code == 200
    return " ".join(response.content.decode().replace("\u00a0", " ").replace("\u202f", " ").split())


def start_link(plant, family: str = "sac_h") -> str:
    return f"{reverse('start')}?type={plant.types[family].pk}&amp;class=D"


def test_an_empty_list_says_when_it_changes(page_of):
    page = page_of()
    assert (
        "No tank waits for a batch." in page and "A tank appears here when it is accepted at intake." in page
    )


def test_a_pool_that_fits_may_be_started(page_of, plant):
    factories.accepted_tanks(plant, "sac_h", 3)
    page = page_of()
    assert "3 tanks wait in 1 pool, 306.0 L. 1 pool may start now." in page
    assert "3 tanks into C1" in page and "fits C1" in page and start_link(plant) in page


def test_too_few_tanks_are_told_how_much_is_missing(page_of, plant):
    """The vessel takes at least 200 L; one tank holds 102 L."""
    factories.accepted_tanks(plant, "sac_h", 1)
    page = page_of()
    assert "too few to start" in page and "Needs 98.0 L more" in page and start_link(plant) not in page


def test_tanks_that_do_not_fit_any_more_wait_for_the_next_load(page_of, plant):
    """450 L at most: four tanks of 102 L go in, the fifth finds 42 L."""
    factories.accepted_tanks(plant, "sac_h", 5)
    page = page_of()
    assert "4 of 5 tanks into C1" in page and "C1 has 42.0 L left for it." in page
    assert page.count("<b>In.</b>") == 4 and page.count("<b>Out.</b>") == 1


def test_a_class_without_a_vessel_waits_and_says_so(page_of, plant):
    factories.accepted_tank(plant, "sac_h", segregation_class="C")
    page = page_of()
    assert "No vessel takes this family and class" in page and "class C" in page


def test_classes_are_never_pooled(page_of, plant):
    factories.accepted_tanks(plant, "sac_h", 2)
    factories.accepted_tank(plant, "sac_h", segregation_class="C")
    assert "3 tanks wait in 2 pools" in page_of()


def test_a_locked_out_vessel_starts_nothing(page_of, plant):
    factories.accepted_tanks(plant, "sac_h", 3)
    plant_services.lock_out_vessel(
        by=plant.by("operator"), vessel_id=plant.vessels["C1"].pk, number="118", reason="drain valve"
    )
    page = page_of()
    assert "C1 is locked out: drain valve." in page and start_link(plant) not in page


def test_who_may_not_plan_sees_the_button_grey_with_the_reason(page_of, plant):
    factories.accepted_tanks(plant, "sac_h", 3)
    page = page_of("qc")
    assert start_link(plant) not in page and "Start in C1: This takes" in page


def test_a_late_promise_is_marked(page_of, plant):
    visit = factories.received_tank(plant, "sac_h")
    services.refuse_tank(
        by=plant.by(), visit_id=visit.pk, reason="only to bring it again", version=visit.version
    )
    plant.now -= timedelta(hours=20)
    again = services.receive_tank(
        by=plant.by(), tank_id=visit.tank_id, customer_id=plant.customer.pk, return_reason="exhausted",
        due_at=plant.now + timedelta(hours=1),
    ).result  # fmt: skip
    services.inspect_tank(by=plant.by(), visit_id=again.pk, inspection=factories.SOUND_LOOK)
    again.refresh_from_db()
    services.accept_tank(by=plant.by(), visit_id=again.pk, segregation_class="D", version=again.version)
    assert "Overdue." in page_of()


def test_tanks_in_a_planned_batch_wait_no_more(page_of, plant):
    factories.frozen_batch(plant, "sac_h")
    assert "No tank waits for a batch." in page_of()


def test_what_stands_at_the_door_is_listed_as_not_waiting(page_of, plant):
    visit = factories.received_tank(plant, "sac_h")
    assert visit.tank.serial in page_of()


def test_the_page_takes_as_many_queries_for_many_tanks_as_for_few(
    plant, client_of, django_assert_max_num_queries
):
    client = client_of(plant.people["operator"])
    for family in ("sac_h", "sba_1"):
        factories.accepted_tanks(plant, family, 2)
    client.get(reverse("waiting"))
    with django_assert_max_num_queries(40) as few:
        client.get(reverse("waiting"))
    for family in ("sac_h", "sba_1"):
        factories.accepted_tanks(plant, family, 4)
    with django_assert_max_num_queries(len(few)):
        client.get(reverse("waiting"))


def test_signed_out_people_are_asked_to_sign_in(client, plant):
    assert client.get(reverse("waiting")).status_code == 302
    assert client.post(reverse("waiting")).status_code in (401, 405)
