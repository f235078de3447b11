"""The time-out of a terminal: what was typed is kept, comes back to the same person, is never sent for another."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from regenplant.audit.selectors import story
from regenplant.people.models import Alert, Person
from regenplant.people.services import reset_password, set_access_rules
from regenplant.tanks.models import Customer
from regenplant.web.kept_forms import KeptForm, kept_from
from tests import factories
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
TYPED = {"code": "NOR", "name": "North Clinic", "contact": "B. Ward, 14:00"}


@pytest.fixture
def signed_in(supervisor: Person) -> Client:
    """A browser in which the supervisor signed in by the page, with tokens against forgery checked."""
    client = Client(enforce_csrf_checks=True)
    sign_in(client, supervisor)
    return client


def token(client: Client) -> str:
    client.get(reverse("emergency"))
    return str(client.cookies["csrftoken"].value)


def send(client: Client, url: str, data: dict[str, Any]) -> HttpResponse:
    answer: HttpResponse = client.post(url, {**data, "csrfmiddlewaretoken": token(client)})
    return answer


def sign_in(client: Client, person: Person, **also: str) -> HttpResponse:
    data = {"username": person.username, "password": factories.PASSWORD, **also}
    return send(client, reverse("sign-in"), data)


def idle(client: Client, minutes: float) -> None:
    """Nobody touched this terminal for so long."""
    session = client.session
    session["touched_at"] = int(time.time() - 60 * minutes)
    session.save()


def kept_in(answer: HttpResponse) -> str:
    """What the page carries."""
    found = re.search(r'name="kept" value="([^"]+)"', answer.content.decode())
    assert found, "the page carries no form"
    return found[1]


# --- idle ---------------------------------------------------------------------------------------------------------------
def test_a_terminal_that_is_touched_stays_signed_in(signed_in: Client) -> None:
    idle(signed_in, 29)
    assert signed_in.get(reverse("customers")).status_code == 200
    idle(signed_in, 29)
    assert signed_in.get(reverse("stay")).status_code == 204
    assert time.time() - signed_in.session["touched_at"] < 60


def test_after_half_an_hour_it_is_signed_out_and_goes_on_where_it_was(
    signed_in: Client, supervisor: Person
) -> None:
    idle(signed_in, 31)
    answer = signed_in.get(reverse("customers"))
    assert answer.status_code == 302 and answer["Location"] == "/sign-in/?next=/customers/"
    assert "_auth_user_id" not in signed_in.session
    assert sign_in(signed_in, supervisor, next="/customers/")["Location"] == "/customers/"


def test_what_an_open_page_asks_by_itself_is_no_touch(signed_in: Client) -> None:
    idle(signed_in, 10)
    before = signed_in.session["touched_at"]
    assert signed_in.get(reverse("floor-board")).status_code == 200
    assert signed_in.session["touched_at"] == before
    idle(signed_in, 31)
    answer = signed_in.get(reverse("floor-board"), headers={"hx-request": "true"})
    assert (answer.status_code, answer["HX-Trigger"]) == (401, "signed-out"), (
        "and no sign-in page gets into the page"
    )


def test_the_plant_chooses_the_time_and_it_holds_from_the_next_sign_in(
    signed_in: Client, supervisor: Person, administrator: Person
) -> None:
    set_access_rules(
        by=factories.By(administrator, factories.START, "tests"),
        idle_minutes=5,
        signing_minutes=15,
        reason="Open hall.",
    )
    idle(signed_in, 6)
    assert signed_in.get(reverse("customers")).status_code == 200
    sign_in(signed_in, supervisor)
    idle(signed_in, 6)
    assert signed_in.get(reverse("customers")).status_code == 302
    page = signed_in.get(reverse("sign-in")).content.decode()
    assert "data-idle-seconds" not in page


def test_a_page_says_after_how_long_it_leaves(signed_in: Client) -> None:
    assert 'data-idle-seconds="1800"' in signed_in.get(reverse("customers")).content.decode()


# --- what was typed -------------------------------------------------------------------------------------------------------
def test_a_form_sent_after_the_time_is_kept_and_sent_on_by_the_same_person(
    signed_in: Client, supervisor: Person
) -> None:
    idle(signed_in, 31)
    answer = send(signed_in, reverse("customers-new"), TYPED)
    assert answer.status_code == 401 and not Customer.objects.exists()
    assert "You are signed out; what you typed is kept" in text_of(answer)
    assert f'value="{supervisor.username}"' in answer.content.decode()
    again = sign_in(signed_in, supervisor, kept=kept_in(answer))
    assert again.status_code == 200 and "North Clinic" in text_of(again)
    assert f'action="{reverse("customers-new")}"' in again.content.decode()
    inputs = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', again.content.decode()))
    assert {name: inputs[name] for name in TYPED} == TYPED
    assert not Customer.objects.exists(), "nothing is sent before the person has looked"
    sent = send(signed_in, reverse("customers-new"), {name: inputs[name] for name in TYPED})
    assert sent.status_code == 302
    assert Customer.objects.get().name == "North Clinic"
    assert story([("customer", "NOR")])[-1].who == supervisor.full_name


def test_another_person_does_not_send_it_and_is_told(signed_in: Client, planner: Person) -> None:
    idle(signed_in, 31)
    kept = kept_in(send(signed_in, reverse("customers-new"), TYPED))
    answer = sign_in(signed_in, planner, kept=kept)
    assert answer.status_code == 302
    shown = text_of(signed_in.get(answer["Location"]))
    assert "What Supervisor 1 typed was not sent, because you are Planner 1." in shown
    assert "North Clinic" not in shown and not Customer.objects.exists()


def test_a_wrong_password_keeps_it_too(signed_in: Client, supervisor: Person) -> None:
    idle(signed_in, 31)
    kept = kept_in(send(signed_in, reverse("customers-new"), TYPED))
    wrong = send(
        signed_in, reverse("sign-in"), {"username": supervisor.username, "password": "wrong", "kept": kept}
    )
    assert "do not fit together" in text_of(wrong)
    assert sign_in(signed_in, supervisor, kept=kept_in(wrong)).status_code == 200


def test_a_session_that_is_gone_altogether_is_known_by_who_was_there_last(
    signed_in: Client, supervisor: Person
) -> None:
    send(signed_in, reverse("sign-out"), {})
    answer = send(signed_in, reverse("customers-new"), TYPED)
    assert answer.status_code == 401 and "Only Supervisor 1 can send it on." in text_of(answer)
    assert "North Clinic" in text_of(sign_in(signed_in, supervisor, kept=kept_in(answer)))


def test_nobody_knows_who_typed_it_so_nobody_sends_it(client: Client, supervisor: Person) -> None:
    kept = kept_in(client.post(reverse("customers-new"), TYPED))
    answer = client.post(
        reverse("sign-in"), {"username": supervisor.username, "password": factories.PASSWORD, "kept": kept}
    )
    assert "it is not known who typed it" in text_of(client.get(answer["Location"]))


def test_passwords_tokens_and_files_are_not_kept_and_said_so(signed_in: Client) -> None:
    idle(signed_in, 31)
    data = {
        **TYPED,
        "password": "very secret",
        "second_password": "more secret",
        "old_password": "old secret",
        "photo": SimpleUploadedFile("dent.jpg", b"x"),
    }
    answer = send(signed_in, reverse("customers-new"), data)
    shown = text_of(answer)
    assert "The password is not kept." in shown and "The file dent.jpg could not be kept." in shown
    found = kept_from(kept_in(answer))
    assert found is not None and [name for name, _ in found.fields] == list(TYPED)
    assert "secret" not in str(found)


def test_every_field_that_hides_what_is_typed_has_a_name_that_is_never_kept() -> None:
    """``keep`` goes by the name; a secret field with another name would be kept in the page."""
    from regenplant.web.areas.setup.people import PersonForm
    from regenplant.web.areas.signin import PasswordForm
    from regenplant.web.signing import SecondPersonForm, SigningForm

    hidden = [
        name
        for form in (PersonForm, PasswordForm, SigningForm, SecondPersonForm)
        for name, field in form.base_fields.items()
        if getattr(field.widget, "input_type", "") == "password"
    ]
    assert len(hidden) == 6 and all("password" in name for name in hidden)


def test_lists_of_values_and_the_pressed_button_come_back_whole(
    signed_in: Client, supervisor: Person
) -> None:
    idle(signed_in, 31)
    answer = send(signed_in, f"{reverse('start')}?pool=x", {"visit": ["3", "4", "5"], "act": "write"})
    found = kept_from(kept_in(answer))
    assert found is not None and found.is_by(supervisor)
    assert found.inputs == (("visit", "3"), ("visit", "4"), ("visit", "5"), ("act", "write"))
    assert found.path == "/start/?pool=x"


@pytest.mark.parametrize("change", [lambda text: text[:-2] + "xx", lambda text: "", lambda text: "a:b:c"])
def test_an_altered_form_is_nothing(supervisor: Person, change: Callable[[str], str]) -> None:
    kept = KeptForm(str(supervisor.pk), "S", "s", "/customers/new/", (("name", ("x",)),), False, ())
    assert kept_from(kept.as_text) == kept
    assert kept_from(change(kept.as_text)) is None


# --- one-time passwords ---------------------------------------------------------------------------------------------------
def test_a_one_time_password_opens_nothing_but_the_page_to_replace_it(
    client: Client, operator: Person, administrator: Person
) -> None:
    by = factories.By(administrator, factories.By(None, factories.START).at, "tests")
    reset_password(by=by, person_id=operator.pk, password="given to you", reason="Forgotten.")
    data = {"username": operator.username, "password": "given to you"}
    late = client.post(reverse("sign-in"), data)
    assert "This one-time password has run out." in text_of(late), "the test's clock stands months ago"
    fresh = factories.By(administrator, factories.datetime.now(factories.UTC), "tests")
    reset_password(by=fresh, person_id=operator.pk, password="given to you", reason="Again.")
    assert client.post(reverse("sign-in"), data).status_code == 302
    for url in (reverse("floor"), reverse("batches"), reverse("preferences")):
        assert client.get(url)["Location"] == reverse("password")
    assert client.post(reverse("intake-unknown"))["Location"] == reverse("password")
    assert "another person knows it" in text_of(client.get(reverse("password")))
    new = {
        "old_password": "given to you",
        "new_password": "chosen by myself",
        "again_password": "chosen by myself",
    }
    assert client.post(reverse("password"), {**new, "again_password": "another"}).status_code == 422
    assert client.post(reverse("password"), new)["Location"] == reverse("floor")
    assert client.get(reverse("floor")).status_code == 200, "and the session goes on"


# --- what the record says -----------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-07")
def test_sign_ins_refusals_and_the_lock_are_recorded_and_raise_one_alert(
    client: Client, operator: Person
) -> None:
    for _ in range(7):
        client.post(reverse("sign-in"), {"username": "Operator-1", "password": "my other password"})
    lines = story([("person", str(operator.pk))])
    refused = [line for line in lines if line.event == "person.sign_in_refused"]
    assert [line.facts["facts"]["failures"] for line in refused] == [1, 2, 3, 4, 5], (
        "while it rests, no more is written"
    )
    assert (Alert.objects.get().kind, Alert.objects.get().person) == ("locked_sign_in", operator)
    assert "my other password" not in str([line.facts for line in lines])


def test_a_user_name_nobody_has_is_not_recorded(client: Client, operator: Person) -> None:
    before = len(story([("person", str(operator.pk))]))
    client.post(reverse("sign-in"), {"username": "my secret password", "password": "x"})
    assert len(story([("person", str(operator.pk))])) == before and not Alert.objects.exists()


def test_a_sign_in_is_recorded_once(signed_in: Client, supervisor: Person) -> None:
    signed_in.get(reverse("floor"))
    assert [line.event for line in story([("person", str(supervisor.pk))])].count("person.signed_in") == 1
