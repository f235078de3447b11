"""Round trips beside the lots of resin they were filled with: of a lot every one of them, of a tank or a customer every lot.

Both are lists of any length, asked for page by page: a list of the lots that hold a lot's resin goes to the database as one parameter.
"""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Count, F, Max, Min, OuterRef, QuerySet, Subquery

from regenplant.batches.models import Batch
from regenplant.resins.among import among
from regenplant.resins.models import ResinLot
from regenplant.tanks.models import Customer, Tank, TankVisit


def visits_with(holding: Collection[int]) -> QuerySet[TankVisit]:
    """Every round trip whose tank was filled with resin of these lots, filled last first; ``batch_number`` is the batch that made the lot."""
    made_by = Batch.objects.filter(lot=OuterRef("refilled_lot")).order_by("pk").values("number")[:1]
    rows = TankVisit.objects.filter(refilled_lot__in=among(holding)).select_related(
        "tank", "customer", "refilled_lot"
    )
    return rows.annotate(batch_number=Subquery(made_by)).order_by("-refilled_at", "-pk")


def lots_of_tank(tank: Tank) -> QuerySet[ResinLot]:
    """Every lot that a tank was filled with, the last first."""
    return _filled(refilled_visits__tank=tank)


def lots_of_customer(customer: Customer) -> QuerySet[ResinLot]:
    """Every lot that tanks on round trips of a customer were filled with, the last first."""
    return _filled(refilled_visits__customer=customer)


def _filled(**of: Tank | Customer) -> QuerySet[ResinLot]:
    """``fillings``, ``tank_count``, ``first_at`` and ``last_at`` by lot, with the batch that made it."""
    made_by = Batch.objects.filter(lot=OuterRef("pk")).order_by("pk").values("number")[:1]
    found = ResinLot.objects.filter(**of).select_related("resin_type")
    found = found.annotate(
        fillings=Count("refilled_visits"),
        tank_count=Count("refilled_visits__tank", distinct=True),
        first_at=Min("refilled_visits__refilled_at"),
        last_at=Max("refilled_visits__refilled_at"),
        batch_number=Subquery(made_by),
    )
    return found.order_by(F("last_at").desc(nulls_last=True), "-pk")
