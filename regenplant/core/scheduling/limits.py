"""The limits that one batch meets, and where it would be ready earliest in a vessel if some of them were not there.

A limit binds where the batch could be ready earlier without it, everything else kept: found by trying, not by looking at what is full.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from regenplant.core.scheduling.board import Board
from regenplant.core.scheduling.compiled import Compiled, Needs
from regenplant.core.scheduling.search import Search

PLENTY = 1 << 40
"""More than any plan takes of anything."""


class LimitKind(StrEnum):
    """What may keep a batch from being ready earlier."""

    ARRIVAL = "arrival"
    """A tank of it comes later."""
    READY = "ready"
    """The vessel is not ready: a batch runs in it."""
    TAKEN = "taken"
    """Other batches of the plan stand in the vessel."""
    CLOSED = "closed"
    CHANGEOVER = "changeover"
    OPERATORS = "operators"
    TECHNICIANS = "technicians"
    SECOND_PEOPLE = "second_people"
    OPENING = "opening"
    """Its bed must not stand while nobody is there."""
    SKID = "skid"
    STOCK = "stock"
    STRENGTH = "strength"
    WATER = "water"
    WASTE = "waste"
    BUDGET = "budget"
    DECIDED = "decided"


@dataclass(frozen=True, slots=True, order=True)
class Limit:
    """One limit; ``name`` is the chemical, the water or the ion, else empty."""

    kind: LimitKind
    name: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A batch that is looked for a place for: positions of key, tanks and vessel, what it takes, its decision (-1 for none)."""

    key: int
    tanks: tuple[int, ...]
    vessel: int
    volume: float
    percent: float
    pin: int = -1


