"""An act's turn: all acts follow one another, and while one is open the database notes which rows it touches.

Triggers of every sealed table (``audit.locks``) note table, key and, where a row stood there before, what it was. Outside a
turn they refuse to write.

SQLite: the note is a function of this connection, ``record_note``; a program that does not have it cannot write to these tables
at all. PostgreSQL: a table of notes that is emptied at the end of the act, and a setting of the transaction that
says whether a turn is open.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from django.db import OperationalError, connection
from django.db.backends.signals import connection_created

from regenplant.audit import sealed
from regenplant.audit.digests import digester
from regenplant.audit.line import Line
from regenplant.core.errors import DomainError, RecordBusy

ADVISORY_LOCK = 7_301_988
LONGEST_WAIT_S = 20
"""After this time an act that waits for its turn is refused; SQLite waits as long (``environment.SQLITE_INIT``)."""
OPEN, SHUT = "act", ""
"""What the setting of the transaction says on PostgreSQL."""
NOTES = "audit_touchedrow"
_LINE = Line()
_BUSY = ("55P03", "40P01", "57014", "40001")
"""PostgreSQL: lock not available, deadlock, statement timed out, not serializable."""


@dataclass(slots=True)
class Notes:
    """What this connection knows of the act that is open: rows touched, with their digest before; "" for a new row."""

    is_open: bool = False
    before: dict[tuple[str, str], str] = field(default_factory=dict)
    start: int = 0
    """PostgreSQL: number of the last note of others."""

    def note(self, table: str, key: Any, *values: Any) -> int:
        """Called by the triggers on SQLite: 1 when the row may be written, 0 when no act is open."""
        if not self.is_open:
            return 0
        place = (table, str(key))
        if place not in self.before:
            shape = sealed.tables()[table].shape
            self.before[place] = digester(shape, "sqlite")(place[1], values) if values else ""
        return 1


def notes() -> Notes:
    """The notes of this thread's connection."""
    found: Notes | None = getattr(connection, "_record_notes", None)
    if found is None:
        found = Notes()
        connection._record_notes = found  # type: ignore[attr-defined]
    return found


def prepare(*, connection: Any, **kwargs: Any) -> None:
    """Give a new connection to SQLite the function its triggers call."""
    if connection.vendor == "sqlite":

        def record_note(table: str, key: Any, *values: Any) -> int:
            return notes().note(table, key, *values)

        connection.connection.create_function("record_note", -1, record_note)


connection_created.connect(prepare, dispatch_uid="record-notes")


@contextmanager
def in_line() -> Iterator[None]:
    """Wait in line before the transaction of an act opens, where the database keeps no line itself.

    Inside a transaction there is nothing to wait for: SQLite has let this connection in already.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    try:
        with _LINE.stand(LONGEST_WAIT_S):
            yield
    except TimeoutError as error:
        raise _busy() from error


def take() -> None:
    """Wait for the turn and begin to note. Call first in the transaction of an act.

    SQLite lets one writer in by itself (immediate transactions; ``in_line`` says who is next). On PostgreSQL a lock is taken before any row lock, always
    first, so two acts can never wait for each other in a circle.
    """
    own = notes()
    own.before.clear()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT set_config('lock_timeout', %s, true), pg_advisory_xact_lock(%s), "
                f"set_config('regenplant.turn', %s, true), nextval('{NOTES}_id_seq')",
                [f"{LONGEST_WAIT_S}s", ADVISORY_LOCK, OPEN],
            )
            own.start = cursor.fetchone()[-1]
    own.is_open = True


def touch(place: tuple[str, str], before: str) -> None:
    """Let the open act seal a row it does not write; ``before`` is the digest the last act left it with, "" for none."""
    notes().before[place] = before


def end() -> dict[tuple[str, str], str]:
    """End the turn: nothing more may be written to sealed tables. Gives each touched row's digest before the act."""
    own = notes()
    own.is_open = False
    found = own.before
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                f"WITH notes AS (DELETE FROM {NOTES} WHERE id > %s RETURNING id, table_name, row_key, before), "
                "shut AS (SELECT set_config('regenplant.turn', %s, true) AS said) "
                "SELECT notes.id, table_name, row_key, before FROM shut LEFT JOIN notes ON true",
                [own.start, SHUT],
            )
            for _, table, key, before in sorted(row for row in cursor.fetchall() if row[0] is not None):
                place = (table, key)
                if place not in found and table in sealed.tables():
                    shape = sealed.tables()[table].shape
                    found[place] = (
                        digester(shape, "postgresql")(key, json.loads(before)) if before is not None else ""
                    )
    own.before = {}
    return found


def drop() -> None:
    """Forget an act that failed; its transaction is undone by the caller."""
    own = notes()
    own.is_open = False
    own.before.clear()


def refusal_of(error: OperationalError) -> DomainError | None:
    """A refusal for people when the database let an act wait too long; None for any other trouble."""
    state = getattr(error.__cause__, "sqlstate", None)
    if state in _BUSY or "database is locked" in str(error):
        return _busy()
    return None


def _busy() -> RecordBusy:
    return RecordBusy(
        f"Another act was being written for more than {LONGEST_WAIT_S} seconds, so this one was not. "
        "Nothing is lost; send it again.",
        allowed=LONGEST_WAIT_S,
    )
