"""Why a batch of a plan is not ready earlier: each limit that it meets is taken away by itself, everything else kept, and where the
batch would then be ready earlier in its vessel, that limit binds. Where none does by itself, those that do together are named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.board import Placed
from regenplant.core.scheduling.compiled import Compiled, Step
from regenplant.core.scheduling.limits import Limit, LimitKind, Place, Wanted
from regenplant.core.scheduling.on_board import Parts, on_board, parts_of, put_at
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem
from regenplant.core.scheduling.search import Search


@dataclass(frozen=True, slots=True)
class Binding:
    """One limit that keeps the batch from being ready earlier."""

    limit: Limit
    at_min: int
    """The moment at which it refuses: a stage would begin or run then."""
    until_min: int | None
    """It refuses up to then; None where it does so to the end of the calendar."""
    stage: str
    """Name of the stage that it refuses; "" for the loading."""
    by: tuple[str, ...]
    """Batches that take it then, planned and running ones, by name; a tank that comes late."""
    is_offered: bool
    """Whether there is enough of it then and others have it; False where there is not enough for anybody."""
    starts_min: tuple[int, ...]
    """When its stages would begin without it (without all that bind together)."""
    ready_min: int
    """When the batch would be ready then."""


@dataclass(frozen=True, slots=True)
class WhyNow:
    """What keeps a batch where it is in time."""

    batch: str
    start_min: int
    ready_min: int
    earliest_min: int
    """When it could be ready at the earliest in its vessel, every limit and everything else kept."""
    earlier_costs: Parts | None
    """What that place costs more than its own; None where it is no earlier."""
    at_once_min: int | None
    """Where it could be loaded earlier than it is and be ready no earlier: that moment."""
    bindings: tuple[Binding, ...]
    """Those with most to gain first."""
    are_together: bool
    """None of them gains anything by itself; without all of them the batch would be ready earlier."""


@dataclass(frozen=True, slots=True)
class Lifted:
    """A plan on a board with one batch taken off."""

    search: Search
    batch: Placed
    name: str
    names: Mapping[int, str]
    """Name of each batch by ``id`` of its place on the board."""
    before: Parts

    @property
    def wanted(self) -> Wanted:
        """The batch as it was, to be looked for a place."""
        one = self.batch
        return Wanted(one.key, tuple(one.tanks), one.vessel, one.volume, one.percent, one.pin)

    def costs_at(self, vessel: int, starts: list[int]) -> Parts:
        """What the plan costs more with the batch there."""
        put_at(self.search, list(self.batch.tanks), vessel, starts, self.batch.pin)
        found = parts_of(self.search).less(self.before)
        self.search.take_off(self.search.batches[-1])
        return found


def lifted(problem: Problem, plan: Plan, name: str) -> Lifted:
    """The plan on a board without this batch. Raises: OutOfRange where it has none of this name."""
    if all(batch.id != name for batch in plan.batches):
        raise OutOfRange(f"The plan has no batch {name[:12]}.", field="batch")
    search = on_board(Compiled(problem), plan)
    names = {id(placed): batch.id for placed, batch in zip(search.batches, plan.batches, strict=True)}
    before = parts_of(search)
    batch = next(one for one in search.batches if names[id(one)] == name)
    search.take_off(batch)
    return Lifted(search, batch, name, names, before)


def why_now(problem: Problem, plan: Plan, name: str) -> WhyNow:
    """What keeps the batch of this name from being ready earlier in its vessel. Raises: OutOfRange where there is none."""
    return why_lifted_now(lifted(problem, plan, name))


def why_lifted_now(found: Lifted) -> WhyNow:
    """As ``why_now``, of a batch that is taken off already."""
    batch, place = found.batch, Place(found.search, found.wanted)
    minutes = place.compiled.slot_min
    best = place.earliest()
    if (
        best is None or place.needs.done(best) > batch.done
    ):  # the waste tank is tried, so its own place may not be found again
        best = list(batch.starts)
    end = place.needs.done(best)
    limits = place.limits()
    alone = [(limit, place.earliest(frozenset({limit}))) for limit in limits]
    gaining = [
        (frozenset({limit}), starts)
        for limit, starts in alone
        if starts is not None and place.needs.done(starts) < end
    ]
    together = frozenset[Limit]()
    if not gaining:
        together = _needed_together(place, limits, end)
        starts = place.earliest(together) if together else None
        if starts is not None:
            gaining = [(frozenset({limit}), starts) for limit in sorted(together)]
    explain = _Explain(found, place, best)
    bindings = [
        binding
        for freed, starts in gaining
        for limit in freed
        if (binding := explain.binding(limit, starts)) is not None
    ]
    return WhyNow(
        batch=found.name,
        start_min=batch.start * minutes,
        ready_min=batch.done * minutes,
        earliest_min=end * minutes,
        earlier_costs=found.costs_at(batch.vessel, best) if end < batch.done else None,
        at_once_min=_at_once(place, batch),
        bindings=tuple(sorted(bindings, key=lambda item: (item.ready_min, item.limit))),
        are_together=bool(together),
    )


def _needed_together(place: Place, limits: tuple[Limit, ...], end: int) -> frozenset[Limit]:
    """The fewest that were found of which all must go for an earlier end: those are put back that need not go. Empty where the
    batch lasts so long by itself."""

    def is_earlier(freed: frozenset[Limit]) -> bool:
        starts = place.earliest(freed)
        return starts is not None and place.needs.done(starts) < end

    freed = frozenset(limits)
    if not is_earlier(freed):
        return frozenset()
    for limit in limits:
        if is_earlier(freed - {limit}):
            freed -= {limit}
    return freed


def _at_once(place: Place, batch: Placed) -> int | None:
    """The earliest loading in the gap in which the batch stands, where it gains nothing by it."""
    compiled, board = place.compiled, place.search.board
    if batch.pin >= 0 and compiled.pins[batch.pin].start >= 0:
        return None
    for begin, end_by in place.gaps():
        if not begin < batch.start < end_by:
            continue
        for first, last in compiled.open_parts(batch.vessel, begin, end_by):
            if not first < batch.start < last:
                continue
            for slot in range(first, batch.start):
                starts = board.fit(place.needs, slot, last, slot)
                if starts is not None:
                    return slot * compiled.slot_min if place.needs.done(starts) >= batch.done else None
    return None


class _Explain:
    """Where and when a limit refuses a place that would be earlier."""

    def __init__(self, found: Lifted, place: Place, best: list[int]) -> None:
        self.found = found
        self.place = place
        self.best = best
        self.compiled = place.compiled
        self.stages = self.compiled.own_stages.get(
            (place.wanted.key, place.wanted.vessel), self.compiled.stages[place.wanted.key]
        )

    def binding(self, limit: Limit, starts: list[int]) -> Binding | None:
        """None where the limit refuses nothing of this place after all."""
        kind = limit.kind
        if kind in (
            LimitKind.ARRIVAL, LimitKind.READY, LimitKind.TAKEN, LimitKind.CHANGEOVER, LimitKind.CLOSED,
            LimitKind.DECIDED,
        ):  # fmt: skip
            return self._of_vessel(limit, starts)
        if kind is LimitKind.WASTE:
            return self._waste(limit, starts)
        if kind is LimitKind.STOCK:
            return self._stock(limit, starts)
        return self._shared(limit, starts)

    def _made(
        self,
        limit: Limit,
        starts: list[int],
        at: int,
        until: int | None,
        stage: str = "",
        by: tuple[str, ...] = (),
        is_offered: bool = False,
    ) -> Binding:
        minutes = self.compiled.slot_min
        return Binding(
            limit,
            at * minutes,
            None if until is None else until * minutes,
            stage,
            by,
            is_offered,
            tuple(start * minutes for start in starts),
            self.place.needs.done(starts) * minutes,
        )

    def _of_vessel(self, limit: Limit, starts: list[int]) -> Binding | None:
        place, begin = self.place, starts[0]
        free = place.needs.vessel_free(starts)
        if limit.kind is LimitKind.ARRIVAL:
            received = self.compiled.received
            last = [tank for tank in place.wanted.tanks if received[tank] == place.received()]
            names = tuple(self.compiled.problem.tanks[tank].id for tank in last)
            return self._made(limit, starts, begin, place.received(), by=names)
        if limit.kind is LimitKind.READY:
            vessel = self.compiled.problem.vessels[place.wanted.vessel]
            running = tuple(
                item.id for item in self.compiled.problem.running if item.vessel == vessel.id and item.stages
            )
            return self._made(limit, starts, begin, self.compiled.ready[place.wanted.vessel], by=running)
        row = self.found.search.board.sequence[place.wanted.vessel]
        if limit.kind is LimitKind.TAKEN:
            there = [one for one in row if one.start < free and one.end > begin]
            if not there:  # only a clean-down after or before them is in the way
                there = [one for one in row if one.start >= free][:1] or row[-1:]
            earlier = [one.end for one in there if one.end <= self.best[0]]
            until = max(earlier, default=max((one.end for one in there), default=begin))
            names = tuple(self.found.names[id(one)] for one in there)
            return self._made(limit, starts, begin, until, by=names, is_offered=True)
        if limit.kind is LimitKind.CLOSED:
            windows = [
                window
                for window in self.compiled.closed[place.wanted.vessel]
                if window[0] < free and window[1] > begin
            ]
            if not windows:
                return None
            until = max(window[1] for window in windows)
            return self._made(limit, starts, windows[0][0], until if until < self.compiled.slots else None)
        if limit.kind is LimitKind.CHANGEOVER:
            return self._changeover(limit, starts)
        return self._made(limit, starts, begin, self.compiled.pins[place.wanted.pin].start)

    def _changeover(self, limit: Limit, starts: list[int]) -> Binding | None:
        """The clean-down before the batch where it would stand without, or the one after it."""
        place, begin = self.place, starts[0]
        free, key, vessel = place.needs.vessel_free(starts), place.wanted.key, place.wanted.vessel
        row = self.found.search.board.sequence[vessel]
        before = next((one for one in reversed(row) if one.end <= begin), None)
        after = next((one for one in row if one.start >= free), None)
        ended = before.end if before is not None else self.compiled.ready[vessel]
        clean = ended + self.found.search.change(vessel, before.key if before is not None else -1, key)
        if begin < clean:
            names = (self.found.names[id(before)],) if before is not None else ()
            return self._made(limit, starts, ended, clean, by=names)
        if after is None:
            return None
        needed = after.start - self.compiled.change_slots[key][after.key]
        if needed >= free:
            return None
        return self._made(
            limit, starts, needed, after.start, by=(self.found.names[id(after)],), is_offered=True
        )

    def _waste(self, limit: Limit, starts: list[int]) -> Binding | None:
        for step, stage, wanted, had in zip(
            self.place.needs.steps, self.stages, starts, self.best, strict=True
        ):
            if step.waste_flow and wanted != had:
                users = self._users(wanted, wanted + step.slots, lambda other: other.waste_flow > 0)
                return self._made(limit, starts, wanted, had, stage.name, users, is_offered=bool(users))
        return None

    def _stock(self, limit: Limit, starts: list[int]) -> Binding | None:
        """The first stage that would draw more than is there from then on."""
        chemical = self.compiled.chemicals.index(limit.name)
        lowest = np.minimum.accumulate(self.found.search.board.stock[chemical][::-1])[::-1]
        drawn = 0
        for step, stage, start in zip(self.place.needs.steps, self.stages, starts, strict=True):
            drawn += sum(grams for at, _, grams in step.draws if at == chemical)
            if drawn and lowest[start] < drawn:
                enough = int(lowest.searchsorted(drawn))
                until = enough if enough < self.compiled.slots else None
                users = self._users(0, self.compiled.slots, lambda other: _draws(other, chemical))
                return self._made(limit, starts, start, until, stage.name, users, is_offered=bool(users))
        return None

    def _shared(self, limit: Limit, starts: list[int]) -> Binding | None:
        """The first stage in whose slots not enough of it is left."""
        spent = 0.0
        for step, stage, start in zip(self.place.needs.steps, self.stages, starts, strict=True):
            needed, left, offered, is_user = self._left(limit, step, spent)
            if limit.kind is LimitKind.BUDGET:
                spent = needed
            if not needed:
                continue
            is_whole = limit.kind not in (LimitKind.BUDGET, LimitKind.STRENGTH)
            end = start + step.slots if is_whole else start + 1
            short = left[start:end] < needed
            if not short.any():
                continue
            at = start + int(np.argmax(short))
            enough = np.flatnonzero(left[at:] >= needed)
            until = at + int(enough[0]) if enough.size else None
            is_offered = bool(offered[at] >= needed)
            if is_offered:
                users = self._users(at, at + 1, is_user)
                if limit.kind is LimitKind.BUDGET:
                    begin, until_day = self.compiled.budget_day[self._ion(limit)][at]
                    users = self._users(begin, until_day, is_user)
            else:
                users = ()
            return self._made(limit, starts, at, until, stage.name, users, is_offered)
        return None

    def _ion(self, limit: Limit) -> int:
        return self.compiled.budget_ions.index(limit.name)

    def _left(
        self, limit: Limit, step: Step, spent: float
    ) -> tuple[float, np.ndarray, np.ndarray, Callable[[Step], bool]]:
        """What the step needs of it, what is left and what is there at all in each slot, and which other steps take some."""
        board, compiled, problem = self.found.search.board, self.compiled, self.compiled.problem
        kind = limit.kind
        if kind is LimitKind.OPERATORS:
            there = compiled.offered(problem.operator_shifts, problem.attention_per_operator)
            return step.attention, board.attention, there, lambda other: other.attention > 0
        if kind is LimitKind.TECHNICIANS:
            there = compiled.offered(problem.technician_shifts, 1)
            return step.technicians, board.technicians, there, lambda other: other.technicians > 0
        if kind is LimitKind.SECOND_PEOPLE:
            there = compiled.offered(problem.second_shifts, 1)
            return step.second_people, board.second_people, there, lambda other: other.second_people > 0
        if kind is LimitKind.SKID:
            at = compiled.chemicals.index(limit.name)
            lines = sum(count for chemical, count, _ in step.draws if chemical == at)
            there = np.full(compiled.slots, problem.chemicals[limit.name].skid_lines)
            return lines, board.skid[at], there, lambda other: any(one[0] == at for one in other.draws)
        if kind is LimitKind.WATER:
            at = compiled.waters.index(limit.name)
            flow = sum(litres for water, litres in step.flows if water == at)
            there = np.full(compiled.slots, int(problem.water_l_per_min[limit.name]))
            return flow, board.water[at], there, lambda other: any(one[0] == at for one in other.flows)
        if kind is LimitKind.BUDGET:
            ion = self._ion(limit)
            kg = sum(amount for one, amount in step.loads if one == ion)
            there = compiled.budget_kg(limit.name)
            return (
                spent + kg if kg else spent,
                board.budget[ion] + 1e-9,
                there,
                lambda other: any(one[0] == ion for one in other.loads),
            )
        free = np.zeros(compiled.slots)
        mask = (
            compiled.is_open
            if kind is LimitKind.OPENING
            else compiled.usable[compiled.chemicals.index(limit.name)]
        )
        raw = np.frombuffer(mask.to_bytes(-(-compiled.slots // 8), "little"), dtype=np.uint8)
        free[:] = np.unpackbits(raw, bitorder="little")[: compiled.slots]
        if kind is LimitKind.OPENING:
            return float(step.stays_open or step.begins_open), free, free, lambda other: False
        at = compiled.chemicals.index(limit.name)
        return float(_draws(step, at)), free, free, lambda other: False

    def _users(self, begin: int, end: int, is_user: Callable[[Step], bool]) -> tuple[str, ...]:
        """Batches that take it between two slots, running and planned ones, in order of time."""
        rows = [
            (start, start + step.slots, name, step) for name, start, step in _running_steps(self.compiled)
        ]
        rows += [
            (start, start + step.slots, self.found.names[id(batch)], step)
            for batch in self.found.search.batches
            for step, start in zip(batch.needs.steps, batch.starts, strict=True)
        ]
        found = sorted(
            (start, name)
            for start, until, name, step in rows
            if start < end and until > begin and is_user(step)
        )
        return tuple(dict.fromkeys(name for _, name in found))


def _running_steps(compiled: Compiled) -> Iterator[tuple[str, int, Step]]:
    """What is left of batches that have begun: name, slot, and what it takes."""
    for batch in compiled.problem.running:
        for stage in batch.stages:
            begin = max(0, stage.start_min // compiled.slot_min)
            chemical, water = stage.chemical, stage.water
            yield (
                batch.id,
                begin,
                Step(
                    slots=max(0, -(-stage.end_min // compiled.slot_min) - begin),
                    wait=0,
                    shifts=(),
                    attention=stage.attention,
                    technicians=stage.technicians,
                    second_people=stage.second_people,
                    draws=((compiled.chemicals.index(chemical), 1, stage.grams),) if chemical else (),
                    flows=((compiled.waters.index(water), stage.flow_l_per_min),) if water else (),
                    waste_flow=stage.flow_l_per_min if stage.to_waste else 0,
                    loads=tuple(
                        (compiled.budget_ions.index(ion), grams / 1000)
                        for ion, grams in stage.load_g.items()
                        if ion in compiled.budget_ions
                    ),
                ),
            )


def _draws(step: Step, chemical: int) -> bool:
    return any(at == chemical and grams for at, _, grams in step.draws)
