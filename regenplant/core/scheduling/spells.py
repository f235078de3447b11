"""When vessels can be unloaded at all: what the bounds know of time.

In any plan, take every vessel by itself in the empty plant and let each of its batches begin as soon as the one before it is out and
cleaned up: nothing ends later, nothing costs more. Then a batch is unloaded only at certain times, mostly right after somebody may
check it, and these times fall into **spells**, mostly one for each working day. In one spell a vessel unloads a first batch, which may
have been made ready over night, and then only as many more as fit one behind the other between its first and its last time to unload.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from regenplant.core.scheduling.board import Board
from regenplant.core.scheduling.compiled import Compiled, Needs, Step

State = tuple[str, str, str | None]

GAP_MIN = 180
"""A pause of so many minutes between times of unloading parts two spells."""

LONGEST_SPELL_MIN = 1440

BEYOND_MIN = 1800
"""Spells are looked at that begin up to so many minutes after the earliest end of any plan; behind them there is room for everything."""


@dataclass(frozen=True, slots=True)
class Window:
    """The first and the last slot in which a vessel may begin to be unloaded in a spell."""

    spell: int
    begin: int
    end: int


class Spells:
    """The quickest batches of an instance and the spells in which they are unloaded. Everything is a lower bound of what any plan takes."""

    def __init__(self, compiled: Compiled, ends: dict[int, int], last: int) -> None:
        """``ends``: the tanks that are looked at, with the slot in which each is ready if it has the plant to itself; ``last``: the
        slot before which no plan is over."""
        self.compiled = compiled
        self.ends = ends
        self.last = last
        self._board = Board(compiled)
        self._alone: dict[tuple[Needs, int], int | None] = {}
        self.keys = sorted({compiled.key_of[tank] for tank in ends})
        self.tanks_of = {key: [tank for tank in ends if compiled.key_of[tank] == key] for key in self.keys}
        self.states: list[State] = list(dict.fromkeys(compiled.keys[key][:3] for key in self.keys))
        self.state_of = {key: self.states.index(compiled.keys[key][:3]) for key in self.keys}
        self.key_for = {self.state_of[key]: key for key in self.keys}
        self.percents = {
            key: sorted({compiled.percent[tank] for tank in self.tanks_of[key]}) for key in self.keys
        }
        self.vessels = sorted({vessel for key in self.keys for vessel in compiled.vessels_of[key]})
        self.own = {
            vessel: [key for key in self.keys if vessel in compiled.vessels_of[key]]
            for vessel in self.vessels
        }
        self.smallest = {
            (key, vessel): self._needs(key, vessel, 1) for vessel, keys in self.own.items() for key in keys
        }
        self._unloads = {(key, vessel): self._times(key, vessel) for key, vessel in self.smallest}
        self.begins, self.behind = self._parted()
        """First slots of the spells, and the slot behind the last of them."""

    # --- batches at their quickest --------------------------------------------------------------------------------------------

    def most_tanks(self, key: int, capacity: float) -> int:
        """So many tanks of a key go into a batch of so many litres at most."""
        count = 0
        for volume in sorted(self.compiled.volume[tank] for tank in self.tanks_of[key]):
            if volume > capacity:
                break
            capacity -= volume
            count += 1
        return count

    def _needs(self, key: int, vessel: int, tanks: int) -> Needs:
        """The batch of so many tanks that takes least."""
        compiled = self.compiled
        volume = min(compiled.volume[tank] for tank in self.tanks_of[key])
        charged = max(volume, compiled.minimum[vessel])
        return compiled.needs(key, vessel, tanks, charged, self.percents[key][0])

    def last_step(self, key: int, vessel: int) -> Step:
        """What ends with the vessel free."""
        needs = self.smallest[key, vessel]
        return needs.steps[needs.inside - 1]

    def before(self, key: int, vessel: int) -> int:
        """Slots from loading a single tank to the beginning of its unloading."""
        return self.smallest[key, vessel].shortest - self.last_step(key, vessel).slots

    def shortest_last(self, vessel: int) -> int:
        """Slots of the quickest unloading of a vessel."""
        return min(self.last_step(key, vessel).slots for key in self.own[vessel])

    def per_tank(self, key: int, vessel: int) -> tuple[float, float]:
        """Slots that each further tank adds before unloading and while unloading; nothing where a stage is rounded."""
        compiled = self.compiled
        own = compiled.own_stages.get((key, vessel), compiled.stages[key])
        stages = [stage for stage in own if not stage.after_vessel]
        per = [
            stage.minutes_per_tank / compiled.slot_min
            if stage.minutes_per_tank % compiled.slot_min == 0
            else 0.0
            for stage in stages
        ]
        return sum(per[:-1]), per[-1]

    def unload_of(self, needs: Needs, begin: int) -> int | None:
        """The slot in which a batch is unloaded that may be loaded from this one on and has the plant to itself."""
        if (needs, begin) not in self._alone:
            starts = self._board.fit(needs, begin, self.compiled.slots)
            self._alone[needs, begin] = starts[needs.inside - 1] if starts is not None else None
        return self._alone[needs, begin]

    # --- what changes and charges cost ----------------------------------------------------------------------------------------

    def is_held(self, vessel: int, state: int) -> bool:
        """Whether the vessel takes the state at first without a clean-down."""
        return self.compiled.first_change_slots[vessel][self.key_for[state]] == 0

    def changes(self, vessel: int, state: int) -> list[int]:
        """Slots of the clean-downs that there may be before the state."""
        to = self.key_for[state]
        found = [
            self.compiled.change_slots[key][to] for key in self.own[vessel] if self.state_of[key] != state
        ]
        first = self.compiled.first_change_slots[vessel][to]
        return [*found, first] if first else found

    def change(self, vessel: int, before: int | None, state: int) -> int:
        """Slots of the clean-down from one state to another; None for what the vessel holds at first."""
        to = self.key_for[state]
        if before is None:
            return self.compiled.first_change_slots[vessel][to]
        return self.compiled.change_slots[self.key_for[before]][to]

    def received(self, key: int) -> int:
        """The slot from which on the first tank of a key is there."""
        return min(self.compiled.received[tank] for tank in self.tanks_of[key])

    def entry(self, vessel: int, state: int) -> float:
        """What a change to the state costs at least; nothing where some change to it needs no clean-down."""
        changes = self.changes(vessel, state)
        return self.compiled.change_cost[vessel] if changes and min(changes) > 0 else 0.0

    # --- spells ---------------------------------------------------------------------------------------------------------------

    def _times(self, key: int, vessel: int) -> int:
        """The slots in which a batch may begin to be unloaded: what follows at once on a possible end of the stage before."""
        found = 0
        for tanks in range(1, max(1, self.most_tanks(key, self.compiled.capacity[vessel])) + 1):
            needs = self._needs(key, vessel, tanks)
            possible = self._board.possible(needs)
            if possible is None:
                continue
            inside = needs.inside
            last = possible[inside - 1]
            if inside == 1 or _depends_on_charge(needs.steps[inside - 1]):
                found |= last
            else:
                found |= first_after(possible[inside - 2] << needs.steps[inside - 2].slots, last)
        return found

    def _parted(self) -> tuple[list[int], int]:
        """Stretches of unloading, parted by pauses; a long one is cut."""
        compiled = self.compiled
        together = 0
        for times in self._unloads.values():
            together |= times
        pause = max(1, GAP_MIN // compiled.slot_min)
        longest = max(1, LONGEST_SPELL_MIN // compiled.slot_min)
        behind = self.last + BEYOND_MIN // compiled.slot_min
        begins, before = [0], -1
        for slot in members(together, behind):
            if (before >= 0 and slot - before > pause) or slot - begins[-1] >= longest:
                begins.append(slot)
            before = slot
        return begins, behind

    def windows(self, vessel: int) -> Iterator[Window]:
        """The spells of a vessel; last the time behind them."""
        compiled = self.compiled
        first = compiled.slots
        for key in self.own[vessel]:
            received = min(compiled.received[tank] for tank in self.tanks_of[key])
            unload = self.unload_of(self.smallest[key, vessel], max(received, compiled.ready[vessel]))
            first = first if unload is None else min(first, unload)
        for spell, (begin, until) in enumerate(pairwise([*self.begins, self.behind])):
            inside = 0
            for key in self.own[vessel]:
                inside |= self._unloads[key, vessel] & (((1 << (until - begin)) - 1) << begin)
            if inside:
                window = Window(
                    spell, max(first, (inside & -inside).bit_length() - 1), inside.bit_length() - 1
                )
                if window.begin <= window.end:
                    yield window
        yield Window(len(self.begins), max(first, self.behind), max(compiled.slots, self.behind))


def _depends_on_charge(step: Step) -> bool:
    """Whether unloading takes what grows with the charge, so that a larger one may have to wait for it."""
    return bool(step.flows or step.draws or step.loads or step.waste_flow)


def members(slots: int, until: int) -> Iterator[int]:
    """The slots of a set before a slot, rising."""
    slots &= (1 << until) - 1
    while slots:
        lowest = slots & -slots
        yield lowest.bit_length() - 1
        slots ^= lowest


def first_after(ends: int, possible: int) -> int:
    """For each slot at which something ended, the first possible one from there on."""
    found, waiting = ends & possible, ends & ~possible
    while waiting:
        first = (waiting & -waiting).bit_length() - 1
        ahead = possible >> first
        if not ahead:
            break
        following = first + (ahead & -ahead).bit_length() - 1
        found |= 1 << following
        waiting = waiting >> following << following
    return found


def price(compiled: Compiled, key: int, vessel: int, percent: float, is_whole: bool) -> tuple[float, float]:
    """A price without and a price per litre that together are nowhere above what a charge in this vessel costs. ``is_whole``: charges
    are of whole litres; others cost at least as much as what they are above."""
    most, least = int(compiled.capacity[vessel]), compiled.minimum[vessel]
    charges = [least, *(float(litres) for litres in range(int(least) + 1, most + 1))]
    costs = [compiled.needs(key, vessel, 1, charge, percent).cost for charge in charges]
    per_l = (costs[-1] - costs[0]) / (charges[-1] - charges[0]) if len(charges) > 1 else 0.0
    upto = charges if is_whole else [*charges[1:], compiled.capacity[vessel]]
    return min(cost - per_l * charge for charge, cost in zip(upto, costs, strict=True)), per_l
