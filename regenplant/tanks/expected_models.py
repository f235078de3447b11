"""Tanks that are on their way to the plant: written down before they come, then received or called off."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class ExpectedTank(models.Model):
    """One tank that is announced. It is not here: only plans of the day count with it."""

    class State(models.TextChoices):
        EXPECTED = "expected", "expected"
        CAME = "came", "received"
        CALLED_OFF = "called_off", "called off"

    number = models.CharField(max_length=16, unique=True)
    tank = models.ForeignKey("tanks.Tank", on_delete=models.PROTECT, related_name="expected")
    customer = models.ForeignKey("tanks.Customer", on_delete=models.PROTECT, related_name="expected")
    """From whom it comes."""
    expected_at = models.DateTimeField()
    """When it is at the door."""
    due_at = models.DateTimeField(null=True)
    """When it is promised back; None where nobody promised."""
    state = models.CharField(max_length=10, choices=State.choices, default=State.EXPECTED.value)
    visit = models.OneToOneField(
        "tanks.TankVisit", on_delete=models.PROTECT, null=True, related_name="expected"
    )
    """The round trip that began when it came; None until then."""
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["expected_at", "id"]
        verbose_name = "expected tank"
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["expected", "came", "called_off"]), name="expected_tank_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="came", visit__isnull=False) | ~Q(state="came") & Q(visit__isnull=True),
                name="expected_tank_that_came_has_visit",
            ),
            models.UniqueConstraint(
                fields=["tank"], condition=Q(state="expected"), name="tank_is_expected_once"
            ),
        ]

    def __str__(self) -> str:
        return self.number
