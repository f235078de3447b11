"""The plant's equipment and its profile: what batches run in and are measured with."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.version_model import Version, constraints_of
from regenplant.plant.calibration_models import Calibration, CalibrationPoint, ImpactLook, OutOfService
from regenplant.plant.drain_table_models import DrainTableVersion
from regenplant.plant.permit_models import PermitVersion
from regenplant.plant.site_models import SiteDetermination

__all__ = [
    "COMPENSATIONS",
    "FEED_FIGURES",
    "Calibration",
    "CalibrationPoint",
    "DrainTableVersion",
    "ImpactLook",
    "Instrument",
    "LimitsVersion",
    "OutOfService",
    "PermitVersion",
    "PlantProfile",
    "SiteDetermination",
    "Skid",
    "Terminal",
    "Vessel",
    "WasteTank",
    "WaterSupply",
]

COMPENSATIONS = ("none", "neutral", "acid", "base", "flat_2")
"""How a conductivity meter may compensate for temperature by itself."""


FEED_FIGURES = (
    "feed_calcium_eq_per_m3",
    "feed_magnesium_eq_per_m3",
    "feed_sodium_eq_per_m3",
    "feed_chloride_eq_per_m3",
    "feed_sulfate_eq_per_m3",
    "feed_nitrate_eq_per_m3",
    "feed_alkalinity_eq_per_m3",
    "feed_carbon_dioxide_mol_per_m3",
    "feed_silica_mol_per_m3",
)
"""Columns of the feed analysis."""


class PlantProfile(models.Model):
    """The one row that says whose plant this is and what holds everywhere in it."""

    name = models.CharField(max_length=80)
    hall_name = models.CharField(max_length=80, blank=True)
    unit_system = models.CharField(max_length=6, default="metric")
    time_zone = models.CharField(max_length=40, default="UTC")
    permit_number = models.CharField(max_length=60, blank=True)
    permit_expires_on = models.DateField(null=True)
    permit_ph_low = models.FloatField(default=6.0)
    permit_ph_high = models.FloatField(default=9.0)
    strength_check_max_age_days = models.PositiveSmallIntegerField(default=7)
    eyewash_tested_on = models.DateField(null=True)
    eyewash_test_interval_days = models.PositiveSmallIntegerField(default=7)
    shower_places = models.TextField(blank=True)
    spill_text = models.TextField(blank=True)
    call_text = models.TextField(blank=True)
    feed_calcium_eq_per_m3 = models.FloatField(null=True)
    """The usual feed of the tanks, by analysis; all of it or nothing is on record (``feed_basis`` empty)."""
    feed_magnesium_eq_per_m3 = models.FloatField(null=True)
    feed_sodium_eq_per_m3 = models.FloatField(null=True)
    """Sodium and what is like it: all monovalent cations."""
    feed_chloride_eq_per_m3 = models.FloatField(null=True)
    feed_sulfate_eq_per_m3 = models.FloatField(null=True)
    feed_nitrate_eq_per_m3 = models.FloatField(null=True)
    feed_alkalinity_eq_per_m3 = models.FloatField(null=True)
    feed_carbon_dioxide_mol_per_m3 = models.FloatField(null=True)
    feed_silica_mol_per_m3 = models.FloatField(null=True)
    feed_basis = models.CharField(max_length=200, blank=True)
    """Whose analysis, of which day, in words."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="plant_profile_is_one"),
            models.CheckConstraint(
                condition=Q(permit_ph_low__lt=F("permit_ph_high")), name="permit_window_opens"
            ),
            models.CheckConstraint(
                condition=Q(feed_basis="", **{f"{name}__isnull": True for name in FEED_FIGURES})
                | ~Q(feed_basis="")
                & Q(**{f"{name}__isnull": False for name in FEED_FIGURES})
                & Q(**{f"{name}__gte": 0.0 for name in FEED_FIGURES}),
                name="feed_analysis_whole_or_none",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Vessel(models.Model):
    """A fixed vessel in which a batch is regenerated."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=80)
    internal_diameter_m = models.FloatField()
    straight_height_m = models.FloatField()
    bed_volume_min_m3 = models.FloatField()
    bed_volume_max_m3 = models.FloatField()
    families = models.JSONField(default=list)
    segregation_classes = models.JSONField(default=list)
    chemicals = models.JSONField(default=list)
    """What its lines bring to it, by value of ``Chemical``; empty: nobody wrote it down, so nothing is ruled out."""
    takes_anion_leg_only = models.BooleanField(default=False)
    """Of a mixed bed it takes the anion resin after the interface cut, never the whole bed."""
    lining = models.CharField(max_length=80, blank=True)
    max_flow_m3_per_s = models.FloatField(null=True)
    side_outlet_height_m = models.FloatField(null=True)
    """Height of the interface collector above the bed support; null where there is none."""
    air_max_m3_per_s = models.FloatField(null=True)
    """Clean air for mixing, at the pressure in the vessel; null where there is none."""
    last_chemical = models.CharField(max_length=12, blank=True)
    is_flushed = models.BooleanField(default=True)
    last_segregation_class = models.CharField(max_length=1, blank=True)
    lock_out_number = models.CharField(max_length=20, blank=True)
    lock_out_reason = models.CharField(max_length=200, blank=True)
    lock_out_at = models.DateTimeField(null=True)
    lock_out_by = models.CharField(max_length=120, blank=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(bed_volume_min_m3__gt=0, bed_volume_max_m3__gte=F("bed_volume_min_m3")),
                name="vessel_bed_range",
            ),
            models.CheckConstraint(
                condition=Q(internal_diameter_m__gt=0, straight_height_m__gt=0), name="vessel_size"
            ),
            models.CheckConstraint(
                condition=Q(side_outlet_height_m__isnull=True)
                | Q(side_outlet_height_m__gt=0, side_outlet_height_m__lt=F("straight_height_m")),
                name="vessel_side_outlet",
            ),
            models.CheckConstraint(
                condition=Q(air_max_m3_per_s__isnull=True) | Q(air_max_m3_per_s__gt=0), name="vessel_air"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def is_locked_out(self) -> bool:
        return bool(self.lock_out_reason)


class Skid(models.Model):
    """A dilution skid for one chemical; a caustic skid has a heater."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=80)
    chemical = models.CharField(max_length=12)
    flow_min_m3_per_s = models.FloatField()
    flow_max_m3_per_s = models.FloatField()
    heater_max_temperature_kelvin = models.FloatField(null=True)
    lock_out_reason = models.CharField(max_length=200, blank=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class WaterSupply(models.Model):
    """A water of the plant with what was last measured of it."""

    kind = models.CharField(max_length=12, unique=True)
    temperature_kelvin = models.FloatField()
    hardness_kg_per_m3 = models.FloatField(default=0.0)
    """As CaCO3."""
    max_flow_m3_per_s = models.FloatField()
    available_m3 = models.FloatField(null=True)
    measured_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["kind"]

    def __str__(self) -> str:
        return self.kind


class WasteTank(models.Model):
    """The neutralization tank; the reserve is never planned away."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=80)
    capacity_m3 = models.FloatField()
    level_m3 = models.FloatField(default=0.0)
    """By the books of the waste ledger, which may say more than the tank holds until somebody reads the level [m^3]."""
    reserve_m3 = models.FloatField()
    receives = models.BooleanField(default=False)
    """The drains run to this one; at most one does (``selectors.waste_tank``)."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(level_m3__gte=0, reserve_m3__gte=0),
                name="waste_tank_level",
            ),
            models.UniqueConstraint(
                fields=["receives"], condition=Q(receives=True), name="one_waste_tank_receives"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def planned_most_m3(self) -> float:
        """Level up to which waste is planned in, with the reserve kept [m^3]."""
        return self.capacity_m3 - self.reserve_m3


class Instrument(models.Model):
    """A measuring instrument; overdue calibration means that its readings prove nothing."""

    class Kind(models.TextChoices):
        CONDUCTIVITY = "conductivity", "conductivity or resistivity cell"
        PH = "ph", "pH meter"
        HYDROMETER = "hydrometer", "hydrometer"
        FLOW = "flow", "flow meter"
        THERMOMETER = "thermometer", "thermometer"
        WET_TEST = "wet_test", "titration or colour test kit"
        BALANCE = "balance", "balance"

    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=14, choices=Kind.choices)
    cell_constant_per_cm = models.FloatField(null=True)
    compensation = models.CharField(max_length=10, blank=True)
    """What the meter itself does: "none", "neutral", "acid", "base" or "flat_2"; only for conductivity cells."""
    uncertainty_frac = models.FloatField(default=0.01)
    calibrated_on = models.DateField(null=True)
    """Day of the newest calibration that left it within its tolerances."""
    calibration_due_on = models.DateField(null=True)
    interval_days = models.PositiveSmallIntegerField(null=True)
    """From one calibration to the next; null for the proposal of its kind."""
    out_of_service_at = models.DateTimeField(null=True)
    """Since when it proves nothing, until it is calibrated; null while it is in service."""
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Terminal(models.Model):
    """A tablet or computer of the plant by the name people call it; known again by a key that it keeps."""

    key = models.CharField(max_length=32, unique=True)
    name = models.CharField(max_length=40, unique=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class MeterFeed(models.Model):
    """The way by which one in-line meter sends its readings: a token for HTTP, a topic for MQTT. It informs; it drives nothing.

    ``token_digest`` is the SHA-256 of a token that was shown once; nobody can read the token back from it. What the feed
    writes stands under ``account``, a device's account (``Person.is_device``).
    """

    code = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=80)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="feeds")
    vessel = models.ForeignKey(Vessel, on_delete=models.PROTECT, related_name="feeds")
    """Where it sits: what it sends belongs to the rinse that runs there."""
    account = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="feed")
    token_digest = models.CharField(max_length=64, null=True, unique=True)
    token_made_at = models.DateTimeField(null=True)
    topic = models.CharField(max_length=120, blank=True)
    """MQTT; "" where it sends by HTTP alone."""
    registered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    registered_at = models.DateTimeField()
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument"], condition=Q(is_active=True), name="meter_feed_once_per_instrument"
            ),
            models.UniqueConstraint(fields=["topic"], condition=~Q(topic=""), name="meter_feed_topic_once"),
            models.CheckConstraint(
                condition=Q(is_active=True) | Q(token_digest__isnull=True),
                name="closed_meter_feed_has_no_token",
            ),
            models.CheckConstraint(
                condition=Q(token_digest__isnull=True) | Q(token_made_at__isnull=False),
                name="meter_feed_token_has_a_time",
            ),
            models.CheckConstraint(
                condition=~Q(account=F("registered_by")), name="meter_feed_registered_by_a_person"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class LimitsVersion(Version):
    """One version of the plant's limits; ``content`` is the canonical text of a ``LimitContent``."""

    class Meta:
        ordering = ["-number"]
        constraints = constraints_of("limits")

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("plant_limits", "limits", "Plant limits")

    @property
    def noun(self) -> str:
        return "the plant limits"
