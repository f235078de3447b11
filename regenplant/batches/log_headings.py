"""The heading of a logger's text: which column holds what, in which unit, and what parts the columns."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.batches.log_refused import Unreadable, shortened
from regenplant.core.errors import DomainError

HEADING_WITHIN = 40
"""Loggers write a few lines about themselves first."""
PARTED_BY = (";", "\t", ",")

TIME, DATE, VALUE, TEMPERATURE, VOLUME = "time", "date", "value", "temperature", "volume"
_NAMES: dict[str, tuple[str, ...]] = {
    DATE: ("date", "day"),
    TIME: (
        "time", "timestamp", "time stamp", "date time", "date/time", "date-time", "datetime", "date and time", "moment", "clock", "elapsed", "elapsed time",
        "time since start", "run time",
    ),
    VALUE: ("conductivity", "cond", "resistivity", "res", "specific resistance", "specific conductance"),
    TEMPERATURE: ("temperature", "temp", "water temperature", "t"),
    VOLUME: ("volume", "water passed", "totalizer", "total", "rinse volume", "rinse water", "water"),
}  # fmt: skip
"""What a heading may call a column, in lower case without its unit."""
_KIND_OF = {TIME: "duration", VALUE: "conductivity", TEMPERATURE: "temperature", VOLUME: "liquid_volume"}
"""Kind of unit of a column; a date has none."""
ALLOWED_HEADING = "a heading such as: time; conductivity (µS/cm); temperature (°C). A column of water passed (L) may stand beside"
_HEAD = re.compile(r"^\s*(?P<name>[^\[\]()]*?)\s*(?:[\[(]\s*(?P<unit>[^\[\]]*?)\s*[\])])?\s*$")


@dataclass(frozen=True, slots=True)
class Column:
    """One column that was understood."""

    place: int
    """How many cells stand before it."""
    head: str
    """Its heading, as it stands in the log."""
    unit: str
    """As written; "" where none is."""


@dataclass(frozen=True, slots=True)
class Heading:
    """The line that names the columns."""

    line: int
    """Its number, from 1."""
    parted_by: str
    """One of ``PARTED_BY``."""
    columns: dict[str, Column]
    """By what they hold: ``TIME``, ``DATE``, ``VALUE``, ``TEMPERATURE``, ``VOLUME``."""
    width: int
    """Cells of its line."""


def heading_of(lines: Sequence[str]) -> Heading:
    """The first line that names a time and a conductivity or resistivity.

    Raises: Unreadable where no line does, no column holds the water temperature, or a unit is missing or of another quantity.
    """
    seen = ""
    for number, line in enumerate(lines[:HEADING_WITHIN], start=1):
        if not line.strip():
            continue
        if len(line) > csv.field_size_limit():
            raise Unreadable(
                number, "It is longer than any line of a log", "plain text, as the logger exports it as CSV"
            )
        seen = seen or line.strip()
        for parted_by in PARTED_BY:
            cells = next(csv.reader([line], delimiter=parted_by), [])
            columns = _columns_of(cells)
            if VALUE in columns and (TIME in columns or DATE in columns):
                return _checked(Heading(number, parted_by, columns, len(cells)))
    if not seen:
        raise Unreadable(0, "Nothing is written", ALLOWED_HEADING)
    raise Unreadable(1, f"No heading is found; it begins “{shortened(seen)}”", ALLOWED_HEADING)


def _columns_of(cells: Sequence[str]) -> dict[str, Column]:
    found: dict[str, Column] = {}
    for place, cell in enumerate(cells):
        match = _HEAD.match(cell)
        if match is None:
            continue
        role, unit = _role(match["name"], match["unit"] or "")
        if role and role not in found:
            found[role] = Column(place, cell.strip(), unit)
    return found


def _role(name: str, unit: str) -> tuple[str, str]:
    """(what the column is, its unit); the unit may stand behind the name without brackets."""
    words = re.sub(r"[\s_]+", " ", name.strip().lower()).strip(" ,:.")
    for role, names in _NAMES.items():
        for known in sorted(names, key=len, reverse=True):
            if words == known:
                return role, unit
            if not unit and words.startswith((known + " ", known + ",", known + "/")):
                rest = re.sub(r"[\s_]+", " ", name.strip())[len(known) :].strip(" ,/:")
                if rest and role in _KIND_OF and _is_unit(rest, _KIND_OF[role]):
                    return role, rest
    return "", ""


def _is_unit(unit: str, kind: str) -> bool:
    try:
        units.scale_of(unit, kind)
    except DomainError:
        return False
    return True


def _checked(heading: Heading) -> Heading:
    if TEMPERATURE not in heading.columns:
        raise Unreadable(
            heading.line,
            "No column holds the water temperature",
            "a column such as temperature (°C) in every log",
        )
    for role, example in ((VALUE, "µS/cm or MΩ·cm"), (TEMPERATURE, "°C or °F"), (VOLUME, "L, m³ or gal")):
        column = heading.columns.get(role)
        if column is None:
            continue
        if not column.unit:
            raise Unreadable(
                heading.line,
                f"“{shortened(column.head)}” names no unit",
                f"the unit in brackets behind it, such as {example}",
            )
        if not _is_unit(column.unit, _KIND_OF[role]):
            raise Unreadable(
                heading.line, f"“{shortened(column.unit)}” is no unit of “{shortened(column.head)}”", example
            )
    value = heading.columns[VALUE]
    names_resistivity = value.head.lower().startswith(("res", "specific res"))
    if names_resistivity != units.scale_of(value.unit, _KIND_OF[VALUE]).is_reciprocal:
        raise Unreadable(
            heading.line,
            f"“{shortened(value.head)}” names one quantity and the unit of another",
            "conductivity in µS/cm or mS/m, resistivity in MΩ·cm or kΩ·cm",
        )
    return heading
