"""From records to a plan, with nothing saved: what a batch of these tanks in this vessel would need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from regenplant.batches.routes import is_metal_plan, route_checks
from regenplant.batches.sewer_budget import budget_checks
from regenplant.batches.waste_room import committed_m3
from regenplant.chemicals.selectors import stock_data
from regenplant.core.errors import RecordRefused
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.metal_route import for_metal
from regenplant.core.process.plan import BatchPlan, Check, PlanRequest, Severity, WasteData
from regenplant.core.process.vocabulary import IonicForm
from regenplant.plant.limits import limits_in_force
from regenplant.plant.models import Vessel
from regenplant.plant.selectors import (
    feed_data,
    is_eyewash_overdue,
    plant_day,
    profile,
    skids_by_chemical,
    vessel_data,
    waste_data,
    waters_by_kind,
)
from regenplant.recipes.models import RecipeVersion
from regenplant.recipes.selectors import recipe_definition
from regenplant.resins.capacities import factors_of
from regenplant.resins.selectors import mixed_data, resin_data
from regenplant.tanks.models import TankVisit


def visits_for(visit_ids: Sequence[int]) -> list[TankVisit]:
    """The visits in the order given. Raises RecordRefused when one is unknown or named twice."""
    found = {
        visit.pk: visit
        for visit in TankVisit.objects.filter(pk__in=visit_ids).select_related(
            "tank__resin_lot",
            "tank__size",
            "tank__dedicated_to",
            "resin_type__cation_type",
            "resin_type__anion_type",
            "customer",
        )
    }
    if not visit_ids:
        raise RecordRefused("No tank is chosen. Choose the tanks that go into this batch.", field="tanks")
    if len(set(visit_ids)) != len(visit_ids) or len(found) != len(visit_ids):
        raise RecordRefused(
            "The list of tanks names a tank twice or one that is not known here.", field="tanks"
        )
    return [found[pk] for pk in visit_ids]


def one_pool(visits: Sequence[TankVisit]) -> None:
    """Raises RecordRefused unless all visits share one pooling key; a key is never crossed, by nobody."""
    keys = {pooling_key(visit) for visit in visits}
    if len(keys) > 1:
        first = visits[0]
        other = next(visit for visit in visits if pooling_key(visit) != pooling_key(first))
        raise RecordRefused(
            f"{other.tank.serial} is {describe_key(other)}; {first.tank.serial} is {describe_key(first)}. "
            "Different pools are never mixed.",
            code="mixed_pool",
            field="tanks",
        )


def pooling_key(visit: TankVisit) -> tuple[int, str, int]:
    """Resin type (with family and grade), class, and the customer for dedicated resin."""
    return (visit.resin_type_id, visit.segregation_class, visit.tank.dedicated_to_id or 0)


def describe_key(visit: TankVisit) -> str:
    dedicated = f", dedicated to {visit.tank.dedicated_to}" if visit.tank.dedicated_to_id else ""
    return f"{visit.resin_type.code} class {visit.segregation_class}{dedicated}"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a batch is planned from: the tanks, where, how, and what is known of their service."""

    visits: Sequence[TankVisit]
    vessel: Vessel
    recipe_version: RecipeVersion
    anion_vessel: Vessel | None = None
    """Where the anion leg of a mixed bed runs, when the recipe runs the legs apart."""
    resin_volume_m3: float | None = None
    """Of a rework: what is in the vessel [m^3]; None adds up the tanks."""
    eluted_equivalents: float | None = None
    """Equivalents on the resin, if somebody knows them [eq]."""
    throughput_m3: float | None = None
    """Water the tanks treated, all together [m^3]; with the plant's feed analysis it gives the load."""
    batch_id: int | None = None
    """Key of the batch that is looked at again; None for one that is not planned yet."""


