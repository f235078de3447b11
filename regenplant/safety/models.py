"""The safety desk: near misses with their answer, refused tanks that left, and the tests of showers and eyewashes."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.tanks.models import TankVisit


class NearMiss(models.Model):
    """Something that went wrong and hurt nobody, as it was told. The report is frozen; it is answered once and closed once."""

    class Kind(models.TextChoices):
        CONNECTION = "connection", "wrong connection or wrong chemical"
        CONTACT = "contact", "chemical on somebody, or nearly"
        RELEASE = "release", "leak, splash or spill"
        ENERGY = "energy", "pressure, heat, gas or electricity"
        HANDLING = "handling", "lifting, driving, falling, slipping"
        GUARD = "guard", "lock, guard or alarm that was missing or passed by"
        OTHER = "other", "something else"

    number = models.CharField(max_length=16, unique=True)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    what = models.CharField(max_length=600)
    spot = models.CharField(max_length=80)
    about = models.CharField(max_length=40, blank=True)
    """The code of what it concerns: a tank, vessel, place, batch; "" for nothing with a code."""
    done_at_once = models.CharField(max_length=400, blank=True)
    told_by = models.CharField(max_length=80, blank=True)
    """Who saw it, in words, where that is not who writes it: a driver, a visitor. May stay empty."""
    happened_at = models.DateTimeField()
    reported_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    answered_at = models.DateTimeField(null=True)
    cause = models.CharField(max_length=600, blank=True)
    """What the answer found as the cause."""
    follow_up = models.CharField(max_length=400, blank=True)
    """What is to be done so that it does not come again; "" when nothing is left to do."""
    due_on = models.DateField(null=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    closing_words = models.CharField(max_length=400, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-reported_at", "-id"]
        verbose_name = "near miss"
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    answered_by__isnull=True, answered_at__isnull=True, cause="", follow_up="", due_on__isnull=True
                )
                | Q(answered_by__isnull=False, answered_at__isnull=False) & ~Q(cause=""),
                name="near_miss_answer_whole",
            ),
            models.CheckConstraint(condition=~Q(answered_by=F("reported_by")), name="near_miss_answered_by_another"),
            models.CheckConstraint(
                condition=Q(follow_up="", due_on__isnull=True) | ~Q(follow_up="") & Q(due_on__isnull=False),
                name="near_miss_follow_up_has_day",
            ),
            models.CheckConstraint(
                condition=Q(closed_by__isnull=True, closed_at__isnull=True, closing_words="")
                | Q(closed_by__isnull=False, closed_at__isnull=False) & ~Q(closing_words="") & ~Q(follow_up=""),
                name="near_miss_closed_after_follow_up",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.number

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to answer it, or to finish what follows from it."""
        return self.answered_at is None or bool(self.follow_up and self.closed_at is None)


class RefusedAway(models.Model):
    """How a refused tank left the plant. Append-only; until it stands here, the tank stands in quarantine."""

    visit = models.OneToOneField(TankVisit, on_delete=models.PROTECT, related_name="refused_away")
    went_to = models.CharField(max_length=160)
    """To whom: back to the customer, or a treater permitted for it."""
    paper_number = models.CharField(max_length=60, blank=True)
    """Of the paper that went with it; "" where none did."""
    left_on = models.DateField()
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["-left_on", "-id"]
        verbose_name = "leaving of a refused tank"
        constraints = [models.CheckConstraint(condition=~Q(went_to=""), name="refused_went_somewhere")]

    def __str__(self) -> str:
        return f"{self.visit_id} {self.left_on}"


class WashStation(models.Model):
    """One emergency shower or eyewash."""

    class Kind(models.TextChoices):
        EYEWASH = "eyewash", "eyewash"
        SHOWER = "shower", "shower"
        BOTH = "both", "shower with eyewash"

    code = models.CharField(max_length=20, unique=True)
    spot = models.CharField(max_length=80)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    is_in_use = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["code"]
        verbose_name = "wash station"
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["eyewash", "shower", "both"]), name="wash_station_kind_known"
            )
        ]

    def __str__(self) -> str:
        return self.code


class WashTest(models.Model):
    """One test of one station. Append-only. Weekly ones come in rounds over all stations."""

    class Kind(models.TextChoices):
        WEEKLY = "weekly", "run, as in every round"
        YEARLY = "yearly", "whole inspection"

    station = models.ForeignKey(WashStation, on_delete=models.PROTECT, related_name="tests")
    kind = models.CharField(max_length=6, choices=Kind.choices)
    tested_on = models.DateField()
    is_working = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)
    tested_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    tested_at = models.DateTimeField()

    class Meta:
        ordering = ["-tested_on", "-id"]
        verbose_name = "test of a wash station"
        indexes = [models.Index(fields=["station", "kind", "tested_on"], name="wash_test_newest")]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=["weekly", "yearly"]), name="wash_test_kind_known"),
            models.CheckConstraint(condition=Q(is_working=True) | ~Q(note=""), name="failed_wash_test_has_note"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.station_id} {self.tested_on}"
