"""Falsifying the acts themselves."""

from __future__ import annotations

import hashlib
import json

from django.db import connection

from regenplant.audit import chain
from tests.audit.tampering.ways import WAYS, Record, way


# --- the acts -------------------------------------------------------------------------------------------------------
def middle(record: Record) -> int:
    return chain.head()[0] // 2


def event_column(name: str, change: str, says: str) -> None:
    def alter(record: Record) -> str:
        number = middle(record)
        record.run(f"UPDATE audit_auditevent SET {change} WHERE number = %s", number)
        return rf"chain: Event {number} shows another {says} than was recorded\."

    WAYS[name] = alter


event_column("name another person in an act", "actor_name = 'Somebody Else'", "name")
event_column("hang an act on another account", "actor_id = NULL", "actor")
event_column("give an act other roles", "actor_roles = 'supervisor'", "roles")
event_column("call an act something else", "event = 'person.deactivated'", "event")
event_column("write an act on another terminal", "terminal = 'elsewhere'", "terminal")
event_column("put an act on another subject", "subject_key = '999'", "subject")
event_column("relabel an act", "subject_label = 'Batch B-1'", "subject")
event_column("relate an act to another tank", "related = ' tank:T-1 '", "related subjects")
event_column("back-date an act", "at = '2020-01-01 00:00:00+00:00'", "time")
event_column(
    "back-date what an act says happened", "occurred_at = '2020-01-01 00:00:00+00:00'", "time of happening"
)


@way("edit a digit in what an act recorded")
def _(record: Record) -> str:
    number = record.one(
        "SELECT MIN(number) FROM audit_auditevent WHERE event = 'reading.recorded' AND subject_key = %s",
        record.batch,
    )
    payload = record.one("SELECT payload FROM audit_auditevent WHERE number = %s", number)
    record.run(
        "UPDATE audit_auditevent SET payload = %s WHERE number = %s", payload.replace("25", "26", 1), number
    )
    return rf"chain: The content of event {number} was altered\."


@way("edit an act and fit its digest")
def _(record: Record) -> str:
    number = middle(record)
    payload, before = record.one(
        "SELECT payload, previous_digest FROM audit_auditevent WHERE number = %s", number
    )
    edited = payload.replace('"reason":""', '"reason":"edited"')
    record.run(
        "UPDATE audit_auditevent SET payload = %s, digest = %s WHERE number = %s",
        edited,
        chain.link(before, edited),
        number,
    )
    return rf"chain: Event {number + 1} does not follow the event before it\."


@way("delete an act from the middle")
def _(record: Record) -> str:
    number = middle(record)
    record.run("DELETE FROM audit_auditevent WHERE number = %s", number)
    return rf"chain: Event {number} is missing before event {number + 1}\."


@way("delete the first act")
def _(record: Record) -> str:
    record.run("DELETE FROM audit_auditevent WHERE number = 1")
    return r"chain: Event 1 is missing before event 2\."


@way("delete several acts and close the numbers up")
def _(record: Record) -> str:
    number = middle(record)
    record.run("DELETE FROM audit_auditevent WHERE number BETWEEN %s AND %s", number, number + 2)
    record.run("UPDATE audit_auditevent SET number = -(number - 3) WHERE number > %s", number)
    record.run("UPDATE audit_auditevent SET number = -number WHERE number < 0")
    return rf"chain: Event {number} does not follow the event before it\."


@way("cut the last acts off, with a paper printed after them")
def _(record: Record) -> str:
    number = record.facts["paper_number"]
    record.run("DELETE FROM audit_auditevent WHERE number >= %s", number)
    record.run("DELETE FROM audit_eventsubject WHERE event >= %s", number)
    return (
        rf"paper: The batch sheet of {record.batch}, issue 1, was printed with the head \w{{4}} \w{{4}} of event {number}, which no longer "
        "stands"
    )


