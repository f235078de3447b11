"""Discharges to the sewer: what was measured before, who let it go, and what went."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.people.models import Signature
from regenplant.plant.models import Instrument, PermitVersion, WasteTank


class Discharge(models.Model):
    """One discharge of one waste tank, from its mixing to what went.

    ``permit_text`` is the canonical text of the permit under which it was released; the masses are what went, by the
    composition of the tank or by the analysis that stands with the release.
    """

    class State(models.TextChoices):
        OPEN = "open", "being proven"
        RELEASED = "released", "released"
        CLOSED = "closed", "discharged"
        GIVEN_UP = "given_up", "given up"

    number = models.CharField(max_length=16, unique=True)
    tank = models.ForeignKey(WasteTank, on_delete=models.PROTECT, related_name="discharges")
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN.value)
    planned_volume_m3 = models.FloatField()
    mixing_since = models.DateTimeField(null=True)
    """Since when the tank is mixed without a break; null while it is not."""
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    permit_version = models.ForeignKey(PermitVersion, on_delete=models.PROTECT, null=True, related_name="+")
    permit_text = models.TextField(blank=True)
    measured_kg_per_m3 = models.JSONField(default=dict)
    """An analysis that stands in place of the worked-out composition, by ion [kg/m^3]; {} where nobody measured."""
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    released_at = models.DateTimeField(null=True)
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, null=True, related_name="discharge")
    second_signature = models.OneToOneField(
        Signature, on_delete=models.PROTECT, null=True, related_name="discharge_seconded"
    )
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    """When the outlet was shut: its plant day bears the masses."""
    volume_m3 = models.FloatField(null=True)
    chloride_kg = models.FloatField(null=True)
    sodium_kg = models.FloatField(null=True)
    sulfate_kg = models.FloatField(null=True)
    tds_kg = models.FloatField(null=True)
    unknown_frac = models.FloatField(default=0.0)
    """Share of the tank of unknown composition when it went; it counts like the rest, and where all was unknown nothing is counted."""
    reason = models.CharField(max_length=300, blank=True)
    """Why it was given up."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        app_label = "waste"
        ordering = ["-opened_at", "-id"]
        indexes = [models.Index(fields=["ended_at"], name="discharge_ended")]
        constraints = [
            models.UniqueConstraint(
                fields=["tank"], condition=Q(state__in=["open", "released"]), name="one_discharge_at_a_time"
            ),
            models.CheckConstraint(condition=Q(planned_volume_m3__gt=0), name="discharge_has_a_volume"),
            models.CheckConstraint(
                condition=Q(state__in=["open", "given_up"])
                | Q(released_by__isnull=False, released_at__isnull=False, signature__isnull=False) & ~Q(permit_text=""),
                name="released_discharge_is_signed",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed")
                | Q(
                    closed_by__isnull=False, closed_at__isnull=False, ended_at__isnull=False, volume_m3__gte=0,
                    chloride_kg__gte=0, sodium_kg__gte=0, sulfate_kg__gte=0, tds_kg__gte=0,
                ),
                name="closed_discharge_is_whole",
            ),
            models.CheckConstraint(condition=~Q(state="given_up") | ~Q(reason=""), name="given_up_with_a_reason"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.number


class DischargeReading(models.Model):
    """One reading of the mixed tank, or of what runs out of it, as typed and for good; nothing is averaged."""

    discharge = models.ForeignKey(Discharge, on_delete=models.PROTECT, related_name="readings")
    number = models.PositiveSmallIntegerField()
    taken_at = models.DateTimeField()
    ph = models.FloatField()
    ph_as_typed = models.CharField(max_length=40)
    temperature_kelvin = models.FloatField()
    temperature_as_typed = models.CharField(max_length=40)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    instrument_was_valid = models.BooleanField()
    is_late = models.BooleanField(default=False)
    """Written so long after it was taken that it proves nothing."""
    fault = models.CharField(max_length=200, blank=True)
    """What of it is outside the permit of then; "" where it is inside."""
    while_running = models.BooleanField(default=False)
    """Taken of what runs out, after the release."""
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        app_label = "waste"
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["discharge", "number"], name="discharge_reading_once"),
            models.CheckConstraint(condition=Q(ph__gte=0, ph__lte=14), name="discharge_reading_ph"),
        ]

    def __str__(self) -> str:
        return f"reading {self.number} of {self.discharge}"
