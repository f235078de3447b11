"""The verifier's own canonical text is the core's, letter for letter, on whatever can stand in a record."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.process.canonical import canonical_text
from regenplant.keeping import verify_copy

WHOLE_CHARACTERS = st.text(st.characters(exclude_categories=["Cs"]))
FLOATS = st.floats(allow_nan=False, allow_infinity=False)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**30), 10**30) | FLOATS | WHOLE_CHARACTERS,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(WHOLE_CHARACTERS, inner, max_size=5),
    max_leaves=25,
)


@given(PLAIN)
@settings(max_examples=400, deadline=None)
def test_both_write_the_same_text(value: object) -> None:
    assert verify_copy.canonical_text(value) == canonical_text(value)


@given(FLOATS)
@settings(max_examples=1000, deadline=None)
def test_a_float_survives_the_way_through_the_text(value: float) -> None:
    text = verify_copy.canonical_text({"value": value})
    assert text == canonical_text({"value": value})
    back = json.loads(text)["value"]
    assert back == value and math.copysign(1.0, back) == math.copysign(1.0, value)


@given(PLAIN)
@settings(max_examples=200, deadline=None)
def test_what_was_read_is_written_again_alike(value: object) -> None:
    text = canonical_text(value)
    assert verify_copy.canonical_text(json.loads(text)) == text


@pytest.mark.parametrize("text", ["", '\x00\x1f\x7f"\\/\b\f\n\r\t', "Ω µS/cm ≤ 0,1 🧪", "\u2028\u2029\ufeff"])
def test_odd_characters_are_written_alike(text: str) -> None:
    assert verify_copy.canonical_text(text) == canonical_text(text)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), object(), {1, 2}, b"x"])
def test_what_has_no_canonical_text_is_refused(value: object) -> None:
    with pytest.raises(ValueError, match=r"no number|no canonical text"):
        verify_copy.canonical_text(value)
