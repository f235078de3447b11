"""Reading weigh tickets: the one of a delivery that stands, and those whose difference nobody has answered."""

from __future__ import annotations

from django.db.models import F, OuterRef, QuerySet, Subquery

from regenplant.chemicals.models import Unloading, WeighTicket
from regenplant.core.process.weighing import Weighing, weighed


def tickets_of(delivery: Unloading) -> list[WeighTicket]:
    """Every ticket of a delivery, the one that stands first. One query."""
    rows = WeighTicket.objects.filter(unloading=delivery).select_related("weighed_by", "answered_by")
    return list(rows.order_by("-position"))


def weighing_of(ticket: WeighTicket) -> Weighing:
    """A ticket with what it is held against; reads its delivery."""
    delivery = ticket.unloading
    return weighed(
        ticket.net_kg,
        ticket.volume_m3,
        ticket.density_kg_per_m3,
        delivery.grams_100,
        delivery.certificate_strength_frac,
        ticket.tolerance_frac,
    )


def open_weighings() -> QuerySet[WeighTicket]:
    """Tickets that stand, differ by more than the tolerance and are not answered; the oldest first. One query."""
    newest = WeighTicket.objects.filter(unloading=OuterRef("unloading")).order_by("-position")
    rows = WeighTicket.objects.filter(is_beyond=True, answered_at__isnull=True)
    return (
        rows.annotate(stands=Subquery(newest.values("pk")[:1]))
        .filter(pk=F("stands"))
        .select_related("unloading__place", "weighed_by")
        .order_by("weighed_at", "pk")
    )
