"""The problem as the search reads it: whole numbers on the grid, one entry per key, what each batch takes worked out once.

Rounding is always to the safe side: capacity that changes within a slot counts as the lower one for all of it, what arrives within a
slot counts from the next.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.problem import (
    Key,
    Pin,
    Problem,
    Shift,
    Stage,
    Standing,
    VesselState,
    Window,
)
from regenplant.core.scheduling.slots import from_flags, spreading


@dataclass(frozen=True, slots=True)
class Step:
    """One stage of one batch on the grid. Chemicals and waters are positions."""

    slots: int
    wait: int
    """Slots that the bed may stand afterwards."""
    shifts: tuple[int, ...]
    """The same as shifts of a set of starts (slots.spreading)."""
    attention: int
    technicians: int
    draws: tuple[tuple[int, int, int], ...]
    """Skids that are held, with the grams drawn when it begins: (chemical, lines of its skid, grams)."""
    flows: tuple[tuple[int, int], ...]
    """(water, litres per minute)."""
    waste_flow: int
    """Litres per minute into the waste tank."""
    second_people: int = 0
    begins_open: bool = False
    """It must begin while the plant is open."""
    stays_open: bool = False
    """It must lie in one opening from its start to its end."""
    after_vessel: bool = False
    loads: tuple[tuple[int, float], ...] = ()
    """What counts against daily budgets: the ion's position, and kilograms."""


@dataclass(frozen=True, slots=True)
class Pinned:
    """A decision of people on the grid: positions of tanks and vessel, start slot; -1 where it is left to the search."""

    key: int
    tanks: tuple[int, ...]
    vessel: int
    start: int
    volume: float
    percent: float


