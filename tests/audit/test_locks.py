"""The database itself refuses to change, delete, replace or truncate frozen rows, whoever asks, on both databases."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import IntegrityError, connection, transaction

from regenplant.audit import locks
from regenplant.audit.checks import locks_are_in_place
from regenplant.audit.locks import Lock
from tests import factories
from tests.audit.frozen_rows import FROZEN, OPEN, model_of, other_value, row_for, undone

ALL = locks.declared()
WITH_CONDITION = [lock for lock in ALL if lock.when]
FORBID_DELETE = [lock for lock in ALL if lock.forbids_delete]
WITH_COLUMNS = [lock for lock in ALL if lock.columns]


def named(lock: Lock) -> str:
    return lock.table


def sql(statement: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)


@pytest.fixture
def row(request: pytest.FixtureRequest, db: None) -> Iterator[object]:
    lock = request.getfixturevalue("lock")
    with undone():
        yield row_for(lock, **FROZEN.get(lock.table, {}))


@pytest.fixture
def lock() -> Lock:
    """Given by each test."""
    raise LookupError("parametrize me")


def test_what_must_never_change_is_locked() -> None:
    """The list that the promise rests on: acts, signatures, readings, entries, measurements, decisions, movements."""
    assert {lock.table for lock in ALL} >= {
        "audit_auditevent",
        "people_signature",
        "people_person",
        "batches_batch",
        "batches_stepentry",
        "batches_rinsereading",
        "batches_deviation",
        "batches_steprun",
        "batches_hold",
        "batches_batchtank",
        "chemicals_movement",
        "chemicals_strengthcheck",
        "quality_qcmeasurement",
        "quality_qcdecision",
        "quality_release",
        "recipes_recipeversion",
        "recipes_specificationversion",
        "tanks_intakeinspection",
    }


def test_every_lock_names_a_table_and_columns_that_exist(db: None) -> None:
    for lock in ALL:
        columns = {field.column for field in model_of(lock)._meta.concrete_fields}
        assert set(lock.columns) <= columns, lock.table


def test_all_locks_stand_after_migrate(db: None) -> None:
    assert locks.missing() == ()
    assert locks_are_in_place(databases=["default"]) == []


# --- every lock, every way ------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01", "ER-09")
@pytest.mark.parametrize("lock", ALL, ids=named)
def test_an_update_of_each_locked_column_is_refused(lock: Lock, row) -> None:  # type: ignore[no-untyped-def]
    columns = lock.columns or [f.column for f in row._meta.concrete_fields if not f.primary_key]
    for column in columns:
        attribute, value = other_value(row, column)
        with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
            type(row)._default_manager.filter(pk=row.pk).update(**{attribute: value})


@pytest.mark.requirement("ER-09")
@pytest.mark.parametrize("lock", FORBID_DELETE, ids=named)
def test_a_raw_delete_is_refused(lock: Lock, row) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        sql(f"DELETE FROM {lock.table} WHERE {row._meta.pk.column} = %s", row.pk)


@pytest.mark.requirement("ER-09")
@pytest.mark.parametrize("lock", ALL, ids=named)
def test_insert_or_replace_and_its_twin_are_refused(lock: Lock, row) -> None:  # type: ignore[no-untyped-def]
    key = row._meta.pk.column
    if connection.vendor == "sqlite":
        statement = f"INSERT OR REPLACE INTO {lock.table} SELECT * FROM {lock.table} WHERE {key} = %s"
    else:
        column = (
            lock.columns[-1]
            if lock.columns
            else next(f.column for f in row._meta.concrete_fields if not f.primary_key)
        )
        _, value = other_value(row, column)
        names = ", ".join(f'"{f.column}"' for f in row._meta.concrete_fields)
        statement = (
            f"INSERT INTO {lock.table} ({names}) SELECT {names} FROM {lock.table} WHERE {key} = %s "
            f'ON CONFLICT ({key}) DO UPDATE SET "{column}" = '
            + (f'NOT EXCLUDED."{column}"' if isinstance(value, bool) else _literal(value))
        )
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        sql(statement, row.pk)


def _literal(value: object) -> str:
    if isinstance(value, (int, float)):
        return str(value)
    if isinstance(value, dict):
        return "'{\"altered\": true}'"
    return f"'{value}'"


@pytest.mark.requirement("ER-09")
@pytest.mark.parametrize("lock", ALL, ids=named)
def test_truncate_is_refused_on_postgresql(lock: Lock, db: None) -> None:
    if connection.vendor != "postgresql":
        assert not hasattr(connection, "pg_version"), (
            "SQLite has no TRUNCATE; a DELETE of all rows is refused row by row"
        )
        return
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        sql(f"TRUNCATE {lock.table} CASCADE")


@pytest.mark.parametrize("lock", WITH_CONDITION, ids=named)
def test_a_row_that_is_not_frozen_yet_can_be_worked_on(lock: Lock, db: None) -> None:
    with undone():
        row = row_for(lock, **OPEN[lock.table])
        column = (
            lock.columns[0]
            if lock.columns
            else {
                "batches_deviation": "what",
                "batches_steprun": "name",
                "shifts_handover": "remarks",
                "shifts_handoveritem": "words",
                "waste_excursion": "words",
            }.get(lock.table, "reason")
        )
        attribute, value = other_value(row, column)
        assert type(row)._default_manager.filter(pk=row.pk).update(**{attribute: value}) == 1


@pytest.mark.parametrize("lock", WITH_COLUMNS, ids=named)
def test_columns_that_are_meant_to_move_still_move(lock: Lock, db: None) -> None:
    free = {
        "people_person": "theme",
        "batches_batch": "version",
        "batches_batchtank": "set_aside_reason",
        "chemicals_unloading": "version",
        "chemicals_spill": "version",
    }
    with undone():
        row = row_for(lock, **FROZEN.get(lock.table, {}))
        locked = {*lock.columns, row._meta.pk.column}
        column = free.get(lock.table) or next(
            f.column for f in row._meta.concrete_fields if f.column not in locked
        )
        attribute, value = other_value(row, column)
        assert type(row)._default_manager.filter(pk=row.pk).update(**{attribute: value}) == 1


@pytest.mark.django_db(transaction=True)
def test_a_foreign_program_on_the_same_file_cannot_replace_an_event_either() -> None:
    """Without our pragma, REPLACE deletes without firing the delete trigger: the insert trigger must stop it alone."""
    if connection.vendor != "sqlite":
        assert connection.vendor == "postgresql"  # no REPLACE there; ON CONFLICT is refused above
        return
    factories.first_administrator()
    foreign = sqlite3.connect(connection.settings_dict["NAME"], timeout=5)
    try:
        assert foreign.execute("PRAGMA recursive_triggers").fetchone() == (0,)
        for statement in (
            "INSERT OR REPLACE INTO audit_auditevent SELECT * FROM audit_auditevent WHERE number = 1",
            "UPDATE audit_auditevent SET actor_name = 'x'",
            "DELETE FROM audit_auditevent",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="this row is frozen"):
                foreign.execute(statement)
    finally:
        foreign.close()


def test_our_own_connection_fires_triggers_on_replace(db: None) -> None:
    if connection.vendor != "sqlite":
        assert connection.vendor == "postgresql"
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA recursive_triggers")
        assert cursor.fetchone() == (1,)
        cursor.execute("PRAGMA foreign_keys")
        assert cursor.fetchone() == (1,)


# --- a lock that is gone is seen ------------------------------------------------------------------------------------------
def test_a_dropped_lock_is_named_by_the_check_and_made_again(db: None) -> None:
    on = "" if connection.vendor == "sqlite" else " ON people_signature"
    sql(f"DROP TRIGGER lock_people_signature_delete{on}")
    assert locks.missing() == ("lock_people_signature_delete",)
    messages = locks_are_in_place(databases=["default"])
    assert [(message.id, message.msg) for message in messages] == [
        ("audit.E001", "The lock lock_people_signature_delete is missing in the database.")
    ]
    with pytest.raises(SystemCheckError, match="lock_people_signature_delete"):
        call_command("check", databases=["default"])
    locks.install()
    assert locks.missing() == ()


def test_a_disabled_lock_counts_as_missing_on_postgresql(db: None) -> None:
    if connection.vendor != "postgresql":
        assert connection.vendor == "sqlite"  # a trigger cannot be disabled there, only dropped
        return
    sql("ALTER TABLE people_signature DISABLE TRIGGER lock_people_signature_update")
    assert locks.missing() == ("lock_people_signature_update",)


def test_an_altered_lock_and_a_foreign_trigger_are_named_by_the_check_and_mended(db: None) -> None:
    """A lock of the right name that locks nothing would pass a list of names."""
    on = "" if connection.vendor == "sqlite" else " ON people_signature"
    sql(f"DROP TRIGGER lock_people_signature_update{on}")
    if connection.vendor == "sqlite":
        sql(
            "CREATE TRIGGER lock_people_signature_update BEFORE UPDATE ON people_signature WHEN 0 BEGIN SELECT 1; END"
        )
        sql("CREATE TRIGGER helpful AFTER INSERT ON people_signature BEGIN SELECT 1; END")
    else:
        sql(
            "CREATE TRIGGER lock_people_signature_update BEFORE UPDATE ON people_signature FOR EACH ROW WHEN (OLD.id < 0) "
            "EXECUTE FUNCTION lock_people_signature()"
        )
        sql(
            "CREATE TRIGGER helpful AFTER INSERT ON people_signature FOR EACH ROW EXECUTE FUNCTION "
            "suppress_redundant_updates_trigger()"
        )
    assert locks.missing() == ()
    assert [message.id for message in locks_are_in_place(databases=["default"])] == [
        "audit.E002",
        "audit.E003",
    ]
    locks.install()
    assert locks.altered() == ()
    assert locks.strange() == (("helpful", "people_signature"),)


def test_a_lost_table_rebuild_is_seen(db: None) -> None:
    """A migration that remakes a table on SQLite loses its triggers; the next migrate makes them again."""
    locks.remove()
    assert locks.missing() == locks.wanted_names()
    assert len([name for name in locks.missing() if name.startswith("lock_")]) == sum(
        3 if lock.forbids_delete else 2 for lock in ALL
    )
    call_command("migrate", verbosity=0)
    assert locks.missing() == ()


def test_migrate_is_not_stopped_by_the_locks_it_makes(db: None) -> None:
    """An upgrade brings locks that the database does not have yet; the command looks at the set-up before it makes them."""
    locks.remove()
    with pytest.raises(SystemCheckError, match="is missing in the database"):
        call_command("check", databases=["default"])
    call_command("migrate", verbosity=0, skip_checks=False)
    assert (locks.missing(), locks.altered()) == ((), ())


def test_the_check_is_silent_where_no_database_is_asked_for(db: None) -> None:
    locks.remove()
    assert locks_are_in_place(databases=None) == []
    locks.install()
