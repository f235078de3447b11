"""What entries and readings share: kept as typed, corrected by a newer row, never twice, never unseen out of time."""

from __future__ import annotations

from regenplant.audit import limits
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason, reason_of
from regenplant.batches.models import RinseReading, StepEntry, StepRun
from regenplant.batches.timing import span_words
from regenplant.core.errors import RecordRefused

SENT_TWICE_S = 20.0
"""The same value by the same person within so short a time is one page sent twice, not two values."""


def correction_reason(old: StepEntry | RinseReading, category: str, reason: str) -> Reason:
    """Why a row is corrected. Raises: RecordRefused for a row that was corrected already, or without a reason."""
    if hasattr(old, "replaced_by"):
        raise RecordRefused(
            "This value was already corrected. Correct the newest one.", code="already_corrected"
        )
    return reason_of(category, reason)


def why_late(by: By, late: Reason | None) -> Reason | None:
    """Why something is written down longer after it happened than the plant allows; None where it is not late.

    Raises: RecordRefused for a time to come, and for a late act without a category and words.
    """
    if by.happened_at > by.at:
        raise RecordRefused(
            "The time lies in the future. Write when it happened.", field="occurred_at", code="future"
        )
    behind_s = (by.at - by.happened_at).total_seconds()
    allowed_s = limits.current().late_after_s
    if behind_s <= allowed_s:
        return None
    if late is None:
        raise RecordRefused(
            f"This happened {span_words(behind_s)} ago; after {span_words(allowed_s)} it is written late. "
            "Say why it is written only now.",
            field="late_words",
            code="late_reason_needed",
            seen=behind_s,
            allowed_high=allowed_s,
        )
    return reason_of(
        late.category,
        late.words,
        "why it is written only now",
        field="late_words",
        category_field="late_category",
    )


def refuse_before_start(step: StepRun, by: By) -> None:
    if step.started_at and by.happened_at < step.started_at:
        raise RecordRefused(
            f"The time lies before {step.name} started.", field="occurred_at", code="before_start"
        )
