"""The planning board: placed batches, what is left of everything they share, and where one more batch fits.

All possible starts of a stage are one number (slots.py). Going forward through the stages, the starts that can be reached are cut with
those that the shared limits leave; the lowest of the last stage is the earliest end there is, exact for skids, water, people and
stock. Going back, each stage takes its latest start, so that the bed waits in the truck yard and not in the vessel. The waste tank is
no limit per slot: the chosen times are tried, and where it would run over, the start that is too early is taken out.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from regenplant.core.scheduling.compiled import Compiled, Needs, Step
from regenplant.core.scheduling.slots import from_flags, whole_runs

WINDOW = 192
"""Slots of the waste tank's level that are worked out at a time, until nothing changes any more."""

NEAR = 512
"""Slots of an open-ended gap that are looked at first: short numbers are quick."""

BUDGET_TOLERANCE_KG = 1e-9
"""Rounding of sums, no room in the budget."""

WASTE_TRIES = 60
"""How often a batch is moved on because of the waste tank before the gap counts as too full."""


class Placed:
    """A batch on the board."""

    __slots__ = (
        "cost",
        "done",
        "end",
        "key",
        "needs",
        "percent",
        "pin",
        "start",
        "starts",
        "tanks",
        "vessel",
        "volume",
    )

    def __init__(
        self,
        key: int,
        tanks: list[int],
        volume: float,
        percent: float,
        vessel: int,
        needs: Needs,
        pin: int = -1,
    ) -> None:
        self.key = key
        self.tanks = tanks
        self.volume = volume
        self.percent = percent
        self.vessel = vessel
        self.needs = needs
        self.pin = pin
        """Which decision of people it carries out; -1 for none."""
        self.starts: list[int] = []
        self.start = self.end = self.done = 0
        """Slots in which loading begins, the vessel is free and the tanks are ready."""
        self.cost = 0.0
        """Price of the batch with its lateness and moves; without changeovers."""


