"""Shapes of tanks and counts of what stands in them. Both are append-only: a shape is replaced by the next one, a count by a new one."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.reasons import LONGEST_CATEGORY
from regenplant.core.engineering.tank_levels import Ends, TankForm

FORMS = [(form.value, form.label) for form in TankForm]
ENDS = [(ends.value, ends.label) for ends in Ends]


class TankGeometry(models.Model):
    """One version of the inside shape of a bulk tank, and of the gauge that is read. The newest holds; counts keep theirs."""

    place = models.ForeignKey("chemicals.Place", on_delete=models.PROTECT, related_name="geometries")
    number = models.PositiveIntegerField()
    form = models.CharField(max_length=8, choices=FORMS)
    ends = models.CharField(max_length=16, choices=ENDS, default=Ends.FLAT.value)
    diameter_m = models.FloatField(default=0.0)
    length_m = models.FloatField(default=0.0)
    width_m = models.FloatField(default=0.0)
    height_m = models.FloatField(default=0.0)
    table = models.JSONField(default=list)
    """Rows of level [m] and volume [m^3]; empty for the other shapes."""
    gauge = models.CharField(max_length=60)
    """What is read, in words: sight glass, dip stick."""
    zero_above_bottom_m = models.FloatField(default=0.0)
    """Height of the gauge's zero over the lowest point inside [m]."""
    level_tolerance_m = models.FloatField()
    volume_tolerance_frac = models.FloatField(default=0.0)
    origin = models.CharField(max_length=160)
    """Where the figures come from: drawing, nameplate, own measurement."""
    written_at = models.DateTimeField()
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["place", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["place", "number"], name="tank_geometry_once"),
            models.CheckConstraint(
                condition=Q(
                    level_tolerance_m__gt=0, volume_tolerance_frac__gte=0, zero_above_bottom_m__gte=0
                ),
                name="tank_geometry_bounds",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class StockCount(models.Model):
    """What was found in a bulk tank at one moment, and what the books said of that moment when it was written.

    It moves nothing. A difference beyond its spread is booked to "unexplained" by another person (``services.book_difference``);
    whether that was done is seen in the ledger, under the number of the count.
    """

    class Method(models.TextChoices):
        LEVEL = "level", "by level"
        AMOUNT = "amount", "weighed or measured out"

    number = models.CharField(max_length=16, unique=True)
    place = models.ForeignKey("chemicals.Place", on_delete=models.PROTECT, related_name="counts")
    method = models.CharField(max_length=8, choices=Method.choices)
    geometry = models.ForeignKey(TankGeometry, on_delete=models.PROTECT, null=True, related_name="counts")
    value_as_typed = models.CharField(max_length=40, blank=True)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    level_m = models.FloatField(null=True)
    """As read, from the gauge's zero [m]."""
    temperature_kelvin = models.FloatField(null=True)
    strength_frac = models.FloatField(null=True)
    """Of what stood in the tank, by the plant's check and what came on top of it since [-]."""
    strength_of = models.CharField(max_length=60, blank=True)
    """The lot that was checked, with what came on top."""
    concentration_kg_per_m3 = models.FloatField(null=True)
    """Substance per volume of product at the temperature of the tank [kg/m^3]."""
    volume_m3 = models.FloatField(null=True)
    found_grams_100 = models.BigIntegerField()
    spread_grams_100 = models.BigIntegerField()
    """How far the count may be off; a difference within it is none."""
    books_grams_100 = models.BigIntegerField()
    after_movement = models.BigIntegerField()
    """Number of the last movement that was written before this count; 0 for none."""
    note = models.CharField(max_length=200, blank=True)
    counted_at = models.DateTimeField()
    written_at = models.DateTimeField()
    counted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    """The count that this one takes the place of."""
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-counted_at", "-id"]
        indexes = [models.Index(fields=["place", "-counted_at"], name="count_place_time")]
        constraints = [
            models.CheckConstraint(
                condition=Q(found_grams_100__gte=0, spread_grams_100__gte=0), name="count_not_below_nothing"
            ),
            models.CheckConstraint(
                condition=~Q(method="level")
                | Q(
                    geometry__isnull=False,
                    level_m__isnull=False,
                    temperature_kelvin__isnull=False,
                    strength_frac__isnull=False,
                    concentration_kg_per_m3__isnull=False,
                    volume_m3__isnull=False,
                ),
                name="count_by_level_whole",
            ),
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | (~Q(reason="") & ~Q(replaces=F("id"))),
                name="replacing_count_has_reason",
            ),
            models.CheckConstraint(condition=Q(counted_at__lte=F("written_at")), name="count_written_after"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def gap_grams_100(self) -> int:
        """Found less books, as the count was written."""
        return self.found_grams_100 - self.books_grams_100

    @property
    def is_within(self) -> bool:
        """Whether books and tank agreed within the spread when it was written."""
        return abs(self.gap_grams_100) <= self.spread_grams_100
