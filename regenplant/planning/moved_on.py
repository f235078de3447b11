"""What of a made plan is no longer so: tanks taken meanwhile, vessels locked out or taken, recipes withdrawn, times gone by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta

from django.utils import timezone

from regenplant.batches.readiness import occupants
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.scheduling.plan import PlannedBatch as BatchOfPlan
from regenplant.planning.members import Member, missing
from regenplant.planning.selectors import PlanShown
from regenplant.plant.models import Vessel
from regenplant.recipes.models import RecipeVersion
from regenplant.tanks.models import ExpectedTank, TankVisit

LATE_START = timedelta(minutes=30)
"""So long after its planned beginning a batch that nobody started makes a plan one of the past."""
STANDING_STILL = (BatchState.HELD, BatchState.FAILED, BatchState.ABORTED)


def members_of(view: PlanShown) -> dict[str, Member]:
    """The tanks that were planned, by serial: in the round trips in which they were here, or as they were expected. Two queries."""
    rows = TankVisit.objects.filter(number__in=list(view.names.visits.values())).select_related(
        "tank", "resin_type", "customer"
    )
    found = {row.tank.serial: Member(row.tank, row.customer, row, None) for row in rows}
    coming = ExpectedTank.objects.filter(number__in=list(view.names.expected.values())).select_related(
        "tank", "customer", "visit__tank"
    )
    return found | {row.tank.serial: Member(row.tank, row.customer, row.visit, row) for row in coming}


def moved_on(view: PlanShown, now: datetime) -> tuple[str, ...]:
    """Everything that keeps the plan from being the plan of the plant, each a sentence."""
    tanks = members_of(view)
    found: list[str] = []
    for batch in view.plan.batches:
        start = view.clock.moment(batch.start_min)
        found.extend(_tanks(batch, tanks, start, now))
        if start + LATE_START < now:
            local = timezone.localtime(start)
            found.append(f"{batch.id} was to begin in {batch.vessel} at {local:%H:%M} on {local:%Y-%m-%d}.")
    found.extend(_vessels(view))
    found.extend(_recipes(view, now))
    return tuple(dict.fromkeys(found))


def _tanks(
    batch: BatchOfPlan, tanks: Mapping[str, Member], begins_at: datetime, now: datetime
) -> Iterator[str]:
    for serial in batch.tanks:
        member = tanks.get(serial)
        if member is None:
            yield f"{serial} is not here any more."
        elif sentence := missing(member, begins_at, now):
            yield sentence


def vessels_used(view: PlanShown) -> dict[str, str]:
    """Codes of the vessels that the plan uses, anion vessels too, with the name of the first batch that needs each."""
    tanks = {tank.id: tank.family for tank in view.problem.tanks}
    used: dict[str, str] = {}
    for batch in sorted(view.plan.batches, key=lambda one: one.start_min):
        used.setdefault(batch.vessel, batch.id)
        way = view.names.ways.get(tanks[batch.tanks[0]])
        beside = way.anion_vessels.get(batch.vessel) if way else None
        if beside:
            used.setdefault(beside, batch.id)
    return used


def _vessels(view: PlanShown) -> Iterator[str]:
    known = {batch.id for batch in view.problem.running}
    used = vessels_used(view)
    for vessel in Vessel.objects.filter(code__in=used).order_by("code"):
        if not vessel.is_active:
            yield f"{vessel.code} is not in use any more."
        if vessel.is_locked_out:
            yield f"{vessel.code} is locked out: {vessel.lock_out_reason}."
        for batch in occupants(vessel):
            if batch.state in STANDING_STILL:
                yield f"{batch.number} stands in {vessel.code} and is {batch.get_state_display()}."
            elif batch.number not in known:
                yield f"{batch.number} was started in {vessel.code} after the plan was made."


def recipe_of(view: PlanShown, family: str) -> RecipeVersion | None:
    """The recipe version by which a kind of resin was planned."""
    way = view.names.ways.get(family)
    if way is None:
        return None
    return (
        RecipeVersion.objects.select_related("recipe")
        .filter(recipe__code=way.recipe, number=way.version)
        .first()
    )


def _recipes(view: PlanShown, now: datetime) -> Iterator[str]:
    held = {name for batch in view.plan.batches for name in batch.tanks}
    for family in sorted({tank.family for tank in view.problem.tanks if tank.id in held}):
        recipe = recipe_of(view, family)
        if recipe is None:
            yield f"The recipe of {family} is not on record."
        elif recipe.state != RecipeVersion.State.APPROVED:
            yield f"Recipe {recipe.recipe.code} version {recipe.number} is {recipe.state}, not approved any more."
