"""What a code means, the dock, the waiting list, histories; and how many queries each takes."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.core.process.vocabulary import StepKind
from regenplant.tanks import selectors, services
from tests import factories
from tests.tanks.conftest import fresh, seen

pytestmark = pytest.mark.django_db


@pytest.fixture
def accepted(at_dock, plant):
    def make(**given):
        visit = at_dock(look=True, **given)
        services.accept_tank(
            by=plant.by(),
            visit_id=visit.pk,
            segregation_class=visit.tank.segregation_class,
            version=visit.version,
        )
        return fresh(visit)

    return make


# --- codes ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("text", ["T-20417", "t-20417", " T - 20417\n", "t-2 0417"])
def test_a_serial_is_found_in_any_case_and_with_any_spaces(make_tank, text):
    make_tank(serial="T-20417")
    found = selectors.find_code(text)
    assert (found.kind, found.key) == ("tank", "T-20417")


def test_a_visit_is_found_by_its_number(at_dock):
    visit = at_dock()
    assert selectors.find_code(visit.number.lower()).kind == "visit"


@pytest.mark.parametrize("text", ["", "  ", "T-99999", "'; DROP TABLE", "x" * 500])
def test_an_unknown_code_is_nothing(make_tank, text):
    make_tank(serial="T-20417")
    assert selectors.find_code(text) is None


@pytest.mark.parametrize("slip", ["T-20471", "20417", "T20417", "T-2O417"])
def test_a_slip_of_the_hand_finds_the_tank_meant(make_tank, slip):
    make_tank(serial="T-20417")
    make_tank(serial="S-1")
    assert selectors.near_serials(slip) == ["T-20417"]


# --- the dock ---------------------------------------------------------------------------------------------------------
def test_the_dock_shows_held_tanks_first_then_the_oldest(at_dock, plant, django_assert_num_queries):
    first = at_dock()
    plant.now += timedelta(minutes=10)
    second, third = at_dock(), at_dock(words="nitric acid")
    services.inspect_tank(by=plant.by(), visit_id=second.pk, inspection=seen())
    with django_assert_num_queries(2):
        tanks = selectors.dock(plant.now)
    assert [tank.visit.number for tank in tanks] == [third.number, first.number, second.number]
    assert [tank.is_held for tank in tanks] == [True, False, False]
    assert tanks[0].stops and not tanks[2].stops
    assert tanks[1].waited == timedelta(minutes=10)


def test_the_dock_takes_two_queries_however_many_stand_there(at_dock, plant, django_assert_num_queries):
    for _ in range(6):
        at_dock(look=True)
    with django_assert_num_queries(2):
        assert len(selectors.dock(plant.now)) == 6


def test_the_intake_page_knows_what_may_be_decided(at_dock, plant, django_assert_max_num_queries):
    visit = at_dock(segregation_class="C", look=True)
    with django_assert_max_num_queries(5):
        page = selectors.intake_page(visit.number, plant.now)
    assert [item.value for item in page.classes] == ["C", "D"]
    assert {str(offer.action): offer.is_open for offer in page.offers} == {
        "accept": True,
        "hold": True,
        "refuse": True,
    }
    assert page.last_here is None and page.at_dock == 1


# --- waiting ----------------------------------------------------------------------------------------------------------
def test_tanks_wait_under_their_pooling_key_and_keys_never_mix(accepted, plant, make_tank):
    accepted(family="sac_h"), accepted(family="sac_h"), accepted(family="sba_1")
    accepted(family="sac_h", segregation_class="C")
    accepted(family="sac_h", segregation_class="A")
    pools = selectors.waiting_by_key(plant.now)
    keys = {
        (pool.resin_type.code, pool.segregation_class, bool(pool.dedicated_to)): len(pool.visits)
        for pool in pools
    }
    assert keys == {
        ("T-SAC_H", "D", False): 2,
        ("T-SAC_H", "C", False): 1,
        ("T-SAC_H", "A", True): 1,
        ("T-SBA_1", "D", False): 1,
    }


def test_a_pool_adds_up_and_puts_the_first_promise_first(plant, make_tank):
    due = [plant.now + timedelta(hours=hours) for hours in (50, 20)]
    for moment in (*due, None):
        visit = services.receive_tank(
            by=plant.by(),
            tank_id=make_tank().pk,
            customer_id=plant.customer.pk,
            return_reason="exhausted",
            due_at=moment,
        ).result
        services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen())
        services.accept_tank(
            by=plant.by(), visit_id=visit.pk, segregation_class="D", version=fresh(visit).version
        )
    (pool,) = selectors.waiting_by_key(plant.now)
    assert [visit.due_at for visit in pool.visits] == [due[1], due[0], None]
    assert pool.total_m3 == pytest.approx(3 * 0.102)
    assert (pool.first_due_at, pool.oldest_at) == (due[1], plant.now)
    assert (pool.family.value, pool.grade) == ("sac_h", "working")


def test_waiting_takes_one_query_however_many_wait(accepted, plant, django_assert_num_queries):
    for family in ("sac_h", "sac_na", "sba_1"):
        accepted(family=family), accepted(family=family)
    with django_assert_num_queries(1):
        assert sum(pool.total_m3 for pool in selectors.waiting_by_key(plant.now)) == pytest.approx(6 * 0.102)


def test_one_pool_can_be_asked_for(accepted, plant):
    visit = accepted(family="sac_h")
    accepted(family="sba_1")
    assert list(selectors.waiting_visits(plant.types["sac_h"].pk, "D", None)) == [visit]


def test_held_refused_and_received_tanks_do_not_wait(at_dock, plant):
    at_dock(), at_dock(words="cyanide")
    refused = at_dock()
    services.refuse_tank(by=plant.by(), visit_id=refused.pk, reason="smells", version=refused.version)
    assert selectors.waiting_by_key(plant.now) == []


# --- tanks and customers ------------------------------------------------------------------------------------------------
def test_a_history_knows_what_is_now_and_what_was(at_dock, plant, django_assert_num_queries):
    visit = at_dock()
    services.refuse_tank(by=plant.by(), visit_id=visit.pk, reason="smells", version=visit.version)
    second = at_dock(tank=visit.tank)
    with django_assert_num_queries(2):
        history = selectors.tank_history(visit.tank.serial.lower())
        assert history.now == second and history.round_trips == 2 and history.last == second
    assert selectors.tank_history("T-1") is None


def test_the_listing_takes_one_query_and_knows_each_newest_visit(
    at_dock, make_tank, django_assert_num_queries
):
    away, here = make_tank(), at_dock()
    for _ in range(5):
        at_dock()
    with django_assert_num_queries(1):
        rows = {tank.serial: tank for tank in selectors.filtered_tanks()}
        assert rows[here.tank.serial].visit_state == "received"
        assert rows[away.serial].visit_state is None
        assert {tank.resin_type.code for tank in rows.values()} == {"T-SAC_H"}


@pytest.mark.parametrize(
    ("wanted", "count"),
    [
        ({}, 4),
        ({"state": "received"}, 2),
        ({"state": "held"}, 1),
        ({"state": "away"}, 1),
        ({"segregation_class": "C"}, 1),
        ({"family": "sba_1"}, 1),
        ({"text": "moonbase"}, 3),
        ({"text": " t - 200 01 "}, 1),
        ({"text": "no such thing"}, 0),
    ],
)
def test_the_listing_narrows(at_dock, make_tank, wanted, count):
    make_tank(family="sba_1")
    at_dock(), at_dock(segregation_class="C"), at_dock(words="nitric")
    assert selectors.filtered_tanks(**wanted).count() == count


def test_the_listing_of_one_customer_holds_the_tanks_it_had_and_its_own(at_dock, make_tank, plant):
    had, own = at_dock().tank, make_tank(segregation_class="A")
    make_tank()
    assert set(selectors.filtered_tanks(customer_id=plant.customer.pk)) == {had, own}


def test_tanks_are_counted_by_state(at_dock, make_tank):
    make_tank(), at_dock(), at_dock(words="nitric")
    assert selectors.count_by_state() == {"received": 1, "held": 1, "away": 1}


def test_a_customer_knows_how_many_tanks_are_here(at_dock, make_tank, plant):
    at_dock(), at_dock(), make_tank(segregation_class="A")
    customer = selectors.customer_page("moon")
    assert (customer.tanks_here, customer.tanks_dedicated) == (2, 1)


def test_a_round_trip_knows_its_batch_and_how_far_it_was_rinsed(db):
    """The batch that has the tank now, and the most bed volumes any standing reading of it was taken at."""
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sba_1")
    visit = batch.tank_links.first().visit
    (row,) = selectors.visit_rows().filter(pk=visit.pk)
    assert (row.batch_number, row.rinsed_bv) == (batch.number, None)
    factories.run_to(plant, batch, StepKind.FAST_RINSE, finish=True)
    rinsed = [reading.rinsed_bv for reading in batch.readings.all()]
    (row,) = selectors.visit_rows().filter(pk=visit.pk)
    assert len(rinsed) > 1 and row.rinsed_bv == max(rinsed)
