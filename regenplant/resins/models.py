"""Resin types with their data, and resin lots: traceable bodies of resin that mix and split."""

from __future__ import annotations

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


# What a person set stands in a file of its own; Django finds models here.
from regenplant.resins.capacity_models import LotCapacity  # noqa: E402

__all__ = ["CLASSES", "FAMILIES", "FORMS", "FORM_LENGTH", "LotCapacity", "LotParent", "ResinLot", "ResinType"]
