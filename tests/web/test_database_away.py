"""The database is away: whatever was asked, a person reads what to do, a program gets data, and the log has an error.

The database is closed for real: each cursor, the first of the session included, raises what a driver raises then.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

import pytest
from django.core.exceptions import BadRequest
from django.db import InterfaceError, OperationalError, ProgrammingError, connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import Client
from django.urls import reverse

from regenplant.people.models import Person
from regenplant.tanks.models import Customer
from regenplant.web.failing import is_away
from tests.web.pages import text_of


@pytest.fixture
def browser(supervisor: Person) -> Client:
    """Signed in, and shown what an answer is instead of the exception behind it."""
    client = Client(raise_request_exception=False)
    client.force_login(supervisor, backend="django.contrib.auth.backends.ModelBackend")
    return client


@contextmanager
def away(error: Exception) -> Iterator[list[str]]:
    """No cursor is given any more; gives the list of those asked for."""
    asked: list[str] = []

    def no_cursor(self: Any, *args: Any, **kwargs: Any) -> Any:
        asked.append("cursor")
        raise error

    with patch.object(BaseDatabaseWrapper, "cursor", no_cursor):
        yield asked


DOWN = OperationalError("connection to server failed: Connection refused")
SHUT = InterfaceError("the connection is closed")


@pytest.mark.django_db
@pytest.mark.parametrize("error", [DOWN, SHUT], ids=["down", "shut"])
@pytest.mark.parametrize("address", ["/", "/sign-in/", "/floor/", "/review/", "/emergency/", "/handover/"])
def test_every_page_says_what_to_do_and_when_to_ask_again(
    browser: Client, address: str, error: Exception
) -> None:
    with away(error) as asked:
        answer = browser.get(address)
    assert answer.status_code == 503 and answer["Retry-After"] == "60"
    assert "no-store" in answer["Cache-Control"]
    text = text_of(answer)
    for said in (
        "does not answer",
        "Nothing half-written was kept",
        "Try again in a minute",
        "numbered paper forms",
    ):
        assert said in text, said
    assert len(asked) == 1, "the page of the failure asked the database again"


@pytest.mark.django_db
def test_what_was_sent_is_not_written_and_the_page_says_how_to_keep_it(browser: Client) -> None:
    with away(DOWN):
        answer = browser.post(
            reverse("customers"), {"code": "NOR", "name": "North Clinic <b>", "password": "secret words"}
        )
    assert answer.status_code == 503
    text = text_of(answer)
    assert "what you sent stands in the record whole, or not at all" in text
    assert "Name North Clinic <b>" in text and "Code NOR" in text, "nothing typed is lost"
    assert "secret words" not in text
    assert '<dd class="hand">North Clinic &lt;b&gt;</dd>' in answer.content.decode()
    assert "Try again</a>" not in answer.content.decode(), (
        "a page that was sent is not asked for again by a link"
    )
    assert not Customer.objects.filter(code="NOR").exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "headers"),
    [
        ("/how-we-know.json", {}),
        ("/batches/B-10001/plan.json", {}),
        ("/bench/bed-volume/answer.json", {}),
        ("/floor/", {"accept": "application/json"}),
    ],
)
def test_a_program_gets_data(browser: Client, address: str, headers: dict[str, str]) -> None:
    with away(DOWN):
        answer = browser.get(address, headers=headers)
    assert answer.status_code == 503 and answer["Content-Type"] == "application/json"
    assert answer["Retry-After"] == "60"
    assert answer.json()["error"]["code"] == "database_away"


@pytest.mark.django_db
def test_it_is_logged_as_an_error_with_where_it_came_from(
    browser: Client, caplog: pytest.LogCaptureFixture
) -> None:
    with away(DOWN), caplog.at_level(logging.ERROR):
        browser.get("/floor/")
    (line,) = [line for line in caplog.records if line.levelno >= logging.ERROR]
    assert "/floor/" in line.getMessage()
    assert line.exc_info and line.exc_info[1] is DOWN


@pytest.mark.django_db
def test_it_goes_away_in_the_middle_of_a_page(browser: Client) -> None:
    """The session and the person were read; the connection breaks in the view, and the frame must not be asked for."""
    with patch("regenplant.web.areas.review.views.review_board", side_effect=DOWN):
        answer = browser.get("/review/")
    assert answer.status_code == 503 and "does not answer" in text_of(answer)


@pytest.mark.django_db
@pytest.mark.parametrize("error", [ProgrammingError("syntax"), ValueError("a defect"), ZeroDivisionError()])
def test_a_defect_is_still_said_as_one(browser: Client, error: Exception) -> None:
    with patch("regenplant.web.areas.review.views.review_board", side_effect=error):
        answer = browser.get("/review/")
    assert answer.status_code == 500 and "A defect in the program" in text_of(answer)
    assert "Retry-After" not in answer


def test_what_sqlite_calls_operational_and_is_a_defect_counts_as_one(db: None) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite has one word for both")
    with pytest.raises(OperationalError) as missing, connection.cursor() as cursor:
        cursor.execute("SELECT * FROM no_such_table")
    assert not is_away(missing.value)
    assert is_away(DOWN) and is_away(SHUT) and not is_away(None)
    wrapped = RuntimeError("could not look")
    wrapped.__cause__ = DOWN
    assert is_away(wrapped)


@pytest.mark.django_db(transaction=True)
def test_a_file_that_stays_locked_is_answered_the_same(supervisor: Person) -> None:
    """A second program holds SQLite's file; the session cannot be written within the time-out."""
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL has no lock on the whole")
    client = Client(raise_request_exception=False)
    client.force_login(supervisor, backend="django.contrib.auth.backends.ModelBackend")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None, timeout=0)
    try:
        other.execute("BEGIN IMMEDIATE")
        answer = client.get("/review/")
    finally:
        other.rollback()
        other.close()
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout = 20000")
    assert answer.status_code == 503 and answer["Retry-After"] == "60"
    assert "does not answer" in text_of(answer) and "deleted" not in text_of(answer)
    assert client.get("/review/").status_code == 200, "when the lock is gone the same session goes on"


@pytest.mark.django_db
def test_what_is_a_bad_request_stays_one(browser: Client) -> None:
    with patch("regenplant.web.areas.review.views.review_board", side_effect=BadRequest("no such thing")):
        answer = browser.get("/review/")
    assert answer.status_code == 400
