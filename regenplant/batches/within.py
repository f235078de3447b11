"""Whether a written value lies within its limits: asked when it is written, and again when records are verified."""

from __future__ import annotations

from regenplant.core.process.entry_rules import RUNNING_TOTALS
from regenplant.core.process.plan import EntrySpec

SLACK = 1e-9
"""Relative: a value typed exactly at its limit is within."""


def is_within(value: float | None, spec: EntrySpec) -> bool | None:
    """None where there is nothing to judge: no number, no limits, or a running total that has not reached its low limit."""
    if value is None or (spec.low is None and spec.high is None):
        return None
    slack = SLACK * max(abs(value), 1.0)
    if spec.key in RUNNING_TOTALS and spec.low is not None and value < spec.low - slack:
        return None
    return (spec.low is None or value >= spec.low - slack) and (
        spec.high is None or value <= spec.high + slack
    )
