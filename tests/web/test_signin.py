"""Signing in and out: the demonstration names its people, a plant never does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.people.models import Person
from regenplant.web.areas.signin import PreferencesForm, SignInForm
from regenplant.web.story.password import PASSWORD
from tests import factories
from tests.web.pages import errors_of, text_of

pytestmark = pytest.mark.django_db
URL = "/sign-in/"


def test_the_demonstration_names_its_people_and_the_password(
    client: Client, operator: Person, settings: Any
) -> None:
    settings.DEMO = True
    shown = text_of(client.get(URL))
    assert (
        "Demonstration plant. Nothing here is real." in shown
        and PASSWORD in shown
        and operator.full_name in shown
    )
    page = client.get(URL, {"name": operator.username})
    assert isinstance(page.context["form"], SignInForm)
    content = page.content.decode()
    assert (
        f'value="{operator.username}"' in content
        and content.index("autofocus") > content.index('name="password"') - 200
    )


def test_a_plant_names_nobody(client: Client, operator: Person, settings: Any) -> None:
    settings.DEMO = False
    content = client.get(URL, {"name": operator.username}).content.decode()
    assert operator.full_name not in content and PASSWORD not in content and operator.username not in content


def test_the_way_to_help_stands_on_the_page(client: Client, db: None) -> None:
    assert reverse("emergency") in client.get(URL).content.decode()


def test_signing_in_goes_on_to_what_was_asked_and_never_elsewhere(client: Client, operator: Person) -> None:
    data = {"username": operator.username, "password": factories.PASSWORD}
    assert client.post(URL, data | {"next": "/setup/"})["Location"] == "/setup/"
    client.post(reverse("sign-out"))
    assert not client.post(URL, data | {"next": "https://elsewhere.example/"})["Location"].startswith("https")


def test_a_wrong_password_is_said_without_saying_which_was_wrong(client: Client, operator: Person) -> None:
    wrong = client.post(URL, {"username": operator.username, "password": "not it at all"})
    unknown = client.post(URL, {"username": "nobody", "password": "not it at all"})
    assert errors_of(wrong) == errors_of(unknown) != {}
    assert "not it at all" not in wrong.content.decode()


def test_preferences_go_back_to_where_they_were_asked(
    operator: Person, client_of: Callable[[Person], Client]
) -> None:
    client = client_of(operator)
    assert isinstance(client.get(reverse("preferences")).context["form"], PreferencesForm)
    answer = client.post(
        reverse("preferences"), {"unit_system": "us", "theme": "dark", "next": "/setup/vessels/"}
    )
    assert answer["Location"] == "/setup/vessels/"
    operator.refresh_from_db()
    assert (operator.unit_system, operator.theme) == ("us", "dark")
    bad = client.post(reverse("preferences"), {"unit_system": "imperial", "theme": ""})
    assert bad.status_code == 200 and "unit_system" in errors_of(bad)


def test_a_stale_form_is_explained(operator: Person) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post(URL, {"username": operator.username, "password": factories.PASSWORD})
    assert answer.status_code == 403 and "This page stood open too long" in text_of(answer)


def test_a_refusal_that_no_form_could_show_is_a_page(
    operator: Person, client_of: Callable[[Person], Client]
) -> None:
    """A lot that is finished refuses its check page's act, an unknown one is not found: neither is ever a server error."""
    assert client_of(operator).get("/chemicals/lots/NONE/check/").status_code == 404
