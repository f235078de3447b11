"""The seal of rows: each act keeps the digest of every row of the record it wrote, before and after.

So a row that was changed, added or removed behind the program's back no longer fits the last act that wrote it; and an act
that later writes such a row bears witness to it, because what it found does not fit either.

In the payload of the outermost act of an operation stands ``"rows": {"table@shape": {"key": "before>after"}}``: the beginning of
the row's digest before the act and the whole digest after it; nothing before for a new row, nothing after for a
removed one. The first act of a record seals the rows that migrations had written (the roles).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any

from django.db import connection

from regenplant.audit import sealed, turn
from regenplant.audit.digests import digester, seal, selected, values_of
from regenplant.audit.sealed import Sealed, Shape

Rows = dict[str, dict[str, str]]
AT_ONCE = 500
"""Rows asked for in one query; SQLite allows 999 values in it."""


def collect(*, is_first: bool) -> Rows:
    """End the turn and seal what it touched. ``is_first`` for the first act of a record."""
    before: dict[str, dict[str, str]] = {}
    for (table, key), digest in turn.end().items():
        before.setdefault(table, {})[key] = digest
    rows: Rows = {}
    known = sealed.tables()
    for table, was in before.items():
        if table in known:
            sealed_rows = _sealed_rows(known[table], was)
            if sealed_rows:
                rows[known[table].name] = sealed_rows
    if is_first:
        for name, added in _all_rows(before).items():
            rows[name] = {**rows.get(name, {}), **added}
    return rows


def _sealed_rows(table: Sealed, was: dict[str, str]) -> dict[str, str]:
    now = digests_of(table, was)
    found = {}
    for key, before in was.items():
        after = now.get(key, "")
        if before != after:
            found[key] = seal(before, after)
    return found


def digests_of(table: Sealed, keys: Iterable[str]) -> dict[str, str]:
    """The digests of these rows as they stand, by key; rows that are gone are left out."""
    digest = digester(table.shape, connection.vendor)
    key_column = connection.ops.quote_name(table.key)
    what = f"SELECT {key_column}, {selected(table.shape)} FROM {connection.ops.quote_name(table.table)}"
    found: dict[str, str] = {}
    remaining = iter(keys)
    with connection.cursor() as cursor:
        while some := list(islice(remaining, AT_ONCE)):
            marks = ", ".join(["%s"] * len(some))
            cursor.execute(
                f"{what} WHERE {key_column} IN ({marks})", [_as_stored(table, key) for key in some]
            )
            found |= {str(row[0]): digest(str(row[0]), values_of(row[1:])) for row in cursor.fetchall()}
    return found


def _as_stored(table: Sealed, key: str) -> Any:
    return int(key) if table.key_kind == "int" else key


def _all_rows(but: dict[str, dict[str, str]]) -> Rows:
    """Seals of every row of the record that no act of this turn has written."""
    known = sealed.tables()
    parts = " UNION ALL ".join(
        f"SELECT '{table.table}', CAST({connection.ops.quote_name(table.key)} AS varchar(64)) "
        f"FROM {connection.ops.quote_name(table.table)}"
        for table in known.values()
    )
    keys: dict[str, list[str]] = {}
    with connection.cursor() as cursor:
        cursor.execute(parts)
        for name, key in cursor.fetchall():
            if str(key) not in but.get(name, {}):
                keys.setdefault(name, []).append(str(key))
    return {
        known[name].name: {key: seal("", digest) for key, digest in digests_of(known[name], own).items()}
        for name, own in keys.items()
    }


def rows_in(shape: Shape, key: str) -> Iterator[tuple[str, str]]:
    """(key, digest) of every row of a table as it stands, worked out in this shape; ``key`` is the column of the key."""
    digest = digester(shape, connection.vendor)
    quoted = connection.ops.quote_name
    with any_text(), connection.chunked_cursor() as cursor:
        cursor.execute(f"SELECT {quoted(key)}, {selected(shape)} FROM {quoted(shape.table)}")
        while rows := cursor.fetchmany(2000):
            for row in rows:
                own = str(row[0])
                yield own, digest(own, values_of(row[1:]))


@contextmanager
def any_text() -> Iterator[None]:
    """Let SQLite hand over text that is none (bytes put there by hand): it then has another digest, instead of ending the reading."""
    if connection.vendor != "sqlite":
        yield
        return
    connection.ensure_connection()
    before = connection.connection.text_factory
    connection.connection.text_factory = lambda stored: stored.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        connection.connection.text_factory = before


def parts_of(name: str) -> tuple[str, str]:
    """Table and shape of a name as it stands in an act."""
    table, _, shape = name.partition("@")
    return table, shape


def before_and_after(value: str) -> Sequence[str]:
    """The digest a row had (its beginning) and the one it got; "" where there was no row."""
    before, _, after = value.partition(">")
    return before, after
