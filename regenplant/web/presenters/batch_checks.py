"""Critical entries that still need their check, and how the checks that stand read."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.batches.checking import Method, Unchecked, check_method, check_of, unchecked
from regenplant.batches.models import RinseReading, StepEntry
from regenplant.batches.selectors import BatchPage
from regenplant.core.process.lifecycle import ACTIVE_STATES, BatchState
from regenplant.people.models import Person


@dataclass(frozen=True, slots=True)
class ToCheck:
    """One thing a second person checks. ``kind`` and ``id`` make its address."""

    kind: str
    id: int
    name: str
    value: str
    by: str
    is_own: bool


def to_check(page: BatchPage, person: Person) -> tuple[ToCheck, ...]:
    """What waits for a second person: in a batch whose class wants two people, everything critical that stands; else what
    was written without its second typing, once the batch is about to go to QC."""
    state = BatchState(page.batch.state)
    if state not in (*ACTIVE_STATES, BatchState.HELD):
        return ()
    by_two = check_method(page.batch.segregation_class) is Method.SECOND_PERSON
    if not by_two and state not in (BatchState.RINSING, BatchState.AWAITING_QC):
        return ()
    return tuple(_line(one, person) for one in unchecked(page.batch))


def _line(one: Unchecked, person: Person) -> ToCheck:
    row = one.entry or one.reading
    assert row is not None
    kind = "entry" if one.entry is not None else "reading"
    value = one.entry.words if one.entry is not None else str(one.reading)
    return ToCheck(kind, row.pk, one.name, value, row.entered_by.full_name, row.entered_by_id == person.pk)


def check_words(row: StepEntry | RinseReading) -> str:
    """ "Typed twice.", "Checked by J. Fenn, second person."; "" without a check."""
    check = check_of(row)
    if check is None:
        return ""
    if check.method == Method.TWICE:
        return "Typed twice."
    return f"Checked by {check.checked_by.full_name}, second person."
