"""The plant's profile and its calendar day; beneath every other reading of the set-up."""

from __future__ import annotations

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from regenplant.plant.models import PlantProfile


def profile() -> PlantProfile:
    """The plant's profile; before set-up, an unsaved one with the built-in defaults."""
    found = PlantProfile.objects.filter(pk=1).first()
    return found or PlantProfile(pk=1, name="Unnamed plant")


def plant_day(moment: datetime) -> date:
    """The calendar day at the plant: due dates are days there, not days in Greenwich."""
    return moment.astimezone(ZoneInfo(profile().time_zone)).date()


def start_of_day(day: date) -> datetime:
    """The moment at which this day begins at the plant."""
    return datetime.combine(day, time(), ZoneInfo(profile().time_zone))
