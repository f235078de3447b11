"""The sewer at a change of shift: discharges that are under way, and excursions that nobody closed yet."""

from __future__ import annotations

from datetime import datetime

from regenplant.plant.handed_on import LiveLine, LiveSection
from regenplant.waste.discharge_models import Discharge
from regenplant.waste.discharges import UNDER_WAY, discharges
from regenplant.waste.excursion_models import Excursion


def sewer_section(now: datetime) -> LiveSection:
    """One line for each; an open outlet is a hazard that somebody stays with. Two queries."""
    under_way = [
        LiveLine(
            f"The outlet of {row.tank.code} is open."
            if row.state == Discharge.State.RELEASED
            else f"{row.tank.code} is being proven for the sewer.",
            f"Discharge {row.number}, {row.get_state_display()}; somebody stays with it until the outlet is shut."
            if row.state == Discharge.State.RELEASED
            else f"Discharge {row.number}: mixed and read, not released.",
            is_hazard=row.state == Discharge.State.RELEASED,
            needs_person=row.state == Discharge.State.RELEASED,
            kind="discharge",
            key=row.number,
        )
        for row in discharges().filter(state__in=UNDER_WAY)
    ]
    still_open = [
        LiveLine(
            f"Excursion {row.number} is open.", row.words, needs_person=True, kind="excursion", key=row.number
        )
        for row in Excursion.objects.filter(closed_at__isnull=True)
    ]
    return LiveSection(
        "sewer", "Sewer", (*under_way, *still_open), "No discharge is under way, and no excursion is open."
    )
