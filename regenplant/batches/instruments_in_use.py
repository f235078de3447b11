"""Which rinse reads with an instrument now: its settings wait until that is over."""

from __future__ import annotations

from regenplant.batches.log_models import MeterLog
from regenplant.batches.models import RinseReading
from regenplant.core.process.lifecycle import BatchState, StepState


def rinse_reading_with(instrument_id: int) -> str:
    """ "B-10021 is rinsing and reads with it"; "" where no rinse does."""
    running = {
        "instrument_id": instrument_id,
        "batch__state": BatchState.RINSING,
        "step__state": StepState.RUNNING,
    }
    by_hand = RinseReading.objects.filter(**running, replaced_by__isnull=True)
    by_meter = MeterLog.objects.filter(**running)
    numbers = {row for rows in (by_hand, by_meter) for row in rows.values_list("batch__number", flat=True)}
    first = min(numbers, default="")
    return f"{first} is rinsing and reads with it" if first else ""
