"""Starting a batch: pools that wait, vessels they fit, the suggested tanks with the reason of each, and the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.frozen import freeze
from regenplant.batches.preview import Wanted, preview, visits_for
from regenplant.batches.readiness import occupied_vessels, unfit
from regenplant.batches.selectors.offered_recipes import OfferedRecipe, offered_recipes
from regenplant.batches.worked_out import Chosen, choose
from regenplant.core.errors import DomainError
from regenplant.core.process.plan import BatchPlan, FeedData
from regenplant.core.process.tank_selection import Choice, Selection, WaitingTank, select_tanks
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.plant.models import Vessel
from regenplant.plant.selectors import feed_data
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.recipes.selectors import runs_apart, usable_specification_versions
from regenplant.resins.models import ResinType
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
    taken = occupied if occupied is not None else occupied_vessels()
    return tuple(_pool_fit(pool, all_vessels, taken) for pool in waiting_by_key(now))


def _pool_fit(pool: WaitingPool, vessels: Sequence[Vessel], taken: set[int]) -> PoolFit:
    fits = [
        _vessel_fit(pool.visits, vessel, pool.segregation_class, taken)
        for vessel in vessels
        if _may_take(vessel, pool)
    ]
    return PoolFit(pool, tuple(sorted(fits, key=_rank)))


def _may_take(vessel: Vessel, pool: WaitingPool) -> bool:
    """Whether a vessel is made for the whole bed of this pool, and its class."""
    if ResinFamily(pool.resin_type.family).is_mixed and vessel.takes_anion_leg_only:
        return False
    return pool.resin_type.family in vessel.families and pool.segregation_class in vessel.segregation_classes


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
    is_free = vessel.pk not in taken and not vessel.is_locked_out
    return VesselFit(vessel, selection, is_free, _against(vessel, taken))


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
    recipes: tuple[OfferedRecipe, ...]
    """The one to take first; those that cannot run in this vessel last."""
    recipe: RecipeVersion | None
    specifications: tuple[SpecificationVersion, ...]
    specification: SpecificationVersion | None
    plan: BatchPlan | None
    """None when no tank is chosen, no recipe is approved, or the vessel of the anion leg is still to be chosen."""
    plan_digest: str
    needs_anion_vessel: bool = False
    """Whether the chosen recipe runs the legs of a mixed bed apart, so that a second vessel is wanted."""
    anion_vessels: tuple[AnionVessel, ...] = ()
    """Vessels that may take the anion resin, free ones first; empty unless one is needed."""
    anion_vessel: Vessel | None = None
    throughput_m3: float | None = None
    chosen: Chosen | None = None
    """What holds for the tanks that are in: the specification itself, or the strictest of several customers'."""
    specification_refused: str = ""
    """Why the customers' specifications cannot hold together; "" where they can."""
    feed: FeedData | None = None
    """The plant's feed analysis, with which a throughput says what the resin holds; None where none is on record."""


@dataclass(frozen=True, slots=True)
class AnionVessel:
    """A vessel that may take the anion leg, and what speaks against it now."""

    vessel: Vessel
    reasons_against: tuple[str, ...]

    @property
    def may_start(self) -> bool:
        return not self.reasons_against


def anion_vessels_for(
    resin_type: ResinType,
    segregation_class: str,
    *,
    anion_m3: float = 0.0,
    except_for: Vessel | None = None,
    occupied: set[int] | None = None,
) -> tuple[AnionVessel, ...]:
    """Vessels made for the anion resin of a mixed bed, or for such mixed beds, and its class, the best first.

    The best is free, rated for the anion resin's volume ``anion_m3`` [m^3], meant for the anion leg, and made for such mixed
    beds too.
    """
    if resin_type.anion_type is None:
        return ()
    taken = occupied if occupied is not None else occupied_vessels()
    found = [
        AnionVessel(vessel, _against(vessel, taken))
        for vessel in Vessel.objects.filter(is_active=True)
        if (resin_type.anion_type.family in vessel.families or resin_type.family in vessel.families)
        and segregation_class in vessel.segregation_classes
        and (except_for is None or vessel.pk != except_for.pk)
    ]

    def rank(one: AnionVessel) -> tuple[bool, bool, bool, bool, str]:
        vessel = one.vessel
        holds = vessel.bed_volume_min_m3 <= anion_m3 <= vessel.bed_volume_max_m3
        return (
            not one.may_start,
            not holds,
            not vessel.takes_anion_leg_only,
            resin_type.family not in vessel.families,
            vessel.code,
        )

    return tuple(sorted(found, key=rank))