class Place:
    """One batch in one vessel, everything else on the board kept. The batch itself must not be on the board."""

    def __init__(self, search: Search, wanted: Wanted) -> None:
        self.search = search
        self.wanted = wanted
        self.compiled = search.compiled
        self.first = min((*self.compiled.received, *self.compiled.ready), default=0)
        """The first slot of the plan: nothing begins before it, whatever is not there."""
        self.needs = self._needs(self.compiled)
        self._others: dict[tuple[bool, frozenset[str]], Compiled] = {}

    def _needs(self, compiled: Compiled) -> Needs:
        wanted = self.wanted
        charged = max(wanted.volume, compiled.minimum[wanted.vessel])
        return compiled.needs(wanted.key, wanted.vessel, len(wanted.tanks), charged, wanted.percent)

    def limits(self) -> tuple[Limit, ...]:
        """Those that this batch meets at all, in a fixed order."""
        kind, steps, compiled = LimitKind, self.needs.steps, self.compiled
        found = [Limit(kind.ARRIVAL), Limit(kind.READY), Limit(kind.TAKEN), Limit(kind.CHANGEOVER)]
        if compiled.closed[self.wanted.vessel]:
            found.append(Limit(kind.CLOSED))
        if self.wanted.pin >= 0 and compiled.pins[self.wanted.pin].start >= 0:
            found.append(Limit(kind.DECIDED))
        for one, needed in (
            (kind.OPERATORS, any(step.attention for step in steps)),
            (kind.TECHNICIANS, any(step.technicians for step in steps)),
            (kind.SECOND_PEOPLE, any(step.second_people for step in steps)),
            (kind.OPENING, any(step.stays_open for step in steps) and bool(compiled.problem.openings)),
            (kind.WASTE, any(step.waste_flow for step in steps)),
        ):
            if needed:
                found.append(Limit(one))
        for at in sorted({at for step in steps for at, _, _ in step.draws}):
            name = compiled.chemicals[at]
            found += [Limit(kind.SKID, name), Limit(kind.STOCK, name)]
            if compiled.problem.chemicals[name].unusable:
                found.append(Limit(kind.STRENGTH, name))
        waters = sorted({at for step in steps for at, _ in step.flows})
        found += [Limit(kind.WATER, compiled.waters[at]) for at in waters]
        ions = sorted({at for step in steps for at, _ in step.loads})
        found += [Limit(kind.BUDGET, compiled.budget_ions[at]) for at in ions]
        return tuple(found)

    def received(self) -> int:
        """The slot from which all its tanks are there."""
        return max(self.compiled.received[tank] for tank in self.wanted.tanks)

    def earliest(self, freed: frozenset[Limit] = frozenset()) -> list[int] | None:
        """Start slots with the earliest end in the vessel, as if ``freed`` were not there; None where there is no place."""
        kind = LimitKind
        board, needs = self._board(freed)
        decided = self.compiled.pins[self.wanted.pin] if self.wanted.pin >= 0 else None
        begin_at = -1
        if decided is not None and Limit(kind.DECIDED) not in freed:
            begin_at = decided.start
        for begin, end_by in self.gaps(freed):
            whole = [(begin, end_by)] if begin < end_by else []
            is_open = Limit(kind.CLOSED) in freed
            parts = whole if is_open else self.compiled.open_parts(self.wanted.vessel, begin, end_by)
            for first, last in parts:
                if begin_at >= 0 and not first <= begin_at < last:
                    continue
                starts = board.fit(needs, first, last, begin_at)
                if starts is not None:
                    return starts
        return None

    def gaps(self, freed: frozenset[Limit] = frozenset()) -> Iterator[tuple[int, int]]:
        """What other batches leave of the vessel, with clean-downs, in order of time."""
        kind, compiled, key, vessel = LimitKind, self.compiled, self.wanted.key, self.wanted.vessel
        clean = Limit(kind.CHANGEOVER) in freed
        earliest = self.first if Limit(kind.ARRIVAL) in freed else self.received()
        free = self.first if Limit(kind.READY) in freed else compiled.ready[vessel]
        row = [] if Limit(kind.TAKEN) in freed else self.search.board.sequence[vessel]
        before = -1
        for after in (*row, None):
            setup = 0 if clean else self.search.change(vessel, before, key)
            end_by = compiled.slots
            if after is not None:
                end_by = after.start - (0 if clean else compiled.change_slots[key][after.key])
            yield max(earliest, free + setup), end_by
            if after is not None:
                before, free = after.key, after.end

    def _board(self, freed: frozenset[Limit]) -> tuple[Board, Needs]:
        """The board as it stands, with plenty of what is freed."""
        board = self.search.board
        if not freed:
            return board, self.needs
        kind = LimitKind
        made = copy.copy(board)
        compiled = made.compiled = self._compiled(freed)
        made.forget()
        made.skid, made.water = list(board.skid), list(board.water)
        made.stock, made.lowest, made.budget = list(board.stock), list(board.lowest), list(board.budget)
        plenty = np.full(compiled.slots, PLENTY, dtype=np.int64)
        for limit in freed:
            if limit.kind is kind.OPERATORS:
                made.attention = plenty
            elif limit.kind is kind.TECHNICIANS:
                made.technicians = plenty
            elif limit.kind is kind.SECOND_PEOPLE:
                made.second_people = plenty
            elif limit.kind is kind.SKID:
                made.skid[compiled.chemicals.index(limit.name)] = plenty
            elif limit.kind is kind.STOCK:
                at = compiled.chemicals.index(limit.name)
                made.stock[at], made.lowest[at] = plenty, None
            elif limit.kind is kind.WATER:
                made.water[compiled.waters.index(limit.name)] = plenty
            elif limit.kind is kind.BUDGET:
                made.budget[compiled.budget_ions.index(limit.name)] = np.full(compiled.slots, np.inf)
            elif limit.kind is kind.WASTE:
                made.net = np.full(compiled.slots, -1e9)
                made.level = np.zeros(compiled.slots)
        return made, self._needs(compiled)

    def _compiled(self, freed: frozenset[Limit]) -> Compiled:
        """The problem without openings or expired checks, where those are freed."""
        is_open = Limit(LimitKind.OPENING) in freed
        checked = frozenset(limit.name for limit in freed if limit.kind is LimitKind.STRENGTH)
        if not is_open and not checked:
            return self.compiled
        found = self._others.get((is_open, checked))
        if found is None:
            problem = self.compiled.problem
            found = self._others[is_open, checked] = Compiled(
                replace(
                    problem,
                    openings=() if is_open else problem.openings,
                    chemicals={
                        name: replace(supply, unusable=()) if name in checked else supply
                        for name, supply in problem.chemicals.items()
                    },
                )
            )
        return found
