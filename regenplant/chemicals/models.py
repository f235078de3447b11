"""Chemicals: data sheets, lots with certificate and plant-checked strength, places, and movements of mass."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.chemicals.count_models import StockCount, TankGeometry
from regenplant.chemicals.expected_models import ExpectedDelivery
from regenplant.chemicals.safety_models import Spill, SpillFigure, SpillNote, ThresholdFigure
from regenplant.chemicals.weigh_models import WeighTicket
from regenplant.core.process.vocabulary import Chemical

__all__ = [
    "CHEMICALS",
    "ChemicalLot",
    "DataSheet",
    "ExpectedDelivery",
    "Movement",
    "Place",
    "Spill",
    "SpillFigure",
    "SpillNote",
    "StockCount",
    "StorageArea",
    "StrengthCheck",
    "TankGeometry",
    "ThresholdFigure",
    "Unloading",
    "WeighTicket",
]

CHEMICALS = [(chemical.value, chemical.label) for chemical in Chemical]


class DataSheet(models.Model):
    """One revision of one supplier's safety data sheet (SDS): signal word and codes come from here, never from code."""

    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    supplier = models.CharField(max_length=80)
    revised_on = models.DateField()
    strength_text = models.CharField(max_length=40)
    signal_word = models.CharField(max_length=10, blank=True)
    hazard_codes = models.JSONField(default=list)
    precaution_codes = models.JSONField(default=list)
    pictograms = models.JSONField(default=list)
    un_number = models.CharField(max_length=10, blank=True)
    packing_group = models.CharField(max_length=4, blank=True)
    protective_equipment = models.CharField(max_length=300, blank=True)
    hazard_notes = models.CharField(max_length=400, blank=True, default="")
    """What else the sheet warns of: first aid, spills, what it reacts with (sections 4, 6, 7 and 10), in its own words."""
    is_in_force = models.BooleanField(default=True)

    class Meta:
        ordering = ["chemical", "-revised_on"]

    def __str__(self) -> str:
        return f"{self.supplier}, {self.revised_on}"


class ChemicalLot(models.Model):
    """A delivery, or what a tank holds after it. The dose uses the newest plant check, never the certificate."""

    code = models.CharField(max_length=24, unique=True)
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    data_sheet = models.ForeignKey(DataSheet, on_delete=models.PROTECT, related_name="lots", null=True)
    supplier_lot = models.CharField(max_length=60, blank=True)
    certificate_strength_frac = models.FloatField()
    expires_on = models.DateField(null=True)
    """The supplier's expiry date, on which it may still be used; None where the papers give none."""
    received_at = models.DateTimeField()
    is_in_use = models.BooleanField(default=False)
    """The lot the plant draws from now; one per chemical."""
    is_finished = models.BooleanField(default=False)

    class Meta:
        ordering = ["chemical", "-received_at"]
        constraints = [
            models.UniqueConstraint(fields=["chemical"], condition=Q(is_in_use=True), name="one_lot_in_use"),
            models.CheckConstraint(
                condition=Q(certificate_strength_frac__gt=0, certificate_strength_frac__lte=1),
                name="certificate_strength",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class StrengthCheck(models.Model):
    """The plant's own check of a lot's strength. Append-only."""

    lot = models.ForeignKey(ChemicalLot, on_delete=models.PROTECT, related_name="checks")
    method = models.CharField(max_length=20)
    """"density" (hydrometer and temperature) or "titration"."""
    value_as_typed = models.CharField(max_length=40)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    density_kg_per_m3 = models.FloatField(null=True)
    temperature_kelvin = models.FloatField()
    strength_frac = models.FloatField()
    checked_at = models.DateTimeField()
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-checked_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(strength_frac__gt=0, strength_frac__lte=1), name="checked_strength"
            )
        ]

    def __str__(self) -> str:
        return f"{self.strength_frac:.4f}"


class StorageArea(models.Model):
    """Where tanks stand together: one bund, or one floor without one, in a room. A leak of one tank meets what stands in the same area."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    room = models.CharField(max_length=60)
    """The room, or "outdoors"; what fills a room with gas is kept out of it, bund or not."""
    location = models.CharField(max_length=160, blank=True)
    """How somebody who does not know the plant finds it."""
    bund_m3 = models.FloatField(null=True)
    """What the bund holds [m3]; None where there is none."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["room", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(bund_m3__isnull=True) | Q(bund_m3__gt=0), name="bund_holds"),
        ]

    def __str__(self) -> str:
        return self.code


