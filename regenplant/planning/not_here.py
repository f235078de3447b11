"""Tanks of a plan that nobody can load yet: on their way, overdue, called off, or at the door and not judged. And all that keeps a planned
tank from a batch that somebody is about to start."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.utils import timezone

from regenplant.batches.readiness import unfit
from regenplant.planning.members import OTHERS, OVERDUE, Member, members
from regenplant.planning.models import PlannedBatch
from regenplant.tanks.models import ExpectedTank


class Why(StrEnum):
    """Why a tank that is planned cannot be loaded now."""

    ON_ITS_WAY = "on_its_way"
    OVERDUE = "overdue"
    CALLED_OFF = "called_off"
    AT_THE_DOOR = "at_the_door"


@dataclass(frozen=True, slots=True)
class NotHere:
    """A planned tank that did not come, or that intake has not judged."""

    serial: str
    why: Why
    expected_at: datetime | None
    """When it is expected as things stand; None for one at the door."""


def not_here(member: Member, now: datetime) -> NotHere | None:
    """How a planned tank stands that cannot be loaded yet; None for one that intake has judged."""
    serial, expected = member.tank.serial, member.expected
    if member.visit is not None:
        return NotHere(serial, Why.AT_THE_DOOR, None) if member.is_at_the_door else None
    assert expected is not None
    if expected.state == ExpectedTank.State.CALLED_OFF:
        return NotHere(serial, Why.CALLED_OFF, expected.expected_at)
    late = expected.expected_at + OVERDUE < now
    return NotHere(serial, Why.OVERDUE if late else Why.ON_ITS_WAY, expected.expected_at)


def absences(row: PlannedBatch, now: datetime) -> list[str]:
    """Each planned tank that cannot go into this batch now, as a sentence that begins with its number; in the order of the plan.

    Other than a deviation it is told at once, whether there is time left or not: it is for who stands before the vessel.
    """
    return [sentence for member in members(row) if (sentence := _absence(row, member, now))]


def _absence(row: PlannedBatch, member: Member, now: datetime) -> str:
    serial, found = member.tank.serial, not_here(member, now)
    if found is None:
        assert member.visit is not None
        stops = unfit(member.visit, None, now).removesuffix(OTHERS)
        own = member.visit.segregation_class
        if not stops and own != row.segregation_class:
            return f"{serial} was judged as class {own}; {row.code} is class {row.segregation_class}."
        return stops
    if found.why is Why.AT_THE_DOOR:
        return f"{serial} is at the door and not judged yet: intake judges it first."
    if found.why is Why.CALLED_OFF:
        return f"{serial} does not come: it was called off."
    assert found.expected_at is not None
    at = f"{timezone.localtime(found.expected_at):%Y-%m-%d %H:%M}"
    if found.why is Why.OVERDUE:
        return f"{serial} was expected {at} and is not here."
    if found.expected_at > row.starts_at:
        return f"{serial} was put off: it is expected {at}, after the batch was to begin."
    return f"{serial} is on its way, expected {at}."
