"""Text in the faces of paper: no empty boxes, no line too wide, nothing lost."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.documents.faces import (
    BODY,
    FORMULA,
    SENTENCE,
    STRONG,
    Face,
    Span,
    broken,
    font_named,
    runs_of,
    width_of,
)

TRADE = (
    "MΩ·cm µS/cm ft³ °C ≥ ≤ CaCO₃ − ± × → ☐ ☑ ✓ Ca²⁺ SO₄²⁻ HCO₃⁻ √ π ρ ε Δ θ 1\u202f416 “so” – … é ß ł ž İ"
)
WORDS = st.text(st.characters(blacklist_categories=("Cs", "Cc"), max_codepoint=0x2FFF), max_size=60)


def has_glyph(font: str, character: str) -> bool:
    code = 0x20 if character == "\u00a0" else ord(character)
    return code in font_named(font).face.charToGlyph


@pytest.mark.parametrize("face", list(Face))
def test_every_sign_of_the_trade_is_printed_by_a_font_that_has_it(face):
    runs = runs_of(TRADE, face)
    assert all(has_glyph(run.font, character) for run in runs for character in run.text)
    assert "".join(run.text for run in runs) == TRADE


@given(WORDS)
def test_no_text_at_all_shows_an_empty_box(text):
    assert all(has_glyph(run.font, character) for run in runs_of(text, Face.TEXT) for character in run.text)


def test_a_character_that_no_font_has_is_shown_as_unknown_and_never_dropped():
    assert "".join(run.text for run in runs_of("浴 7", Face.TEXT)) == "\ufffd 7"


def test_look_alikes_are_printed_in_one_spelling():
    assert "".join(run.text for run in runs_of("\u03bcS \u2126", Face.BOLD)) == "µS Ω"


@pytest.mark.parametrize("face", list(Face))
def test_digits_are_of_one_width_so_that_columns_of_figures_stand(face):
    widths = {round(width_of(digit, face, 10), 6) for digit in "0123456789"}
    assert len(widths) == 1


@given(WORDS, st.floats(30, 400))
def test_no_line_is_wider_than_its_column(text, width):
    for line in broken((Span("Wear ", STRONG), Span(text, BODY)), width):
        last_x, last = line.pieces[-1] if line.pieces else (0.0, Span("", BODY))
        end = last_x + width_of(last.text.rstrip(" "), last.style.face, last.style.size)
        assert end <= width + 0.1 or sum(len(span.text) for _, span in line.pieces) == 1


@given(
    st.lists(
        st.sampled_from(["flow", "66.6\u00a0L/min", "a", "hydrochloric", "5\u00a0%"]), min_size=1, max_size=30
    )
)
def test_breaking_keeps_every_word_in_order(words):
    lines = broken((Span(" ".join(words), SENTENCE),), 90.0)
    printed = " ".join("".join(span.text for _, span in line.pieces) for line in lines)
    assert printed.split(" ") == words or printed.split() == " ".join(words).split()


def test_number_and_unit_are_never_parted():
    lines = broken(
        (Span("Feed it at 66.6\u00a0L/min now", SENTENCE),),
        width_of("Feed it at 66.6", SENTENCE.face, SENTENCE.size) + 1,
    )
    texts = ["".join(span.text for _, span in line.pieces) for line in lines]
    assert any("66.6\u00a0L/min" in text for text in texts)


def test_a_word_longer_than_the_line_is_cut_instead_of_running_over_the_edge():
    lines = broken((Span("0123456789abcdef" * 4, FORMULA),), 60.0)
    assert len(lines) > 1
    assert all(line.width <= 60.01 for line in lines)
