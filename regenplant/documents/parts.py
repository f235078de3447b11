"""Parts that papers share: marks, named figures, table rows, blanks to write in, signature blocks.

Each part is a function that returns a block of known height. State is a word and a shape; a blank is a line with its unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.documents.faces import (
    BODY,
    FIGURE,
    HAIR,
    INK,
    INK_2,
    LABEL,
    PAPER,
    SMALL,
    SMALL_STRONG,
    STRONG,
    TICK,
    Face,
    Span,
    Style,
    width_of,
)
from regenplant.documents.flow import Block, beside, nothing, padded, paragraph, rich, stacked
from regenplant.documents.pen import Pen

Row = Sequence[Block]


# --- marks: the shapes of the screen ----------------------------------------------------------------------------
def held_mark(pen: Pen, x: float, y: float, side: float) -> None:
    """Octagon with two bars: may stand, or stands."""
    cut = side * 0.29
    far = side - cut
    points = ((cut, 0), (far, 0), (side, cut), (side, far), (far, side), (cut, side), (0, far), (0, cut))
    pen.polygon([(x + a, y + b) for a, b in points], fill=PAPER, stroke=INK, weight=side * 0.085)
    for share in (0.37, 0.63):
        pen.rule(x + side * share, y + side * 0.28, x + side * share, y + side * 0.72, weight=side * 0.13)


def check_mark(pen: Pen, x: float, y: float, side: float) -> None:
    """Diamond with a bang: needs a person's eye."""
    middle = side / 2
    pen.polygon(
        [(x + middle, y), (x + side, y + middle), (x + middle, y + side), (x, y + middle)],
        fill=PAPER,
        stroke=INK,
        weight=side * 0.09,
    )
    pen.rule(x + middle, y + side * 0.26, x + middle, y + side * 0.56, weight=side * 0.12)
    pen.circle(x + middle, y + side * 0.71, side * 0.065, fill=INK)


def tick_mark(pen: Pen, x: float, y: float, side: float) -> None:
    """A bare tick: met, done."""
    pen.polygon(
        [
            (x + side * 0.12, y + side * 0.55),
            (x + side * 0.4, y + side * 0.82),
            (x + side * 0.9, y + side * 0.2),
        ],
        stroke=INK,
        weight=side * 0.13,
        closed=False,
    )


def stop_mark(pen: Pen, x: float, y: float, side: float) -> None:
    """Open square with a bar: this stops it, refused."""
    pen.box(x, y, side, side, fill=PAPER, stroke=INK, weight=side * 0.11)
    pen.rule(x + side * 0.22, y + side / 2, x + side * 0.78, y + side / 2, weight=side * 0.13)


def ring_mark(pen: Pen, x: float, y: float, side: float) -> None:
    """A ring: waits."""
    pen.circle(x + side / 2, y + side / 2, side * 0.42, stroke=INK, weight=side * 0.11)


def released_mark(pen: Pen, x: float, y: float, side: float) -> None:
    """Double ring with the tick cut out: released."""
    middle = side / 2
    pen.circle(x + middle, y + middle, side * 0.46, stroke=INK, weight=side * 0.07)
    pen.circle(x + middle, y + middle, side * 0.33, fill=INK)
    pen.polygon(
        [
            (x + side * 0.35, y + side * 0.52),
            (x + side * 0.46, y + side * 0.63),
            (x + side * 0.66, y + side * 0.38),
        ],
        stroke=PAPER,
        weight=side * 0.08,
        closed=False,
    )


MARKS = {
    "held": held_mark,
    "check": check_mark,
    "done": tick_mark,
    "stop": stop_mark,
    "waiting": ring_mark,
    "released": released_mark,
}


def marked(
    mark: str, spans: tuple[Span, ...], width: float, *, side: float = 9.5, leading: float = BODY.leading
) -> Block:
    """A mark with text beside it."""
    text = rich(spans, width - side - 5, leading=leading)

    def draw(pen: Pen, x: float, y: float) -> None:
        MARKS[mark](pen, x, y + (leading - side) / 2 - 0.5, side)
        text.draw(pen, x + side + 5, y)

    return Block(max(text.height, side), draw)


