"""A rinse that goes on after QC looked at it: the last rinse and the sample come once more, behind the steps of the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.moves import batch_snapshot, locked, move_batch
from regenplant.batches.routes import metal_flag_of, usual
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.core.process.continued import rinse_and_sample
from regenplant.core.process.lifecycle import BatchAction, BatchState
from regenplant.plant.drain_table import table_in_force

LONGEST_NAME = StepRun._meta.get_field("name").max_length or 60


@use_case("batch.rinse_repeated", permission="qc.judge")
def repeat_rinse(
    *, by: By, batch_id: int, against: Sequence[str], allowance: str = "", version: int | None = None
) -> Outcome:
    """Hand a batch back from QC to its rinse. The steps of the plan stay as they were done; two more stand behind them.

    ``against``: sentences of what quality holds against it, which refuse it. ``allowance``: how much water it may take, in words; it
    stands in the name of the step, where the operator reads it. The result is the step of the rinse.
    Raises: TransitionRefused, StaleRecord.
    """
    batch = locked(batch_id, version)
    snapshot = replace(batch_snapshot(batch, by=by), against_going_on=tuple(against) or _no_rinse(batch))
    move_batch(batch, BatchAction.CONTINUE_RINSE, by=by, snapshot=snapshot)
    step = _add_round(batch, allowance, by.at)
    return Outcome(
        subject=batch_subject(batch),
        before={"state": BatchState.AWAITING_QC.value},
        after={"state": batch.state},
        facts={"step": step.number, "name": step.name},
        related=with_tanks(batch),
        result=step,
    )


def _no_rinse(batch: Batch) -> tuple[str, ...]:
    if rinse_and_sample(plan_of(batch).steps) is not None:
        return ()
    return ("This plan has no rinse that ends on an end point, so none goes on.",)


def _add_round(batch: Batch, allowance: str, at: datetime) -> StepRun:
    """The rinse and the sample as further steps; returns the rinse."""
    last = batch.steps.count()
    rows = [plan_of(batch).step(last + 1), plan_of(batch).step(last + 2)]
    metal, table = metal_flag_of(batch), table_in_force(at)
    made = [
        StepRun.objects.create(
            batch=batch,
            number=step.number,
            kind=step.kind.value,
            name=step.name[:LONGEST_NAME],
            leg=step.leg.value,
            planned_duration_s=step.value("duration_s"),
            is_safe_hold_after=step.is_safe_hold_after,
            drains_to=usual(plan_of(batch), step, batch.segregation_class, metal=metal, table=table) or "",
        )
        for step in rows
    ]
    rinse = made[0]
    said = f"{rinse.name}, at most {allowance}"
    if allowance and len(said) <= LONGEST_NAME:
        rinse.name = said
        rinse.save(update_fields=["name"])
    return rinse


say("batch.rinse_repeated", "{subject} went back from QC to its rinse; step {step}, {name}, waits")
