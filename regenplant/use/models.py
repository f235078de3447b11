"""The audit of use: what each batch took of each chemical, shared and summed beforehand; prices, watch levels and signed reports."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.chemicals.models import CHEMICALS, ChemicalLot
from regenplant.people.models import Signature

KEY_LENGTH = 40


class Summed(models.Model):
    """The whole numbers of ``core.process.use_audit.Sums``."""

    batches = models.BigIntegerField(default=0)
    volume_ml = models.BigIntegerField(default=0)
    theory_grams = models.BigIntegerField(default=0)
    planned_grams = models.BigIntegerField(default=0)
    used_grams = models.BigIntegerField(default=0)
    regenerating_grams = models.BigIntegerField(default=0)
    compared = models.BigIntegerField(default=0)
    variance_sum = models.BigIntegerField(default=0)
    variance_squares = models.BigIntegerField(default=0)
    cost_milli = models.BigIntegerField(default=0)
    priced_grams = models.BigIntegerField(default=0)

    class Meta:
        abstract = True


class UseRow(Summed):
    """One chemical of one batch. Derived from plan and ledger: it can be written anew at any time.

    Batch, vessel and people are named in words: a row outlives what was purged, as the ledger does.
    """

    number = models.CharField(max_length=16)
    """Of the batch."""
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    started_at = models.DateTimeField()
    day = models.DateField()
    """On which the batch was started, at the plant."""
    shift = models.CharField(max_length=16)
    family = models.CharField(max_length=12)
    resin_type = models.CharField(max_length=24)
    segregation_class = models.CharField(max_length=1)
    vessel = models.CharField(max_length=12)
    recipe = models.CharField(max_length=16)
    volume_form = models.CharField(max_length=8)
    """Ionic form in which the volume of the resin counts."""

    class Meta:
        ordering = ["-started_at", "-number", "chemical"]
        constraints = [models.UniqueConstraint(fields=["number", "chemical"], name="use_of_batch_once")]
        indexes = [
            models.Index(fields=["-day", "-started_at", "-number", "chemical"], name="use_row_listed"),
            # all that narrows and all that tells what is outside, so that counting it reads no row
            models.Index(
                fields=[
                    "day",
                    "chemical",
                    "family",
                    "segregation_class",
                    "vessel",
                    "shift",
                    "compared",
                    "variance_sum",
                ],
                name="use_row_outside",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.chemical}"


class UseShare(Summed):
    """The part of one customer, of one resin lot or of one chemical lot in a row. The parts of one kind add up to the row."""

    class Kind(models.TextChoices):
        CUSTOMER = "customer", "customer"
        RESIN_LOT = "resin_lot", "resin lot"
        CHEMICAL_LOT = "chemical_lot", "chemical lot"

    row = models.ForeignKey(UseRow, on_delete=models.CASCADE, related_name="shares")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    key = models.CharField(max_length=KEY_LENGTH, blank=True)
    """Code of customer or lot; "" where none is on record."""
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    day = models.DateField()
    """Chemical and day as in the row."""
    lots = models.JSONField(default=dict)
    """Of a customer's share: of which resin lots it consists, in millilitres by code; {} in the others."""

    class Meta:
        constraints = [models.UniqueConstraint(fields=["row", "kind", "key"], name="use_share_once")]
        indexes = [
            # with the mass, so that the largest of thousands are found without reading a row
            models.Index(fields=["kind", "day", "chemical", "key", "used_grams"], name="use_share_largest"),
            models.Index(fields=["kind", "key", "day"], name="use_share_key"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class UseMonth(Summed):
    """A month of rows, or of the shares of one kind, summed beforehand: every whole month of a long period is read from here."""

    month = models.DateField()
    """Its first day."""
    kind = models.CharField(max_length=12, blank=True)
    """Of ``UseShare``; "" for the rows themselves."""
    key = models.CharField(max_length=KEY_LENGTH, blank=True)
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    family = models.CharField(max_length=12)
    segregation_class = models.CharField(max_length=1, blank=True)
    """Class, vessel and shift are kept for the rows only; "" for shares."""
    vessel = models.CharField(max_length=12, blank=True)
    shift = models.CharField(max_length=16, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "month", "key", "chemical", "family", "segregation_class", "vessel", "shift"],
                name="use_month_once",
            )
        ]
        indexes = [
            models.Index(fields=["kind", "month", "chemical", "key", "used_grams"], name="use_month_largest")
        ]

    def __str__(self) -> str:
        return f"{self.month:%Y-%m} {self.kind} {self.key}"


class WatchLevels(models.Model):
    """From which variance on a batch or a period is marked, and when shifts begin. Append-only; the newest is in force."""

    batch_frac = models.FloatField()
    period_frac = models.FloatField()
    shifts = models.JSONField()
    """Beginnings, "06:00"."""
    reason = models.CharField(max_length=300)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(batch_frac__gt=0, batch_frac__lte=1, period_frac__gt=0, period_frac__lte=1),
                name="watch_levels_are_shares",
            )
        ]

    def __str__(self) -> str:
        return f"±{100 * self.batch_frac:g} %, ±{100 * self.period_frac:g} %"


class MeasureLevel(models.Model):
    """From which figure on one of the measures beside the use is marked. Append-only; of one measure the newest is in force."""

    measure = models.CharField(max_length=16)
    """One of ``core.process.watch_measures.Watched``."""
    level = models.FloatField()
    """A share for measures in per cent, else a plain number."""
    reason = models.CharField(max_length=300)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(level__gte=0) & ~Q(reason=""), name="measure_level_with_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.measure} {self.level:g}"


class ChemicalPrice(models.Model):
    """What a chemical costs: of one lot, or of one supplier (or any) from a day on. Append-only; of two for the same the newer counts."""

    class Basis(models.TextChoices):
        PRODUCT = "product", "per kg of product, as delivered"
        PURE = "pure", "per kg as 100 % substance"

    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    lot = models.ForeignKey(ChemicalLot, on_delete=models.PROTECT, null=True, related_name="prices")
    supplier = models.CharField(max_length=80, blank=True)
    """As on the data sheet; "" for every supplier. Empty with a lot."""
    from_day = models.DateField()
    """Counts for lots received on this day or later; with a lot, only a note of when the price was agreed."""
    basis = models.CharField(max_length=8, choices=Basis.choices)
    milli_per_kg = models.BigIntegerField()
    """Thousandths of the currency per kg."""
    currency = models.CharField(max_length=3)
    """ISO 4217; one for the whole plant."""
    reason = models.CharField(max_length=200)
    """Where the price stands: an invoice, a contract."""
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-entered_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(milli_per_kg__gt=0, milli_per_kg__lte=10_000_000), name="price_above_zero"
            ),
            models.CheckConstraint(
                condition=Q(lot__isnull=True) | Q(supplier=""), name="price_of_lot_or_supplier"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.milli_per_kg / 1000:g} {self.currency}"


class UseReport(models.Model):
    """An audit of a period, as a supervisor signed it, for good. Each print of it is an issued paper with this number as its key."""

    number = models.CharField(max_length=16, unique=True)
    first_day = models.DateField()
    last_day = models.DateField()
    content = models.TextField()
    """Canonical text of ``report_content.ReportContent``: everything the paper says."""
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="use_report")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [models.CheckConstraint(condition=~Q(content=""), name="use_report_says_something")]

    def __str__(self) -> str:
        return self.number