# --- figures ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Named:
    """A value with its name, and a second line (the other unit system, a basis)."""

    name: str
    value: str
    second: str = ""


def figure(named: Named, width: float, value_style: Style = FIGURE) -> Block:
    """Name, value, second line."""
    lines = [paragraph(named.name, LABEL, width), paragraph(named.value, value_style, width)]
    if named.second:
        lines.append(paragraph(named.second, SMALL, width))
    return stacked(lines)


def grid(
    entries: Sequence[Named], width: float, columns: int, *, gap: float = 6.0, value_style: Style = FIGURE
) -> Block:
    """Figures in columns, row by row, a hairline above each row."""
    return stacked(grid_rows(entries, width, columns, gap=gap, value_style=value_style))


def grid_rows(
    entries: Sequence[Named], width: float, columns: int, *, gap: float = 6.0, value_style: Style = FIGURE
) -> list[Block]:
    """The rows of a grid, for a paper that may break between them."""
    across = (width - 10.0 * (columns - 1)) / columns
    rows: list[Block] = []
    for start in range(0, len(entries), columns):
        cells = [figure(entry, across, value_style) for entry in entries[start : start + columns]]
        rows.append(_grid_row(cells, across, width, gap))
    return rows


def _grid_row(cells: Sequence[Block], across: float, width: float, gap: float) -> Block:
    content = beside([(index * (across + 10.0), cell) for index, cell in enumerate(cells)])

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.rule(x, y, x + width, y, weight=0.4, ink=HAIR)
        content.draw(pen, x, y + 3)

    return Block(content.height + 3 + gap, draw)


# --- tables -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Column:
    """A column: its head, its width [pt], and whether its cells stand at the right."""

    head: str
    width: float
    at_right: bool = False


def table_head(columns: Sequence[Column]) -> Block:
    """The head of a table over a rule of ink."""
    cells = [paragraph(column.head, SMALL_STRONG, column.width - 6) for column in columns]
    height = max(cell.height for cell in cells) + 4

    def draw(pen: Pen, x: float, y: float) -> None:
        left = x
        for column, cell in zip(columns, cells, strict=True):
            if column.at_right:
                pen.text(
                    left + column.width - 6, y + height - 4 - 2.1, column.head, SMALL_STRONG, anchor="end"
                )
            else:
                cell.draw(pen, left, y + height - 4 - cell.height)
            left += column.width
        pen.rule(x, y + height, left, y + height, weight=1.0)

    return Block(height, draw)


def table_row(
    cells: Row, columns: Sequence[Column], *, least: float = 0.0, weight: float = 0.4, pad: float = 3.0
) -> Block:
    """One row over a hairline; blanks reach down to it."""
    height = max(least, max(cell.height for cell in cells) + 2 * pad)
    total = sum(column.width for column in columns)

    def draw(pen: Pen, x: float, y: float) -> None:
        left = x
        for column, cell in zip(columns, cells, strict=True):
            cell.draw(pen, left, y + pad if cell.height else y)
            left += column.width
        pen.rule(x, y + height, x + total, y + height, weight=weight, ink=HAIR if weight < 0.8 else INK)

    return Block(height, draw)


def cell(text: str, column: Column, style: Style = BODY) -> Block:
    """A text in a column."""
    if column.at_right:
        return Block(
            style.leading,
            lambda pen, x, y: pen.text(
                x + column.width - 6, y + style.leading * 0.78, text, style, anchor="end"
            ),
        )
    return paragraph(text, style, column.width - 6)


def two_lines(
    first: str, second: str, column: Column, *, first_style: Style = STRONG, second_style: Style = SMALL
) -> Block:
    """A text with a smaller one below it."""
    upper = cell(first, column, first_style)
    return stacked([upper, cell(second, column, second_style)]) if second else upper


