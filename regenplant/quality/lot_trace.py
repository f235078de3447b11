"""From a resin lot both ways: every lot it came from and every lot that holds it, their batches, visits, tanks and customers.

Both lines are followed to their ends in one query each, whatever their length; shares are exact over every way. What else is asked
is told the lots that were found (``among``), so that the line is followed once. Tanks and customers are counted in the database, so
that a plant with a million visits is traced as fast as a young one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from heapq import nsmallest
from typing import Any

from django.db import connection
from django.db.models import Count, Max

from regenplant.batches.models import Batch, BatchTank
from regenplant.core.process.lifecycle import VisitState
from regenplant.resins.among import among
from regenplant.resins.models import ResinLot
from regenplant.tanks.models import Customer, Tank, TankVisit

SHOWN = 50
"""Rows shown of each list; how many there are is always said."""
_NONE = -1
_LINKS = {
    "down": ("parent_id", "child_id"),
    "up": ("child_id", "parent_id"),
}


@dataclass(frozen=True, slots=True)
class TracedLot:
    """A lot of the line. ``share_frac``: of the traced lot's resin (an older one) or of this lot's (a younger one)."""

    code: str
    share_frac: float
    made_at: datetime
    origin: str
    generation: int


@dataclass(frozen=True, slots=True)
class TracedTank:
    """A tank that was filled with resin of the lot."""

    serial: str
    customer: str
    visits: int
    last_filled_at: datetime | None
    share_now_frac: float
    """Of what is inside now; 0 when other resin is."""


@dataclass(frozen=True, slots=True)
class LotTrace:
    """Where a lot came from and where it is, with counts of all and the first rows of each list."""

    lot: ResinLot
    older: tuple[TracedLot, ...]
    older_count: int
    younger: tuple[TracedLot, ...]
    younger_count: int
    batches: tuple[tuple[str, str], ...]
    """Number and state, newest first."""
    batch_count: int
    in_vessels: tuple[str, ...]
    """Batches into whose vessels tanks with resin of it were emptied, and that have not made a lot of it yet."""
    tanks: tuple[TracedTank, ...]
    """Those that hold it now first, by share."""
    tank_count: int
    now_count: int
    visit_count: int
    customers: tuple[tuple[str, str, int], ...]
    """Code, name and visits, most first."""


def trace_of_lot(lot: ResinLot) -> LotTrace:
    """Both ways from a lot. A dozen queries, whatever its line."""
    up, holding = _shares(lot.pk, "up"), holding_of(lot)
    down = {pk: found for pk, found in holding.items() if pk != lot.pk}
    fillings = _fillings(holding)
    tanks, tank_count, now_count = _tanks(lot, holding, fillings)
    batch_count, batches = _batches(holding)
    customers: dict[int, int] = {}
    for _, customer, visits, _ in fillings:
        customers[customer] = customers.get(customer, 0) + visits
    return LotTrace(
        lot=lot,
        older=_lots(up),
        older_count=len(up),
        younger=_lots(down),
        younger_count=len(down),
        batches=batches,
        batch_count=batch_count,
        in_vessels=_in_vessels(lot, holding),
        tanks=tanks,
        tank_count=tank_count,
        now_count=now_count,
        visit_count=sum(customers.values()),
        customers=_named(customers),
    )


def holding_of(lot: ResinLot) -> dict[int, tuple[float, int]]:
    """Every lot that holds resin of a lot, itself with 1: by key its share of it [-] and how many steps it is away."""
    return {lot.pk: (1.0, 0), **_shares(lot.pk, "down")}


def _shares(start: int, way: str) -> dict[int, tuple[float, int]]:
    """Of every lot of the line: its share over every way and the shortest way in generations."""
    this, that = _LINKS[way]
    with connection.cursor() as cursor:
        cursor.execute(
            f"WITH RECURSIVE line(id) AS (SELECT CAST(%s AS bigint) UNION SELECT l.{that} FROM resins_lotparent l JOIN line ON l.{this} = line.id) "
            f"SELECT l.{this}, l.{that}, l.fraction FROM resins_lotparent l JOIN line ON l.{this} = line.id",
            [start],
        )
        # Row by row into flat lists, each link with the one before it from the same lot: a container for each row or lot would set the
        # garbage collector to search the whole process.
        newest: dict[int, int] = {}
        before: list[int] = []
        ends: list[int] = []
        fractions: list[float] = []
        waiting: defaultdict[int, int] = defaultdict(int)
        for number, (here, there, fraction) in enumerate(cursor):
            before.append(newest.get(here, _NONE))
            newest[here] = number
            ends.append(there)
            fractions.append(fraction)
            waiting[there] += 1
    shares: dict[int, float] = {start: 1.0}
    steps: dict[int, int] = {start: 0}
    ready = [start]
    for here in ready:  # grows while it is walked: each lot once all that lead into it are done
        share, step = shares[here], steps[here] + 1
        link = newest.get(here, _NONE)
        while link != _NONE:
            there = ends[link]
            if there in shares:
                shares[there] += share * fractions[link]
                if step < steps[there]:
                    steps[there] = step
            else:
                shares[there], steps[there] = share * fractions[link], step
            waiting[there] -= 1
            if not waiting[there]:
                ready.append(there)
            link = before[link]
    return {pk: (min(share, 1.0), steps[pk]) for pk, share in shares.items() if pk != start}


def _lots(found: Mapping[int, tuple[float, int]]) -> tuple[TracedLot, ...]:
    """The nearest with the largest shares."""
    first = nsmallest(SHOWN, found, key=lambda pk: (found[pk][1], -found[pk][0], pk))
    rows = ResinLot.objects.filter(pk__in=first).values_list("pk", "code", "made_at", "origin")
    made = [
        TracedLot(code, found[pk][0], made_at, origin, found[pk][1]) for pk, code, made_at, origin in rows
    ]
    return tuple(sorted(made, key=lambda one: (one.generation, -one.share_frac, one.code)))


def _fillings(holding: Collection[int]) -> list[tuple[int, int, int, Any]]:
    """Tank, customer, visits and the last visit's key, of every filling with resin of these lots."""
    rows = TankVisit.objects.filter(refilled_lot__in=among(holding)).order_by()
    return list(rows.values_list("tank_id", "customer_id").annotate(Count("pk"), Max("pk")))


