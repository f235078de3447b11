"""Made plans of the day, what people decided about them, which one was accepted, and the batches that it planned.

A made plan is a draft: it may be made again at any time and is no record. Its acceptance is one, with the whole problem and plan as
text; and so are the planned batches and the plant's figures for planning.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.plant.models import Vessel
from regenplant.recipes.models import RecipeVersion
from regenplant.resins.models import CLASSES, ResinType
from regenplant.tanks.models import ExpectedTank, TankVisit


class PlanningSettings(models.Model):
    """What the plant reckons with when it plans (``figures.PlanningFigures``). Append-only; the newest is in force."""

    number = models.PositiveIntegerField(unique=True)
    content = models.JSONField()
    """As ``figures_kept.figures_to`` writes it."""
    reason = models.CharField(max_length=300)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-number"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="planning_settings_have_reason")]

    def __str__(self) -> str:
        return f"Planning figures {self.number}"


class DayPlan(models.Model):
    """One plan, from the search on. Written by its search while it runs, by the acts on it afterwards."""

    class State(models.TextChoices):
        RUNNING = "running", "being searched"
        STOPPED = "stopped", "stopped"
        DONE = "done", "found"
        FAILED = "failed", "failed"
        ACCEPTED = "accepted", "accepted"
        SET_ASIDE = "set_aside", "set aside"

    number = models.CharField(max_length=16, unique=True)
    name = models.CharField(max_length=60, blank=True)
    """What a what-if copy is about; "" for others."""
    state = models.CharField(max_length=10, choices=State.choices, default=State.RUNNING.value)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    from_at = models.DateTimeField()
    """The moment whose plant was planned, and from which on batches begin."""
    parent = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, related_name="children")
    """The plan that it was copied from or that it replaces."""
    problem = models.JSONField(null=True)
    """As ``kept.problem_to`` writes it, before anybody decided anything; null until the plant was read."""
    plan = models.JSONField(null=True)
    """The best so far; null until there is one."""
    notes = models.JSONField(default=dict)
    """Clock, names, what was left out and what was assumed (``kept.notes_to``)."""
    seed = models.PositiveIntegerField(default=1)
    seconds = models.PositiveIntegerField()
    """How long it may search."""
    progress_frac = models.FloatField(default=0.0)
    steps = models.PositiveBigIntegerField(default=0)
    score = models.FloatField(null=True)
    """Of the best so far, as the checker counts it with what was decided."""
    bound = models.FloatField(null=True)
    """No plan of the problem has a lower score; null until it is known, and after a decision changed the problem."""
    told_at = models.DateTimeField(null=True)
    """When its search wrote last."""
    process = models.PositiveIntegerField(null=True)
    """Of the operating system, while it searches."""
    host = models.CharField(max_length=80, blank=True)
    is_stop_wanted = models.BooleanField(default=False)
    failure = models.CharField(max_length=600, blank=True)
    ended_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)
    """Counts acts of people on it, not what its search writes."""

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["state"], condition=Q(state="running"), name="one_plan_is_searched_at_a_time"
            ),
            models.CheckConstraint(
                condition=~Q(state="failed") | ~Q(failure=""), name="failed_plan_says_why"
            ),
            models.CheckConstraint(
                condition=Q(seconds__gte=1, seconds__lte=300), name="plan_is_searched_up_to_five_minutes"
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def gap_frac(self) -> float | None:
        """By which share the plan may at most be dearer than the best there is; None where the bound is not known."""
        if self.score is None or self.bound is None or self.score <= 0.0:
            return None
        return max(0.0, 1.0 - self.bound / self.score)


class Decision(models.Model):
    """What somebody decided about a draft, with the plan as it was before, so that it can be undone."""

    class Kind(models.TextChoices):
        PIN = "pin", "keep together, in a vessel or at a time"
        SPLIT = "split", "split"
        JOIN = "join", "join"
        LEAVE_OUT = "leave_out", "leave a tank out"
        RUSH = "rush", "rush"

    day_plan = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="decisions")
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    content = models.JSONField()
    """``pins``: lists of tanks with vessel and start; ``left_out`` and ``rush``: tanks."""
    sentence = models.CharField(max_length=400)
    costs = models.JSONField(default=dict)
    """What it changed (``hands_on.Difference``)."""
    plan_before = models.JSONField()
    score_before = models.FloatField(null=True)
    bound_before = models.FloatField(null=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["day_plan", "position"], name="decisions_stand_in_order")
        ]

    def __str__(self) -> str:
        return self.sentence


class PlanAcceptance(models.Model):
    """A plan became the plan of the plant. Written once; the newest is the one that holds."""

    number = models.CharField(max_length=16, unique=True)
    """Of the made plan."""
    content = models.TextField()
    """Canonical text of problem, plan and notes."""
    digest = models.CharField(max_length=64)
    score = models.FloatField()
    bound = models.FloatField(null=True)
    accepted_at = models.DateTimeField()
    accepted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-accepted_at", "-id"]
        constraints = [models.CheckConstraint(condition=~Q(content=""), name="accepted_plan_says_something")]

    def __str__(self) -> str:
        return self.number


class PlannedBatch(models.Model):
    """Tanks that an accepted plan puts together, before anybody started them. Planned exactly, and given its number, at its start."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        STARTED = "started", "started"
        CANCELLED = "cancelled", "cancelled"
        REPLACED = "replaced", "replaced"

    code = models.CharField(max_length=16, unique=True)
    """As it is scanned from the wall."""
    acceptance = models.ForeignKey(PlanAcceptance, on_delete=models.PROTECT, related_name="batches")
    plan_batch = models.CharField(max_length=12)
    """Its name in the plan."""
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING.value)
    resin_type = models.ForeignKey(ResinType, on_delete=models.PROTECT, related_name="+")
    segregation_class = models.CharField(max_length=1, choices=CLASSES)
    vessel = models.ForeignKey(Vessel, on_delete=models.PROTECT, related_name="planned_batches")
    anion_vessel = models.ForeignKey(Vessel, on_delete=models.PROTECT, null=True, related_name="+")
    recipe_version = models.ForeignKey(RecipeVersion, on_delete=models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    ready_at = models.DateTimeField()
    """When its tanks are filled and released, as planned."""
    batch_number = models.CharField(max_length=16, blank=True, default="")
    """Of the batch that it became; a number, because it outlives a batch that is purged."""
    reason = models.CharField(max_length=300, blank=True)
    """Why it was cancelled."""
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["starts_at", "code"]
        indexes = [models.Index(fields=["state", "starts_at"], name="planned_batch_state")]
        constraints = [
            models.UniqueConstraint(fields=["acceptance", "plan_batch"], name="planned_once_in_a_plan"),
            models.CheckConstraint(
                condition=~Q(state="cancelled") | ~Q(reason=""), name="cancelled_planned_batch_has_reason"
            ),
            models.CheckConstraint(
                condition=(Q(state="started") & ~Q(batch_number=""))
                | (~Q(state="started") & Q(batch_number="")),
                name="started_planned_batch_has_number",
            ),
            models.UniqueConstraint(
                fields=["batch_number"], condition=~Q(batch_number=""), name="batch_of_one_planned_batch"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class PlannedTank(models.Model):
    """A tank of a planned batch."""

    planned = models.ForeignKey(PlannedBatch, on_delete=models.PROTECT, related_name="tanks")
    visit = models.ForeignKey(TankVisit, on_delete=models.PROTECT, related_name="planned_links")
    position = models.PositiveSmallIntegerField()
    is_current = models.BooleanField(default=True)
    """False once the planned batch was started, cancelled or replaced."""

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["planned", "visit"], name="tank_once_in_planned_batch"),
            models.UniqueConstraint(
                fields=["visit"], condition=Q(is_current=True), name="tank_in_one_planned_batch"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}"


class PlannedExpected(models.Model):
    """A tank of a planned batch that was on its way when the plan was accepted. Once it came, ``expected.visit`` says as what."""

    planned = models.ForeignKey(PlannedBatch, on_delete=models.PROTECT, related_name="awaited")
    expected = models.ForeignKey(ExpectedTank, on_delete=models.PROTECT, related_name="planned_links")
    position = models.PositiveSmallIntegerField()
    is_current = models.BooleanField(default=True)
    """False once the planned batch was started, cancelled or replaced."""

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["planned", "expected"], name="expected_tank_once_in_planned_batch"
            ),
            models.UniqueConstraint(
                fields=["expected"],
                condition=Q(is_current=True),
                name="expected_tank_in_one_planned_batch",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}"


class LateTankAnswer(models.Model):
    """What was found when somebody asked what would bring a late tank of a plan on time; the newest for each tank."""

    day_plan = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="answers")
    tank = models.CharField(max_length=40)
    """Its serial, as it names the tank in the problem."""
    plan_version = models.PositiveIntegerField()
    """Of the plan when it was asked about; a later one was changed by hand since."""
    content = models.JSONField()
    """As ``answers.answer_to`` writes it."""
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-asked_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["day_plan", "tank"], name="one_answer_for_a_late_tank")
        ]

    def __str__(self) -> str:
        return self.tank
