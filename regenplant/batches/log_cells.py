"""One cell of a logger's text: its figure, or its moment."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo

from regenplant.batches.log_headings import Column
from regenplant.batches.log_refused import Unreadable, shortened

LONGEST_CELL = 40
_DAY_FIRST = re.compile(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ T]+(.*))?$")
_SLASHED = re.compile(r"^(\d{4})[/.](\d{1,2})[/.](\d{1,2})(?:[ T]+(.*))?$")
MOMENTS_ALLOWED = "2026-11-26 14:02:05, with or without an offset such as +01:00, or 26.11.2026 14:02:05"


def cell(cells: Sequence[str], column: Column) -> str:
    """What stands in this column of a line, without spaces around it; "" for an empty cell.

    Raises: Unreadable for a line that ends before the column, or more than 40 characters.
    """
    if column.place >= len(cells):
        raise Unreadable(
            0, f"The line ends before “{shortened(column.head)}”", "a cell for every column of the heading"
        )
    text = cells[column.place].strip()
    if len(text) > LONGEST_CELL:
        raise Unreadable(
            0,
            f"“{shortened(text)}” is too long for “{shortened(column.head)}”",
            f"at most {LONGEST_CELL} characters",
        )
    return text


def number(text: str, column: Column) -> float:
    """A figure with a decimal point, in the unit of its column.

    Raises: Unreadable for what is no number, or none that can be (NaN, infinity).
    """
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if value != value or value in (float("inf"), float("-inf")) or "_" in text:
        raise Unreadable(
            0, f"“{shortened(text)}” in “{shortened(column.head)}” is no number", "a number such as 8.42"
        )
    return value


def number_with_comma(text: str, column: Column) -> float:
    """A figure with a decimal point or a decimal comma, never both.

    Raises: Unreadable as ``number`` does.
    """
    if "," in text and "." in text:
        raise Unreadable(
            0, f"“{shortened(text)}” in “{shortened(column.head)}” holds a point and a comma", "one of them"
        )
    return number(text.replace(",", ".", 1), column)


def moment(text: str, zone: tzinfo) -> datetime:
    """A moment with an offset, or as the plant's clocks showed it (``zone``); in UTC, from 2000 to 2200.

    Raises: Unreadable for what is no moment, and for one that the clocks showed twice or never.
    """
    found = _parsed(text)
    if found is None or not 2000 <= found.year <= 2200:
        raise Unreadable(0, f"“{shortened(text)}” is no moment", MOMENTS_ALLOWED)
    if found.tzinfo is not None:
        return found.astimezone(UTC)
    local = found.replace(tzinfo=zone)
    if local.utcoffset() != local.replace(fold=1).utcoffset():
        raise Unreadable(
            0,
            f"“{shortened(text)}” is a time that the clocks showed twice, or never, that night",
            "moments with an offset such as +01:00",
        )
    return local.astimezone(UTC)


def _parsed(text: str) -> datetime | None:
    text = text.replace("/", "-", 2) if _SLASHED.match(text) else text
    if match := _DAY_FIRST.match(text):
        day, month, year, clock = match.groups()
        text = f"{year}-{int(month):02}-{int(day):02} {clock or ''}".strip()
    if len(text) < len("2026-11-26 14:02"):
        return None  # a day alone is no moment of a reading
    try:
        return datetime.fromisoformat(text.replace(",", "."))
    except ValueError:
        return None
