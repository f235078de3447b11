"""Codes that scan back: QR (ISO/IEC 18004) and Code 128 (ISO/IEC 15417), as vectors with their quiet zones.

The payload is the number itself (batch, tank), never an address or a name. The same text always stands beside the code
for people. Sizes follow the usual rules: bars of at least 0.33 mm, quiet zones of 10 bars (Code 128) and 4 modules (QR).
"""

from __future__ import annotations

from functools import lru_cache

import segno
from reportlab.graphics.barcode.code128 import Code128

from regenplant.documents.faces import STRONG, Style
from regenplant.documents.flow import Block
from regenplant.documents.pen import MILLIMETRE, Pen

BAR_PT = 0.33 * MILLIMETRE
MODULE_PT = 0.6 * MILLIMETRE
LEAST_MODULE_PT = 0.45 * MILLIMETRE
QR_QUIET = 4
BAR_QUIET = 10

Cell = tuple[float, float, float, float]


@lru_cache(maxsize=2048)
def qr_cells(payload: str) -> tuple[int, tuple[Cell, ...]]:
    """Modules per side without quiet zone, and the dark runs of each row."""
    matrix = segno.make(payload, error="m", micro=False, boost_error=True).matrix
    cells: list[Cell] = []
    for y, row in enumerate(matrix):
        start = None
        for x, dark in enumerate((*row, 0)):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                cells.append((start, y, x - start, 1))
                start = None
    return len(matrix), tuple(cells)


@lru_cache(maxsize=2048)
def bar_runs(payload: str) -> tuple[int, tuple[tuple[int, int], ...]]:
    """Width in bars without quiet zone, and (start, width) of each dark bar."""
    code = Code128(payload, quiet=0, humanReadable=0)
    code.validate()
    code.encode()
    code.decompose()
    bars: list[tuple[int, int]] = []
    x = 0
    for mark in code.decomposed:
        # "A".."D" are dark bars of 1 to 4, "a".."d" spaces
        width = ord(mark.lower()) - ord("a") + 1
        if mark.isupper():
            bars.append((x, width))
        x += width
    return x, tuple(bars)


def qr(payload: str, side: float | None = None) -> Block:
    """A QR code with its quiet zone; ``side`` [pt] includes the zone, else modules have their standard size."""
    modules, cells = qr_cells(payload)
    unit = (side / (modules + 2 * QR_QUIET)) if side else MODULE_PT

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.bars(x + QR_QUIET * unit, y + QR_QUIET * unit, unit, cells)

    return Block((modules + 2 * QR_QUIET) * unit, draw)


def qr_side(payload: str) -> float:
    """Side of the code with its quiet zone at the standard module size [pt]."""
    return (qr_cells(payload)[0] + 2 * QR_QUIET) * MODULE_PT


def code_128_width(payload: str, bar: float = BAR_PT) -> float:
    """Width with the quiet zones [pt]."""
    return (bar_runs(payload)[0] + 2 * BAR_QUIET) * bar


def compact(payload: str, height: float, widest: float) -> Block:
    """A Code 128 without words, or a QR code where the bars would be wider than ``widest`` [pt]."""
    if code_128_width(payload) <= widest:
        return code_128(payload, height, words=None)
    return qr(payload, (qr_cells(payload)[0] + 2 * QR_QUIET) * LEAST_MODULE_PT)


def code_128(payload: str, height: float, *, bar: float = BAR_PT, words: Style | None = STRONG) -> Block:
    """A Code 128 with its quiet zones; below it the same for people, unless ``words`` is None."""
    width, bars = bar_runs(payload)
    cells = tuple((float(start), 0.0, float(thick), height / bar) for start, thick in bars)
    below = words.leading if words else 0.0

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.bars(x + BAR_QUIET * bar, y, bar, cells)
        if words:
            pen.text(
                x + (BAR_QUIET + width / 2) * bar, y + height + words.size, payload, words, anchor="middle"
            )

    return Block(height + below, draw)
