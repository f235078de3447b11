"""Tanks before they wait: on their way, or at the door and not judged yet."""

from __future__ import annotations

from django.db.models import QuerySet

from regenplant.core.process.lifecycle import VisitState
from regenplant.tanks.models import ExpectedTank, TankVisit


def expected_tanks() -> QuerySet[ExpectedTank]:
    """All that are on their way, overdue ones too, soonest first. One query."""
    rows = ExpectedTank.objects.filter(state=ExpectedTank.State.EXPECTED)
    return rows.select_related(
        "tank__resin_type__cation_type",
        "tank__resin_type__anion_type",
        "tank__resin_lot",
        "tank__dedicated_to",
        "customer",
        "entered_by",
    ).order_by("expected_at", "id")


def visits_at_the_door() -> QuerySet[TankVisit]:
    """Tanks that were received and not judged yet, oldest first; held ones are no such. One query."""
    rows = TankVisit.objects.filter(state=VisitState.RECEIVED.value)
    return rows.select_related(
        "tank__resin_lot",
        "tank__dedicated_to",
        "resin_type__cation_type",
        "resin_type__anion_type",
        "customer",
    ).order_by("received_at", "id")
