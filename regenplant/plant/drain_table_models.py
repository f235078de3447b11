"""The plant's own class table of drains, as signed versions."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from regenplant.audit.version_model import Version


class DrainTableVersion(Version):
    """One version of the class table; ``content`` is the canonical text of ``core.process.drains.plain_of_table``."""

    class Meta:
        app_label = "plant"
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["number"], name="drain_table_version_once"),
            models.CheckConstraint(
                condition=Q(approved_by__isnull=True) | ~Q(approved_by=F("made_by")),
                name="drain_table_approved_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="approved")
                | Q(approved_by__isnull=False, approved_at__isnull=False, effective_from__isnull=False),
                name="drain_table_approved_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number}"

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("drain_table", "drains", "Class table of drains")

    @property
    def noun(self) -> str:
        return "the class table of drains"
