"""The floor: what it says, its constant number of queries, and what people without a right see of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from regenplant.batches import services as batch_services
from regenplant.batches.selectors import floor_board
from regenplant.chemicals import services as chemical_services
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.selectors import profile
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import TankVisit
from regenplant.web.notes import index_notes
from regenplant.web.presenters.bed import moment_words, spelled
from regenplant.web.presenters.floor import floor_view
from tests import factories
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


def view_now(system: str = "metric"):
    return floor_view(floor_board(timezone.now(), profile()), system)


# --- who may see ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["floor", "floor-board"])
def test_a_signed_out_person_is_asked_to_sign_in(client, plant, name):
    response = client.get(reverse(name))
    assert response.status_code == 302 and reverse("sign-in") in response["Location"]


def test_whoever_may_not_start_sees_the_button_closed_with_the_reason(plant, client_of):
    factories.accepted_tanks(plant, "sac_h", 3)
    allowed = client_of(plant.people["operator"]).get(reverse("floor")).content.decode()
    assert f"{reverse('start')}?type=" in allowed
    shown = client_of(plant.people["qc"]).get(reverse("floor"))
    assert f"{reverse('start')}?type=" not in shown.content.decode()
    assert "Start in C1: This takes an operator, supervisor or planner." in text_of(shown)


def test_a_person_without_a_role_reads_it_too(plant, outsider, client_of):
    assert client_of(outsider).get(reverse("floor")).status_code == 200


def test_it_is_only_read(operator_client):
    assert operator_client.post(reverse("floor")).status_code == 405


# --- what it says -----------------------------------------------------------------------------------------------------
def test_an_empty_floor_says_so_in_words(operator_client):
    text = text_of(operator_client.get(reverse("floor")))
    assert "No beds are at work. No tank waits for a batch." in text
    assert "Nothing outside its limits. Nothing overdue." in text
    assert "No resin is in a vessel." in text


def test_the_opening_sentence_counts_beds_and_names_what_is_next(plant):
    factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)
    held = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, held, StepKind.BACKWASH, finish=True)
    batch_services.hold_batch(by=plant.by(), batch_id=held.pk, reason="the brine is not dissolved yet")
    factories.frozen_batch(plant, "sba_2")
    factories.accepted_tanks(plant, "sba_1", 3)
    sentence = view_now().sentence
    assert sentence.startswith(
        "One bed is at work, one is held and one is ready to load. By plan C1 is done first, at "
    )
    assert sentence.endswith("Next to start: A1.")


def test_a_held_bed_stands_under_wrong_with_its_reason_and_a_way_to_it(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="the brine is not dissolved yet")
    page = operator_client.get(reverse("floor"))
    text = text_of(page)
    assert f"S1 is held: {batch.number}. the brine is not dissolved yet" in text
    assert "1 needs a person" in text and "Held after backwash" in text
    assert reverse("batches-detail", args=[batch.number]) in page.content.decode()


def test_a_bed_shows_its_step_its_time_its_ruler_and_its_key_figure(plant):
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.INJECT)
    batch_services.write_entry(by=plant.by(), step_id=step.pk, key="strength", text="5.1 %", again="5.1 %")
    (bed,) = view_now().beds
    assert (bed.vessel, bed.mark, bed.word) == ("C1", "overdue", "Acid injection")
    assert bed.lines[0] == batch.number and bed.lines[2] == "class D\u00a0· 306.0\u00a0L"
    assert bed.lines[3] == "10.81\u00a0ft³"
    assert bed.ruler_left == "step 4 of 7, then displacement rinse"
    assert [one.state for one in bed.ruler] == [
        "done",
        "done",
        "done",
        "late",
        "waiting",
        "waiting",
        "waiting",
    ]
    assert bed.bar is not None and bed.bar.value_text == "5.10" and bed.bar.verdict == "within"


def test_figures_follow_the_persons_unit_system(plant):
    factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.LOAD)
    (bed,) = view_now("us").beds
    assert bed.lines[2] == "class D\u00a0· 10.81\u00a0ft³" and bed.lines[3] == "306.0\u00a0L"


def test_a_rinse_reading_short_of_its_end_is_not_yet_and_not_wrong(plant):
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=10)
    factories.reading(plant, batch, "300 µS/cm")
    (bed,) = view_now().beds
    assert bed.bar is not None and bed.bar.verdict == "not yet" and bed.bar.tone == ""
    assert bed.url == reverse("rinse", args=[batch.number])


@pytest.mark.parametrize(
    ("kind", "word", "left_word"),
    [
        ("awaiting", "", "waited"),
        ("passed", "Passed, fill the tanks", "waited"),
        ("ready", "Ready to load", "planned"),
    ],
)
def test_each_state_has_its_word_and_its_time(plant, kind, word, left_word):
    if kind == "ready":
        factories.frozen_batch(plant, "sac_na")
    elif kind == "passed":
        factories.passed_batch(plant, "sac_na")
    else:
        factories.run_to(plant, factories.frozen_batch(plant, "sac_na"), StepKind.SAMPLE, finish=True)
    (bed,) = view_now().beds
    assert (bed.word, bed.left_word) == (word, left_word)


def test_a_filled_batch_waits_for_its_release_below(plant, client_of):
    batch = factories.filled_batch(plant, "sac_na")
    view = view_now()
    assert view.beds == () and [row.number for row in view.leaving] == [batch.number]
    text = text_of(client_of(plant.people["qc"]).get(reverse("floor")))
    assert "Filled, waits for release" in text and f"Look at {batch.number}" in text


@pytest.mark.parametrize(
    ("count", "button", "starts"), [(3, "Start in C1", True), (1, "Needs 98.0\u00a0L more", False)]
)
def test_a_pool_can_start_or_says_what_is_missing(plant, count, button, starts):
    factories.accepted_tanks(plant, "sac_h", count)
    (pool,) = view_now().pools
    assert (pool.button, bool(pool.url)) == (button, starts)


def test_a_pool_waits_for_its_vessel_or_its_lock(plant):
    factories.frozen_batch(plant, "sac_h")
    factories.accepted_tanks(plant, "sac_h", 3)
    assert view_now().pools[0].button == "When C1 is free"
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["A1"].pk, number="118", reason="drain valve work"
    )
    factories.accepted_tanks(plant, "sba_1", 3)
    by_title = {pool.title: pool for pool in view_now().pools}
    assert by_title["Strong-base anion\u00a01 · class D"].button == "A1 is locked out"


def test_a_broken_promise_is_said(plant):
    tank = factories.received_tank(plant, "sac_h").tank
    TankVisit.objects.filter(tank=tank).update(due_at=timezone.now() - timedelta(hours=2))
    visit = TankVisit.objects.get(tank=tank)
    tank_services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=factories.SOUND_LOOK)
    visit.refresh_from_db()
    tank_services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    (pool,) = view_now().pools
    assert pool.is_due_past and pool.due.startswith("was due ")


def test_the_refreshed_part_is_the_same_without_its_frame(plant, operator_client):
    factories.frozen_batch(plant, "sac_h")
    part = operator_client.get(reverse("floor-board")).content.decode()
    assert "<html" not in part and 'id="floor-board"' in part and 'hx-trigger="every 60s"' in part
    assert "B-10001" in part and 'id="floor-state" hx-swap-oob="true"' in part


# --- queries ----------------------------------------------------------------------------------------------------------
def queries_of(client) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(reverse("floor")).status_code == 200
    return len(seen)


def test_two_batches_and_six_take_the_same_number_of_queries(plant, operator_client):
    for number in (3, 4, 5):
        factories.another_vessel(plant, f"C{number}", "sac_h")
    factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.LOAD)
    factories.run_to(plant, factories.frozen_batch(plant, "sac_na"), StepKind.LOAD)
    factories.accepted_tanks(plant, "sba_2", 2)
    queries_of(operator_client)
    two = queries_of(operator_client)
    for vessel in ("C3", "C4", "C5"):
        factories.run_to(plant, factories.frozen_in(plant, "sac_h", vessel), StepKind.LOAD)
    factories.run_to(plant, factories.frozen_batch(plant, "sba_1"), StepKind.LOAD)
    factories.accepted_tanks(plant, "sba_2", 4)
    assert queries_of(operator_client) == two
    assert two <= 30


# --- the index --------------------------------------------------------------------------------------------------------
def test_notes_say_what_waits_behind_each_tab_in_five_queries(plant):
    batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    factories.run_to(plant, factories.frozen_batch(plant, "sba_2"), StepKind.LOAD)
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="the brine is not dissolved yet")
    batch_services.open_deviation(
        by=plant.by(), batch_id=batch.pk, what="a hose dripped on the floor", severity="minor"
    )
    factories.accepted_tanks(plant, "sac_h", 2)
    factories.received_tank(plant, "sac_h")
    with CaptureQueriesContext(connection) as seen:
        notes = index_notes()
    assert len(seen) == 5
    assert notes == {
        "floor": ("1 held", True),
        "batches": ("1 running", False),
        "intake": ("1 waits", False),
        "waiting": ("2 tanks", False),
        "review": ("2 wait", False),
    }


def test_a_tank_in_a_batch_does_not_wait(plant):
    factories.frozen_batch(plant, "sac_h")
    assert "waiting" not in index_notes()


def test_a_low_tank_calls(plant):
    assert "chemicals" not in index_notes()
    chemical_services.add_place(
        by=plant.by("supervisor"), code="B-2", name="Second brine tank", kind="bulk_tank", chemical="nacl",
        capacity_m3=10.0, low_stock_grams_100=1_000,
    )  # fmt: skip
    assert index_notes()["chemicals"] == ("1 low", True)


# --- small words ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("number", "word"), [(0, "no"), (1, "one"), (12, "twelve"), (13, "13")])
def test_small_numbers_are_words(number, word):
    assert spelled(number) == word


def test_moments_are_as_short_as_they_are_clear():
    now = timezone.now().replace(hour=12, minute=0)
    assert moment_words(now.replace(hour=9, minute=5), now) == "09:05"
    assert moment_words(now - timedelta(days=2), now) == f"{now - timedelta(days=2):%a}\u00a012:00"
    assert moment_words(now - timedelta(days=30), now) == f"{now - timedelta(days=30):%Y-%m-%d}\u00a012:00"
