"""The dock through HTTP: three kinds of people, every refusal with its sentence, bad input in every field."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from regenplant.tanks import services
from regenplant.tanks.models import IntakeInspection, Tank, TankVisit
from tests import factories

pytestmark = pytest.mark.django_db

LOOK = {
    "shell": "sound",
    "head_and_fittings": "sound",
    "odour": "none",
    "water_colour": "clear",
    "oxidizer_strip": "none",
    "first_drain_ph": "7.2",
    "weight": "288 lb",
    "foreign_material": "",
    "note": "",
}


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.tank_plant(timezone.now() - timedelta(hours=2))


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def visit(plant) -> TankVisit:
    return factories.received_tank(plant, "sac_h")


@pytest.fixture
def away(plant) -> Tank:
    return services.add_tank(
        by=plant.by("planner"),
        size_id=plant.size.pk,
        resin_type_id=plant.types["sac_h"].pk,
        segregation_class="D",
    ).result


def text_of(response: Any) -> str:
    return " ".join(response.content.decode().replace("\u00a0", " ").replace("\u202f", " ").split())


def receive_data(plant, **changed):
    return {
        "customer": plant.customer.pk, "site": "", "return_reason": "exhausted", "customer_words": "slow",
        "resin_volume": "3.6 ft3", "bay": "4", "due_at": "",
    } | changed  # fmt: skip


def look_data(visit, **changed):
    return LOOK | {"version": visit.version} | changed


# --- who may see --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["intake", "intake-unknown"])
def test_a_signed_out_person_is_asked_to_sign_in(client, plant, name):
    response = client.get(reverse(name))
    assert response.status_code == 302 and reverse("sign-in") in response["Location"]


def test_a_signed_out_post_writes_nothing(client, plant, visit):
    response = client.post(reverse("intake-look", args=[visit.number]), look_data(visit))
    assert response.status_code == 401 and reverse("sign-in") in response.content.decode()
    assert not IntakeInspection.objects.exists()


def test_the_dock_says_in_one_sentence_who_stands_there(operator_client, visit):
    page = text_of(operator_client.get(reverse("intake")))
    assert "1 tank to look over." in page and visit.tank.serial in page


def test_an_empty_dock_says_so(operator_client):
    assert "No tank stands at the door" in text_of(operator_client.get(reverse("intake")))


def test_the_dock_takes_as_many_queries_for_many_tanks_as_for_one(
    operator_client, plant, visit, django_assert_max_num_queries
):
    operator_client.get(reverse("intake"))
    with django_assert_max_num_queries(40) as few:
        operator_client.get(reverse("intake"))
    for _ in range(8):
        factories.received_tank(plant, "sac_h")
    with django_assert_max_num_queries(len(few)):
        operator_client.get(reverse("intake"))


# --- scanning to receive ------------------------------------------------------------------------------------------------
def test_a_scanned_tank_that_is_away_leads_to_receiving(operator_client, away):
    response = operator_client.get(reverse("intake"), {"tank": f" {away.serial.lower()} "})
    assert response["Location"] == reverse("intake-receive", args=[away.serial])


def test_a_scanned_tank_that_is_here_leads_to_its_visit(operator_client, visit):
    response = operator_client.get(reverse("intake"), {"tank": visit.tank.serial})
    assert response["Location"] == reverse("intake-visit", args=[visit.number])


def test_an_unknown_tank_is_said_to_be_unknown_with_what_looks_like_it(operator_client, away):
    response = operator_client.get(reverse("intake"), {"tank": "T-2O001"})
    assert response.status_code == 404
    assert "fits no tank here" in text_of(response) and away.serial in text_of(response)


@pytest.mark.parametrize("code", ["<script>alert(1)</script>", "x" * 3000, "'; --", "\u202e", "\x00"])
def test_a_nasty_code_is_only_text(operator_client, away, code):
    response = operator_client.get(reverse("intake"), {"tank": code})
    assert response.status_code == 404
    assert "<script>alert" not in response.content.decode()


# --- receiving --------------------------------------------------------------------------------------------------------
def test_a_tank_is_received_with_numbers_as_people_write_them(operator_client, plant, away):
    response = operator_client.post(reverse("intake-receive", args=[away.serial]), receive_data(plant))
    visit = TankVisit.objects.get()
    assert response["Location"] == reverse("intake-visit", args=[visit.number])
    assert visit.resin_volume_m3 == pytest.approx(
        0.101941, abs=1e-6
    )  # 3.6 ft3, exact by definition of the foot
    assert "received as" in text_of(operator_client.get(response["Location"]))


def test_the_volume_left_as_shown_keeps_the_stored_number(operator_client, plant, away):
    page = operator_client.get(reverse("intake-receive", args=[away.serial]))
    shown = page.context["form"].fields["resin_volume"].prepare_value(away.resin_volume_m3)
    operator_client.post(
        reverse("intake-receive", args=[away.serial]), receive_data(plant, resin_volume=shown)
    )
    assert TankVisit.objects.get().resin_volume_m3 == away.resin_volume_m3


def test_receiving_twice_tells_the_second_person(operator_client, plant, away):
    address = reverse("intake-receive", args=[away.serial])
    operator_client.post(address, receive_data(plant))
    response = operator_client.post(address, receive_data(plant))
    assert response.status_code == 422 and "is here already" in text_of(response)
    assert TankVisit.objects.count() == 1


@pytest.mark.parametrize("who", ["qc", "planner", "safety"])
def test_who_may_not_receive_sees_a_grey_button_and_is_refused(plant, client_of, away, who):
    client = client_of(plant.people[who])
    address = reverse("intake-receive", args=[away.serial])
    assert "This takes an operator or supervisor." in text_of(client.get(address))
    response = client.post(address, receive_data(plant))
    assert response.status_code == 403 and "may not do this" in text_of(response)
    assert not TankVisit.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("customer", "", "it is needed"),
        ("customer", "999999", "no choice here"),
        ("customer", "'; --", "no choice here"),
        ("return_reason", "", "it is needed"),
        ("return_reason", "bored", "is no choice here"),
        ("resin_volume", "", "it is needed"),
        ("resin_volume", "much", "is not a number with a unit"),
        ("resin_volume", "102 kg", "is not a resin volume"),
        ("resin_volume", "102 bushels", "is not known"),
        ("resin_volume", "-5 L", "cannot be a resin volume here"),
        ("resin_volume", "0", "must be above zero"),
        ("resin_volume", "150 L", "at most 95% of the cylinder"),
        ("resin_volume", "9999999999999 L", "cannot be a resin volume here"),
        ("resin_volume", "1,416 L", "can be read in two ways"),
        ("bay", "x" * 21, "at most 20"),
        ("customer_words", "x" * 201, "at most 200"),
        ("due_at", "tomorrow", "no day and time"),
        ("due_at", "2020-01-01 07:00", "before now"),
        ("due_at", "9999-01-01 07:00", "more than a year away"),
    ],
)  # fmt: skip
def test_a_wrong_field_is_told_beside_it_and_nothing_typed_is_lost(
    operator_client, plant, away, field, value, sentence
):
    data = receive_data(plant, **{field: value})
    response = operator_client.post(reverse("intake-receive", args=[away.serial]), data)
    page = text_of(response)
    assert response.status_code == 422 and sentence in page
    assert field == "customer_words" or 'value="slow"' in page
    assert not TankVisit.objects.exists()


@pytest.mark.parametrize("serial", ["T-9", "<b>", "%00", "a/b"])
def test_the_page_of_no_tank_is_a_clear_404(operator_client, serial):
    assert operator_client.get(f"/intake/receive/{serial}/").status_code == 404


# --- a tank without a record --------------------------------------------------------------------------------------------
def unknown_data(client, plant, **changed):
    serial = client.get(reverse("intake-unknown")).context["form"]["serial"].value()
    return {
        "serial": serial, "size": plant.size.pk, "resin_type": plant.types["sac_h"].pk, "customer": plant.customer.pk,
        "what_is_seen": "grey shell, no tag, cap taped", "bay": "",
    } | changed  # fmt: skip


def test_a_tank_without_a_record_is_taken_in_and_held_once(operator_client, plant):
    data = unknown_data(operator_client, plant)
    operator_client.post(reverse("intake-unknown"), data)
    visit = TankVisit.objects.get()
    assert (visit.state, visit.tank.segregation_class) == ("held", "E")
    again = operator_client.post(reverse("intake-unknown"), data)
    assert again.status_code == 422 and "exists already" in text_of(again)
    assert Tank.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "value"),
    [("size", ""), ("resin_type", "0"), ("customer", "x"), ("what_is_seen", "grey"), ("bay", "b" * 99)],
)
def test_a_tank_without_a_record_needs_its_facts(operator_client, plant, field, value):
    response = operator_client.post(
        reverse("intake-unknown"), unknown_data(operator_client, plant, **{field: value})
    )
    assert response.status_code == 422
    assert response.context["form"].errors[field]
    assert not Tank.objects.exists()


# --- the look-over ------------------------------------------------------------------------------------------------------
def test_a_look_over_keeps_what_was_typed_and_what_it_means(operator_client, visit):
    operator_client.post(reverse("intake-look", args=[visit.number]), look_data(visit))
    row = IntakeInspection.objects.get()
    assert (row.first_drain_ph, row.first_drain_ph_as_typed, row.weight_as_typed) == (7.2, "7.2", "288 lb")
    assert row.weight_kg == pytest.approx(130.635, abs=0.001)  # 288 lb at 0.45359237 kg, exact by definition


def test_a_stop_holds_the_tank_and_says_whom_to_call(operator_client, visit):
    response = operator_client.post(
        reverse("intake-look", args=[visit.number]), look_data(visit, first_drain_ph="3.1"), follow=True
    )
    page = text_of(response)
    assert "is held: First drain pH 3.1, at least 4. Call the safety lead." in page
    assert "0.9 below the limit" in page
    assert TankVisit.objects.get().state == "held"


def test_a_double_press_writes_one_look_over(operator_client, visit):
    address = reverse("intake-look", args=[visit.number])
    operator_client.post(address, look_data(visit))
    response = operator_client.post(address, look_data(visit))
    assert response.status_code == 409 and "was changed since you opened it" in text_of(response)
    assert IntakeInspection.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("shell", "", "it is needed"),
        ("shell", "shiny", "is no choice here"),
        ("oxidizer_strip", "", "it is needed"),
        ("first_drain_ph", "acid", "is not a number"),
        ("first_drain_ph", "7 mg/L", "pH has no unit"),
        ("first_drain_ph", "99", "cannot be a pH here"),
        ("first_drain_ph", "-9", "cannot be a pH here"),
        ("weight", "130 L", "is not a mass"),
        ("weight", "-4 kg", "cannot be a mass here"),
        ("weight", "5000 kg", "Look at the scale and at the unit"),
        ("weight", "heavy", "is not a number"),
        ("note", "n" * 301, "at most 300"),
        ("foreign_material", "n" * 161, "at most 160"),
        ("version", "", "it is needed"),
        ("version", "one", "no whole number"),
    ],
)
def test_a_wrong_look_over_is_told_beside_its_field(operator_client, visit, field, value, sentence):
    response = operator_client.post(
        reverse("intake-look", args=[visit.number]), look_data(visit, **{field: value})
    )
    assert response.status_code == 422
    assert sentence in " ".join(str(error) for error in response.context["look_form"].errors[field])
    assert not IntakeInspection.objects.exists()


def test_planner_may_look_at_the_page_and_not_judge(plant, client_of, visit):
    client = client_of(plant.people["planner"])
    assert client.get(reverse("intake-visit", args=[visit.number])).status_code == 200
    response = client.post(reverse("intake-look", args=[visit.number]), look_data(visit))
    assert response.status_code == 403
    assert not IntakeInspection.objects.exists()


# --- the verdict --------------------------------------------------------------------------------------------------------
@pytest.fixture
def looked(plant, visit) -> TankVisit:
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=factories.SOUND_LOOK)
    return TankVisit.objects.get(pk=visit.pk)


def judge(client, visit, verdict, *, reason="", version=None):
    data = {"verdict": verdict, "reason": reason, "version": visit.version if version is None else version}
    return client.post(reverse("intake-verdict", args=[visit.number]), data)


def state_of(visit) -> str:
    return TankVisit.objects.get(pk=visit.pk).state


def test_a_sound_tank_is_accepted_by_the_button_that_names_its_class(operator_client, looked):
    assert "Accept to class D" in text_of(operator_client.get(reverse("intake-visit", args=[looked.number])))
    assert judge(operator_client, looked, "accept D").status_code == 302
    assert state_of(looked) == "accepted"


def test_accept_stays_grey_with_the_reason_before_the_look_over(operator_client, visit):
    page = text_of(operator_client.get(reverse("intake-visit", args=[visit.number])))
    assert "Not to be accepted now. The intake inspection is not written down yet." in page
    assert "Accept to class" not in page
    response = judge(operator_client, visit, "accept D")
    assert response.status_code == 422 and "not written down yet" in text_of(response)


@pytest.mark.parametrize(
    ("verdict", "sentence"),
    [
        ("accept B", "Classes are never raised"),
        ("accept", "no choice here"),
        ("", "it is needed"),
        ("ship", "no choice here"),
    ],
)
def test_a_verdict_that_cannot_be_is_refused(operator_client, looked, verdict, sentence):
    response = judge(operator_client, looked, verdict)
    assert response.status_code == 422 and sentence in text_of(response)
    assert state_of(looked) == "received"


@pytest.mark.parametrize("verdict", ["hold", "refuse"])
def test_hold_and_refuse_need_a_reason(operator_client, looked, verdict):
    response = judge(operator_client, looked, verdict)
    assert response.status_code == 422 and "The reason is empty" in text_of(response)
    assert judge(operator_client, looked, verdict, reason="smells odd").status_code == 302
    assert state_of(looked) == {"hold": "held", "refuse": "refused"}[verdict]


@pytest.mark.requirement("ER-22")
def test_a_stale_verdict_is_told_who_was_first_and_what_was_typed_stays(
    operator_client, plant, looked, client_of
):
    judge(client_of(plant.people["qc"]), looked, "hold", reason="customer called")
    response = judge(operator_client, looked, "refuse", reason="my own words")
    page = text_of(response)
    assert response.status_code == 409
    assert "was held" in page and "my own words" in page
    assert state_of(looked) == "held"


def test_a_hold_is_lifted_by_the_supervisor_and_not_by_the_operator(
    operator_client, plant, looked, client_of
):
    judge(operator_client, looked, "hold", reason="smells odd")
    held = TankVisit.objects.get(pk=looked.pk)
    assert "This takes a supervisor or safety lead." in text_of(
        operator_client.get(reverse("intake-visit", args=[held.number]))
    )
    assert judge(operator_client, held, "accept D").status_code == 403
    supervisor = client_of(plant.people["supervisor"])
    assert "Take from hold, accept to class D" in text_of(
        supervisor.get(reverse("intake-visit", args=[held.number]))
    )
    judge(supervisor, held, "accept D")
    assert state_of(held) == "accepted"


def test_who_holds_no_role_judges_nothing(looked, client_of, outsider):
    for verdict in ("accept D", "hold", "refuse"):
        assert judge(client_of(outsider), looked, verdict, reason="because").status_code == 403
    assert state_of(looked) == "received"


def test_a_shipped_visit_can_still_be_read(operator_client, plant, looked):
    services.refuse_tank(by=plant.by(), visit_id=looked.pk, reason="smells", version=looked.version)
    page = text_of(operator_client.get(reverse("intake-visit", args=[looked.number.lower()])))
    assert "Refused: smells" in page and "Write it down" not in page


@pytest.mark.parametrize(
    ("method", "name"),
    [("get", "intake-look"), ("get", "intake-verdict"), ("post", "intake"), ("delete", "intake-visit")],
)
def test_the_wrong_method_is_refused(operator_client, visit, method, name):
    args = [visit.number] if name != "intake" else []
    assert getattr(operator_client, method)(reverse(name, args=args)).status_code == 405


def test_an_unknown_visit_is_a_clear_404(operator_client):
    assert operator_client.get(reverse("intake-visit", args=["V-1"])).status_code == 404
    assert judge(operator_client, TankVisit(number="V-1", version=1), "hold", reason="x").status_code == 404


def test_an_empty_post_is_told_what_is_needed(operator_client, plant):
    response = operator_client.post(reverse("intake-unknown"), {})
    assert response.status_code == 422 and "it is needed" in text_of(response)
