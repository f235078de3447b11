"""The waiting list: accepted tanks that no batch has, by pooling key."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import groupby

from django.db.models import Count, F, QuerySet

from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import ResinFamily, SegregationClass
from regenplant.resins.models import ResinType
from regenplant.tanks.models import Customer, TankVisit
from regenplant.tanks.selectors._base import IN_A_BATCH, whole_visits


@dataclass(frozen=True, slots=True)
class WaitingPool:
    """Tanks of one pooling key, first promise first."""

    resin_type: ResinType
    segregation_class: str
    dedicated_to: Customer | None
    visits: tuple[TankVisit, ...] = field(repr=False)

    @property
    def family(self) -> ResinFamily:
        return ResinFamily(self.resin_type.family)

    @property
    def grade(self) -> str:
        return self.resin_type.grade

    @property
    def class_label(self) -> str:
        return SegregationClass(self.segregation_class).label

    @property
    def total_m3(self) -> float:
        """Settled volume in the exhausted form [m^3]."""
        return sum(visit.resin_volume_m3 for visit in self.visits)

    @property
    def oldest_at(self) -> datetime:
        return min(visit.received_at for visit in self.visits)

    @property
    def first_due_at(self) -> datetime | None:
        return min((visit.due_at for visit in self.visits if visit.due_at is not None), default=None)


def waiting_visits(
    resin_type_id: int, segregation_class: str, dedicated_to_id: int | None
) -> QuerySet[TankVisit]:
    """Accepted tanks of one pooling key that no batch has, first promise first."""
    return _waiting().filter(
        resin_type_id=resin_type_id,
        segregation_class=segregation_class,
        tank__dedicated_to_id=dedicated_to_id,
    )


def waiting_by_key(now: datetime) -> list[WaitingPool]:
    """Every pooling key under which something waits, the most urgent first. One query."""
    waiting = sorted(_waiting(), key=_pooling_key)
    pools = [_pool(tuple(members)) for _, members in groupby(waiting, key=_pooling_key)]
    far = now + timedelta(days=36_525)
    return sorted(pools, key=lambda pool: (pool.first_due_at or far, pool.oldest_at))


def count_before_batch() -> dict[str, int]:
    """How many tanks stand before a batch, by state: received, held, accepted and in no batch. One query."""
    states = [VisitState.RECEIVED.value, VisitState.HELD.value, VisitState.ACCEPTED.value]
    rows = (
        TankVisit.objects.filter(state__in=states)
        .exclude(IN_A_BATCH)
        .order_by()
        .values("state")
        .annotate(tanks=Count("id"))
    )
    return {row["state"]: row["tanks"] for row in rows}


def _waiting() -> QuerySet[TankVisit]:
    waiting = whole_visits().filter(state=VisitState.ACCEPTED.value).exclude(IN_A_BATCH)
    return waiting.order_by(F("due_at").asc(nulls_last=True), "received_at", "tank__serial")


def _pooling_key(visit: TankVisit) -> tuple[int, str, int]:
    return visit.resin_type_id, visit.segregation_class, visit.tank.dedicated_to_id or 0


def _pool(members: tuple[TankVisit, ...]) -> WaitingPool:
    first = members[0]
    ordered = tuple(
        sorted(
            members,
            key=lambda one: (
                one.due_at is None,
                one.due_at or one.received_at,
                one.received_at,
                one.tank.serial,
            ),
        )
    )
    return WaitingPool(first.resin_type, first.segregation_class, first.tank.dedicated_to, ordered)