def request_for(wanted: Wanted, now: datetime) -> PlanRequest:
    """The plan request for these records as they are now."""
    visits = wanted.visits
    first = visits[0]
    lots = {visit.tank.resin_lot.pk: visit.tank.resin_lot for visit in visits if visit.tank.resin_lot}
    lot_code = ", ".join(sorted(lot.code for lot in lots.values())) or "not recorded"
    factor = min(factors_of(lots.values()).values(), default=1.0)
    cycles = max((lot.cycles for lot in lots.values()), default=0)
    return PlanRequest(
        recipe=recipe_definition(wanted.recipe_version),
        recipe_version=wanted.recipe_version.number,
        segregation_class=first.segregation_class,
        resin=resin_data(first.resin_type, lot_code, factor, cycles),
        resin_volume_m3=wanted.resin_volume_m3 or sum(visit.resin_volume_m3 for visit in visits),
        resin_volume_form=IonicForm(first.resin_volume_form),
        vessel=vessel_data(wanted.vessel),
        stock=stock_data(now),
        skids=skids_by_chemical(),
        waters=waters_by_kind(),
        waste=_waste(now, wanted.batch_id),
        eluted_equivalents=wanted.eluted_equivalents,
        mixed=mixed_data(first.resin_type, lot_code, factor, cycles),
        anion_vessel=vessel_data(wanted.anion_vessel) if wanted.anion_vessel else None,
        feed=feed_data(),
        limits=limits_in_force(now),
        throughput_m3=wanted.throughput_m3,
    )


def _waste(now: datetime, besides: int | None) -> WasteData:
    """The waste tank with what batches under way still send there: that room is theirs."""
    waste = waste_data(now)
    return replace(waste, level_m3=waste.level_m3 + committed_m3(besides))


def preview(wanted: Wanted, now: datetime) -> BatchPlan:
    """The plan for these tanks in this vessel, with the plant's own checks added to those of the core."""
    plan = plan_batch(request_for(wanted, now))
    if is_metal_plan(plan, wanted.visits):
        plan = for_metal(plan)
    own = (
        *route_checks(plan, wanted.visits, now),
        *_plant_checks(plan, now),
        *_history_checks(plan, wanted.visits),
        *budget_checks(plan, now, wanted.batch_id),
    )
    return replace(plan, checks=(*plan.checks, *own))


def _history_checks(plan: BatchPlan, visits: Sequence[TankVisit]) -> list[Check]:
    """A recipe that limits the regenerations behind the resin needs to know them: every tank has a lot on record."""
    most = plan.request.recipe.limits.get("resin_cycles_max")
    if most is None:
        return []
    unknown = [visit.tank.serial for visit in visits if visit.tank.resin_lot is None]
    return [
        Check(
            code="resin_history_known",
            is_met=not unknown,
            severity=Severity.BLOCKER,
            sentence=(
                f"Recipe {plan.request.recipe.code} takes resin with at most {most:.0f} regenerations behind it; of "
                f"{', '.join(unknown)} no lot is on record, so nobody knows. Write down the lot, or choose other tanks."
                if unknown
                else "The lot of every tank is on record."
            ),
        )
    ]


def _plant_checks(plan: BatchPlan, now: datetime) -> list[Check]:
    """What the plant's records say beyond the core: the eyewash test (CS-04)."""
    if not any(step.chemical for step in plan.steps):
        return []
    plant = profile()
    overdue = is_eyewash_overdue(plant, plant_day(now))
    tested = (
        f"last tested {plant.eyewash_tested_on.isoformat()}" if plant.eyewash_tested_on else "never tested"
    )
    return [
        Check(
            code="eyewash_test",
            is_met=not overdue,
            severity=Severity.WARNING,
            sentence=(
                f"The eyewash test is overdue ({tested}, at most {plant.eyewash_test_interval_days} days allowed). "
                "No chemical starts until it is written down."
                if overdue
                else f"The eyewash was tested in time ({tested})."
            ),
        )
    ]
