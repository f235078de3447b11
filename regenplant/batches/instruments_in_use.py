"""Which rinse reads with an instrument now: its settings wait until that is over."""

from __future__ import annotations

from regenplant.batches.models import RinseReading
from regenplant.core.process.lifecycle import BatchState, StepState


def rinse_reading_with(instrument_id: int) -> str:
    """ "B-10021 is rinsing and reads with it"; "" where no rinse does."""
    numbers = RinseReading.objects.filter(
        instrument_id=instrument_id, batch__state=BatchState.RINSING, step__state=StepState.RUNNING, replaced_by__isnull=True
    ).values_list("batch__number", flat=True)  # fmt: skip
    first = numbers.order_by("batch__number").first()
    return f"{first} is rinsing and reads with it" if first else ""
