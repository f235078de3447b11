"""The append-only log of acts, what it is searched by, and the shapes of what it seals. Only ``audit`` imports this module."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class AuditEvent(models.Model):
    """One act of one person, chained to the act before it.

    ``payload`` is the canonical text that the digest covers, together with ``previous_digest``. The other columns
    repeat parts of it for searching; ``verify`` compares both. Subjects are named weakly, so that the log
    outlives what it describes.
    """

    number = models.BigIntegerField(primary_key=True)
    operation = models.UUIDField()
    event = models.CharField(max_length=80)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    actor_name = models.CharField(max_length=120)
    actor_roles = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    occurred_at = models.DateTimeField()
    terminal = models.CharField(max_length=80, blank=True)
    subject_kind = models.CharField(max_length=40)
    subject_key = models.CharField(max_length=64)
    subject_label = models.CharField(max_length=160)
    related = models.TextField(blank=True)
    """Other subjects this act touches, as " kind:key kind:key "."""
    payload = models.TextField()
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["number"]
        indexes = [
            models.Index(fields=["subject_kind", "subject_key", "number"], name="audit_subject"),
            models.Index(fields=["event", "number"], name="audit_event_name"),
            models.Index(fields=["actor", "number"], name="audit_actor"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.event}"


class EventSubject(models.Model):
    """One subject of one act, its own or a related one: what histories are found by. Repeats the payload; append-only.

    ``event`` is the number of the act, named weakly: what repeats the log must not stand in the way of examining it.
    """

    event = models.BigIntegerField()
    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=64)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "key", "event"], name="event_subject_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class RowShape(models.Model):
    """The columns that seals of one table cover, or covered once; see ``audit.sealed``. Append-only."""

    id = models.CharField(max_length=16, primary_key=True)
    table_name = models.CharField(max_length=64)
    content = models.TextField()

    class Meta:
        ordering = ["table_name", "id"]

    def __str__(self) -> str:
        return f"{self.table_name} {self.id}"
