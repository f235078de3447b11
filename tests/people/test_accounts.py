"""Accounts over time: names, roles, closing and opening, one-time passwords, shared accounts. Records stay as they were."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit import locks
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.people.authority import RIGHTS, Role
from regenplant.people.models import AccessRules, Alert, Person
from regenplant.people.selectors import access_rules, alerts_for, alerts_waiting_for, people_who_may
from regenplant.people.services import (
    add_person,
    answer_alert,
    change_password,
    deactivate_person,
    raise_alert,
    reactivate_person,
    rename_person,
    reset_password,
    set_access_rules,
    set_preferences,
    set_roles,
)
from regenplant.people.services._accounts import ONE_TIME_LIFE
from tests import factories

Make = Callable[..., By]


def sentences(person: Person) -> list[str]:
    return [line.sentence for line in story([("person", str(person.pk))])]


# --- names --------------------------------------------------------------------------------------------------------------
def test_another_name_is_an_act_with_a_reason_and_the_old_one_stands_in_the_record(
    operator: Person, administrator: Person, by: Make
) -> None:
    rename_person(
        by=by(administrator),
        person_id=operator.pk,
        full_name="Olga Perator",
        initials="OP",
        reason="Married.",
    )
    operator.refresh_from_db()
    assert (operator.full_name, operator.initials, operator.username) == ("Olga Perator", "OP", "operator-1")
    line = story([("person", str(operator.pk))])[-1]
    assert line.facts["before"] == {"full_name": "Operator 1", "initials": "O1"}
    assert line.sentence == "Operator 1 is called Olga Perator now (Married.)"


@pytest.mark.parametrize(
    ("changed", "field"),
    [({"full_name": " "}, "full_name"), ({"initials": ""}, "initials"), ({"reason": "x"}, "reason")],
)
def test_a_name_needs_words_and_a_reason(
    operator: Person, administrator: Person, by: Make, changed: dict[str, str], field: str
) -> None:
    values: dict[str, Any] = {"full_name": "Other Name", "initials": "ON", "reason": "Married.", **changed}
    with pytest.raises(RecordRefused) as refused:
        rename_person(by=by(administrator), person_id=operator.pk, **values)
    assert refused.value.field == field


@pytest.mark.requirement("ER-08")
def test_the_database_itself_takes_no_user_name_twice_in_other_capitals(
    operator: Person, administrator: Person
) -> None:
    locks.remove()
    try:
        with pytest.raises(IntegrityError), transaction.atomic():
            Person.objects.create(username="OPERATOR-1", full_name="Thief", initials="T")
    finally:
        locks.install()


# --- roles --------------------------------------------------------------------------------------------------------------
def test_roles_change_by_an_act_with_before_after_and_reason(
    operator: Person, administrator: Person, by: Make
) -> None:
    set_roles(
        by=by(administrator),
        person_id=operator.pk,
        roles=[Role.SUPERVISOR, Role.OPERATOR],
        reason="Night shift.",
    )
    line = story([("person", str(operator.pk))])[-1]
    assert line.facts["before"] == {"roles": "operator"}
    assert line.facts["after"] == {"roles": "operator, supervisor"}
    assert line.reason == "Night shift."
    assert Person.objects.get(pk=operator.pk).may("batch.abort")


def test_nobody_gives_themselves_a_role(administrator: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="Nobody changes their own roles"):
        set_roles(
            by=by(administrator),
            person_id=administrator.pk,
            roles=[Role.ADMINISTRATOR, Role.SUPERVISOR],
            reason="I need it.",
        )


def test_only_whoever_may_edit_people_gives_roles(supervisor: Person, operator: Person, by: Make) -> None:
    with pytest.raises(NotAllowed):
        set_roles(by=by(supervisor), person_id=operator.pk, roles=[Role.PLANNER], reason="Because.")


def test_the_same_roles_again_write_nothing(operator: Person, administrator: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="has these roles already"):
        set_roles(by=by(administrator), person_id=operator.pk, roles=[Role.OPERATOR], reason="Again.")


@pytest.mark.requirement("ER-15")
def test_a_new_role_lets_nobody_forget_what_they_did(
    operator: Person, administrator: Person, by: Make
) -> None:
    """The roles at the time stand in the record; what a person did before is theirs under any role."""
    set_preferences(by=by(operator), unit_system="us", theme="")
    set_roles(by=by(administrator), person_id=operator.pk, roles=[Role.QC_TECHNICIAN], reason="Changes over.")
    operator.refresh_from_db()
    set_preferences(by=by(operator), unit_system="metric", theme="")
    roles = [line.roles for line in story([("person", str(operator.pk))]) if line.who == operator.full_name]
    assert roles == ["operator", "QC technician"]


# --- leaving and coming back ----------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-31")
def test_whoever_comes_back_has_the_same_account_and_a_password_of_their_own_to_choose(
    operator: Person, administrator: Person, by: Make
) -> None:
    deactivate_person(by=by(administrator), person_id=operator.pk, reason="Left the plant.")
    assert people_who_may("batch.run") == []
    reactivate_person(by=by(administrator), person_id=operator.pk, password="given to you", reason="Is back.")
    again = Person.objects.get(pk=operator.pk)
    assert (again.is_active, again.has_one_time_password, again.role_names()) == (True, True, ("operator",))
    assert not again.check_password(factories.PASSWORD) and again.check_password("given to you")
    assert sentences(operator)[-2:] == ["Operator 1 was deactivated", "Operator 1 was reactivated (Is back.)"]


def test_an_open_account_is_not_opened_and_a_closed_one_not_closed(
    operator: Person, administrator: Person, by: Make
) -> None:
    with pytest.raises(RecordRefused, match="is open already"):
        reactivate_person(
            by=by(administrator), person_id=operator.pk, password="given to you", reason="Is back."
        )
    factories.leaves(operator)
    with pytest.raises(RecordRefused, match="is closed already"):
        deactivate_person(by=by(administrator), person_id=operator.pk, reason="Left the plant.")


def test_the_only_supervisor_can_leave_at_once(supervisor: Person, administrator: Person, by: Make) -> None:
    deactivate_person(by=by(administrator), person_id=supervisor.pk, reason="Left the plant.")
    assert not Person.objects.get(pk=supervisor.pk).is_active


# --- passwords --------------------------------------------------------------------------------------------------------------
def test_a_first_password_is_a_one_time_password_unless_the_person_typed_it(
    administrator: Person, by: Make
) -> None:
    def add(username: str, **also: Any) -> Person:
        made: Person = add_person(
            by=by(administrator), username=username, full_name="New Person", initials="NP", roles=[Role.OPERATOR],
            password="long enough to pass", **also,
        ).result  # fmt: skip
        return made

    assert (
        add("one").one_time_until == factories.START + ONE_TIME_LIFE == factories.START + timedelta(hours=72)
    )
    assert add("two", is_own_password=True).one_time_until is None


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("wrong", "another long one", "old_password"),
        (factories.PASSWORD, "short", "new_password"),
        (factories.PASSWORD, factories.PASSWORD, "new_password"),
        (factories.PASSWORD, "operator-1x", "new_password"),
    ],
)
def test_a_new_password_takes_the_old_one_and_must_be_good(
    operator: Person, by: Make, old: str, new: str, field: str
) -> None:
    with pytest.raises(RecordRefused) as refused:
        change_password(by=by(operator), old_password=old, new_password=new)
    assert refused.value.field == field
    assert Person.objects.get(pk=operator.pk).check_password(factories.PASSWORD)


def test_a_password_given_or_chosen_is_never_in_the_record(
    operator: Person, administrator: Person, by: Make
) -> None:
    reset_password(by=by(administrator), person_id=operator.pk, password="given to you", reason="Forgotten.")
    change_password(by=by(operator), old_password="given to you", new_password="chosen by myself")
    lines = story([("person", str(operator.pk))])
    assert [line.event for line in lines[-2:]] == ["person.password_reset", "person.password_changed"]
    text = str([line.facts for line in lines])
    assert not any(word in text for word in ("given to you", "chosen by myself", "md5$"))


def test_nobody_resets_their_own_or_a_closed_account(
    operator: Person, administrator: Person, by: Make
) -> None:
    with pytest.raises(RecordRefused, match="For your own account"):
        reset_password(
            by=by(administrator), person_id=administrator.pk, password="given to you", reason="Mine."
        )
    factories.leaves(operator)
    with pytest.raises(RecordRefused, match="Open it again first"):
        reset_password(
            by=by(administrator), person_id=operator.pk, password="given to you", reason="Forgotten."
        )


# --- shared accounts --------------------------------------------------------------------------------------------------------
@pytest.fixture
def tablet(administrator: Person, by: Make) -> Person:
    """The account of the tablet at the bench."""
    made: Person = add_person(
        by=by(administrator), username="bench-tablet", full_name="Bench tablet", initials="BT", roles=[],
        password=factories.PASSWORD, is_shared=True,
    ).result  # fmt: skip
    return made


@pytest.mark.requirement("ER-08")
def test_a_shared_account_holds_no_right_and_does_nothing_but_choose_its_screen(
    tablet: Person, administrator: Person, by: Make
) -> None:
    assert not any(tablet.may(permission) for permission in RIGHTS)
    with pytest.raises(NotAllowed, match="is a shared account"):
        change_password(by=by(tablet), old_password=factories.PASSWORD, new_password="chosen by somebody")
    set_preferences(by=by(tablet), unit_system="us", theme="dark")
    with pytest.raises(RecordRefused, match="shared account and has no roles"):
        set_roles(by=by(administrator), person_id=tablet.pk, roles=[Role.OPERATOR], reason="It must act.")
    assert tablet not in people_who_may("batch.run")


@pytest.mark.requirement("ER-08")
def test_a_shared_account_is_not_made_with_roles_nor_turned_into_a_persons(
    tablet: Person, administrator: Person, by: Make
) -> None:
    with pytest.raises(RecordRefused, match="A shared account has no roles"):
        add_person(
            by=by(administrator), username="post", full_name="Post", initials="P", roles=[Role.OPERATOR],
            password=factories.PASSWORD, is_shared=True,
        )  # fmt: skip
    with pytest.raises(IntegrityError, match="people_person"), transaction.atomic():
        Person.objects.filter(pk=tablet.pk).update(is_shared=False)


# --- alerts -----------------------------------------------------------------------------------------------------------------
@pytest.fixture
def alert(operator: Person, by: Make) -> Alert:
    made: Alert = raise_alert(
        by=by(operator), kind="locked_signing", person_id=operator.pk, sentence="Five wrong passwords."
    ).result
    return made


@pytest.mark.requirement("ER-07")
def test_the_supervisor_sees_an_alert_and_answers_it_once_by_name(
    alert: Alert, supervisor: Person, operator: Person, by: Make
) -> None:
    assert (alerts_waiting_for(supervisor).count(), alerts_waiting_for(operator).count()) == (1, 0)
    answer_alert(by=by(supervisor), alert_id=alert.pk, answer="It was O. himself, wet gloves.")
    alert.refresh_from_db()
    assert (alert.answered_by, alerts_waiting_for(supervisor).count()) == (supervisor, 0)
    assert (
        story([("alert", str(alert.pk))])[-1].sentence
        == f"Alert {alert.pk} was answered: It was O. himself, wet gloves."
    )
    with pytest.raises(StaleRecord, match="answered already"):
        answer_alert(by=by(supervisor), alert_id=alert.pk, answer="Again, to be sure.")


def test_nobody_answers_an_alert_about_themselves_or_without_the_right(
    supervisor: Person, operator: Person, alert: Alert, by: Make
) -> None:
    own: Alert = raise_alert(
        by=by(supervisor), kind="locked_sign_in", person_id=supervisor.pk, sentence="Five wrong passwords."
    ).result
    with pytest.raises(NotAllowed, match="about your own account"):
        answer_alert(by=by(supervisor), alert_id=own.pk, answer="It was nothing.")
    with pytest.raises(NotAllowed):
        answer_alert(by=by(operator), alert_id=own.pk, answer="It was nothing.")
    assert alerts_waiting_for(supervisor).count() == 1, "one's own is not counted as waiting for oneself"
    assert list(alerts_for(operator)) == [alert] and list(alerts_for(supervisor)) == [own, alert]


@pytest.mark.parametrize("wrong", [{"answer": "x"}, {"alert_id": 999_999}])
def test_an_answer_is_words_about_an_alert_that_is_there(
    alert: Alert, supervisor: Person, by: Make, wrong: dict[str, Any]
) -> None:
    with pytest.raises(DomainError):
        answer_alert(by=by(supervisor), **{"alert_id": alert.pk, "answer": "Asked; it was him.", **wrong})
    assert not Alert.objects.filter(answered_at__isnull=False).exists()


# --- time-outs --------------------------------------------------------------------------------------------------------------
def test_time_outs_have_usual_values_and_are_set_by_an_act(administrator: Person, by: Make) -> None:
    assert (access_rules().idle_minutes, access_rules().signing_minutes) == (30, 15)
    set_access_rules(
        by=by(administrator), idle_minutes=20, signing_minutes=10, reason="Open hall.", version=1
    )
    assert (access_rules().idle_minutes, access_rules().signing_minutes) == (20, 10)
    with pytest.raises(StaleRecord):
        set_access_rules(
            by=by(administrator), idle_minutes=25, signing_minutes=10, reason="Once more.", version=1
        )


@pytest.mark.parametrize(
    ("idle", "signing", "field"),
    [
        (4, 15, "idle_minutes"),
        (241, 15, "idle_minutes"),
        (30, 0, "signing_minutes"),
        (30, 61, "signing_minutes"),
    ],
)
def test_a_time_out_that_is_none_is_refused(
    administrator: Person, by: Make, idle: int, signing: int, field: str
) -> None:
    with pytest.raises(OutOfRange) as refused:
        set_access_rules(by=by(administrator), idle_minutes=idle, signing_minutes=signing, reason="To try.")
    assert refused.value.field == field
    assert not AccessRules.objects.exists()
