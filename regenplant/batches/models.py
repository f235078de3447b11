"""Batches: the frozen plan, the tanks in it, steps as run, what was written down, readings, holds and deviations."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.reasons import LONGEST_CATEGORY
from regenplant.batches.log_models import ForecastMade, MeterLog, MeterLogSetAside, RinseStanding
from regenplant.batches.top_up_models import BatchTopUp
from regenplant.core.process.drains import Destination
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.lifecycle import label as state_label
from regenplant.core.process.vocabulary import Leg
from regenplant.people.models import Signature
from regenplant.plant.models import Instrument, Vessel
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.resins.models import CLASSES, FORM_LENGTH, FORMS, ResinLot, ResinType
from regenplant.tanks.models import TankVisit

__all__ = [
    "BATCH_STATES",
    "IN_A_VESSEL",
    "LEGS",
    "STEP_STATES",
    "Batch",
    "BatchTank",
    "BatchTopUp",
    "CheckRules",
    "Deviation",
    "EntryCheck",
    "ForecastMade",
    "Hold",
    "MeterLog",
    "MeterLogSetAside",
    "RinseReading",
    "RinseStanding",
    "StepEntry",
    "StepRun",
]

BATCH_STATES = [(state.value, state_label(state)) for state in BatchState]
STEP_STATES = [(state.value, state.value) for state in StepState]
LEGS = [(leg.value, leg.label) for leg in Leg]
DESTINATIONS = [(item.value, item.label) for item in Destination]
IN_A_VESSEL = ["ready", "running", "rinsing", "awaiting_qc", "passed", "held"]
"""States in which no other batch may have its vessels; failed and aborted ones are looked after by the services."""


class Batch(models.Model):
    """One body of resin regenerated in one go. ``state`` is written by ``services.moves`` only."""

    number = models.CharField(max_length=16, unique=True)
    state = models.CharField(max_length=12, choices=BATCH_STATES, default=BatchState.PLANNED.value)
    held_from = models.CharField(max_length=12, blank=True)
    resin_type = models.ForeignKey(ResinType, on_delete=models.PROTECT, related_name="batches")
    segregation_class = models.CharField(max_length=1, choices=CLASSES)
    vessel = models.ForeignKey(Vessel, on_delete=models.PROTECT, related_name="batches")
    anion_vessel = models.ForeignKey(
        Vessel, on_delete=models.PROTECT, null=True, related_name="anion_batches"
    )
    """Where the anion leg of a mixed bed runs, when the legs are regenerated apart."""
    recipe_version = models.ForeignKey(RecipeVersion, on_delete=models.PROTECT, related_name="batches")
    specification_version = models.ForeignKey(
        SpecificationVersion, on_delete=models.PROTECT, related_name="batches"
    )
    specification_text = models.TextField(blank=True, default="")
    """Canonical text of the strictest of several specifications (``worked_out``); "" where the version says all."""
    parent = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="children")
    """The batch this one reworks."""
    rework_cause = models.CharField(max_length=300, blank=True)
    rework_cause_category = models.CharField(max_length=12, blank=True)
    """One of ``causes.CAUSES``; needed from the second failure of the same resin on."""
    rework_same_recipe_reason = models.CharField(max_length=300, blank=True)
    """Why a second failure is reworked by the very recipe version that failed."""
    resin_volume_m3 = models.FloatField()
    resin_volume_form = models.CharField(max_length=FORM_LENGTH, choices=FORMS)
    plan_text = models.TextField()
    """Canonical text of the ``BatchPlan``."""
    plan_digest = models.CharField(max_length=64)
    core_version = models.CharField(max_length=12)
    chemical_lots = models.JSONField(default=dict)
    """Lot code by chemical, as planned."""
    planned_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    planned_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    rinsed_at = models.DateTimeField(null=True)
    """When it was handed to QC."""
    judged_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    """Released, scrapped or aborted."""
    lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, null=True, related_name="batches")
    """The resin lot this batch made; set when it passes."""
    is_in_tanks = models.BooleanField(default=False)
    """It failed after its tanks were filled: its resin stands in those tanks, and no vessel is its own any more."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-planned_at", "-id"]
        indexes = [
            models.Index(fields=["state", "planned_at"], name="batch_state"),
            models.Index(fields=["vessel", "state"], name="batch_vessel_state"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=[state.value for state in BatchState]), name="batch_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(state="held") | ~Q(held_from=""), name="held_batch_knows_whence"
            ),
            models.CheckConstraint(condition=Q(resin_volume_m3__gt=0), name="batch_resin_volume"),
            models.UniqueConstraint(
                fields=["vessel"],
                condition=Q(state__in=IN_A_VESSEL),
                name="one_batch_in_a_vessel",
            ),
            models.UniqueConstraint(
                fields=["anion_vessel"],
                condition=Q(state__in=IN_A_VESSEL),
                name="one_batch_in_an_anion_vessel",
            ),
            models.CheckConstraint(
                condition=Q(anion_vessel__isnull=True) | ~Q(anion_vessel=F("vessel")),
                name="anion_vessel_is_another",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class BatchTank(models.Model):
    """A tank whose resin is in the batch (or that is filled from it)."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="tank_links")
    visit = models.ForeignKey(TankVisit, on_delete=models.PROTECT, related_name="batch_links")
    resin_volume_m3 = models.FloatField()
    position = models.PositiveSmallIntegerField()
    is_current = models.BooleanField(default=True)
    """False once the visit has gone on to a rework child, or the batch was aborted before it was started."""
    is_filled = models.BooleanField(default=False)
    set_aside_reason = models.CharField(max_length=200, blank=True)
    filled_at = models.DateTimeField(null=True)
    filled_volume_m3 = models.FloatField(null=True)
    """As filled from this batch; the visit says what is in the tank now, which after a rework is other resin [m^3]."""
    withdrawn_at = models.DateTimeField(null=True)
    """Since when the filled tank is withdrawn. It holds resin of this batch for as long as the link is current."""
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "visit"], name="tank_once_in_batch"),
            models.UniqueConstraint(fields=["visit"], condition=Q(is_current=True), name="tank_in_one_batch"),
        ]

    def __str__(self) -> str:
        return f"{self.position}"

    @property
    def is_withdrawn(self) -> bool:
        """Filled from this batch, and withdrawn afterwards."""
        return self.withdrawn_at is not None

    @property
    def filled_m3(self) -> float | None:
        """What was filled into the tank from this batch [m^3]; None where nothing was. Reads the visit."""
        if not self.is_filled:
            return None
        return self.filled_volume_m3 if self.filled_volume_m3 is not None else self.visit.refilled_volume_m3

    @property
    def when_filled(self) -> datetime | None:
        """When it was filled from this batch. Reads the visit."""
        if not self.is_filled:
            return None
        return self.filled_at if self.filled_at is not None else self.visit.refilled_at


class StepRun(models.Model):
    """One step as run; what was planned stands in the batch's plan under the same number."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="steps")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=16)
    name = models.CharField(max_length=60)
    leg = models.CharField(max_length=8, choices=LEGS, default=Leg.WHOLE.value)
    """Which resin of a mixed bed it works on; legs run side by side."""
    planned_duration_s = models.FloatField()
    is_safe_hold_after = models.BooleanField(default=False)
    state = models.CharField(max_length=8, choices=STEP_STATES, default=StepState.WAITING.value)
    started_at = models.DateTimeField(null=True)
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    finished_at = models.DateTimeField(null=True)
    finished_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    skip_reason = models.CharField(max_length=300, blank=True)
    drains_to = models.CharField(max_length=16, choices=DESTINATIONS, blank=True, default="")
    """Where its drain goes; "" where it drains nothing, and in rows of an older program."""

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="step_once_in_batch"),
            models.UniqueConstraint(
                fields=["batch", "leg"], condition=Q(state="running"), name="one_running_step_in_leg"
            ),
            models.CheckConstraint(condition=Q(leg__in=[leg.value for leg in Leg]), name="step_leg_known"),
            models.CheckConstraint(
                condition=Q(state__in=[state.value for state in StepState]), name="step_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(state="skipped") | ~Q(skip_reason=""), name="skipped_step_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class StepEntry(models.Model):
    """One thing a person wrote down during a step. Append-only; a correction is a new row that replaces an old one.

    Nothing has three kinds. No row means not yet; a row without a value says, with a reason, that it was not done or does
    not apply. None of them is ever a zero.
    """

    class Standing(models.TextChoices):
        WRITTEN = "written", "written"
        NOT_DONE = "not_done", "not done"
        NOT_APPLICABLE = "not_applicable", "not applicable"

    step = models.ForeignKey(StepRun, on_delete=models.PROTECT, related_name="entries")
    key = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20)
    standing = models.CharField(max_length=14, choices=Standing.choices, default=Standing.WRITTEN.value)
    value_as_typed = models.CharField(max_length=200, blank=True)
    """Empty where nothing was written: the standing then says which kind of nothing."""
    unit_as_typed = models.CharField(max_length=20, blank=True)
    value = models.FloatField(null=True)
    """SI; null for confirmations, choices and words, and where nothing was written."""
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    is_within = models.BooleanField(null=True)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="+")
    instrument_was_valid = models.BooleanField(default=True)
    """In calibration on that day; an entry without an instrument says nothing else."""
    occurred_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    is_late = models.BooleanField(default=False)
    """Entered longer after it happened than the plant's limit of that day allowed."""
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    """Why it was corrected, written late, or not written at all."""

    class Meta:
        ordering = ["entered_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="corrected_entry_has_reason"
            ),
            models.CheckConstraint(condition=~Q(replaces=F("id")), name="entry_not_its_own_correction"),
            models.CheckConstraint(
                condition=Q(standing="written") & ~Q(value_as_typed="")
                | Q(standing__in=["not_done", "not_applicable"], value_as_typed="", value__isnull=True)
                & ~Q(reason=""),
                name="entry_is_a_value_or_a_reasoned_nothing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.words}"

    @property
    def words(self) -> str:
        """As typed, with its unit; else which kind of nothing it is."""
        if self.standing != StepEntry.Standing.WRITTEN:
            return str(StepEntry.Standing(self.standing).label)
        return f"{self.value_as_typed} {self.unit_as_typed}".strip()


class RinseReading(models.Model):
    """One conductivity or resistivity reading of the rinse. Append-only; a correction is a new row."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="readings")
    step = models.ForeignKey(StepRun, on_delete=models.PROTECT, related_name="readings")
    value_as_typed = models.CharField(max_length=40)
    unit_as_typed = models.CharField(max_length=20)
    conductivity_siemens_per_m = models.FloatField()
    """As the meter showed it."""
    temperature_as_typed = models.CharField(max_length=20)
    temperature_kelvin = models.FloatField()
    meter_compensation = models.CharField(max_length=10)
    """What the meter had already done: "none", "neutral", "acid", "base", "flat_2"."""
    cell_constant_per_cm = models.FloatField(null=True)
    """Of the cell on that day [1/cm]; null where none was noted, and in rows of an older program."""
    water_kind = models.CharField(max_length=10)
    """The kind of water at this stage: "neutral", "acid", "base"."""
    conductivity_25_siemens_per_m = models.FloatField()
    rinsed_bv = models.FloatField()
    """Bed volumes of fast rinse passed at this reading."""
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="rinse_readings")
    instrument_was_valid = models.BooleanField()
    """In calibration on that day; else the reading informs and proves nothing."""
    instrument_check = models.CharField(max_length=200, blank=True)
    """Why this reading points to the instrument instead of the water (above the ceiling, frozen)."""
    occurred_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    is_late = models.BooleanField(default=False)
    """Entered longer after it was read than the plant's limit of that day allowed."""
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    """Why it was corrected, or written late."""

    class Meta:
        ordering = ["occurred_at", "id"]
        indexes = [models.Index(fields=["batch", "occurred_at"], name="reading_batch_time")]
        constraints = [
            models.CheckConstraint(
                condition=Q(conductivity_siemens_per_m__gt=0, conductivity_25_siemens_per_m__gt=0),
                name="reading_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="corrected_reading_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.value_as_typed} {self.unit_as_typed}"


class EntryCheck(models.Model):
    """The accuracy check of one critical entry or reading, or the second of two people at a tick. Append-only.

    Typed twice without seeing the first, by whoever wrote it; or a second person who looked as well and signed.
    """

    class Method(models.TextChoices):
        TWICE = "twice", "typed twice"
        SECOND_PERSON = "second_person", "second person"

    entry = models.OneToOneField(StepEntry, on_delete=models.PROTECT, null=True, related_name="check_of_it")
    reading = models.OneToOneField(
        RinseReading, on_delete=models.PROTECT, null=True, related_name="check_of_it"
    )
    method = models.CharField(max_length=14, choices=Method.choices)
    typed_again = models.CharField(max_length=200, blank=True)
    """What was typed the second time; empty for a second person."""
    checked_at = models.DateTimeField()
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    signature = models.OneToOneField(
        Signature, on_delete=models.PROTECT, null=True, related_name="entry_check"
    )

    class Meta:
        ordering = ["checked_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(entry__isnull=False, reading__isnull=True)
                | Q(entry__isnull=True, reading__isnull=False),
                name="check_is_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(method="twice", signature__isnull=True) & ~Q(typed_again="")
                | Q(method="second_person", signature__isnull=False, typed_again=""),
                name="check_by_two_typings_or_two_people",
            ),
        ]

    def __str__(self) -> str:
        return str(EntryCheck.Method(self.method).label)


class Hold(models.Model):
    """A batch that stood still: why, from when to when."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="holds")
    reason = models.CharField(max_length=300)
    is_interruption = models.BooleanField(default=False)
    """True when it stopped where it must not stop (power dip, pump trip)."""
    held_at = models.DateTimeField()
    held_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    resumed_at = models.DateTimeField(null=True)
    resumed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["-held_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["batch"], condition=Q(resumed_at__isnull=True), name="one_open_hold"
            )
        ]

    def __str__(self) -> str:
        return self.reason


class Deviation(models.Model):
    """Something was outside its limits, or done otherwise than planned; a supervisor decides, with a signature.

    Decided it is closed for good: what comes up later is a new deviation that ``follows`` it.
    """

    class Severity(models.TextChoices):
        MINOR = "minor", "minor"
        MAJOR = "major", "major"
        CRITICAL = "critical", "critical"

    class Source(models.TextChoices):
        PERSON = "person", "a person saw it"
        LIMIT = "limit", "a value outside its limits"
        READING = "reading", "a reading that points to its instrument"
        INSTRUMENT = "instrument", "an instrument past its calibration"
        TIME = "time", "a step too short or too long"
        NOT_DONE = "not_done", "something asked for was not done"
        SKIPPED = "skipped", "a step skipped"
        ENDED_EARLY = "ended_early", "a step ended before its end"
        INTERRUPTED = "interrupted", "a stop where none is safe"

    class Kind(models.TextChoices):
        ACCEPT = "accept", "accept as it is"
        REWORK = "rework", "rework"
        DOWNGRADE = "downgrade", "downgrade"
        SCRAP = "scrap", "scrap"
        CORRECT = "correct", "correct the record"

    number = models.CharField(max_length=16, unique=True)
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="deviations")
    step = models.ForeignKey(StepRun, on_delete=models.PROTECT, null=True, related_name="deviations")
    severity = models.CharField(max_length=8, choices=Severity.choices)
    source = models.CharField(max_length=12, choices=Source.choices, default=Source.PERSON.value)
    what = models.CharField(max_length=400)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    follows = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="followed_by")
    """The decided deviation that this one takes up again."""
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    """Who looks into it; nobody yet when null."""
    due_on = models.DateField(null=True)
    measure = models.CharField(max_length=400, blank=True)
    """What was done at once."""
    cause_category = models.CharField(max_length=12, blank=True)
    """One of ``causes.CAUSES``."""
    cause = models.CharField(max_length=400, blank=True)
    decision_kind = models.CharField(max_length=10, choices=Kind.choices, blank=True)
    decision = models.CharField(max_length=400, blank=True)
    decided_at = models.DateTimeField(null=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, null=True, related_name="deviation")
    """Null where it was decided before decisions were signed."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-opened_at", "-id"]
        indexes = [models.Index(fields=["decided_at", "severity"], name="deviation_open")]
        constraints = [
            models.CheckConstraint(
                condition=Q(decided_at__isnull=True, decision="")
                | Q(decided_at__isnull=False, decided_by__isnull=False) & ~Q(decision=""),
                name="decided_deviation_has_decision",
            ),
            models.CheckConstraint(
                condition=Q(signature__isnull=True) | ~Q(decision_kind="") & ~Q(cause_category=""),
                name="signed_deviation_has_kind_and_cause",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_open(self) -> bool:
        return self.decided_at is None


class CheckRules(models.Model):
    """How the critical entries of each segregation class are checked. One row; a class it does not name is checked as usual
    (``checking.USUAL_METHODS``)."""

    methods = models.JSONField(default=dict)
    """Method of ``EntryCheck`` by class."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="check_rules_are_one")]

    def __str__(self) -> str:
        return f"version {self.version}"
