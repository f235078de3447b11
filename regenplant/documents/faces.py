"""The faces of paper, and text measured and broken in them.

Same faces as the screen: "figures" for labels and numbers, "book" for sentences and formulas. A character that a face
lacks, and the raised figures and round brackets of the figures face, come from the marks face (DejaVu Sans), run by run,
so no string can show an empty box. Faces are read from the package at first use, never from the machine.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FONTS = Path(__file__).parent / "fonts"

_LOOK_ALIKES = str.maketrans({"\u03bc": "µ", "\u2126": "Ω", "\u212b": "Å", "\t": " ", "\n": " ", "\r": " "})
_UNKNOWN = "\ufffd"
_MARKS_OF_FIGURES = frozenset("()²³¹₀₁₂₃₄₅₆₇₈₉⁰⁴⁵⁶⁷⁸⁹⁺⁻→✓\u202f\u2009")
_registering = threading.Lock()


class Face(StrEnum):
    """A face of paper; the value is its file and its name in the PDF."""

    TEXT = "figures-Regular"
    BOLD = "figures-Bold"
    BOOK = "book-Regular"
    BOOK_ITALIC = "book-Italic"
    BOOK_BOLD = "book-SemiBold"

    @property
    def marks(self) -> str:
        """The marks face that stands in."""
        return {
            "figures-Bold": "marks-Bold",
            "book-SemiBold": "marks-Bold",
            "book-Italic": "marks-Oblique",
        }.get(self.value, "marks-Regular")


@lru_cache(maxsize=16)
def font_named(name: str) -> TTFont:
    """The font, registered on first use."""
    with _registering:
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(FONTS / f"{name}.ttf")))
        return pdfmetrics.getFont(name)


def normal(text: str) -> str:
    """One spelling for characters that look alike; line breaks become spaces; other control characters go."""
    return "".join(c for c in text.translate(_LOOK_ALIKES) if c >= " ")


@dataclass(frozen=True, slots=True)
class Run:
    """A piece of text in one font; ``advance`` is its width at size 1."""

    font: str
    text: str
    advance: float


@lru_cache(maxsize=8192)
def runs_of(text: str, face: Face) -> tuple[Run, ...]:
    """The text as runs, each in a font that has every character of it."""
    pieces: list[tuple[str, list[str]]] = []
    for character in normal(text):
        font, shown = _font_for(character, face)
        if not pieces or pieces[-1][0] != font:
            pieces.append((font, []))
        pieces[-1][1].append(shown)
    return tuple(_run(font, "".join(characters)) for font, characters in pieces)


def _font_for(character: str, face: Face) -> tuple[str, str]:
    is_marked = face in (Face.TEXT, Face.BOLD) and character in _MARKS_OF_FIGURES
    if not is_marked and _has(face.value, character):
        return face.value, character
    for font in (face.marks, "marks-Regular"):
        if _has(font, character):
            return font, character
    return "marks-Regular", _UNKNOWN


@lru_cache(maxsize=2048)
def _has(font: str, character: str) -> bool:
    # reportlab writes a no-break space as a space
    code = 0x20 if character == "\u00a0" else ord(character)
    return code in font_named(font).face.charToGlyph


def _run(font: str, text: str) -> Run:
    face = font_named(font).face
    widths, default = face.charWidths, face.defaultWidth
    advance = sum(widths.get(0x20 if c == "\u00a0" else ord(c), default) for c in text)
    return Run(font, text, advance / 1000.0)


def width_of(text: str, face: Face, size: float) -> float:
    """Width of one line of text [pt]."""
    return sum(run.advance for run in runs_of(text, face)) * size


# --- styles and spans -------------------------------------------------------------------------------------------
INK = 0.0
"""Shades of grey: 0 is black, 1 is paper."""
INK_2 = 0.27
TICK = 0.45
HAIR = 0.75
PAPER = 1.0


@dataclass(frozen=True, slots=True)
class Style:
    """How a piece of text is set: face, size and leading in points, grey."""

    face: Face
    size: float
    leading: float
    ink: float = INK


TITLE = Style(Face.BOOK_BOLD, 17, 20)
SECTION = Style(Face.BOOK_BOLD, 13, 16)
SENTENCE = Style(Face.BOOK, 11, 14)
LEAD = Style(Face.BOOK, 13, 16.5)
BODY = Style(Face.TEXT, 8.5, 11)
STRONG = Style(Face.BOLD, 8.5, 11)
FIGURE = Style(Face.BOLD, 11, 13.5)
LABEL = Style(Face.TEXT, 7.5, 9.5, INK_2)
SMALL = Style(Face.TEXT, 7.5, 9.5)
SMALL_STRONG = Style(Face.BOLD, 7.5, 9.5)
FORMULA = Style(Face.BOOK, 9.5, 12.5)
NOTE = Style(Face.BOOK_ITALIC, 8.5, 10.5, INK_2)


def shortened(text: str, style: Style, width: float) -> str:
    """The text if it fits on one line of ``width``, else its beginning with "…"."""
    if width_of(text, style.face, style.size) <= width:
        return text
    end = len(text)
    while end > 0 and width_of(text[:end].rstrip() + "…", style.face, style.size) > width:
        end -= 1
    return text[:end].rstrip() + "…"


@dataclass(frozen=True, slots=True)
class Span:
    """Text in one style, raised by ``rise`` points (lowered if negative)."""

    text: str
    style: Style
    rise: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """A broken line: each piece with its distance from the left edge."""

    pieces: tuple[tuple[float, Span], ...]
    width: float


_SPACES = re.compile(r"( +)")
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|°C|°F|K|L|m|cm|mm|g|kg|mg|lb|in|h|min|s|d|BV|eq|kW|kPa|bar|psi|gpm|US|ft[²³]?|m[²³]|µS|MΩ)(?![\w-]))"
)
"""The space between a number and its unit, where a sentence was written with an ordinary one."""


@lru_cache(maxsize=4096)
def broken(spans: tuple[Span, ...], width: float) -> tuple[Line, ...]:
    """Break spans into lines no wider than ``width`` [pt]; a word wider than the line is cut between characters."""
    lines: list[Line] = []
    pieces: list[tuple[float, Span]] = []
    x = gap = 0.0
    for word, space in _words(spans, width):
        advance = sum(width_of(s.text, s.style.face, s.style.size) for s in word)
        if pieces and x + gap + advance > width + 0.01:
            lines.append(Line(_joined(pieces), x))
            pieces, x, gap = [], 0.0, 0.0
        if gap and pieces:
            last_x, last = pieces[-1]
            pieces[-1] = (last_x, Span(last.text + " ", last.style, last.rise))
        x += gap if pieces else 0.0
        for span in word:
            pieces.append((x, span))
            x += width_of(span.text, span.style.face, span.style.size)
        gap = width_of(" ", space.face, space.size) if space else 0.0
    lines.append(Line(_joined(pieces), x))
    return tuple(lines)


def _joined(pieces: Sequence[tuple[float, Span]]) -> tuple[tuple[float, Span], ...]:
    """Neighbours of one style as one piece, so that a line is few drawing operations and reads as one text."""
    joined: list[tuple[float, Span]] = []
    for x, span in pieces:
        if joined and (joined[-1][1].style, joined[-1][1].rise) == (span.style, span.rise):
            before_x, before = joined[-1]
            joined[-1] = (before_x, Span(before.text + span.text, span.style, span.rise))
        else:
            joined.append((x, span))
    return tuple(joined)


def _words(spans: tuple[Span, ...], width: float) -> list[tuple[list[Span], Style | None]]:
    """Words with the style of the space after each; None where no space follows."""
    words: list[tuple[list[Span], Style | None]] = [([], None)]
    for span in spans:
        for part in _SPACES.split(_BEFORE_UNIT.sub("\u00a0", normal(span.text))):
            if not part:
                continue
            if part.startswith(" "):
                words[-1] = (words[-1][0], span.style)
                continue
            if words[-1][1] is not None:
                words.append(([], None))
            words[-1][0].append(Span(part, span.style, span.rise))
    return [piece for word in words for piece in _cut(word, width)]


def _cut(word: tuple[list[Span], Style | None], width: float) -> list[tuple[list[Span], Style | None]]:
    spans, space = word
    if len(spans) != 1 or width_of(spans[0].text, spans[0].style.face, spans[0].style.size) <= width:
        return [word]
    span, pieces, start = spans[0], [], 0
    while start < len(span.text):
        end = start + 1
        while (
            end < len(span.text)
            and width_of(span.text[start : end + 1], span.style.face, span.style.size) <= width
        ):
            end += 1
        pieces.append(Span(span.text[start:end], span.style, span.rise))
        start = end
    return [([piece], None) for piece in pieces[:-1]] + [([pieces[-1]], space)]
