"""Resin that was added to the bed of a batch while it ran."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.resins.models import FORM_LENGTH, FORMS


class BatchTopUp(models.Model):
    """Conditioned resin of the same key from the store into the bed, and the bed as it was counted then. Append-only.

    Volumes that are compared stand in the exhausted form; as counted they stand beside it.
    """

    batch = models.ForeignKey("batches.Batch", on_delete=models.PROTECT, related_name="top_ups")
    lot = models.ForeignKey("resins.ResinLot", on_delete=models.PROTECT, related_name="top_ups")
    volume_m3 = models.FloatField()
    """What was added, as counted [m^3]."""
    volume_form = models.CharField(max_length=FORM_LENGTH, choices=FORMS)
    added_m3 = models.FloatField()
    """What was added, in the exhausted form [m^3]."""
    bed_volume_m3 = models.FloatField()
    """The bed afterwards, as counted [m^3]."""
    bed_form = models.CharField(max_length=FORM_LENGTH, choices=FORMS)
    bed_m3 = models.FloatField()
    """The bed afterwards, in the exhausted form [m^3]."""
    before_m3 = models.FloatField()
    """The bed by the book before, in the exhausted form [m^3]; what is missing afterwards was lost."""
    reason = models.CharField(max_length=300)
    topped_at = models.DateTimeField()
    topped_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["topped_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(added_m3__gt=0, bed_m3__gte=F("added_m3")), name="top_up_is_part_of_the_bed"
            )
        ]

    def __str__(self) -> str:
        return f"{self.added_m3 * 1000:.1f} L"

    @property
    def lost_m3(self) -> float:
        """What the bed had lost, in the exhausted form [m^3]; below zero where two counts differ."""
        return self.before_m3 + self.added_m3 - self.bed_m3
