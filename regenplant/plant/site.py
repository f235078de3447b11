"""Whether the site may take metal-bearing resin in: by the newest determination on record (EV-03)."""

from __future__ import annotations

from datetime import datetime

from regenplant.plant.days import plant_day
from regenplant.plant.site_models import SiteDetermination


def determination() -> SiteDetermination | None:
    """The newest; None where none is on record."""
    return SiteDetermination.objects.select_related("recorded_by").order_by("-number").first()


def determination_stop(now: datetime) -> str:
    """Why metal-bearing resin is not taken in now, as a sentence; "" where it is. One query."""
    found = determination()
    if found is None:
        return "no determination of the site is on record that would let it in."
    if not found.accepts_metal:
        return f"the determination of {found.decided_on} ({found.document}) does not let it in."
    if found.valid_until is not None and found.valid_until < plant_day(now):
        return f"the determination of {found.decided_on} ({found.document}) held until {found.valid_until}."
    return ""
