"""A lower bound for small instances: every batch that is possible, in every place of every vessel.

In each of its spells (spells.py) a vessel makes one of its rounds (rounds.py) or none: a row of batches, each in its place. The program
with whole numbers chooses rounds, and batches for their places, so that

* each tank stands in one batch, and in no place that is over before the tank can be done;
* a place holds a batch of the key that the round says, and the batches with all their tanks fit the spell too;
* a vessel goes from state to state (family, class, lot), and each change costs a clean-down;
* each batch costs what it costs, with its lateness at the earliest end there is in its place;
* the plan ends no earlier than the rounds of its last spell;
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
from regenplant.core.scheduling.rounds import MOST_ROUNDS, Part, Round, Rounds
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
        self.windows: dict[int, list[Window]] = {}
        self.rounds: dict[tuple[int, int], Rounds] = {}
        self.places: list[Place] = []
        self.possible: dict[int, list[Counter[Sort]]] = {}
        """All batches that are possible, by key."""
        self.is_small = self._batches() and self._laid_out()
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

    def _batches(self) -> bool:
        """Finds all batches that are possible; False where they are too many even with one place in each vessel."""
        columns = 0
        for key in self.spells.keys:
            vessels = self.compiled.vessels_of[key]
            capacity = max(self.compiled.capacity[vessel] for vessel in vessels)
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
                if columns + len(found) * len(vessels) > MOST_COLUMNS:
                    return False
            columns += len(found) * len(vessels)
            self.possible[key] = found[1:]
        return True

    def _laid_out(self) -> bool:
        """The rounds and places of each vessel; False where there are too many of them, or too many batches for them."""
        spells = self.spells
        for vessel in spells.vessels:
            *self.windows[vessel], behind = spells.windows(vessel)
            for window in self.windows[vessel]:
                rounds = self.rounds[vessel, window.spell] = Rounds(spells, vessel, window)
                if len(rounds.all) > MOST_ROUNDS:
                    return False
                self.places += [Place(vessel, window, number) for number in range(rounds.longest)]
            self.places.append(Place(vessel, behind, -1))
        places = Counter(place.vessel for place in self.places)
        columns = sum(
            len(found) * sum(places[vessel] for vessel in self.compiled.vessels_of[key])
            for key, found in self.possible.items()
        )
        return columns <= MOST_COLUMNS

    def _build(self, least: dict[State, float]) -> None:
        program, spells = self.program, self.spells
        self.spent = [program.row(low=least[state]) for state in spells.states]
        for row in self.spent:  # what is lacking is paid as it is
            program.put(row, program.column(1.0, whole=False), 1.0)
        self.cover = {sort: program.row(count, count) for sort, count in self.sorts.items()}
        self.made: dict[tuple[int, int], list[tuple[Round, int]]] = {}
        """By vessel and spell its rounds with their columns."""
        self.times: dict[int, tuple[int, int]] = {}
        """Of each batch the slots before its unloading and those of it."""
        for place in self.places:
            for key in spells.own[place.vessel]:
                for batch in self.possible[key]:
                    self._batch(place, key, batch)
        for vessel in spells.vessels:
            self._from_state_to_state(vessel)
        for place in self.places:
            if not place.is_behind:
                self._filled(place)
        for places in self._by_spell():
            if not places[0].is_behind:
                self._each_once(places)
                self._fit(places)
        self._end()

    def _batch(self, place: Place, key: int, batch: Counter[Sort]) -> None:
        compiled, program = self.compiled, self.program
        vessel, costs = place.vessel, compiled.problem.costs
        volume = _litres(batch)
        if volume > compiled.capacity[vessel] + ROUNDING_L:
            return
        charged = max(volume, compiled.minimum[vessel])
        needs = compiled.needs(key, vessel, batch.total(), charged, max(sort.percent for sort in batch))
        unload = self._unload(place, key, needs, max(sort.received for sort in batch))
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

    def _unload(self, place: Place, key: int, needs: Needs, received: int) -> int | None:
        """The slot in which such a batch is unloaded here at the earliest; None where the place is over before that."""
        unload = self.spells.unload_of(needs, max(received, self.compiled.ready[place.vessel]))
        if unload is None or place.is_behind:
            return unload if unload is None else max(unload, place.window.begin)
        rounds = self.rounds[place.vessel, place.window.spell]
        earliest = rounds.earliest.get((place.number, rounds.part(key, received)))
        if earliest is None or max(unload, earliest) > place.window.end:
            return None
        return max(unload, earliest)

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

    # --- the rounds of a vessel -----------------------------------------------------------------------------------------------

    def _from_state_to_state(self, vessel: int) -> None:
        """In each spell a vessel stays as it is, or makes a round and goes on in the state of the last batch. None: as at first."""
        program, spells = self.program, self.spells
        states = sorted({spells.state_of[key] for key in spells.own[vessel]})
        at_first = program.column(0.0, 1.0, whole=False)
        program.put(program.row(1.0, 1.0), at_first, 1.0)
        held: dict[int | None, int] = {None: at_first}
        for window in self.windows[vessel]:
            begins = {state: program.row(0.0, 0.0) for state in states}
            stands = {state: program.row(0.0, 0.0) for state in (None, *states)}
            for before, hold in held.items():
                leaves = program.row(0.0, 0.0)
                program.put(leaves, hold, -1.0)
                stays = program.column(0.0, 1.0, whole=False)
                program.put(leaves, stays, 1.0)
                program.put(stands[before], stays, 1.0)
                for state, row in begins.items():
                    goes = program.column(0.0, 1.0, whole=False)
                    self._clean_down(vessel, before, state, goes)
                    program.put(leaves, goes, 1.0)
                    program.put(row, goes, 1.0)
            made = self.made[vessel, window.spell] = []
            for one in self.rounds[vessel, window.spell].all:
                column = program.column(0.0, 1.0)
                made.append((one, column))
                in_turn = [spells.state_of[part.key] for part in one.parts]
                for before, after in pairwise(in_turn):
                    self._clean_down(vessel, before, after, column)
                program.put(begins[in_turn[0]], column, -1.0)
                program.put(stands[in_turn[-1]], column, 1.0)
            held = {}
            for state_then, row in stands.items():
                held[state_then] = program.column(0.0, 1.0, whole=False)
                program.put(row, held[state_then], -1.0)
        self._behind(vessel, states, held)

    def _clean_down(self, vessel: int, before: int | None, state: int, column: int) -> None:
        """Adds to a column what it costs to go from one state to another."""
        if before != state and self.spells.change(vessel, before, state) > 0:
            cost = self.compiled.change_cost[vessel]
            self.program.cost[column] += cost
            self.program.put(self.spent[state], column, cost)

    def _behind(self, vessel: int, states: list[int], held: dict[int | None, int]) -> None:
        """Behind the last spell there are any number of states in turn: each is there already, or entered."""
        program, spells = self.program, self.spells
        many = float(len(spells.ends))
        (place,) = (item for item in self.places if item.vessel == vessel and item.is_behind)
        for state in states:
            filled = program.row(low=0.0)
            program.put(filled, self._pay(state, spells.entry(vessel, state)), many)
            for own in (state, None) if spells.is_held(vessel, state) else (state,):
                if own in held:
                    program.put(filled, held[own], many)
            for column, (key, _) in place.batches.items():
                if spells.state_of[key] == state:
                    program.put(filled, column, -1.0)

    def _filled(self, place: Place) -> None:
        """A place holds a batch of the part that the round says."""
        program = self.program
        rounds = self.rounds[place.vessel, place.window.spell]
        rows: dict[Part, int] = defaultdict(lambda: program.row(0.0, 0.0))
        for column, (key, batch) in place.batches.items():
            program.put(rows[rounds.part(key, max(sort.received for sort in batch))], column, 1.0)
        for one, column in self.made[place.vessel, place.window.spell]:
            if place.number < len(one.parts):
                program.put(rows[one.parts[place.number]], column, -1.0)

    def _each_once(self, places: list[Place]) -> None:
        """No tank is unloaded twice: a sort of tanks is in the batches of a spell only as far as a round with its key is made. (Parts of
        a round could else carry the same tank at each of their places.)"""
        program = self.program
        vessel, spell = places[0].vessel, places[0].window.spell
        rows = {sort: program.row(low=0.0) for sort in self.sorts if sort.key in self.spells.own[vessel]}
        for place in places:
            for column, (_, batch) in place.batches.items():
                for sort, count in batch.items():
                    program.put(rows[sort], column, -float(count))
        for one, column in self.made[vessel, spell]:
            keys = {part.key for part in one.parts}
            for sort, row in rows.items():
                if sort.key in keys:
                    program.put(row, column, float(self.sorts[sort]))

    def _fit(self, places: list[Place]) -> None:
        """The batches of a round with all that their tanks add: of each but the first what is before its unloading, with the clean-down,
        and the unloading of the one before it. A row for each number of batches; it says nothing where there are fewer."""
        program = self.program
        window = places[0].window
        for final in places[1:]:
            lasts = [self.times[column][1] for column in places[final.number - 1].batches]
            longest = max(lasts, default=0)
            fits = program.row(high=float(window.end - window.begin + longest))
            for place in places[: final.number + 1]:
                for column in place.batches:
                    before, last = self.times[column]
                    taken = (before if place.number else 0) + (longest if place is final else last)
                    program.put(fits, column, float(taken))
            for one, column in self.made[places[0].vessel, window.spell]:
                before_it = one.unloads[0] - window.begin
                program.put(fits, column, float(before_it + sum(one.changes[: final.number])))

    # --- the end of the plan --------------------------------------------------------------------------------------------------

    def _end(self) -> None:
        """Spells are reached one after the other, and the plan ends no earlier than what is unloaded in the last one."""
        program, spells = self.program, self.spells
        begins: dict[int, int] = {}
        for place in sorted(self.places, key=lambda item: (item.window.spell, item.window.begin)):
            begins.setdefault(place.window.spell, place.window.begin)
        reached = {spell: program.column(0.0, 1.0) for spell in begins}
        end = program.column(self.compiled.span_per_slot, whole=False)
        program.put(program.row(low=float(spells.last)), end, 1.0)
        for earlier, later in pairwise(begins):
            row = program.row(low=0.0)
            program.put(row, reached[earlier], 1.0)
            program.put(row, reached[later], -1.0)
        self._reached_by_tanks(reached)
        for places in self._by_spell():
            spell = places[0].window.spell
            some = program.row(low=0.0)
            program.put(some, reached[spell], float(len(spells.ends)) if places[0].is_behind else 1.0)
            for column in places[0].batches:
                program.put(some, column, -1.0)
            quickest, whole = program.row(low=0.0), program.row(low=0.0)
            for row in (quickest, whole):
                program.put(row, end, 1.0)
                since = 0
                for upto in (item for item in begins if item <= spell):
                    program.put(row, reached[upto], float(since - begins[upto]))
                    since = begins[upto]
            for one, column in self.made.get((places[0].vessel, spell), ()):
                program.put(quickest, column, float(begins[spell] - one.free))
                program.put(whole, column, float(begins[spell] - one.unloads[0] - sum(one.changes)))
            for place in places if not places[0].is_behind else ():
                for column in place.batches:
                    before, last = self.times[column]
                    program.put(whole, column, -float(last + (before if place.number else 0)))

    def _reached_by_tanks(self, reached: dict[int, int]) -> None:
        """A sort of tanks is unloaded in a spell or later only as far as the spell is reached."""
        program = self.program
        for spell in list(reached)[1:]:
            rows = {sort: program.row(low=0.0) for sort in self.sorts}
            for sort, row in rows.items():
                program.put(row, reached[spell], float(self.sorts[sort]))
            for place in self.places:
                for column, (_, batch) in place.batches.items() if place.window.spell >= spell else ():
                    for sort, count in batch.items():
                        program.put(rows[sort], column, -float(count))

    def _by_spell(self) -> list[list[Place]]:
        """The places of each vessel in each spell."""
        found: dict[tuple[int, int], list[Place]] = defaultdict(list)
        for place in self.places:
            found[place.vessel, place.window.spell].append(place)
        return list(found.values())


def _litres(batch: Counter[Sort]) -> float:
    return sum(count * sort.volume for sort, count in batch.items())


def _before(needs: Needs) -> int:
    """Slots before unloading, without waiting."""
    return sum(step.slots for step in needs.steps[: needs.inside - 1])
