"""The planning problem of the plant as it stands: tanks that wait, vessels and what they held, stock, water, waste room, people.

Nothing is saved. What cannot be planned at all (no recipe, no vessel, a vessel that is locked out) is left out and said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from regenplant.batches.preview import Wanted, preview
from regenplant.batches.readiness import occupied_vessels
from regenplant.batches.routes import usual
from regenplant.batches.selectors.offered_recipes import offered_recipes
from regenplant.batches.selectors.start import anion_vessels_for
from regenplant.core.errors import DomainError
from regenplant.core.process.drains import Destination
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_waste import waste_shares
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.process.wording import listed
from regenplant.core.scheduling.from_plan import stages_of
from regenplant.core.scheduling.problem import (
    Problem,
    Stage,
    Tank,
    Vessel,
    VesselState,
    Window,
)
from regenplant.planning.awaited import Awaited, awaited_tanks
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import DEFAULTS, PlanningFigures
from regenplant.planning.running import VesselAtWork, laid_under_way
from regenplant.planning.shared import shared_at
from regenplant.plant.drain_table import table_in_force
from regenplant.plant.models import Vessel as VesselRow
from regenplant.recipes.models import RecipeVersion
from regenplant.recipes.selectors import runs_apart
from regenplant.tanks.models import TankVisit
from regenplant.tanks.selectors import WaitingPool, rushed_customers, waiting_by_key

SLOT_MIN = 5


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Tanks that no plan holds, and why, as a sentence."""

    serials: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Way:
    """How one kind of resin is regenerated in the plan: its recipe, and where each vessel's anion leg runs."""

    recipe: RecipeVersion
    vessels: tuple[VesselRow, ...]
    anion_vessels: Mapping[str, VesselRow]
    """By code of the vessel that takes the whole bed; empty for recipes that need one vessel only."""


@dataclass(frozen=True, slots=True)
class LivePlant:
    """The problem, and what leads back from it to the records."""

    problem: Problem
    clock: PlanClock
    visits: Mapping[str, TankVisit]
    """By serial of the tank, which names it in the problem; of one that is on its way as it will be, not saved."""
    awaited: Mapping[str, Awaited]
    """Those of them that do not wait yet."""
    ways: Mapping[str, Way]
    """By code of the resin type, which is the family of the problem."""
    rush: Mapping[str, str]
    """Name of the customer whose contract makes a tank count as rush, by its serial."""
    left_out: tuple[LeftOut, ...]
    assumed: tuple[str, ...]
    """What the plan takes for granted and somebody has to do or to know, each a sentence."""


def live_plant(
    now: datetime, figures: PlanningFigures = DEFAULTS, *, present: datetime | None = None
) -> LivePlant:
    """The plant at this moment as a planning problem. ``present`` is when it is asked for, where ``now`` lies ahead of that.

    Raises: RecordRefused where no waste tank is set up.
    """
    clock = PlanClock(now, SLOT_MIN, figures.days)
    coming = awaited_tanks(present or now, clock.moment(clock.end_min), figures.look_over_min)
    awaited = {one.visit.tank.serial: one for one in coming.counted}
    pools = _with_awaited(waiting_by_key(now), coming.counted)
    rows = list(VesselRow.objects.filter(is_active=True).order_by("code"))
    shared = shared_at(clock, figures)
    under_way = laid_under_way(shared.limits, clock, figures)
    left_out = [LeftOut((serial,), why) for serial, why in coming.left_out]
    ways = _ways(pools, rows, now, left_out)
    own_stages, kept = _stages(pools, ways, now, figures, left_out)
    rushed = rushed_customers()
    rush = {
        visit.tank.serial: visit.customer.name
        for pool in kept
        for visit in pool.visits
        if visit.customer_id in rushed
    }
    assumed = [*shared.assumed, *coming.assumed, *under_way.said, *_said_of_rush(rush)]
    usual, heaviest = min(shared.limits.priority_weight), max(shared.limits.priority_weight)
    problem = replace(
        shared.limits,
        tanks=tuple(
            _tank(
                visit,
                pool,
                clock,
                awaited.get(visit.tank.serial),
                heaviest if visit.tank.serial in rush else usual,
            )
            for pool in kept
            for visit in pool.visits
        ),
        vessels=tuple(_vessels(rows, ways, under_way.vessels, clock, assumed)),
        recipes={(code, "standard"): found for (_, code), found in own_stages.items()},
        vessel_recipes={(vessel, code, "standard"): found for (vessel, code), found in own_stages.items()},
        running=under_way.batches,
    )
    visits = {visit.tank.serial: visit for pool in kept for visit in pool.visits}
    return LivePlant(problem, clock, visits, awaited, ways, rush, tuple(left_out), tuple(assumed))


