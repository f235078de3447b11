"""The pages of the authority matrix, of people and of alerts: read by everybody, changed by those who may, in the right order."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.audit.selectors import story
from regenplant.people.authority import BUILT_IN, RIGHTS, Role, plain_of
from regenplant.people.models import AccessRules, Alert, AuthorityVersion, Person
from regenplant.people.rights_in_words import TITLES
from regenplant.people.services import draft_authority, raise_alert
from regenplant.web.areas.setup.people import one_time_password
from tests import factories
from tests.web.pages import errors_of, has_signed, text_of

pytestmark = pytest.mark.django_db
ClientOf = Callable[[Person], Client]


def ticks(**changed: list[str]) -> dict[str, Any]:
    """What the editor sends when it is opened on the program's table and these rows are changed."""
    found: dict[str, Any] = {
        f"r-{permission}": list(held) for permission, held in plain_of(BUILT_IN).items() if held
    }
    found |= {name.replace("__", "."): value for name, value in changed.items()}
    return {"reason": "Potable customers ship by planners.", **found}


@pytest.fixture
def draft(administrator: Person, supervisor: Person) -> AuthorityVersion:
    """A draft by the administrator: only planners ship, and operators never fill class B."""
    changed = {
        "tank.ship": {"planner": ["*"]},
        "batch.run": {"operator": ["A", "C", "D"], "supervisor": ["*"]},
    }
    made: AuthorityVersion = draft_authority(
        by=factories.By(administrator, timezone.now(), "tests"),
        rights={**plain_of(BUILT_IN), **changed},
        reason="Potable customers.",
    ).result
    return made


# --- reading --------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-14")
def test_everybody_reads_every_right_in_plain_words(operator: Person, client_of: ClientOf) -> None:
    page = text_of(client_of(operator).get(reverse("authority")))
    assert "The program’s own table is in force" in page
    assert [title for title in TITLES.values() if title not in page] == []
    assert "Write the next version. This takes an administrator." in page


def test_a_version_says_what_it_changes_and_for_whom(
    draft: AuthorityVersion, operator: Person, client_of: ClientOf
) -> None:
    page = text_of(client_of(operator).get(reverse("authority-version", args=[draft.number])))
    assert "operator; supervisor; planner" in page and "operator in class A, C, D; supervisor" in page
    assert "loses: Ship released tanks to their customer" in page
    assert (
        text_of(client_of(operator).get(reverse("authority"))).count("Draft 1 by Administrator 1 waits") == 1
    )
    assert client_of(operator).get(reverse("authority-version", args=[99])).status_code == 404


# --- drafting -------------------------------------------------------------------------------------------------------------
def test_what_would_change_is_shown_before_anything_is_written(
    administrator: Person, supervisor: Person, operator: Person, client_of: ClientOf
) -> None:
    client, url = client_of(administrator), reverse("authority-draft")
    assert client.get(url).status_code == 200
    page = client.post(url, {**ticks(**{"r-tank__ship": ["planner"]}), "act": "look", "reason": ""})
    shown = text_of(page)
    assert page.status_code == 200 and "Ship released tanks to their customer." in shown
    assert "Operator 1 operator loses: Ship released tanks to their customer" in shown
    assert not AuthorityVersion.objects.exists()
    answer = client.post(url, {**ticks(**{"r-tank__ship": ["planner"]}), "act": "write"})
    assert answer["Location"] == reverse("authority-version", args=[1])
    assert AuthorityVersion.objects.get().matrix.holders("tank.ship") == (Role.PLANNER,)


def test_exceptions_by_class_are_ticked_out(
    administrator: Person, supervisor: Person, client_of: ClientOf
) -> None:
    data = ticks(**{"x-batch__run": ["operator|B", "operator|X", "planner|A"]})
    client_of(administrator).post(reverse("authority-draft"), {**data, "act": "write"})
    matrix = AuthorityVersion.objects.get().matrix
    assert matrix.classes("batch.run", Role.OPERATOR) == {"A", "C", "D", "E", "F"}
    assert matrix.classes("batch.run", Role.SUPERVISOR) == {"*"}
    assert matrix.classes("batch.run", Role.PLANNER) == frozenset(), "an exception alone gives nothing"
    page = client_of(supervisor).get(reverse("authority-version", args=[1])).content.decode()
    assert "A, C, D, E, F" in page


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"r-people__edit": []}, "Nobody who is active could add people"),
        ({"r-qc__judge": ["QC technician", "supervisor"]}, "what two persons must do"),
        ({"x-tank__ship": [f"planner|{item}" for item in "ABCDEFX"]}, "every class is taken out"),
        ({}, "This is the same as the matrix that is approved"),
        ({"reason": "", "r-tank.ship": ["planner"]}, "Nothing is written here yet"),
        ({"r-tank__ship": ["captain"]}, "What was chosen is no choice here"),
    ],
)
def test_a_draft_that_cannot_be_is_refused_with_everything_still_ticked(
    administrator: Person, supervisor: Person, client_of: ClientOf, changed: dict[str, Any], sentence: str
) -> None:
    answer = client_of(administrator).post(reverse("authority-draft"), {**ticks(**changed), "act": "write"})
    assert answer.status_code == 422
    assert sentence in text_of(answer) or sentence in str(errors_of(answer))
    assert not AuthorityVersion.objects.exists()
    if "r-qc__judge" in changed:
        row = answer.content.decode().split('name="r-qc.judge"')[3]
        assert "checked" in row[:60], "the supervisor's tick still stands"


