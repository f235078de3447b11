"""What open batches still draw from the stock, as planned: of the steps that have a chemical and are not done yet."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.core.process.lifecycle.batch import BatchState
from regenplant.core.process.lifecycle.step import StepState

OPEN = (BatchState.PLANNED, BatchState.READY, BatchState.RUNNING, BatchState.RINSING, BatchState.HELD)
"""States from which a batch may still feed a chemical."""


@dataclass(frozen=True, slots=True)
class Need:
    """One step of a batch that still draws. ``kg_100`` is the whole planned mass: the ledger books a draw when its step ends."""

    batch: str
    state: str
    step_number: int
    step_name: str
    chemical: str
    kg_100: float
    is_drawing: bool
    """The step runs now: part of its mass has left the tank and is not in the books yet."""


def needs() -> list[Need]:
    """Every step of an open batch that still draws, oldest plan first. Two queries."""
    found = []
    for batch in (
        Batch.objects.filter(state__in=OPEN).prefetch_related("steps").order_by("planned_at", "number")
    ):
        plan = plan_of(batch)
        planned = {step.number: step for step in plan.steps}
        for run in sorted(batch.steps.all(), key=lambda step: step.number):
            step = planned.get(run.number)
            if step is None or step.chemical is None or "chemical_kg_100" not in step.figures:
                continue
            if run.state in (StepState.WAITING, StepState.RUNNING):
                found.append(
                    Need(
                        batch.number,
                        batch.state,
                        run.number,
                        run.name,
                        step.chemical.value,
                        step.value("chemical_kg_100"),
                        run.state == StepState.RUNNING,
                    )
                )
    return found


def drawing_now(chemical: str) -> list[Need]:
    """Steps that draw this chemical at this moment: while they run, the level is under the books."""
    return [need for need in needs() if need.chemical == chemical and need.is_drawing]
