"""Page furniture: sizes, margins, head and foot, "page x of y", and the bytes of the finished paper."""

from __future__ import annotations

import io
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from regenplant.core.errors import OutOfRange
from regenplant.documents.faces import HAIR, INK, INK_2, TICK, Face, Style, font_named, shortened
from regenplant.documents.flow import Item, Placed, shared_out
from regenplant.documents.pen import MILLIMETRE, Pen

rl_config.useA85 = 0
# Streams as plain bytes instead of base 85: a fifth smaller and quicker to write, and every reader takes them.

drawing = threading.Lock()
"""Fonts of the PDF library are not safe for two documents at once."""


@dataclass(frozen=True, slots=True)
class PageSize:
    """A sheet, in points."""

    key: str
    name: str
    width: float
    height: float


A4 = PageSize("a4", "A4", 210 * MILLIMETRE, 297 * MILLIMETRE)
LETTER = PageSize("letter", "Letter", 612.0, 792.0)
LABEL = PageSize("label", "label 100 × 150 mm", 100 * MILLIMETRE, 150 * MILLIMETRE)
A5 = PageSize("a5", "A5, 148 × 210 mm", 148 * MILLIMETRE, 210 * MILLIMETRE)
A4_WIDE = PageSize("a4", "A4 landscape", A4.height, A4.width)
A3_WIDE = PageSize("a3", "A3 landscape", 420 * MILLIMETRE, A4.height)
LETTER_WIDE = PageSize("letter", "Letter landscape", LETTER.height, LETTER.width)
SMALL_LABEL = PageSize("small", "label 74 × 105 mm", 74 * MILLIMETRE, 105 * MILLIMETRE)
PAGE_SIZES = {size.key: size for size in (A4, LETTER, LABEL, A5, SMALL_LABEL)}


def page_size(key: str, allowed: Sequence[PageSize]) -> PageSize:
    """The size with this key. Raises OutOfRange for one that this paper does not come in."""
    for size in allowed:
        if size.key == key.strip().lower():
            return size
    names = " or ".join(size.key for size in allowed)
    raise OutOfRange(
        f"This paper does not come in the size “{key[:20]}”. Choose {names}.", code="page_size", field="size"
    )


@dataclass(frozen=True, slots=True)
class Furniture:
    """What stands on every page. ``foot`` are up to three short lines; the page count stands beside the last."""

    plant: str
    paper: str
    number: str
    foot: tuple[str, ...]
    title: str
    """Of the file, for readers of the PDF."""


MARGIN_WIDTH = 19 * MILLIMETRE
"""Width of the margin column, where section words and step numbers hang."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the content of a page stands. The left edge keeps clear of punch holes (ISO 838: centre 12 mm in)."""

    size: PageSize
    """As it is laid out; ``enlarged`` makes a larger sheet of it, letters and codes with it."""
    margin_x: float = 16.5 * MILLIMETRE
    right: float = 11 * MILLIMETRE
    top: float = 20 * MILLIMETRE
    bottom: float = 21 * MILLIMETRE
    enlarged: float = 1.0

    @property
    def x(self) -> float:
        return self.margin_x + MARGIN_WIDTH + 4 * MILLIMETRE

    @property
    def width(self) -> float:
        return self.size.width - self.x - self.right

    @property
    def height(self) -> float:
        return self.size.height - self.top - self.bottom


_HEAD = Style(Face.BOOK_BOLD, 10.5, 13)
_HEAD_NUMBER = Style(Face.BOLD, 13, 15)
_FOOT = Style(Face.TEXT, 7, 9, INK_2)
_FOOT_COUNT = Style(Face.BOLD, 8.5, 10)


@dataclass(frozen=True, slots=True)
class Part:
    """Pages that belong together and can be printed alone, with the name that stands in their foot, "" for none."""

    name: str
    pages: Sequence[Sequence[Placed]]


