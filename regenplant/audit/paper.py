"""Acts that were first written on a numbered paper form, while the system was not at hand, and are transcribed from it.

``By.paper_form`` names the form. The app that keeps the forms says in ``AppConfig.ready`` whether a form can take an act::

    paper.ask(refuse_unfit)

Acts of the kinds in ``TRANSCRIBED`` then carry the number among their facts and are found under it. Others (signatures, decisions,
the acts on the form itself) are done where they stand and carry none.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from regenplant.audit.by import By

KIND = "paper_form"
"""Kind of subject under which transcribed acts are found."""

TRANSCRIBED = ("entry", "reading", "step", "qc", "chemical", "deviation")
"""What a form can hold, by the first word of the act."""
ALSO = (
    "batch.started", "batch.held", "batch.interrupted", "batch.resumed", "batch.tank_filled", "batch.filled",
    "tank.received", "tank.unknown_received", "tank.inspected", "tank.accepted", "tank.held", "tank.refused",
    "tank.shell_inspected", "vessel.cleaned_down", "vessel.state_noted", "waste.level_set",
)  # fmt: skip
NEVER = (
    "deviation.closed",
    "deviation.assigned",
    "entry.checked",
    "entry.checked_together",
    "reading.checked",
)
"""What takes a password of its own, or is decided at a desk."""

Subject = tuple[str, str, str]
Refuse = Callable[["By", Subject], None]
_asked: list[Refuse] = []


def ask(refuse: Refuse) -> None:
    """Say how a form that cannot take an act is refused."""
    _asked[:] = [refuse]


def is_transcribed(event: str) -> bool:
    """Whether an act of this name can stand on a paper form."""
    return event in ALSO or (event.partition(".")[0] in TRANSCRIBED and event not in NEVER)


def form_of(event: str, by: By, subject: Subject) -> str:
    """The number of the form this act was transcribed from, "" for none. Raises: RecordRefused when the form cannot take it."""
    number = getattr(by, "paper_form", "")
    if not number or not is_transcribed(event):
        return ""
    for refuse in _asked:
        refuse(by, subject)
    return number
