"""Writing a deviation inside another act."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.batches.models import Batch, Deviation, StepRun


def write_deviation(*, by: By, batch: Batch, step: StepRun | None, severity: str, what: str) -> Deviation:
    """A new open deviation of this batch."""
    return Deviation.objects.create(
        number=next_number(Deviation, "number", "D", 1001),
        batch=batch,
        step=step,
        severity=severity,
        what=what[:400],
        opened_at=by.at,
        opened_by=by.user,
    )
