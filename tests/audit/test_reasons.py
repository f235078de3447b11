"""Why something is changed: a category and at least ten characters, or nothing is written."""

from __future__ import annotations

import pytest

from regenplant.audit.reasons import REASON_CATEGORIES, Reason, reason_of, reason_sentence
from regenplant.core.errors import RecordRefused


@pytest.mark.requirement("ER-10")
@pytest.mark.parametrize(
    ("category", "words", "code", "field"),
    [
        ("", "the meter shows gallons", "no_category", "category"),
        ("whim", "the meter shows gallons", "no_category", "category"),
        ("unit", "", "reason_too_short", "reason"),
        ("unit", "  gallons  ", "reason_too_short", "reason"),
        ("unit", "x" * 301, "too_long", "reason"),
    ],
)
def test_without_category_or_words_it_is_refused(category: str, words: str, code: str, field: str) -> None:
    with pytest.raises(RecordRefused) as refusal:
        reason_of(category, words)
    assert (refusal.value.code, refusal.value.field) == (code, field)


def test_words_are_kept_without_outer_spaces_and_read_with_their_category() -> None:
    assert reason_of("unit", "  the meter shows gallons ") == Reason("unit", "the meter shows gallons")
    assert reason_of("unit", "the meter shows gallons").sentence == "wrong unit: the meter shows gallons"
    assert reason_sentence("", "as it was written before") == "as it was written before"


def test_ten_characters_are_enough_and_nine_are_not() -> None:
    assert reason_of("slip", "0123456789").words == "0123456789"
    with pytest.raises(RecordRefused):
        reason_of("slip", "012345678")


def test_the_categories_are_those_agreed() -> None:
    assert set(REASON_CATEGORIES) == {"slip", "unit", "place", "late", "instrument", "other"}
