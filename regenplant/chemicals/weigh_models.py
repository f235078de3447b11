"""Weigh tickets of deliveries, as they were read. Append-only but for their answer: a wrong one is followed by the next."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class WeighTicket(models.Model):
    """The net mass of one delivery by a weighbridge, and the volume that was unloaded. It moves nothing in the ledger."""

    unloading = models.ForeignKey(
        "chemicals.Unloading", on_delete=models.PROTECT, related_name="weigh_tickets"
    )
    position = models.PositiveSmallIntegerField()
    """1 for the first; a later one takes the place of those before it."""
    paper_number = models.CharField(max_length=40)
    """As it stands on the ticket."""
    net_kg = models.FloatField()
    """Net mass of product [kg]."""
    net_as_typed = models.CharField(max_length=60)
    volume_m3 = models.FloatField()
    """Unloaded, by the rise of the level or a meter [m^3]."""
    volume_as_typed = models.CharField(max_length=60)
    density_kg_per_m3 = models.FloatField()
    """Of the sample of this delivery [kg/m^3]."""
    tolerance_frac = models.FloatField()
    """Of the tank, on that day."""
    is_beyond = models.BooleanField()
    """Whether ticket, volume or papers differ by more than that (``core.process.weighing``)."""
    why_anew = models.CharField(max_length=300, blank=True)
    weighed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    weighed_at = models.DateTimeField()
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    """Another person than who wrote it."""
    answered_at = models.DateTimeField(null=True)
    answer = models.CharField(max_length=300, blank=True)
    """Where the difference comes from, and what was done."""

    class Meta:
        ordering = ["unloading", "-position"]
        verbose_name = "weigh ticket"
        constraints = [
            models.UniqueConstraint(fields=["unloading", "position"], name="weigh_ticket_once"),
            models.CheckConstraint(
                condition=Q(net_kg__gt=0, volume_m3__gt=0, density_kg_per_m3__gt=0, tolerance_frac__gt=0),
                name="weigh_ticket_above_zero",
            ),
            models.CheckConstraint(condition=Q(position=1) | ~Q(why_anew=""), name="later_weigh_ticket_has_reason"),
            models.CheckConstraint(
                condition=Q(answered_by__isnull=True, answered_at__isnull=True, answer="")
                | Q(answered_by__isnull=False, answered_at__isnull=False, is_beyond=True) & ~Q(answer=""),
                name="weigh_ticket_answer_whole",
            ),
            models.CheckConstraint(condition=~Q(answered_by=F("weighed_by")), name="weigh_ticket_answered_by_another"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.paper_number