class Place(models.Model):
    """Where a mass of chemical can be: supplier, bulk tank, batches, drain, spilled, unexplained."""

    class Kind(models.TextChoices):
        SUPPLIER = "supplier", "supplier"
        BULK_TANK = "bulk_tank", "bulk tank"
        BATCH = "batch", "used in batches"
        TREATMENT = "treatment", "used to treat waste"
        DRAIN = "drain", "drained unused"
        SPILLED = "spilled", "spilled"
        UNEXPLAINED = "unexplained", "unexplained"

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    chemical = models.CharField(max_length=12, choices=CHEMICALS, blank=True)
    capacity_m3 = models.FloatField(null=True)
    low_stock_grams_100 = models.BigIntegerField(default=0)
    connection_code = models.CharField(max_length=24, blank=True)
    """The code on the fill connection, which is scanned before anything is unloaded; "" where nothing is unloaded by hose."""
    un_number = models.CharField(max_length=10, blank=True)
    """As it stands at the fill connection, for example "UN1789"."""
    ullage_margin_m3 = models.FloatField(default=0.0)
    """Room that stays free after every delivery."""
    storage_area = models.ForeignKey(StorageArea, on_delete=models.PROTECT, null=True, related_name="tanks")
    """Where the tank stands; None as long as nobody has said so."""
    receipt_tolerance_frac = models.FloatField(default=0.02)
    """How far a sample of the delivery may lie from its certificate, as a fraction by weight; the plant decides."""
    weigh_tolerance_frac = models.FloatField(default=0.02)
    """How far the weigh ticket of a delivery may lie from volume times density, as a fraction; the plant decides."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["kind", "code"]
        constraints = [
            models.UniqueConstraint(
                fields=["connection_code"], condition=~Q(connection_code=""), name="fill_connection_once"
            ),
            models.CheckConstraint(
                condition=Q(connection_code="") | ~Q(un_number=""), name="fill_connection_has_un_number"
            ),
            models.CheckConstraint(
                condition=Q(ullage_margin_m3__gte=0, receipt_tolerance_frac__gt=0),
                name="fill_connection_bounds",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Movement(models.Model):
    """One mass from one place to another, in whole grams of 100 % substance. Append-only; balances by construction."""

    number = models.BigIntegerField(unique=True)
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    lot = models.ForeignKey(ChemicalLot, on_delete=models.PROTECT, related_name="movements", null=True)
    from_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_out")
    to_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_in")
    grams_100 = models.BigIntegerField()
    reference = models.CharField(max_length=60, db_index=True)
    """What it was for: a batch number, a delivery, a count. The ledger knows no batches."""
    reason = models.CharField(max_length=200, blank=True)
    moved_at = models.DateTimeField()
    moved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")
    """The movement this one takes back: same mass, places the other way round. One movement is taken back once."""
    step_number = models.PositiveSmallIntegerField(null=True)
    """For a batch: the step that drew it, or whose entry was corrected; null for everything else, and in rows of an older program."""

    class Meta:
        ordering = ["number"]
        indexes = [models.Index(fields=["chemical", "number"], name="movement_chemical")]
        constraints = [
            models.CheckConstraint(condition=Q(grams_100__gt=0), name="movement_above_zero"),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(reason=""), name="correction_has_reason"
            ),
            models.CheckConstraint(condition=~Q(from_place=F("to_place")), name="movement_moves"),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class Unloading(models.Model):
    """The lock on one delivery (CS-01): papers, sample and fill connection agree, or nothing is unloaded."""

    class State(models.TextChoices):
        OPEN = "open", "locked"
        UNLOCKED = "unlocked", "unlocked"
        STOPPED = "stopped", "stopped"

    number = models.CharField(max_length=16, unique=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN.value)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="unloadings")
    order_line = models.CharField(max_length=60)
    """Order and line, as on the papers."""
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    un_number = models.CharField(max_length=10)
    lot_code = models.CharField(max_length=24)
    supplier_lot = models.CharField(max_length=60)
    data_sheet = models.ForeignKey(DataSheet, on_delete=models.PROTECT, null=True, related_name="+")
    certificate_strength_frac = models.FloatField()
    expires_on = models.DateField(null=True)
    grams_100 = models.BigIntegerField()
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    value_as_typed = models.CharField(max_length=40, blank=True)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    density_kg_per_m3 = models.FloatField(null=True)
    temperature_kelvin = models.FloatField(null=True)
    sample_strength_frac = models.FloatField(null=True)
    sampled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    sampled_at = models.DateTimeField(null=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Who scanned the code of the fill connection: another person than who opened."""
    confirmed_at = models.DateTimeField(null=True)
    signature = models.OneToOneField(
        "people.Signature", on_delete=models.PROTECT, null=True, related_name="+"
    )
    lot = models.OneToOneField(ChemicalLot, on_delete=models.PROTECT, null=True, related_name="unloading")
    alarm = models.CharField(max_length=300, blank=True)
    """What did not agree. Also kept as a near miss in the log."""
    stopped_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    stopped_at = models.DateTimeField(null=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    answered_at = models.DateTimeField(null=True)
    answer = models.CharField(max_length=300, blank=True)
    """What the supervisor found out and did about a stop."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-opened_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["open", "unlocked", "stopped"]), name="unloading_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(confirmed_by=F("opened_by")), name="unloading_confirmed_by_another"
            ),
            models.CheckConstraint(
                condition=~Q(state="unlocked")
                | Q(
                    sampled_by__isnull=False,
                    confirmed_by__isnull=False,
                    signature__isnull=False,
                    lot__isnull=False,
                ),
                name="unlocked_after_every_check",
            ),
            models.CheckConstraint(
                condition=(Q(state="stopped") & ~Q(alarm="") & Q(stopped_by__isnull=False, lot__isnull=True))
                | (~Q(state="stopped") & Q(alarm="")),
                name="stopped_unloading_has_alarm",
            ),
        ]

    def __str__(self) -> str:
        return self.number
