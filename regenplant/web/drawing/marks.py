"""State marks: word + shape + colour, never one alone.

Solid means it is happening or sealed, open means it waits. Round means going well, square means a verdict is
needed or was bad. Marks never borrow a safety sign. The shapes are the symbols of
``templates/components/_symbols.html``; this table says which word and tone go with each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Tone = Literal["", "good", "red", "quiet"]


@dataclass(frozen=True, slots=True)
class Mark:
    """``symbol`` is the sprite's id without its ``m-``; ``tone`` colours the word ("" is ink)."""

    symbol: str
    word: str
    tone: Tone = ""


MARKS: dict[str, Mark] = {
    # shapes with their own word
    "waiting": Mark("waiting", "Waiting"),
    "ready": Mark("ready", "Ready"),
    "running": Mark("running", "Running"),
    "rinsing": Mark("rinsing", "Rinsing"),
    "held": Mark("held", "Held"),
    "awaiting_qc": Mark("qc", "Awaiting QC"),
    "passed": Mark("passed", "Passed", "good"),
    "failed": Mark("failed", "Failed", "red"),
    "released": Mark("released", "Released", "good"),
    "shipped": Mark("shipped", "Shipped"),
    "refused": Mark("refused", "Refused", "red"),
    "overdue": Mark("overdue", "Overdue"),
    "check": Mark("check", "Check"),
    "done": Mark("done", "Done", "quiet"),
    "skipped": Mark("skipped", "Skipped", "quiet"),
    "aborted": Mark("aborted", "Aborted", "red"),
    "rework": Mark("rework", "Rework"),
    "downgraded": Mark("lower", "Downgraded"),
    "scrapped": Mark("scrapped", "Scrapped", "quiet"),
    "locked": Mark("locked", "Locked out"),
    "unsent": Mark("unsent", "Not sent yet"),
    "pinned": Mark("pin", "Pinned"),
    "emptied": Mark("emptied", "Emptied"),
    "filled": Mark("filled", "Filled"),
    # lifecycle states and verdicts that share a shape
    "planned": Mark("waiting", "Planned"),
    "received": Mark("waiting", "Received"),
    "accepted": Mark("ready", "Accepted"),
    "refilled": Mark("filled", "Refilled"),
    "withdrawn": Mark("held", "Withdrawn"),
    "within": Mark("done", "Within", "quiet"),
    "met": Mark("done", "Met", "quiet"),
    "not_yet": Mark("waiting", "Not yet"),
    "not_done": Mark("check", "Not done"),
    "not_applicable": Mark("skipped", "Not applicable", "quiet"),
    "near": Mark("check", "Near the limit"),
    "outside": Mark("failed", "Outside", "red"),
    "blocker": Mark("refused", "Stops this", "red"),
    "warning": Mark("check", "Warning"),
    "note": Mark("waiting", "Note", "quiet"),
}
"""By state name: every state of the lifecycles, every verdict of a limit, every severity of a check."""


def mark_for(state: object) -> Mark:
    """The mark of a state, by its value ("awaiting_qc", ``BatchState.HELD``, "Awaiting QC").

    An unknown state is a defect of the program: KeyError names it.
    """
    key = str(getattr(state, "value", state)).strip().lower().replace(" ", "_").replace("-", "_")
    if key not in MARKS:
        raise KeyError(f"no mark for the state “{key}”; known are {', '.join(sorted(MARKS))}")
    return MARKS[key]
