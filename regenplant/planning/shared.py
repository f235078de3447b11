"""What every batch shares at this moment, as the day plan reckons with it: people, skids, water, stock, waste room, budgets of a day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import Chemical, SegregationClass
from regenplant.core.scheduling.from_plan import WHOLE_OPERATOR
from regenplant.core.scheduling.problem import (
    Budget,
    Changeover,
    Costs,
    Problem,
    WasteTank,
)
from regenplant.planning.clock import DAY_MIN, PlanClock
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.running import GOING_ON
from regenplant.planning.supplies import supplies
from regenplant.plant.days import start_of_day
from regenplant.plant.models import WaterSupply
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import plant_day, waste_data
from regenplant.plant.sewer_day import day_at
from regenplant.resins.models import ResinType


@dataclass(frozen=True, slots=True)
class Shared:
    """The shared limits as a problem without tanks, vessels and batches, and what they take for granted, each a sentence."""

    limits: Problem
    assumed: tuple[str, ...]


def shared_at(clock: PlanClock, figures: PlanningFigures) -> Shared:
    """What is shared from the moment of the clock on. Raises: RecordRefused where no waste tank is set up."""
    now = clock.now
    waters = {supply.kind: supply.max_flow_m3_per_s * 60_000 for supply in WaterSupply.objects.all()}
    at_work = set(
        Batch.objects.filter(state__in=[state.value for state in GOING_ON]).values_list("number", flat=True)
    )
    assumed: list[str] = []
    limits = Problem(
        name=f"plant at {now:%Y-%m-%dT%H:%M}Z",
        slot_min=clock.slot_min,
        calendar_end_min=clock.end_min,
        tanks=(),
        vessels=(),
        recipes={},
        changeover=_changeover(figures),
        dose_percent={"normal": 100.0},
        priority_weight={1: 1.0, 2: 3.0, 3: 10.0},
        chemicals=supplies(now, clock, figures, at_work, assumed),
        water_l_per_min=waters,
        waste=_waste(clock, assumed),
        attention_per_operator=WHOLE_OPERATOR,
        operator_shifts=clock.shifts(figures.working_times, "operators"),
        technician_shifts=clock.shifts(figures.working_times, "technicians"),
        costs=_costs(figures, waters),
        second_shifts=clock.shifts(figures.working_times, "second_people"),
        openings=clock.openings(figures.working_times),
        budgets=_budgets(clock),
    )
    return Shared(limits, tuple(assumed))


def _changeover(figures: PlanningFigures) -> Changeover:
    change = figures.changeovers
    families = ["", *ResinType.objects.order_by("code").values_list("code", flat=True)]
    known = ["", *(one.value for one in SegregationClass)]
    return Changeover(
        family_min={
            one: {other: 0 if one == other else change.other_resin_min for other in families}
            for one in families
        },
        segregation_min={
            one: {other: 0 if one == other else change.other_class_min for other in known} for one in known
        },
        other_lot_min=change.other_owner_min,
        water=change.water,
        water_l_per_l_vessel=change.water_l_per_l_vessel,
    )


def _waste(clock: PlanClock, assumed: list[str]) -> WasteTank:
    """The receiving tank without its reserve. It is emptied by discharges, which the plan takes as a steady flow: what the permit
    lets go in a day, at most one tank. The problem begins at midnight: the level then is the one from which today's level is reached."""
    waste = waste_data(clock.now)
    capacity_l = (waste.capacity_m3 - waste.reserve_m3) * 1000
    permitted = permit_in_force(clock.now).content.volume_m3_per_day
    a_day_l = min(capacity_l, permitted * 1000) if permitted is not None else capacity_l
    assumed.append(f"Up to {a_day_l / 1000:.0f} m³ are treated and discharged in a day.")
    drains = a_day_l / DAY_MIN
    level_now_l = min(waste.level_m3 * 1000, capacity_l)
    return WasteTank(capacity_l, level_now_l + drains * max(0, clock.now_min), drains)


def _budgets(clock: PlanClock) -> tuple[Budget, ...]:
    """What the permit lets go of each ion, day by day; today without what went already."""
    limits = permit_in_force(clock.now).content.budget_kg()
    gone = day_at(clock.now).gone
    found = []
    today = plant_day(clock.now)
    for offset in range(clock.days):
        start = clock.minute(start_of_day(today.fromordinal(today.toordinal() + offset)))
        end = clock.minute(start_of_day(today.fromordinal(today.toordinal() + offset + 1)))
        for ion, kg in limits.items():
            left = max(0.0, kg - gone.of(ion)) if offset == 0 else kg
            found.append(Budget(ion, start, end, left))
    return tuple(found)


def _costs(figures: PlanningFigures, waters: Mapping[str, float]) -> Costs:
    worth = figures.worth
    return Costs(
        late_per_weighted_hour=worth.late_per_tank_hour,
        batch=worth.batch,
        underfill_waiver=worth.underfilled_batch,
        changeover=worth.changeover,
        per_kg={chemical.value: worth.chemical_per_kg for chemical in Chemical},
        per_m3={**dict.fromkeys(waters, worth.water_per_m3), "waste": worth.waste_per_m3},
        makespan_per_hour=worth.plant_hour,
        move_per_tank_hour=worth.move_per_tank_hour,
        other_vessel_per_tank=worth.other_vessel_per_tank,
    )
