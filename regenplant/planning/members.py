"""The tanks of a planned batch: those that are here, and those that are on their way. One list, whatever they stand in the record as."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from regenplant.batches.readiness import unfit
from regenplant.core.process.lifecycle import VisitState
from regenplant.planning.models import PlannedBatch
from regenplant.tanks.models import Customer, ExpectedTank, Tank, TankVisit

READ = (
    "tanks__visit__tank__dedicated_to",
    "tanks__visit__customer",
    "awaited__expected__tank__dedicated_to",
    "awaited__expected__customer",
    "awaited__expected__visit__tank",
)
"""What a query of planned batches fetches with them, so that ``members`` asks nothing more."""

OTHERS = " Choose other tanks."
"""What ``unfit`` advises somebody who chooses."""

OVERDUE = timedelta(minutes=15)
"""From so much on a tank that should be here is told as missing; planning value, from memory."""


@dataclass(frozen=True, slots=True)
class Member:
    """A tank that an accepted plan puts into a batch."""

    tank: Tank
    customer: Customer
    visit: TankVisit | None
    """The round trip in which it is here; None while it is on its way."""
    expected: ExpectedTank | None
    """As it was expected when the plan was accepted; None for one that was here then."""

    @property
    def is_judged(self) -> bool:
        """Whether it is here and intake said what it is."""
        return self.visit is not None and self.visit.state != VisitState.RECEIVED

    @property
    def is_at_the_door(self) -> bool:
        """Whether it is here and intake has not judged it yet."""
        return self.visit is not None and self.visit.state == VisitState.RECEIVED

    @property
    def resin_volume_m3(self) -> float:
        """Settled, in the exhausted form [m^3]."""
        return self.tank.resin_volume_m3 if self.visit is None else self.visit.resin_volume_m3


def members(row: PlannedBatch) -> list[Member]:
    """In the order of the plan."""
    placed = [
        (link.position, Member(link.visit.tank, link.visit.customer, link.visit, None))
        for link in row.tanks.all()
    ]
    for link in row.awaited.all():
        expected = link.expected
        placed.append((link.position, Member(expected.tank, expected.customer, expected.visit, expected)))
    return [member for _, member in sorted(placed, key=lambda item: item[0])]


def missing(member: Member, begins_at: datetime, now: datetime) -> str:
    """What keeps a tank from a batch that begins then, as a sentence; "" for nothing, and as long as there is time for what is left to do."""
    serial, expected = member.tank.serial, member.expected
    if member.visit is not None:
        is_in_time = member.visit.state == VisitState.RECEIVED and now < begins_at
        return "" if is_in_time else unfit(member.visit, None, now).removesuffix(OTHERS)
    assert expected is not None
    at = f"{timezone.localtime(expected.expected_at):%Y-%m-%d %H:%M}"
    if expected.state == ExpectedTank.State.CALLED_OFF:
        return f"{serial} does not come: it was called off."
    if expected.expected_at > begins_at:
        return f"{serial} is expected {at}, after the batch begins."
    if expected.expected_at + OVERDUE < now:
        return f"{serial} was expected {at} and is not here."
    return ""
