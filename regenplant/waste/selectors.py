"""What stands in the waste tanks now."""

from __future__ import annotations

from django.db.models import QuerySet

from regenplant.plant.models import WasteTank
from regenplant.waste.models import WasteMovement


def waste_tanks() -> QuerySet[WasteTank]:
    """The waste tanks, by code."""
    return WasteTank.objects.order_by("code")


def last_movement(tank: WasteTank) -> WasteMovement | None:
    """The newest movement of a tank; None before the first."""
    return WasteMovement.objects.filter(tank=tank).order_by("-number").first()
