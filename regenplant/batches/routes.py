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
        return f"{step.name} has no destination for its drain; class {batch.segregation_class} may drain nowhere."
    words = refusal(
        batch.segregation_class, drained, destination, has_metal_flag=metal, table=table_in_force(now)
    )
    return f"{step.name}: {words}" if words else ""


def route_checks(plan: BatchPlan, visits: Sequence[TankVisit], now: datetime) -> list[Check]:
    """A blocker where a draining step may drain nowhere; nothing where every step has a destination."""
    metal, table = has_metal_flag(visits), table_in_force(now)
    lost = [
        step.name
        for step in plan.steps
        if step.drain_to
        and usual(plan, step, plan.request.segregation_class, metal=metal, table=table) is None
    ]
    if not lost:
        return []
    return [
        Check(
            "drain_destination",
            False,
            Severity.BLOCKER,
            f"Nothing of class {plan.request.segregation_class} may be drained anywhere: {', '.join(lost)}. "
            "Refuse its tanks at the dock; under Safety each then has its letter to the customer.",
        )
    ]


def is_metal_plan(plan: BatchPlan, visits: Sequence[TankVisit]) -> bool:
    return is_metal(plan.request.segregation_class, has_metal_flag=has_metal_flag(visits))
