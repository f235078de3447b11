"""Tanks that a certificate can be issued for: filled from a released batch, released themselves. Reads only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, QuerySet

from regenplant.batches.models import BatchTank
from regenplant.core.process.lifecycle import BatchState, VisitState

CERTIFIABLE = (VisitState.RELEASED.value, VisitState.SHIPPED.value)
MOST_SHOWN = 80


@dataclass(frozen=True, slots=True)
class Asked:
    """What the page is asked about: a tank, a batch, a customer by its code, or nothing: then the tanks released last."""

    serial: str = ""
    batch_number: str = ""
    customer: str = ""


def certifiable(asked: Asked) -> list[BatchTank]:
    """The tanks to choose from, the newest release first; of one tank its newest round trip only."""
    rows = _rows()
    if asked.serial:
        return list(rows.filter(visit__tank__serial__iexact=asked.serial)[:1])
    if asked.batch_number:
        of_batch = rows.filter(batch__number__iexact=asked.batch_number)
        return list(of_batch.order_by("visit__customer__name", "position")[:MOST_SHOWN])
    if asked.customer:
        rows = rows.filter(visit__customer__code__iexact=asked.customer)
    return list(rows[:MOST_SHOWN])


def customers_to_certify() -> list[tuple[str, str, int]]:
    """Code and name of each customer with tanks to choose from, and how many. One query."""
    found = (
        _rows()
        .order_by("visit__customer__name")
        .values_list("visit__customer__code", "visit__customer__name")
    )
    return list(found.annotate(Count("pk")))


def of_one_customer(links: Sequence[BatchTank]) -> list[BatchTank]:
    """Those of the customer who has the first: what one certificate can name."""
    return [link for link in links if link.visit.customer_id == links[0].visit.customer_id]


def _rows() -> QuerySet[BatchTank]:
    return (
        BatchTank.objects.filter(
            is_filled=True,
            withdrawn_at__isnull=True,
            batch__state=BatchState.RELEASED.value,
            visit__state__in=CERTIFIABLE,
        )
        .select_related("batch", "visit__tank", "visit__customer")
        .order_by("-visit__released_at", "batch__number", "position")
    )