def _against(vessel: Vessel, taken: set[int]) -> tuple[str, ...]:
    against = []
    if vessel.is_locked_out:
        against.append(f"{vessel.code} is locked out: {vessel.lock_out_reason}.")
    if vessel.pk in taken:
        against.append(f"{vessel.code} holds another batch.")
    return tuple(against)


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
    anion_vessel_id: int | None = None,
    throughput_m3: float | None = None,
    is_vessel_new: bool = False,
) -> StartPage | None:
    """The start page of one pool; None when nothing of this pool waits or no vessel takes it.

    Without ``visit_ids`` the suggestion is chosen; with them exactly those of the pool. Without ``anion_vessel_id`` the best
    free vessel for the anion leg is suggested, where the recipe wants one. ``throughput_m3``: water the tanks treated [m^3].
    ``is_vessel_new``: the recipe was chosen for another vessel; where it cannot run in this one, the suggested one is taken.
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
    picked = set(visit_ids) if visit_ids is not None else {c.key for c in fit.selection.choices if c.is_in}
    order = {choice.key: index for index, choice in enumerate(fit.selection.choices)}
    tanks = tuple(
        TankChoice(visit, visit.pk in picked, by_key.get(visit.pk), unfit(visit, None, now))
        for visit in sorted(found.pool.visits, key=lambda visit: order[visit.pk])
    )
    in_batch = [tank.visit.pk for tank in tanks if tank.is_in]
    family, grade = found.pool.resin_type.family, found.pool.resin_type.grade
    recipes = offered_recipes(found.pool.resin_type, fit.vessel, now)
    specifications = usable_specification_versions(family, grade, now)
    recipe = _chosen_recipe(recipes, recipe_version_id, is_vessel_new)
    specification = next(
        (s for s in specifications if s.pk == specification_version_id),
        specifications[0] if specifications else None,
    )
    chosen, refused = _chosen_specification(specification, tanks, now)
    needs_anion_vessel = recipe is not None and runs_apart(recipe)
    anion_vessels: tuple[AnionVessel, ...] = ()
    anion_vessel = None
    if needs_anion_vessel:
        volume_m3 = sum(tank.visit.resin_volume_m3 for tank in tanks if tank.is_in)
        anion_vessels = anion_vessels_for(
            found.pool.resin_type,
            found.pool.segregation_class,
            anion_m3=volume_m3 * (1.0 - (found.pool.resin_type.cation_share_frac or 0.0)),
            except_for=fit.vessel,
        )
        anion_vessel = _chosen_anion_vessel(anion_vessels, anion_vessel_id)
    plan = None
    if in_batch and recipe and (anion_vessel is not None or not needs_anion_vessel):
        wanted = Wanted(visits_for(in_batch), fit.vessel, recipe, anion_vessel, throughput_m3=throughput_m3)
        plan = preview(wanted, now)
    return StartPage(
        pool=found.pool,
        fits=found.fits,
        fit=fit,
        tanks=tanks,
        chosen_volume_m3=sum(tank.visit.resin_volume_m3 for tank in tanks if tank.is_in),
        recipes=recipes,
        recipe=recipe,
        specifications=tuple(specifications),
        specification=specification,
        plan=plan,
        plan_digest=freeze(plan)[1] if plan else "",
        needs_anion_vessel=needs_anion_vessel,
        anion_vessels=anion_vessels,
        anion_vessel=anion_vessel,
        throughput_m3=throughput_m3,
        feed=feed_data(),
        chosen=chosen,
        specification_refused=refused,
    )


def _chosen_specification(
    version: SpecificationVersion | None, tanks: Sequence[TankChoice], now: datetime
) -> tuple[Chosen | None, str]:
    """What holds for the tanks that are in, or why nothing can."""
    visits = [tank.visit for tank in tanks if tank.is_in]
    if version is None or not visits:
        return None, ""
    try:
        return choose(version, visits, now), ""
    except DomainError as refusal:
        return None, refusal.message


def _chosen_recipe(
    offered: Sequence[OfferedRecipe], pk: int | None, is_vessel_new: bool
) -> RecipeVersion | None:
    """The one asked for, if it is offered; without a wish the first."""
    first = offered[0] if offered else None
    asked = next((one for one in offered if one.version.pk == pk), first)
    if asked is not None and first is not None and is_vessel_new and first.can_run and not asked.can_run:
        asked = first
    return asked.version if asked else None


def _chosen_anion_vessel(offered: Sequence[AnionVessel], pk: int | None) -> Vessel | None:
    """The one asked for, if it is offered; without a wish the first that may start."""
    if pk is not None:
        return next((one.vessel for one in offered if one.vessel.pk == pk), None)
    return next((one.vessel for one in offered if one.may_start), None)


def _is_pool(
    pool: WaitingPool, resin_type_id: int, segregation_class: str, dedicated_to_id: int | None
) -> bool:
    dedicated = pool.dedicated_to.pk if pool.dedicated_to else None
    return (
        pool.resin_type.pk == resin_type_id
        and pool.segregation_class == segregation_class
        and dedicated == dedicated_to_id
    )
