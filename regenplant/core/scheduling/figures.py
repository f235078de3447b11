"""What one batch takes: how long each stage lasts, which flow, how much chemical. One place for solver, checker and papers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from regenplant.core.scheduling.problem import Problem, Stage, Standing, Tank, Vessel


@dataclass(frozen=True, slots=True)
class StageNeed:
    """One stage of one batch: whole grams of 100 % substance, whole litres per minute, minutes on the grid."""

    stage: Stage
    minutes: int
    grams: int
    flow_l_per_min: int
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
    grams = -(-stage.dose_g_per_l * charged_l * percent // 100) if stage.chemical else 0
    flow = -(-stage.flow_bv_per_h * charged_l // 60) if stage.water else 0
    load = {ion: per_l * charged_l * percent / 100 for ion, per_l in stage.load_g_per_l.items()}
    return StageNeed(stage, stage_minutes(stage, tanks, slot_min), int(grams), int(flow), load)


def running_cost(problem: Problem, needs: Sequence[StageNeed]) -> float:
    """Chemicals, water and waste of one batch; without the price of the batch itself."""
    per_kg, per_m3 = problem.costs.per_kg, problem.costs.per_m3
    total = 0.0
    for need in needs:
        if need.stage.chemical:
            total += per_kg[need.stage.chemical] * need.grams / 1000
        if need.stage.water:
            volume_m3 = need.flow_l_per_min * need.minutes / 1000
            total += per_m3[need.stage.water] * volume_m3
            if need.stage.to_waste:
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
