"""The handover pages: the live draft, signing, taking over at either terminal, items, and those before."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.core.process.vocabulary import StepKind
from regenplant.keeping import services as paper_services
from regenplant.people.models import Person
from regenplant.plant import services as plant_services
from regenplant.shifts.models import Handover, HandoverItem
from tests import factories
from tests.web.pages import text_of

ClientOf = Callable[[Person], Client]
DRAFT = "/handover/"


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today(hours=0.0)


def text(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined,no-any-return]


def signed(client: Client, person: Person, **more: str) -> object:
    shown = client.get(DRAFT).context["form"].fields["shown"].initial
    data = {
        "version": "1",
        "shown": shown,
        "username": person.username,
        "password": factories.PASSWORD,
        **more,
    }
    return client.post(DRAFT, data)


def test_the_draft_names_what_is_wrong_and_says_what_is_not(
    plant: factories.SmallPlant, client_of: ClientOf
) -> None:
    plant_services.lock_out_vessel(
        by=plant.by("safety"),
        vessel_id=plant.vessels["S1"].pk,
        number="L-7",
        reason="Manway open for the liner.",
    )
    page = text(client_of(plant.people["operator"]).get(DRAFT))
    assert "Vessel" in page and "is locked out." in page and "Manway open for the liner." in page
    assert "No chemical stands in any bed." in page and "No deviation is open." in page


def test_a_shift_goes_from_one_person_to_another(plant: factories.SmallPlant, client_of: ClientOf) -> None:
    leaving, coming = plant.people["operator"], plant.people["operator 2"]
    answer = signed(client_of(leaving), leaving, notes="Pump P-2 sings.")
    handover = Handover.objects.get()
    assert answer["Location"] == reverse("handover-one", args=[handover.number])  # type: ignore[index]
    other = client_of(coming)
    page = text(other.get(reverse("handover-one", args=[handover.number])))
    assert "Pump P-2 sings." in page and "Sign and take over" in page
    other.post(
        reverse("handover-one", args=[handover.number]),
        {"version": "1", "username": coming.username, "password": factories.PASSWORD, "remarks": "Agreed."},
    )
    handover.refresh_from_db()
    assert handover.state == "taken" and handover.taken_by == coming and handover.remarks == "Agreed."


def test_the_coming_person_signs_at_the_terminal_of_the_leaving_one(
    plant: factories.SmallPlant, client_of: ClientOf
) -> None:
    leaving, coming = plant.people["operator"], plant.people["supervisor"]
    client = client_of(leaving)
    signed(client, leaving)
    address = reverse("handover-one", args=[Handover.objects.get().number])
    own = {"version": "1", "second_username": leaving.username, "second_password": factories.PASSWORD}
    assert "must be another one" in text(client.post(address, own))
    wrong = {"version": "1", "second_username": coming.username, "second_password": "not it"}
    assert "nothing was signed" in text(client.post(address, wrong))
    planner = {
        "version": "1",
        "second_username": plant.people["planner"].username,
        "second_password": factories.PASSWORD,
    }
    assert "may not do this" in text(client.post(address, planner))
    client.post(
        address, {"version": "1", "second_username": coming.username, "second_password": factories.PASSWORD}
    )
    handover = Handover.objects.get()
    assert handover.taken_by == coming and handover.taking_signature is not None
    assert handover.taking_signature.person == coming
    assert client.get("/handover/").context["user"] == leaving, "who is signed in stays signed in"


def test_what_changed_meanwhile_is_shown_with_the_notes_still_there(
    plant: factories.SmallPlant, client_of: ClientOf
) -> None:
    leaving = plant.people["operator"]
    client = client_of(leaving)
    old = client.get(DRAFT).context["form"].fields["shown"].initial
    plant_services.lock_out_vessel(
        by=plant.by("safety"),
        vessel_id=plant.vessels["S1"].pk,
        number="L-7",
        reason="Manway open for the liner.",
    )
    answer = signed(client, leaving, shown=old, notes="Half an hour of typing.")
    page = text(answer)
    assert answer.status_code == 409 and not Handover.objects.exists()  # type: ignore[attr-defined]
    assert "The plant changed since" in page and "Half an hour of typing." in page and "Manway open" in page
    assert answer.context["form"]["shown"].value() != old  # type: ignore[attr-defined]
    again = signed(client, leaving, notes="Half an hour of typing.")
    assert again.status_code == 302 and Handover.objects.count() == 1  # type: ignore[attr-defined]


def test_hazards_ask_for_a_tick(plant: factories.SmallPlant, client_of: ClientOf) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT)
    leaving, coming = plant.people["operator"], plant.people["operator 2"]
    signed(client_of(leaving), leaving)
    handover = Handover.objects.get()
    client, address = client_of(coming), reverse("handover-one", args=[handover.number])
    data = {"version": "1", "username": coming.username, "password": factories.PASSWORD}
    assert "Look at them on the floor first" in text(client.post(address, data))
    client.post(address, {**data, "has_seen": "on"})
    handover.refresh_from_db()
    assert handover.state == "taken"


def test_items_are_opened_and_closed_on_the_page(plant: factories.SmallPlant, client_of: ClientOf) -> None:
    client = client_of(plant.people["qc"])
    client.post(reverse("handover-item-new"), {"kind": "watch", "words": "The gland weeps.", "about": "c1"})
    item = HandoverItem.objects.get()
    page = text(client.get(DRAFT))
    assert "The gland weeps." in page and reverse("setup-vessel", args=["C1"]) in page
    client.post(reverse("handover-item-close", args=[item.pk]), {"words": "Packed anew.", "version": "1"})
    page = text(client.get(DRAFT))
    assert "No item is open." in page and "Packed anew." in page


def test_past_ones_are_listed_and_a_scan_finds_one(plant: factories.SmallPlant, client_of: ClientOf) -> None:
    leaving = plant.people["operator"]
    client = client_of(leaving)
    assert "No shift was handed over yet." in text(client.get(reverse("handover-past")))
    signed(client, leaving)
    number = Handover.objects.get().number
    assert number in text(client.get(reverse("handover-past")))
    assert client.get(f"/scan/?code={number.lower()}")["Location"] == reverse("handover-one", args=[number])
    assert client.get(reverse("handover-one", args=["H-99999"])).status_code == 404


def test_paper_forms_that_are_out_stand_on_the_page_and_in_what_was_signed(
    plant: factories.SmallPlant, client_of: ClientOf
) -> None:
    client = client_of(plant.people["operator"])
    assert "No paper form is out." in text_of(client.get(reverse("handover")))
    forms = paper_services.issue_form(by=plant.by(), kind="step_record", count=2).result
    page = client.get(reverse("handover"))
    said = f"{forms[0].number}, {forms[1].number} are out."
    assert said in text_of(page)
    assert f'href="{reverse("paper-forms-form", args=[forms[0].number])}"' in page.content.decode()
    signed(client, plant.people["operator"])
    paper_services.close_form(
        by=plant.by("supervisor"),
        form_id=forms[0].pk,
        state="missing",
        reason="nobody has seen it since noon",
    )
    one = text_of(client.get(reverse("handover-one", args=[Handover.objects.get().number])))
    assert f"{said} 2 step record forms." in one.split("as signed")[1]
    assert f"New {forms[1].number} is out." in one and f"No longer so {said}" in one
