"""The capacity factor that plans count with: what a person set for the lot, else what the lot was made with."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from regenplant.resins.models import LotCapacity, ResinLot

LEAST_FACTOR, MOST_FACTOR = 0.05, 1.2
"""Shares of the operating capacity of new resin; the bounds of a plan."""


def capacities_of(pks: Collection[int]) -> dict[int, LotCapacity]:
    """What was set last, by lot; a lot without a row is not in it. One query."""
    rows = LotCapacity.objects.filter(lot__in=pks).select_related("set_by").order_by("number")
    return {row.lot_id: row for row in rows}


def with_factors(lots: QuerySet[ResinLot]) -> QuerySet[ResinLot]:
    """The lots with the factor in force as ``factor_in_force``, for lists that sort by it."""
    newest = LotCapacity.objects.filter(lot=OuterRef("pk")).order_by("-number").values("factor")[:1]
    return lots.annotate(factor_in_force=Coalesce(Subquery(newest), F("capacity_factor")))


def factors_of(lots: Collection[ResinLot]) -> dict[int, float]:
    """The factor in force by lot [-]. One query."""
    newest = capacities_of([lot.pk for lot in lots])
    return {lot.pk: newest[lot.pk].factor if lot.pk in newest else lot.capacity_factor for lot in lots}
