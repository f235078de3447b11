"""Deliveries that were ordered and are expected: entered, changed, then received or called off."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class ExpectedDelivery(models.Model):
    """One order on its way to one tank. It is no stock: only the forecast counts with it."""

    class State(models.TextChoices):
        EXPECTED = "expected", "expected"
        RECEIVED = "received", "received"
        CALLED_OFF = "called_off", "called off"

    number = models.CharField(max_length=16, unique=True)
    place = models.ForeignKey("chemicals.Place", on_delete=models.PROTECT, related_name="expected")
    order_number = models.CharField(max_length=60)
    """Order and line, as it will stand on the papers."""
    supplier = models.CharField(max_length=80, blank=True)
    grams_100 = models.BigIntegerField()
    due_on = models.DateField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.EXPECTED.value)
    lot = models.OneToOneField(
        "chemicals.ChemicalLot", on_delete=models.PROTECT, null=True, related_name="expected"
    )
    """What came of it; None until then."""
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["due_on", "id"]
        verbose_name = "expected delivery"
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["expected", "received", "called_off"]),
                name="expected_delivery_state_known",
            ),
            models.CheckConstraint(condition=Q(grams_100__gt=0), name="expected_delivery_above_zero"),
            models.CheckConstraint(
                condition=Q(state="received", lot__isnull=False) | ~Q(state="received") & Q(lot__isnull=True),
                name="received_delivery_has_lot",
            ),
            models.UniqueConstraint(
                fields=["place", "order_number"], condition=Q(state="expected"), name="expected_once"
            ),
        ]

    def __str__(self) -> str:
        return self.number