@dataclass(frozen=True, slots=True, eq=False)
class Needs:
    """What a batch of so many tanks with such a charge takes. Made once for each, so equal only to itself."""

    steps: tuple[Step, ...]
    cost: float
    """Chemicals, water and waste."""
    shortest: int
    """Slots from loading until the vessel is free, without waiting."""
    after: int
    """Slots of what follows outside the vessel, without waiting."""
    inside: int
    """So many of the steps have the vessel."""

    def vessel_free(self, starts: Sequence[int]) -> int:
        """The slot in which the vessel is free again."""
        return starts[self.inside - 1] + self.steps[self.inside - 1].slots

    def done(self, starts: Sequence[int]) -> int:
        """The slot in which the tanks are ready."""
        return starts[-1] + self.steps[-1].slots


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
        """Of each key, where the vessel has none of its own; empty where no recipe is there."""
        self.own_stages = self._own_stages()
        self.has_after = any(stage.after_vessel for stages in self.stages for stage in stages)
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
        self.budget_ions = sorted({budget.ion for budget in problem.budgets})
        self.budget_day = [self._budget_days(ion) for ion in self.budget_ions]
        self.is_open = self._open()
        self.usable = [self._usable(name) for name in self.chemicals]
        self.shortest_closing = self._shortest_closing()
        self.closed = [
            [self._slots_of(window) for window in sorted(vessel.closed)] for vessel in problem.vessels
        ]
        self.pins = [self._pin(pin) for pin in problem.pins]
        self.pinned = {tank for pin in self.pins for tank in pin.tanks}
        at_tank = {tank.id: at for at, tank in enumerate(problem.tanks)}
        self.standing: dict[int, Standing] = {
            at_tank[name]: item for item in problem.standing for name in item.tanks if name in at_tank
        }
        self._needs: dict[tuple[int, int, int, float, float], Needs] = {}

    def _change(self, before: VesselState | Key, after: Key) -> int:
        return -(-self.problem.changeover.minutes(before, after) // self.slot_min)

    # --- beyond the exchange format: openings, closed vessels, pins ----------------------------------------------------------

    def _slots_of(self, window: Window) -> tuple[int, int]:
        """Every slot that the window touches."""
        return window.start_min // self.slot_min, min(self.slots, -(-window.end_min // self.slot_min))

    def _open(self) -> int:
        """The slots that lie wholly in an opening, as a set; all of them if the plant is always open."""
        if not self.problem.openings:
            return (1 << self.slots) - 1
        free = np.zeros(self.slots, dtype=bool)
        for window in self.problem.openings:
            free[-(-window.start_min // self.slot_min) : window.end_min // self.slot_min] = True
        return from_flags(free)

    def _usable(self, chemical: str) -> int:
        """The slots in which an injection may begin, as a set."""
        free = np.ones(self.slots, dtype=bool)
        for window in self.problem.chemicals[chemical].unusable:
            first, until = self._slots_of(window)
            free[first:until] = False
        return from_flags(free)

    def _budget_days(self, ion: str) -> list[tuple[int, int]]:
        """For each slot the first slot of its day and the one behind its last; a slot outside every day stands alone."""
        days = [(slot, slot + 1) for slot in range(self.slots)]
        for budget in self.problem.budgets:
            if budget.ion == ion:
                first, until = self._slots_of(Window(budget.start_min, budget.end_min))
                days[first:until] = [(first, until)] * (until - first)
        return days

    def budget_kg(self, ion: str) -> np.ndarray:
        """Kilograms that may drain in the day of each slot; without end outside every day."""
        left = np.full(self.slots, np.inf)
        for budget in self.problem.budgets:
            if budget.ion == ion:
                first, until = self._slots_of(Window(budget.start_min, budget.end_min))
                left[first:until] = budget.kg
        return left

    def _shortest_closing(self) -> int:
        """Slots between one opening and the next, at least; more than there are where the plant is always open."""
        inside = self.problem.openings
        gaps = [
            -(-after.start_min // self.slot_min) - before.end_min // self.slot_min
            for before, after in pairwise(inside)
        ]
        return min(gaps, default=self.slots + 1)

    def _pin(self, pin: Pin) -> Pinned:
        """Raises: OutOfRange for a pin whose tanks are of several keys (exchange.py names unknown ones)."""
        names = {tank.id: at for at, tank in enumerate(self.problem.tanks)}
        tanks = tuple(names[name] for name in pin.tanks)
        vessels = {vessel.id: at for at, vessel in enumerate(self.problem.vessels)}
        start = -1 if pin.start_min is None else pin.start_min // self.slot_min
        return Pinned(
            key=self.key_of[tanks[0]],
            tanks=tanks,
            vessel=vessels[pin.vessel] if pin.vessel is not None else -1,
            start=start,
            volume=sum(self.volume[tank] for tank in tanks),
            percent=max(self.percent[tank] for tank in tanks),
        )

    def open_parts(self, vessel: int, begin: int, end: int) -> Iterator[tuple[int, int]]:
        """What closed windows of a vessel leave of a gap, in order of time."""
        for closed_from, closed_until in self.closed[vessel]:
            if closed_until <= begin or closed_from >= end:
                continue
            if begin < closed_from:
                yield begin, closed_from
            begin = max(begin, closed_until)
        if begin < end:
            yield begin, end

    def moves_cost(self, tanks: Sequence[int], vessel: int, start: int) -> float:
        """What it costs that these tanks begin in this vessel then, where a plan with them was known."""
        if not self.standing:
            return 0.0
        name, minute = self.problem.vessels[vessel].id, start * self.slot_min
        return sum(
            figures.moves_cost(self.problem, self.standing[tank], 1, name, minute)
            for tank in tanks
            if tank in self.standing
        )

    def _own_stages(self) -> dict[tuple[int, int], tuple[Stage, ...]]:
        """By key and vessel, where a vessel has stages of its own."""
        found = {}
        for at, vessel in enumerate(self.problem.vessels):
            for position, key in enumerate(self.keys):
                own = self.problem.vessel_recipes.get((vessel.id, key.family, key.treatment))
                if own is not None:
                    found[position, at] = own
        return found

    def needs(self, key: int, vessel: int, tanks: int, charged_l: float, percent: float) -> Needs:
        """What such a batch takes in this vessel; worked out once for all vessels with the same stages."""
        own = self.own_stages.get((key, vessel))
        name = (key, vessel if own is not None else -1, tanks, charged_l, percent)
        found = self._needs.get(name)
        if found is None:
            stages = own if own is not None else self.stages[key]
            found = self._needs[name] = self.needs_of(stages, tanks, charged_l, percent)
        return found

    def needs_of(self, stages: tuple[Stage, ...], tanks: int, charged_l: float, percent: float) -> Needs:
        """What these stages take of so many tanks with so much resin."""
        all_needs = [figures.stage_need(stage, tanks, charged_l, percent, self.slot_min) for stage in stages]
        waits = [self._wait(need.stage) for need in all_needs]
        steps = tuple(
            Step(
                slots=need.minutes // self.slot_min,
                wait=wait,
                shifts=spreading(wait),
                attention=need.stage.attention,
                technicians=need.stage.technicians,
                draws=self._draws(need.uses),
                flows=self._flows(need.uses),
                waste_flow=sum(use.waste_l_per_min for use in need.uses),
                second_people=need.stage.second_people,
                after_vessel=need.stage.after_vessel,
                begins_open=before is not None and before.stage.in_one_opening,
                stays_open=need.stage.in_one_opening,
                loads=tuple(
                    (self.budget_ions.index(ion), grams / 1000)
                    for ion, grams in sorted(need.load_g.items())
                    if ion in self.budget_ions
                ),
            )
            for need, wait, before in zip(all_needs, waits, [None, *all_needs], strict=False)
        )
        inside = [step for step in steps if not step.after_vessel]
        return Needs(
            steps,
            figures.running_cost(self.problem, all_needs),
            shortest=sum(step.slots for step in inside),
            after=sum(step.slots for step in steps) - sum(step.slots for step in inside),
            inside=len(inside),
        )

    def _draws(self, uses: Sequence[figures.Use]) -> tuple[tuple[int, int, int], ...]:
        found: dict[int, tuple[int, int]] = {}
        for use in uses:
            if use.chemical:
                at = self.chemicals.index(use.chemical)
                lines, grams = found.get(at, (0, 0))
                found[at] = (lines + 1, grams + use.grams)
        return tuple((at, lines, grams) for at, (lines, grams) in found.items())

    def _flows(self, uses: Sequence[figures.Use]) -> tuple[tuple[int, int], ...]:
        found: dict[int, int] = {}
        for use in uses:
            if use.water:
                at = self.waters.index(use.water)
                found[at] = found.get(at, 0) + use.flow_l_per_min
        return tuple(found.items())

    def _wait(self, stage: Stage) -> int:
        """Slots that the bed may stand after a stage. Where it must not stand while the plant is closed, less than the shortest
        closing: then no wait can reach from one opening into the next."""
        wait = stage.max_wait_after_min // self.slot_min
        return min(wait, max(0, self.shortest_closing - 1)) if stage.in_one_opening else wait

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
