"""A plan of the plant of a test, searched at once in this process."""

from __future__ import annotations

from django.utils import timezone

from regenplant.planning import services
from regenplant.planning.models import DayPlan
from regenplant.planning.search import search
from tests.factories import SmallPlant


def searched_plan(plant: SmallPlant, *, steps: int = 4) -> DayPlan:
    """Asked for by the planner now; so few steps find a plan, not a good one."""
    by = plant.by("planner", at=timezone.now())
    row = search(services.begin_plan(by=by, seconds=5).result.number, steps=steps)
    assert row is not None
    return row
