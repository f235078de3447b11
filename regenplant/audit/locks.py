"""Rows that the database itself refuses to change, and rows it lets only acts write, on SQLite and PostgreSQL.

An app declares its locks in ``AppConfig.ready``; which tables are sealed says ``audit.sealed``. The triggers are taken off while
``migrate`` changes tables and made anew after it (a rebuilt table on SQLite silently loses its triggers, and PostgreSQL
alters no column that one names). A system check and ``verify_records`` compare what stands in the database with what
must stand there, by name and by content.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper

from regenplant.audit import sealed, triggers
from regenplant.audit.models import RowShape
from regenplant.audit.triggers import Lock, Trigger

__all__ = [
    "Lock",
    "altered",
    "declare",
    "declared",
    "install",
    "let_go",
    "missing",
    "remove",
    "strange",
    "wanted_names",
]

_LOCKS: dict[str, Lock] = {}
_LET_GO: dict[str, str] = {}
_OURS = ("lock_", "seal_")
"""How the names of our triggers begin."""


def declare(*locks: Lock) -> None:
    """Declare locks; a table has one."""
    for lock in locks:
        _LOCKS[lock.table] = lock


def let_go(tombstones: str, *tables: str) -> None:
    """Say that rows of these tables may be deleted once ``tombstones`` names them, and only then.

    Its rows have ``table_name`` and ``row_key``; they are sealed and locked like any others, so that who lets a row go is known.
    """
    _LET_GO.update(dict.fromkeys(tables, tombstones))


def declared() -> tuple[Lock, ...]:
    return tuple(_LOCKS[table] for table in sorted(_LOCKS))


def install() -> None:
    """Make all triggers anew, and write down the shapes that seals have from now on. Idempotent."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        wanted = [trigger for trigger in _wanted(cursor) if trigger.table in tables]
        if connection.vendor == "sqlite":
            _install_sqlite(cursor, wanted)
        else:
            _install_postgres(cursor, wanted)
    if RowShape._meta.db_table in tables:
        _keep_shapes(tables)


def remove() -> None:
    """Drop all triggers: for migrations, and for emptying a test database."""
    with connection.cursor() as cursor:
        for name, table in _ours(cursor):
            on = "" if connection.vendor == "sqlite" else f" ON {connection.ops.quote_name(table)}"
            cursor.execute(f"DROP TRIGGER {name}{on}")


def wanted_names() -> tuple[str, ...]:
    """Names of all triggers that must stand in the database."""
    with connection.cursor() as cursor:
        return tuple(sorted(trigger.name for trigger in _wanted(cursor)))


def missing() -> tuple[str, ...]:
    """Names of triggers that should stand in the database, switched on, and do not."""
    with connection.cursor() as cursor:
        tables = set(
            connection.introspection.table_names(cursor)
        )  # a table that a migration is still to make has none
        wanted = {trigger.name for trigger in _wanted(cursor) if trigger.table in tables}
        return tuple(sorted(wanted - set(_standing(cursor))))


def altered() -> tuple[str, ...]:
    """Names of triggers that stand in the database and do not do what they must."""
    with connection.cursor() as cursor:
        wanted = {trigger.name: trigger for trigger in _wanted(cursor)}
        standing = {name: text for name, text in _standing(cursor).items() if name in wanted}
        if connection.vendor == "sqlite":
            return tuple(sorted(name for name, text in standing.items() if text != wanted[name].statement))
        return _altered_postgres(cursor, wanted, standing)


def strange() -> tuple[tuple[str, str], ...]:
    """(name, table) of triggers on tables of the record that nobody here has made."""
    with connection.cursor() as cursor:
        wanted = _wanted(cursor)
        names, tables = {trigger.name for trigger in wanted}, {trigger.table for trigger in wanted}
        return tuple(
            sorted((name, table) for name, table in _all(cursor) if table in tables and name not in names)
        )


# --- what must stand --------------------------------------------------------------------------------------------------
def _wanted(cursor: CursorWrapper) -> list[Trigger]:
    found: list[Trigger] = []
    tables = set(connection.introspection.table_names(cursor))
    for lock in declared():
        tombstones = _LET_GO.get(lock.table, "")  # before a migration has made their table, nothing goes
        found += triggers.of_lock(lock, _primary_key(lock.table), tombstones if tombstones in tables else "")
    for table in sealed.tables().values():
        found += triggers.of_seal(table)
    return found


