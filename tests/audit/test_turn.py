"""Acts follow one another; one that would wait too long is refused in a sentence, and nothing of it is written."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from django.db import connection

from regenplant.audit import chain, turn
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.verifying import registry
from regenplant.core.errors import RecordBusy
from regenplant.people.services import set_preferences
from tests import factories
from tests.audit.test_line import wait_until

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Another writer is in the middle of an act and stays there; waiting is cut short."""
    monkeypatch.setattr(turn, "LONGEST_WAIT_S", 1)
    factories.first_administrator()
    is_held, may_go = threading.Event(), threading.Event()

    def hold() -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("BEGIN IMMEDIATE")
            else:
                cursor.execute("BEGIN")
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [turn.ADVISORY_LOCK])
            is_held.set()
            may_go.wait(30)
            cursor.execute("ROLLBACK")
        connection.close()

    writer = threading.Thread(target=hold)
    writer.start()
    assert is_held.wait(30)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout=1000")
    yield
    may_go.set()
    writer.join(30)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout=20000")


def test_an_act_that_waits_too_long_is_refused_and_can_be_sent_again(
    held: None, by: Callable[..., By]
) -> None:
    person = factories.first_administrator()
    before = chain.head()
    with pytest.raises(RecordBusy, match="Nothing is lost; send it again"):
        set_preferences(by=by(person), unit_system="us", theme="dark")
    person.refresh_from_db()
    assert (chain.head(), person.unit_system) == (before, "")


def test_what_is_verified_is_one_state_while_others_write(by: Callable[..., By]) -> None:
    """An act between the reading of the acts and that of the rows does not look like tampering."""
    person = factories.first_administrator()
    for theme in ("dark", "light"):
        set_preferences(by=by(person), unit_system="us", theme=theme)
    number = chain.head()[0]

    def write() -> None:
        set_preferences(by=by(person), unit_system="metric", theme="dark")
        connection.close()

    report = None
    for step in registry.steps():
        if step.looked is not None and step.looked.kind == "chain":
            writer = threading.Thread(target=write)
            writer.start()
            writer.join(30)
        report = step.report or report
    assert report is not None and (report.number, report.findings) == (number, ())
    assert chain.head()[0] == number + 1
    assert registry.findings() == []


def test_acts_on_sqlite_are_written_in_the_order_in_which_they_came(by: Callable[..., By]) -> None:
    """PostgreSQL keeps a line of its own, and no act stands in ours there."""
    person = factories.first_administrator()
    number = chain.head()[0]

    def write(terminal: str) -> None:
        set_preferences(by=replace(by(person), terminal=terminal), unit_system="us", theme="dark")
        connection.close()

    threads = [threading.Thread(target=write, args=(f"tablet {index}",)) for index in range(8)]
    with turn._LINE.stand(30):
        for index, thread in enumerate(threads):
            thread.start()
            if connection.vendor == "sqlite":
                wait_until(turn._LINE, index + 1)
            else:
                thread.join(30)
        assert (chain.head()[0] == number) is (connection.vendor == "sqlite")
    for thread in threads:
        thread.join(30)
    written = (
        AuditEvent.objects.filter(number__gt=number).order_by("number").values_list("terminal", flat=True)
    )
    assert list(written) == [f"tablet {index}" for index in range(8)]
