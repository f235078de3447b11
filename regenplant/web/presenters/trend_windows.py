"""The time windows the trends are looked at through: whole days at the plant."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from enum import StrEnum

FIRST_DAY = date(2000, 1, 1)


class WindowName(StrEnum):
    QUARTER = "90_days"
    YEAR = "12_months"
    ALL = "all"
    DATES = "dates"

    @property
    def label(self) -> str:
        return {"90_days": "90 days", "12_months": "12 months", "all": "All", "dates": "Dates"}[self]


@dataclass(frozen=True, slots=True)
class Window:
    """Whole days at the plant, both counted in."""

    name: WindowName
    first: date
    last: date

    @property
    def words(self) -> str:
        if self.name is WindowName.DATES:
            return f"from {self.first.isoformat()} to {self.last.isoformat()}"
        return {"90_days": "in the last 90 days", "12_months": "in the last 12 months", "all": "ever"}[
            self.name
        ]

    def bounds(self, zone: tzinfo) -> tuple[datetime, datetime]:
        """From the first midnight at the plant up to, not including, the midnight after the last day."""
        return (
            datetime.combine(self.first, time(), zone),
            datetime.combine(self.last + timedelta(days=1), time(), zone),
        )


def window_named(name: WindowName, today: date) -> Window:
    """A window that ends today."""
    days = {WindowName.QUARTER: 89, WindowName.YEAR: 364}.get(name)
    return Window(name, FIRST_DAY if days is None else today - timedelta(days=days), today)
