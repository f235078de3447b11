"""The database of the tests itself: locks and roles survive tests with real transactions, on whichever database runs."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.contrib.auth.models import Group
from django.db import connection

from regenplant.audit import chain, locks
from regenplant.audit.by import By
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.services import set_preferences
from tests import factories


def test_the_database_asked_for_is_the_one_used() -> None:
    asked = os.environ.get("REGENPLANT_TEST_DATABASE", "")
    if asked:
        assert connection.vendor == asked
    assert connection.vendor in ("sqlite", "postgresql")


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", [1, 2])
def test_tests_with_real_transactions_start_empty_with_roles_and_locks(turn: int) -> None:
    assert chain.head() == (0, chain.GENESIS)
    assert set(Group.objects.values_list("name", flat=True)) == {role.value for role in Role}
    assert locks.missing() == ()
    factories.person(Role.OPERATOR)
    assert Person.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_acts_from_many_threads_follow_one_another_without_loss() -> None:
    """Immediate transactions on SQLite, the advisory lock on PostgreSQL: no act is lost, none waits in a circle."""
    people = [factories.person(Role.OPERATOR) for _ in range(4)]
    before = chain.head()[0]

    def act(person: Person) -> None:
        try:
            for turn in range(10):
                who = By(person, factories.START, "tests")
                set_preferences(by=who, unit_system="us" if turn % 2 else "metric", theme="dark")
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as pool:
        for done in [pool.submit(act, person) for person in people]:
            done.result(timeout=60)
    assert chain.head()[0] == before + 40
    assert list(chain.verify()) == []