# --- blanks -----------------------------------------------------------------------------------------------------
def blank(width: float, height: float, unit: str = "", *, style: Style = BODY) -> Block:
    """A line to write on, with its unit at the right end, ``height`` high."""

    def draw(pen: Pen, x: float, y: float) -> None:
        base = y + height - 6
        unit_width = width_of(unit, style.face, style.size) + 3 if unit else 0.0
        pen.rule(x, base, x + width - unit_width - 6, base, weight=0.7, ink=TICK)
        if unit:
            pen.text(x + width - 6, base, unit, style, anchor="end", ink=INK_2)

    return Block(height, draw)


def time_blank(width: float, height: float) -> Block:
    """Two short lines with a colon: hour and minute."""

    def draw(pen: Pen, x: float, y: float) -> None:
        base, half = y + height - 6, (width - 12) / 2
        pen.rule(x, base, x + half, base, weight=0.7, ink=TICK)
        pen.text(x + half + 2, base, ":", STRONG)
        pen.rule(x + half + 6, base, x + width - 6, base, weight=0.7, ink=TICK)

    return Block(height, draw)


TICK_BOX = 12.0
"""Side of a box to tick [pt], 4.2 mm: large enough for a hand in a glove."""


def choices(words: Sequence[str], height: float, *, side: float = TICK_BOX, style: Style = BODY) -> Block:
    """Boxes to tick, each with its word, on one line."""

    def draw(pen: Pen, x: float, y: float) -> None:
        top = y + height - side - 5
        for word in words:
            pen.box(x, top, side, side, stroke=INK, weight=0.9)
            pen.text(x + side + 3.5, top + side / 2 + 3, word, style)
            x += side + 3.5 + width_of(word, style.face, style.size) + 9

    return Block(height, draw)


def labelled_blank(
    label: str, width: float, *, unit: str = "", height: float = 22.0, style: Style = SMALL
) -> Block:
    """A word and a line after it."""
    start = width_of(label, style.face, style.size) + 4 if label else 0.0
    line = blank(width - start, height, unit, style=style)

    def draw(pen: Pen, x: float, y: float) -> None:
        if label:
            pen.text(x, y + height - 6, label, style)
        line.draw(pen, x + start, y)

    return Block(height, draw)


def writing_lines(label: str, width: float, count: int, *, pitch: float = 20.0) -> Block:
    """Lines for words, the first with its label."""
    lines = [labelled_blank(label if index == 0 else "", width, height=pitch) for index in range(count)]
    return stacked(lines)


# --- signatures -------------------------------------------------------------------------------------------------
_X = Style(Face.BOLD, 11, 13)


def signature(title: str, meaning: str, width: float, *, options: Sequence[str] = ()) -> Block:
    """A frame to sign in: what the signature means, a verdict to tick, the signing line, the printed name, the time."""
    inner = width - 14
    head = stacked([paragraph(title, STRONG, inner), paragraph(meaning, SMALL, inner)], 1)
    verdict = choices(options, 20) if options else nothing(4)
    lower = stacked([
        labelled_blank("Name, printed", inner, height=22),
        beside([
            (0, labelled_blank("Date", inner * 0.56, height=22)),
            (inner * 0.56, padded(time_blank(inner * 0.44, 22))),
        ]),
    ])  # fmt: skip
    height = 7 + head.height + verdict.height + 32 + lower.height + 5

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.box(x, y, width - 2, height, stroke=INK, weight=0.9)
        at = y + 7
        head.draw(pen, x + 7, at)
        at += head.height
        verdict.draw(pen, x + 7, at)
        at += verdict.height + 32
        pen.text(x + 7, at - 7, "×", _X)
        pen.rule(x + 18, at - 6, x + width - 9, at - 6, weight=0.8)
        lower.draw(pen, x + 7, at)

    return Block(height, draw)
