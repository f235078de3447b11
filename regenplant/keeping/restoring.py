"""The way back from a backup: into an empty database, whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime
from decimal import Decimal
from itertools import islice
from typing import Any
from uuid import UUID

from django.contrib.contenttypes.models import ContentType
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.backends.utils import CursorWrapper

from regenplant.audit import chain, locks
from regenplant.audit.sealed import kind_of
from regenplant.core.errors import RecordRefused
from regenplant.keeping.backup import Backup, copied_models, kept, migrations_applied
from regenplant.keeping.models import PurgedRow

FILLED_BY_MIGRATIONS = ("auth_group", "auth_permission", "django_content_type", "audit_rowshape")
"""Tables that hold rows in a database nobody has used yet; a backup has its own."""
_AT_ONCE = 500

Convert = Callable[[Any], Any]
_PYTHON: dict[str, Convert] = {
    "moment": datetime.fromisoformat,
    "day": date.fromisoformat,
    "uuid": UUID,
    "bytes": bytes.fromhex,
    "decimal": Decimal,
}
"""From the plain data of a line to what a field takes; what is not named is taken as it is."""


def restore(backup: Backup) -> None:
    """Put every row of a backup into this database, in one transaction, and prove it by the digest of every table.

    No act is written: the chain ends where the backup's chain ends. Raises: RecordRefused when the tables stand at other
    migrations, when anything is in the database already, or when what was written has other digests.
    """
    _refuse_other_tables(backup)
    try:
        with transaction.atomic():
            locks.remove()
            _refuse_used()
            _empty()
            for table in backup.manifest.tables:
                _fill(copied_models()[table.table], backup.rows(table.table))
            connection.check_constraints()
            _count_on()
            locks.install()
            _refuse_difference(backup)
    except DatabaseError as error:
        raise RecordRefused(
            f"The database refused a row of the backup: {error}. Nothing was restored."
        ) from error
    ContentType.objects.clear_cache()


def _refuse_other_tables(backup: Backup) -> None:
    own, theirs = set(migrations_applied()), set(backup.manifest.migrations)
    if own != theirs or set(copied_models()) != {table.table for table in backup.manifest.tables}:
        only = [
            *(f"only in the backup: {name}" for name in sorted(theirs - own)),
            *(f"only here: {name}" for name in sorted(own - theirs)),
        ]
        raise RecordRefused(
            f"The tables here do not stand where those of the backup stood ({'; '.join(only) or 'other tables'}). "
            "Restore with the program that made the backup, then upgrade.",
            code="other_migrations",
        )


def _refuse_used() -> None:
    used = [
        name
        for name, model in copied_models().items()
        if name not in FILLED_BY_MIGRATIONS and model._base_manager.exists()
    ]
    if used:
        raise RecordRefused(
            f"This database is in use: there are rows in {', '.join(used[:5])}{' and others' if len(used) > 5 else ''}. "
            "A backup is restored into an empty database only.",
            code="not_empty",
        )


def _empty() -> None:
    """Take away what migrations have written; each restored table is the backup's."""
    with connection.cursor() as cursor:
        for table in FILLED_BY_MIGRATIONS:
            cursor.execute(f"DELETE FROM {connection.ops.quote_name(table)}")


def _fill(model: type[models.Model], rows: Iterator[dict[str, Any]]) -> None:
    fields = {str(field.column): field for field in model._meta.concrete_fields}
    columns = sorted(fields)
    quoted = connection.ops.quote_name
    statement = (
        f"INSERT INTO {quoted(model._meta.db_table)} ({', '.join(map(quoted, columns))}) "
        f"VALUES ({', '.join(['%s'] * len(columns))})"
    )
    converters = [_converter(fields[column]) for column in columns]
    with connection.cursor() as cursor:
        while some := list(islice(rows, _AT_ONCE)):
            cursor.executemany(
                statement,
                [
                    [convert(row[column]) for convert, column in zip(converters, columns, strict=True)]
                    for row in some
                ],
            )


def _converter(field: Any) -> Convert:
    to_python = _PYTHON.get(kind_of(field))

    def convert(value: Any) -> Any:
        if value is None and (field.null or kind_of(field) != "json"):
            return None
        if kind_of(field) == "json":
            return connection.ops.adapt_json_value(value, None)
        return field.get_db_prep_save(to_python(value) if to_python else value, connection=connection)

    return convert


def _count_on() -> None:
    """Let new keys follow the restored ones."""
    statements = connection.ops.sequence_reset_sql(no_style(), list(copied_models().values()))
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
        _count_past_purged(cursor)


def _count_past_purged(cursor: CursorWrapper) -> None:
    """A key that was purged is not given out again: its tombstone would let the new row go."""
    newest: dict[str, int] = {}
    for table, key in PurgedRow.objects.values_list("table_name", "row_key").iterator(2000):
        newest[table] = max(newest.get(table, 0), int(key))
    for table, last in newest.items():
        if connection.vendor == "sqlite":
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s AND seq < %s", [table, last])
            cursor.execute(
                "INSERT INTO sqlite_sequence (name, seq) SELECT %s, %s "
                "WHERE NOT EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = %s)",
                [table, last, table],
            )
        else:
            cursor.execute(
                "SELECT setval(own, greatest(%s, nextval(own) - 1)) FROM (SELECT pg_get_serial_sequence(%s, 'id') AS own) AS it",
                [last, table],
            )


def _refuse_difference(backup: Backup) -> None:
    for table in backup.manifest.tables:
        here = kept(copied_models()[table.table])
        if here != table:
            raise RecordRefused(
                f"{table.table} came out otherwise: {here.rows} rows with digest {here.digest[:16]}, in the backup {table.rows} with "
                f"{table.digest[:16]}. Nothing was restored.",
                code="other_digest",
            )
    if chain.head() != (backup.manifest.head_number, backup.manifest.head):
        raise RecordRefused(
            "The head of the chain came out otherwise. Nothing was restored.", code="other_head"
        )
