"""The columns of every versioned record (``audit.versions`` says what is done with them)."""

from __future__ import annotations

from django.conf import settings
from django.db import models

DRAFT, APPROVED, WITHDRAWN = "draft", "approved", "withdrawn"
FROZEN = ("number", "content", "digest", "made_by_id", "made_at", "approved_by_id", "approved_at")
"""Columns of a version that its lock protects once it is no draft."""


class Version(models.Model):
    """One version. ``content`` is canonical text; ``digest`` covers it."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        APPROVED = "approved", "approved"
        WITHDRAWN = "withdrawn", "withdrawn"

    number = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    content = models.TextField()
    digest = models.CharField(max_length=64)
    reason = models.CharField(max_length=300)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    approved_at = models.DateTimeField(null=True)
    effective_from = models.DateTimeField(null=True)

    class Meta:
        abstract = True
