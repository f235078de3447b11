"""Blocks of known height, and how they are shared out over pages.

A block is measured when it is made and drawn when its place is known, so the number of pages is known before the first
one is drawn ("page 2 of 7" needs no second run).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from regenplant.documents.faces import Line, Span, Style, broken
from regenplant.documents.pen import Pen

Draw = Callable[[Pen, float, float], None]


@dataclass(frozen=True, slots=True)
class Block:
    """Something of a known height [pt] that can draw itself with its top left corner at (x, y)."""

    height: float
    draw: Draw


@dataclass(frozen=True, slots=True)
class Item:
    """A block in the flow of a paper.

    ``keep`` holds it on one page with the next item. ``gap`` is white above it, dropped at the top of a page.
    ``margin`` hangs in the margin column beside it. ``repeat`` is drawn again above it when it opens a page.
    """

    block: Block
    keep: bool = False
    gap: float = 0.0
    margin: Block | None = None
    repeat: tuple[Block, ...] = ()
    opens_page: bool = False


@dataclass(frozen=True, slots=True)
class Placed:
    """A block with its distance from the top of the frame."""

    y: float
    block: Block
    margin: Block | None = None


# --- making blocks ----------------------------------------------------------------------------------------------
def nothing(height: float) -> Block:
    return Block(height, lambda pen, x, y: None)


def paragraph(text: str, style: Style, width: float, *, indent: float = 0.0) -> Block:
    """Text in one style."""
    return rich((Span(text, style),), width, leading=style.leading, indent=indent)


def rich(spans: tuple[Span, ...], width: float, *, leading: float, indent: float = 0.0) -> Block:
    """Text in several styles; base lines are ``leading`` apart."""
    lines = broken(spans, width - indent)
    return Block(leading * len(lines), lambda pen, x, y: _draw_lines(pen, x + indent, y, lines, leading))


def _draw_lines(pen: Pen, x: float, y: float, lines: Sequence[Line], leading: float) -> None:
    base = y + leading * 0.78
    for line in lines:
        pen.line_of_text(x, base, line)
        base += leading


def stacked(blocks: Sequence[Block], gap: float = 0.0) -> Block:
    """Blocks below one another."""
    height = sum(block.height for block in blocks) + gap * max(len(blocks) - 1, 0)

    def draw(pen: Pen, x: float, y: float) -> None:
        for block in blocks:
            block.draw(pen, x, y)
            y += block.height + gap

    return Block(height, draw)


def beside(parts: Sequence[tuple[float, Block]]) -> Block:
    """Blocks side by side, each with its distance from the left; as high as the highest."""

    def draw(pen: Pen, x: float, y: float) -> None:
        for left, block in parts:
            block.draw(pen, x + left, y)

    return Block(max((block.height for _, block in parts), default=0.0), draw)


def padded(block: Block, top: float = 0.0, bottom: float = 0.0) -> Block:
    return Block(block.height + top + bottom, lambda pen, x, y: block.draw(pen, x, y + top))


def framed(block: Block, width: float, *, inset: float = 6.0, weight: float = 0.8, ink: float = 0.0) -> Block:
    """A block in a box; ``block`` must be made for ``width - 2 * inset``."""
    height = block.height + 2 * inset

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.box(x, y, width, height, stroke=ink, weight=weight)
        block.draw(pen, x + inset, y + inset)

    return Block(height, draw)


# --- sharing out over pages -------------------------------------------------------------------------------------
def shared_out(items: Sequence[Item], frame_height: float) -> list[list[Placed]]:
    """Items on pages, in order. Kept groups stay whole unless one alone is higher than a page."""
    pages: list[list[Placed]] = [[]]
    y = 0.0
    for group in _groups(items):
        needed = _needed(group, is_first=y == 0.0)
        has_room = y + needed <= frame_height + 0.01
        if y > 0.0 and (group[0].opens_page or not has_room):
            pages.append([])
            y = _repeat(pages[-1], group[0])
        for item in group:
            gap = item.gap if y > 0.0 else 0.0
            if y > 0.0 and y + gap + item.block.height > frame_height + 0.01:
                pages.append([])
                y, gap = _repeat(pages[-1], item), 0.0
            pages[-1].append(Placed(y + gap, item.block, item.margin))
            y += gap + item.block.height
    return pages


def _groups(items: Sequence[Item]) -> list[list[Item]]:
    groups: list[list[Item]] = []
    is_open = False
    for item in items:
        if is_open:
            groups[-1].append(item)
        else:
            groups.append([item])
        is_open = item.keep
    return groups


def _needed(group: Sequence[Item], *, is_first: bool) -> float:
    gaps = sum(item.gap for item in group) - (group[0].gap if is_first else 0.0)
    height = gaps + sum(item.block.height for item in group)
    margins = [item.margin.height for item in group if item.margin]
    return max(height, *margins) if margins else height


def _repeat(page: list[Placed], item: Item) -> float:
    y = 0.0
    for block in item.repeat:
        page.append(Placed(y, block))
        y += block.height
    return y
