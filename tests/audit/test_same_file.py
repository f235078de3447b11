"""A kept connection follows the name of the database, not a file that was moved away."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from django.db import connection
from django.db.backends.sqlite3.base import DatabaseWrapper
from django.test import Client

from regenplant import environment
from regenplant.audit import same_file

pytestmark = pytest.mark.django_db
DEFAULTS: dict[str, Any] = {"ATOMIC_REQUESTS": False, "AUTOCOMMIT": True, "CONN_HEALTH_CHECKS": False, "TIME_ZONE": None, "TEST": {}}  # fmt: skip


def plant_called(path: Path, name: str) -> None:
    with sqlite3.connect(path) as made:
        made.execute("CREATE TABLE plant (name TEXT)")
        made.execute("INSERT INTO plant VALUES (?)", [name])
    made.close()


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[DatabaseWrapper]:
    """A connection of its own, settings as the program ships them."""
    plant_called(tmp_path / "plant.sqlite3", "Here")
    settings = {**DEFAULTS, **environment.sqlite(str(tmp_path / "plant.sqlite3"))}
    wrapper = DatabaseWrapper(settings, alias="kept")
    wrapper.inc_thread_sharing()
    yield wrapper
    wrapper.close()


def name_in(kept: Any) -> str:
    with kept.cursor() as cursor:
        cursor.execute("SELECT name FROM plant")
        return str(cursor.fetchone()[0])


def test_a_connection_is_kept_for_a_minute(kept: DatabaseWrapper) -> None:
    assert name_in(kept) == "Here"
    first = kept.connection
    kept.close_if_unusable_or_obsolete()
    same_file.close_if_replaced(kept)
    assert name_in(kept) == "Here" and kept.connection is first and first is not None


def test_a_file_put_in_its_place_is_opened(kept: DatabaseWrapper, tmp_path: Path) -> None:
    assert name_in(kept) == "Here"
    plant_called(tmp_path / "other.sqlite3", "There")
    for own in tmp_path.glob("plant.sqlite3*"):
        own.rename(tmp_path / own.name.replace("plant", "moved"))
    (tmp_path / "other.sqlite3").rename(tmp_path / "plant.sqlite3")
    assert name_in(kept) == "Here", (
        "without a look at the file it would go on writing to the one that was moved"
    )
    same_file.close_if_replaced(kept)
    assert name_in(kept) == "There"


def test_inside_an_act_nothing_is_closed(kept: DatabaseWrapper, tmp_path: Path) -> None:
    name_in(kept)
    kept.in_atomic_block = True
    (tmp_path / "plant.sqlite3").unlink()
    same_file.close_if_replaced(kept)
    assert kept.connection is not None
    kept.in_atomic_block = False
    same_file.close_if_replaced(kept)
    assert kept.connection is None


def test_every_request_asks(client: Client) -> None:
    with patch.object(same_file, "close_if_replaced") as asked:
        client.get("/sign-in/")
    asked.assert_called_once_with(connection)
