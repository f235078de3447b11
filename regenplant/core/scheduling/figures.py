"""What one batch takes: how long each stage lasts, which flow, how much chemical. One place for solver, checker and papers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from regenplant.core.scheduling.problem import Beside, Problem, Stage, Standing, Tank, Vessel


@dataclass(frozen=True, slots=True)
class Use:
    """A skid held with what is drawn from its stock, and a flow of water: whole grams of 100 % substance, whole litres per minute."""

    chemical: str | None
    grams: int
    water: str | None
    flow_l_per_min: int
    to_waste: bool

    @property
    def waste_l_per_min(self) -> int:
        """What of the flow goes into the waste tank."""
        return self.flow_l_per_min if self.to_waste else 0


@dataclass(frozen=True, slots=True)
class StageNeed:
    """One stage of one batch: minutes on the grid, and what it takes, of its own and beside it."""

    stage: Stage
    minutes: int
    uses: tuple[Use, ...]
    load_g: Mapping[str, float] = field(default_factory=dict)
    """What drains and counts against a daily budget."""


def charge_l(volume_l: float, vessel: Vessel) -> float:
    """The volume that is dosed and rinsed: a vessel below its minimum fill is treated as if filled to it."""
    return max(volume_l, vessel.min_fill_l)


def dose_percent(problem: Problem, tanks: Sequence[Tank]) -> float:
    """The dose of a batch in percent of the recipe's: its worst tank decides."""
    return max(problem.dose_percent[tank.condition] for tank in tanks)


def stage_minutes(stage: Stage, tanks: int, slot_min: int) -> int:
    """How long the stage lasts with so many tanks, rounded up to the grid."""
    return -(-(stage.minutes + stage.minutes_per_tank * tanks) // slot_min) * slot_min


def stage_need(stage: Stage, tanks: int, charged_l: float, percent: float, slot_min: int) -> StageNeed:
    """What the stage takes of everything that is shared."""
    uses = tuple(_use(item, charged_l, percent) for item in stage.parts)
    load = {ion: per_l * charged_l * percent / 100 for ion, per_l in stage.load_g_per_l.items()}
    return StageNeed(stage, stage_minutes(stage, tanks, slot_min), uses, load)


def _use(item: Stage | Beside, charged_l: float, percent: float) -> Use:
    grams = -(-item.dose_g_per_l * charged_l * percent // 100) if item.chemical else 0
    flow = 0.0
    if item.water:
        by_vessel = math.ceil(item.flow_l_per_min)
        flow = by_vessel or -(-item.flow_bv_per_h * charged_l // 60)
    return Use(item.chemical, int(grams), item.water, int(flow), item.to_waste and bool(item.water))


def running_cost(problem: Problem, needs: Sequence[StageNeed]) -> float:
    """Chemicals, water and waste of one batch; without the price of the batch itself."""
    per_kg, per_m3 = problem.costs.per_kg, problem.costs.per_m3
    total = 0.0
    for need in needs:
        for use in need.uses:
            if use.chemical:
                total += per_kg[use.chemical] * use.grams / 1000
            if use.water:
                volume_m3 = use.flow_l_per_min * need.minutes / 1000
                total += per_m3[use.water] * volume_m3
                if use.to_waste:
                    total += per_m3["waste"] * volume_m3
    return total


def changeover_cost(problem: Problem, vessel: Vessel) -> float:
    """What one changeover of the vessel costs, with its water."""
    change = problem.changeover
    water_m3 = change.water_l_per_l_vessel * vessel.max_fill_l / 1000
    return problem.costs.changeover + problem.costs.per_m3[change.water] * water_m3


def weighted_late_min(problem: Problem, tanks: Sequence[Tank], done_min: int) -> float:
    """Weighted minutes that the tanks are late when they are ready then."""
    weight = problem.priority_weight
    return math.fsum(weight[tank.priority] * max(0, done_min - tank.due_min) for tank in tanks)


def moves_cost(problem: Problem, standing: Standing, tanks: int, vessel: str, start_min: int) -> float:
    """What it costs that so many tanks of a batch that stood in a plan begin in this vessel, then."""
    costs = problem.costs
    other = costs.other_vessel_per_tank if vessel != standing.vessel else 0.0
    return tanks * (other + costs.move_per_tank_hour * abs(start_min - standing.start_min) / 60)
