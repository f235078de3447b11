"""Spills and reporting thresholds: what got out, how much, what it was held against, and the plant's own figures."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.core.process.thresholds import Counted, ThresholdKind
from regenplant.core.process.vocabulary import Chemical

CHEMICALS = [(chemical.value, chemical.label) for chemical in Chemical]


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
    place = models.ForeignKey("chemicals.Place", on_delete=models.PROTECT, null=True, related_name="spills")
    """The tank it came out of; None where it came from a hose, a line or a drum that the ledger does not hold."""
    lot = models.ForeignKey(
        "chemicals.ChemicalLot", on_delete=models.PROTECT, null=True, related_name="spills"
    )
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
    movement = models.OneToOneField(
        "chemicals.Movement", on_delete=models.PROTECT, null=True, related_name="+"
    )
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
    def kg_100(self) -> float:
        return self.grams_100 / 1000.0

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
