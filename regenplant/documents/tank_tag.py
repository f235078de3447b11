"""The tag that hangs on a tank: what is in it, and whether it may be used.

"Charged", for carbon "exchanged", stands on it only after the release; before, the tag says so in words and in hatching. A held or refused tank has
its own tag. Printed on a label of 100 by 150 mm, or four to a sheet with lines to cut along.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

from regenplant.core.process.canonical import canonical_text, digest
from regenplant.documents import page
from regenplant.documents.page import A4, LABEL, LETTER, PageSize
from regenplant.documents.pen import MILLIMETRE, Pen
from regenplant.documents.tank_tag_content import TagReading, TagState, TankTagContent
from regenplant.documents.tank_tag_drawing import draw_tag
from regenplant.documents.texts import grouped

__all__ = ["SIZES", "TagReading", "TagState", "TankTagContent", "content_digest", "draw_tank_tags"]

SIZES = (LABEL, A4, LETTER)
_SHEET_MARGIN = 9 * MILLIMETRE
_LABEL_INSET = 4 * MILLIMETRE


def content_digest(contents: Sequence[TankTagContent]) -> str:
    """Digest of what the tags say."""
    return digest(canonical_text(tuple(contents)))


def draw_tank_tags(contents: Sequence[TankTagContent], size: PageSize, system: str) -> bytes:
    """Tags as PDF: one to a label, four to a sheet. The same contents give the same bytes."""
    cells = _cells(size)
    first = contents[0]
    words = grouped(content_digest(contents), 2)
    with page.drawing:
        buffer = io.BytesIO()
        title = f"Tank tag {first.serial}" if len(contents) == 1 else f"Tank tags of {first.batch_number}"
        canvas = page.new_canvas(buffer, size, f"{title}, issue {first.issue.number}", first.plant)
        for start in range(0, len(contents), len(cells)):
            pen = Pen(canvas, size.height)
            for content, cell in zip(contents[start : start + len(cells)], cells, strict=False):
                draw_tag(pen, content, cell, words, system)
            if len(cells) > 1:
                _cut_lines(pen, size)
            canvas.showPage()
        canvas.save()
        return buffer.getvalue()


def _cells(size: PageSize) -> tuple[tuple[float, float, float, float], ...]:
    """Where tags stand on the page: (x, y, width, height)."""
    if size is LABEL:
        inset = _LABEL_INSET
        return ((inset, inset, size.width - 2 * inset, size.height - 2 * inset),)
    width, height = size.width / 2 - 1.5 * _SHEET_MARGIN, size.height / 2 - 1.5 * _SHEET_MARGIN
    lefts = (_SHEET_MARGIN, size.width / 2 + _SHEET_MARGIN / 2)
    tops = (_SHEET_MARGIN, size.height / 2 + _SHEET_MARGIN / 2)
    return tuple((x, y, width, height) for y in tops for x in lefts)


def _cut_lines(pen: Pen, size: PageSize) -> None:
    pen.rule(size.width / 2, 0, size.width / 2, size.height, weight=0.4, ink=0.45, dash=(4, 3))
    pen.rule(0, size.height / 2, size.width, size.height / 2, weight=0.4, ink=0.45, dash=(4, 3))
