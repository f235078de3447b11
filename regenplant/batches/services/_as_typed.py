"""What entries and readings share: kept as typed, corrected by a newer row, never twice and never out of time."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.batches.models import RinseReading, StepEntry, StepRun
from regenplant.core.errors import RecordRefused

SENT_TWICE_S = 20.0
"""The same value by the same person within so short a time is one page sent twice, not two values."""


def refuse_replaced(old: StepEntry | RinseReading, reason: str) -> None:
    if hasattr(old, "replaced_by"):
        raise RecordRefused(
            "This value was already corrected. Correct the newest one.", code="already_corrected"
        )
    if len(reason.strip()) < 10:
        raise RecordRefused(
            "The reason is too short. Say in at least 10 characters what was wrong.", field="reason"
        )


def refuse_out_of_time(step: StepRun, by: By) -> None:
    if by.happened_at > by.at:
        raise RecordRefused(
            "The time lies in the future. Write when it happened.", field="occurred_at", code="future"
        )
    if step.started_at and by.happened_at < step.started_at:
        raise RecordRefused(
            f"The time lies before {step.name} started.", field="occurred_at", code="before_start"
        )
