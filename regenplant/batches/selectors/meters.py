"""Which rinse the readings of an in-line meter belong to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.models import Batch
from regenplant.batches.rinse import judged_steps
from regenplant.core.process.lifecycle import BatchState

_STATES = (BatchState.RINSING, BatchState.AWAITING_QC, BatchState.HELD)
"""A batch in one of these may still get readings that were measured while it rinsed."""


@dataclass(frozen=True, slots=True)
class OpenRinse:
    """The final rinse of a batch that is not judged yet."""

    batch: Batch
    started_at: datetime
    """When the first judged rinse of it began."""
    finished_at: datetime | None
    """When the last of them ended; None while one runs or is still to come."""


def rinse_open_in(vessel_id: int) -> OpenRinse | None:
    """The rinse in this vessel whose readings are still open: the one that began last; None where there is none."""
    found = [
        rinse
        for batch in Batch.objects.filter(vessel_id=vessel_id, state__in=_STATES).prefetch_related("steps")
        if (rinse := _rinse_of(batch)) is not None
    ]
    return max(found, key=lambda rinse: rinse.started_at, default=None)


def _rinse_of(batch: Batch) -> OpenRinse | None:
    steps = judged_steps(batch)
    started = next((step.started_at for step in steps if step.started_at is not None), None)
    if started is None:
        return None
    ends = [step.finished_at for step in steps]
    finished = max((end for end in ends if end is not None), default=None) if all(ends) else None
    return OpenRinse(batch, started, finished)
