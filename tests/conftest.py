"""What every test may use: people by role, the clock, who acts when, signed-in clients, and a flush that knows the locks."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core import serializers
from django.core.management.commands import flush
from django.db import connection
from django.test import Client

from regenplant.audit import locks, turn
from regenplant.audit.by import By
from regenplant.people.authority import Role
from regenplant.people.models import Person
from tests import factories, outside, replay

TESTS = str(Path(__file__).parent)
ONLY_WITH_A_DATABASE = "REGENPLANT_TEST_ONLY_WITH_A_DATABASE"
"""Environment variable, "1": tests that open no database are left out."""
WITH_SERVERS = ("tests/long/", "tests/test_database.py")
"""They start servers of their own on a database, or look which one was asked for."""
PROGRAM = str(Path(__file__).parents[1] / "regenplant")


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


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The second run of ``python -m tests`` is there for the second database: what never opens one has been proven by then."""
    if os.environ.get(ONLY_WITH_A_DATABASE) != "1":
        return
    without = [item for item in items if not _opens_a_database(item)]
    config.hook.pytest_deselected(items=without)
    left_out = set(without)
    items[:] = [item for item in items if item not in left_out]


def _opens_a_database(item: pytest.Item) -> bool:
    if item.nodeid.startswith(WITH_SERVERS):
        return True
    asked = getattr(item, "fixturenames", ())
    return item.get_closest_marker("django_db") is not None or any(
        name in asked for name in ("db", "transactional_db", "django_db_setup", "live_server")
    )


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


@pytest.fixture
def as_(plant: factories.SmallPlant, client_of: Callable[[Person], Client]) -> Callable[[str], Client]:
    """``as_("planner")``: the same for a person of the test's own ``plant``."""
    return lambda who: client_of(plant.people[who])


# --- rows put there by hand ---------------------------------------------------------------------------------------------
@pytest.fixture(autouse=True)
def rows_by_hand(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The database lets only acts write rows of the record. Tests also put rows there by hand, to see what a constraint or a
    page says to them; so outside an act a test may, and the program may not. A test marked ``acts_only`` may not either.

    On PostgreSQL ``tests.settings`` opens each connection with the setting that the triggers ask for.
    """
    is_strict = request.node.get_closest_marker("acts_only") is not None
    monkeypatch.setattr(replay, "is_allowed", not is_strict)
    if not is_strict:
        noted = turn.Notes.note
        monkeypatch.setattr(
            turn.Notes, "note", lambda self, *row: noted(self, *row) if self.is_open else _by_a_test()
        )
        monkeypatch.setattr(turn, "SHUT", "by hand")
    elif connection.vendor == "postgresql":
        request.getfixturevalue("db")
        with connection.cursor() as cursor:
            cursor.execute("SET regenplant.turn = ''")
    yield
    if is_strict and connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET regenplant.turn = 'by hand'")


def _by_a_test() -> int:
    """1 when a test writes, 0 when a file of the program does: whichever called the database last."""
    frame = sys._getframe(1)
    while frame is not None:
        name = frame.f_code.co_filename
        if name.startswith(PROGRAM) and not name.endswith("audit/turn.py"):
            return 0
        if name.startswith(TESTS) and name != __file__:
            return 1
        frame = frame.f_back  # type: ignore[assignment]
    return 1


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


# --- searches of plans ----------------------------------------------------------------------------------------------------
@pytest.fixture(autouse=True)
def no_process_is_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process of its own opens the database of the settings, never that of a test. A test searches by itself."""
    monkeypatch.setattr("regenplant.planning.processes.begin_process", lambda number: None)
