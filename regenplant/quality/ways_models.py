"""What QC decides besides pass and fail: a rinse that goes on, a rework that is proposed, a batch that goes down; and samples that are kept.

All of it is append-only; a sample's discard is a row of its own.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.reasons import LONGEST_CATEGORY
from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.rework_options import ReworkKind
from regenplant.people.models import Signature
from regenplant.recipes.models import SpecificationVersion
from regenplant.resins.models import CLASSES
from regenplant.tanks.models import Customer

REWORK_KINDS = [(kind.value, kind.label) for kind in ReworkKind]


class RinseContinuation(models.Model):
    """QC handed a batch back to its rinse: why, and how much water it was allowed. Append-only."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="rinse_continuations")
    round = models.PositiveSmallIntegerField()
    step = models.OneToOneField(StepRun, on_delete=models.PROTECT, related_name="continuation")
    """The rinse that was added behind the plan."""
    rinsed_bv = models.FloatField()
    """Bed volumes that had passed until then."""
    allowance_bv = models.FloatField()
    """Bed volumes it may take besides."""
    reason = models.CharField(max_length=300)
    continued_at = models.DateTimeField()
    continued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["batch", "round"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "round"], name="rinse_round_once"),
            models.CheckConstraint(condition=~Q(reason=""), name="continued_rinse_has_reason"),
            models.CheckConstraint(
                condition=Q(allowance_bv__gt=0, rinsed_bv__gte=0), name="continued_rinse_has_water"
            ),
        ]

    def __str__(self) -> str:
        return self.reason


class ReworkProposal(models.Model):
    """How QC would rework a batch that it failed, with what that would cost by the plan. Signed with the decision. Append-only."""

    decision = models.OneToOneField("QcDecision", on_delete=models.PROTECT, related_name="rework_proposal")
    kind = models.CharField(max_length=12, choices=REWORK_KINDS)
    chemicals_kg = models.JSONField(default=dict)
    """Mass as 100 % by chemical [kg], an estimate."""
    water_m3 = models.FloatField()
    duration_s = models.FloatField()
    next_test = models.CharField(max_length=200)
    """What to test before it."""

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(water_m3__gte=0, duration_s__gte=0), name="proposal_costs_not_below_zero"
            )
        ]

    def __str__(self) -> str:
        return ReworkKind(self.kind).label


class Downgrade(models.Model):
    """A batch that passed against a lower specification than it was planned for, signed by QC and a supervisor. Once. Append-only."""

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="downgrade")
    decision = models.OneToOneField("QcDecision", on_delete=models.PROTECT, related_name="downgrade")
    """The decision it was passed with; QC's signature is there."""
    from_version = models.ForeignKey(SpecificationVersion, on_delete=models.PROTECT, related_name="+")
    to_version = models.ForeignKey(SpecificationVersion, on_delete=models.PROTECT, related_name="downgrades")
    from_class = models.CharField(max_length=1, choices=CLASSES)
    to_class = models.CharField(max_length=1, choices=CLASSES)
    reason = models.CharField(max_length=300)
    agreed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    agreed_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="downgrade")
    """Of the person who agreed."""

    class Meta:
        ordering = ["agreed_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="downgrade_has_reason"),
            models.CheckConstraint(
                condition=~Q(from_version=F("to_version")), name="downgrade_changes_specification"
            ),
        ]

    def __str__(self) -> str:
        return self.reason


class DowngradeOrder(models.Model):
    """A customer's order that accepts the lower product: number, who said yes there, and when. Append-only."""

    downgrade = models.ForeignKey(Downgrade, on_delete=models.PROTECT, related_name="orders")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="downgrade_orders")
    order_number = models.CharField(max_length=40)
    accepted_by = models.CharField(max_length=120)
    accepted_on = models.DateField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["downgrade", "customer"], name="downgrade_order_of_customer_once"
            ),
            models.CheckConstraint(
                condition=~Q(order_number="") & ~Q(accepted_by=""), name="downgrade_order_is_whole"
            ),
        ]

    def __str__(self) -> str:
        return self.order_number


class RetainedSample(models.Model):
    """A sample of a batch that is kept: number, when and by whom taken, how much, where it stands, until when. Append-only."""

    number = models.CharField(max_length=16, unique=True)
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="retained_samples")
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    volume_as_typed = models.CharField(max_length=30)
    volume_m3 = models.FloatField()
    place = models.CharField(max_length=80)
    keep_until = models.DateField()
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["-taken_at", "-id"]
        indexes = [models.Index(fields=["keep_until"], name="sample_keep_until")]
        constraints = [
            models.CheckConstraint(condition=Q(volume_m3__gt=0), name="sample_volume"),
            models.CheckConstraint(condition=~Q(place=""), name="sample_has_place"),
        ]

    def __str__(self) -> str:
        return self.number


class SampleDiscard(models.Model):
    """A retained sample that is kept no longer: by whom, when, why. Append-only."""

    class Why(models.TextChoices):
        """Why a retained sample is kept no longer."""

        DUE = "due", "kept long enough"
        USED = "used", "used up by tests"
        LOST = "lost", "lost or broken"

    sample = models.OneToOneField(RetainedSample, on_delete=models.PROTECT, related_name="discard")
    why = models.CharField(max_length=LONGEST_CATEGORY, choices=Why.choices)
    reason = models.CharField(max_length=300)
    discarded_at = models.DateTimeField()
    discarded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["discarded_at", "id"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="discard_has_reason")]

    def __str__(self) -> str:
        return self.reason
