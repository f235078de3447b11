"""The discharge permit as signed versions."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from regenplant.audit.version_model import Version


class PermitVersion(Version):
    """One version of the discharge permit; ``content`` is the canonical text of a ``PermitContent``."""

    class Meta:
        app_label = "plant"
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["number"], name="permit_version_once"),
            models.CheckConstraint(
                condition=Q(approved_by__isnull=True) | ~Q(approved_by=F("made_by")),
                name="permit_approved_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="approved")
                | Q(approved_by__isnull=False, approved_at__isnull=False, effective_from__isnull=False),
                name="permit_approved_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number}"

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("discharge_permit", "permit", "Discharge permit")

    @property
    def noun(self) -> str:
        return "the discharge permit"
