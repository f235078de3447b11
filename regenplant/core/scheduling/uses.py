"""What batches take of everything that is shared, as intervals in time: one place for the checker and for what is shown of a plan.

It comes from the problem and the plan alone and knows nothing of how plans are found.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from regenplant.core.scheduling.judged import Judged
from regenplant.core.scheduling.problem import Problem, RunningBatch, Shift

Interval = tuple[int, int, int]
"""From, to, amount."""


class Uses:
    """What stages take of everything that is shared, as intervals."""

    def __init__(self) -> None:
        self.people: dict[str, list[Interval]] = defaultdict(list)
        self.skids: dict[str, list[Interval]] = defaultdict(list)
        self.water: dict[str, list[Interval]] = defaultdict(list)
        self.waste: list[Interval] = []
        self.draws: dict[str, list[tuple[int, int]]] = defaultdict(list)


def planned_uses(whole: list[Judged]) -> Uses:
    """What the batches of a plan take."""
    uses = Uses()
    for item in whole:
        for timed, need in zip(item.batch.stages, item.needs, strict=True):
            stage, start, end = need.stage, timed.start_min, timed.end_min
            uses.people["operators' attention"].append((start, end, stage.attention))
            uses.people["QC technicians"].append((start, end, stage.technicians))
            uses.people["second people"].append((start, end, stage.second_people))
            for use in need.uses:
                if use.chemical:
                    uses.skids[use.chemical].append((start, end, 1))
                    uses.draws[use.chemical].append((start, use.grams))
                if use.water:
                    uses.water[use.water].append((start, end, use.flow_l_per_min))
                    if use.to_waste:
                        uses.waste.append((start, end, use.flow_l_per_min))
    return uses


def running_uses(problem: Problem) -> Uses:
    """What batches take that have begun already."""
    return uses_of(problem.running)


def uses_of(running: Iterable[RunningBatch]) -> Uses:
    """What these batches still take."""
    uses = Uses()
    for stage in (stage for batch in running for stage in batch.stages):
        start, end = max(0, stage.start_min), stage.end_min
        uses.people["operators' attention"].append((start, end, stage.attention))
        uses.people["QC technicians"].append((start, end, stage.technicians))
        uses.people["second people"].append((start, end, stage.second_people))
        if stage.chemical:
            uses.skids[stage.chemical].append((start, end, 1))
            uses.draws[stage.chemical].append((start, stage.grams))
        if stage.water:
            uses.water[stage.water].append((start, end, stage.flow_l_per_min))
            if stage.to_waste:
                uses.waste.append((start, end, stage.flow_l_per_min))
    return uses


def offered_changes(shifts: Iterable[Shift], factor: int) -> list[tuple[int, float]]:
    """Capacity as changes in time."""
    changes: list[tuple[int, float]] = []
    for shift in shifts:
        changes += [(shift.start_min, shift.people * factor), (shift.end_min, -shift.people * factor)]
    return changes


def waste_levels(problem: Problem, inflows: list[Interval], events: list[int]) -> list[float]:
    """The level of the waste tank at each event."""
    change: dict[int, int] = defaultdict(int)
    for start, end, flow in inflows:
        change[start] += flow
        change[end] -= flow
    level, flow, last = float(problem.waste.initial_l), 0, 0
    levels = []
    for at in events:
        level = max(0.0, level + (flow - problem.waste.drain_l_per_min) * (at - last))
        levels.append(level)
        flow += change.get(at, 0)
        last = at
    return levels
