"""Reading the audit of use: groups of a period, its batches, one batch down to its movements, prices and reports."""

from regenplant.use.selectors.audit import Audit, Group, UseLine, as_line, audit, lines, outside_count
from regenplant.use.selectors.one_batch import BatchUse, batch_use
from regenplant.use.selectors.question import NONE_ON_RECORD, By, Question

__all__ = [
    "NONE_ON_RECORD",
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
