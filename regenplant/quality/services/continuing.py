"""QC hands a batch back to its rinse, with a reason and with so much water; the water is counted against its specification."""

from __future__ import annotations

import math

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.moves import locked
from regenplant.batches.services import repeat_rinse
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.lifecycle import BATCH, BatchAction, BatchState
from regenplant.core.process.wording import say as say_value
from regenplant.quality.models import RinseContinuation
from regenplant.quality.specification import judgement
from regenplant.quality.ways import RinseOn, rinse_on


@use_case("qc.rinse_continued", permission="qc.judge")
def continue_rinse(
    *, by: By, batch_id: int, reason: str, allowance_bv: float | None = None, version: int | None = None
) -> Outcome:
    """The rinse of a batch that awaits QC goes on. Its hold time begins anew, and a new sample is taken.

    ``allowance_bv``: bed volumes it may take besides [resin volumes]; None for all that its specification still allows.
    Raises: RecordRefused, OutOfRange, TransitionRefused (nothing is missing, the water is used up), StaleRecord.
    """
    batch = locked(batch_id, version)
    BATCH.rule(BatchState(batch.state), BatchAction.CONTINUE_RINSE)
    if len(reason.strip()) < 10:
        raise RecordRefused(
            "The reason is too short. Say in at least 10 characters why it rinses on.", field="reason"
        )
    stands = rinse_on(batch, judgement(batch))
    against = stands.against
    allowed = _allowance(stands, allowance_bv) if not against else 0.0
    litres = units.twin(allowed * batch.resin_volume_m3, "liquid_volume")
    step = repeat_rinse(by=by, batch_id=batch.pk, against=against, allowance=litres).result
    row = RinseContinuation.objects.create(
        batch=batch,
        round=len(stands.rounds) + 1,
        step=step,
        rinsed_bv=stands.rinsed_bv,
        allowance_bv=allowed,
        reason=reason.strip(),
        continued_at=by.happened_at,
        continued_by=by.user,
    )
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        facts={
            "round": row.round,
            "rinsed_bv": row.rinsed_bv,
            "allowance_bv": row.allowance_bv,
            "shown": say_value(row.allowance_bv, "bed_volumes"),
            "litres": litres,
        },
        reason=reason.strip(),
        result=row,
    )


def _allowance(stands: RinseOn, asked_bv: float | None) -> float:
    """Raises: RecordRefused where neither the person nor the specification says how much; OutOfRange above what is left."""
    left = stands.left_bv
    if asked_bv is None:
        if left is None:
            raise RecordRefused(
                "Its specification names no longest rinse. Write how much water it may take.",
                code="no_allowance",
                field="allowance",
            )
        return left
    if not (math.isfinite(asked_bv) and asked_bv > 0):
        raise OutOfRange(
            f"{say_value(asked_bv, 'bed_volumes')} rinse nothing; write a volume above zero.",
            field="allowance",
            seen=asked_bv,
        )
    if left is not None and asked_bv > left * (1 + 1e-9):
        raise OutOfRange(
            f"{say_value(asked_bv, 'bed_volumes')} is more than is left: {say_value(stands.rinsed_bv, 'bed_volumes')} have passed, "
            f"and its specification ends at {say_value(stands.most_bv or 0.0, 'bed_volumes')}.",
            field="allowance",
            seen=asked_bv,
            allowed_high=left,
        )
    return asked_bv


say(
    "qc.rinse_continued",
    "{subject}: the rinse goes on for the {round}. time, at most {shown} more ({litres})",
)
