"""Where each draining step of a batch drains: as chosen, else as the class table has it (EV-01, EV-02)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.drains import (
    CLASS_TABLE,
    ClassTable,
    Destination,
    Drained,
    allowed,
    drains_of,
    is_metal,
    refusal,
    usual_destination,
)
from regenplant.core.process.intake import names_metals
from regenplant.core.process.plan import BatchPlan, Check, PlannedStep, Severity
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.plant.drain_table import table_in_force
from regenplant.tanks.models import TankVisit


def has_metal_flag(visits: Iterable[TankVisit]) -> bool:
    """Whether a tank of these served metals, by its declared service or the customer's words. Reads the customer."""
    return any(names_metals(visit.customer.declared_service, visit.customer_words) for visit in visits)


def metal_flag_of(batch: Batch) -> bool:
    """Whether a tank that ever was in this batch carries the flag. One query."""
    return has_metal_flag(TankVisit.objects.filter(batch_links__batch=batch).select_related("customer"))


def what_drains(plan: BatchPlan, number: int) -> Drained | None:
    """What a step drains; None for one that drains nothing. A rinse that goes on behind the plan drains what its rinse did."""
    planned = plan.step(number)
    if not planned.drain_to:
        return None
    if number <= len(plan.steps):
        return drains_of(plan.steps).get(number)
    return Drained.WATER


def usual(
    plan: BatchPlan, step: PlannedStep, segregation_class: str, *, metal: bool, table: ClassTable
) -> Destination | None:
    """Where a step drains when nobody chooses otherwise; None where it drains nothing or the table lets it drain nowhere."""
    drained = what_drains(plan, step.number)
    if drained is None:
        return None
    return usual_destination(step, drained, segregation_class, has_metal_flag=metal, table=table)


def destination_of(step: StepRun, batch: Batch) -> Destination | None:
    """Where a step drains; None for one that drains nothing. A row of before destinations were kept: the usual one of then."""
    if step.drains_to:
        return Destination(step.drains_to)
    plan = plan_of(batch)
    return usual(plan, plan.step(step.number), batch.segregation_class, metal=False, table=CLASS_TABLE)


def choices_for(step: StepRun, batch: Batch, *, metal: bool, now: datetime) -> tuple[Destination, ...]:
    """Where this step may drain by the class table in force, the usual one first."""
    drained = what_drains(plan_of(batch), step.number)
    if drained is None:
        return ()
    return allowed(batch.segregation_class, drained, has_metal_flag=metal, table=table_in_force(now))


def route_refusal(
    step: StepRun, batch: Batch, destination: Destination | None, *, metal: bool, now: datetime
) -> str:
    """Why this step may not drain there by the class table in force, as a sentence; "" where it may."""
    drained = what_drains(plan_of(batch), step.number)
    if drained is None:
        return ""
    if destination is None:
        return f"{step.name} has no destination for its drain. {nowhere(batch.segregation_class, drained, metal=metal)}"
    table = table_in_force(now)
    if not allowed(batch.segregation_class, drained, has_metal_flag=metal, table=table):
        kind = batch.segregation_class
        return f"{step.name}: {nowhere(kind, drained, metal=metal)} {_remedy(kind, drained)}"
    words = refusal(batch.segregation_class, drained, destination, has_metal_flag=metal, table=table)
    return f"{step.name}: {words}" if words else ""


def route_checks(plan: BatchPlan, visits: Sequence[TankVisit], now: datetime) -> list[Check]:
    """A blocker where a draining step may drain nowhere; nothing where every step has a destination."""
    metal, table = has_metal_flag(visits), table_in_force(now)
    kind = plan.request.segregation_class
    lost: dict[Drained, list[str]] = {}
    for step in plan.steps:
        drained = what_drains(plan, step.number)
        if drained is not None and usual(plan, step, kind, metal=metal, table=table) is None:
            lost.setdefault(drained, []).append(step.name)
    return [
        Check(
            "drain_destination",
            False,
            Severity.BLOCKER,
            f"{nowhere(kind, drained, metal=metal)} Steps: {', '.join(names)}. {_remedy(kind, drained)}",
        )
        for drained, names in lost.items()
    ]


def nowhere(segregation_class: str, drained: Drained, *, metal: bool) -> str:
    """That one stream of one class has no destination in the class table in force, as a sentence."""
    flagged = is_metal(segregation_class, has_metal_flag=metal)
    by = (
        ""
        if not flagged or segregation_class == SegregationClass.METAL_BEARING
        else ", with a metal flag (row F),"
    )
    stream = f"{drained.label[:1].upper()}{drained.label[1:]}"
    return (
        f"{stream} of class {segregation_class}{by} may drain nowhere by the class table of drains in force."
    )


def _remedy(segregation_class: str, drained: Drained) -> str:
    """Where the table is changed, and what to do with the tanks; of what the program never allows only the latter."""
    refused = "Refuse its tanks at the dock; under Safety each then has its letter to the customer."
    if not CLASS_TABLE[SegregationClass(segregation_class)][drained]:
        return refused
    return (
        "If it has a destination after all, one person drafts the table and another approves it, under Set-up, What may drain where. "
        f"If not: {refused[:1].lower()}{refused[1:]}"
    )


def is_metal_plan(plan: BatchPlan, visits: Sequence[TankVisit]) -> bool:
    return is_metal(plan.request.segregation_class, has_metal_flag=has_metal_flag(visits))
