"""Reading the audit of use: groups of a period, its batches, one batch down to its movements, prices and reports."""

from regenplant.use.selectors.audit import (
    Audit,
    By,
    Group,
    Question,
    UseLine,
    as_line,
    audit,
    lines,
    outside_count,
)
from regenplant.use.selectors.one_batch import BatchUse, batch_use

__all__ = [
    "Audit",
    "BatchUse",
    "By",
    "Group",
    "Question",
    "UseLine",
    "as_line",
    "audit",
    "batch_use",
    "lines",
    "outside_count",
]
