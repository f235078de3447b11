"""What the trade asks of a plan beyond the exchange format's constraints, held against it: closed vessels, a bed that must not stand
while nobody is there, expired strength checks, the day's discharge budget, and what people decided.

Like checker.py it knows nothing of how plans are found.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from regenplant.core.scheduling.judged import Judged
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem, Window
from regenplant.core.scheduling.telling import When, in_minutes

BUDGET_TOLERANCE_KG = 1e-6
"""Rounding of sums, no room in the budget."""


def trade_limits(
    problem: Problem, plan: Plan, judged: Sequence[Judged], when: When = in_minutes
) -> Iterator[str]:
    """Each limit that is broken, as a sentence."""
    for item in judged:
        yield from _closed(item, when)
        yield from _left_alone(problem, item)
        yield from _unchecked(problem, item, when)
    yield from _over_budget(problem, judged, when)
    yield from _not_as_decided(problem, plan, when)


def _closed(item: Judged, when: When) -> Iterator[str]:
    batch = item.batch
    for window in item.vessel.closed:
        if batch.start_min < window.end_min and window.start_min < item.vessel_free_min:
            yield f"{batch.id}: stands in {item.vessel.id}, closed from {when(window.start_min)} to {when(window.end_min)}"


def _left_alone(problem: Problem, item: Judged) -> Iterator[str]:
    """Stages that must lie in one opening, with the wait behind them."""
    if not problem.openings:
        return
    stages = item.batch.stages
    for at, (stage, need) in enumerate(zip(stages, item.needs, strict=True)):
        if not need.stage.in_one_opening:
            continue
        until = stages[at + 1].start_min if at + 1 < len(stages) else stage.end_min
        inside = [
            window for window in problem.openings if window.start_min <= stage.start_min < window.end_min
        ]
        last = at + 1 == len(stages)
        if not inside or until > inside[0].end_min or (not last and until == inside[0].end_min):
            yield f"{item.batch.id}: stands after {stage.name} while the plant is closed"


def _unchecked(problem: Problem, item: Judged, when: When) -> Iterator[str]:
    for stage, need in zip(item.batch.stages, item.needs, strict=True):
        for use in need.uses:
            if use.chemical is None or not use.grams:
                continue
            for window in problem.chemicals[use.chemical].unusable:
                if window.start_min <= stage.start_min < window.end_min:
                    yield f"{item.batch.id}: {stage.name} begins {when(stage.start_min)} with {use.chemical} of unchecked strength"


def _over_budget(problem: Problem, judged: Sequence[Judged], when: When) -> Iterator[str]:
    spent: dict[tuple[str, Window], float] = defaultdict(float)
    gone: dict[tuple[str, Window], float] = defaultdict(float)
    limits = {(item.ion, Window(item.start_min, item.end_min)): item.kg for item in problem.budgets}

    def add(to: dict[tuple[str, Window], float], ion: str, at_min: int, grams: float) -> None:
        for name, window in limits:
            if name == ion and window.start_min <= at_min < window.end_min:
                to[name, window] += grams / 1000

    for item in judged:
        for stage, need in zip(item.batch.stages, item.needs, strict=True):
            for ion, grams in need.load_g.items():
                add(spent, ion, stage.start_min, grams)
    for batch in problem.running:
        for running in batch.stages:
            for ion, grams in running.load_g.items():
                add(gone, ion, max(0, running.start_min), grams)
    for (ion, window), kg in spent.items():
        left = limits[ion, window] - gone[ion, window]
        if kg > max(0.0, left) + BUDGET_TOLERANCE_KG:
            yield f"{ion}: {kg:g} kg drain from {when(window.start_min)} to {when(window.end_min)}, {left:g} kg are left of the budget"


def _not_as_decided(problem: Problem, plan: Plan, when: When) -> Iterator[str]:
    together = {frozenset(batch.tanks): batch for batch in plan.batches}
    for pin in problem.pins:
        batch = together.get(frozenset(pin.tanks))
        if batch is None:
            yield f"{pin.id}: its tanks are not one batch"
        elif pin.vessel is not None and batch.vessel != pin.vessel:
            yield f"{pin.id}: stands in {batch.vessel}, decided was {pin.vessel}"
        elif (
            pin.start_min is not None
            and batch.start_min != pin.start_min // problem.slot_min * problem.slot_min
        ):
            yield f"{pin.id}: begins {when(batch.start_min)}, decided was {when(pin.start_min)}"
