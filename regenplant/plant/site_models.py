"""Determinations of the site: in writing, what the plant's authority or counsel said about taking metal-bearing resin."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class SiteDetermination(models.Model):
    """One determination: whether metal-bearing resin may be taken in, by which document, read by whom. Append-only; the newest holds.

    Whether 40 CFR 437 or a state's rule covers the site is not decided here: the document says it, and a person vouches for it.
    """

    number = models.PositiveIntegerField(unique=True)
    decided_on = models.DateField()
    """Day of the document."""
    document = models.CharField(max_length=160)
    """Which document, and where it is kept."""
    reviewer = models.CharField(max_length=120)
    """Who read it for the plant: name and office."""
    accepts_metal = models.BooleanField()
    valid_until = models.DateField(null=True)
    """Last day it holds; null where the document names none."""
    scope = models.CharField(max_length=400, blank=True)
    """What it covers, and under which conditions, in words."""
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(document="") & ~Q(reviewer=""), name="determination_has_document_and_reviewer"
            ),
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("decided_on")),
                name="determination_holds_a_while",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"
