"""Monthly discharge reports, signed and frozen as they were."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from regenplant.people.models import Signature


class DischargeReport(models.Model):
    """One signed report of one calendar month at the plant. ``content`` is the canonical text of a ``MonthContent``; what changes
    afterwards makes the next revision."""

    month = models.CharField(max_length=7)
    """ "2026-11"."""
    revision = models.PositiveSmallIntegerField()
    content = models.TextField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="discharge_report")

    class Meta:
        app_label = "waste"
        ordering = ["-month", "-revision"]
        constraints = [models.UniqueConstraint(fields=["month", "revision"], name="discharge_report_once")]

    def __str__(self) -> str:
        return f"{self.month}, revision {self.revision}"

    @property
    def key(self) -> str:
        """The key that its signature names: "2026-11/1"."""
        return f"{self.month}/{self.revision}"
