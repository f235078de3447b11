"""The one recorder: an act is written exactly once, with everything it did, or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.db import transaction

from regenplant.audit import chain, wording
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.selectors import actors_about, story
from regenplant.audit.use_case import REGISTRY, Outcome, use_case
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.services import add_person, deactivate_person, set_preferences
from tests import factories
from tests.audit.acts import act

Make = Callable[..., By]


def newest() -> AuditEvent:
    found = AuditEvent.objects.order_by("-number").first()
    assert found is not None
    return found


@pytest.mark.requirement("ER-09")
def test_one_act_writes_one_event_with_who_when_where_and_what(operator: Person, by: Make) -> None:
    before = chain.head()[0]
    set_preferences(by=by(operator, terminal="tablet 3"), unit_system="us", theme="dark")
    assert chain.head()[0] == before + 1
    event = newest()
    assert (event.event, event.actor_name, event.actor_roles) == (
        "person.preferences_set",
        "Operator 1",
        "operator",
    )
    assert (event.at, event.terminal) == (factories.START, "tablet 3")
    assert (event.subject_kind, event.subject_key) == ("person", str(operator.pk))
    facts = json.loads(event.payload)["facts"]
    assert facts["before"] == {"unit_system": "", "theme": ""}
    assert facts["after"] == {"unit_system": "us", "theme": "dark"}


@pytest.mark.requirement("ER-12")
def test_an_act_that_happened_earlier_carries_both_times(operator: Person, by: Make) -> None:
    happened = factories.START - timedelta(hours=2)
    set_preferences(by=by(operator, occurred_at=happened), unit_system="us", theme="")
    assert (newest().occurred_at, newest().at) == (happened, factories.START)
    assert story([("person", str(operator.pk))])[-1].is_late


def test_a_body_that_fails_leaves_neither_record_nor_event(operator: Person, by: Make) -> None:
    def body(*, by: By) -> Outcome:
        Group.objects.create(name="half-written")
        raise RecordRefused("No.")

    before = chain.head()
    with act("test.fails", body) as fails, pytest.raises(RecordRefused):
        fails(by=by(operator))
    assert chain.head() == before
    assert not Group.objects.filter(name="half-written").exists()


@pytest.mark.requirement("ER-09")
def test_an_event_that_cannot_be_written_undoes_the_record(operator: Person, by: Make) -> None:
    def body(*, by: By) -> Outcome:
        Group.objects.create(name="unrecorded")
        return Outcome(subject=("group", "1", "unrecorded"), facts={"what": object()})

    before = chain.head()
    with act("test.unrecordable", body) as unrecordable, pytest.raises(TypeError):
        unrecordable(by=by(operator))
    assert chain.head() == before
    assert not Group.objects.filter(name="unrecorded").exists()


@pytest.mark.requirement("ER-14")
def test_a_person_without_the_right_writes_nothing_and_is_told_whom_to_ask(
    operator: Person, by: Make
) -> None:
    before, people = chain.head(), Person.objects.count()
    with pytest.raises(NotAllowed) as refused:
        add_person(
            by=by(operator),
            username="x",
            full_name="X",
            initials="X",
            roles=[Role.OPERATOR],
            password=factories.PASSWORD,
        )
    assert (
        refused.value.message == "Operator 1 (operator) may not do this (people.edit). Ask a person who may."
    )
    assert (chain.head(), Person.objects.count()) == (before, people)


def test_a_deactivated_person_may_nothing(operator: Person, administrator: Person, by: Make) -> None:
    deactivate_person(by=by(administrator), person_id=operator.pk, reason="left the plant")
    left = Person.objects.get(pk=operator.pk)

    def body(*, by: By) -> Outcome:
        return Outcome(subject=("test", "1", "1"))

    with act("test.run", body, permission="batch.run") as run, pytest.raises(NotAllowed):
        run(by=by(left))


def test_acts_inside_an_act_share_its_operation_and_come_before_it(operator: Person, by: Make) -> None:
    def body(*, by: By) -> Outcome:
        set_preferences(by=by, unit_system="us", theme="")
        set_preferences(by=by, unit_system="metric", theme="")
        return Outcome(subject=("test", "1", "outer"))

    with act("test.outer", body) as outer:
        outer(by=by(operator))
    rows = list(AuditEvent.objects.order_by("-number")[:3])
    assert [row.event for row in rows] == ["test.outer", "person.preferences_set", "person.preferences_set"]
    assert len({row.operation for row in rows}) == 1


def test_two_acts_one_after_another_are_two_operations(operator: Person, by: Make) -> None:
    for theme in ("dark", "light"):
        set_preferences(by=by(operator), unit_system="", theme=theme)
    first, second = AuditEvent.objects.order_by("-number")[:2]
    assert first.operation != second.operation


def test_an_outer_act_that_fails_takes_the_inner_ones_with_it(operator: Person, by: Make) -> None:
    def body(*, by: By) -> Outcome:
        set_preferences(by=by, unit_system="us", theme="dark")
        raise RecordRefused("No.")

    before = chain.head()
    with act("test.outer", body) as outer, pytest.raises(RecordRefused):
        outer(by=by(operator))
    operator.refresh_from_db()
    assert (chain.head(), operator.theme) == (before, "")
    set_preferences(by=by(operator), unit_system="us", theme="")
    assert newest().event == "person.preferences_set"


def test_an_inner_act_that_is_refused_and_answered_leaves_the_outer_one_standing(
    operator: Person, by: Make
) -> None:
    def body(*, by: By) -> Outcome:
        try:
            with transaction.atomic():
                add_person(by=by, username="x", full_name="X", initials="X", roles=[], password="x")
        except NotAllowed:
            pass
        return Outcome(subject=("test", "1", "outer"), facts={"went_on": True})

    before = chain.head()[0]
    with act("test.outer", body) as outer:
        outer(by=by(operator))
    assert chain.head()[0] == before + 1
    assert list(chain.verify()) == []


def test_a_name_is_registered_once() -> None:
    def body(*, by: By) -> Outcome:
        return Outcome(subject=("test", "1", "1"))

    with pytest.raises(RuntimeError, match=r"person\.added"):
        use_case("person.added", permission="")(body)
    assert REGISTRY["person.added"].function == "regenplant.people.services.accounts.add_person"


def test_arguments_are_named_never_positional(operator: Person, by: Make) -> None:
    with pytest.raises(TypeError):
        set_preferences(by(operator), "us", "dark")  # type: ignore[misc, call-arg]


# --- reading the log ----------------------------------------------------------------------------------------------------
def test_a_story_reads_as_sentences_with_reason_and_person(
    operator: Person, administrator: Person, by: Make
) -> None:
    deactivate_person(by=by(administrator), person_id=operator.pk, reason="left the plant")
    lines = story([("person", str(operator.pk))])
    assert [line.sentence for line in lines] == [
        "Operator 1 was added as operator-1 (operator)",
        "Operator 1 was deactivated",
    ]
    assert (lines[-1].who, lines[-1].reason) == ("Administrator 1", "left the plant")


def test_a_story_holds_acts_on_related_subjects_but_not_on_similar_keys(operator: Person, by: Make) -> None:
    def body(*, by: By, key: str) -> Outcome:
        return Outcome(subject=("test", key, key), related=(("tank", key),))

    with act("test.touched", body, says="{subject} was touched") as touched:
        for key in ("T-1", "T-12"):
            touched(by=by(operator), key=key)
        assert [line.sentence for line in story([("tank", "T-1")])] == ["T-1 was touched"]
        assert [line.sentence for line in story([("tank", "T-12")], newest_first=True, limit=1)] == [
            "T-12 was touched"
        ]
    assert story([]) == []


def test_who_did_certain_acts_on_a_subject(operator: Person, administrator: Person) -> None:
    key = str(operator.pk)
    assert actors_about("person", key, ["person.added"]) == {str(administrator.pk)}
    assert actors_about("person", key, ["person.deactivated"]) == set()


def test_a_fact_that_was_never_stored_reads_as_a_dash_and_an_unworded_event_as_its_name() -> None:
    stored = {"before": {"bay": "3"}, "after": {"bay": "4"}, "facts": {}, "reason": "full"}
    wording.say("test.moved", "{subject} from {before_bay} to {bay} by {who}: {reason}")
    try:
        assert wording.sentence("test.moved", "T-1", stored) == "T-1 from 3 to 4 by –: full"
    finally:
        wording._WORDINGS.pop("test.moved")
    assert wording.sentence("tank.never_worded", "T-1", stored) == "T-1: tank never worded"
