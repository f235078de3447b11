"""Excursions: what went to the sewer outside the permit, or may have, and what followed from it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.people.models import Signature
from regenplant.waste.discharge_models import Discharge


class Excursion(models.Model):
    """One excursion. It stays open until another person says with a signature what it came from and who was told."""

    class Kind(models.TextChoices):
        WINDOW = "window", "outside the permit’s window"
        BUDGET = "budget", "more than the day takes"
        UNPROVEN = "unproven", "another water than was measured"
        OTHER = "other", "otherwise"

    number = models.CharField(max_length=16, unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    discharge = models.ForeignKey(Discharge, on_delete=models.PROTECT, null=True, related_name="excursions")
    """None for what did not come by a discharge, such as a rinse to the sewer."""
    happened_at = models.DateTimeField()
    words = models.CharField(max_length=400)
    reported_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()
    cause = models.CharField(max_length=400, blank=True)
    told = models.CharField(max_length=400, blank=True)
    """Which authority was told, by whom and when; or why none had to be."""
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, null=True, related_name="excursion")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        app_label = "waste"
        ordering = ["-happened_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    closed_at__isnull=True, closed_by__isnull=True, signature__isnull=True, cause="", told=""
                )
                | Q(closed_at__isnull=False, closed_by__isnull=False, signature__isnull=False)
                & ~Q(cause="")
                & ~Q(told="")
                & ~Q(closed_by=F("reported_by")),
                name="closed_excursion_is_signed",
            )
        ]

    def __str__(self) -> str:
        return self.number


class ExcursionFollowUp(models.Model):
    """One thing that was done about an excursion, as it was done."""

    excursion = models.ForeignKey(Excursion, on_delete=models.PROTECT, related_name="follow_ups")
    words = models.CharField(max_length=400)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    class Meta:
        app_label = "waste"
        ordering = ["written_at", "id"]

    def __str__(self) -> str:
        return f"{self.excursion}: {self.words[:40]}"