class Board:
    """What stands where, and what is left."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        problem = compiled.problem
        self.slots = compiled.slots
        self.sequence: list[list[Placed]] = [[] for _ in problem.vessels]
        self.attention = compiled.offered(problem.operator_shifts, problem.attention_per_operator)
        self.technicians = compiled.offered(problem.technician_shifts, 1)
        self.second_people = compiled.offered(problem.second_shifts, 1)
        self.skid = [
            np.full(self.slots, problem.chemicals[name].skid_lines, dtype=np.int64)
            for name in compiled.chemicals
        ]
        self.water = [
            np.full(self.slots, int(problem.water_l_per_min[name]), dtype=np.int64)
            for name in compiled.waters
        ]
        self.stock = [compiled.stock_g(at) for at in range(len(compiled.chemicals))]
        self.lowest: list[np.ndarray | None] = [None] * len(self.stock)
        """The lowest stock from each slot on: never falls, so the first slot from which enough is left is found by halving."""
        self.net = np.full(self.slots, -problem.waste.drain_l_per_min * compiled.slot_min, dtype=np.float64)
        """Litres that each slot adds to the waste tank, if it does not run empty."""
        self.budget = [compiled.budget_kg(ion) for ion in compiled.budget_ions]
        """Kilograms of each ion that may still drain in the day in which a slot lies."""
        self._reserve()
        self.level = _levels(self.net, problem.waste.initial_l)
        self._masks: dict[tuple[str, int, int], int] = {}
        self._starts: dict[Needs, list[int]] = {}

    def _reserve(self) -> None:
        """Batches that have begun take their part first, even where it is more than there is."""
        minutes = self.compiled.slot_min
        for batch in self.compiled.problem.running:
            for stage in batch.stages:
                first = max(0, stage.start_min // minutes)
                until = max(first, -(-stage.end_min // minutes))
                self.attention[first:until] -= stage.attention
                self.technicians[first:until] -= stage.technicians
                self.second_people[first:until] -= stage.second_people
                if stage.chemical is not None:
                    at = self.compiled.chemicals.index(stage.chemical)
                    self.skid[at][first:until] -= 1
                    self.stock[at][first:] -= stage.grams
                if stage.water is not None:
                    self.water[self.compiled.waters.index(stage.water)][first:until] -= stage.flow_l_per_min
                    if stage.to_waste:
                        self.net[first:until] += stage.flow_l_per_min * minutes
                for ion, grams in stage.load_g.items():
                    if ion in self.compiled.budget_ions:
                        at = self.compiled.budget_ions.index(ion)
                        self._spend(at, min(first, self.slots - 1), grams / 1000)

    def _spend(self, ion: int, slot: int, kg: float) -> None:
        """Takes from the budget of the day in which the slot lies, or gives back."""
        day = self.compiled.budget_day[ion]
        first, until = day[slot]
        self.budget[ion][first:until] -= kg

    # --- what is left -------------------------------------------------------------------------------------------------------

    def _free(self, what: str, at: int, amount: int) -> int:
        """The slots in which so much of something is left."""
        name = (what, at, amount)
        mask = self._masks.get(name)
        if mask is None:
            left = {
                "attention": self.attention,
                "technicians": self.technicians,
                "second people": self.second_people,
            }.get(what)
            if left is None:
                left = self.skid[at] if what == "skid" else self.water[at]
            mask = self._masks[name] = from_flags(left >= amount)
        return mask

    def _lowest(self, chemical: int) -> np.ndarray:
        lowest = self.lowest[chemical]
        if lowest is None:
            lowest = self.lowest[chemical] = _lowest_from(self.stock[chemical])
        return lowest

    def possible(self, needs: Needs) -> list[int] | None:
        """For each stage its possible starts by the shared limits, or None where a stage has none."""
        known = self._starts.get(needs)
        if known is not None:
            return known
        drawn: dict[int, int] = {}
        drained: dict[int, float] = {}
        starts = []
        for step in needs.steps:
            mask = -1
            if step.attention:
                mask &= self._free("attention", 0, step.attention)
            if step.technicians:
                mask &= self._free("technicians", 0, step.technicians)
            if step.second_people:
                mask &= self._free("second people", 0, step.second_people)
            if step.stays_open:
                mask &= self.compiled.is_open
            for chemical, lines, _ in step.draws:
                mask &= self._free("skid", chemical, lines)
            for water, flow in step.flows:
                mask &= self._free("water", water, flow)
            if mask == -1:
                mask = (1 << self.slots) - 1
            mask = whole_runs(mask, step.slots)
            for chemical, _, grams in step.draws:
                if grams:
                    drawn[chemical] = drawn.get(chemical, 0) + grams
                    enough = int(self._lowest(chemical).searchsorted(drawn[chemical]))
                    mask = mask >> enough << enough
                    mask &= self.compiled.usable[chemical]
            if step.begins_open:
                mask &= self.compiled.is_open
            for ion, kg in step.loads:
                drained[ion] = drained.get(ion, 0.0) + kg
                mask &= from_flags(self.budget[ion] >= drained[ion] - BUDGET_TOLERANCE_KG)
            if not mask:
                return None
            starts.append(mask)
        self._starts[needs] = starts
        return starts

    def fit(self, needs: Needs, earliest: int, latest_end: int, begin_at: int = -1) -> list[int] | None:
        """Start slots of the stages with the earliest end inside the window, or None.

        ``earliest`` is the first slot at which loading may begin, ``latest_end`` the slot by which all must have ended; ``begin_at``
        the slot in which it must begin, -1 for any.
        """
        if earliest + needs.shortest > latest_end:
            return None
        possible = self.possible(needs)
        if possible is None:
            return None
        steps = needs.steps
        banned: list[int] | None = None
        if begin_at >= 0:
            banned = [possible[0] & (1 << begin_at), *possible[1:]]
        is_narrowed = needs.inside == len(steps)
        for _ in range(WASTE_TRIES):
            starts = _earliest(steps[: needs.inside], banned or possible, earliest, latest_end)
            if starts is None:
                return None
            over = self.overflow(steps, starts)
            if over is None:
                whole = _with_after(needs, possible, starts)
                if whole is not None or is_narrowed:
                    return whole
                banned, is_narrowed = _followed(needs, banned or possible), True
                continue
            stage, slots = over
            banned = banned or list(possible)
            banned[stage] &= ~(((1 << slots) - 1) << starts[stage])
        return None

    def overflow(self, steps: tuple[Step, ...], starts: Sequence[int]) -> tuple[int, int] | None:
        """The stage whose inflow makes the waste tank run over and by how many slots it is too early at least; None if it fits."""
        minutes = self.compiled.slot_min
        tank = self.compiled.problem.waste
        filling = [at for at, step in enumerate(steps[: len(starts)]) if step.waste_flow]
        if not filling:
            return None
        begin = starts[filling[0]]
        until = starts[filling[-1]] + steps[filling[-1]].slots
        before = self.level[begin - 1] if begin else tank.initial_l
        too_much = 0.0
        while True:
            net = self.net[begin:until].copy()
            for at in filling:
                if starts[at] >= begin:
                    net[starts[at] - begin : starts[at] - begin + steps[at].slots] += (
                        steps[at].waste_flow * minutes
                    )
            level = _levels(net, before)
            too_much = level.max() - tank.capacity_l
            if too_much > 1e-7:
                break
            before = level[-1]
            if until >= self.slots or before - self.level[until - 1] < 1e-9:
                return None
            begin, until = until, min(self.slots, until + WINDOW)
        reached = begin + int(np.argmax(level > tank.capacity_l + 1e-7))
        stage = max(at for at in filling if starts[at] <= reached)
        while stage - 1 in filling and steps[stage - 1].wait == 0:
            stage -= 1
        drained = max(tank.drain_l_per_min * minutes, 1e-9)
        return stage, max(1, min(self.slots, int(too_much / drained)))

    def _level_from(self, slot: int, at_least: int) -> None:
        """The level anew from a slot on, until it is as it was."""
        before = self.level[slot - 1] if slot else self.compiled.problem.waste.initial_l
        while slot < self.slots:
            until = min(self.slots, slot + WINDOW)
            level = _levels(self.net[slot:until], before)
            before = level[-1]
            same = until >= at_least and abs(before - self.level[until - 1]) < 1e-9
            self.level[slot:until] = level
            slot = until
            if same:
                return

    # --- putting on and taking off ----------------------------------------------------------------------------------------

    def put(self, batch: Placed) -> None:
        """The batch takes its place and what it needs."""
        self.take(batch.needs.steps, batch.starts)
        row = self.sequence[batch.vessel]
        row.insert(bisect_left([other.start for other in row], batch.start), batch)

    def remove(self, batch: Placed) -> None:
        """The batch gives back what it took."""
        self.take(batch.needs.steps, batch.starts, -1)
        self.sequence[batch.vessel].remove(batch)

    def take(self, steps: Sequence[Step], starts: Sequence[int], sign: int = 1) -> None:
        """What stages take that begin in these slots; given back where ``sign`` is -1."""
        minutes = self.compiled.slot_min
        waste_from = waste_until = -1
        for step, start in zip(steps, starts, strict=True):
            end = start + step.slots
            if step.attention:
                self.attention[start:end] -= sign * step.attention
            if step.technicians:
                self.technicians[start:end] -= sign * step.technicians
            for chemical, lines, grams in step.draws:
                self.skid[chemical][start:end] -= sign * lines
                self.stock[chemical][start:] -= sign * grams
                self.lowest[chemical] = None
            if step.second_people:
                self.second_people[start:end] -= sign * step.second_people
            for ion, kg in step.loads:
                self._spend(ion, start, sign * kg)
            for water, flow in step.flows:
                self.water[water][start:end] -= sign * flow
            if step.waste_flow:
                self.net[start:end] += sign * step.waste_flow * minutes
                waste_from = start if waste_from < 0 else waste_from
                waste_until = end
        if waste_from >= 0:
            self._level_from(waste_from, waste_until)
        self._masks.clear()
        self._starts.clear()

    def forget(self) -> None:
        """What was worked out of what is left is worked out anew: for a copy of which something is changed."""
        self._masks = {}
        self._starts = {}


def _levels(net: np.ndarray, before: float) -> np.ndarray:
    """Levels of a bucket that is never below empty: the running sum, lifted by how far it would have been below."""
    running = np.cumsum(net)
    running += before
    return running - np.minimum(np.minimum.accumulate(running), 0.0)


def _lowest_from(level: np.ndarray) -> np.ndarray:
    return np.minimum.accumulate(level[::-1])[::-1].copy()


def _with_after(needs: Needs, possible: list[int], starts: list[int]) -> list[int] | None:
    """Each stage outside the vessel as early as it can be; None where one cannot be within the wait before it."""
    for at in range(needs.inside, len(needs.steps)):
        before = needs.steps[at - 1]
        earliest = starts[-1] + before.slots
        left = possible[at] >> earliest
        first = (left & -left).bit_length() - 1
        if first < 0 or first > before.wait:
            return None
        starts.append(earliest + first)
    return starts


def _followed(needs: Needs, possible: list[int]) -> list[int]:
    """The same, of the last stage in the vessel only those starts behind which each stage outside of it can be in time."""
    followed = possible[-1]
    for at in range(len(needs.steps) - 1, needs.inside - 1, -1):
        before = needs.steps[at - 1]
        for shift in before.shifts:
            followed |= followed >> shift
        followed = (followed >> before.slots) & possible[at - 1]
    last = needs.inside - 1
    return [*possible[:last], followed, *possible[last + 1 :]]


def _earliest(
    steps: tuple[Step, ...], possible: list[int], earliest: int, latest_end: int
) -> list[int] | None:
    """Starts with the earliest end and, for that end, the latest loading. A wide window is first looked at near its beginning."""
    near = earliest + NEAR
    if near < latest_end:
        found = _earliest_in(steps, possible, earliest, near)
        if found is not None:
            return found
    return _earliest_in(steps, possible, earliest, latest_end)


def _earliest_in(
    steps: tuple[Step, ...], possible: list[int], earliest: int, latest_end: int
) -> list[int] | None:
    window = (1 << (latest_end - earliest)) - 1
    reached = (possible[0] >> earliest) & window
    forward = [reached]
    for at in range(1, len(steps)):
        before = steps[at - 1]
        for shift in before.shifts:
            reached |= reached << shift
        reached = (reached << before.slots) & (possible[at] >> earliest) & window
        if not reached:
            return None
        forward.append(reached)
    last = (reached & -reached).bit_length() - 1
    if last + earliest + steps[-1].slots > latest_end:
        return None
    starts = [0] * len(steps)
    starts[-1] = last + earliest
    for at in range(len(steps) - 2, -1, -1):
        highest = last - steps[at].slots
        lowest = max(0, highest - steps[at].wait)
        options = (forward[at] >> lowest) & ((1 << (highest - lowest + 1)) - 1)
        last = lowest + options.bit_length() - 1
        starts[at] = last + earliest
    return starts
