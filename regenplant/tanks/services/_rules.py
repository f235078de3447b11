"""What several acts of this app need: serials and reasons."""

from __future__ import annotations

import re

from regenplant.audit.records import code_of, words_of
from regenplant.core.errors import RecordRefused

LONGEST_REASON = 300
_OTHER_NUMBERS = re.compile(r"(?:[VBD]|RS)-\d+")


def serial_of(text: str) -> str:
    """A serial as it is stored and scanned. Raises: RecordRefused, also for what reads as a visit, batch, deviation or sample."""
    serial = code_of("".join(text.split()), "The serial", field="serial")
    if _OTHER_NUMBERS.fullmatch(serial):
        raise RecordRefused(
            f"{serial} reads as a visit, batch, deviation or sample number. Give the tank another serial.",
            field="serial",
        )
    return serial


def reason_of(text: str, *, least: int = 1) -> str:
    """The person's own words. Raises: RecordRefused when there are too few or too many."""
    return words_of(text, "The reason", field="reason", most=LONGEST_REASON, least=least)
