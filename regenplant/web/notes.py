"""What waits behind each tab of the index: one short note, read with few queries."""

from __future__ import annotations

from regenplant.batches.selectors import count_by_state
from regenplant.chemicals.selectors import count_low_places
from regenplant.core.process.lifecycle import BatchState, VisitState
from regenplant.quality.selectors import review_count
from regenplant.shifts.selectors import waiting_handover
from regenplant.tanks.selectors import count_before_batch

Note = tuple[str, bool]
"""The words, and whether they call for a person."""


def index_notes() -> dict[str, Note]:
    """Note and whether it calls for a person, by tab name. Five queries."""
    batches, tanks = count_by_state(), count_before_batch()
    running = batches.get(BatchState.RUNNING.value, 0) + batches.get(BatchState.RINSING.value, 0)
    to_judge = batches.get(BatchState.AWAITING_QC.value, 0)
    to_release = batches.get(BatchState.FILLED.value, 0)
    at_door = tanks.get(VisitState.RECEIVED.value, 0) + tanks.get(VisitState.HELD.value, 0)
    waiting, to_review = tanks.get(VisitState.ACCEPTED.value, 0), review_count()
    notes = {
        "floor": _first((_held(batches), True), (_said(running, "at work"), False)),
        "batches": (_said(running, "running"), False),
        "intake": (_said(at_door, "wait" if at_door > 1 else "waits"), False),
        "waiting": (_said(waiting, "tanks" if waiting > 1 else "tank"), False),
        "qc": _first((_said(to_judge, "to judge"), False), (_said(to_release, "to release"), False)),
        "chemicals": (_said(count_low_places(), "low"), True),
        "review": (_said(to_review, "wait" if to_review > 1 else "waits"), False),
        "handover": (_handover(), True),
    }
    return {tab: note for tab, note in notes.items() if note[0]}


def _handover() -> str:
    return "to take over" if waiting_handover() is not None else ""


def _held(batches: dict[str, int]) -> str:
    return _said(batches.get(BatchState.HELD.value, 0), "held")


def _said(number: int, what: str) -> str:
    return f"{number} {what}" if number else ""


def _first(*notes: Note) -> Note:
    """The first note that says something."""
    return next((note for note in notes if note[0]), ("", False))
