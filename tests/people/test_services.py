"""Adding people, their preferences, and their leaving. A user name belongs to one person for good."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from regenplant.audit import chain
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.services import add_first_administrator, add_person, deactivate_person, set_preferences

Make = Callable[..., By]
NEW: dict[str, Any] = {
    "username": "new-person",
    "full_name": "New Person",
    "initials": "NP",
    "roles": [Role.OPERATOR],
    "password": "long enough to pass",
}


def test_an_administrator_adds_a_person_who_can_then_act(administrator: Person, by: Make) -> None:
    outcome = add_person(by=by(administrator), **NEW)
    person = Person.objects.get(pk=outcome.result.pk)
    assert (person.role_names(), person.check_password(NEW["password"])) == (("operator",), True)
    assert story([("person", str(person.pk))])[-1].sentence == "New Person was added as new-person (operator)"


def test_no_password_is_ever_in_the_log(administrator: Person, by: Make) -> None:
    add_person(by=by(administrator), **NEW)
    text = str(
        [line.facts for line in story([("person", str(Person.objects.get(username="new-person").pk))])]
    )
    assert NEW["password"] not in text and "md5$" not in text


@pytest.mark.parametrize(
    "who", ["operator", "supervisor", "planner", "qc_technician", "safety_lead", "outsider"]
)
def test_nobody_else_adds_people(who: str, request: pytest.FixtureRequest, by: Make) -> None:
    person = request.getfixturevalue(who)
    with pytest.raises(NotAllowed):
        add_person(by=by(person), **NEW)
    assert not Person.objects.filter(username="new-person").exists()


@pytest.mark.requirement("ER-08")
@pytest.mark.parametrize("username", ["operator-1", "OPERATOR-1", "Operator-1"])
def test_a_user_name_is_never_used_again_whatever_its_case(
    operator: Person, administrator: Person, by: Make, username: str
) -> None:
    with pytest.raises(RecordRefused, match="It is never given to another person") as refused:
        add_person(by=by(administrator), **{**NEW, "username": username})
    assert refused.value.field == "username"


@pytest.mark.requirement("ER-08")
def test_not_even_the_name_of_somebody_who_left(operator: Person, administrator: Person, by: Make) -> None:
    deactivate_person(by=by(administrator), person_id=operator.pk, reason="left the plant")
    with pytest.raises(RecordRefused):
        add_person(by=by(administrator), **{**NEW, "username": operator.username})


@pytest.mark.requirement("ER-08", "ER-31")
def test_a_user_name_cannot_be_changed_nor_a_person_deleted_behind_the_program(operator: Person) -> None:
    rows = Person.objects.filter(pk=operator.pk)
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        rows.update(username="somebody-else")
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        rows._raw_delete(using="default")  # type: ignore[attr-defined]
    assert Person.objects.get(pk=operator.pk).username == "operator-1"


@pytest.mark.requirement("ER-31")
def test_a_person_who_acted_is_protected_by_their_acts(operator: Person, by: Make) -> None:
    set_preferences(by=by(operator), unit_system="us", theme="")
    with pytest.raises(ProtectedError):
        operator.delete()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("username", ""),
        ("username", "two words"),
        ("username", "x" * 151),
        ("full_name", ""),
        ("full_name", "x" * 121),
        ("initials", ""),
        ("initials", "ABCDE"),
        ("password", "short"),
        ("password", "password12"),
        ("password", ""),
    ],
)
def test_what_does_not_fit_is_refused_beside_its_field_and_writes_nothing(
    administrator: Person, by: Make, field: str, value: str
) -> None:
    before = (chain.head(), Person.objects.count())
    with pytest.raises(RecordRefused) as refused:
        add_person(by=by(administrator), **{**NEW, field: value})
    assert refused.value.field == field
    assert refused.value.message.endswith(".")
    assert (chain.head(), Person.objects.count()) == before


def test_the_first_administrator_is_added_once(administrator: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="There are people already"):
        add_first_administrator(
            by=by(None), username="second", full_name="Second", initials="S", password="long enough to pass"
        )
    assert Person.objects.count() == 1


def test_the_first_act_of_all_is_by_the_system(administrator: Person) -> None:
    first = story([("person", str(administrator.pk))])[0]
    assert (first.who, first.roles) == ("the system", "")


def test_a_person_chooses_their_own_units_and_screen(operator: Person, by: Make) -> None:
    set_preferences(by=by(operator), unit_system="us", theme="dark")
    operator.refresh_from_db()
    assert (operator.unit_system, operator.theme) == ("us", "dark")


def test_nobody_deactivates_themselves(administrator: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="Ask another administrator"):
        deactivate_person(by=by(administrator), person_id=administrator.pk, reason="tired")
    assert Person.objects.get(pk=administrator.pk).is_active
