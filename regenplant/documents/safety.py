"""Safety panels: a signal word with its own colour, shape and ground, what the hazard is and what to do.

Words and colours follow ANSI Z535: DANGER white on red, WARNING black on orange, CAUTION black on yellow, NOTICE white on
blue and without the triangle, safety equipment white on green. In black and white the word, the triangle and the frame
carry the meaning. The signal word is for the hazard met at the step; a container's label follows the supplier's SDS.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.documents import pictograms
from regenplant.documents.faces import BODY, INK, PAPER, STRONG, Face, Span, Style, width_of
from regenplant.documents.flow import Block, paragraph, rich, stacked
from regenplant.documents.pen import Colour, Pen

RED, ORANGE, YELLOW, BLUE, GREEN = "#c8102e", "#ff8200", "#ffd100", "#005eb8", "#007b5f"


@dataclass(frozen=True, slots=True)
class Signal:
    """How a signal word is set. ``bang`` is the colour of the mark in the triangle, None for no triangle."""

    word: str
    ground: Colour
    ink: Colour
    triangle: Colour | None
    bang: Colour = INK


SIGNALS: dict[SignalWord, Signal] = {
    SignalWord.DANGER: Signal("DANGER", RED, PAPER, PAPER, RED),
    SignalWord.WARNING: Signal("WARNING", ORANGE, INK, INK, ORANGE),
    SignalWord.CAUTION: Signal("CAUTION", YELLOW, INK, INK, YELLOW),
    SignalWord.NOTICE: Signal("NOTICE", BLUE, PAPER, None),
}
SAFETY_EQUIPMENT = Signal("EMERGENCY", GREEN, PAPER, None)

_WORD = Style(Face.BOLD, 9.5, 12)
_CELL = 76.0
_PICTOGRAM = 34.0
_INSET = 5.0


def caution_panel(caution: Caution, width: float) -> Block:
    """One hazard at one step. What to wear stands once for the whole step, below the panels."""
    drawn = [code for code in caution.pictograms if pictograms.is_drawn(code)]
    only_named = [pictograms.named(code) for code in caution.pictograms if not pictograms.is_drawn(code)]
    measures = " ".join(measure for measure in caution.measures if measure != AUTHORITY)
    lines: list[Span] = [Span(caution.headline, STRONG)]
    if measures:
        lines.append(Span(" " + measures, BODY))
    if only_named:
        lines.append(Span(f" On the label: {', '.join(only_named)}.", BODY))
    return panel(SIGNALS[caution.signal], tuple(lines), drawn, width)


def panel(signal: Signal, spans: tuple[Span, ...], codes: Sequence[str], width: float) -> Block:
    """A signal word, pictograms, and text beside them."""
    left = _CELL + len(codes) * (_PICTOGRAM + 2) + (3 if codes else 0)
    text = rich(spans, width - left - 2 * _INSET, leading=BODY.leading)
    height = max(text.height + 2 * _INSET - 2, _PICTOGRAM + 5 if codes else 24.0)

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.box(x, y, _CELL, height, fill=signal.ground)
        pen.box(x, y, width, height, stroke=INK, weight=0.9)
        pen.rule(x + _CELL, y, x + _CELL, y + height, weight=0.9)
        _signal_word(pen, x, y + height / 2, signal)
        for index, code in enumerate(codes):
            at = x + _CELL + 3 + index * (_PICTOGRAM + 2)
            pictograms.draw(pen, at, y + (height - _PICTOGRAM) / 2, _PICTOGRAM, code)
        text.draw(pen, x + left + _INSET, y + (height - text.height) / 2)

    return Block(height, draw)


def _signal_word(pen: Pen, x: float, middle: float, signal: Signal) -> None:
    if signal.triangle is None:
        pen.text(x + _CELL / 2, middle + 3.4, signal.word, _WORD, anchor="middle", ink=signal.ink)
        return
    alert_triangle(pen, x + 6, middle - 6.5, 13, signal.triangle, signal.bang)
    pen.text(x + 22, middle + 3.4, signal.word, _WORD, ink=signal.ink)


def alert_triangle(pen: Pen, x: float, y: float, side: float, ground: Colour, bang: Colour) -> None:
    """The safety alert sign."""
    height = side * 0.9
    pen.polygon(
        [(x + side / 2, y), (x + side, y + height), (x, y + height)], fill=ground, stroke=ground, weight=0.8
    )
    pen.polygon(
        [
            (x + side * 0.45, y + height * 0.33),
            (x + side * 0.55, y + height * 0.33),
            (x + side * 0.53, y + height * 0.7),
            (x + side * 0.47, y + height * 0.7),
        ],
        fill=bang,
        stroke=bang,
        weight=0.5,
    )
    pen.circle(x + side / 2, y + height * 0.84, side * 0.06, fill=bang)


def wear_line(items: Sequence[str], width: float) -> Block:
    """What to wear at this step, each with a box to tick when it is on."""
    gap, box = 12.0, 7.0
    style = STRONG
    words = [Span(item.replace(" ", "\u00a0"), style) for item in items]
    rows: list[list[tuple[float, Span]]] = [[]]
    x, room = 0.0, width - 50.0
    for span in words:
        advance = box + 4 + width_of(span.text, style.face, style.size) + gap
        if rows[-1] and x + advance - gap > room:
            rows.append([])
            x = 0.0
        rows[-1].append((x, span))
        x += advance
    height = len(rows) * 14.0 + 3.0

    def draw(pen: Pen, left: float, y: float) -> None:
        pen.box(left, y, 40, height, fill=INK)
        pen.text(left + 20, y + height / 2 + 3, "WEAR", _WORD, anchor="middle", ink=PAPER)
        pen.box(left, y, width, height, stroke=INK, weight=0.9)
        for index, row in enumerate(rows):
            base = y + 12.0 + index * 14.0
            for offset, span in row:
                pen.box(left + 47 + offset, base - box + 0.5, box, box, stroke=INK, weight=0.8)
                pen.text(left + 47 + offset + box + 4, base, span.text, span.style)

    return Block(height, draw)


def emergency_panel(texts: Sequence[str], width: float) -> Block:
    """Where the shower is, what to do at a spill, whom to call: readable at a glance."""
    text = stacked([paragraph(text, STRONG, width - _CELL - 2 * _INSET) for text in texts], 1.5)
    height = max(text.height + 2 * _INSET - 2, 24.0)

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.box(x, y, _CELL, height, fill=GREEN)
        pen.box(x, y, width, height, stroke=INK, weight=0.9)
        pen.text(
            x + _CELL / 2, y + height / 2 + 3.4, SAFETY_EQUIPMENT.word, _WORD, anchor="middle", ink=PAPER
        )
        text.draw(pen, x + _CELL + _INSET, y + (height - text.height) / 2)

    return Block(height, draw)
