"""Starting a batch: pools that wait, vessels they fit, the suggested tanks with the reason of each, and the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.frozen import freeze
from regenplant.batches.preview import preview, visits_for
from regenplant.batches.readiness import occupants, unfit
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.tank_selection import Choice, Selection, WaitingTank, select_tanks
from regenplant.plant.models import Vessel
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.recipes.selectors import usable_recipe_versions, usable_specification_versions
from regenplant.tanks.models import TankVisit
from regenplant.tanks.selectors import WaitingPool, waiting_by_key


@dataclass(frozen=True, slots=True)
class VesselFit:
    """A vessel as seen by one pool."""

    vessel: Vessel
    selection: Selection
    is_free: bool
    reasons_against: tuple[str, ...]

    @property
    def may_start(self) -> bool:
        return (
            not self.reasons_against
            and self.selection.short_of_minimum_m3 == 0
            and bool(self.selection.volume_m3)
        )


@dataclass(frozen=True, slots=True)
class PoolFit:
    """A waiting pool with its vessels, best first: one that can start now, else one that only waits for tanks."""

    pool: WaitingPool
    fits: tuple[VesselFit, ...]

    @property
    def best(self) -> VesselFit | None:
        return self.fits[0] if self.fits else None


def pool_fits(
    now: datetime, *, vessels: Sequence[Vessel] | None = None, occupied: set[int] | None = None
) -> tuple[PoolFit, ...]:
    """Every waiting pool with the vessels that may take it."""
    all_vessels = list(vessels if vessels is not None else Vessel.objects.filter(is_active=True))
    taken = occupied if occupied is not None else set(occupants().values_list("vessel_id", flat=True))
    return tuple(_pool_fit(pool, all_vessels, taken) for pool in waiting_by_key(now))


def _pool_fit(pool: WaitingPool, vessels: Sequence[Vessel], taken: set[int]) -> PoolFit:
    fits = [
        _vessel_fit(pool.visits, vessel, pool.segregation_class, taken)
        for vessel in vessels
        if pool.resin_type.family in vessel.families and pool.segregation_class in vessel.segregation_classes
    ]
    return PoolFit(pool, tuple(sorted(fits, key=_rank)))


def _rank(fit: VesselFit) -> tuple[bool, bool, float, str]:
    return (
        not fit.may_start,
        not fit.is_free,
        fit.selection.short_of_minimum_m3 - fit.selection.volume_m3,
        fit.vessel.code,
    )


def _vessel_fit(
    visits: Sequence[TankVisit], vessel: Vessel, segregation_class: str, taken: set[int]
) -> VesselFit:
    waiting = [
        WaitingTank(visit.pk, visit.tank.serial, visit.resin_volume_m3, visit.received_at, visit.due_at)
        for visit in visits
    ]
    selection = select_tanks(
        waiting, bed_min_m3=vessel.bed_volume_min_m3, bed_max_m3=vessel.bed_volume_max_m3
    )
    against = []
    if vessel.is_locked_out:
        against.append(f"{vessel.code} is locked out: {vessel.lock_out_reason}.")
    if vessel.pk in taken:
        against.append(f"{vessel.code} holds another batch.")
    return VesselFit(vessel, selection, vessel.pk not in taken and not vessel.is_locked_out, tuple(against))


@dataclass(frozen=True, slots=True)
class TankChoice:
    """A tank on the start page: in or out, and why."""

    visit: TankVisit
    is_in: bool
    choice: Choice | None
    unfit: str


@dataclass(frozen=True, slots=True)
class StartPage:
    pool: WaitingPool
    fits: tuple[VesselFit, ...]
    fit: VesselFit
    tanks: tuple[TankChoice, ...]
    chosen_volume_m3: float
    recipes: tuple[RecipeVersion, ...]
    recipe: RecipeVersion | None
    specifications: tuple[SpecificationVersion, ...]
    specification: SpecificationVersion | None
    plan: BatchPlan | None
    """None when no tank is chosen or no recipe is approved."""
    plan_digest: str


def start_page(
    now: datetime,
    *,
    resin_type_id: int,
    segregation_class: str,
    dedicated_to_id: int | None,
    vessel_id: int | None = None,
    visit_ids: Sequence[int] | None = None,
    recipe_version_id: int | None = None,
    specification_version_id: int | None = None,
) -> StartPage | None:
    """The start page of one pool; None when nothing of this pool waits or no vessel takes it.

    Without ``visit_ids`` the suggestion is chosen; with them exactly those of the pool.
    """
    found = next(
        (
            fit
            for fit in pool_fits(now)
            if _is_pool(fit.pool, resin_type_id, segregation_class, dedicated_to_id)
        ),
        None,
    )
    if found is None or not found.fits:
        return None
    fit = next((fit for fit in found.fits if fit.vessel.pk == vessel_id), found.fits[0])
    by_key = {choice.key: choice for choice in fit.selection.choices}
    chosen = set(visit_ids) if visit_ids is not None else {c.key for c in fit.selection.choices if c.is_in}
    order = {choice.key: index for index, choice in enumerate(fit.selection.choices)}
    tanks = tuple(
        TankChoice(visit, visit.pk in chosen, by_key.get(visit.pk), unfit(visit, None))
        for visit in sorted(found.pool.visits, key=lambda visit: order[visit.pk])
    )
    in_batch = [tank.visit.pk for tank in tanks if tank.is_in]
    family, grade = found.pool.resin_type.family, found.pool.resin_type.grade
    recipes, specifications = (
        usable_recipe_versions(family, grade, now),
        usable_specification_versions(family, grade, now),
    )
    recipe = next((r for r in recipes if r.pk == recipe_version_id), recipes[0] if recipes else None)
    specification = next(
        (s for s in specifications if s.pk == specification_version_id),
        specifications[0] if specifications else None,
    )
    plan = None
    if in_batch and recipe:
        plan = preview(visits=visits_for(in_batch), vessel=fit.vessel, recipe_version=recipe, now=now)
    return StartPage(
        pool=found.pool,
        fits=found.fits,
        fit=fit,
        tanks=tanks,
        chosen_volume_m3=sum(tank.visit.resin_volume_m3 for tank in tanks if tank.is_in),
        recipes=tuple(recipes),
        recipe=recipe,
        specifications=tuple(specifications),
        specification=specification,
        plan=plan,
        plan_digest=freeze(plan)[1] if plan else "",
    )


def _is_pool(
    pool: WaitingPool, resin_type_id: int, segregation_class: str, dedicated_to_id: int | None
) -> bool:
    dedicated = pool.dedicated_to.pk if pool.dedicated_to else None
    return (
        pool.resin_type.pk == resin_type_id
        and pool.segregation_class == segregation_class
        and dedicated == dedicated_to_id
    )
