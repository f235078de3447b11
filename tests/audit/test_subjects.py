"""What acts are found by: every subject of an act, its own and the related ones, in a table of their own."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext

from regenplant.audit import chain, locks
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent, EventSubject
from regenplant.audit.selectors import digests_of_acts, events_about, newest_act
from regenplant.audit.use_case import Outcome
from regenplant.audit.verifying import registry
from regenplant.people.models import Person
from tests.audit.acts import act

Make = Callable[..., By]
MANY = tuple(("tank", f"T-{number}") for number in range(20001, 20081))
"""More tanks than a column of 400 characters would hold."""


def touched(by: By, *related: tuple[str, str], key: str = "B-1") -> int:
    def body(*, by: By) -> Outcome:
        return Outcome(subject=("batch", key, f"Batch {key}"), related=related)

    with act("test.touched", body) as run:
        run(by=by)
    return chain.head()[0]


def test_an_act_is_found_by_each_of_its_subjects_once(operator: Person, by: Make) -> None:
    number = touched(by(operator), ("tank", "T-1"), ("tank", "T-1"), ("batch", "B-1"), ("vessel", "C1"))
    listed = EventSubject.objects.filter(event=number).order_by("id").values_list("kind", "key")
    assert list(listed) == [("batch", "B-1"), ("tank", "T-1"), ("vessel", "C1")]
    for kind, key in listed:
        assert [event.number for event in events_about([(kind, key)])] == [number]
    assert list(events_about([("tank", "T-11"), ("tank", "T")])) == []
    assert [event.number for event in events_about([("tank", "T-1"), ("batch", "B-1")])] == [number]


def test_an_act_may_be_about_very_many_things(operator: Person, by: Make) -> None:
    number = touched(by(operator), *MANY)
    assert [event.number for event in events_about([MANY[-1]])] == [number]
    assert registry.findings() == []


def test_a_history_is_one_query_that_follows_an_index(operator: Person, by: Make) -> None:
    touched(by(operator), ("tank", "T-1"))
    with CaptureQueriesContext(connection) as queries:
        assert len(list(events_about([("tank", "T-1")]))) == 1
    assert len(queries) == 1
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN QUERY PLAN {queries[0]['sql']}")
            plan = " ".join(str(row[3]) for row in cursor.fetchall())
        assert "COVERING INDEX" in plan and "SCAN" not in plan


def test_acts_from_before_the_table_are_listed_by_the_migration(operator: Person, by: Make) -> None:
    touched(by(operator), ("tank", "T-1"), ("tank", "T-1"))
    before = list(EventSubject.objects.order_by("id").values_list("event", "kind", "key"))
    locks.remove()
    EventSubject.objects.all().delete()
    import_module("regenplant.audit.migrations.0003_seals_and_subjects").list_subjects(apps, None)
    locks.install()
    assert list(EventSubject.objects.order_by("id").values_list("event", "kind", "key")) == before
    assert registry.findings() == []


@pytest.mark.django_db
def test_digests_and_newest_acts_are_found_by_number_and_kind(operator: Person) -> None:
    number, head = chain.head()
    assert digests_of_acts([number, number + 1]) == {number: head}
    line = newest_act("person.added")
    assert (
        line is not None
        and line.number == AuditEvent.objects.filter(event="person.added").latest("number").number
    )
    assert newest_act("person.never") is None
