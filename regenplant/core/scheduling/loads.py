"""The lines that bind: how much of each shared thing a plan takes, minute by minute as steps, against what there is.

Everything comes from uses.py, which the checker uses too. Amounts: people and skid lines as counts, attention in units (a whole operator
has ``attention_per_operator``), water in litres per minute, the waste tank in litres, stock in kilograms of 100 % substance.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from regenplant.core.scheduling.checker import judged
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import BY_HAND_LINES, ChemicalSupply, Problem, Window
from regenplant.core.scheduling.uses import (
    Interval,
    Uses,
    offered_changes,
    planned_uses,
    running_uses,
    waste_levels,
)

Steps = tuple[tuple[float, float], ...]
"""(minute, amount from then on), in order of time."""


class LoadKind(StrEnum):
    """What is shared."""

    SKID = "skid"
    WATER = "water"
    WASTE = "waste"
    PEOPLE = "people"
    STOCK = "stock"


@dataclass(frozen=True, slots=True)
class Load:
    """One shared thing over the time. ``name`` is the chemical, the water or the people; empty for the waste tank.

    The amount must stay at or below ``room``; of a stock it must stay at or above it. Between two entries of ``taken`` the amount stays
    as it is, but for the waste tank, whose level runs in a straight line (``is_sloped``).
    """

    kind: LoadKind
    name: str
    taken: Steps
    room: Steps
    is_sloped: bool = False

    def room_at(self, minute: float) -> float:
        """The limit then."""
        return next((amount for at, amount in reversed(self.room) if at <= minute), 0.0)

    def taken_at(self, minute: float) -> float:
        """What is taken then."""
        before = next((item for item in reversed(self.taken) if item[0] <= minute), self.taken[0])
        if not self.is_sloped:
            return before[1]
        after = next((item for item in self.taken if item[0] > minute), None)
        if after is None or minute <= before[0]:
            return before[1]
        return before[1] + (after[1] - before[1]) * (minute - before[0]) / (after[0] - before[0])

    def within(self, window: Window) -> Load:
        """The same from one minute up to another."""

        def inside(steps: Steps, first: float) -> Steps:
            return (
                (window.start_min, first),
                *(item for item in steps if window.start_min < item[0] < window.end_min),
            )

        taken = inside(self.taken, self.taken_at(window.start_min))
        if self.is_sloped:
            taken = (*taken, (window.end_min, self.taken_at(window.end_min)))
        return replace(self, taken=taken, room=inside(self.room, self.room_at(window.start_min)))

    @property
    def is_used(self) -> bool:
        """Whether anything is taken, or a stock or a level changes."""
        if self.kind in (LoadKind.STOCK, LoadKind.WASTE):
            first = self.taken[0][1]
            return any(
                amount > first or (self.kind is LoadKind.STOCK and amount != first)
                for _, amount in self.taken
            )
        return any(amount > 0 for _, amount in self.taken)

    def peak(self) -> tuple[float, float]:
        """When most is taken for the first time and how much; of a stock, when least is left."""
        sign = 1 if self.kind is LoadKind.STOCK else -1
        return min(self.taken, key=lambda item: (sign * item[1], item[0]))

    def tightest(self) -> tuple[float, float]:
        """When it comes nearest to its limit first, and the amount then: where least is left above or below the limit.

        With people only moments count at which some are needed: outside of shifts nothing is left and nothing is asked for.
        """
        if self.kind is LoadKind.STOCK:
            return min(self.taken, key=lambda item: (item[1] - self.room_at(item[0]), item[0]))
        asked = [item for item in self.taken if item[1] > 0] or list(self.taken)
        return min(asked, key=lambda item: (self.room_at(item[0]) - item[1], item[0]))


def loads(problem: Problem, plan: Plan) -> tuple[Load, ...]:
    """Every shared thing of which something is taken by the plan or by batches that run: skids, water, the waste tank, people, stock."""
    both = (planned_uses(judged(problem, plan)), running_uses(problem))

    def of(what: str, name: str) -> list[Interval]:
        return [item for uses in both for item in getattr(uses, what)[name]]

    found = [
        Load(LoadKind.SKID, name, _summed(of("skids", name)), ((0, float(supply.skid_lines)),))
        for name, supply in sorted(problem.chemicals.items())
        if supply.skid_lines < BY_HAND_LINES
    ]
    found += [
        Load(LoadKind.WATER, name, _summed(of("water", name)), ((0, float(rate)),))
        for name, rate in sorted(problem.water_l_per_min.items())
    ]
    found.append(_waste(problem, both))
    for name, shifts, factor in (
        ("operators' attention", problem.operator_shifts, problem.attention_per_operator),
        ("QC technicians", problem.technician_shifts, 1),
        ("second people", problem.second_shifts, 1),
    ):
        found.append(
            Load(
                LoadKind.PEOPLE, name, _summed(of("people", name)), _running(offered_changes(shifts, factor))
            )
        )
    found += [
        Load(LoadKind.STOCK, name, _stock(supply, both, name), ((0, float(supply.min_kg)),))
        for name, supply in sorted(problem.chemicals.items())
    ]
    return tuple(load for load in found if len(load.taken) > 1)


def _running(changes: Iterable[tuple[int, float]]) -> Steps:
    """The running sum of changes, one entry for each minute in which it changes; from minute 0 on."""
    by_minute: dict[int, float] = defaultdict(float)
    for at, amount in changes:
        by_minute[max(0, at)] += amount
    level, steps = 0.0, []
    for at in sorted({0, *by_minute}):
        before, level = level, level + by_minute.get(at, 0.0)
        if at == 0 or level != before:
            steps.append((at, level))
    return tuple(steps)


def _summed(intervals: Iterable[Interval]) -> Steps:
    return _running(
        change for start, end, amount in intervals for change in ((start, amount), (max(0, end), -amount))
    )


def _stock(supply: ChemicalSupply, both: Iterable[Uses], name: str) -> Steps:
    """What is left. What arrives in the same minute counts first, so one entry for the minute is enough."""
    changes = [(0, float(supply.initial_kg))]
    changes += [(item.at_min, float(item.kg)) for item in supply.deliveries]
    changes += [(at, -grams / 1000) for uses in both for at, grams in uses.draws[name] if grams]
    return _running(changes)


def _waste(problem: Problem, both: tuple[Uses, ...]) -> Load:
    """The level at each change of a flow, and where the tank has run empty between two of them."""
    inflows = [item for uses in both for item in uses.waste if item[1] > item[0]]
    drain = problem.waste.drain_l_per_min
    events = sorted({0, *(at for start, end, _ in inflows for at in (max(0, start), max(0, end)))})
    if len(events) > 1 and drain > 0:
        events.append(events[-1] + int(problem.waste.capacity_l // drain) + 1)
    levels = waste_levels(problem, inflows, events)
    points: list[tuple[float, float]] = []
    for at, level in zip(events, levels, strict=True):
        if points and level == 0.0 and points[-1][1] > 0.0:
            flow = sum(amount for start, end, amount in inflows if start <= points[-1][0] < end) - drain
            empty = points[-1][0] + points[-1][1] / -flow
            if empty < at:
                points.append((empty, 0.0))
        points.append((at, level))
    return Load(LoadKind.WASTE, "", tuple(points), ((0, problem.waste.capacity_l),), is_sloped=True)
