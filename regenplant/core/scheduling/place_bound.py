"""A lower bound for small instances: every batch that is possible, in every place of every vessel.

In each of its spells (spells.py) a vessel has places: first, second, ... batch. The program with whole numbers chooses batches for
places, so that

* each tank stands in one batch, and in no place that is over before the tank can be done;
* the batches of a spell and their clean-downs fit one behind the other between its first and its last time of unloading;
* a vessel holds one state (family, class, lot) at a time, and each change of it costs a clean-down;
* each batch costs what it costs, with its lateness at the earliest end there is in its place;
* the plan ends no earlier than what the last spell holds, one behind the other;
* no state costs less than it does alone (bounds.py).

Vessels share nothing but tanks: skids, water, people and the waste tank are those of the empty plant. That makes the bound lower, never
wrong. Behind the last spell there is room for everything.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from regenplant.core.scheduling.compiled import Needs
from regenplant.core.scheduling.program import Program
from regenplant.core.scheduling.spells import Spells, State, Window

MOST_COLUMNS = 25_000
"""Batches in places beyond which the program would not be solved in useful time."""

ROUNDING_L = 1e-6
"""Rounding of sums of litres; in favour of the batch."""


@dataclass(frozen=True, slots=True)
class Sort:
    """Tanks that are alike."""

    key: int
    volume: float
    percent: float
    received: int
    due_min: int
    """The end of everything where they are late nowhere."""
    weight: float


@dataclass(slots=True)
class Place:
    """Where a vessel has room for one batch; number -1: the time behind the last spell, with room for all."""

    vessel: int
    window: Window
    number: int
    batches: dict[int, tuple[int, Counter[Sort]]] = field(default_factory=dict)
    """By column the key and the tanks of the batches that may stand here."""
    enters: dict[int, int] = field(default_factory=dict)
    """By state the column of a clean-down before it."""

    @property
    def is_behind(self) -> bool:
        return self.number < 0


class Places:
    """The program, and what its columns stand for."""

    def __init__(self, spells: Spells, least: dict[State, float]) -> None:
        self.spells = spells
        self.compiled = spells.compiled
        self.program = Program()
        self.sorts = self._sorts()
        self.places = [place for vessel in spells.vessels for place in self._places(vessel)]
        self.is_small = self._batches()
        """Whether there are few enough batches for a program; else there is none."""
        if self.is_small:
            self._build(least)

    def _sorts(self) -> Counter[Sort]:
        return Counter(self._sort_of(tank) for tank in self.spells.ends)

    def _sort_of(self, tank: int) -> Sort:
        compiled, spells = self.compiled, self.spells
        longest = max(needs.shortest + needs.after for needs in spells.smallest.values())
        is_late = compiled.due_min[tank] < (spells.behind + longest) * compiled.slot_min
        return Sort(
            compiled.key_of[tank],
            compiled.volume[tank],
            compiled.percent[tank],
            compiled.received[tank],
            compiled.due_min[tank]
            if is_late
            else (compiled.slots + spells.behind + longest) * compiled.slot_min,
            compiled.weight[tank] if is_late else 0.0,
        )

    def _places(self, vessel: int) -> list[Place]:
        *windows, behind = self.spells.windows(vessel)
        quickest = self.spells.quickest(vessel)
        places = [
            Place(vessel, window, number)
            for window in windows
            for number in range(1 + (window.end - window.begin) // quickest)
        ]
        return [*places, Place(vessel, behind, -1)]

    def _batches(self) -> bool:
        """All batches that are possible, by key; False where they are too many for all their places."""
        spells = self.spells
        places = Counter(place.vessel for place in self.places)
        self.possible: dict[int, list[Counter[Sort]]] = {}
        columns = 0
        for key in spells.keys:
            capacity = max(self.compiled.capacity[vessel] for vessel in self.compiled.vessels_of[key])
            of_key = sum(places[vessel] for vessel in self.compiled.vessels_of[key])
            found: list[Counter[Sort]] = [Counter()]
            for sort in (item for item in self.sorts if item.key == key):
                more = []
                for batch in found:
                    left = capacity - _litres(batch)
                    fitting = range(1, self.sorts[sort] + 1)
                    more += [
                        batch + Counter({sort: count})
                        for count in fitting
                        if count * sort.volume <= left + ROUNDING_L
                    ]
                found += more
                if columns + len(found) * of_key > MOST_COLUMNS:
                    return False
            columns += len(found) * of_key
            self.possible[key] = found[1:]
        return True

    def _build(self, least: dict[State, float]) -> None:
        program, spells = self.program, self.spells
        self.spent = [program.row(low=least[state]) for state in spells.states]
        for row in self.spent:  # what is lacking is paid as it is
            program.put(row, program.column(1.0, whole=False), 1.0)
        self.cover = {sort: program.row(count, count) for sort, count in self.sorts.items()}
        self.times: dict[int, tuple[int, int]] = {}
        """Of each batch the slots before its unloading and those of it."""
        for place in self.places:
            for key in spells.own[place.vessel]:
                for batch in self.possible[key]:
                    self._batch(place, key, batch)
        for vessel in spells.vessels:
            self._order(vessel, [place for place in self.places if place.vessel == vessel])
        self._time()

    def _batch(self, place: Place, key: int, batch: Counter[Sort]) -> None:
        compiled, program = self.compiled, self.program
        vessel, costs = place.vessel, compiled.problem.costs
        volume = _litres(batch)
        if volume > compiled.capacity[vessel] + ROUNDING_L:
            return
        charged = max(volume, compiled.minimum[vessel])
        needs = compiled.needs(key, vessel, batch.total(), charged, max(sort.percent for sort in batch))
        unload = self._unload(place, needs, max(sort.received for sort in batch))
        if unload is None:
            return
        last = needs.steps[needs.inside - 1].slots
        ready_min = (unload + last + needs.after) * compiled.slot_min
        late = sum(count * sort.weight * max(0, ready_min - sort.due_min) for sort, count in batch.items())
        own = costs.batch + needs.cost
        own += costs.underfill_waiver if volume < compiled.minimum[vessel] - ROUNDING_L else 0.0
        most = float(len(self.spells.ends)) if place.is_behind else 1.0
        column = program.column(own + late * compiled.late_per_min, most)
        program.put(self.spent[self.spells.state_of[key]], column, own)
        for sort, count in batch.items():
            program.put(self.cover[sort], column, count)
        place.batches[column] = (key, batch)
        self.times[column] = (_before(needs), last)

    def _unload(self, place: Place, needs: Needs, received: int) -> int | None:
        """The slot in which such a batch is unloaded here at the earliest; None where the place is over before that."""
        alone = self.spells.unload_of(needs, max(received, self.compiled.ready[place.vessel]))
        if alone is None:
            return None
        unload = max(alone, place.window.begin)
        if place.number > 0:
            others = (place.number - 1) * self.spells.quickest(place.vessel)
            before = _before(needs) + self.spells.shortest_last(place.vessel)
            unload = max(unload, place.window.begin + others + before)
        return unload if unload <= place.window.end else None

    def _pay(self, state: int, cost: float) -> int:
        column = self.program.column(cost, 1.0, whole=False)
        self.program.put(self.spent[state], column, cost)
        return column

    def chosen(self, values: np.ndarray) -> list[tuple[int, int, list[int]]]:
        """The batches of an answer in order of time: key, vessel and tanks."""
        left: dict[Sort, list[int]] = defaultdict(list)
        for tank in self.spells.ends:
            left[self._sort_of(tank)].append(tank)
        found = []
        for place in sorted(self.places, key=lambda item: (item.window.spell, item.number, item.vessel)):
            for column, (key, batch) in place.batches.items():
                for _ in range(round(float(values[column]))):
                    tanks = [left[sort].pop() for sort, count in batch.items() for _ in range(count)]
                    found.append((key, place.vessel, tanks))
        return found

    def _order(self, vessel: int, places: list[Place]) -> None:
        """One state at a time, each change of it costs; the places of a spell are filled from the first."""
        program, spells = self.program, self.spells
        states = sorted({spells.state_of[key] for key in spells.own[vessel]})
        held: dict[int, int] = {}
        for before, place in zip([None, *places], places, strict=False):
            one = program.row(high=1.0)
            holds: dict[int, int] = {}
            for state in states:
                entry = place.enters[state] = self._pay(state, spells.entry(vessel, state))
                is_held = before is None and spells.is_held(vessel, state)
                filled = program.row(low=0.0)
                of_state = [
                    column for column, (key, _) in place.batches.items() if spells.state_of[key] == state
                ]
                for column in of_state:
                    program.put(filled, column, -1.0)
                if place.is_behind:  # any number of states in turn: each is there already or entered
                    many = float(len(spells.ends))
                    program.low[filled] = -many if is_held else 0.0
                    program.put(filled, entry, many)
                    if before is not None:
                        program.put(filled, held[state], many)
                    continue
                hold = holds[state] = program.column(0.0, 1.0, whole=False)
                program.put(one, hold, 1.0)
                program.put(filled, hold, 1.0)
                carried = program.row(low=-1.0 if is_held else 0.0)
                program.put(carried, entry, 1.0)
                program.put(carried, hold, -1.0)
                if before is not None:
                    program.put(carried, held[state], 1.0)
            if before is not None and place.number > 0:
                row = program.row(low=0.0)
                for column in before.batches:
                    program.put(row, column, 1.0)
                for column in place.batches:
                    program.put(row, column, -1.0)
            held = holds

    def _time(self) -> None:
        """The spells hold their batches, and the plan ends no earlier than the last of them."""
        program, spells = self.program, self.spells
        of_spell: dict[int, list[Place]] = defaultdict(list)
        for place in self.places:
            of_spell[place.window.spell].append(place)
        begins = {spell: min(place.window.begin for place in of_spell[spell]) for spell in sorted(of_spell)}
        reached = {spell: program.column(0.0, 1.0) for spell in begins}
        end = program.column(self.compiled.span_per_slot, whole=False)
        program.put(program.row(low=float(spells.last)), end, 1.0)
        for earlier, later in pairwise(begins):
            row = program.row(low=0.0)
            program.put(row, reached[earlier], 1.0)
            program.put(row, reached[later], -1.0)
        for spell in begins:
            for vessel in spells.vessels:
                places = [place for place in of_spell[spell] if place.vessel == vessel]
                if not places:
                    continue
                some = program.row(low=0.0)
                program.put(some, reached[spell], float(len(spells.ends)) if places[0].is_behind else 1.0)
                for column in places[0].batches:
                    program.put(some, column, -1.0)
                over = program.row(low=0.0)
                program.put(over, end, 1.0)
                since = 0
                for earlier in (item for item in begins if item <= spell):
                    program.put(over, reached[earlier], float(since - begins[earlier]))
                    since = begins[earlier]
                if not places[0].is_behind:
                    self._in_a_row(places, over)

    def _in_a_row(self, places: list[Place], over: int) -> None:
        """The batches of a vessel in one spell. Against the end of the plan: everything from the first unloading on. Against the spell:
        of each batch but the first what is before its unloading, and the shortest unloading before that."""
        program = self.program
        window = places[0].window
        vessel = places[0].vessel
        fits = program.row(high=float(window.end - window.begin))
        shortest = self.spells.shortest_last(vessel)
        for place in places:
            for column in place.batches:
                before, last = self.times[column]
                program.put(over, column, -float(last + (before if place.number else 0)))
                if place.number:
                    program.put(fits, column, float(before + shortest))
            if place.number:
                for state, entry in place.enters.items():
                    setup = float(min(self.spells.changes(vessel, state), default=0))
                    program.put(over, entry, -setup)
                    program.put(fits, entry, setup)


def _litres(batch: Counter[Sort]) -> float:
    return sum(count * sort.volume for sort, count in batch.items())


def _before(needs: Needs) -> int:
    """Slots before unloading, without waiting."""
    return sum(step.slots for step in needs.steps[: needs.inside - 1])
