"""Reading the log: histories, and the head of the chain."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from regenplant.audit import chain, limits, wording
from regenplant.audit.models import AuditEvent, EventSubject

LATE_AFTER_S = limits.DEFAULT.late_after_s
"""What is written down longer than this after it happened is a late entry, where a plant set no limit of its own [s]."""


@dataclass(frozen=True, slots=True)
class Line:
    """One act as a line of a story."""

    number: int
    event: str
    at: datetime
    occurred_at: datetime
    who: str
    roles: str
    sentence: str
    reason: str
    subject_kind: str
    subject_key: str
    subject_label: str
    digest: str
    facts: dict[str, Any]
    is_late: bool = False
    """Written down longer after it happened than the plant's limit at that time allowed."""
    clock: dict[str, float] = field(default_factory=dict)
    """What the act recorded about the server's clock: ``step_s``, ``behind_s``; see ``audit.clock``."""
    terminal: str = ""


def events_about(subjects: Iterable[tuple[str, str]]) -> QuerySet[AuditEvent]:
    """Events whose subject or related subject is one of these, oldest first."""
    condition = Q(pk__in=[])
    for kind, key in subjects:
        condition |= Q(kind=kind, key=str(key))
    numbers = EventSubject.objects.filter(condition).order_by().values("event")
    return AuditEvent.objects.filter(number__in=numbers).order_by("number")


def story(
    subjects: Iterable[tuple[str, str]], *, newest_first: bool = False, limit: int | None = None
) -> list[Line]:
    """The acts about these subjects as sentences."""
    events = events_about(subjects)
    if newest_first:
        events = events.order_by("-number")
    return [line_of(event) for event in (events[:limit] if limit else events)]


def line_of(event: AuditEvent) -> Line:
    recorded = json.loads(event.payload)
    facts = recorded["facts"]
    return Line(
        number=event.number,
        event=event.event,
        at=event.at,
        occurred_at=event.occurred_at,
        who=event.actor_name,
        roles=event.actor_roles,
        sentence=wording.sentence(event.event, event.subject_label, facts),
        reason=facts.get("reason", ""),
        subject_kind=event.subject_kind,
        subject_key=event.subject_key,
        subject_label=event.subject_label,
        digest=event.digest,
        facts=facts,
        is_late="late" in recorded if recorded["schema"] > 1 else _was_late(event),
        clock=recorded.get("server_clock", {}),
        terminal=event.terminal,
    )


def _was_late(event: AuditEvent) -> bool:
    """Acts from before lateness was recorded with them."""
    return (event.at - event.occurred_at).total_seconds() > LATE_AFTER_S


def chain_head() -> tuple[int, str]:
    """Number and digest of the newest act."""
    return chain.head()


def digests_of_acts(numbers: Iterable[int]) -> dict[int, str]:
    """The digests of these acts, by number; acts that do not stand are left out."""
    return dict(AuditEvent.objects.filter(number__in=set(numbers)).values_list("number", "digest"))


def newest_act(event: str) -> Line | None:
    """The newest act of this kind."""
    found = AuditEvent.objects.filter(event=event).order_by("-number").first()
    return line_of(found) if found else None


def actors_about(kind: str, key: str, events: Iterable[str]) -> set[str]:
    """Primary keys (as text) of everybody who did one of these acts on this subject."""
    found = AuditEvent.objects.filter(subject_kind=kind, subject_key=str(key), event__in=list(events))
    return {str(pk) for pk in found.values_list("actor_id", flat=True) if pk is not None}


def acts_that_wrote(table: str, key: str, after: int, *, most: int = 20) -> list[Line]:
    """The acts after the act ``after`` that wrote this row, oldest first: what changed since somebody looked at it."""
    found = AuditEvent.objects.filter(number__gt=after, payload__contains=f'"{table}@').order_by("number")
    lines = []
    for event in found.iterator(200):
        rows = json.loads(event.payload).get("rows", {})
        if any(name.startswith(f"{table}@") and key in written for name, written in rows.items()):
            lines.append(line_of(event))
            if len(lines) == most:
                break
    return lines


def acts_about(subjects: Iterable[tuple[str, str]], events: Iterable[str]) -> list[Line]:
    """The acts of these kinds about these subjects, oldest first."""
    return [line_of(event) for event in events_about(subjects).filter(event__in=list(events))]


def acts_since(events: Iterable[str], since: datetime) -> list[Line]:
    """Acts of these kinds from ``since`` on, newest first."""
    found = AuditEvent.objects.filter(event__in=list(events), at__gte=since).order_by("-number")
    return [line_of(event) for event in found]
