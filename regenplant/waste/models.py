"""Waste: what came into each waste tank and what left it, as a ledger of volume and ions."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.batches.models import DESTINATIONS, Batch
from regenplant.chemicals.models import Movement
from regenplant.plant.models import Instrument, WasteTank
from regenplant.waste.discharge_models import Discharge, DischargeReading
from regenplant.waste.excursion_models import Excursion, ExcursionFollowUp
from regenplant.waste.report_models import DischargeReport

__all__ = [
    "Discharge",
    "DischargeReading",
    "DischargeReport",
    "Excursion",
    "ExcursionFollowUp",
    "StepDrain",
    "WasteMovement",
]


class WasteMovement(models.Model):
    """One change of what a waste tank holds. Append-only; each row keeps what stands in the tank after it.

    Ions are counted as moles of their totals, whatever form they are in (``core.engineering.equilibria.Composition``, without the
    ending of its names); hydrogen and hydroxide follow from the charge balance, so nothing can be out of balance.
    """

    class Kind(models.TextChoices):
        DRAIN = "drain", "from a batch"
        TREATMENT = "treatment", "treatment"
        READING = "reading", "level read"
        DISCHARGE = "discharge", "discharged"
        TAKEN_AWAY = "taken_away", "taken away"
        CORRECTION = "correction", "books put right"

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
    batch = models.ForeignKey(
        Batch, on_delete=models.DO_NOTHING, db_constraint=False, null=True, related_name="waste_movements"
    )
    """The books of a tank stay whole when a batch is purged: the row then names a batch that is gone, and ``reference`` its number."""
    step_number = models.PositiveSmallIntegerField(null=True)
    reference = models.CharField(max_length=60, blank=True)
    """What it was for: a batch with its step, a chemical movement, a discharge."""
    reason = models.CharField(max_length=300, blank=True)
    ph = models.FloatField(null=True)
    """As measured with the level, with ``instrument``; null where none was."""
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="+")
    instrument_was_valid = models.BooleanField(default=True)
    """In calibration on that day; a reading without an instrument says nothing else."""
    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, null=True, related_name="+")
    """The mass of chemical that came in, in the ledger of chemicals."""
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
            models.CheckConstraint(
                condition=~Q(kind="treatment") | Q(movement__isnull=False), name="treated_with_a_movement"
            ),
            models.CheckConstraint(
                condition=Q(ph__isnull=True) | Q(ph__gte=0, ph__lte=14, instrument__isnull=False),
                name="waste_ph_has_instrument",
            ),
            models.UniqueConstraint(
                fields=["tank", "batch", "step_number"],
                condition=Q(kind="drain"),
                name="a_step_drains_once_into_a_tank",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class StepDrain(models.Model):
    """What one step sent down its drain, and where it went. Append-only; every draining step has one (EV-01).

    A correction is one row more, which says how much more (+) or less (−) it was; together they are what the step drained. It counts
    on the day on which the step drained.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="drains")
    step_number = models.PositiveSmallIntegerField()
    destination = models.CharField(max_length=16, choices=DESTINATIONS)
    volume_m3 = models.FloatField()
    """All that went through [m^3]."""
    waste_m3 = models.FloatField()
    """The part that carries chemical, which went to the destination; of a fast rinse the first bed volumes [m^3]."""
    amounts_mol = models.JSONField(default=dict)
    """Its ions, by total [mol]."""
    is_known = models.BooleanField(default=True)
    """Whether its ions are counted at all; the newest row of a step says it of all of them."""
    temperature_kelvin = models.FloatField()
    was_given_up = models.BooleanField(default=False)
    """The batch was given up while the step ran."""
    drained_at = models.DateTimeField()
    drained_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    """Of a correction: who corrected it."""
    corrected_at = models.DateTimeField(null=True)
    """Of a correction; null of what was written when the step ended."""
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["drained_at", "id"]
        indexes = [models.Index(fields=["destination", "drained_at"], name="step_drain_destination")]
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "step_number"],
                condition=Q(corrected_at__isnull=True),
                name="one_drain_of_a_step",
            ),
            models.CheckConstraint(
                condition=Q(volume_m3__gte=0, waste_m3__gte=0) | Q(corrected_at__isnull=False),
                name="drain_not_below_zero",
            ),
            models.CheckConstraint(
                condition=Q(corrected_at__isnull=True) | ~Q(reason=""), name="corrected_drain_has_reason"
            ),
            models.CheckConstraint(
                condition=Q(destination__in=[value for value, _ in DESTINATIONS]),
                name="drain_destination_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step_number}"
