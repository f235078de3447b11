"""Whether the day's budget of the sewer still takes a batch (EV-06). Nothing is changed here.

Counted are what was discharged today, what stands in the waste tanks, and what every batch that is ready or under way still brings.
The permit's day is the measure, so a batch that would exceed it is not planned and not started: it runs on another day, or smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.plan import BatchPlan, Check, Severity
from regenplant.core.process.sewer_budget import (
    WORDS,
    BudgetLine,
    Loads,
    budget_lines,
    loads_of_plan,
    near_the_edge,
    share_that_fits,
    too_much,
    total,
)
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.core.process.wording import say
from regenplant.plant.limits import content_in_force
from regenplant.plant.permit import permit_in_force
from regenplant.plant.sewer_day import SewerDay, day_at

UNDER_WAY = (BatchState.PLANNED, BatchState.READY, BatchState.RUNNING, BatchState.RINSING, BatchState.HELD)
"""States in which a batch may still send something to the waste tank."""


def planned_loads(plan: BatchPlan) -> Loads:
    """What a plan sends to the sewer, its neutralizer included; waste with metal in it never goes there (EV-02)."""
    if plan.request.segregation_class == SegregationClass.METAL_BEARING.value:
        return Loads()
    return loads_of_plan({key: figure.value for key, figure in plan.totals.items()})


def still_coming(day: SewerDay, besides: int | None = None) -> Loads:
    """What batches under way still bring, except the batch with this key."""
    rows = Batch.objects.filter(state__in=[state.value for state in UNDER_WAY])
    if besides is not None:
        rows = rows.exclude(pk=besides)
    return total(
        planned_loads(plan_of(row)).times(1.0 - min(day.drained_frac.get(row.pk, 0.0), 1.0)) for row in rows
    )


def budget_checks(plan: BatchPlan, now: datetime, besides: int | None = None) -> list[Check]:
    """One check where the permit has a budget by ion; nothing where it has none."""
    budget_kg = permit_in_force(now).content.budget_kg()
    wanted = planned_loads(plan)
    if not budget_kg or not any(wanted.of(ion) for ion in budget_kg):
        return []
    day = day_at(now)
    lines = budget_lines(
        budget_kg, gone=day.gone, coming=day.standing + still_coming(day, besides), wanted=wanted
    )
    found = too_much(lines)
    if found:
        return [Check("sewer_budget", False, Severity.BLOCKER, _over(found, share_that_fits(lines)))]
    checks = [Check("sewer_budget", True, Severity.BLOCKER, _within(lines))]
    figures = content_in_force(now).sewer
    if near := near_the_edge([line for line in lines if line.wanted_kg > 0.0], figures.sewer_day_warn_frac):
        checks.append(Check("sewer_budget_near", False, Severity.WARNING, _near(near)))
    return checks


def _near(near: str) -> str:
    return (
        f"With this batch the sewer’s day comes near its edge: {near}, with what went and what is still coming. Little is left for another "
        "batch or for a tank that has to be treated twice."
    )


def _over(found: str, share: float) -> str:
    advice = (
        f"Run it on another day, or with at most {say(share, 'fraction')} of this resin."
        if share > 0.0
        else "Run it on another day; what stands in the waste tank goes first."
    )
    return f"The sewer takes no more of this today. {found[:1].upper()}{found[1:]}. {advice}"


def _within(lines: Sequence[BudgetLine]) -> str:
    told = "; ".join(
        f"{WORDS[line.ion]} {say(line.wanted_kg, 'mass')} of {say(line.left_kg, 'mass')} left"
        for line in lines
    )
    return f"The day’s budget of the sewer takes it: {told}."
