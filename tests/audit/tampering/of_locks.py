"""Taking the locks off, or putting others there; and letting a later act wash what was done."""

from __future__ import annotations

from django.db import connection

from tests.audit.tampering.ways import Record, way


# --- washed by a later act ------------------------------------------------------------------------------------------------
@way("alter a row and let an act write it afterwards")
def _(record: Record) -> str:
    record.run("UPDATE batches_batch SET rework_cause = 'never said' WHERE number = %s", record.other)
    record.facts["install"]()
    record.act_again()
    return rf"row: The batch {record.other}.* was altered without an act before event \d+ wrote it\."


# --- the locks --------------------------------------------------------------------------------------------------------------
def _on(table: str) -> str:
    return "" if connection.vendor == "sqlite" else f" ON {table}"


@way("take a lock off")
def _(record: Record) -> str:
    record.facts["install"]()
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER lock_people_signature_update{_on('people_signature')}")
    return r"lock: The lock lock_people_signature_update is missing in the database"


@way("take off what notes the rows an act writes")
def _(record: Record) -> str:
    record.facts["install"]()
    name = "seal_people_person_update" if connection.vendor == "sqlite" else "seal_people_person"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{_on('people_person')}")
    return rf"lock: The lock {name} is missing in the database"


@way("put a lock there that locks nothing")
def _(record: Record) -> str:
    record.facts["install"]()
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER lock_people_signature_update")
            cursor.execute(
                "CREATE TRIGGER lock_people_signature_update BEFORE UPDATE ON people_signature WHEN 0 BEGIN SELECT 1; END"
            )
        else:
            cursor.execute("DROP TRIGGER lock_people_signature_update ON people_signature")
            cursor.execute(
                "CREATE TRIGGER lock_people_signature_update BEFORE UPDATE ON people_signature FOR EACH ROW "
                "WHEN (OLD.id < 0) EXECUTE FUNCTION lock_people_signature()"
            )
    return r"lock: The lock lock_people_signature_update was altered in the database"


@way("empty the function behind a lock, or its trigger")
def _(record: Record) -> str:
    record.facts["install"]()
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER seal_people_person_insert")
            cursor.execute(
                "CREATE TRIGGER seal_people_person_insert AFTER INSERT ON people_person BEGIN SELECT 1; END"
            )
            return r"lock: The lock seal_people_person_insert was altered in the database"
        cursor.execute(
            "CREATE OR REPLACE FUNCTION seal_people_person() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$"
        )
    return r"lock: The lock seal_people_person was altered in the database"


@way("add a trigger of one's own")
def _(record: Record) -> str:
    record.facts["install"]()
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("CREATE TRIGGER helpful AFTER INSERT ON batches_rinsereading BEGIN SELECT 1; END")
        else:
            cursor.execute(
                "CREATE TRIGGER helpful AFTER INSERT ON batches_rinsereading FOR EACH ROW EXECUTE FUNCTION "
                "suppress_redundant_updates_trigger()"
            )
    return r"lock: The trigger helpful on batches_rinsereading was made by somebody else"
