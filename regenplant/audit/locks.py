"""Rows that the database itself refuses to change, on SQLite and PostgreSQL.

An app declares its locks in ``AppConfig.ready``. The triggers are made after every ``migrate`` (a rebuilt table on SQLite
silently loses its triggers) and compared with this list by a system check and by ``verify_records``.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connection
from django.db.backends.utils import CursorWrapper


@dataclass(frozen=True, slots=True)
class Lock:
    """Rows of ``table`` that may not be changed or deleted.

    ``when`` is an SQL condition on OLD ("" = always); ``columns`` limits the protection against updates to these
    columns (empty = all). ``forbids_delete`` False leaves deletion alone.
    """

    table: str
    when: str = ""
    columns: tuple[str, ...] = ()
    forbids_delete: bool = True

    @property
    def name(self) -> str:
        return f"lock_{self.table}"


_LOCKS: dict[str, Lock] = {}


def declare(*locks: Lock) -> None:
    """Declare locks; a table has one."""
    for lock in locks:
        _LOCKS[lock.table] = lock


def declared() -> tuple[Lock, ...]:
    return tuple(_LOCKS[table] for table in sorted(_LOCKS))


def install() -> None:
    """Make all triggers anew. Idempotent."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        for lock in declared():
            if lock.table in tables:
                _drop(cursor, lock)
                for statement in _statements(lock):
                    cursor.execute(statement)


def remove() -> None:
    """Drop all triggers: only for emptying a test database."""
    with connection.cursor() as cursor:
        for lock in declared():
            _drop(cursor, lock)


def missing() -> tuple[str, ...]:
    """Names of triggers that should stand in the database and do not."""
    expected = {name for lock in declared() for name in _trigger_names(lock)}
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'")
        found = {row[0] for row in cursor.fetchall()}
    return tuple(sorted(expected - found))


def _trigger_names(lock: Lock) -> tuple[str, ...]:
    names = [f"{lock.name}_update"]
    if lock.forbids_delete:
        names.append(f"{lock.name}_delete")
    names.append(f"{lock.name}_{'insert' if connection.vendor == 'sqlite' else 'truncate'}")
    return tuple(names)


def _condition(lock: Lock, *, for_update: bool) -> str:
    parts = [f"({lock.when})"] if lock.when else []
    if for_update and lock.columns:
        differs = "IS NOT" if connection.vendor == "sqlite" else "IS DISTINCT FROM"
        parts.append(
            "(" + " OR ".join(f"OLD.{column} {differs} NEW.{column}" for column in lock.columns) + ")"
        )
    return " AND ".join(parts)


def _statements(lock: Lock) -> list[str]:
    return _sqlite(lock) if connection.vendor == "sqlite" else _postgres(lock)


def _sqlite(lock: Lock) -> list[str]:
    message = f"{lock.table}: this row is frozen"
    key = _primary_key(lock.table)
    update, delete = _condition(lock, for_update=True), _condition(lock, for_update=False)
    exists = f"SELECT 1 FROM {lock.table} AS old_row WHERE old_row.{key} = NEW.{key}"
    if lock.when:
        exists += f" AND ({lock.when.replace('OLD.', 'old_row.')})"
    made = [
        f"CREATE TRIGGER {lock.name}_update BEFORE UPDATE ON {lock.table} FOR EACH ROW "
        f"{'WHEN ' + update if update else ''} BEGIN SELECT RAISE(ABORT, '{message}'); END",
        # INSERT OR REPLACE deletes without firing the delete trigger on a foreign connection
        f"CREATE TRIGGER {lock.name}_insert BEFORE INSERT ON {lock.table} FOR EACH ROW "
        f"WHEN EXISTS ({exists}) BEGIN SELECT RAISE(ABORT, '{message}'); END",
    ]
    if lock.forbids_delete:
        made.append(
            f"CREATE TRIGGER {lock.name}_delete BEFORE DELETE ON {lock.table} FOR EACH ROW "
            f"{'WHEN ' + delete if delete else ''} BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
    return made


def _postgres(lock: Lock) -> list[str]:
    update, delete = _condition(lock, for_update=True), _condition(lock, for_update=False)
    made = [
        f"CREATE OR REPLACE FUNCTION {lock.name}() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{lock.table}: this row is frozen' USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f"CREATE TRIGGER {lock.name}_update BEFORE UPDATE ON {lock.table} FOR EACH ROW "
        f"{'WHEN (' + update + ')' if update else ''} EXECUTE FUNCTION {lock.name}()",
        f"CREATE TRIGGER {lock.name}_truncate BEFORE TRUNCATE ON {lock.table} FOR EACH STATEMENT "
        f"EXECUTE FUNCTION {lock.name}()",
    ]
    if lock.forbids_delete:
        made.append(
            f"CREATE TRIGGER {lock.name}_delete BEFORE DELETE ON {lock.table} FOR EACH ROW "
            f"{'WHEN (' + delete + ')' if delete else ''} EXECUTE FUNCTION {lock.name}()"
        )
    return made


def _drop(cursor: CursorWrapper, lock: Lock) -> None:
    for ending in ("update", "delete", "insert", "truncate"):
        if connection.vendor == "sqlite":
            cursor.execute(f"DROP TRIGGER IF EXISTS {lock.name}_{ending}")
        elif lock.table in connection.introspection.table_names(cursor):
            cursor.execute(f"DROP TRIGGER IF EXISTS {lock.name}_{ending} ON {lock.table}")


def _primary_key(table: str) -> str:
    with connection.cursor() as cursor:
        return connection.introspection.get_primary_key_column(cursor, table) or "id"