def _said_of_rush(rush: Mapping[str, str]) -> list[str]:
    """A sentence for each customer whose contract makes its tanks count as rush."""
    return [
        f"{listed([serial for serial, of in rush.items() if of == name])}: rush, because of the customer; tanks of {name} always are."
        for name in sorted(set(rush.values()))
    ]


def _with_awaited(pools: Sequence[WaitingPool], awaited: Sequence[Awaited]) -> list[WaitingPool]:
    """The waiting pools, those that do not wait yet behind those that do; pools of which none waits last."""

    def key(pool: WaitingPool) -> tuple[int, str, int]:
        return pool.resin_type.pk, pool.segregation_class, pool.dedicated_to.pk if pool.dedicated_to else 0

    found = {key(pool): pool for pool in pools}
    for one in awaited:
        visit = one.visit
        alone = WaitingPool(visit.resin_type, visit.segregation_class, visit.tank.dedicated_to, ())
        pool = found.get(key(alone), alone)
        found[key(alone)] = replace(pool, visits=(*pool.visits, visit))
    return list(found.values())


# --- tanks and how they are regenerated ----------------------------------------------------------------------------------
def _ways(
    pools: Sequence[WaitingPool], rows: Sequence[VesselRow], now: datetime, left_out: list[LeftOut]
) -> dict[str, Way]:
    """By resin type: of the recipes that can run somewhere, the one offered first in most vessels."""
    ways: dict[str, Way] = {}
    for pool in pools:
        code = pool.resin_type.code
        if code in ways:
            continue
        fit = [
            row
            for row in rows
            if pool.resin_type.family in row.families
            and not (ResinFamily(pool.resin_type.family).is_mixed and row.takes_anion_leg_only)
        ]
        offered = {
            row: [one.version for one in offered_recipes(pool.resin_type, row, now) if one.can_run]
            for row in fit
        }
        firsts = [versions[0] for versions in offered.values() if versions]
        if not firsts:
            why = "no approved recipe can run in any vessel" if fit else "no vessel takes this resin"
            left_out.append(LeftOut(_serials(pools, code), f"{code}: {why}."))
            continue
        recipe = max(firsts, key=lambda one: (firsts.count(one), -firsts.index(one)))
        able = [row for row, versions in offered.items() if recipe in versions]
        ways[code] = _with_anion_vessels(pool, recipe, able)
    return ways


def _serials(pools: Sequence[WaitingPool], code: str) -> tuple[str, ...]:
    return tuple(visit.tank.serial for pool in pools if pool.resin_type.code == code for visit in pool.visits)


def _with_anion_vessels(pool: WaitingPool, recipe: RecipeVersion, able: Sequence[VesselRow]) -> Way:
    """A vessel for the anion leg beside each vessel, no two sharing one, where the recipe runs the legs apart."""
    if not runs_apart(recipe):
        return Way(recipe, tuple(able), {})
    pairs: dict[str, VesselRow] = {}
    for row in able:
        offered = anion_vessels_for(
            pool.resin_type,
            pool.segregation_class,
            anion_m3=row.bed_volume_max_m3 * (1.0 - (pool.resin_type.cation_share_frac or 0.0)),
            except_for=row,
            occupied=set(),
        )
        free = [
            one.vessel for one in offered if one.vessel.code not in pairs and one.vessel not in pairs.values()
        ]
        if free and row not in pairs.values():
            pairs[row.code] = free[0]
    return Way(recipe, tuple(row for row in able if row.code in pairs), pairs)


