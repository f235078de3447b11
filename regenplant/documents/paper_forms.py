"""Paper forms: numbered, scannable, blank; each with its cautions, its limits and the head of the record when it was issued.

``PaperFormContent`` is all that is printed. The same content and the same print give the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from regenplant.core.process.hazards import AUTHORITY, protective_equipment
from regenplant.documents import codes
from regenplant.documents.faces import (
    BODY,
    INK,
    LEAD,
    NOTE,
    PAPER,
    SECTION,
    SENTENCE,
    SMALL,
    STRONG,
    TITLE,
    Face,
    Span,
    Style,
    width_of,
)
from regenplant.documents.flow import Block, Item, beside, nothing, paragraph, rich, stacked
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed_together
from regenplant.documents.parts import (
    Column,
    blank,
    choices,
    labelled_blank,
    marked,
    table_head,
    table_row,
    time_blank,
    two_lines,
    writing_lines,
)
from regenplant.documents.pen import Pen
from regenplant.documents.safety import caution_panel, wear_line
from regenplant.documents.texts import grouped
from regenplant.keeping.paper_content import FormColumn, FormRow, FormSection, PaperFormContent

SIZES = (A4, LETTER)
ROW = 25.0
SECTION_GAP = 11.0
WHOLE_UP_TO = 330.0
"""A section no higher than this [pt] is never broken over two pages."""
CODE_WIDTH = 150.0
SECOND_PERSON = "Entered later by one person, compared with a scan and confirmed by another. Keep this paper."
_STAMP = Style(Face.BOLD, 9.5, 12)
_NUMBER = Style(Face.BOLD, 20, 24)


def draw_paper_forms(
    contents: Sequence[PaperFormContent], size: PageSize, *, prints: Sequence[int] = ()
) -> bytes:
    """The forms as one PDF, each on sheets of its own with pages counted for itself. ``prints`` says the how manyth print of each
    it is; from the second on the form says so, as the first may still be about."""
    frame = Frame(size)
    counts = list(prints) or [1] * len(contents)
    papers = [
        (_items(content, frame.width, count), _furniture(content, count))
        for content, count in zip(contents, counts, strict=True)
    ]
    first, last = contents[0].number, contents[-1].number
    title = f"Paper form {first}" if first == last else f"Paper forms {first} to {last}"
    return printed_together(papers, frame, title=title, author=contents[0].plant)


def _furniture(content: PaperFormContent, count: int) -> Furniture:
    again = f" · PRINT {count}: an earlier paper with this number may be about" if count > 1 else ""
    about = f"Batch {content.batch_number}" if content.batch_number else "Empty form, for any batch"
    return Furniture(
        plant=content.plant,
        paper=content.title,
        number=content.number,
        foot=(
            f"{about}{again}",
            f"Record {content.chain_number}: {grouped(content.chain_head)}",
            f"Issued {content.issued_at} by {content.issued_by}",
        ),
        title=f"Paper form {content.number}",
    )


def _items(content: PaperFormContent, width: float, count: int) -> list[Item]:
    found = [Item(_head(content, width), gap=0)]
    if count > 1:
        words = f"Print {count}. Use this paper only when no other with the number {content.number} was written on."
        found.append(Item(marked("check", (Span(words, STRONG),), width), gap=5))
    found.append(Item(_blanks(content.head, width), gap=6))
    for section in content.sections:
        found += _section(section, width)
    found.append(Item(writing_lines("Remarks, spoiled lines and why", width, 1), gap=SECTION_GAP, keep=True))
    found.append(Item(_closing(width), gap=8))
    return found


def _head(content: PaperFormContent, width: float) -> Block:
    """Number and code at the right, name and sentence at the left."""
    left = width - CODE_WIDTH - 8
    lines = [paragraph(content.title, TITLE, left)]
    if content.batch_number:
        lines += [
            paragraph(f"Batch {content.batch_number}", LEAD, left),
            paragraph(content.batch_words, BODY, left),
        ]
    lines.append(paragraph(content.sentence, SENTENCE, left))
    code = stacked(
        [_right(content.number, _NUMBER, CODE_WIDTH), codes.code_128(content.number, 30, words=None)], 3
    )
    return beside([(0, stacked(lines, 3)), (width - CODE_WIDTH, code)])


def _right(text: str, style: Style, width: float) -> Block:
    return Block(
        style.leading,
        lambda pen, x, y: pen.text(x + width, y + style.leading * 0.78, text, style, anchor="end"),
    )


def _blanks(rows: Sequence[FormRow], width: float) -> Block:
    """Words with a line after each, three beside one another."""
    across = (width - 16) / 3
    lines = []
    for start in range(0, len(rows), 3):
        cells = [
            (index * (across + 8), labelled_blank(row.name, across))
            for index, row in enumerate(rows[start : start + 3])
        ]
        lines.append(beside(cells))
    return stacked(lines, 2)


# --- sections -----------------------------------------------------------------------------------------------------------
def _section(section: FormSection, width: float) -> list[Item]:
    again = (paragraph(f"{section.title}, continued", SECTION, width), nothing(3))
    found = [Item(_title(section, width), gap=SECTION_GAP, keep=True)]
    if section.words:
        found.append(Item(paragraph(section.words, BODY, width), gap=2, keep=True))
    for caution in section.cautions:
        found.append(Item(caution_panel(caution, width), gap=3, keep=True, repeat=again))
    gear = protective_equipment(section.cautions)
    if gear:
        found.append(Item(wear_line(gear, width), gap=2.5, keep=True, repeat=again))
    if section.cautions:
        found.append(Item(paragraph(AUTHORITY, SMALL, width), gap=2, keep=True))
    found += _rows(section, width, again) if section.rows else []
    found += _lines(section, width, again) if section.columns else []
    if section.closing:
        mark = "held" if section.closing.startswith("Safe") else "stop"
        found.append(
            Item(marked(mark, (Span(section.closing, STRONG),), width, side=11), gap=4, repeat=again)
        )
    height = sum(item.gap + item.block.height for item in found)
    return found if height > WHOLE_UP_TO else [*(replace(item, keep=True) for item in found[:-1]), found[-1]]


def _title(section: FormSection, width: float) -> Block:
    if not section.no_pause:
        return paragraph(section.title, SECTION, width)
    stamp = width_of("NO PAUSE", _STAMP.face, _STAMP.size) + 12
    name = paragraph(section.title, SECTION, width - stamp - 8)

    def draw(pen: Pen, x: float, y: float) -> None:
        name.draw(pen, x, y)
        pen.box(x + width - stamp, y + 1, stamp, 15, fill=INK)
        pen.text(x + width - stamp / 2, y + 11.8, "NO PAUSE", _STAMP, anchor="middle", ink=PAPER)

    return Block(max(name.height, 16), draw)


def _rows(section: FormSection, width: float, again: tuple[Block, ...]) -> list[Item]:
    fixed = (132.0, 58.0, 46.0)
    heads = ("Found", "Time", "Initials")
    columns = (
        Column("Write down", width - sum(fixed)),
        *(Column(head, part) for head, part in zip(heads, fixed, strict=True)),
    )
    head = table_head(columns)
    found = [Item(head, gap=5, keep=True, repeat=again)]
    found += [
        Item(_row(row, columns), keep=index == 0, repeat=(*again, head))
        for index, row in enumerate(section.rows)
    ]
    return found


def _row(row: FormRow, columns: Sequence[Column]) -> Block:
    name = two_lines(row.name, row.limits, columns[0])
    if len(row.options) > 2 or row.is_words:
        room = Column("", columns[0].width + columns[1].width)
        asked = rich(
            (Span(f"{row.name}  ", STRONG), Span(row.limits, SMALL)), room.width - 10, leading=BODY.leading
        )
        lower = choices(row.options, 19) if row.options else blank(room.width - 4, 19)
        answer = stacked([asked, lower])
        cells = (answer, time_blank(columns[2].width, answer.height), blank(columns[3].width, answer.height))
        return table_row(cells, (room, *columns[2:]), least=ROW, pad=1.5)
    found = choices(row.options, ROW - 3) if row.options else blank(columns[1].width, ROW, row.unit)
    return table_row(
        (name, found, time_blank(columns[2].width, ROW), blank(columns[3].width, ROW)),
        columns,
        least=ROW + 3,
        pad=1.5,
    )


def _lines(section: FormSection, width: float, again: tuple[Block, ...]) -> list[Item]:
    columns = tuple(Column(column.head, column.share * width) for column in section.columns)
    head = table_head(columns)
    row = table_row(
        tuple(_blank_cell(given, column) for given, column in zip(section.columns, columns, strict=True)),
        columns,
        least=ROW,
        pad=1.0,
    )
    found = [Item(head, gap=5, keep=True, repeat=again)]
    return found + [Item(row, keep=index < 2, repeat=(*again, head)) for index in range(section.lines)]


def _blank_cell(given: FormColumn, column: Column) -> Block:
    inner = ROW - 2
    if given.is_time:
        return time_blank(column.width, inner)
    if given.options:
        return choices(given.options, inner, side=8, style=SMALL)
    return blank(column.width, inner, given.unit, style=SMALL)


def _closing(width: float) -> Block:
    """Who wrote it, who looked it over, and what happens to the paper."""
    lines: list[Block] = [
        _signing_line("Written by, as seen and done", width),
        _signing_line("Looked over by another person", width),
        paragraph(SECOND_PERSON, NOTE, width),
    ]
    return stacked(lines, 4)


def _signing_line(label: str, width: float) -> Block:
    """Name, signature, date and time on one line."""
    parts = (0.46, 0.26, 0.16, 0.12)
    name, signed, day, hour = (share * width for share in parts)
    return beside([
        (0, labelled_blank(label, name - 4, height=26)),
        (name, labelled_blank("× signed", signed - 4, height=26)),
        (name + signed, labelled_blank("Date", day - 4, height=26)),
        (name + signed + day, time_blank(hour, 26)),
    ])  # fmt: skip
