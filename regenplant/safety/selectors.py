"""Reading the safety desk: near misses, quarantine, and when showers and eyewashes are due."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from regenplant.core.process.lifecycle import VisitState
from regenplant.plant.models import PlantProfile
from regenplant.safety.models import NearMiss, RefusedAway, WashStation, WashTest
from regenplant.tanks.models import TankVisit

YEARLY_DAYS = 365
"""Between whole inspections of a station: every year, common practice after ANSI/ISEA Z358.1 (summary read)."""


# --- near misses ------------------------------------------------------------------------------------------------------
def near_misses() -> QuerySet[NearMiss]:
    """Near misses, newest first, with their people."""
    return NearMiss.objects.select_related("reported_by", "answered_by", "closed_by")


def open_near_misses() -> QuerySet[NearMiss]:
    """Near misses that wait for an answer or for their follow-up, oldest first."""
    waits = Q(answered_at__isnull=True) | ~Q(follow_up="") & Q(closed_at__isnull=True)
    return near_misses().filter(waits).order_by("reported_at", "id")


def near_miss_numbered(number: str) -> NearMiss | None:
    """One near miss by its number in any spelling; None if there is none."""
    return near_misses().filter(number__iexact=number.strip()).first()


# --- quarantine -------------------------------------------------------------------------------------------------------
def quarantine() -> QuerySet[TankVisit]:
    """Tanks that stand here and go nowhere: held, set aside after filling, refused and not yet gone. Refused first."""
    gone = RefusedAway.objects.filter(visit=OuterRef("pk"))
    stands = Q(state__in=[VisitState.HELD.value, VisitState.WITHDRAWN.value]) | Q(
        state=VisitState.REFUSED.value
    ) & ~Exists(gone)
    rows = TankVisit.objects.filter(stands).select_related("tank__size", "customer", "site", "resin_type")
    return rows.order_by("state", "received_at", "id")


def refused_visits() -> QuerySet[TankVisit]:
    """Every refused tank, newest first, with how it left if it did."""
    rows = TankVisit.objects.filter(state=VisitState.REFUSED.value)
    return rows.select_related(
        "tank__size", "customer", "site", "resin_type", "refused_away__written_by"
    ).order_by("-received_at", "-id")


# --- showers and eyewashes --------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class StationStanding:
    """One station with its newest tests and when the next ones are due."""

    station: WashStation
    weekly: WashTest | None
    yearly: WashTest | None
    weekly_due: date | None
    """None when it was never tested, or the last test failed: due now."""
    yearly_due: date | None
    today: date

    @property
    def is_failing(self) -> bool:
        return any(test is not None and not test.is_working for test in (self.weekly, self.yearly))

    @property
    def is_weekly_overdue(self) -> bool:
        return self.weekly_due is None or self.weekly_due < self.today

    @property
    def is_yearly_overdue(self) -> bool:
        return self.yearly_due is None or self.yearly_due < self.today

    @property
    def calls(self) -> bool:
        """Whether somebody has to do something about it today."""
        return self.is_failing or self.is_weekly_overdue or self.is_yearly_overdue


def stations() -> QuerySet[WashStation]:
    """Every station, those in use first."""
    return WashStation.objects.order_by("-is_in_use", "code")


def station_standings(plant: PlantProfile, today: date) -> list[StationStanding]:
    """Each station in use with its newest tests. Two queries."""
    rows = list(WashStation.objects.filter(is_in_use=True))
    newest: dict[tuple[int, str], WashTest] = {}
    tests = WashTest.objects.filter(station__in=rows).order_by("tested_on", "id")
    for test in tests.select_related("tested_by"):
        newest[test.station_id, test.kind] = test
    found = []
    for row in rows:
        weekly, yearly = (
            newest.get((row.pk, WashTest.Kind.WEEKLY)),
            newest.get((row.pk, WashTest.Kind.YEARLY)),
        )
        found.append(
            StationStanding(
                row,
                weekly,
                yearly,
                _due(weekly, plant.eyewash_test_interval_days),
                _due(yearly, YEARLY_DAYS),
                today,
            )
        )
    return found


def _due(test: WashTest | None, days: int) -> date | None:
    return test.tested_on + timedelta(days=days) if test is not None and test.is_working else None
