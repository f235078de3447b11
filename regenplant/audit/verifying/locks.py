"""The triggers that freeze rows and note what acts write: missing, altered, or made by somebody else."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit import locks
from regenplant.audit.verifying.registry import Finding, Look


def check_locks(look: Look) -> Iterator[Finding]:
    look.saw(len(locks.wanted_names()))
    for name in locks.missing():
        yield Finding("lock", f"The lock {name} is missing in the database. Run migrate; it makes them anew.")
    for name in locks.altered():
        yield Finding(
            "lock", f"The lock {name} was altered in the database. Run migrate; it makes them anew."
        )
    for name, table in locks.strange():
        yield Finding(
            "lock", f"The trigger {name} on {table} was made by somebody else. Ask who, and take it off."
        )
