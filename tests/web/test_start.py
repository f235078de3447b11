"""Starting a batch through HTTP: what is suggested, what is shown before anything is saved, and every refusal."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pytest
from django.urls import reverse
from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.batches.selectors import start_page
from regenplant.plant import services as plant_services
from regenplant.plant.models import Vessel, WasteTank
from regenplant.plant.services import SkidSettings, VesselSettings
from regenplant.waste import services as waste_services
from regenplant.web.areas.start import StartForm, wanted_of
from regenplant.web.presenters.start import start_view
from tests import factories, families
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
START = "start"


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today(hours=2)


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def tanks(plant):
    return factories.accepted_tanks(plant, "sac_h", 4)


def address(plant, family: str = "sac_h", **more: Any) -> str:
    query = {"type": plant.types[family].pk, "class": "D", **more}
    return f"{reverse(START)}?{urlencode(query, doseq=True)}"


def page_now(plant, **more: Any):
    return start_page(
        timezone.now(),
        resin_type_id=plant.types["sac_h"].pk,
        segregation_class="D",
        dedicated_to_id=None,
        **more,
    )


def start_data(plant, tanks, **changed: Any) -> dict[str, Any]:
    """What the browser sends for the page as it was shown."""
    page = page_now(plant, visit_ids=[visit.pk for visit in tanks])
    assert page is not None
    data = {
        "type": plant.types["sac_h"].pk, "class": "D", "dedicated": "", "chosen": "1", "act": "freeze",
        "tanks": [visit.pk for visit in tanks], "vessel": plant.vessels["C1"].pk,
        "recipe": plant.recipe["sac_h"].pk, "specification": plant.specification["sac_h"].pk,
        "digest": page.plan_digest, "gear": "on",
    }  # fmt: skip
    return data | changed


# --- who may ----------------------------------------------------------------------------------------------------------
def test_a_signed_out_person_is_asked_to_sign_in(client, plant):
    response = client.get(reverse(START))
    assert response.status_code == 302 and reverse("sign-in") in response["Location"]
    response = client.post(reverse(START), {"act": "freeze"})
    assert response.status_code == 401 and reverse("sign-in") in response.content.decode()
    assert not Batch.objects.exists()


def test_whoever_may_not_plan_sees_why_and_is_refused(plant, tanks, client_of):
    client = client_of(plant.people["qc"])
    text = text_of(client.get(address(plant)))
    assert "Start batch: This takes an operator, supervisor or planner." in text
    response = client.post(reverse(START), start_data(plant, tanks))
    assert response.status_code == 403 and not Batch.objects.exists()


def test_a_person_without_a_role_is_refused(plant, tanks, outsider, client_of):
    assert client_of(outsider).post(reverse(START), start_data(plant, tanks)).status_code == 403
    assert not Batch.objects.exists()


# --- what is shown ----------------------------------------------------------------------------------------------------
def test_the_page_suggests_tanks_and_shows_the_plan_before_anything_is_saved(plant, tanks, operator_client):
    page = operator_client.get(address(plant))
    text = text_of(page)
    assert "4 tanks fit C1: 408.0 L of 200.0 L to 450.0 L." in text
    # dose 100 g/L of 408 L is 40.8 kg as 100 %, in pounds by 1 lb = 0.45359237 kg exactly
    assert "40.8 kg" in text and "89.9 lb" in text
    assert "Lot LOT-HCL:" in text and "0 of 7 days old" in text
    assert "Acid injection" in text and "chemical-resistant gloves" in text
    assert "To the waste tank, against the room in it" in text
    assert not Batch.objects.exists()


def test_a_fifth_tank_is_out_and_says_why(plant, tanks, operator_client):
    fifth = factories.accepted_tank(plant, "sac_h")
    text = text_of(operator_client.get(address(plant)))
    assert "4 of 5 in" in text
    assert (
        f"{fifth.tank.serial} 102.0 L (3.60 ft³)" in text and "C1 has 42.0 L left when its turn comes" in text
    )


def test_choices_by_hand_are_said_to_be_by_hand(plant, tanks):
    page = page_now(plant, visit_ids=[visit.pk for visit in tanks[:3]])
    view = start_view(page, timezone.now(), "metric")
    assert [row.is_in for row in view.tanks] == [True, True, True, False]
    assert view.tanks[3].why.startswith("Left out by hand; no promise")


def test_too_few_and_too_many_close_the_start_with_the_number(plant, tanks, operator_client):
    every = [*tanks, factories.accepted_tank(plant, "sac_h")]
    for count, sentence in (
        (0, "No tank is chosen. C1 takes 200.0 L to 450.0 L."),
        (1, "One tank, 102.0 L: 98.0 L too few for C1."),
        (5, "5 tanks, 510.0 L: 60.0 L too much for C1."),
    ):
        page = operator_client.get(address(plant, chosen=1, tanks=[visit.pk for visit in every[:count]]))
        text = text_of(page)
        assert sentence in text
        assert "Start batch: " in text and 'value="freeze"' not in page.content.decode()


def test_figures_follow_the_persons_unit_system(plant, tanks, operator_client):
    operator_client.post(reverse("preferences"), {"unit_system": "us", "theme": ""})
    text = text_of(operator_client.get(address(plant)))
    assert "4 tanks fit C1: 14.41 ft³ of 7.06 ft³ to 15.89 ft³." in text


def test_a_pool_that_does_not_wait_is_said_and_what_waits_is_offered(plant, tanks, operator_client):
    for query in (
        "type=abc&class=D",
        "type=999999&class=D",
        "type=-1",
        f"type={'9' * 30}&class=D",
        "type=1&class=Q",
    ):
        response = operator_client.get(f"{reverse(START)}?{query}")
        text = text_of(response)
        assert response.status_code == 404, query
        assert "Nothing of this pool waits" in text and "4 tanks" in text, query


def test_without_a_pool_the_pools_are_offered(plant, tanks, operator_client):
    response = operator_client.get(reverse(START))
    assert response.status_code == 200
    assert "Strong-acid cation H, class D" in text_of(response)
    assert f"type={plant.types['sac_h'].pk}" in response.content.decode()


def test_unreadable_choices_in_the_address_never_break_the_page(plant, tanks, operator_client):
    for field in ("vessel", "recipe", "specification", "tanks", "dedicated"):
        for value in ("abc", "-5", "0", "99999999999999999999", "\x00", "<b>x"):
            response = operator_client.get(address(plant, **{field: value}))
            assert response.status_code in (200, 404), (field, value)
            assert "<b>x" not in response.content.decode(), (field, value)


def test_the_form_of_a_start_needs_the_tick_and_the_plan_that_was_seen():
    form = StartForm({})
    assert not form.is_valid() and set(form.errors) == {"gear", "digest"}


# --- planning again ---------------------------------------------------------------------------------------------------
def test_planning_again_shows_the_same_choice_and_keeps_the_token_out_of_the_address(
    plant, tanks, operator_client
):
    data = start_data(plant, tanks[:3], act="plan", csrfmiddlewaretoken="x" * 64)
    response = operator_client.post(reverse(START), data)
    assert response.status_code == 302
    assert "csrf" not in response["Location"] and "digest" not in response["Location"]
    assert operator_client.get(response["Location"]).context["view"].tanks_note == "3 of 4 in"


def test_a_choice_is_read_from_what_was_sent_and_nothing_else(rf):
    wanted = wanted_of(rf.get("/start/?type=3&class=D&tanks=7&tanks=7&tanks=x&vessel=").GET)
    assert (wanted.type_id, wanted.visit_ids, wanted.vessel_id, wanted.unread) == (3, (7,), None, ("x",))


# --- freezing ---------------------------------------------------------------------------------------------------------
def test_a_start_gives_a_number_and_leads_to_the_batch(plant, tanks, operator_client):
    response = operator_client.post(reverse(START), start_data(plant, tanks), follow=True)
    batch = Batch.objects.get()
    assert response.redirect_chain[0][0] == reverse("batches-detail", args=[batch.number])
    assert (batch.state, batch.tank_links.count(), batch.vessel.code) == ("ready", 4, "C1")
    assert f"Written: {batch.number} is planned in C1, its plan is frozen." in text_of(response)


def refused(response: Any, sentence: str, status: int = 422) -> str:
    text = text_of(response)
    assert response.status_code == status, text
    assert sentence in text, text
    return text


def test_the_cautions_must_be_ticked_and_nothing_chosen_is_lost(plant, tanks, operator_client):
    response = operator_client.post(reverse(START), start_data(plant, tanks[:3], gear=""))
    refused(response, "This is not confirmed yet.")
    assert response.context["view"].tanks_note == "3 of 4 in"
    assert not Batch.objects.exists()


def test_a_plan_that_nobody_saw_is_not_frozen(plant, tanks, operator_client):
    response = operator_client.post(reverse(START), start_data(plant, tanks, digest=""))
    refused(response, "No plan was shown for this choice.")
    assert not Batch.objects.exists()


def test_a_plan_that_changed_since_it_was_seen_is_shown_again(plant, tanks, operator_client):
    data = start_data(plant, tanks)
    waste_services.set_waste_level(
        by=plant.by("supervisor"), waste_tank_id=WasteTank.objects.get().pk, level_m3=9.0
    )
    response = operator_client.post(reverse(START), data)
    refused(response, "The plan is no longer the one you saw", status=409)
    assert response.context["view"].digest != data["digest"]
    assert not Batch.objects.exists()
    assert operator_client.post(reverse(START), start_data(plant, tanks)).status_code == 302


def test_ticks_that_were_changed_after_the_plan_was_shown_do_not_start_unseen(plant, tanks, operator_client):
    data = start_data(plant, tanks) | {"tanks": [visit.pk for visit in tanks[:3]]}
    refused(operator_client.post(reverse(START), data), "The plan is no longer the one you saw", status=409)
    assert not Batch.objects.exists()


def test_pools_are_never_mixed(plant, tanks, operator_client):
    other = factories.accepted_tank(plant, "sac_na")
    data = start_data(plant, tanks[:3]) | {"tanks": [*(visit.pk for visit in tanks[:3]), other.pk]}
    refused(operator_client.post(reverse(START), data), "Different pools are never mixed.")
    assert not Batch.objects.exists()


def test_a_vessel_that_was_taken_meanwhile_is_refused_by_name(plant, tanks, operator_client):
    data = start_data(plant, tanks)
    first = factories.frozen_batch(plant, "sac_h", factories.accepted_tanks(plant, "sac_h", 3))
    response = operator_client.post(reverse(START), data)
    refused(response, f"C1 holds batch {first.number} (ready)")
    assert Batch.objects.count() == 1


def test_of_two_people_with_the_same_tank_one_wins_and_the_other_is_told(
    plant, tanks, operator_client, client_of
):
    factories.another_vessel(plant, "C3", "sac_h")
    data = start_data(plant, tanks[:3])
    other = start_data(plant, tanks[1:], vessel=plant.vessels["C3"].pk)
    other["digest"] = page_now(
        plant, visit_ids=[visit.pk for visit in tanks[1:]], vessel_id=plant.vessels["C3"].pk
    ).plan_digest
    assert client_of(plant.people["operator 2"]).post(reverse(START), other).status_code == 302
    batch = Batch.objects.get()
    response = operator_client.post(reverse(START), data)
    refused(response, f"{tanks[1].tank.serial} is already in batch {batch.number}. Choose other tanks.")
    assert [row.serial for row in response.context["view"].tanks] == [tanks[0].tank.serial]
    assert Batch.objects.count() == 1


def test_when_nothing_of_the_pool_is_left_the_page_says_so(plant, tanks, operator_client):
    data = start_data(plant, tanks)
    factories.frozen_batch(plant, "sac_h", tanks)
    response = operator_client.post(reverse(START), data)
    refused(response, "Nothing of this pool waits", 409)
    assert Batch.objects.count() == 1


def test_the_same_page_sent_twice_makes_one_batch(plant, tanks, operator_client):
    data = start_data(plant, tanks)
    assert operator_client.post(reverse(START), data).status_code == 302
    assert operator_client.post(reverse(START), data).status_code in (409, 422)
    assert Batch.objects.count() == 1


def test_a_locked_vessel_closes_the_start_with_its_reason(plant, tanks, operator_client):
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["C1"].pk, number="118", reason="drain valve work"
    )
    page = operator_client.get(address(plant))
    assert "Start batch: C1 is locked out: drain valve work." in text_of(page)
    response = operator_client.post(reverse(START), start_data(plant, tanks))
    refused(response, "locked out")
    assert not Batch.objects.exists()


def test_a_choice_that_is_not_offered_is_refused_in_words(plant, tanks, operator_client):
    for field in ("vessel", "recipe", "specification"):
        for value, sentence in (
            ("999999", "is no choice for this pool"),
            ("x", "“x” is no number of a tank"),
        ):
            response = operator_client.post(reverse(START), start_data(plant, tanks, **{field: value}))
            refused(response, sentence)
    assert not Batch.objects.exists()


def test_a_tank_that_is_no_number_is_refused_and_the_others_stay(plant, tanks, operator_client):
    for value in ("x", "-3", "99999999999999999999", "4.5", "\x00"):
        data = start_data(plant, tanks[:3]) | {"tanks": [*(visit.pk for visit in tanks[:3]), value]}
        response = operator_client.post(reverse(START), data)
        refused(response, "is no number of a tank")
        assert response.context["view"].tanks_note == "3 of 4 in"
    assert not Batch.objects.exists()


def test_a_tank_that_nobody_knows_is_refused(plant, tanks, operator_client):
    data = start_data(plant, tanks) | {"tanks": [999_999]}
    refused(operator_client.post(reverse(START), data), "one that is not known here")
    assert not Batch.objects.exists()


# --- the recipe a vessel can run --------------------------------------------------------------------------------------
@pytest.fixture
def sulfuric_vessel(plant):
    """C2, which gets sulfuric acid and nothing else, beside C1, which gets hydrochloric acid."""
    by = plant.by("supervisor")
    for code, chemical in (("C1", "hcl"), ("C2", "h2so4")):
        settings = VesselSettings(
            code, f"Vessel {code}", 0.70, 3.2, 0.20, 0.45, ("sac_h",), ("D",), chemicals=(chemical,)
        )
        known = Vessel.objects.filter(code=code).first()
        plant.vessels[code] = plant_services.save_vessel(
            by=by, vessel=settings, version=known.version if known else None
        ).result
    plant_services.save_skid(by=by, skid=SkidSettings("HS", "Skid HS", "h2so4", 1e-5, 2e-3, None))
    factories.approved_recipe(plant, families.default_recipe("H-H2SO4-120"))
    return plant.vessels["C2"]


def options(response) -> list[tuple[str, bool, str]]:
    return [(one.label, one.is_chosen, one.against) for one in response.context["view"].recipes]


def test_a_recipe_that_cannot_run_in_the_vessel_stands_last_with_the_reason(
    plant, tanks, sulfuric_vessel, operator_client
):
    response = operator_client.get(address(plant))
    assert options(response) == [
        ("H-HCL-100 version 1", True, ""),
        (
            "H-H2SO4-120 version 1",
            False,
            "Sulfuric acid is not piped to vessel C1, which gets hydrochloric acid.",
        ),
    ]
    html = response.content.decode()
    assert '<optgroup label="Cannot run in C1">' in html and html.count("<optgroup") == html.count(
        "</optgroup>"
    )
    assert "H-H2SO4-120 version 1: Sulfuric acid is not piped to vessel C1" in text_of(response)


def test_another_vessel_brings_its_own_recipe_and_a_recipe_chosen_for_it_stays(
    plant, tanks, sulfuric_vessel, operator_client
):
    hydrochloric, other = plant.recipe["sac_h"].pk, sulfuric_vessel.pk
    moved = operator_client.get(
        address(plant, vessel=other, recipe=hydrochloric, shown_vessel=plant.vessels["C1"].pk)
    )
    assert [one[:2] for one in options(moved)] == [
        ("H-H2SO4-120 version 1", True),
        ("H-HCL-100 version 1", False),
    ]
    kept = operator_client.get(address(plant, vessel=other, recipe=hydrochloric, shown_vessel=other))
    assert [one[:2] for one in options(kept)] == [
        ("H-H2SO4-120 version 1", False),
        ("H-HCL-100 version 1", True),
    ]
    assert "Hydrochloric acid is not piped to vessel C2" in text_of(kept)


def test_a_start_is_refused_where_the_recipe_cannot_run_and_no_other_is_taken_for_it(
    plant, tanks, sulfuric_vessel, operator_client
):
    sent = start_data(plant, tanks, vessel=sulfuric_vessel.pk, shown_vessel=plant.vessels["C1"].pk)
    response = operator_client.post(reverse(START), sent)
    assert response.status_code in (409, 422) and not Batch.objects.exists()
