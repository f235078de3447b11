"""Customers, sites, portable exchange tanks, and their round trips."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.core.process.lifecycle import VisitState
from regenplant.resins.models import CLASSES, FORM_LENGTH, FORMS, ResinLot, ResinType
from regenplant.tanks.expected_models import ExpectedTank
from regenplant.tanks.rush_models import CustomerRush

__all__ = [
    "Customer",
    "CustomerRush",
    "ExpectedTank",
    "IntakeInspection",
    "Site",
    "Tank",
    "TankSize",
    "TankVisit",
]

VISIT_STATES = [(state.value, state.value) for state in VisitState]


class Customer(models.Model):
    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=120)
    contact = models.CharField(max_length=160, blank=True)
    declared_service = models.CharField(max_length=200, blank=True)
    """What the tanks do there, in the customer's words."""
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Site(models.Model):
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=120)
    address = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["customer", "name"]
        constraints = [models.UniqueConstraint(fields=["customer", "name"], name="site_once")]

    def __str__(self) -> str:
        return self.name


class TankSize(models.Model):
    """Diameter by height in inches, as the trade calls sizes, with gross and usual resin volume."""

    code = models.CharField(max_length=12, unique=True)
    diameter_m = models.FloatField()
    height_m = models.FloatField()
    gross_m3 = models.FloatField()
    nominal_resin_m3 = models.FloatField()

    class Meta:
        ordering = ["diameter_m", "height_m"]

    def __str__(self) -> str:
        return self.code


class Tank(models.Model):
    """One portable exchange tank. Resin type, grade and class make its pooling key."""

    serial = models.CharField(max_length=24, unique=True)
    """What is on the tag, and what its code says: "T-20417"."""
    size = models.ForeignKey(TankSize, on_delete=models.PROTECT, related_name="tanks")
    resin_type = models.ForeignKey(ResinType, on_delete=models.PROTECT, related_name="tanks")
    segregation_class = models.CharField(max_length=1, choices=CLASSES)
    dedicated_to = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, related_name="dedicated_tanks"
    )
    resin_lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, null=True, related_name="tanks")
    resin_volume_m3 = models.FloatField()
    """Settled volume it normally holds, in the exhausted form."""
    shell_inspected_on = models.DateField(null=True)
    neck_band = models.CharField(max_length=40, blank=True)
    """The plant's own colour or mark, if it uses one."""
    is_retired = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["serial"]
        constraints = [
            models.CheckConstraint(condition=Q(resin_volume_m3__gt=0), name="tank_resin_volume"),
            models.CheckConstraint(
                condition=~Q(segregation_class="A") | Q(dedicated_to__isnull=False),
                name="dedicated_tank_has_customer",
            ),
        ]

    def __str__(self) -> str:
        return self.serial


class TankVisit(models.Model):
    """One round trip of one tank through the plant."""

    number = models.CharField(max_length=16, unique=True)
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="visits")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="visits")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="visits")
    state = models.CharField(max_length=10, choices=VISIT_STATES, default=VisitState.RECEIVED.value)
    return_reason = models.CharField(max_length=40)
    customer_words = models.CharField(max_length=200, blank=True)
    segregation_class = models.CharField(max_length=1, choices=CLASSES, blank=True)
    """As judged at intake; empty until judged."""
    resin_type = models.ForeignKey(ResinType, on_delete=models.PROTECT, related_name="+")
    resin_volume_m3 = models.FloatField()
    resin_volume_form = models.CharField(max_length=FORM_LENGTH, choices=FORMS)
    bay = models.CharField(max_length=20, blank=True)
    due_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    """Why it is held or refused."""
    is_shell_sound = models.BooleanField(null=True)
    emptied_at = models.DateTimeField(null=True)
    refilled_at = models.DateTimeField(null=True)
    refilled_lot = models.ForeignKey(
        ResinLot, on_delete=models.PROTECT, null=True, related_name="refilled_visits"
    )
    refilled_volume_m3 = models.FloatField(null=True)
    released_at = models.DateTimeField(null=True)
    shipped_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-received_at", "-id"]
        indexes = [models.Index(fields=["state", "received_at"], name="visit_state")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=[state.value for state in VisitState]), name="visit_state_known"
            ),
            models.UniqueConstraint(
                fields=["tank"],
                condition=~Q(state__in=["shipped", "refused"]),
                name="one_open_visit_per_tank",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["received", "held", "refused"]) | ~Q(segregation_class=""),
                name="judged_has_class",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class IntakeInspection(models.Model):
    """What was seen when the tank came in. Append-only; a second look is a second row."""

    visit = models.ForeignKey(TankVisit, on_delete=models.PROTECT, related_name="inspections")
    shell = models.CharField(max_length=20)
    head_and_fittings = models.CharField(max_length=20)
    odour = models.CharField(max_length=20)
    water_colour = models.CharField(max_length=20)
    first_drain_ph = models.FloatField(null=True)
    first_drain_ph_as_typed = models.CharField(max_length=20, blank=True)
    oxidizer_strip = models.CharField(max_length=12)
    weight_kg = models.FloatField(null=True)
    weight_as_typed = models.CharField(max_length=30, blank=True)
    foreign_material = models.CharField(max_length=160, blank=True)
    note = models.CharField(max_length=300, blank=True)
    findings_that_stop = models.JSONField(default=list)
    inspected_at = models.DateTimeField()
    inspected_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-inspected_at", "-id"]

    def __str__(self) -> str:
        return f"{self.inspected_at:%Y-%m-%d %H:%M}"
