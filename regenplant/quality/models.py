"""Quality: measurements on the sample, the decision, and the release."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.batches.models import Batch
from regenplant.people.models import Signature
from regenplant.plant.models import Instrument


class QcMeasurement(models.Model):
    """One measured value on the sample of a batch. Append-only; a correction is a new row."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="qc_measurements")
    key = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20)
    value_as_typed = models.CharField(max_length=40)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    value = models.FloatField()
    temperature_kelvin = models.FloatField(null=True)
    method = models.CharField(max_length=120, blank=True)
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, related_name="qc_measurements"
    )
    instrument_was_valid = models.BooleanField(default=True)
    occurred_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["entered_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="corrected_qc_has_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.value_as_typed}"


class QcDecision(models.Model):
    """Pass or fail of a batch, signed. ``content`` is what was judged, as canonical text. Append-only."""

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="qc_decision")
    verdict = models.CharField(max_length=4, choices=[("pass", "pass"), ("fail", "fail")])
    reason = models.CharField(max_length=400, blank=True)
    content = models.TextField()
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="qc_decision")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(verdict="pass") | ~Q(reason=""), name="failed_has_reason")
        ]

    def __str__(self) -> str:
        return self.verdict


class Release(models.Model):
    """The release of a batch and its tanks, signed by a person who took no part in it. Append-only."""

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="release")
    released_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    released_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="release")

    def __str__(self) -> str:
        return f"{self.released_at:%Y-%m-%d %H:%M}"
