"""Calibrations of instruments with their points, times out of service, and what was said after a look at the impact.

All are append-only. A calibration that was written wrongly is replaced by a new one with a reason.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.reasons import LONGEST_CATEGORY


class Calibration(models.Model):
    """One calibration. Whether it was found and left within its tolerances is worked out from its points, never typed."""

    class Reference(models.TextChoices):
        SOLUTION = "solution", "standard solution"
        RESISTOR = "resistor", "reference resistor"
        SIMULATOR = "simulator", "simulator"
        INSTRUMENT = "instrument", "reference instrument"
        MASS = "mass", "weights or a volume"

    instrument = models.ForeignKey("plant.Instrument", on_delete=models.PROTECT, related_name="calibrations")
    done_at = models.DateTimeField()
    """When it was finished; the start of the day where only the day is known."""
    done_on = models.DateField()
    """Its day at the plant."""
    due_on = models.DateField()
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    laboratory = models.CharField(max_length=120, blank=True)
    """The outside laboratory that did it, in words; "" where a person of the plant did."""
    reference_kind = models.CharField(max_length=12, choices=Reference.choices, blank=True)
    reference = models.CharField(max_length=120, blank=True)
    """Which solution, resistor or simulator, in words."""
    certificate = models.CharField(max_length=60, blank=True)
    reference_expires_on = models.DateField(null=True)
    found_within = models.BooleanField(null=True)
    """Every point was found within its tolerance; null where no as-found is on record."""
    left_within = models.BooleanField(null=True)
    """Every point was left within its tolerance; null where no points are on record."""
    note = models.CharField(max_length=200, blank=True)
    is_taken_over = models.BooleanField(default=False)
    """Written before calibrations had points: only its two days are known."""
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-done_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(due_on__gt=F("done_on")), name="calibration_due_after_done"),
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="corrected_calibration_has_reason"
            ),
            models.CheckConstraint(
                condition=Q(done_by__isnull=False, laboratory="")
                | Q(done_by__isnull=True) & ~Q(laboratory="")
                | Q(is_taken_over=True),
                name="calibration_says_who_did_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.done_on:%Y-%m-%d}"

    @property
    def is_good(self) -> bool:
        """Whether an instrument proves something after it: not left outside a tolerance."""
        return self.left_within is not False


class CalibrationPoint(models.Model):
    """One point, as typed and in SI. ``as_left`` is empty where nothing was set."""

    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="points")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=20)
    """Key of ``units.KINDS``."""
    reference_as_typed = models.CharField(max_length=40)
    reference_value = models.FloatField()
    found_as_typed = models.CharField(max_length=40, blank=True)
    found_value = models.FloatField(null=True)
    left_as_typed = models.CharField(max_length=40, blank=True)
    left_value = models.FloatField(null=True)
    tolerance_as_typed = models.CharField(max_length=40)
    tolerance = models.FloatField()
    """A share of the reference where ``is_relative``, else a difference in its SI unit."""
    is_relative = models.BooleanField()

    class Meta:
        ordering = ["calibration", "position"]
        constraints = [
            models.UniqueConstraint(fields=["calibration", "position"], name="calibration_point_once"),
            models.CheckConstraint(
                condition=Q(found_value__isnull=False) | Q(left_value__isnull=False),
                name="calibration_point_says_something",
            ),
            models.CheckConstraint(condition=Q(tolerance__gt=0), name="calibration_tolerance_above_zero"),
        ]

    def __str__(self) -> str:
        return self.reference_as_typed


class OutOfService(models.Model):
    """From when an instrument proves nothing, and why. A calibration made after it puts it back."""

    class Cause(models.TextChoices):
        LOST = "lost", "lost"
        DAMAGED = "damaged", "dropped or damaged"
        DOUBTFUL = "doubtful", "shows what cannot be"
        AWAY = "away", "away at a laboratory"
        CHANGED = "changed", "its cell constant or compensation was changed"
        LEFT_OUTSIDE = "left_outside", "left outside its tolerance"

    instrument = models.ForeignKey("plant.Instrument", on_delete=models.PROTECT, related_name="times_out")
    cause = models.CharField(max_length=12, choices=Cause.choices)
    reason = models.CharField(max_length=300)
    from_at = models.DateTimeField()
    calibration = models.OneToOneField(
        Calibration, on_delete=models.PROTECT, null=True, related_name="time_out"
    )
    """The calibration that left it outside; null for every other cause."""
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-from_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="out_of_service_has_reason"),
            models.CheckConstraint(
                condition=Q(calibration__isnull=False, cause="left_outside")
                | Q(calibration__isnull=True) & ~Q(cause="left_outside"),
                name="left_outside_names_calibration",
            ),
        ]

    def __str__(self) -> str:
        return str(OutOfService.Cause(self.cause).label)


class ImpactLook(models.Model):
    """A supervisor looked at what a failed calibration means for everything measured since the last good one."""

    calibration = models.OneToOneField(Calibration, on_delete=models.PROTECT, related_name="impact_look")
    words = models.CharField(max_length=400)
    results = models.PositiveIntegerField()
    """How many results rested on the instrument, as the list stood then."""
    no_longer = models.PositiveIntegerField()
    """How many of them would not hold with the error found."""
    content_digest = models.CharField(max_length=64)
    """Of the list as it was looked at."""
    looked_at = models.DateTimeField()
    looked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-looked_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(words=""), name="impact_look_has_words"),
            models.CheckConstraint(
                condition=Q(no_longer__lte=F("results")), name="impact_look_counts_in_order"
            ),
        ]

    def __str__(self) -> str:
        return self.words