def _stages(
    pools: Sequence[WaitingPool],
    ways: Mapping[str, Way],
    now: datetime,
    figures: PlanningFigures,
    left_out: list[LeftOut],
) -> tuple[dict[tuple[str, str], tuple[Stage, ...]], list[WaitingPool]]:
    """The stages of each kind of resin in each vessel, and the pools that have some."""
    stages: dict[tuple[str, str], tuple[Stage, ...]] = {}
    done: set[str] = set()
    for pool in pools:
        code = pool.resin_type.code
        if code in done or code not in ways:
            continue
        done.add(code)
        refused = "no vessel is left for it"
        for row in ways[code].vessels:
            try:
                plan = _plan(pool, row, ways[code], now)
            except DomainError as refusal:
                refused = refusal.message
            else:
                stages[row.code, code] = stages_of(plan, _waste_by_step(plan, now), figures.hands)
        if not any(name == code for _, name in stages):
            left_out.append(LeftOut(_serials(pools, code), f"{code}: {refused}"))
    planned = {code for _, code in stages}
    return stages, [pool for pool in pools if pool.resin_type.code in planned]


def _plan(pool: WaitingPool, row: VesselRow, way: Way, now: datetime) -> BatchPlan:
    """The plan of as many of these tanks as the vessel takes."""
    chosen: list[TankVisit] = []
    for visit in pool.visits:
        if sum(one.resin_volume_m3 for one in chosen) + visit.resin_volume_m3 <= row.bed_volume_max_m3:
            chosen.append(visit)
    visits = chosen or list(pool.visits[:1])
    return preview(Wanted(visits, row, way.recipe, way.anion_vessels.get(row.code)), now)


def _waste_by_step(plan: BatchPlan, now: datetime) -> dict[int, float]:
    """What each step sends to the waste tank, if it drains where it usually does by the class table in force [m^3]."""
    table = table_in_force(now)
    shares = waste_shares(PlanBasis(plan.request), plan.steps)
    segregation = plan.request.segregation_class
    return {
        share.step.number: share.volume_m3
        for share in shares
        if usual(plan, share.step, segregation, metal=False, table=table) is Destination.NEUTRALIZATION
    }


def _tank(
    visit: TankVisit, pool: WaitingPool, clock: PlanClock, awaited: Awaited | None, priority: int
) -> Tank:
    due = clock.minute(visit.due_at) if visit.due_at is not None else clock.end_min
    return Tank(
        id=visit.tank.serial,
        family=pool.resin_type.code,
        volume_l=round(visit.resin_volume_m3 * 1000, 1),
        segregation=pool.segregation_class,
        lot=pool.dedicated_to.code if pool.dedicated_to is not None else None,
        condition="normal",
        received_min=clock.now_min if awaited is None else max(clock.now_min, clock.minute(awaited.from_at)),
        due_min=due,
        priority=priority,
    )


# --- vessels ----------------------------------------------------------------------------------------------------------------
def _vessels(
    rows: Sequence[VesselRow],
    ways: Mapping[str, Way],
    at_work: Mapping[int, VesselAtWork],
    clock: PlanClock,
    assumed: list[str],
) -> list[Vessel]:
    """Vessels that take whole beds. One that runs the anion leg of another counts as part of that one."""
    second = {row.pk for way in ways.values() for row in way.anion_vessels.values()}
    taken = occupied_vessels()
    made = []
    for row in rows:
        families = frozenset(code for code, way in ways.items() if row in way.vessels)
        if not families or row.pk in second:
            continue
        beside = {way.anion_vessels[row.code] for way in ways.values() if row.code in way.anion_vessels}
        shut = next((one for one in (row, *beside) if one.is_locked_out), None)
        if shut is not None:
            assumed.append(
                f"{shut.code} is locked out ({shut.lock_out_reason}); nothing is planned into {row.code}."
            )
        busy = [at_work[one.pk] for one in (row, *beside) if one.pk in at_work]
        blocked = [one for one in (row, *beside) if one.pk in taken and one.pk not in at_work]
        if blocked:
            assumed.append(
                f"{blocked[0].code} holds resin that somebody has to decide on; nothing is planned into {row.code}."
            )
        closed = (Window(0, clock.end_min),) if shut is not None or blocked else ()
        held = next((one.state for one in busy if one.vessel_id == row.pk), None)
        made.append(
            Vessel(
                id=row.code,
                max_fill_l=row.bed_volume_max_m3 * 1000,
                min_fill_l=row.bed_volume_min_m3 * 1000,
                families=families,
                segregation=frozenset(row.segregation_classes),
                previous=held or VesselState("", row.last_segregation_class, None),
                ready_min=max((one.free_min for one in busy), default=clock.now_min),
                closed=closed,
            )
        )
    return made
