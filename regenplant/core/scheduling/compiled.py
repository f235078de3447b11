"""The problem as the search reads it: whole numbers on the grid, one entry per key, what each batch takes worked out once.

Rounding is always to the safe side: capacity that changes within a slot counts as the lower one for all of it, what arrives within a
slot counts from the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.problem import Key, Problem, Shift, Stage, VesselState
from regenplant.core.scheduling.slots import spreading


@dataclass(frozen=True, slots=True)
class Step:
    """One stage of one batch on the grid. Chemicals and waters are positions; -1 means none."""

    slots: int
    wait: int
    """Slots that the bed may stand afterwards."""
    shifts: tuple[int, ...]
    """The same as shifts of a set of starts (slots.spreading)."""
    attention: int
    technicians: int
    chemical: int
    grams: int
    water: int
    flow: int
    to_waste: bool


@dataclass(frozen=True, slots=True, eq=False)
class Needs:
    """What a batch of so many tanks with such a charge takes. Made once for each, so equal only to itself."""

    steps: tuple[Step, ...]
    cost: float
    """Chemicals, water and waste."""
    shortest: int
    """Slots from loading to the end without waiting."""


class Compiled:
    """A problem on the grid."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.slot_min = problem.slot_min
        self.slots = problem.calendar_end_min // problem.slot_min
        self.keys: list[Key] = sorted({tank.key for tank in problem.tanks}, key=str)
        position = {key: at for at, key in enumerate(self.keys)}
        self.key_of = [position[tank.key] for tank in problem.tanks]
        self.stages = [problem.recipes.get((key.family, key.treatment), ()) for key in self.keys]
        self.volume = [tank.volume_l for tank in problem.tanks]
        self.received = [-(-tank.received_min // problem.slot_min) for tank in problem.tanks]
        self.due_min = [tank.due_min for tank in problem.tanks]
        self.weight = [problem.priority_weight[tank.priority] for tank in problem.tanks]
        self.percent = [problem.dose_percent[tank.condition] for tank in problem.tanks]
        self.capacity = [vessel.max_fill_l for vessel in problem.vessels]
        self.minimum = [vessel.min_fill_l for vessel in problem.vessels]
        self.ready = [-(-vessel.ready_min // problem.slot_min) for vessel in problem.vessels]
        self.vessels_of = [
            [at for at, vessel in enumerate(problem.vessels) if problem.allowed(vessel, key)]
            for key in self.keys
        ]
        self.chemicals = list(problem.chemicals)
        self.waters = list(problem.water_l_per_min)
        self.change_cost = [figures.changeover_cost(problem, vessel) for vessel in problem.vessels]
        self.late_per_min = problem.costs.late_per_weighted_hour / 60
        self.span_per_slot = problem.costs.makespan_per_hour * problem.slot_min / 60
        self.change_slots = [[self._change(before, after) for after in self.keys] for before in self.keys]
        self.first_change_slots = [
            [self._change(vessel.previous, after) for after in self.keys] for vessel in problem.vessels
        ]
        self._needs: dict[tuple[int, int, float, float], Needs] = {}

    def _change(self, before: VesselState | Key, after: Key) -> int:
        return -(-self.problem.changeover.minutes(before, after) // self.slot_min)

    def needs(self, key: int, tanks: int, charged_l: float, percent: float) -> Needs:
        """What such a batch takes; worked out once."""
        name = (key, tanks, charged_l, percent)
        found = self._needs.get(name)
        if found is None:
            found = self._needs[name] = self._worked_out(self.stages[key], tanks, charged_l, percent)
        return found

    def _worked_out(self, stages: tuple[Stage, ...], tanks: int, charged_l: float, percent: float) -> Needs:
        all_needs = [figures.stage_need(stage, tanks, charged_l, percent, self.slot_min) for stage in stages]
        steps = tuple(
            Step(
                slots=need.minutes // self.slot_min,
                wait=need.stage.max_wait_after_min // self.slot_min,
                shifts=spreading(need.stage.max_wait_after_min // self.slot_min),
                attention=need.stage.attention,
                technicians=need.stage.technicians,
                chemical=self.chemicals.index(need.stage.chemical) if need.stage.chemical else -1,
                grams=need.grams,
                water=self.waters.index(need.stage.water) if need.stage.water else -1,
                flow=need.flow_l_per_min,
                to_waste=need.stage.to_waste and bool(need.stage.water),
            )
            for need in all_needs
        )
        return Needs(steps, figures.running_cost(self.problem, all_needs), sum(step.slots for step in steps))

    def offered(self, shifts: tuple[Shift, ...], factor: int) -> np.ndarray:
        """People per slot. A shift counts in the slots that lie wholly in it."""
        free = np.zeros(self.slots, dtype=np.int64)
        for shift in shifts:
            first = -(-shift.start_min // self.slot_min)
            free[first : shift.end_min // self.slot_min] += shift.people * factor
        return free

    def stock_g(self, chemical: int) -> np.ndarray:
        """Grams in stock after each slot's deliveries, above the minimum, if nothing is drawn."""
        supply = self.problem.chemicals[self.chemicals[chemical]]
        level = np.full(self.slots, int((supply.initial_kg - supply.min_kg) * 1000), dtype=np.int64)
        for delivery in supply.deliveries:
            level[-(-delivery.at_min // self.slot_min) :] += int(delivery.kg * 1000)
        return level