# --- approving ------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-06", "ER-18")
def test_another_person_signs_it_with_user_name_and_password(
    draft: AuthorityVersion, supervisor: Person, client_of: ClientOf
) -> None:
    client, url = client_of(supervisor), reverse("authority-approve", args=[draft.number])
    page = client.get(url).content.decode()
    assert 'name="username"' in page and "meaning: approval of the authority matrix" in text_of(
        client.get(url)
    )
    assert draft.digest[:16] in page
    data = {"version": "1", "password": factories.PASSWORD}
    answer = client.post(url, data)
    assert answer.status_code == 422 and "takes your user name" in text_of(answer)
    assert client.post(url, {**data, "username": supervisor.username}).status_code == 302
    draft.refresh_from_db()
    assert draft.state == "approved" and draft.signature.printed_name == supervisor.full_name
    assert 'name="username"' not in client.get(reverse("authority")).content.decode()


def test_the_writer_sees_why_another_must_and_cannot(
    draft: AuthorityVersion, administrator: Person, supervisor: Person, client_of: ClientOf
) -> None:
    url = reverse("authority-approve", args=[draft.number])
    assert "You wrote this version, so another person must approve it: Supervisor 1." in text_of(
        client_of(administrator).get(url)
    )
    assert client_of(administrator).post(url, {"version": "1", "password": "x"}).status_code == 403


def test_a_draft_is_sent_back_or_taken_back(
    draft: AuthorityVersion, administrator: Person, supervisor: Person, client_of: ClientOf
) -> None:
    back = reverse("authority-take-back", args=[draft.number])
    assert client_of(supervisor).post(back, {"reason": "Not mine to take."}).status_code == 403
    assert client_of(administrator).post(back, {"reason": "A slip of mine."}).status_code == 302
    draft.refresh_from_db()
    assert draft.state == "withdrawn"
    answer = client_of(supervisor).post(
        reverse("authority-withdraw", args=[draft.number]), {"reason": "Too late for that."}
    )
    assert answer.status_code == 409


def test_it_can_hold_from_later(draft: AuthorityVersion, supervisor: Person, client_of: ClientOf) -> None:
    client = has_signed(client_of(supervisor), supervisor)
    later = (timezone.now() + timedelta(days=2)).strftime("%Y-%m-%dT%H:%M")
    data = {"version": "1", "password": factories.PASSWORD, "effective_from": later}
    assert client.post(reverse("authority-approve", args=[1]), data).status_code == 302
    assert "Version 1 takes force later." in text_of(client.get(reverse("authority")))
    assert AuthorityVersion.in_force(timezone.now()).number == 0


def test_time_outs_are_set_on_their_page(administrator: Person, client_of: ClientOf) -> None:
    client, url = client_of(administrator), reverse("authority-times")
    data = {"idle_minutes": "20", "signing_minutes": "10", "reason": "Open hall.", "version": "1"}
    assert client.post(url, {**data, "idle_minutes": "3"}).status_code == 422
    assert client.post(url, data).status_code == 302
    assert (AccessRules.objects.get().idle_minutes, AccessRules.objects.get().signing_minutes) == (20, 10)


# --- people ---------------------------------------------------------------------------------------------------------------
def test_a_person_has_a_page_with_what_they_may_and_what_was_written(
    operator: Person, planner: Person, client_of: ClientOf
) -> None:
    page = text_of(client_of(planner).get(reverse("setup-person", args=[operator.username])))
    assert "Receive tanks at the dock" in page and "Operator 1 was added as operator-1 (operator)" in page
    assert "This takes an administrator." in page
    assert "Abort a batch for good" not in page


