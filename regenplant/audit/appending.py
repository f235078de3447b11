"""Writing an act at the end of the chain, with what it is found by. Called by the one recorder only."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from functools import cache
from typing import Any
from uuid import UUID

from django.db import connection, models

from regenplant.audit import clock, limits
from regenplant.audit.links import GENESIS, LONGEST_LABEL, SCHEMA, SYSTEM, link, related_text
from regenplant.audit.models import AuditEvent, EventSubject
from regenplant.core.process.canonical import canonical_text

Rows = dict[str, dict[str, str]]


def append(
    *,
    operation: UUID,
    event: str,
    actor: Any,
    at: datetime,
    occurred_at: datetime,
    terminal: str,
    subject: tuple[str, str, str],
    related: tuple[tuple[str, str], ...],
    facts: dict[str, Any],
    rows: Callable[[bool], Rows] | None = None,
) -> int:
    """Write one event at the end of the chain. Call inside a transaction, after the turn was taken.

    ``rows`` gives the seals of the rows that were written; it is told whether this is the first act of the record. Gives the
    number of the event. Written without the ORM, because every act of the plant waits for it.
    """
    last = _last()
    number, previous = (last[0] + 1, last[1]) if last else (1, GENESIS)
    kind, key, label = subject
    content: dict[str, Any] = {
        "schema": SCHEMA,
        "number": number,
        "operation": str(operation),
        "event": event,
        "actor": str(actor.pk) if actor is not None else "",
        "actor_name": actor.full_name if actor is not None else SYSTEM,
        "actor_roles": list(actor.role_names()) if actor is not None else [],
        "at": at.astimezone(UTC).isoformat(),
        "occurred_at": occurred_at.astimezone(UTC).isoformat(),
        "terminal": terminal,
        "subject": {"kind": kind, "key": key, "label": label},
        "related": [list(pair) for pair in related],
        "facts": facts,
    }
    if late := _late(at, occurred_at):
        content["late"] = late
    if clock_facts := clock.noticed(at, last[2] if last else None):
        content["server_clock"] = clock_facts
    if sealed_rows := rows(last is None) if rows else {}:
        content["rows"] = sealed_rows
    payload = canonical_text(content)
    event_row = {
        "number": number,
        "operation": operation,
        "event": event,
        "actor_id": actor.pk if actor is not None else None,
        "actor_name": content["actor_name"],
        "actor_roles": ", ".join(content["actor_roles"]),
        "at": at,
        "occurred_at": occurred_at,
        "terminal": terminal,
        "subject_kind": kind,
        "subject_key": key,
        "subject_label": label[:LONGEST_LABEL],
        "related": related_text(related),
        "payload": payload,
        "previous_digest": previous,
        "digest": link(previous, payload),
    }
    _insert(AuditEvent, [event_row])
    _insert(
        EventSubject,
        [
            {"event": number, "kind": own_kind, "key": own_key}
            for own_kind, own_key in subjects_of((kind, key), related)
        ],
    )
    return number


def _last() -> tuple[int, str, datetime] | None:
    return AuditEvent.objects.order_by("-number").values_list("number", "digest", "at").first()


@cache
def _columns(model: type[models.Model], names: tuple[str, ...]) -> tuple[str, list[Any]]:
    """The beginning of the statement that inserts these columns, and their fields."""
    fields = {field.attname: field for field in model._meta.concrete_fields}
    quoted = connection.ops.quote_name
    columns = ", ".join(quoted(str(fields[name].column)) for name in names)
    return f"INSERT INTO {quoted(model._meta.db_table)} ({columns}) VALUES ", [fields[name] for name in names]


def _insert(model: type[models.Model], rows: Sequence[dict[str, Any]]) -> None:
    statement, fields = _columns(model, tuple(rows[0]))
    marks = f"({', '.join(['%s'] * len(fields))})"
    values = [
        field.get_db_prep_save(value, connection)
        for row in rows
        for field, value in zip(fields, row.values(), strict=True)
    ]
    with connection.cursor() as cursor:
        cursor.execute(statement + ", ".join([marks] * len(rows)), values)


def _late(at: datetime, occurred_at: datetime) -> dict[str, float]:
    """How late an entry is and the limit it missed [s]; empty when it is not late."""
    after = (at - occurred_at).total_seconds()
    if after <= 0 or after <= (limit := limits.current().late_after_s):
        return {}
    return {"after_s": after, "limit_s": limit}


def subjects_of(subject: tuple[str, str], related: Iterable[Iterable[str]]) -> list[tuple[str, str]]:
    """What an act is found by: its own subject first, then the related ones, each once."""
    return list(dict.fromkeys([subject, *((str(kind), str(key)) for kind, key in related)]))
