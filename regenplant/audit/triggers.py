"""The triggers of a locked and of a sealed table, as they must stand in the database, in the words of each database."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.db import connection

from regenplant.audit.digests import row_text
from regenplant.audit.sealed import Sealed
from regenplant.audit.turn import NOTES


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


@dataclass(frozen=True, slots=True)
class Function:
    """What a trigger of PostgreSQL runs."""

    name: str
    body: str

    @property
    def statement(self) -> str:
        return f"CREATE OR REPLACE FUNCTION {self.name}() RETURNS trigger LANGUAGE plpgsql AS $${self.body}$$"


@dataclass(frozen=True, slots=True)
class Trigger:
    """One trigger as it must stand. On PostgreSQL ``statement`` runs ``function``; SQLite keeps all in the statement."""

    name: str
    table: str
    statement: str
    function: Function | None = None


def of_lock(lock: Lock, key: str, tombstones: str = "") -> list[Trigger]:
    """The triggers of a lock; ``key`` is the column of the primary key.

    ``tombstones`` names the table that must name a row (``table_name``, ``row_key``) before it goes; "" when none ever goes.
    """
    if connection.vendor == "postgresql":
        return _lock_postgres(lock, key, tombstones)
    return _lock_sqlite(lock, key, tombstones)


def of_seal(table: Sealed) -> list[Trigger]:
    """The triggers that note what an act writes to a sealed table, and refuse what no act writes."""
    return _seal_postgres(table) if connection.vendor == "postgresql" else _seal_sqlite(table)


# --- locks ----------------------------------------------------------------------------------------------------------
def _condition(lock: Lock, *, for_update: bool) -> str:
    parts = [f"({lock.when})"] if lock.when else []
    if for_update and lock.columns:
        differs = "IS NOT" if connection.vendor == "sqlite" else "IS DISTINCT FROM"
        parts.append(
            "(" + " OR ".join(f"OLD.{column} {differs} NEW.{column}" for column in lock.columns) + ")"
        )
    return " AND ".join(parts)


def _named_to_go(lock: Lock, key: str, tombstones: str) -> str:
    """Whether the tombstones name the row that is about to be deleted."""
    return (
        f"EXISTS (SELECT 1 FROM {tombstones} WHERE table_name = '{lock.table}' "
        f"AND row_key = CAST(OLD.{key} AS varchar(64)))"
    )


def _lock_sqlite(lock: Lock, key: str, tombstones: str) -> list[Trigger]:
    message = f"{lock.table}: this row is frozen"
    update, delete = _condition(lock, for_update=True), _condition(lock, for_update=False)
    exists = f"SELECT 1 FROM {lock.table} AS old_row WHERE old_row.{key} = NEW.{key}"
    if lock.when:
        exists += f" AND ({lock.when.replace('OLD.', 'old_row.')})"

    def trigger(ending: str, when: str) -> Trigger:
        name = f"{lock.name}_{ending}"
        statement = (
            f"CREATE TRIGGER {name} BEFORE {ending.upper()} ON {lock.table} FOR EACH ROW "
            f"{'WHEN ' + when if when else ''} BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
        return Trigger(name, lock.table, statement)

    # INSERT OR REPLACE deletes without firing the delete trigger on a foreign connection
    made = [trigger("update", update), trigger("insert", f"EXISTS ({exists})")]
    if lock.forbids_delete:
        unless = f"NOT {_named_to_go(lock, key, tombstones)}" if tombstones else ""
        made.append(trigger("delete", " AND ".join(part for part in (delete, unless) if part)))
    return made


def _lock_postgres(lock: Lock, key: str, tombstones: str) -> list[Trigger]:
    update, delete = _condition(lock, for_update=True), _condition(lock, for_update=False)
    raising = f"RAISE EXCEPTION '{lock.table}: this row is frozen' USING ERRCODE = 'integrity_constraint_violation';"
    refuses = Function(lock.name, f" BEGIN {raising} END ")
    lets_go = Function(
        f"{lock.name}_unless",
        f" BEGIN IF {_named_to_go(lock, key, tombstones)} THEN RETURN OLD; END IF; {raising} END ",
    )

    def trigger(ending: str, when: str, each: str = "ROW", function: Function = refuses) -> Trigger:
        name = f"{lock.name}_{ending}"
        statement = (
            f"CREATE TRIGGER {name} BEFORE {ending.upper()} ON {lock.table} FOR EACH {each} "
            f"{'WHEN (' + when + ') ' if when else ''}EXECUTE FUNCTION {function.name}()"
        )
        return Trigger(name, lock.table, statement, function)

    made = [trigger("update", update), trigger("truncate", "", "STATEMENT")]
    if lock.forbids_delete:
        made.append(trigger("delete", delete, function=lets_go if tombstones else refuses))
    return made


# --- seals ----------------------------------------------------------------------------------------------------------
def _watched(table: Sealed, quoted: Callable[[str], str]) -> str:
    """Which updates are noted: all, or those of the columns a seal covers."""
    return f"UPDATE OF {', '.join(map(quoted, table.columns))}" if table.left_out else "UPDATE"


def _seal_sqlite(table: Sealed) -> list[Trigger]:
    quoted = connection.ops.quote_name
    key, name = quoted(table.key), quoted(table.table)
    old = ", ".join([f"OLD.{key}", *(f"OLD.{quoted(column)}" for column in table.columns)])

    def unless(noted: str, only_if: str = "") -> str:
        return (
            f"SELECT RAISE(ABORT, '{table.table}: a row of the record is written by an act') "
            f"WHERE {only_if}NOT record_note('{table.table}', {noted});"
        )

    def trigger(ending: str, event: str, *noting: str) -> Trigger:
        own = f"seal_{table.table}_{ending}"
        return Trigger(
            own,
            table.table,
            f"CREATE TRIGGER {own} AFTER {event} ON {name} FOR EACH ROW BEGIN {' '.join(noting)} END",
        )

    moved = unless(f"NEW.{key}", f"NEW.{key} IS NOT OLD.{key} AND ")
    return [
        trigger("insert", "INSERT", unless(f"NEW.{key}")),
        trigger("update", _watched(table, quoted), unless(old), moved),
        trigger("delete", "DELETE", unless(old)),
    ]


_NOT_EMPTIED = Function(
    "seal_not_emptied",
    " BEGIN RAISE EXCEPTION '%: a table of the record is not emptied', TG_TABLE_NAME "
    "USING ERRCODE = 'integrity_constraint_violation'; END ",
)


def _seal_postgres(table: Sealed) -> list[Trigger]:
    quoted = connection.ops.quote_name
    key, own = quoted(table.key), f"seal_{table.table}"
    old = row_text([f"OLD.{quoted(column)}" for column in table.columns])
    note_new = f"INSERT INTO {NOTES} (table_name, row_key) VALUES ('{table.table}', NEW.{key});"
    body = (
        " BEGIN IF coalesce(current_setting('regenplant.turn', true), '') = '' THEN "
        f"RAISE EXCEPTION '{table.table}: a row of the record is written by an act' "
        "USING ERRCODE = 'integrity_constraint_violation'; END IF; "
        f"IF TG_OP = 'INSERT' THEN {note_new} ELSE "
        f"INSERT INTO {NOTES} (table_name, row_key, before) VALUES ('{table.table}', OLD.{key}, {old}); "
        f"IF TG_OP = 'UPDATE' THEN IF NEW.{key} IS DISTINCT FROM OLD.{key} THEN {note_new} END IF; END IF; "
        "END IF; RETURN NULL; END "
    )
    name = quoted(table.table)
    rows = (
        f"CREATE TRIGGER {own} AFTER INSERT OR DELETE OR {_watched(table, quoted)} ON {name} FOR EACH ROW "
        f"EXECUTE FUNCTION {own}()"
    )
    whole = (
        f"CREATE TRIGGER {own}_truncate BEFORE TRUNCATE ON {name} FOR EACH STATEMENT "
        f"EXECUTE FUNCTION {_NOT_EMPTIED.name}()"
    )
    return [
        Trigger(own, table.table, rows, Function(own, body)),
        Trigger(f"{own}_truncate", table.table, whole, _NOT_EMPTIED),
    ]
