"""A plant's own class tables, for tests."""

from __future__ import annotations

from regenplant.core.process.drains import CLASS_TABLE, ClassTable, Destination, Drained
from regenplant.core.process.vocabulary import SegregationClass


def changed(kind: str, drained: str, *destinations: str) -> ClassTable:
    """The program's table with one cell of its own."""
    found = {one: dict(row) for one, row in CLASS_TABLE.items()}
    found[SegregationClass(kind)][Drained(drained)] = tuple(Destination(item) for item in destinations)
    return found


def without_sewer() -> ClassTable:
    """No brine of class D goes straight to the sewer."""
    return changed("D", "brine", "neutralization", "reclaim")
