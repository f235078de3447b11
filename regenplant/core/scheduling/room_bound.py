"""A lower bound for plans whose vessels are short of time: who works in which vessel, and until when.

A program with whole numbers over the working spells of spells.py: how many batches of each key and dose a vessel makes, how the litres
of each sort of tank are shared out among vessels, which states enter a vessel, and in which spell the plan ends.

* What a vessel unloads fits one behind the other into its spells. Of each spell, one batch may have been made ready before (its time
  before unloading is given back), and one may still be being unloaded behind its end.
* In each spell a vessel makes one of its turns (turns.py) or none: whole batches, as many of each length as fit.
* Within the last spell the plan ends no earlier than what is left for it.
* No state costs less than it does alone (bounds.py).

A batch holds no more than its vessel; packing is held by rounding: for m = 1 to 6 the sum of floor((m + 1) * volume / (fill + 1)) over
a batch is at most m (dual feasible functions; Fekete & Schepers 2001, from memory). Tanks may be split over vessels, order within a
vessel is free and lateness is left out; all that makes the bound lower, never wrong.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import pairwise
from math import inf

from regenplant.core.scheduling.program import Program
from regenplant.core.scheduling.spells import Spells, State, Window, price
from regenplant.core.scheduling.turns import Turns

ROUNDINGS = range(1, 7)

MOST_COLUMNS = 20_000
"""Columns beyond which the program would not be solved in useful time."""

Sort = tuple[int, float, float]
"""Tanks that are alike: key, litres, dose in percent."""


def room_program(spells: Spells, least: dict[State, float]) -> Program | None:
    """The program; its least value plus the lateness of each tank alone is below every score. ``least``: what each state costs alone.
    None where it would be too large."""
    program = _Room(spells, least).program
    return program if len(program.cost) <= MOST_COLUMNS else None


class _Room:
    def __init__(self, spells: Spells, least: dict[State, float]) -> None:
        self.spells = spells
        self.compiled = compiled = spells.compiled
        self.program = program = Program()
        self.sorts: Counter[Sort] = Counter(
            (compiled.key_of[tank], compiled.volume[tank], compiled.percent[tank]) for tank in spells.ends
        )
        self.is_whole = all(float(litres).is_integer() for _, litres, _ in self.sorts)
        self.spent = [program.row(low=least[state]) for state in spells.states]
        for row in self.spent:  # what is lacking is paid as it is
            program.put(row, program.column(1.0, whole=False), 1.0)
        self.cover = {sort: program.row(count, count) for sort, count in self.sorts.items()}
        self.windows = {vessel: list(spells.windows(vessel)) for vessel in spells.vessels}
        self.begins = {
            spell: min(
                window.begin for own in self.windows.values() for window in own if window.spell == spell
            )
            for spell in sorted({window.spell for own in self.windows.values() for window in own})
        }
        self.reached = {spell: program.column(0.0, 1.0) for spell in self.begins}
        self.end = program.column(compiled.span_per_slot, whole=False)
        self.entered: dict[tuple[int, int], int] = {}
        self.batches: dict[tuple[int, int], list[int]] = defaultdict(list)
        """The columns of batches by vessel and key."""
        self._time()
        for vessel in spells.vessels:
            self._vessel(vessel)
            self._turns(vessel)

    def _time(self) -> None:
        """Spells are reached one after the other, and the plan ends in the last one."""
        program = self.program
        for before, after in pairwise(self.reached.values()):
            row = program.row(low=0.0)
            program.put(row, before, 1.0)
            program.put(row, after, -1.0)
        program.put(program.row(low=float(self.spells.last)), self.end, 1.0)
        spells = self.spells
        row = program.row(low=float(min(spells.last_step(*name).slots for name in spells.smallest)))
        program.put(row, self.end, 1.0)
        self._since(row, -1.0)

    def _since(self, row: int, sign: float, upto: float = inf) -> int:
        """Adds the slot in which the last spell that is reached begins, of those up to ``upto``. Returns where the last of these begins."""
        before = 0
        for spell, begin in self.begins.items():
            if spell <= upto:
                self.program.put(row, self.reached[spell], sign * (begin - before))
                before = begin
        return before

    def _vessel(self, vessel: int) -> None:
        """Rows of time. ``plain``: without what each tank adds. ``whole``: with it. ``over``: the same, against the end of the plan."""
        program, spells = self.program, self.spells
        *windows, behind = self.windows[vessel]
        much = float(self._all_time())
        plain, whole, over = (program.row(high=0.0) for _ in range(3))
        firsts, lasts, but_one = program.row(high=0.0), program.row(high=0.0), program.row(high=-1.0)
        for window in windows:
            length = float(window.end - window.begin)
            program.put(plain, self.reached[window.spell], -length - spells.shortest_last(vessel))
            program.put(whole, self.reached[window.spell], -length)
            for row in (firsts, lasts, but_one):
                program.put(row, self.reached[window.spell], -1.0)
        for row in (plain, whole, over):
            program.put(row, self.reached[behind.spell], -much)
        for row in (firsts, lasts, but_one):
            program.put(row, self.reached[behind.spell], -float(len(spells.ends)))
        self._against_end(windows, over)
        for key in spells.own[vessel]:
            self._key(vessel, key, (plain, whole, over), (firsts, lasts, but_one))

    def _turns(self, vessel: int) -> None:
        """No more batches of a length than there are in the turns of a vessel; the plan ends no earlier than any turn."""
        program = self.program
        turns = Turns(self.spells, vessel)
        *windows, behind = self.windows[vessel]
        found = [turns.of(window) for window in windows]
        counted = [program.row(low=0.0) for _ in turns.keys]
        for window, made in zip(windows, found, strict=True):
            if made is None:  # any number of them: the rows of time still hold
                for row in counted:
                    program.put(row, self.reached[window.spell], float(len(self.spells.ends)))
                continue
            one = program.row(high=0.0)
            program.put(one, self.reached[window.spell], -1.0)
            ends = program.row(low=0.0)
            program.put(ends, self.end, 1.0)
            begin = self._since(ends, -1.0, window.spell)
            for turn in made:
                column = program.column(0.0, 1.0)
                program.put(one, column, 1.0)
                program.put(ends, column, -float(turn.free - begin))
                for row, count in zip(counted, turn.counts, strict=True):
                    if count:
                        program.put(row, column, float(count))
        for row, keys in zip(counted, turns.keys, strict=True):
            program.put(row, self.reached[behind.spell], float(len(self.spells.ends)))
            for key in keys:
                for batch in self.batches[vessel, key]:
                    program.put(row, batch, -1.0)

    def _against_end(self, windows: list[Window], over: int) -> None:
        """The spells before the last give their whole length, the last one what is left until the end of the plan."""
        program = self.program
        after = dict(pairwise(self.begins))
        for window in windows:
            if window.spell in after:
                program.put(over, self.reached[after[window.spell]], -float(window.end - window.begin))
        program.put(over, self.end, -1.0)
        self._since(over, 1.0)

    def _all_time(self) -> int:
        """More slots than everything takes."""
        longest = max(needs.shortest for needs in self.spells.smallest.values())
        return 2 * longest * len(self.spells.ends)

    def _key(
        self, vessel: int, key: int, rows: tuple[int, int, int], given_back: tuple[int, int, int]
    ) -> None:
        """Batches of a key in a vessel and their time; one of each spell gives back what is before its unloading, one its unloading."""
        compiled, program, spells = self.compiled, self.program, self.spells
        plain, whole, over = rows
        sorts = [sort for sort in self.sorts if sort[0] == key and sort[1] <= compiled.capacity[vessel]]
        if not sorts:
            return
        many = spells.most_tanks(key, compiled.capacity[vessel])
        load, unload = spells.per_tank(key, vessel)
        before, last = spells.before(key, vessel) - load, spells.last_step(key, vessel).slots - unload
        quickest = spells.shortest_last(vessel)
        first, final, but_one = (program.column(0.0, whole=False) for _ in range(3))
        among = [program.row(low=0.0) for _ in range(3)]
        for row, limit, column in zip(among, given_back, (first, final, but_one), strict=True):
            program.put(limit, column, 1.0)
            program.put(row, column, -1.0)
        program.put(plain, first, -(before + load))
        for row, column in ((whole, final), (over, but_one)):
            program.put(row, first, -(before + load * many))
            program.put(row, column, -(last + unload * many))
        for percent in spells.percents[key]:
            own = [sort for sort in sorts if sort[2] <= percent]
            if own:
                batch = self._batches(vessel, key, percent, own, (whole, over), load + unload)
                self.batches[vessel, key].append(batch)
                program.put(plain, batch, before + load + quickest)
                for row in (whole, over):
                    program.put(row, batch, before + last)
                for row in among:
                    program.put(row, batch, 1.0)

    def _batches(
        self,
        vessel: int,
        key: int,
        percent: float,
        sorts: list[Sort],
        timed: tuple[int, int],
        per_tank: float,
    ) -> int:
        """The batches of one key and dose in a vessel, and the tanks in them."""
        compiled, program, spells = self.compiled, self.program, self.spells
        costs = compiled.problem.costs
        state = spells.state_of[key]
        count = float(sum(self.sorts[sort] for sort in sorts))
        capacity, minimum = compiled.capacity[vessel], compiled.minimum[vessel]
        fixed, per_l = price(compiled, key, vessel, percent, self.is_whole)
        batch = self._pay(state, costs.batch + fixed, count)
        room = self._pay(state, per_l, inf, whole=False)
        waiver = self._pay(state, costs.underfill_waiver, count)
        entered = self._entered(vessel, state)
        needs_entry, charged, waived, full = (program.row(low=0.0) for _ in range(4))
        program.put(needs_entry, entered, count)
        program.put(needs_entry, batch, -1.0)
        program.put(charged, batch, -minimum)
        program.put(charged, room, 1.0)
        program.put(waived, waiver, minimum)
        program.put(waived, room, -1.0)
        program.put(full, batch, capacity)
        rounded = {m: program.row(low=0.0) for m in ROUNDINGS}
        for m, row in rounded.items():
            program.put(row, batch, m)
        for sort in sorts:
            litres = sort[1]
            share = self._pay(state, per_l * litres, float(self.sorts[sort]), whole=False)
            program.put(self.cover[sort], share, 1.0)
            program.put(charged, share, litres)
            program.put(full, share, -litres)
            for m, row in rounded.items():
                if part := (m + 1) * int(litres) // (int(capacity) + 1):
                    program.put(row, share, -part)
            linked = program.row(low=0.0)
            program.put(linked, entered, float(self.sorts[sort]))
            program.put(linked, share, -1.0)
            for row in timed:
                program.put(row, share, per_tank)
        return batch

    def _entered(self, vessel: int, state: int) -> int:
        name = (vessel, state)
        if name not in self.entered:
            cost = 0.0 if self.spells.is_held(vessel, state) else self.spells.entry(vessel, state)
            self.entered[name] = self._pay(state, cost, 1.0)
        return self.entered[name]

    def _pay(self, state: int, cost: float, most: float, whole: bool = True) -> int:
        """A column whose cost counts as its state's."""
        column = self.program.column(cost, most, whole)
        self.program.put(self.spent[state], column, cost)
        return column
