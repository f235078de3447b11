"""Investigation: from a failed batch, or from a thing that turned out wrong, to every other batch that shared something with it.

What they used is gathered for all of them at once (``quality.things``).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from regenplant.batches.models import Batch, BatchTank
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState
from regenplant.people.models import Person
from regenplant.plant.models import Instrument, Skid, Vessel, WaterSupply
from regenplant.quality.things import SHARED_BY_BATCHES, Thing, Things, things_of
from regenplant.resins.models import LotParent, ResinLot

USUAL_DAYS, MOST_DAYS = 14, 730
MOST_BATCHES = 600
"""More than these in a window are not looked through at once; the window is narrowed instead."""
DEEPEST = 12
"""Regenerations that the resin of a batch is followed through."""


BATCH = "batch"


@dataclass(frozen=True, slots=True)
class Shared:
    """One thing that a batch has in common with what is investigated."""

    thing: Thing
    code: str


@dataclass(frozen=True, slots=True)
class Related:
    """Another batch, and why it is here; what tells most first."""

    batch: Batch
    shares: tuple[Shared, ...]
    tanks: int
    """Tanks filled from it."""
    shipped: int


@dataclass(frozen=True, slots=True)
class Recalled:
    """A tank filled from the pool, and where it is."""

    serial: str
    visit: str
    batch: str
    lot: str
    customer: str
    site: str
    filled_at: datetime | None
    shipped_at: datetime | None
    """None while it is still here."""
    why: str
    """How its resin belongs to the pool."""


@dataclass(frozen=True, slots=True)
class Origin:
    """What is investigated: a batch, or a thing by its code."""

    kind: str
    """"batch" or a value of ``Thing``."""
    code: str
    label: str
    batch: Batch | None = None


@dataclass(frozen=True, slots=True)
class Investigation:
    """All that one page, file or paper says."""

    origin: Origin
    days: int
    since: datetime
    until: datetime
    things: Things
    """What the batch used; of a thing, only itself."""
    related: tuple[Related, ...]
    recall: tuple[Recalled, ...]
    looked_at: int
    """How many batches of the window were looked through."""

    @property
    def shipped(self) -> tuple[Recalled, ...]:
        """Tanks to call back that are with a customer."""
        return tuple(tank for tank in self.recall if tank.shipped_at is not None)


def investigate(kind: str, code: str, *, now: datetime, days: int = USUAL_DAYS) -> Investigation:
    """From a batch or a thing: every other batch within ``days`` before and after it (of a thing: the last ``days``), with why;
    and the tanks of the pool.

    Raises: RecordRefused for what is not known, and for a window that is none or holds too many batches.
    """
    if not 1 <= days <= MOST_DAYS:
        raise RecordRefused(
            f"The window is {days} days. Choose 1 to {MOST_DAYS}.", field="days", code="window"
        )
    origin = origin_of(kind, code)
    since, until = _window(origin, days, now)
    wanted = SHARED_BY_BATCHES if origin.batch is not None else (Thing(origin.kind),)
    batches = _batches_between(since, until)
    found = things_of(batches, wanted)
    own = _own_things(origin, found, wanted)
    others = [batch for batch in batches if origin.batch is None or batch.pk != origin.batch.pk]
    shared = {batch.pk: _shares(own, found[batch.pk]) for batch in others}
    kept = [batch for batch in others if shared[batch.pk]]
    pool = _pool(origin, kept)
    tanks = _tanks([*{batch.pk: batch for batch in (*kept, *pool)}.values()])
    return Investigation(
        origin=origin,
        days=days,
        since=since,
        until=until,
        things=own,
        related=tuple(sorted((_related(batch, shared[batch.pk], tanks) for batch in kept), key=_telling)),
        recall=tuple(_recalled(pool, tanks)),
        looked_at=len(others),
    )


def related_batches(batch: Batch, *, now: datetime, days: int = USUAL_DAYS) -> tuple[Related, ...]:
    """Every other batch that shares a resin lot, chemical lot, vessel, skid, instrument or water supply with this one, within so
    many days; what tells most first. Raises: RecordRefused."""
    return investigate(BATCH, batch.number, now=now, days=days).related


# --- what is investigated -----------------------------------------------------------------------------------------------
def origin_of(kind: str, code: str) -> Origin:
    """The batch or thing with this code. Raises: RecordRefused."""
    if not code.isprintable():
        raise RecordRefused("That code fits nothing here.", code="unknown")
    if kind == BATCH:
        batch = _batches().filter(number__iexact=code.strip()).first()
        if batch is None:
            raise RecordRefused(f"There is no batch {code[:24]} here.", code="unknown")
        return Origin(BATCH, batch.number, f"batch {batch.number}", batch)
    if kind not in list(Thing):
        raise RecordRefused("That is nothing that batches share.", code="unknown")
    found = _known(Thing(kind), code.strip())
    if not found:
        raise RecordRefused(f"There is no {Thing(kind).label} {code[:24]} here.", code="unknown")
    return Origin(kind, found, f"{Thing(kind).label} {found}")


def _known(thing: Thing, code: str) -> str:
    """The code as it is stored; "" when there is none."""
    column, rows = {
        Thing.RESIN_LOT: ("code", ResinLot.objects),
        Thing.CHEMICAL_LOT: ("code", ChemicalLot.objects),
        Thing.VESSEL: ("code", Vessel.objects),
        Thing.SKID: ("code", Skid.objects),
        Thing.WATER: ("kind", WaterSupply.objects),
        Thing.INSTRUMENT: ("code", Instrument.objects),
        Thing.PERSON: ("full_name", Person.objects),
    }[thing]
    found = rows.filter(**{f"{column}__iexact": code}).values_list(column, flat=True).first()
    return str(found or "")


def _window(origin: Origin, days: int, now: datetime) -> tuple[datetime, datetime]:
    span = timedelta(days=days)
    batch = origin.batch
    if batch is None:
        return now - span, now
    begun = batch.started_at or batch.planned_at
    ended = batch.rinsed_at or batch.finished_at or begun
    return begun - span, max(begun, ended) + span


def _own_things(origin: Origin, found: dict[int, Things], wanted: Iterable[Thing]) -> Things:
    if origin.batch is None:
        return {Thing(origin.kind): frozenset({origin.code})}
    known = found.get(origin.batch.pk)
    return known if known is not None else things_of([origin.batch], wanted)[origin.batch.pk]


def _batches() -> QuerySet[Batch]:
    return Batch.objects.select_related(
        "vessel", "anion_vessel", "resin_type", "recipe_version", "lot", "parent"
    ).defer("plan_text", "parent__plan_text")


def _batches_between(since: datetime, until: datetime) -> list[Batch]:
    """Batches that were started in the window, newest first. Raises: RecordRefused when they are too many."""
    rows = _batches().filter(started_at__gte=since, started_at__lte=until)
    found = list(rows.order_by("-started_at", "-pk")[: MOST_BATCHES + 1])
    if len(found) > MOST_BATCHES:
        raise RecordRefused(
            f"More than {MOST_BATCHES} batches lie in this window. Choose fewer days.",
            field="days",
            code="too_many",
        )
    return found


# --- what is shared ------------------------------------------------------------------------------------------------------
def _shares(own: Things, other: Things) -> tuple[Shared, ...]:
    return tuple(
        Shared(thing, code)
        for thing in Thing
        for code in sorted(own.get(thing, frozenset()) & other.get(thing, frozenset()))
    )


# --- the pool and its tanks -------------------------------------------------------------------------------------------------
def _pool(origin: Origin, kept: list[Batch]) -> dict[Batch, str]:
    """The batches whose tanks are called back, and why: of a batch itself, its reworks and what its resin went into; of a thing,
    every batch that used it."""
    if origin.batch is None:
        return dict.fromkeys(kept, f"used {origin.label}")
    found: dict[Batch, str] = {origin.batch: f"filled from {origin.batch.number}"}
    front = [origin.batch.pk]
    while front:
        children = list(_batches().filter(parent__in=front))
        front = [child.pk for child in children]
        found |= {child: f"rework of {child.parent.number}" for child in children if child.parent}
    lots = [batch.lot_id for batch in found if batch.lot_id is not None]
    for batch in _made_of(lots):
        found.setdefault(batch, f"holds resin of {origin.batch.number}")
    return found


def _made_of(lots: list[int]) -> list[Batch]:
    """Batches whose resin comes from these lots, over all the regenerations since."""
    reached, front = set(lots), set(lots)
    for _ in range(DEEPEST):
        ahead = set(LotParent.objects.filter(parent__in=front).values_list("child_id", flat=True))
        front = ahead - reached
        if not front:
            break
        reached |= front
    return list(_batches().filter(lot__in=reached - set(lots)).order_by("pk"))


def _tanks(batches: list[Batch]) -> dict[int, list[BatchTank]]:
    """Tanks that hold what each of these batches filled into them, here or at the customer, by its key."""
    found: dict[int, list[BatchTank]] = {}
    holds_it = Q(withdrawn_at__isnull=True) | Q(is_current=True)  # a withdrawn one until it is emptied
    links = BatchTank.objects.filter(holds_it, batch__in=[batch.pk for batch in batches], is_filled=True)
    for link in links.select_related(
        "visit__tank", "visit__customer", "visit__site", "visit__refilled_lot"
    ).order_by("batch_id", "position"):
        found.setdefault(link.batch_id, []).append(link)
    return found


def _related(batch: Batch, shares: tuple[Shared, ...], tanks: dict[int, list[BatchTank]]) -> Related:
    own = tanks.get(batch.pk, [])
    return Related(batch, shares, len(own), sum(1 for link in own if link.visit.shipped_at is not None))


def _telling(row: Related) -> tuple[int, int, float]:
    """What tells most first: the kind of what is shared, then how much of it, then how recent."""
    order = list(Thing)
    at = row.batch.started_at or row.batch.planned_at
    return (min(order.index(one.thing) for one in row.shares), -len(row.shares), -at.timestamp())


def _recalled(pool: dict[Batch, str], tanks: dict[int, list[BatchTank]]) -> Iterator[Recalled]:
    for batch, why in pool.items():
        for link in tanks.get(batch.pk, []):
            visit = link.visit
            yield Recalled(
                serial=visit.tank.serial,
                visit=visit.number,
                batch=batch.number,
                lot=visit.refilled_lot.code if visit.refilled_lot else "",
                customer=visit.customer.name,
                site=visit.site.name if visit.site else "",
                filled_at=link.when_filled,
                shipped_at=visit.shipped_at,
                why=why,
            )


def failed_lately(limit: int = 8) -> list[Batch]:
    """Failed batches, and those amended to fail, newest first: where an investigation usually begins."""
    failed = Q(state__in=[BatchState.FAILED, BatchState.SCRAPPED]) | Q(
        qc_decisions__verdict="fail", qc_decisions__replaced_by__isnull=True
    )
    return list(_batches().filter(failed).distinct().order_by("-judged_at", "-pk")[:limit])
