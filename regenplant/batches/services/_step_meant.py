"""The step an act on a whole batch is about."""

from __future__ import annotations

from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import standing_chemicals
from regenplant.batches.models import Batch, StepRun
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import StepState


def step_meant(batch: Batch, step_id: int | None) -> StepRun | None:
    """The step with this key, else the one that runs. Raises: RecordRefused for a step of another batch."""
    if step_id is None:
        return step_in_trouble(batch)
    step = batch.steps.filter(pk=step_id).first()
    if step is None:
        raise RecordRefused(f"This step does not belong to batch {batch.number}.", code="not_in_batch")
    return step


def step_in_trouble(batch: Batch) -> StepRun | None:
    """The step that runs; of two legs at work the one with a chemical in it."""
    running = [step for step in batch.steps.order_by("number") if step.state == StepState.RUNNING]
    standing = standing_chemicals(batch.steps.all(), plan_of(batch))
    return next((step for step in running if step.leg in standing), running[0] if running else None)
