"""Chemicals: data sheets, lots with certificate and plant-checked strength, places, and movements of mass."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.core.process.thresholds import Counted, ThresholdKind
from regenplant.core.process.vocabulary import Chemical

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


class ThresholdFigure(models.Model):
    """The plant's own figure for a reportable quantity or inventory, with the paper it stands on. Append-only; the newest holds."""

    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    kind = models.CharField(max_length=10, choices=[(kind.value, kind.label) for kind in ThresholdKind])
    limit_grams = models.BigIntegerField(null=True)
    """None: the plant's own figure is taken back, and the reference figure holds again, where there is one."""
    counted = models.CharField(max_length=8, choices=[(item.value, item.label) for item in Counted])
    value_as_typed = models.CharField(max_length=40, blank=True)
    paper = models.CharField(max_length=200)
    """Which permit, letter or rule it stands on, and who confirmed it when."""
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["chemical", "kind", "-written_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(limit_grams__isnull=True) | Q(limit_grams__gt=0), name="threshold_above_zero"
            ),
            models.CheckConstraint(condition=~Q(paper=""), name="threshold_has_paper"),
        ]

    def __str__(self) -> str:
        return f"{self.chemical} {self.kind}"


class Spill(models.Model):
    """A chemical that got out of where it belongs: what, where, when. How much stands in its figures, the newest holds."""

    class State(models.TextChoices):
        OPEN = "open", "open"
        CLOSED = "closed", "closed"

    class Reached(models.TextChoices):
        CONTAINED = "contained", "stayed in the bund, tray or floor pit"
        WASTE = "waste", "ran to the waste tank"
        DRAIN = "drain", "ran to a drain or sewer"
        GROUND = "ground", "reached soil or open ground"
        AIR = "air", "went into the air"
        UNKNOWN = "unknown", "not known yet"

    number = models.CharField(max_length=16, unique=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN.value)
    chemical = models.CharField(max_length=12, choices=CHEMICALS)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="spills")
    """The tank it came out of; None where it came from a hose, a line or a drum that the ledger does not hold."""
    lot = models.ForeignKey(ChemicalLot, on_delete=models.PROTECT, null=True, related_name="spills")
    location = models.CharField(max_length=160)
    reached = models.CharField(max_length=10, choices=Reached.choices)
    what_happened = models.CharField(max_length=600)
    happened_at = models.DateTimeField()
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    closing_words = models.CharField(max_length=600, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-happened_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=["open", "closed"]), name="spill_state_known"),
            models.CheckConstraint(
                condition=(Q(state="open") & Q(closed_by__isnull=True, closed_at__isnull=True))
                | (
                    Q(state="closed")
                    & Q(closed_by__isnull=False, closed_at__isnull=False)
                    & ~Q(closing_words="")
                ),
                name="spill_closed_by_a_person",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class SpillFigure(models.Model):
    """How much was spilled, as known then, and what it was held against. Append-only; a better one follows with its reason."""

    spill = models.ForeignKey(Spill, on_delete=models.PROTECT, related_name="figures")
    position = models.PositiveSmallIntegerField()
    basis = models.CharField(max_length=8)
    """A value of ``quantities.Basis``: what was counted."""
    value_as_typed = models.CharField(max_length=40)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    strength_frac = models.FloatField()
    temperature_kelvin = models.FloatField()
    grams_100 = models.BigIntegerField()
    product_grams = models.BigIntegerField()
    movement = models.OneToOneField(Movement, on_delete=models.PROTECT, null=True, related_name="+")
    """The mass as it left the tank; None where it came out of no tank, or the tank holds less by the books."""
    day_grams = models.BigIntegerField()
    """What is compared: this spill and others of the same chemical within the 24 hours before it, counted as the figure is."""
    limit_grams = models.BigIntegerField(null=True)
    """The reportable quantity it was held against; None where none is known here."""
    limit_words = models.CharField(max_length=300, blank=True)
    """That quantity as shown then, with its source."""
    reason = models.CharField(max_length=300, blank=True)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["spill", "position"]
        constraints = [
            models.UniqueConstraint(fields=["spill", "position"], name="spill_figure_once"),
            models.CheckConstraint(
                condition=Q(grams_100__gt=0, product_grams__gte=F("grams_100")),
                name="spill_figure_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(strength_frac__gt=0, strength_frac__lte=1), name="spill_figure_strength"
            ),
            models.CheckConstraint(condition=Q(position=1) | ~Q(reason=""), name="spill_figure_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.spill_id}.{self.position}"

    @property
    def is_reached(self) -> bool:
        """Whether the reportable quantity it was held against is reached; a person decides what follows."""
        return self.limit_grams is not None and self.day_grams >= self.limit_grams


class SpillNote(models.Model):
    """What was done about a spill, or who was told. Append-only."""

    class Kind(models.TextChoices):
        DONE = "done", "something was done"
        TOLD = "told", "somebody was told"
        DECIDED = "decided", "decided whether it is reported"

    spill = models.ForeignKey(Spill, on_delete=models.PROTECT, related_name="notes")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    words = models.CharField(max_length=600)
    happened_at = models.DateTimeField()
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["spill", "written_at", "id"]

    def __str__(self) -> str:
        return f"{self.spill_id} {self.kind}"