def _batches(holding: Collection[int]) -> tuple[int, tuple[tuple[str, str], ...]]:
    """How many batches made these lots, and the newest of them."""
    keys = list(Batch.objects.filter(lot__in=among(holding)).order_by("-pk").values_list("pk", flat=True))
    rows = Batch.objects.filter(pk__in=keys[:SHOWN]).order_by("-planned_at", "-pk")
    return len(keys), tuple(rows.values_list("number", "state"))


def _tanks(
    lot: ResinLot,
    holding: Mapping[int, tuple[float, int]],
    fillings: Sequence[tuple[int, int, int, Any]],
) -> tuple[tuple[TracedTank, ...], int, int]:
    """The tanks to show, how many there are, and how many hold it now: those of the same resin type are looked at."""
    emptied = TankVisit.objects.filter(state=VisitState.EMPTIED.value).values("tank")
    inside = Tank.objects.filter(resin_type_id=lot.resin_type_id, resin_lot__isnull=False)
    inside = inside.exclude(pk__in=emptied)
    now = {pk: holding[held][0] for pk, held in inside.values_list("pk", "resin_lot_id") if held in holding}
    visits: dict[int, int] = {}
    last: dict[int, tuple[Any, int]] = {}
    for tank, customer, count, newest in fillings:
        visits[tank] = visits.get(tank, 0) + count
        last[tank] = max(last.get(tank, (newest, customer)), (newest, customer))
    every = {*now, *visits}
    order = sorted(every, key=lambda pk: (-now.get(pk, 0.0), -visits.get(pk, 0), pk))[:SHOWN]
    names = dict(
        Customer.objects.filter(pk__in={last[pk][1] for pk in order if pk in last}).values_list("pk", "name")
    )
    filled = dict(
        TankVisit.objects.filter(pk__in=[last[pk][0] for pk in order if pk in last])
        .values_list("tank_id")
        .annotate(Max("refilled_at"))
    )
    serials = dict(Tank.objects.filter(pk__in=order).values_list("pk", "serial"))
    rows = tuple(
        TracedTank(
            serials[pk],
            names.get(last[pk][1], "") if pk in last else "",
            visits.get(pk, 0),
            filled.get(pk),
            now.get(pk, 0.0),
        )
        for pk in order
    )
    return rows, len(every), len(now)


def _in_vessels(lot: ResinLot, holding: Mapping[int, tuple[float, int]]) -> tuple[str, ...]:
    links = BatchTank.objects.filter(
        is_current=True,
        visit__state=VisitState.EMPTIED.value,
        visit__tank__resin_type_id=lot.resin_type_id,
        batch__lot__isnull=True,
    )
    rows = links.values_list("batch__number", "visit__tank__resin_lot_id")
    return tuple(sorted({number for number, held in rows if held in holding}))


def _named(customers: Mapping[int, int]) -> tuple[tuple[str, str, int], ...]:
    first = sorted(customers, key=lambda pk: (-customers[pk], pk))[:SHOWN]
    rows = {row.pk: row for row in Customer.objects.filter(pk__in=first)}
    return tuple((rows[pk].code, rows[pk].name, customers[pk]) for pk in first)
