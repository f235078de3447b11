"""Resin types with their data, and resin lots: traceable bodies of resin that mix and split."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.core.process.vocabulary import IonicForm, ResinFamily, SegregationClass

FAMILIES = [(family.value, family.label) for family in ResinFamily]
CLASSES = [(item.value, f"{item.value} · {item.label}") for item in SegregationClass]
FORMS = [(form.value, form.label) for form in IonicForm]
FORM_LENGTH = 8
"""Longest code of an ionic form that a column takes."""
MIXED_FAMILIES = [family.value for family in ResinFamily if family.is_mixed]


class ResinType(models.Model):
    """A type of resin by class and properties; the plant's own data sheet values."""

    code = models.CharField(max_length=24, unique=True)
    description = models.CharField(max_length=160)
    family = models.CharField(max_length=12, choices=FAMILIES)
    grade = models.CharField(max_length=20, default="working")
    total_capacity_eq_per_m3 = models.FloatField()
    operating_capacity_eq_per_m3 = models.FloatField()
    bead_diameter_m = models.FloatField()
    bead_density_kg_per_m3 = models.FloatField()
    settled_void_frac = models.FloatField(default=0.38)
    swelling_frac = models.FloatField(default=0.0)
    """From the exhausted to the regenerated form."""
    max_temperature_kelvin = models.FloatField()
    """In the regenerated form."""
    bead_diameter_spread_frac = models.FloatField(default=0.15)
    """Standard deviation of the bead diameter over its mean."""
    bead_density_spread_kg_per_m3 = models.FloatField(default=5.0)
    """Standard deviation of the wet bead density."""
    cation_type = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="+")
    """Of a mixed bed: the cation resin in it."""
    anion_type = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="+")
    """Of a mixed bed: the anion resin in it."""
    cation_share_frac = models.FloatField(null=True)
    """Of a mixed bed: share of the cation resin in its volume, both in their exhausted forms."""
    data_source = models.CharField(max_length=200, blank=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["family", "code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    family__in=MIXED_FAMILIES,
                    cation_type__isnull=False,
                    anion_type__isnull=False,
                    cation_share_frac__isnull=False,
                    cation_share_frac__gte=0.1,
                    cation_share_frac__lte=0.9,
                )
                | ~Q(family__in=MIXED_FAMILIES)
                & Q(cation_type__isnull=True, anion_type__isnull=True, cation_share_frac__isnull=True),
                name="mixed_bed_has_two_resins",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class ResinLot(models.Model):
    """A body of resin with one history. Volume always with the form it was counted in."""

    code = models.CharField(max_length=24, unique=True)
    resin_type = models.ForeignKey(ResinType, on_delete=models.PROTECT, related_name="lots")
    segregation_class = models.CharField(max_length=1, choices=CLASSES)
    volume_m3 = models.FloatField()
    volume_form = models.CharField(max_length=FORM_LENGTH, choices=FORMS)
    made_at = models.DateTimeField()
    origin = models.CharField(max_length=200)
    """In words: delivered new, or made from which batch."""
    cycles = models.PositiveIntegerField(default=0)
    """Regenerations after service behind its oldest part; new carbon has none."""
    capacity_factor = models.FloatField(default=1.0)
    is_scrapped = models.BooleanField(default=False)
    parts = models.JSONField(default=list)
    """Of which deliveries it consists (``core.process.resin_lots.Part``), as lists; [] in rows of an older program, where they
    are worked out from the parents (``selectors.parts_of``)."""
    delivered_on = models.DateField(null=True)
    """When it was delivered new, where that is known; else it is at least as old as ``made_at``."""
    dedicated_to = models.CharField(max_length=16, blank=True, default="")
    """Code of the customer whose resin it is, of class A; "" where nobody's, or not on record."""
    needs_conditioning = models.BooleanField(default=False)
    """New resin that was not conditioned yet: nothing is topped up or mixed with it."""

    class Meta:
        ordering = ["-made_at", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(volume_m3__gt=0), name="resin_lot_volume"),
            models.CheckConstraint(
                condition=Q(capacity_factor__gt=0, capacity_factor__lte=1.2), name="resin_lot_factor"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class LotParent(models.Model):
    """A lot contains a share of an older lot."""

    child = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="parent_links")
    parent = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="child_links")
    fraction = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["child", "parent"], name="lot_parent_once"),
            models.CheckConstraint(
                condition=Q(fraction__gt=0, fraction__lte=1.000001), name="lot_parent_fraction"
            ),
            models.CheckConstraint(condition=~Q(child=F("parent")), name="lot_not_its_own_parent"),
        ]

    def __str__(self) -> str:
        return f"{self.fraction:.3f}"


class LotMovement(models.Model):
    """Resin of a lot that came into the plant's store of resin or went out of it. Append-only.

    What stands in the store is the sum of the signed volumes, all in the exhausted form; as it was counted stands beside it.
    """

    class Kind(models.TextChoices):
        RECEIVED = "received", "received into the store"
        KEPT = "kept", "kept of a batch"
        MADE = "made", "made from lots in the store"
        COUNTED = "counted", "difference of a count"
        TAKEN = "taken", "taken into another lot"
        TO_BATCH = "to_batch", "topped up a batch"
        TO_TANK = "to_tank", "filled into a tank"
        SCRAPPED = "scrapped", "scrapped"

    lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    exhausted_m3 = models.FloatField()
    """Into the store above zero, out of it below [m^3]."""
    volume_m3 = models.FloatField()
    """As it was counted, in ``volume_form`` [m^3]."""
    volume_form = models.CharField(max_length=FORM_LENGTH, choices=FORMS)
    other_lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, null=True, related_name="+")
    """The lot it went into."""
    reference = models.CharField(max_length=24, blank=True, default="")
    """The batch or the tank it came from or went to."""
    reason = models.CharField(max_length=300, blank=True, default="")
    moved_at = models.DateTimeField()
    moved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["moved_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["received", "kept", "made"], exhausted_m3__gt=0)
                | Q(kind__in=["taken", "to_batch", "to_tank", "scrapped"], exhausted_m3__lt=0)
                | Q(kind="counted"),
                name="lot_movement_has_its_sign",
            ),
            models.CheckConstraint(
                condition=Q(kind="taken", other_lot__isnull=False)
                | ~Q(kind="taken") & Q(other_lot__isnull=True),
                name="lot_movement_says_into_which_lot",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.exhausted_m3 * 1000:+.1f} L"


# What a person set stands in a file of its own; Django finds models here.
from regenplant.resins.capacity_models import LotCapacity  # noqa: E402

__all__ = [
    "CLASSES",
    "FAMILIES",
    "FORMS",
    "FORM_LENGTH",
    "LotCapacity",
    "LotMovement",
    "LotParent",
    "ResinLot",
    "ResinType",
]
