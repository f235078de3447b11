"""Reading the log: histories, and the head of the chain."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from regenplant.audit import chain, wording
from regenplant.audit.models import AuditEvent


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

    @property
    def is_late(self) -> bool:
        """Written down more than a quarter of an hour after it happened."""
        return (self.at - self.occurred_at).total_seconds() > 900


def events_about(subjects: Iterable[tuple[str, str]]) -> QuerySet[AuditEvent]:
    """Events whose subject or related subject is one of these, oldest first."""
    condition = Q(pk__in=[])
    for kind, key in subjects:
        condition |= Q(subject_kind=kind, subject_key=str(key)) | Q(related__contains=f" {kind}:{key} ")
    return AuditEvent.objects.filter(condition).order_by("number")


def story(
    subjects: Iterable[tuple[str, str]], *, newest_first: bool = False, limit: int | None = None
) -> list[Line]:
    """The acts about these subjects as sentences."""
    events = events_about(subjects)
    if newest_first:
        events = events.order_by("-number")
    return [line_of(event) for event in (events[:limit] if limit else events)]


def line_of(event: AuditEvent) -> Line:
    facts = json.loads(event.payload)["facts"]
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
    )


def chain_head() -> tuple[int, str]:
    """Number and digest of the newest act."""
    return chain.head()


def actors_about(kind: str, key: str, events: Iterable[str]) -> set[str]:
    """Primary keys (as text) of everybody who did one of these acts on this subject."""
    found = AuditEvent.objects.filter(subject_kind=kind, subject_key=str(key), event__in=list(events))
    return {str(pk) for pk in found.values_list("actor_id", flat=True) if pk is not None}


def acts_since(events: Iterable[str], since: datetime) -> list[Line]:
    """Acts of these kinds from ``since`` on, newest first."""
    found = AuditEvent.objects.filter(event__in=list(events), at__gte=since).order_by("-number")
    return [line_of(event) for event in found]
