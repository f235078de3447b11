"""Rows to write on: an entry with its limit, a line for words, a moment with its initials, a reading of the rinse."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant import units
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.specification import Limit
from regenplant.documents.faces import BODY, SMALL, STRONG, Span
from regenplant.documents.flow import Block, nothing, rich, stacked
from regenplant.documents.limit_bar import limit_cell
from regenplant.documents.parts import Column, blank, choices, table_row, time_blank, two_lines

ROW = 24.0
_TALL = ROW + 6
_WORDS = ("text", "choice")
"""Kinds of entry that are answered in words."""


def entry_columns(width: float) -> tuple[Column, ...]:
    """Name, limit, blank, time, initials."""
    fixed = (120.0, 100.0, 54.0, 44.0)
    heads = ("Limit", "Found", "Time", "Initials")
    return (
        Column("Write down", width - sum(fixed)),
        *(Column(h, w) for h, w in zip(heads, fixed, strict=True)),
    )


def entry_name(entry: EntrySpec) -> str:
    return entry.name if entry.is_required else f"{entry.name}, if it applies"


def entry_row(entry: EntrySpec, columns: Sequence[Column], system: str) -> Block:
    """One entry: a tick, a line for words, or a blank with limit and unit."""
    if entry.kind == "confirm":
        return wide_row(entry_name(entry), entry.help, choices(("yes", "no"), ROW - 3), columns)
    if entry.kind in _WORDS:
        return words_row(entry_name(entry), entry.help, columns)
    inner = ROW + 3
    return table_row(
        (
            two_lines(entry_name(entry), entry.help, columns[0]),
            limit_cell(entry.low, entry.high, entry.target, entry.kind, system, columns[1].width - 8),
            blank(columns[2].width, inner, units.unit_text(entry.kind, system)),
            time_blank(columns[3].width, inner),
            blank(columns[4].width, inner),
        ),
        columns,
        least=_TALL,
        pad=1.5,
    )


def words_row(name: str, help_words: str, columns: Sequence[Column]) -> Block:
    """An entry in words: what is asked, and a line as wide as the row to write on."""
    joined = Column("", columns[0].width + columns[1].width + columns[2].width)
    room = joined.width - 10
    asked = rich((Span(f"{name}  ", STRONG), Span(help_words, SMALL)), room, leading=BODY.leading)
    answer = stacked([nothing(2), asked, blank(joined.width - 4, 20)])
    cells = (answer, time_blank(columns[3].width, answer.height), blank(columns[4].width, answer.height))
    return table_row(cells, (joined, *columns[3:]), pad=1.5)


def moment_row(name: str, words: str, columns: Sequence[Column]) -> Block:
    """When something happened and who says so: date, time, initials."""
    return wide_row(name, words, blank(columns[2].width, ROW - 3, "date", style=SMALL), columns, weight=0.9)


def wide_row(
    name: str, words: str, answer: Block, columns: Sequence[Column], *, weight: float = 0.4
) -> Block:
    """A row without a limit: the words run on into its column."""
    joined = Column("", columns[0].width + columns[1].width)
    text = rich((Span(f"{name}  ", STRONG), Span(words, SMALL)), joined.width - 10, leading=BODY.leading)
    text = stacked([nothing(3.5), text]) if text.height < BODY.leading * 1.5 else text
    cells = (text, answer, time_blank(columns[3].width, ROW - 3), blank(columns[4].width, ROW - 3))
    return table_row(cells, (joined, *columns[2:]), least=ROW, pad=1.5, weight=weight)


# --- readings of the rinse --------------------------------------------------------------------------------------
_READING = 22.0
"""Height of a reading, to be written by hand [pt]."""


def meter_reading(passed: str, limit: Limit, width: float, system: str) -> tuple[Sequence[Column], Block]:
    """Columns and a row for a conductivity meter: its value means nothing without temperature and cell."""
    heads = ("Time", passed, "Reading", "At", "Meter corrects", "Cell", "Initials")
    columns = _columns(heads, (52.0, 74.0, 0.0, 62.0, 72.0, 58.0, 44.0), width)
    cells = (
        time_blank(columns[0].width, _READING),
        blank(columns[1].width, _READING, units.unit_text("liquid_volume", system), style=SMALL),
        blank(columns[2].width, _READING, units.unit_text(limit.kind, system), style=SMALL),
        blank(columns[3].width, _READING, units.unit_text("temperature", system), style=SMALL),
        choices(("yes", "no"), _READING, side=9, style=SMALL),
        blank(columns[5].width, _READING),
        blank(columns[6].width, _READING),
    )
    return columns, table_row(cells, columns, least=_READING + 1, pad=0.5)


def kit_reading(passed: str, limit: Limit, width: float, system: str) -> tuple[Sequence[Column], Block]:
    """Columns and a row for what is found on a sample: the hardness behind a softener has no meter and no cell."""
    heads = ("Time", passed, limit.name, "Kit or meter", "Initials")
    columns = _columns(heads, (52.0, 90.0, 0.0, 120.0, 44.0), width)
    cells = (
        time_blank(columns[0].width, _READING),
        blank(columns[1].width, _READING, units.unit_text("liquid_volume", system), style=SMALL),
        blank(columns[2].width, _READING, units.unit_text(limit.kind, system), style=SMALL),
        blank(columns[3].width, _READING),
        blank(columns[4].width, _READING),
    )
    return columns, table_row(cells, columns, least=_READING + 1, pad=0.5)


def _columns(heads: Sequence[str], widths: Sequence[float], width: float) -> tuple[Column, ...]:
    """Columns of which the one without a width takes what is left."""
    rest = width - sum(widths)
    return tuple(Column(head, wide or rest) for head, wide in zip(heads, widths, strict=True))
