"""The segregation class of what an act on a planned batch is about (``audit.classes``)."""

from __future__ import annotations

from regenplant.audit.classes import Finder
from regenplant.planning.models import PlannedBatch

FINDERS: dict[str, Finder] = {
    "planned_code": lambda code: PlannedBatch.objects.filter(code=code).values_list(
        "segregation_class", flat=True
    ),
}
