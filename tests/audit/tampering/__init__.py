"""Ways to falsify the record behind the program's back; each module of this folder adds its own to ``WAYS``."""

from tests.audit.tampering import (
    of_acts,
    of_ageing,
    of_batches,
    of_locks,
    of_plans,
    of_safety,
    of_sewer,
    of_the_rest,
    of_use,
    of_versions,
)
from tests.audit.tampering.ways import WAYS, Record, matches

__all__ = [
    "WAYS",
    "Record",
    "matches",
    "of_acts",
    "of_ageing",
    "of_batches",
    "of_locks",
    "of_plans",
    "of_safety",
    "of_sewer",
    "of_the_rest",
    "of_use",
    "of_versions",
]
