"""Tanks and customers: listings, and one tank's history."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Max, OuterRef, Q, QuerySet, Subquery

from regenplant.core.process.lifecycle import VisitState
from regenplant.resins.models import ResinLot
from regenplant.tanks.models import Customer, Tank, TankVisit
from regenplant.tanks.selectors._base import AWAY_STATES, IN_A_BATCH, place_words, whole_visits
from regenplant.tanks.selectors.codes import normal_code

AWAY = "away"
"""A tank without an open visit: at a customer, or refused."""


@dataclass(frozen=True, slots=True)
class TankHistory:
    """A tank and its round trips, newest first."""

    tank: Tank
    visits: tuple[TankVisit, ...]

    @property
    def now(self) -> TankVisit | None:
        """The visit under way; None while the tank is away."""
        return next((visit for visit in self.visits if visit.state not in AWAY_STATES), None)

    @property
    def place(self) -> str:
        """Where it stands here; "" if nobody said."""
        return place_words(self.now.bay) if self.now else ""

    @property
    def last(self) -> TankVisit | None:
        return self.visits[0] if self.visits else None

    @property
    def round_trips(self) -> int:
        return len(self.visits)

    @property
    def lots(self) -> tuple[ResinLot, ...]:
        """The lots that were in it, newest first, each once; the present one first."""
        found = [self.tank.resin_lot, *(visit.refilled_lot for visit in self.visits)]
        return tuple(dict.fromkeys(lot for lot in found if lot is not None))


def tank_history(serial: str) -> TankHistory | None:
    """A tank by its serial in any spelling; None if there is none. Two queries."""
    tank = (
        Tank.objects.select_related("size", "resin_type", "dedicated_to", "resin_lot__resin_type")
        .filter(serial__iexact=normal_code(serial))
        .first()
    )
    if tank is None:
        return None
    return TankHistory(tank, tuple(visit_rows().filter(tank=tank)))


def visit_rows() -> QuerySet[TankVisit]:
    """Visits with the batch each went through and the bed volumes it was rinsed with, newest first.

    ``batch_number`` and ``rinsed_bv`` are None until there is one. Subqueries, so that a page of a long list computes
    them for its own rows only.
    """
    # In a batch now, or filled from one: the release lets the tank go, the history keeps where it was.
    went_through = IN_A_BATCH | Q(batch_links__is_filled=True)
    same = TankVisit.objects.filter(went_through, pk=OuterRef("pk")).order_by("-batch_links__pk")
    readings = same.order_by().filter(batch_links__batch__readings__replaced_by__isnull=True).values("pk")
    return (
        whole_visits()
        .select_related("tank__resin_lot", "refilled_lot__resin_type")
        .annotate(
            batch_number=Subquery(same.values("batch_links__batch__number")[:1]),
            rinsed_bv=Subquery(
                readings.annotate(most=Max("batch_links__batch__readings__rinsed_bv")).values("most")
            ),
        )
        .order_by("-received_at", "-id")
    )


def tank_rows() -> QuerySet[Tank]:
    """Tanks for the listing, each with its newest visit: state ("away" without an open one), customer, bay, since.

    One query however many rows: select_related and subqueries only.
    """
    newest = TankVisit.objects.filter(tank=OuterRef("pk")).order_by("-received_at", "-id")
    return Tank.objects.select_related("size", "resin_type", "dedicated_to", "resin_lot").annotate(
        visit_state=Subquery(newest.values("state")[:1]),
        visit_customer=Subquery(newest.values("customer__name")[:1]),
        visit_bay=Subquery(newest.values("bay")[:1]),
        visit_received_at=Subquery(newest.values("received_at")[:1]),
        visit_due_at=Subquery(newest.values("due_at")[:1]),
    )


def filtered_tanks(
    *,
    text: str = "",
    state: str = "",
    segregation_class: str = "",
    family: str = "",
    customer_id: int | None = None,
) -> QuerySet[Tank]:
    """The listing narrowed by what a person chose; empty means all."""
    wanted = Q()
    if text.strip():
        words, code = text.strip(), normal_code(text)
        wanted &= (
            Q(serial__icontains=code)
            | Q(resin_type__code__icontains=words)
            | Q(resin_lot__code__icontains=code)
            | Q(visit_customer__icontains=words)
            | Q(dedicated_to__name__icontains=words)
        )
    if state == AWAY:
        wanted &= Q(visit_state__isnull=True) | Q(visit_state__in=AWAY_STATES)
    elif state:
        wanted &= Q(visit_state=state)
    if segregation_class:
        wanted &= Q(segregation_class=segregation_class)
    if family:
        wanted &= Q(resin_type__family=family)
    if customer_id is not None:
        had = TankVisit.objects.filter(customer_id=customer_id).order_by().values("tank_id")
        wanted &= Q(pk__in=had) | Q(dedicated_to_id=customer_id)
    return tank_rows().filter(wanted)


def count_by_state() -> dict[str, int]:
    """How many tanks are in each state of a visit, "away" for those without an open one. Two queries."""
    open_visits = (
        TankVisit.objects.exclude(state__in=AWAY_STATES)
        .order_by()
        .values("state")
        .annotate(tanks=Count("id"))
    )
    counts = {row["state"]: row["tanks"] for row in open_visits}
    return counts | {AWAY: Tank.objects.count() - sum(counts.values())}


def customer_rows(text: str = "") -> QuerySet[Customer]:
    """Customers with the number of their tanks here and of tanks dedicated to them, narrowed by a text."""
    here = Q(visits__state__in=[state.value for state in VisitState if state.value not in AWAY_STATES])
    found = (
        Q(code__icontains=text) | Q(name__icontains=text) | Q(declared_service__icontains=text)
        if text
        else Q()
    )
    return Customer.objects.filter(found).annotate(
        tanks_here=Count("visits", filter=here, distinct=True),
        tanks_dedicated=Count("dedicated_tanks", distinct=True),
    )


def customer_page(code: str) -> Customer | None:
    """A customer with sites, by code in any case. Two queries."""
    return customer_rows().prefetch_related("sites").filter(code__iexact=normal_code(code)).first()
