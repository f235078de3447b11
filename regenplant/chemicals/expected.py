"""Reading expected deliveries: what is on its way, what is overdue, and which of them the papers of a delivery mean."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db.models import QuerySet

from regenplant.chemicals.models import ExpectedDelivery


def expected() -> QuerySet[ExpectedDelivery]:
    """What is on its way, soonest first."""
    rows = ExpectedDelivery.objects.filter(state=ExpectedDelivery.State.EXPECTED)
    return rows.select_related("place", "entered_by").order_by("due_on", "id")


def overdue(today: date) -> list[ExpectedDelivery]:
    """What should have come before today and did not, the oldest first. One query."""
    return list(expected().filter(due_on__lt=today))


def coming_days(rows: Iterable[ExpectedDelivery], today: date) -> list[tuple[int, float]]:
    """(days from today, kg as 100 %) of what is expected today or later; of what is overdue nobody knows the day, so it counts nowhere."""
    return [((row.due_on - today).days, row.grams_100 / 1000.0) for row in rows if row.due_on >= today]


def meant_by(place_id: int, order_line: str) -> ExpectedDelivery | None:
    """The expected delivery to this tank whose order the papers name; None for none. One query."""
    wanted = _plain(order_line)
    return next((row for row in expected().filter(place_id=place_id) if _plain(row.order_number) == wanted), None)  # fmt: skip


def _plain(text: str) -> str:
    return "".join(text.upper().split())
