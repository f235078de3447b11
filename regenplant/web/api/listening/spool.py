"""The spool: messages of meters, safe on disk from the moment they arrive until they are in the record.

One SQLite file in the data folder, apart from the plant's database, so that messages are kept while that one is away. A message that
was taken leaves the spool; one that was refused stays and says why.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

NAME = "meter-spool.sqlite3"
LOCK_NAME = "meter-listener.lock"
MOST_REFUSED = 100_000
"""Refused messages that stay listed; the oldest go first."""
MOST_TRIES = 3
"""How often the program may end in the middle of one message before the message is set aside."""

_TABLES = """
CREATE TABLE IF NOT EXISTS message (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    topic TEXT NOT NULL,
    payload BLOB NOT NULL,
    digest TEXT NOT NULL,
    arrived_at TEXT NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    refused_code TEXT NOT NULL DEFAULT '',
    refused_why TEXT NOT NULL DEFAULT '',
    refused_at TEXT
);
CREATE UNIQUE INDEX IF NOT EXISTS waiting_once ON message (topic, digest) WHERE refused_at IS NULL;
CREATE INDEX IF NOT EXISTS refused ON message (id) WHERE refused_at IS NOT NULL;
CREATE TABLE IF NOT EXISTS subscribed (topic TEXT PRIMARY KEY);
"""


class AlreadyListening(RuntimeError):
    """Another listener has this spool."""


@dataclass(frozen=True, slots=True)
class Message:
    """A message that waits."""

    id: int
    topic: str
    payload: bytes
    arrived_at: datetime
    tries: int


@dataclass(frozen=True, slots=True)
class Refused:
    """A message that was refused, and why."""

    id: int
    topic: str
    payload: bytes
    arrived_at: datetime
    refused_at: datetime
    code: str
    why: str


class Spool:
    """One connection to the spool. Each thread opens its own."""

    def __init__(self, folder: Path):
        self._own = sqlite3.connect(folder / NAME, timeout=20, isolation_level=None)
        self._own.execute("PRAGMA journal_mode=WAL")
        self._own.execute("PRAGMA synchronous=FULL")  # what was acknowledged outlives a power cut
        self._own.executescript(_TABLES)

    def close(self) -> None:
        """Let go of the file; what was put and not kept is lost."""
        self._own.close()

    # --- arriving -------------------------------------------------------------------------------------------------------
    def put(self, topic: str, payload: bytes, at: datetime) -> None:
        """Write a message; it is safe after ``keep``. The same text that waits already is not written twice."""
        if not self._own.in_transaction:
            self._own.execute("BEGIN IMMEDIATE")
        self._own.execute(
            "INSERT OR IGNORE INTO message (topic, payload, digest, arrived_at) VALUES (?, ?, ?, ?)",
            (topic, payload, hashlib.sha256(payload).hexdigest(), _text(at)),
        )

    def keep(self) -> None:
        """Make what was put durable."""
        if self._own.in_transaction:
            self._own.execute("COMMIT")

    # --- handing on -----------------------------------------------------------------------------------------------------
    def waiting(self, limit: int) -> list[Message]:
        """The oldest messages that wait."""
        rows = self._own.execute(
            "SELECT id, topic, payload, arrived_at, tries FROM message WHERE refused_at IS NULL ORDER BY id LIMIT ?",
            (limit,),
        )
        return [
            Message(key, topic, bytes(payload), _moment(at), tries) for key, topic, payload, at, tries in rows
        ]

    def count_waiting(self) -> int:
        """How many messages wait."""
        return int(self._own.execute("SELECT count(*) FROM message WHERE refused_at IS NULL").fetchone()[0])

    def trying(self, keys: Iterable[int]) -> None:
        """Note that these are being handed on: whoever finds the note later knows that the program ended in the middle."""
        self._many("UPDATE message SET tries = tries + 1 WHERE id = ?", ((key,) for key in keys))

    def put_off(self, keys: Iterable[int]) -> None:
        """They wait on, through no fault of theirs."""
        self._many("UPDATE message SET tries = tries - 1 WHERE id = ?", ((key,) for key in keys))

    def taken(self, keys: Iterable[int]) -> None:
        """They are in the record, or known there already."""
        self._many("DELETE FROM message WHERE id = ?", ((key,) for key in keys))

    def refuse(self, keys: Iterable[int], code: str, why: str, at: datetime) -> None:
        """They stay listed with the reason; beyond ``MOST_REFUSED`` the oldest go."""
        self._many(
            "UPDATE message SET refused_code = ?, refused_why = ?, refused_at = ? WHERE id = ?",
            ((code, why, _text(at), key) for key in keys),
        )
        self._own.execute(
            "DELETE FROM message WHERE refused_at IS NOT NULL AND id <= (SELECT id FROM message "
            "WHERE refused_at IS NOT NULL ORDER BY id DESC LIMIT 1 OFFSET ?)",
            (MOST_REFUSED,),
        )

    def _many(self, statement: str, rows: Iterable[tuple[object, ...]]) -> None:
        with _whole(self._own):
            self._own.executemany(statement, rows)

    # --- refused --------------------------------------------------------------------------------------------------------
    def refused(self, limit: int = 200) -> list[Refused]:
        """Refused messages, newest first."""
        rows = self._own.execute(
            "SELECT id, topic, payload, arrived_at, refused_at, refused_code, refused_why FROM message "
            "WHERE refused_at IS NOT NULL ORDER BY id DESC LIMIT ?",
            (limit,),
        )
        return [
            Refused(key, topic, bytes(payload), _moment(arrived), _moment(refused), code, why)
            for key, topic, payload, arrived, refused, code, why in rows
        ]

    def refused_by_reason(self) -> list[tuple[str, str, str, int, datetime, datetime]]:
        """(topic, code, why, how many, first and last arrival) of all that were refused, newest reason first."""
        rows = self._own.execute(
            "SELECT topic, refused_code, refused_why, count(*), min(arrived_at), max(arrived_at) FROM message "
            "WHERE refused_at IS NOT NULL GROUP BY topic, refused_code, refused_why ORDER BY max(id) DESC"
        )
        return [
            (topic, code, why, int(number), _moment(first), _moment(last))
            for topic, code, why, number, first, last in rows
        ]

    def take_up_again(self) -> int:
        """Let every refused message wait once more, after what stood in its way was put right; how many."""
        with _whole(self._own):
            self._own.execute(
                "DELETE FROM message WHERE refused_at IS NOT NULL AND (EXISTS (SELECT 1 FROM message AS other "
                "WHERE other.topic = message.topic AND other.digest = message.digest AND other.id <> message.id "
                "AND (other.refused_at IS NULL OR other.id < message.id)))"
            )
            found = self._own.execute(
                "UPDATE message SET refused_at = NULL, refused_code = '', refused_why = '', tries = 0 "
                "WHERE refused_at IS NOT NULL"
            )
            return found.rowcount

    # --- topics ---------------------------------------------------------------------------------------------------------
    def topics(self) -> frozenset[str]:
        """What was subscribed to last, so that listening begins while the database is away."""
        return frozenset(row[0] for row in self._own.execute("SELECT topic FROM subscribed"))

    def set_topics(self, topics: Iterable[str]) -> None:
        """Keep what is subscribed to now."""
        with _whole(self._own):
            self._own.execute("DELETE FROM subscribed")
            self._own.executemany("INSERT INTO subscribed VALUES (?)", ((topic,) for topic in topics))


class _whole:
    """A transaction of the spool: all of it or nothing."""

    def __init__(self, own: sqlite3.Connection):
        self._own = own

    def __enter__(self) -> None:
        self._own.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._own.execute("COMMIT" if kind is None else "ROLLBACK")


class OnlyListener:
    """Holds the spool for one listener; the operating system lets go of it however the program ends."""

    def __init__(self, folder: Path):
        self._own = sqlite3.connect(folder / LOCK_NAME, timeout=0.2, isolation_level=None)
        try:
            self._own.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            self._own.close()
            raise AlreadyListening(
                f"Another listener works with the spool in {folder}. One is enough; two would push each other off the broker."
            ) from error

    def close(self) -> None:
        """Let another listener have the spool."""
        self._own.close()


def is_there(folder: Path) -> bool:
    """Whether anything was ever spooled here."""
    return (folder / NAME).exists()


def opened(folder: Path) -> closing[Spool]:
    """The spool for a ``with``."""
    return closing(Spool(folder))


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)
