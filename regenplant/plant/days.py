"""The plant's profile and its calendar day; beneath every other reading of the set-up."""

from __future__ import annotations

from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Calendar:
    """The plant's calendar with its zone read once, for many moments."""

    zone: ZoneInfo

    def day(self, moment: datetime) -> date:
        """As ``plant_day``."""
        return moment.astimezone(self.zone).date()

    def start(self, day: date) -> datetime:
        """As ``start_of_day``."""
        return datetime.combine(day, time(), self.zone)


def calendar() -> Calendar:
    """One query."""
    return Calendar(ZoneInfo(profile().time_zone))


def start_of_day(day: date) -> datetime:
    """The moment at which this day begins at the plant."""
    return datetime.combine(day, time(), ZoneInfo(profile().time_zone))
