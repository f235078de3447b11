"""Typed twice: the second typing of a critical value, held against the first before anything is kept."""

from __future__ import annotations

import math

from regenplant import units
from regenplant.audit.by import By
from regenplant.batches.models import EntryCheck, RinseReading, StepEntry
from regenplant.core.errors import RecordRefused

SAME = 1e-9
"""Relative: the same number typed with the same unit, or with another one."""


def refuse_not_again(name: str) -> None:
    """Raises: RecordRefused, so that the page asks for the second typing."""
    raise RecordRefused(
        f"{name} is critical and typed twice. Look at it again and type it once more, without copying.",
        code="type_it_again",
        field="again",
    )


def refuse_different(name: str, value: float, again: str, kind: str, system: units.UnitSystem) -> None:
    """Raises: RecordRefused when the two typings are not the same quantity; UnitNotUnderstood, OutOfRange for the second."""
    second = units.understand(again, kind, system=system).value
    if not math.isclose(value, second, rel_tol=SAME, abs_tol=1e-15):
        raise RecordRefused(
            f"{name} was typed as {units.twin(value, kind, system)} and then as {units.twin(second, kind, system)}. "
            "Nothing was written. Look again, then write it anew.",
            code="typed_differently",
            field="again",
            seen=second,
            first=value,
        )


def keep_second_typing(
    *, by: By, again: str, entry: StepEntry | None = None, reading: RinseReading | None = None
) -> EntryCheck:
    """The check that two equal typings are."""
    return EntryCheck.objects.create(
        entry=entry,
        reading=reading,
        method=EntryCheck.Method.TWICE,
        typed_again=again.strip(),
        checked_at=by.at,
        checked_by=by.user,
    )
