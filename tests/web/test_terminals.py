"""Terminals: named at the terminal itself, known again by its key, in every act from it; a key nobody gave counts for nothing."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.audit.models import AuditEvent
from regenplant.plant.models import Terminal
from regenplant.web import terminals
from tests import factories
from tests.web.pages import form_data, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-09")]
NAME = "Tablet at the acid skid"


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


def named(client: Client, name: str = NAME):  # type: ignore[no-untyped-def]
    url = reverse("setup-terminal-name")
    return client.post(url, {**form_data(client.get(url).context["form"]), "name": name})


def wrote_from(client: Client) -> str:
    """Where the newest act says it came from, after a small act of this client."""
    client.post(reverse("preferences"), {"unit_system": "us", "theme": "dark"})
    newest = AuditEvent.objects.order_by("-number")[0]
    assert newest.event == "person.preferences_set"
    return newest.terminal


def test_a_terminal_is_named_once_and_every_act_from_it_bears_the_name(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    assert "has no name. The record knows it by its address, 127.0.0.1." in text_of(
        client.get(reverse("setup-terminals"))
    )
    assert wrote_from(client) == "127.0.0.1"
    answer = named(client)
    assert answer.status_code == 302
    cookie = answer.cookies[terminals.COOKIE]
    assert cookie["httponly"] and cookie["samesite"] == "Lax" and int(cookie["max-age"]) > 86400
    assert f"You are at {NAME}." in text_of(client.get(reverse("setup-terminals")))
    assert wrote_from(client) == f"{NAME}, 127.0.0.1"
    assert Terminal.objects.get().key not in text_of(client.get(reverse("setup-terminals")))

    # the key belongs to the terminal, not to the person: who signs in there next writes from it too
    client.force_login(plant.people["operator"])
    assert wrote_from(client) == f"{NAME}, 127.0.0.1"
    assert wrote_from(as_("operator")) == "127.0.0.1"


def test_another_name_for_the_same_terminal_leaves_what_was_written(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("supervisor")
    named(client)
    wrote_from(client)
    assert named(client, "Tablet at the caustic skid").status_code == 302
    assert Terminal.objects.count() == 1
    assert wrote_from(client) == "Tablet at the caustic skid, 127.0.0.1"
    assert f"Terminal {NAME} is called Tablet at the caustic skid now" in text_of(
        client.get(reverse("setup-terminals"))
    )
    assert AuditEvent.objects.filter(terminal=f"{NAME}, 127.0.0.1").exists()


def test_a_name_is_used_once_and_not_again_after_its_terminal_is_retired(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    first, second = as_("supervisor"), as_("administrator")
    named(first)
    answer = named(second, NAME.upper())
    assert answer.status_code == 422 and "Another terminal is or was called" in text_of(answer)
    terminal = Terminal.objects.get()
    url = reverse("setup-terminal-retire", args=[terminal.pk])
    data = form_data(second.get(url).context["form"])
    assert "ten" in text_of(second.post(url, {**data, "reason": "gone"}))
    assert second.post(url, {**data, "reason": "It fell into the sump."}).status_code == 302
    assert wrote_from(first) == "127.0.0.1"
    assert named(second, NAME).status_code == 422
    assert named(first, "Tablet 2").status_code == 302 and Terminal.objects.count() == 2
    assert second.get(url).status_code == 404


@pytest.mark.parametrize("value", ["", "0" * 32, "0" * 32 + ":1abcde:forged", "\x00", "x" * 5000])
def test_a_key_that_the_plant_did_not_give_counts_for_nothing(
    plant: factories.SmallPlant, as_: Callable[[str], Client], value: str
) -> None:
    client = as_("supervisor")
    named(client)
    client.cookies[terminals.COOKIE] = value
    assert wrote_from(client) == "127.0.0.1"


def test_who_may_not_set_up_the_plant_names_nothing(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    assert as_("operator").post(reverse("setup-terminal-name"), {"name": NAME}).status_code == 403
    assert not Terminal.objects.exists()


@pytest.mark.parametrize("name", ["", "x", "x" * 41])
def test_a_name_that_cannot_be_is_refused_in_a_sentence(
    plant: factories.SmallPlant, as_: Callable[[str], Client], name: str
) -> None:
    assert named(as_("supervisor"), name).status_code == 422
    assert not Terminal.objects.exists()