def printed(items: Sequence[Item], frame: Frame, furniture: Furniture) -> bytes:
    """The paper as PDF. The same items give the same bytes."""
    return printed_parts((Part("", shared_out(items, frame.height)),), frame, furniture)


def printed_parts(parts: Sequence[Part], frame: Frame, furniture: Furniture) -> bytes:
    """The paper as PDF, part after part; the foot counts the pages of the paper and those of the part."""
    return _drawn([(parts, furniture)], frame, title=furniture.title, author=furniture.plant)


def printed_together(
    papers: Sequence[tuple[Sequence[Item], Furniture]], frame: Frame, *, title: str, author: str
) -> bytes:
    """Several papers in one PDF, each with pages counted for itself. The same items give the same bytes."""
    whole = [((Part("", shared_out(items, frame.height)),), furniture) for items, furniture in papers]
    return _drawn(whole, frame, title=title, author=author)


def _drawn(
    papers: Sequence[tuple[Sequence[Part], Furniture]], frame: Frame, *, title: str, author: str
) -> bytes:
    with drawing:
        buffer = io.BytesIO()
        canvas = new_canvas(buffer, _sheet(frame), title, author)
        for parts, furniture in papers:
            count, number = sum(len(part.pages) for part in parts), 0
            for part in parts:
                for place, page in enumerate(part.pages, start=1):
                    number += 1
                    if frame.enlarged != 1.0:
                        canvas.scale(frame.enlarged, frame.enlarged)
                    pen = Pen(canvas, frame.size.height)
                    where = f"{part.name}, {place} of {len(part.pages)}" if part.name else furniture.number
                    _furnish(pen, frame, furniture, f"Page {number} of {count}", where)
                    _fill(pen, frame, page)
                    canvas.showPage()
        canvas.save()
    return buffer.getvalue()


def _sheet(frame: Frame) -> PageSize:
    size, enlarged = frame.size, frame.enlarged
    return replace(size, width=size.width * enlarged, height=size.height * enlarged)


def new_canvas(buffer: io.BytesIO, size: PageSize, title: str, author: str) -> Canvas:
    """A canvas whose file depends on nothing but what is drawn."""
    font_named(Face.TEXT.value)
    canvas = Canvas(
        buffer,
        pagesize=(size.width, size.height),
        invariant=1,
        pageCompression=1,
        initialFontName=Face.TEXT.value,
        lang="en",
    )
    canvas.setTitle(title)
    canvas.setAuthor(author)
    canvas.setCreator("regenplant")
    canvas.setProducer("regenplant")
    return canvas


def _fill(pen: Pen, frame: Frame, page: Sequence[Placed]) -> None:
    for placed in page:
        placed.block.draw(pen, frame.x, frame.top + placed.y)
        if placed.margin is not None:
            placed.margin.draw(pen, frame.margin_x, frame.top + placed.y)


def _furnish(pen: Pen, frame: Frame, furniture: Furniture, count: str, where: str) -> None:
    left, right = frame.margin_x, frame.size.width - frame.right
    base = 13 * MILLIMETRE
    pen.text(left, base, shortened(furniture.plant, _HEAD, frame.width * 0.42), _HEAD)
    pen.text(frame.x + frame.width / 2, base, furniture.paper, _HEAD, anchor="middle")
    pen.text(right, base, furniture.number, _HEAD_NUMBER, anchor="end")
    pen.rule(left, base + 4, right, base + 4, weight=1.0, ink=INK)
    margin_line = frame.x - 2 * MILLIMETRE
    foot = frame.size.height - frame.bottom + 3
    pen.rule(margin_line, base + 4, margin_line, foot, weight=0.4, ink=HAIR)
    pen.rule(left, foot, right, foot, weight=0.5, ink=TICK)
    y = foot + 9
    for line in furniture.foot:
        pen.text(left, y, shortened(line, _FOOT, right - left - 110), _FOOT)
        y += 9
    pen.text(right, foot + 9, count, _FOOT_COUNT, anchor="end")
    pen.text(right, foot + 18, where, _FOOT, anchor="end")
