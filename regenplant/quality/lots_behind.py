"""From a customer or a tank both ways through the lots: what it was filled with and all that came from, and where its resin went.

Each way is one recursion in the database, however long the lines are. Shares go by the volume each tank was filled with: of all resin a
customer's tanks were filled with, how much had been part of a lot. They are shares through each lot by itself, so that a lot and what it
was made of overlap, as in the trace of a lot. Downward no share is told: resin that came back from a customer and resin it was made of meet again
in younger lots, and nothing on record parts them.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db import connection
from django.db.models import Count, Exists, F, Max, OuterRef, Q, QuerySet, Subquery, Sum

from regenplant.batches.models import Batch, BatchTank
from regenplant.resins.among import among
from regenplant.resins.models import ResinLot
from regenplant.tanks.models import Customer, Tank, TankVisit


@dataclass(frozen=True, slots=True)
class Behind:
    """A lot behind the fillings, or one its resin went into."""

    steps: int
    """0: a tank was filled with it, or a batch made it of the resin that came back."""
    share_frac: float | None
    """Of all resin the tanks were filled with; None where nothing is told."""


def behind(of: Customer | Tank) -> dict[int, Behind]:
    """Every lot the tanks were filled with and every lot those came from, by key. Two queries."""
    rows = _visits(of).filter(refilled_lot__isnull=False).order_by()
    filled = {
        lot: (volume or 0.0, count)
        for lot, volume, count in rows.values_list("refilled_lot").annotate(
            Sum("refilled_volume_m3"), Count("pk")
        )
    }
    if not filled:
        return {}
    whole = sum(volume for volume, _ in filled.values())
    is_by_volume = whole > 0.0
    whole = whole if is_by_volume else float(sum(count for _, count in filled.values()))
    share: dict[int, float] = defaultdict(float)
    for lot, (volume, count) in filled.items():
        share[lot] += (volume if is_by_volume else count) / whole
    steps = dict.fromkeys(filled, 0)
    links, waiting = _links(list(filled), "child_id", "parent_id")
    ready = [lot for lot in {*filled, *links} if not waiting.get(lot)]
    for here in ready:  # grows while it is walked: each lot once all that were made of it are done
        for there, fraction in links.get(here, ()):
            share[there] += share[here] * fraction
            steps[there] = min(steps.get(there, steps[here] + 1), steps[here] + 1)
            waiting[there] -= 1
            if not waiting[there]:
                ready.append(there)
    return {lot: Behind(steps[lot], min(share[lot], 1.0)) for lot in steps}


def gone_into(of: Customer | Tank) -> dict[int, Behind]:
    """Every lot that resin from the tanks went into when they came back, and every lot made with those, by key. Two queries."""
    earlier = BatchTank.objects.filter(visit=OuterRef("visit"), pk__lt=OuterRef("pk"))
    # a shell whose own resin was scrapped is linked to a second batch to be filled from it, and put nothing in; a rework has a parent.
    # Whether the link is current does not matter: a tank that was shipped long ago left its resin in that lot all the same
    made = BatchTank.objects.filter(
        Q(batch__parent__isnull=False) | ~Exists(earlier),
        visit__in=_visits(of),
        batch__lot__isnull=False,
    ).order_by()
    steps = dict.fromkeys(made.values_list("batch__lot", flat=True).distinct(), 0)
    if not steps:
        return {}
    links, _ = _links(list(steps), "parent_id", "child_id")
    ready = list(steps)
    for here in ready:
        for there, _ in links.get(here, ()):
            if there not in steps:
                steps[there] = steps[here] + 1
                ready.append(there)
    return {lot: Behind(step, None) for lot, step in steps.items()}


def lots_of(found: dict[int, Behind], of: Customer | Tank) -> QuerySet[ResinLot]:
    """Those lots with ``fillings`` and ``last_at`` of this customer or tank, and the batch that made each; filled last first."""
    own = Q(refilled_visits__in=_visits(of))
    made_by = Batch.objects.filter(lot=OuterRef("pk")).order_by("pk").values("number")[:1]
    rows = ResinLot.objects.filter(pk__in=among(found)).select_related("resin_type")
    rows = rows.annotate(
        fillings=Count("refilled_visits", filter=own),
        last_at=Max("refilled_visits__refilled_at", filter=own),
        batch_number=Subquery(made_by),
    )
    return rows.order_by(F("last_at").desc(nulls_last=True), "-made_at", "-pk")


def _visits(of: Customer | Tank) -> QuerySet[TankVisit]:
    return (
        TankVisit.objects.filter(customer=of)
        if isinstance(of, Customer)
        else TankVisit.objects.filter(tank=of)
    )


def _links(
    starts: list[int], this: str, that: str
) -> tuple[dict[int, list[tuple[int, float]]], dict[int, int]]:
    """Every link of the line from these lots on, by the lot it leaves; and how many links lead into each."""
    begin = among(starts)
    sql, params = str(begin.sql), list(begin.params)
    with connection.cursor() as cursor:
        cursor.execute(
            f"WITH RECURSIVE line(id) AS ({sql} UNION SELECT l.{that} FROM resins_lotparent l JOIN line ON l.{this} = line.id) "
            f"SELECT l.{this}, l.{that}, l.fraction FROM resins_lotparent l JOIN line ON l.{this} = line.id",
            params,
        )
        links: dict[int, list[tuple[int, float]]] = {}
        waiting: dict[int, int] = defaultdict(int)
        for here, there, fraction in cursor:
            links.setdefault(here, []).append((there, fraction))
            waiting[there] += 1
    return links, waiting
