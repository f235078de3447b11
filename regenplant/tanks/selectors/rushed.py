"""Customers whose tanks count as rush now."""

from __future__ import annotations

from regenplant.tanks.models import CustomerRush


def rushed_customers() -> dict[int, CustomerRush]:
    """What holds, by key of the customer. One query."""
    rows = CustomerRush.objects.filter(ended_at__isnull=True).select_related("customer", "made_by")
    return {row.customer_id: row for row in rows}


def rush_of(customer_id: int) -> CustomerRush | None:
    """What holds for one customer; None where its tanks count as all others. One query."""
    rows = CustomerRush.objects.filter(ended_at__isnull=True, customer_id=customer_id)
    return rows.select_related("customer", "made_by").first()
