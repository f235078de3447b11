"""The columns of every versioned record (``audit.versions`` says what is done with them)."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import BaseConstraint, F, Q

DRAFT, APPROVED, WITHDRAWN = "draft", "approved", "withdrawn"
FROZEN = (
    "number", "content", "digest", "reason", "made_by_id", "made_at", "approved_by_id", "approved_at", "effective_from", "signature_id",
)  # fmt: skip
"""Columns of a version that its lock protects once it is no draft."""


class Version(models.Model):
    """One version. ``content`` is canonical text; ``digest`` covers it, and the approving person signs it."""

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
    signature = models.OneToOneField(
        "people.Signature", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Of the approval. None: a draft, or approved before approvals were signed."""
    withdrawal_signature = models.OneToOneField(
        "people.Signature", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Of the withdrawal of a version that was approved; a draft is taken out without one."""

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"version {self.number}"

    @property
    def subject(self) -> tuple[str, str, str]:
        """(kind, key, label) of what the version belongs to, for the log."""
        raise NotImplementedError

    @property
    def noun(self) -> str:
        """What it is a version of, within a sentence: "recipe H-14"."""
        raise NotImplementedError

    @property
    def title(self) -> str:
        """ "recipe H-14 version 3"."""
        return f"{self.noun} version {self.number}"

    @property
    def signed_kind(self) -> str:
        """The kind of record that its signatures name."""
        return f"{self.subject[0]}_version"

    @property
    def signed_key(self) -> str:
        """The key that its signatures name, beside the version's number."""
        return str(self.number)


def constraints_of(name: str) -> list[BaseConstraint]:
    """What the database holds of a record of which there is one line of versions; the constraints are called after ``name``."""
    return [
        models.UniqueConstraint(fields=["number"], name=f"{name}_version_once"),
        models.CheckConstraint(
            condition=Q(approved_by__isnull=True) | ~Q(approved_by=F("made_by")),
            name=f"{name}_approved_by_another",
        ),
        models.CheckConstraint(
            condition=~Q(state="approved")
            | Q(approved_by__isnull=False, approved_at__isnull=False, effective_from__isnull=False),
            name=f"{name}_approved_whole",
        ),
    ]
