"""The hash chain: appending under one lock, and verifying.

Tamper-evident, not tamper-proof: whoever owns the database can recompute the whole chain. Its head is
therefore printed on papers and shown in the foot of every page.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection

from regenplant.audit.models import AuditEvent
from regenplant.core.process.canonical import canonical_text

GENESIS = "0" * 64
SCHEMA = 1
LONGEST_LABEL = 160
_ADVISORY_LOCK = 7_301_988


def take_turn() -> None:
    """Make the acts of all writers follow one another until this transaction ends.

    SQLite does so by itself (immediate transactions). On PostgreSQL a lock is taken before any row lock, always
    first, so two acts can never wait for each other in a circle.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_ADVISORY_LOCK])


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
) -> AuditEvent:
    """Write one event at the end of the chain. Call inside a transaction, after ``take_turn``."""
    last = AuditEvent.objects.order_by("-number").values("number", "digest").first()
    number = (last["number"] if last else 0) + 1
    previous = last["digest"] if last else GENESIS
    kind, key, label = subject
    payload = canonical_text(
        {
            "schema": SCHEMA,
            "number": number,
            "operation": str(operation),
            "event": event,
            "actor": str(actor.pk) if actor is not None else "",
            "actor_name": actor.full_name if actor is not None else "the system",
            "actor_roles": list(actor.role_names()) if actor is not None else [],
            "at": at.isoformat(),
            "occurred_at": occurred_at.isoformat(),
            "terminal": terminal,
            "subject": {"kind": kind, "key": key, "label": label},
            "related": [list(pair) for pair in related],
            "facts": facts,
        }
    )
    return AuditEvent.objects.create(
        number=number,
        operation=operation,
        event=event,
        actor_id=actor.pk if actor is not None else None,
        actor_name=actor.full_name if actor is not None else "the system",
        actor_roles=", ".join(actor.role_names()) if actor is not None else "",
        at=at,
        occurred_at=occurred_at,
        terminal=terminal,
        subject_kind=kind,
        subject_key=key,
        subject_label=label[:LONGEST_LABEL],
        related=_related_text(related),
        payload=payload,
        previous_digest=previous,
        digest=link(previous, payload),
    )


def _related_text(related: Iterable[Iterable[str]]) -> str:
    """Related subjects in the form that is searched: " kind:key  kind:key "."""
    return "".join(f" {kind}:{key} " for kind, key in related)


def link(previous: str, payload: str) -> str:
    """The digest of an event: SHA-256 over the previous digest and the payload."""
    return hashlib.sha256(f"{previous}\n{payload}".encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Break:
    """A place where the chain does not hold."""

    number: int
    sentence: str


def verify() -> Iterator[Break]:
    """Every place where the chain does not hold, in order; none if all is well.

    What was cut off at the end leaves no trace in the chain itself: compare ``head`` with one printed earlier
    (``stands``).
    """
    previous, expected = GENESIS, 1
    for row in AuditEvent.objects.order_by("number").iterator(2000):
        if row.number != expected:
            yield Break(row.number, f"Event {expected} is missing before event {row.number}.")
        if row.previous_digest != previous:
            yield Break(row.number, f"Event {row.number} does not follow the event before it.")
        if link(row.previous_digest, row.payload) != row.digest:
            yield Break(row.number, f"The content of event {row.number} was altered.")
        elif differing := _columns_that_differ(row):
            yield Break(
                row.number,
                f"Event {row.number} shows another {', '.join(differing)} than was recorded.",
            )
        previous, expected = row.digest, row.number + 1


def _columns_that_differ(row: AuditEvent) -> tuple[str, ...]:
    """Columns for searching and showing that no longer say what the hashed payload says."""
    recorded = json.loads(row.payload)
    subject = recorded["subject"]
    pairs = {
        "number": (row.number, recorded["number"]),
        "operation": (str(row.operation), recorded["operation"]),
        "event": (row.event, recorded["event"]),
        "actor": ("" if row.actor_id is None else str(row.actor_id), recorded["actor"]),
        "name": (row.actor_name, recorded["actor_name"]),
        "roles": (row.actor_roles, ", ".join(recorded["actor_roles"])),
        "time": (row.at, datetime.fromisoformat(recorded["at"])),
        "time of happening": (row.occurred_at, datetime.fromisoformat(recorded["occurred_at"])),
        "terminal": (row.terminal, recorded["terminal"]),
        "subject": (
            (row.subject_kind, row.subject_key, row.subject_label),
            (subject["kind"], subject["key"], subject["label"][:LONGEST_LABEL]),
        ),
        "related subjects": (row.related, _related_text(recorded["related"])),
    }
    return tuple(name for name, (shown, was) in pairs.items() if shown != was)


def stands(digest: str) -> int | None:
    """The number of the event with this digest (or beginning of one, at least 8 characters), None if there is none."""
    text = digest.replace(" ", "").lower()
    if len(text) < 8:
        return None
    found = AuditEvent.objects.filter(digest__startswith=text).values_list("number", flat=True)[:2]
    return found[0] if len(found) == 1 else None


def head() -> tuple[int, str]:
    """Number and digest of the newest event; (0, zeros) for an empty log."""
    last = AuditEvent.objects.order_by("-number").values_list("number", "digest").first()
    return (last[0], last[1]) if last else (0, GENESIS)
