"""Ways to falsify the record behind the program's back, each with the sentence that must give it away.

Whoever does this owns the database: the triggers are taken off first and put back afterwards, so that nothing but the record itself
can tell. Every way is a function of the record; it does its harm in SQL and gives the pattern that a finding must match.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db import connection

from regenplant.people.models import Person


@dataclass
class Record:
    """A small plant's record with a batch that passed QC and one that runs, and how to get at it with SQL."""

    batch: str
    other: str
    people: dict[str, Person]
    act_again: Callable[[], None]
    """An act that writes the running batch once more."""
    facts: dict[str, Any] = field(default_factory=dict)

    def run(self, sql: str, *values: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            assert cursor.rowcount != 0, f"nothing was hit: {sql}"

    def one(self, sql: str, *values: Any) -> Any:
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            row = cursor.fetchone()
        assert row is not None, sql
        return row[0] if len(row) == 1 else row

    def some(self, table: str, where: str = "1 = 1") -> int:
        """The key of one row."""
        return int(self.one(f"SELECT MIN(id) FROM {table} WHERE {where}"))

    @property
    def batch_id(self) -> int:
        return int(self.one("SELECT id FROM batches_batch WHERE number = %s", self.batch))


WAYS: dict[str, Callable[[Record], str]] = {}


def way(name: str) -> Callable[[Callable[[Record], str]], Callable[[Record], str]]:
    def register(function: Callable[[Record], str]) -> Callable[[Record], str]:
        assert name not in WAYS, name
        WAYS[name] = function
        return function

    return register


def altered(
    name: str, table: str, change: str, *, where: str = "1 = 1", says: str, and_says: str = ""
) -> None:
    """A way that changes columns of one row; ``says`` is how the row is called, ``and_says`` what else must be found."""

    def alter(record: Record) -> str:
        key = record.some(table, where.format(batch=record.batch_id))
        record.run(f"UPDATE {table} SET {change} WHERE id = {key}")
        own = rf"row: The {says.format(record=record)}.* is not as event \d+ \(.+ UTC\) left it: it was altered without an act\."
        return rf"(?s)(?=.*{own})(?=.*{and_says.format(record=record)})"

    WAYS[name] = alter


def removed(name: str, table: str, *, where: str = "1 = 1", says: str, and_says: str = "") -> None:
    """A way that deletes one row."""

    def remove(record: Record) -> str:
        key = record.some(table, where.format(batch=record.batch_id))
        record.run(f"DELETE FROM {table} WHERE id = {key}")
        own = rf"row: The {says} {key} of .+ was removed without an act; event \d+ \(.+ UTC\) wrote it last\."
        return rf"(?s)(?=.*{own})(?=.*{and_says.format(record=record)})"

    WAYS[name] = remove


def copied(name: str, table: str, *, but: str, where: str = "1 = 1", says: str, and_says: str = "") -> None:
    """A way that inserts a copy of a row with other values in some columns ("column=expression, ...")."""

    def copy(record: Record) -> str:
        key = record.some(table, where.format(batch=record.batch_id))
        with connection.cursor() as cursor:
            columns = [c.name for c in connection.introspection.get_table_description(cursor, table)]
        changed = dict(part.split("=", 1) for part in but.format(batch=record.batch_id).split("; "))
        changed.setdefault("id", f"(SELECT MAX(id) + 1 FROM {table})")
        values = ", ".join(changed.get(column, f'"{column}"') for column in columns)
        names = ", ".join(f'"{column}"' for column in columns)
        record.run(f"INSERT INTO {table} ({names}) SELECT {values} FROM {table} WHERE id = {key}")
        own = rf"row: The {says.format(record=record)}.* stands in the record and no act wrote it\."
        return rf"(?s)(?=.*{own})(?=.*{and_says.format(record=record)})"

    WAYS[name] = copy


def matches(pattern: str, sentences: list[str]) -> bool:
    return re.search(pattern, "\n".join(sentences)) is not None
