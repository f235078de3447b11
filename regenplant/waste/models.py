"""Waste: what came into each waste tank and what left it, as a ledger of volume and ions."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.batches.models import Batch
from regenplant.plant.models import WasteTank
from regenplant.waste.discharge_models import Discharge, DischargeReading
from regenplant.waste.excursion_models import Excursion, ExcursionFollowUp
from regenplant.waste.report_models import DischargeReport

__all__ = [
    "Discharge",
    "DischargeReading",
    "DischargeReport",
    "Excursion",
    "ExcursionFollowUp",
    "WasteMovement",
]


class WasteMovement(models.Model):
    """One change of what a waste tank holds. Append-only; each row keeps what stands in the tank after it.

    Ions are counted as moles of their totals, whatever form they are in (``core.engineering.equilibria.Composition``, without the
    ending of its names); hydrogen and hydroxide follow from the charge balance, so nothing can be out of balance.
    """

    class Kind(models.TextChoices):
        DRAIN = "drain", "drained from a batch"
        TREATMENT = "treatment", "treatment"
        READING = "reading", "level read"
        DISCHARGE = "discharge", "discharged"
        TAKEN_AWAY = "taken_away", "taken away"

    number = models.BigIntegerField(unique=True)
    tank = models.ForeignKey(WasteTank, on_delete=models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    volume_m3 = models.FloatField()
    """What came in (+) or left (−) [m^3]."""
    amounts_mol = models.JSONField(default=dict)
    """Ions that came in (+) or left (−), by total [mol]."""
    temperature_kelvin = models.FloatField(null=True)
    """Of what came in; null of what left, and of water nobody measured [K]."""
    level_m3 = models.FloatField()
    """In the tank after it [m^3]."""
    held_mol = models.JSONField(default=dict)
    """Ions in the tank after it, by total [mol]."""
    unknown_m3 = models.FloatField(default=0.0)
    """Of the level after it, what nobody knows the composition of [m^3]."""
    held_temperature_kelvin = models.FloatField(null=True)
    """Of the tank after it, by mixing and measuring, without loss to the surroundings; null while nothing is known [K]."""
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, null=True, related_name="waste_movements")
    step_number = models.PositiveSmallIntegerField(null=True)
    reference = models.CharField(max_length=60, blank=True)
    """What it was for: a batch with its step, a chemical movement, a discharge."""
    reason = models.CharField(max_length=300, blank=True)
    moved_at = models.DateTimeField()
    moved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["number"]
        indexes = [
            models.Index(fields=["tank", "number"], name="waste_movement_tank"),
            models.Index(fields=["batch", "number"], name="waste_movement_batch"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(level_m3__gte=0, unknown_m3__gte=0), name="waste_level_not_below_zero"
            ),
            models.CheckConstraint(
                condition=~Q(kind="drain") | Q(batch__isnull=False, step_number__isnull=False),
                name="drained_from_a_step",
            ),
            models.UniqueConstraint(
                fields=["batch", "step_number"], condition=Q(kind="drain"), name="a_step_drains_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"
