"""What several readers of this app share."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from regenplant.core.process.lifecycle import VisitState
from regenplant.tanks.models import TankVisit

DOCK_STATES = (VisitState.RECEIVED.value, VisitState.HELD.value)
AWAY_STATES = (VisitState.SHIPPED.value, VisitState.REFUSED.value)

# A batch stands above this floor. Its tank list is reached by the reverse name of its own foreign key, so that a tank
# promised to a planned batch does not wait any more; nothing here imports it.
IN_A_BATCH = Q(batch_links__is_current=True)


def whole_visits() -> QuerySet[TankVisit]:
    """Visits with everything a page shows of them: one query."""
    return TankVisit.objects.select_related(
        "tank__size", "tank__dedicated_to", "customer", "site", "resin_type", "received_by"
    )


def place_words(bay: str) -> str:
    """A bay in words, however it was written: "4" and "bay 4" both read "bay 4"."""
    return f"bay {bay}" if bay[:1].isdigit() else bay