def _primary_key(table: str) -> str:
    from django.apps import apps

    for model in apps.get_models(include_auto_created=True):
        if model._meta.db_table == table:
            return str(model._meta.pk.column)
    return "id"


def _keep_shapes(tables: Iterable[str]) -> None:
    """Shapes are only ever added: an old seal names the shape it had."""
    shapes = {table.shape.id: table.shape for table in sealed.tables().values() if table.table in tables}
    known = set(RowShape.objects.filter(pk__in=shapes).values_list("pk", flat=True))
    RowShape.objects.bulk_create(
        RowShape(id=key, table_name=shape.table, content=shape.text)
        for key, shape in shapes.items()
        if key not in known
    )


# --- what stands ------------------------------------------------------------------------------------------------------
def _all(cursor: CursorWrapper) -> list[tuple[str, str]]:
    if connection.vendor == "sqlite":
        cursor.execute("SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'")
    else:
        cursor.execute(
            "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace"
        )
    return [(name, table) for name, table in cursor.fetchall()]


def _ours(cursor: CursorWrapper) -> list[tuple[str, str]]:
    return [(name, table) for name, table in _all(cursor) if name.startswith(_OURS)]


def _standing(cursor: CursorWrapper) -> dict[str, str]:
    """Name and content of the triggers that work: one that is switched off does not stand."""
    if connection.vendor == "sqlite":
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    else:
        cursor.execute(
            "SELECT t.tgname, pg_get_triggerdef(t.oid) FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE NOT t.tgisinternal AND t.tgenabled IN ('O', 'A') "
            "AND c.relnamespace = current_schema()::regnamespace"
        )
    return dict(cursor.fetchall())


def _install_sqlite(cursor: CursorWrapper, wanted: list[Trigger]) -> None:
    standing, needed = _standing(cursor), {trigger.name: trigger.statement for trigger in wanted}
    for name, _ in _ours(cursor):
        if standing[name] != needed.get(name):
            cursor.execute(f"DROP TRIGGER {name}")
    for name, statement in needed.items():
        if standing.get(name) != statement:
            cursor.execute(statement)


def _install_postgres(cursor: CursorWrapper, wanted: list[Trigger]) -> None:
    quoted = connection.ops.quote_name
    statements = [f"DROP TRIGGER {name} ON {quoted(table)}" for name, table in _ours(cursor)]
    functions = {trigger.function for trigger in wanted if trigger.function}
    statements += [function.statement for function in sorted(functions, key=lambda item: item.name)]
    statements += [trigger.statement for trigger in wanted]
    if statements:
        cursor.execute("; ".join(statements))


def _altered_postgres(
    cursor: CursorWrapper, wanted: dict[str, Trigger], standing: dict[str, str]
) -> tuple[str, ...]:
    """The database shows a trigger in its own words. What it must say is found by making it on an empty twin of its table."""
    found = set()
    cursor.execute(
        "SELECT proname, prosrc FROM pg_proc WHERE pronamespace = current_schema()::regnamespace "
        "AND prorettype = 'trigger'::regtype"
    )
    bodies: dict[str, str] = dict(cursor.fetchall())
    expected: dict[str, str] = {}
    with transaction.atomic():
        for trigger in wanted.values():
            if trigger.name not in standing or trigger.function is None:
                continue
            if bodies.get(trigger.function.name) != trigger.function.body:
                found.add(trigger.name)
        tables = sorted({wanted[name].table for name in standing if name not in found})
        for number, table in enumerate(tables):
            twin = f"lock_twin_{number}"
            cursor.execute(f"CREATE TEMP TABLE {twin} (LIKE {connection.ops.quote_name(table)})")
            own = [wanted[name] for name in standing if wanted[name].table == table and name not in found]
            cursor.execute("; ".join(_on(twin, trigger) for trigger in own))
            cursor.execute(
                "SELECT tgname, pg_get_triggerdef(oid) FROM pg_trigger WHERE tgrelid = %s::regclass", [twin]
            )
            expected |= dict(cursor.fetchall())
        transaction.set_rollback(True)
    found |= {
        name for name, text in expected.items() if _without_table(text) != _without_table(standing[name])
    }
    return tuple(sorted(found))


def _on(table: str, trigger: Trigger) -> str:
    return re.sub(r" ON \S+ FOR EACH ", f" ON {table} FOR EACH ", trigger.statement, count=1)


def _without_table(text: str) -> str:
    return re.sub(r" ON \S+ FOR EACH ", " ON it FOR EACH ", text, count=1)
