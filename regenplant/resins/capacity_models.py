"""The capacity factor of a lot as a person set it: plans count with it from then on."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.people.models import Signature
from regenplant.resins.models import ResinLot


class LotCapacity(models.Model):
    """One factor that a person set for a lot, with what was proposed then and why it was taken or not. Append-only.

    ``number`` counts within the lot; the highest holds. A lot without any holds the factor it was made with. A factor taken over
    from a proposal keeps its band; ``basis`` says in words what it rested on.
    """

    lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="capacities")
    number = models.PositiveSmallIntegerField()
    factor = models.FloatField()
    """Share of the operating capacity of the resin type, new."""
    proposed = models.FloatField()
    """What was worked out from the record at that moment."""
    proposed_low = models.FloatField()
    proposed_high = models.FloatField()
    """Its band, 5 and 95 %."""
    basis = models.CharField(max_length=600)
    """What the proposal rested on, as it was shown."""
    reason = models.CharField(max_length=300)
    signature = models.OneToOneField(
        Signature, on_delete=models.PROTECT, null=True, related_name="lot_capacity"
    )
    """Over everything above; null where an older program set it."""
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["lot", "number"]
        constraints = [
            models.UniqueConstraint(fields=["lot", "number"], name="lot_capacity_once"),
            models.CheckConstraint(
                condition=Q(factor__gte=0.05, factor__lte=1.2), name="lot_capacity_factor"
            ),
            models.CheckConstraint(condition=~Q(reason="") & ~Q(basis=""), name="lot_capacity_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id}/{self.number}"
