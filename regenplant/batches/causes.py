"""Where a deviation or a failure came from: one list for both, so that they can be counted together."""

from __future__ import annotations

CAUSES: dict[str, str] = {
    "handling": "how it was done",
    "equipment": "equipment",
    "instrument": "instrument",
    "chemical": "chemical or its strength",
    "water": "water",
    "resin": "resin or what it held",
    "recipe": "recipe or plan",
    "outside": "from outside: power, weather, delivery",
    "record": "only the record, not the work",
    "unknown": "looked for and not found",
}
"""Cause by the code that is stored."""

NO_CAUSE = "Nothing is decided without its cause. Choose what kind of cause it is; “looked for and not found” is one."


def cause_words(category: str, words: str = "") -> str:
    """ "equipment: the level gauge sticks"; "" where no cause is written."""
    label = CAUSES.get(category, category)
    return ": ".join(part for part in (label, words) if part)
