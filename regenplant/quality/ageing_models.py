"""Samples of resin lots, what laboratories found in them, and what people saw on a lot."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.audit.reasons import LONGEST_CATEGORY
from regenplant.core.process.resin_tests import Property
from regenplant.resins.models import ResinLot


class ResinOf(models.TextChoices):
    """Which resin was looked at: of a mixed bed one of the two."""

    WHOLE = "", "the resin"
    CATION = "cation", "the cation resin"
    ANION = "anion", "the anion resin"


class ResinSample(models.Model):
    """A sample of a lot that went to a laboratory. Append-only; its figures stand in ``ResinFigure``."""

    number = models.CharField(max_length=16, unique=True)
    lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="samples")
    resin = models.CharField(max_length=6, choices=ResinOf.choices, blank=True)
    taken_at = models.DateTimeField()
    taken_by = models.CharField(max_length=80)
    """In words: whoever took it need not have an account."""
    taken_how = models.CharField(max_length=200)
    """Where and how: a core over the full depth, a grab from the top."""
    laboratory = models.CharField(max_length=120)
    report = models.CharField(max_length=80, blank=True)
    """Number of the laboratory's report."""
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-taken_at", "-id"]
        indexes = [models.Index(fields=["lot", "taken_at"], name="resin_sample_of_lot")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(laboratory="") & ~Q(taken_how="") & ~Q(taken_by=""), name="resin_sample_is_whole"
            )
        ]

    def __str__(self) -> str:
        return self.number


class ResinFigure(models.Model):
    """One figure of a sample, as typed and in SI. Append-only; a correction is a new row."""

    sample = models.ForeignKey(ResinSample, on_delete=models.PROTECT, related_name="figures")
    property = models.CharField(max_length=16, choices=[(one.value, one.label) for one in Property])
    value_as_typed = models.CharField(max_length=40)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    value = models.FloatField()
    new_as_typed = models.CharField(max_length=40, blank=True)
    new_value = models.FloatField(null=True)
    """The same figure of new resin, by its data sheet or its first test; null where none is known."""
    method = models.CharField(max_length=120)
    sd_frac = models.FloatField(null=True)
    """Standard deviation of the method over the value, where the laboratory says it."""
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    """Why it was corrected."""

    class Meta:
        ordering = ["entered_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["sample", "property"], condition=Q(replaces__isnull=True), name="resin_figure_once"
            ),
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="corrected_figure_has_reason"
            ),
            models.CheckConstraint(condition=~Q(method=""), name="resin_figure_has_method"),
        ]

    def __str__(self) -> str:
        return f"{self.property} {self.value_as_typed}"


class LotLook(models.Model):
    """What a person saw on a lot, and how quick tests came out. Append-only: what is seen later is written down anew."""

    lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="looks")
    resin = models.CharField(max_length=6, choices=ResinOf.choices, blank=True)
    seen = models.JSONField(default=list)
    """Codes of ``core.process.resin_fouling.Seen``; none says that it looked sound."""
    answers = models.JSONField(default=dict)
    """Foulant code: "yes" or "no"."""
    words = models.CharField(max_length=400, blank=True)
    looked_at = models.DateTimeField()
    looked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["-looked_at", "-id"]
        indexes = [models.Index(fields=["lot", "looked_at"], name="lot_look_of_lot")]

    def __str__(self) -> str:
        return f"{self.lot_id}, {self.looked_at:%Y-%m-%d}"
