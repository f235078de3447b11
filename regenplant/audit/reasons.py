"""Why something that stands is changed, or is written late: a category for counting, and a person's own words.

Every correction asks for both (an entry, a reading, a measurement, a movement of the ledger). The category says what kind of
slip it was, so that a plant sees which kind comes again; the words say what happened this time.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.audit.records import words_of
from regenplant.core.errors import RecordRefused

REASON_CATEGORIES: dict[str, str] = {
    "slip": "slip of the pen or key",
    "unit": "wrong unit",
    "place": "written to the wrong tank or batch",
    "late": "known later",
    "instrument": "instrument",
    "other": "other",
}
"""What a change after the first entry can come from, by the code that is stored."""

SHORTEST_REASON = 10
"""Characters without outer spaces (ER-10)."""
LONGEST_REASON = 300
LONGEST_CATEGORY = max(len(category) for category in REASON_CATEGORIES)


@dataclass(frozen=True, slots=True)
class Reason:
    """A category of ``REASON_CATEGORIES`` and the person's own words."""

    category: str
    words: str

    @property
    def sentence(self) -> str:
        """As stories and papers show it."""
        return reason_sentence(self.category, self.words)


def reason_of(
    category: str,
    words: str,
    what: str = "what was wrong",
    *,
    field: str = "reason",
    category_field: str = "category",
    most: int = LONGEST_REASON,
) -> Reason:
    """The reason of a change. ``what`` says in a refusal what the words must tell.

    Raises: RecordRefused for a category that is missing or not known, or for words that are too short or too long.
    """
    if category not in REASON_CATEGORIES:
        raise RecordRefused(
            f"Choose what kind of reason it is: {', '.join(REASON_CATEGORIES.values())}.",
            field=category_field,
            code="no_category",
        )
    if len(words.strip()) < SHORTEST_REASON:
        raise RecordRefused(
            f"The reason is too short. Say in at least {SHORTEST_REASON} characters {what}.",
            field=field,
            code="reason_too_short",
        )
    return Reason(category, words_of(words, "The reason", field=field, most=most))


def reason_sentence(category: str, words: str) -> str:
    """ "wrong unit: the flow meter shows gallons"; the words alone where no category was stored."""
    if not category:
        return words
    return f"{REASON_CATEGORIES.get(category, category)}: {words}"
