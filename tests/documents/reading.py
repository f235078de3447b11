"""Reading a printed paper back: its text, its codes, and where its characters stand. By tools that know nothing of ours."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pypdfium2
import zxingcpp

POINTS_PER_INCH = 72


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


def character_boxes(pdf: bytes) -> list[list[tuple[float, float, float, float]]]:
    """(left, bottom, right, top) of every printed character, by page."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        text = page.get_textpage()
        boxes = [text.get_charbox(index) for index in range(text.count_chars())]
        found.append([box for box in boxes if box[2] > box[0]])
    return found