@way("cut the last act off")
def _(record: Record) -> str:
    """What it wrote no longer fits what the acts before it left."""
    record.run("DELETE FROM audit_auditevent WHERE number = %s", chain.head()[0])
    return rf"row: The batch {record.other}.* is not as event \d+ .* left it"


@way("let two acts change places")
def _(record: Record) -> str:
    first = middle(record)
    for old, new in ((first, -1), (first + 1, first), (-1, first + 1)):
        record.run("UPDATE audit_auditevent SET number = %s WHERE number = %s", new, old)
    return rf"chain: Event {first} does not follow the event before it\."


def _append(record: Record, payload: str, source: int) -> None:
    """A copy of an act at the end, with another payload, linked as it should be."""
    number, head = chain.head()
    with connection.cursor() as cursor:
        names = [c.name for c in connection.introspection.get_table_description(cursor, "audit_auditevent")]
    values = {
        "number": number + 1,
        "payload": payload,
        "previous_digest": head,
        "digest": chain.link(head, payload),
    }
    shown = ", ".join("%s" if name in values else f'"{name}"' for name in names)
    record.run(
        f"INSERT INTO audit_auditevent SELECT {shown} FROM audit_auditevent WHERE number = %s",
        *[values[name] for name in names if name in values],
        source,
    )


@way("replay an act at the end")
def _(record: Record) -> str:
    number = record.facts["paper_number"]
    _append(record, record.one("SELECT payload FROM audit_auditevent WHERE number = %s", number), number)
    return rf"chain: Event {chain.head()[0]} shows another number than was recorded\."


@way("replay an act at the end, renumbered as if it were new")
def _(record: Record) -> str:
    number = record.facts["paper_number"]
    payload = json.loads(record.one("SELECT payload FROM audit_auditevent WHERE number = %s", number))
    payload["number"] = chain.head()[0] + 1
    text = json.dumps(payload, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    _append(record, text, number)
    return (
        rf"chain: Event {chain.head()[0]} belongs to the operation of event \d+, and other events lie between"
    )


@way("write the whole chain anew in another name")
def _(record: Record) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT number, payload FROM audit_auditevent ORDER BY number")
        rows = cursor.fetchall()
    previous = chain.GENESIS
    for number, payload in rows:
        edited = payload.replace('"Operator 1"', '"Operator 9"')
        digest = hashlib.sha256(f"{previous}\n{edited}".encode()).hexdigest()
        record.run(
            "UPDATE audit_auditevent SET payload = %s, previous_digest = %s, digest = %s, actor_name = REPLACE(actor_name, "
            "'Operator 1', 'Operator 9'), subject_label = REPLACE(subject_label, 'Operator 1', 'Operator 9') WHERE number = %s",
            edited, previous, digest, number,
        )  # fmt: skip
        previous = digest
    return rf"paper: The batch sheet of {record.batch}, issue 1, was printed with the head .* no longer stands: the chain was cut or written anew"


@way("take an act out of the list it is found by")
def _(record: Record) -> str:
    number = middle(record)
    record.run("DELETE FROM audit_eventsubject WHERE event = %s", number)
    return rf"subject: Event {number} is not listed under what it is about\."


@way("list an act under another subject")
def _(record: Record) -> str:
    number = middle(record)
    record.run("UPDATE audit_eventsubject SET key = 'B-99999' WHERE event = %s", number)
    return rf"subject: Event {number} is listed under other subjects than it recorded\."


@way("list an act that never was")
def _(record: Record) -> str:
    record.run("INSERT INTO audit_eventsubject (event, kind, key) VALUES (999999, 'batch', %s)", record.batch)
    return r"subject: Subjects of event 999999 are listed, and there is no such event\."


@way("alter which columns a seal covers")
def _(record: Record) -> str:
    key = record.one("SELECT id FROM audit_rowshape WHERE table_name = 'batches_rinsereading'")
    record.run(
        "UPDATE audit_rowshape SET content = REPLACE(content, 'rinsed_bv', 'reason') WHERE id = %s", key
    )
    return rf"row: The shape {key} of sealed rows was altered\."
