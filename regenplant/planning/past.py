"""Days that are over as a planning problem: what a plan would have made of them, against the whiteboard way. Reads the record, writes nothing.

The tanks are those of the batches that were begun on these days, each from when it came to when it was due; recipes, doses and times are
those of the frozen plans, by the litre; limits, shifts and openings those of now. Stock is taken as kept up and the waste tank as empty at
the beginning, for what was delivered and discharged then is no choice of a plan. Batches that were reworks are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.waste_room import waste_by_step
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.scheduling.from_plan import stages_of
from regenplant.core.scheduling.problem import ChemicalSupply, Problem, Stage, Tank, Vessel, VesselState
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.shared import shared_at
from regenplant.plant.days import start_of_day
from regenplant.plant.models import Vessel as VesselRow

SLOT_MIN = 5
MOST_DAYS = 14
DAYS_AFTER = 10
"""So many days behind the last one are open to what was not done by then."""
PLENTY_KG = 1e6


@dataclass(frozen=True, slots=True)
class Past:
    """The problem, and its tanks in the order of their coming. A tank is named by the number of its round trip."""

    problem: Problem
    order: tuple[str, ...]
    batches: int
    """That were begun on these days."""


def past_days(first: date, days: int, figures: PlanningFigures) -> Past:
    """The problem of ``days`` days from ``first`` on.

    Raises: OutOfRange for a number of days outside 1 to ``MOST_DAYS``; RecordRefused where no batch was begun on them.
    """
    if not 1 <= days <= MOST_DAYS:
        raise OutOfRange(f"From 1 to {MOST_DAYS} days are looked at, not {days}.", field="days")
    begins, ends = start_of_day(first), start_of_day(first + timedelta(days=days))
    rows = list(
        Batch.objects.filter(planned_at__gte=begins, planned_at__lt=ends, parent__isnull=True)
        .select_related("vessel", "resin_type")
        .prefetch_related("tank_links__visit__tank__dedicated_to")
        .order_by("planned_at", "number")
    )
    if not rows:
        raise RecordRefused(f"No batch was begun in {days} days from {first} on.", code="no_batches")
    clock = PlanClock(begins, SLOT_MIN, days + DAYS_AFTER)
    shared = shared_at(clock, figures).limits
    stages: dict[tuple[str, str], tuple[Stage, ...]] = {}
    for row in rows:
        where = (row.vessel.code, row.resin_type.code)
        if where not in stages:
            stages[where] = stages_of(plan_of(row), waste_by_step(row), figures.hands)
    tanks = tuple(_tanks(rows, clock))
    problem = replace(
        shared,
        name=f"{days} days from {first}",
        tanks=tanks,
        vessels=tuple(_vessels(rows, stages)),
        recipes={(code, "standard"): found for (_, code), found in stages.items()},
        vessel_recipes={(vessel, code, "standard"): found for (vessel, code), found in stages.items()},
        chemicals={
            name: ChemicalSupply(max(1, supply.skid_lines), PLENTY_KG, 0.0, ())
            for name, supply in shared.chemicals.items()
        },
        waste=replace(shared.waste, initial_l=0.0),
    )
    order = sorted((tank.id for tank in tanks), key=lambda number: (len(number), number))
    return Past(problem, tuple(order), len(rows))


def _tanks(rows: Iterable[Batch], clock: PlanClock) -> Iterable[Tank]:
    for row in rows:
        for link in row.tank_links.all():
            visit = link.visit
            owner = visit.tank.dedicated_to
            yield Tank(
                id=visit.number,
                family=row.resin_type.code,
                volume_l=round(visit.resin_volume_m3 * 1000, 1),
                segregation=row.segregation_class,
                lot=owner.code if owner is not None else None,
                condition="normal",
                received_min=max(0, clock.minute(visit.received_at)),
                due_min=clock.minute(visit.due_at) if visit.due_at is not None else clock.end_min,
                priority=1,
            )


def _vessels(rows: Sequence[Batch], stages: dict[tuple[str, str], tuple[Stage, ...]]) -> Iterable[Vessel]:
    """Those that may take the resin; a mixed bed only where one was run, since the anion leg has a vessel of its own."""
    types = {row.resin_type.code: row.resin_type for row in rows}
    seen = {vessel for vessel, _ in stages}
    for vessel in VesselRow.objects.filter(is_active=True).order_by("code"):
        families = {
            code
            for code, resin in types.items()
            if (vessel.code, code) in stages
            or (
                resin.family in vessel.families
                and not ResinFamily(resin.family).is_mixed
                and not vessel.takes_anion_leg_only
                and not vessel.is_locked_out
            )
        }
        if families and (vessel.code in seen or not vessel.is_locked_out):
            yield Vessel(
                id=vessel.code,
                max_fill_l=vessel.bed_volume_max_m3 * 1000,
                min_fill_l=vessel.bed_volume_min_m3 * 1000,
                families=frozenset(families),
                segregation=frozenset(vessel.segregation_classes),
                previous=VesselState("", "", None),
                ready_min=0,
            )
