"""Tanks that a plan counts with before they wait: on their way to the plant, or at the door and not looked over yet.

Of such a tank the class is the one of its shell; intake may judge otherwise, and then it leaves the plan. What nobody may count with is
left out with its reason: a tank that is overdue, one that intake would hold at once, one that comes after the days that are planned.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily, SegregationClass
from regenplant.core.process.wording import listed
from regenplant.tanks.models import ExpectedTank, TankVisit
from regenplant.tanks.selectors import expected_tanks, findings_against, visits_at_the_door


@dataclass(frozen=True, slots=True)
class Awaited:
    """A tank that will wait. ``visit`` is what it is at the door as, or will be: not saved where the tank is on its way."""

    visit: TankVisit
    from_at: datetime
    """From when on a batch may begin with it."""
    expected: ExpectedTank | None
    """None for one that is at the door."""


@dataclass(frozen=True, slots=True)
class AwaitedTanks:
    """Those that count, those that do not with the reason, and what is taken for granted about those that do."""

    counted: tuple[Awaited, ...]
    left_out: tuple[tuple[str, str], ...]
    """Serial, and a sentence."""
    assumed: tuple[str, ...]


def awaited_tanks(now: datetime, until: datetime, look_over_min: int) -> AwaitedTanks:
    """All of them, as things stand. ``until`` is the end of the days that are planned; from the door to being accepted a tank takes
    ``look_over_min``. Two queries."""
    found, left, look_over = [], [], timedelta(minutes=look_over_min)
    for visit in visits_at_the_door():
        visit.segregation_class = visit.tank.segregation_class
        found.append(Awaited(visit, now + look_over, None))
    for row in expected_tanks():
        if row.expected_at < now:
            left.append((row.tank.serial, f"{row.tank.serial} was expected {_at(row.expected_at)} and is not here; no plan counts with it until somebody says when it comes."))  # fmt: skip
        elif row.expected_at + look_over >= until:
            left.append((row.tank.serial, f"{row.tank.serial} is expected {_at(row.expected_at)}, after the days that are planned."))  # fmt: skip
        else:
            found.append(Awaited(_as_it_will_be(row), row.expected_at + look_over, row))
    counted = []
    for one in found:
        stops = _stops(one.visit)
        if stops:
            left.append((one.visit.tank.serial, f"{one.visit.tank.serial} is not planned before intake has judged it. {stops}"))  # fmt: skip
        else:
            counted.append(one)
    return AwaitedTanks(tuple(counted), tuple(left), tuple(_assumed(counted, look_over_min)))


def _as_it_will_be(row: ExpectedTank) -> TankVisit:
    tank = row.tank
    return TankVisit(
        tank=tank,
        customer=row.customer,
        state=VisitState.RECEIVED.value,
        segregation_class=tank.segregation_class,
        resin_type=tank.resin_type,
        resin_volume_m3=tank.resin_volume_m3,
        resin_volume_form=EXHAUSTED_FORM[ResinFamily(tank.resin_type.family)].value,
        due_at=row.due_at,
        received_at=row.expected_at,
    )


def _stops(visit: TankVisit) -> str:
    """What keeps the tank from a shared bed before anybody looked at it; metal-bearing ones are planned once they were judged."""
    own = SegregationClass(visit.segregation_class)
    if not own.may_be_regenerated:
        return f"It is class {own.value} ({own.label.lower()})."
    return " ".join(findings_against(visit))


def _assumed(counted: list[Awaited], minutes: int) -> list[str]:
    on_way = [one.visit.tank.serial for one in counted if one.expected is not None]
    at_door = [one.visit.tank.serial for one in counted if one.expected is None]
    said = []
    if on_way:
        said.append(f"{listed(on_way)}: on the way. {_counts(on_way)} from {minutes} min after the time written down, if intake accepts {_it(on_way)} as the class of the shell.")  # fmt: skip
    if at_door:
        said.append(f"{listed(at_door)}: at the door, not judged yet. {_counts(at_door)} from {minutes} min after this plan was made, if intake accepts {_it(at_door)} as the class of the shell.")  # fmt: skip
    return said


def _counts(serials: list[str]) -> str:
    return "It counts" if len(serials) == 1 else "They count"


def _it(serials: list[str]) -> str:
    return "it" if len(serials) == 1 else "them"


def _at(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"
