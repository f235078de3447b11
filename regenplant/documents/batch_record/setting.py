"""How a batch record is set: its content, width, order of units, and the small parts all its sections share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.documents.batch_record.content import BatchRecordContent, Change, Range, Written
from regenplant.documents.faces import BODY, INK_2, SMALL, SMALL_STRONG, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, rich, stacked
from regenplant.documents.parts import Column, cell, marked, table_head, table_row
from regenplant.documents.texts import limit_words, own
from regenplant.keeping.nothing import Nothing

MARK = Style(Face.BOLD, 6, 9.5)
QUIET = Style(Face.TEXT, 7.5, 9.5, INK_2)
_RISE = 2.6
NOTHING_MARKS = {Nothing.NOT_YET: "waiting", Nothing.NOT_DONE: "check", Nothing.NOT_APPLICABLE: "stop"}
"""The shape beside each kind of nothing, see ``parts.MARKS``."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What every part of the paper needs to know."""

    content: BatchRecordContent
    width: float
    system: str


def change_sign(mark: int) -> str:
    """How a changed value is marked: "[c3]"."""
    return f"[c{mark}]"


def signs(marks: Sequence[int]) -> tuple[Span, ...]:
    """The marks of changes, raised beside a value."""
    return tuple(Span(f" {change_sign(mark)}", MARK, _RISE) for mark in marks)


def nothing_cell(nothing: Nothing, column: Column) -> Block:
    """Why nothing stands here: a shape and a word, different for each of the three."""
    return marked(NOTHING_MARKS[nothing], (Span(nothing.label, SMALL),), column.width - 6, side=7.5, leading=SMALL.leading)  # fmt: skip


def range_cell(shown: Range, column: Column, system: str) -> Block:
    """The limits in words, and below them what was planned."""
    words = limit_words(shown.low, shown.high, shown.kind, system) if shown.kind in units.KINDS else ""
    lines = [cell(words, column, SMALL)] if words else []
    if shown.target is not None:
        lines.append(cell(f"planned {own(shown.target, shown.kind, '', system)}", column, QUIET))
    return stacked(lines) if lines else cell("", column, SMALL)


def value_cell(written: Written, kind: str, marks: Sequence[int], column: Column, system: str) -> Block:
    """The value as it was typed, with its marks; below it the paper's own unit where that differs, and what is odd."""
    room = column.width - 6
    lines = [rich((Span(written.as_typed, STRONG), *signs(marks)), room, leading=BODY.leading)]
    if written.value is not None and kind in units.KINDS:
        shown = own(written.value, kind, "", system)
        if _squeezed(shown) != _squeezed(written.as_typed):
            lines.append(cell(shown, column, QUIET))
    if written.is_within is False:
        lines.append(marked("check", (Span("outside its limit", SMALL_STRONG),), room, side=7.5, leading=SMALL.leading))  # fmt: skip
    return stacked(lines)


def _squeezed(text: str) -> str:
    return "".join(text.split())


def moment_cell(written: Written, column: Column) -> Block:
    """When and by whom; a late entry says when it was entered; the instrument, if there was one."""
    lines = [cell(f"{written.at.replace(' ', units.NO_BREAK_SPACE)} · {written.by}", column, SMALL)]
    if written.is_late:
        words = f"late entry, entered {written.entered}"
        lines.append(marked("check", (Span(words, SMALL),), column.width - 6, side=7.5, leading=SMALL.leading))  # fmt: skip
    if written.instrument:
        lines.append(cell(f"by instrument {written.instrument}", column, QUIET))
    if written.checked:
        lines.append(cell(f"checked: {written.checked}", column, QUIET))
    if written.reason:
        lines.append(cell(f"Reason: {written.reason}", column, SMALL))
    return stacked(lines)


def notes(changes: Sequence[Change], width: float, repeat: tuple[Block, ...] = ()) -> list[Item]:
    """The notes to changed values: what stood there first, who changed it, when and why."""
    return [
        Item(_note(change, width), gap=3 if index == 0 else 1, repeat=repeat)
        for index, change in enumerate(changes)
    ]


def _note(change: Change, width: float) -> Block:
    old, new = change.old, change.new
    spans = (
        Span(f"{change_sign(change.mark)} ", SMALL_STRONG),
        Span(f"{change.what}: first ", SMALL),
        Span(old.as_typed, SMALL_STRONG),
        Span(f" ({old.at}, {old.by}, entered {old.entered}); changed to ", SMALL),
        Span(new.as_typed, SMALL_STRONG),
        Span(f" by {new.by}, entered {new.entered}. Reason: {change.reason}", SMALL),
    )
    return rich(spans, width, leading=SMALL.leading)


def table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[Block]],
    *,
    again: tuple[Block, ...] = (),
    gap: float = 3.0,
    pad: float = 2.0,
) -> list[Item]:
    """A table whose head is drawn again on every page."""
    head = table_head(columns)
    found = [Item(head, keep=True, gap=gap, repeat=again)]
    for index, cells in enumerate(rows):
        row = table_row(cells, columns, pad=pad)
        found.append(Item(row, keep=index == 0 and len(rows) > 1, repeat=(*again, head)))
    return found


def columns_of(width: float, heads: Sequence[tuple[str, float]], *, at_right: Sequence[str] = ()) -> tuple[Column, ...]:  # fmt: skip
    """Columns of fixed width; the one with width 0 takes what is left."""
    left = width - sum(fixed for _, fixed in heads)
    return tuple(Column(head, fixed or left, head in at_right) for head, fixed in heads)
