"""A lot is traced both ways in a plant with a million visits: every lot, batch, visit, tank and customer its resin is in."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from datetime import timedelta
from time import perf_counter
from typing import Any

import pytest
from django.db import connection

from regenplant.audit import locks
from regenplant.batches.models import Batch
from regenplant.quality.lot_trace import trace_of_lot
from regenplant.resins.models import LotParent, ResinLot
from regenplant.tanks.models import Customer, Tank, TankVisit
from tests import factories
from tests.factories import START, SmallPlant
from tests.long import figures

pytestmark = pytest.mark.django_db

POOLS, TANKS, IN_A_BATCH = 20, 250, 4
"""A plant of 5,000 tanks in 20 pools, four tanks to a batch."""
TRACE_P95_S = 0.300
ROOM = 3.0
"""The usual suite runs beside others, so that it has room; the long run has the machine to itself."""


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def many_visits(plant: SmallPlant, visits: int) -> None:
    """Pools of tanks that go round: each round the tanks of a pool are drawn at random into batches of four, each of which makes a
    lot of its tanks' lots. Written in bulk, without plans and steps; one lot was delivered for each pool."""
    template = factories.frozen_batch(plant, "sac_h")
    locks.remove()  # the rows stand for what years of acts would have written
    dice = random.Random(20260302)
    customers = Customer.objects.bulk_create(
        Customer(code=f"C{number:03}", name=f"Customer {number:03} (invented)") for number in range(100)
    )
    resin, size = plant.types["sac_h"], plant.size
    person = plant.people["operator"]
    rounds = max(1, visits // (POOLS * TANKS))
    common: dict[str, Any] = {"resin_type": resin, "segregation_class": "D", "volume_form": "Na"}
    for pool in range(POOLS):
        new = ResinLot.objects.create(code=f"NEW-{pool}", volume_m3=25.0, made_at=START, origin="delivered new", **common)  # fmt: skip
        tanks = Tank.objects.bulk_create(
            Tank(serial=f"P{pool}-{number}", size=size, resin_type=resin, segregation_class="D", resin_volume_m3=0.1, resin_lot=new)
            for number in range(TANKS)
        )  # fmt: skip
        inside = [new.pk] * TANKS
        for turn in range(rounds):
            at = START + timedelta(days=turn)
            order = list(range(TANKS))
            dice.shuffle(order)
            groups = [order[start : start + IN_A_BATCH] for start in range(0, TANKS, IN_A_BATCH)]
            lots = ResinLot.objects.bulk_create(
                ResinLot(code=f"L-{pool}-{turn}-{number}", volume_m3=0.4, made_at=at, origin="made by a batch", cycles=turn + 1, **common)
                for number in range(len(groups))
            )  # fmt: skip
            LotParent.objects.bulk_create(_links(groups, lots, inside))
            Batch.objects.bulk_create(
                Batch(
                    number=f"B{pool}-{turn}-{number}", state="released", resin_type=resin, segregation_class="D", vessel=template.vessel,
                    recipe_version=template.recipe_version, specification_version=template.specification_version, resin_volume_m3=0.4,
                    resin_volume_form="Na", plan_text="", plan_digest="0" * 64, core_version="0", planned_by=person, planned_at=at, lot=lot,
                )
                for number, lot in enumerate(lots)
            )  # fmt: skip
            TankVisit.objects.bulk_create(
                TankVisit(
                    number=f"V{pool}-{turn}-{tank}", tank=tanks[tank], customer=customers[(tank + pool) % 100], state="shipped", return_reason="exhausted",
                    segregation_class="D", resin_type=resin, resin_volume_m3=0.1, resin_volume_form="Na", received_at=at, received_by=person,
                    refilled_at=at, refilled_lot=lots[group], refilled_volume_m3=0.1, shipped_at=at,
                )
                for group, members in enumerate(groups)
                for tank in members
            )  # fmt: skip
            for group, members in enumerate(groups):
                for tank in members:
                    inside[tank] = lots[group].pk
        for tank, lot in zip(tanks, inside, strict=True):
            tank.resin_lot_id = lot
        Tank.objects.bulk_update(tanks, ["resin_lot"])
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _links(
    groups: Sequence[Sequence[int]], lots: Sequence[ResinLot], inside: Sequence[int]
) -> Iterator[LotParent]:
    for group, lot in zip(groups, lots, strict=True):
        shares: dict[int, float] = {}
        for tank in group:
            shares[inside[tank]] = shares.get(inside[tank], 0.0) + 1.0 / len(group)
        for parent, fraction in shares.items():
            yield LotParent(child=lot, parent_id=parent, fraction=fraction)


def traced(lots: Sequence[ResinLot]) -> list[float]:
    """Seconds of each trace."""
    taken = []
    for lot in lots:
        began = perf_counter()
        trace_of_lot(lot)
        taken.append(perf_counter() - began)
    return taken


def lots_to_trace(rounds: int, count: int) -> list[ResinLot]:
    """Deliveries, of which every later lot of the pool holds some, and lots of all ages."""
    codes = [f"NEW-{number}" for number in range(POOLS)]
    dice = random.Random(7)
    codes += [
        f"L-{dice.randrange(POOLS)}-{dice.randrange(rounds)}-{dice.randrange(TANKS // IN_A_BATCH)}"
        for _ in range(count - POOLS)
    ]
    found = ResinLot.objects.select_related("resin_type").filter(code__in=codes)
    return list(found)


@pytest.mark.requirement("RS-03")
def test_a_trace_is_whole(plant: SmallPlant) -> None:
    """Of a delivery every tank of its pool holds resin, all of it; every visit, batch and lot of the pool is counted."""
    rounds = 3
    many_visits(plant, POOLS * TANKS * rounds)
    trace = trace_of_lot(ResinLot.objects.get(code="NEW-0"))
    batches_in_a_round = -(-TANKS // IN_A_BATCH)
    assert (trace.now_count, trace.tank_count) == (TANKS, TANKS)
    assert trace.visit_count == rounds * TANKS
    assert trace.batch_count == trace.younger_count == rounds * batches_in_a_round
    assert all(tank.share_now_frac == pytest.approx(1.0) for tank in trace.tanks)
    tip = trace_of_lot(ResinLot.objects.get(code=f"L-0-{rounds - 1}-0"))
    assert sum(one.share_frac for one in tip.older if one.generation == 1) == pytest.approx(1.0)
    (origin,) = [one for one in tip.older if one.code == "NEW-0"]
    assert origin.share_frac == pytest.approx(1.0) and origin.generation == rounds
    assert max(traced(lots_to_trace(rounds, 30))) <= ROOM * TRACE_P95_S


@pytest.mark.long
def test_a_lot_is_traced_both_ways_among_a_million_visits(plant: SmallPlant) -> None:
    visits = 1_000_000
    many_visits(plant, visits)
    lots = lots_to_trace(visits // (POOLS * TANKS), 120)
    traced(lots[:5])
    taken = sorted(traced(lots))
    p50, p95 = taken[len(taken) // 2], taken[int(len(taken) * 0.95)]
    counted: dict[str, Any] = {
        "visits": TankVisit.objects.count(), "lots": ResinLot.objects.count(), "batches": Batch.objects.count(),
        "traces": len(taken), "trace_p50_ms": round(1000 * p50), "trace_p95_ms": round(1000 * p95), "slowest_trace_ms": round(1000 * taken[-1]),
    }  # fmt: skip
    figures.keep("trace", connection.vendor, **counted)
    assert p95 <= TRACE_P95_S, counted
