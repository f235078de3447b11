"""Reading a printed paper back: its text, its codes, and where its characters stand. By tools that know nothing of ours."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pypdfium2
import zxingcpp

POINTS_PER_INCH = 72
Box = tuple[float, float, float, float]
"""(left, bottom, right, top)."""


@dataclass(frozen=True)
class Code:
    kind: str
    payload: str


def page_texts(pdf: bytes) -> list[str]:
    """The text of each page, white space made single spaces."""
    document = pypdfium2.PdfDocument(pdf)
    return [plain(page.get_textpage().get_text_range()) for page in document]


def whole_text(pdf: bytes) -> str:
    return " ".join(page_texts(pdf))


def plain(text: str) -> str:
    """One kind of space; a word that a page broke at a hyphen of its own stays as printed."""
    return re.sub(r"[\s\u00a0\u202f]+", " ", text.replace("\ufffe", "-")).strip()


def codes_by_page(pdf: bytes, dpi: int = 200) -> list[set[Code]]:
    """What a scanner reads from each printed page."""
    document = pypdfium2.PdfDocument(pdf)
    found = []
    for page in document:
        image = page.render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_pil()
        found.append({Code(str(code.format), code.text) for code in zxingcpp.read_barcodes(image)})
    return found


def page_sizes(pdf: bytes) -> list[tuple[float, float]]:
    return [page.get_size() for page in pypdfium2.PdfDocument(pdf)]


def character_boxes(pdf: bytes) -> list[list[Box]]:
    """(left, bottom, right, top) of every printed character, by page."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        text = page.get_textpage()
        boxes = [text.get_charbox(index) for index in range(text.count_chars())]
        found.append([box for box in boxes if box[2] > box[0]])
    return found


def overprinted(pdf: bytes) -> list[str]:
    """Places where one printed character lies on another, by page: empty for a paper that can be read.

    Two boxes that share more than a third of the smaller one. Neighbours in the order of writing are left out: the hook of
    an f reaches over the next letter by design.
    """
    found = []
    for number, boxes in enumerate(_inked_boxes(pdf), start=1):
        cells: dict[tuple[int, int], list[int]] = {}
        for index, box in enumerate(boxes):
            across, down = int((box[0] + box[2]) / 2 // 12), int((box[1] + box[3]) / 2 // 12)
            near = [i for x in (-1, 0, 1) for y in (-1, 0, 1) for i in cells.get((across + x, down + y), ())]
            if any(index - i > 2 and _shared(box, boxes[i]) > 0.33 for i in near):
                found.append(f"page {number} at {box[0]:.0f}, {box[1]:.0f}")
            cells.setdefault((across, down), []).append(index)
    return found


def _inked_boxes(pdf: bytes) -> list[list[Box]]:
    """Boxes of all characters but spaces, by page, in the order of writing."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        text = page.get_textpage()
        characters = text.get_text_range(0, text.count_chars())
        inked = [index for index, character in enumerate(characters) if not character.isspace()]
        found.append([text.get_charbox(index) for index in inked])
    return found


def _shared(first: Box, second: Box) -> float:
    """Share of the smaller box that lies in the other."""
    across = min(first[2], second[2]) - max(first[0], second[0])
    down = min(first[3], second[3]) - max(first[1], second[1])
    if across <= 0.0 or down <= 0.0:
        return 0.0
    smaller = min((box[2] - box[0]) * (box[3] - box[1]) for box in (first, second))
    return across * down / smaller if smaller > 0.0 else 0.0