def test_an_administrator_renames_gives_roles_and_closes_with_a_reason(
    operator: Person, administrator: Person, client_of: ClientOf
) -> None:
    client = client_of(administrator)

    def send(name: str, **data: Any) -> int:
        return int(client.post(reverse(name, args=[operator.username]), data).status_code)

    assert send("setup-person-rename", full_name="Olga Perator", initials="OP", reason="Married.") == 302
    assert send("setup-person-roles", roles=["operator", "planner"], reason="Plans as well.") == 302
    assert send("setup-person-roles", roles=["operator"], reason="") == 422
    assert send("setup-person-deactivate", reason="Left the plant.") == 302
    operator.refresh_from_db()
    assert (operator.full_name, operator.role_names(), operator.is_active) == (
        "Olga Perator", ("operator", "planner"), False,
    )  # fmt: skip
    assert "Open the account again" in text_of(client.get(reverse("setup-person", args=[operator.username])))


@pytest.mark.parametrize("name", ["setup-person-password", "setup-person-reactivate"])
def test_a_one_time_password_is_shown_once_and_fits(
    name: str, operator: Person, administrator: Person, client_of: ClientOf
) -> None:
    if name == "setup-person-reactivate":
        factories.leaves(operator, at=timezone.now())
    answer = client_of(administrator).post(reverse(name, args=[operator.username]), {"reason": "Forgotten."})
    given = answer.context["given"]
    operator.refresh_from_db()
    assert operator.check_password(given) and operator.has_one_time_password
    assert given in text_of(answer) and "no-store" in answer["Cache-Control"]
    assert given not in str([line.facts for line in story([("person", str(operator.pk))])])
    assert (
        given
        not in client_of(administrator)
        .get(reverse("setup-person", args=[operator.username]))
        .content.decode()
    )


def test_one_time_passwords_are_long_unlike_and_easy_to_read() -> None:
    made = {one_time_password() for _ in range(200)}
    assert len(made) == 200
    assert all(len(word) == 14 and not set(word) & set("il1o0") for word in made)


def test_a_shared_account_is_explained_and_made_without_roles(
    administrator: Person, client_of: ClientOf
) -> None:
    client, url = client_of(administrator), reverse("setup-person-new")
    assert "no act, no signature, no role" in text_of(client.get(url))
    data = {
        "username": "bench-tablet", "full_name": "Bench tablet", "initials": "BT", "password": factories.PASSWORD,
        "is_shared": "on",
    }  # fmt: skip
    assert client.post(url, {**data, "roles": ["operator"]}).status_code == 422
    assert client.post(url, {**data, "is_shared": ""}).status_code == 422, "a person has a role"
    assert client.post(url, data).status_code == 302
    page = text_of(client.get(reverse("setup-person", args=["bench-tablet"])))
    assert "A shared account: it looks and does nothing." in page
    assert "shared account, looks only" in text_of(client.get(reverse("setup-people")))


# --- alerts ---------------------------------------------------------------------------------------------------------------
@pytest.fixture
def alert(operator: Person) -> Alert:
    made: Alert = raise_alert(
        by=factories.By(operator, timezone.now(), "10.0.0.17"),
        kind="locked_signing",
        person_id=operator.pk,
        sentence="Five wrong passwords while signing.",
    ).result
    return made


@pytest.mark.requirement("ER-07")
def test_the_supervisor_sees_the_alert_on_every_page_and_answers_it(
    alert: Alert, supervisor: Person, operator: Person, client_of: ClientOf
) -> None:
    client = client_of(supervisor)
    assert "1 alert" in text_of(client.get(reverse("floor")))
    assert "1 alert" not in text_of(client_of(operator).get(reverse("floor")))
    page = text_of(client.get(reverse("alerts")))
    assert "1 alert waits for an answer." in page and "Five wrong passwords while signing." in page
    url = reverse("alerts-answer", args=[alert.pk])
    assert client.post(url, {"answer": "x"}).status_code == 422
    assert client.post(url, {"answer": "It was the operator himself."}).status_code == 302
    assert "1 alert" not in text_of(client.get(reverse("floor")))
    assert client.post(url, {"answer": "Once more, to be sure."}).status_code == 409


def test_others_see_alerts_about_themselves_only_and_answer_none(
    alert: Alert, operator: Person, planner: Person, client_of: ClientOf
) -> None:
    own = text_of(client_of(operator).get(reverse("alerts")))
    assert "It is about your own account, so another person answers it." in own
    assert alert.sentence not in text_of(client_of(planner).get(reverse("alerts")))
    assert client_of(planner).get(reverse("alerts-answer", args=[alert.pk])).status_code == 404
    assert (
        client_of(operator).post(reverse("alerts-answer", args=[alert.pk]), {"answer": "Me."}).status_code
        == 403
    )


def test_every_right_of_the_program_is_in_the_editor(administrator: Person, client_of: ClientOf) -> None:
    page = client_of(administrator).get(reverse("authority-draft")).content.decode()
    assert [permission for permission in RIGHTS if f'name="r-{permission}"' not in page] == []
