"""What every test may use: people by role, the clock, who acts when, signed-in clients, and a flush that knows the locks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.core import serializers
from django.core.management.commands import flush
from django.db import connection
from django.test import Client

from regenplant.audit import locks
from regenplant.audit.by import By
from regenplant.people.authority import Role
from regenplant.people.models import Person
from tests import factories, outside


@dataclass
class Clock:
    """The time in a test. It stands still until it is moved."""

    now: datetime = factories.START

    def forward(self, **by: float) -> datetime:
        """Move on, for example ``forward(minutes=5)``; returns the new time."""
        self.now += timedelta(**by)
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def by(clock: Clock) -> Callable[..., By]:
    """``by(person)`` or ``by(person, at=...)``: who acts, when, from where."""

    def make(
        person: Person | None,
        *,
        at: datetime | None = None,
        terminal: str = "bench 1",
        occurred_at: datetime | None = None,
    ) -> By:
        return By(person, at or clock.now, terminal, occurred_at)

    return make


# --- people -----------------------------------------------------------------------------------------------------------
@pytest.fixture
def administrator(db: None) -> Person:
    return factories.first_administrator()


@pytest.fixture
def operator(db: None) -> Person:
    return factories.person(Role.OPERATOR)


@pytest.fixture
def second_operator(operator: Person) -> Person:
    return factories.person(Role.OPERATOR)


@pytest.fixture
def qc_technician(db: None) -> Person:
    return factories.person(Role.QC_TECHNICIAN)


@pytest.fixture
def second_qc_technician(qc_technician: Person) -> Person:
    return factories.person(Role.QC_TECHNICIAN)


@pytest.fixture
def supervisor(db: None) -> Person:
    return factories.person(Role.SUPERVISOR)


@pytest.fixture
def planner(db: None) -> Person:
    return factories.person(Role.PLANNER)


@pytest.fixture
def safety_lead(db: None) -> Person:
    return factories.person(Role.SAFETY_LEAD)


@pytest.fixture
def outsider(db: None) -> Person:
    """Signed in, without any role."""
    return factories.person()


@pytest.fixture
def client_of(db: None) -> Callable[[Person], Client]:
    """``client_of(person)``: a browserless client in which this person is signed in."""

    def make(person: Person) -> Client:
        client = Client()
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return make


# --- the database -----------------------------------------------------------------------------------------------------
@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Lets tests with real transactions, and the live server, empty tables that the database itself refuses to empty.

    The locks are taken off, the tables emptied, the rows that migrations wrote (the roles) put back, the locks made anew.
    """
    with django_db_blocker.unblock():
        tables = set(connection.introspection.table_names())
        models = [model for model in apps.get_models() if model._meta.db_table in tables]
        as_migrated = serializers.serialize(
            "json", (row for model in models for row in model._base_manager.all())
        )
    original = flush.Command.handle

    def handle(self: flush.Command, **options: Any) -> None:
        locks.remove()
        try:
            original(self, **{**options, "inhibit_post_migrate": True})
            connection.creation.deserialize_db_from_string(as_migrated)
        finally:
            locks.install()

    flush.Command.handle = handle  # type: ignore[method-assign]
    yield
    flush.Command.handle = original  # type: ignore[method-assign]


# --- outside values -----------------------------------------------------------------------------------------------------
_LEDGER: dict[str, outside.Held] = {}


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Collects, from every worker, what the tests of the core held against outside values."""
    outside.take(report, _LEDGER)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """The page "How we know" says what a whole run has seen."""
    outside.at_the_end(session, _LEDGER)
