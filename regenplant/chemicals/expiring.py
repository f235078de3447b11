"""What runs out by its day: strength checks, suppliers' dates, and counts; soonest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import floor

from regenplant.chemicals import counts
from regenplant.chemicals.models import ChemicalLot, Place
from regenplant.chemicals.selectors import check_again_on, days_to, lots, strengths_standing
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.days import plant_day


@dataclass(frozen=True, slots=True)
class Expiry:
    """One thing with its last good day. ``day`` None: it never was, or nothing tells it; then it is overdue."""

    what: str
    of: str
    """Code of the lot or tank."""
    is_tank: bool
    chemical: str
    day: date | None
    days_left: float | None
    is_soon: bool
    consequence: str

    @property
    def is_overdue(self) -> bool:
        return self.day is None or (self.days_left is not None and self.days_left < 0)


def expiring(now: datetime) -> list[Expiry]:
    """Strength checks of what is drawn, suppliers' dates of lots that are not finished, and counts of tanks; soonest first."""
    soon = counts.stock_figures(now).due_soon_days
    found = [*_checks(now, soon), *_dates(now, soon), *_counts(now, soon)]
    return sorted(found, key=lambda one: (one.day or date.min, one.what, one.of))


def _line(
    what: str,
    of: str,
    chemical: str,
    day: date | None,
    now: datetime,
    soon: float,
    then: str,
    *,
    is_tank: bool = False,
) -> Expiry:
    left = days_to(day, now)
    return Expiry(what, of, is_tank, chemical, day, left, left is not None and 0 <= left <= soon, then)


def _checks(now: datetime, soon: float) -> list[Expiry]:
    found = []
    for chemical, (lot, standing) in strengths_standing().items():
        name = Chemical(chemical).label.lower()
        then = f"No batch that needs {name} starts after it."
        if standing.unsampled:
            then = f"{', '.join(standing.unsampled)} came on top without a sample: no batch that needs {name} starts before a check."
        day = None if standing.unsampled else check_again_on(standing.check)
        found.append(_line("Strength check", lot.code, chemical, day, now, soon, then))
    return found


def _dates(now: datetime, soon: float) -> list[Expiry]:
    open_lots = lots().filter(is_finished=False, expires_on__isnull=False)
    return [
        _line("Supplier’s date", lot.code, lot.chemical, lot.expires_on, now, soon, _after_date(lot))
        for lot in open_lots
    ]


def _after_date(lot: ChemicalLot) -> str:
    return (
        "No batch starts with it after that day." if lot.is_in_use else "It is not put in use after that day."
    )


def _counts(now: datetime, soon: float) -> list[Expiry]:
    newest = counts.newest_counts()
    limit = floor(counts.stock_figures(now).count_due_days)
    found = []
    for place in Place.objects.filter(kind=Place.Kind.BULK_TANK).order_by("code"):
        count = newest.get(place.pk)
        day = plant_day(count.counted_at) + timedelta(days=limit) if count is not None else None
        then = "Until it is counted nobody knows whether books and tank agree."
        found.append(
            _line(
                "Count of the tank",
                place.code,
                place.chemical,
                day,
                now,
                min(soon, limit / 2),
                then,
                is_tank=True,
            )
        )
    return found
