"""Customers whose tanks always count as rush, by contract: who said so, when and why, and who ended it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class CustomerRush(models.Model):
    """From ``made_at`` on, every tank of the customer weighs as rush in plans of the day. Ended, never changed."""

    customer = models.ForeignKey("tanks.Customer", on_delete=models.PROTECT, related_name="rushes")
    reason = models.CharField(max_length=300)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True)
    ended_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["customer", "id"]
        verbose_name = "customer rush"
        constraints = [
            models.UniqueConstraint(
                fields=["customer"], condition=Q(ended_at__isnull=True), name="one_rush_per_customer"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | ~Q(ended_reason=""), name="ended_rush_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pk}"
