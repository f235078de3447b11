"""The common frame of labels: a box with the plant and the kind of label above, what the label says, and the print it comes from below."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from regenplant.documents import page
from regenplant.documents.faces import INK, INK_2, SMALL, Face, Style, shortened
from regenplant.documents.flow import Block
from regenplant.documents.issue import Issue
from regenplant.documents.page import PageSize
from regenplant.documents.pen import MILLIMETRE, Pen
from regenplant.documents.texts import grouped

_PLANT = Style(Face.BOOK_BOLD, 11, 13)
_FOOT = Style(Face.TEXT, 6.5, 8, INK_2)
_INSET = 7.0
_MARGIN = 4 * MILLIMETRE
_HEAD = 24.0
SCALES = (1.3, 1.15, 1.0, 0.92, 0.85, 0.78, 0.7, 0.62, 0.55)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One label: the words above it on the right, and its body for a width in points."""

    kind: str
    body: Callable[[float], Block]
    scales: tuple[float, ...] = SCALES
    """Tried one after the other; a label with a code that scans stays at its size."""


def draw_labels(sheets: Sequence[Sheet], size: PageSize, title: str, plant: str, issue: Issue) -> bytes:
    """One label a page as PDF, each body as large as it fits. The same content gives the same bytes."""
    with page.drawing:
        buffer = io.BytesIO()
        canvas = page.new_canvas(buffer, size, title, plant)
        width, height = size.width - 2 * _MARGIN, size.height - 2 * _MARGIN
        for sheet in sheets:
            pen = Pen(canvas, size.height)
            pen.box(_MARGIN, _MARGIN, width, height, stroke=INK, weight=1.0)
            pen.text(_MARGIN + _INSET, _MARGIN + 15, shortened(plant, _PLANT, width * 0.6), _PLANT)
            pen.text(_MARGIN + width - _INSET, _MARGIN + 15, sheet.kind, SMALL, anchor="end")
            scale, body = _fitted(sheet, width - 2 * _INSET, height - 2 * _HEAD)
            pen.scaled(_MARGIN + _INSET, _MARGIN + _HEAD, scale, body.draw)
            _foot(pen, issue, width, height)
            canvas.showPage()
        canvas.save()
        return buffer.getvalue()


def _fitted(sheet: Sheet, width: float, room: float) -> tuple[float, Block]:
    """The largest scale at which the body fits, else the smallest."""
    for scale in sheet.scales:
        body = sheet.body(width / scale)
        if body.height * scale <= room:
            break
    return scale, body


def _foot(pen: Pen, issue: Issue, width: float, height: float) -> None:
    printed = f"Issue {issue.number}, {issue.printed_at}, {issue.printed_by}"
    head = f"record {issue.chain_number}: {grouped(issue.chain_head, 2)}"
    for line, below in ((printed, 5 + _FOOT.leading), (head, 5)):
        text = shortened(line, _FOOT, width - 8)
        pen.text(_MARGIN + width / 2, _MARGIN + height - below, text, _FOOT, anchor="middle")
