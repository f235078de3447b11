"""A logger's text, as a file or pasted, read into readings: columns in any order under a heading that names quantity and unit.

Columns are parted by semicolon, tab or comma; a decimal comma is understood where the comma parts nothing. Times are moments (ISO
8601, with an offset or as the plant's clocks showed), or counted from a start that is given beside. A line that cannot be read is
named with what stands there and what is allowed; then nothing is taken in at all.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from regenplant import units
from regenplant.batches.log_cells import cell, moment, number, number_with_comma
from regenplant.batches.log_headings import (
    DATE,
    TEMPERATURE,
    TIME,
    VALUE,
    VOLUME,
    Column,
    Heading,
    heading_of,
)
from regenplant.batches.log_refused import LineRefused, Unreadable, shortened
from regenplant.batches.packets import MOST_READINGS, MOST_WATER_M3, LoggedReading
from regenplant.core.errors import DomainError, RecordRefused

MOST_NAMED = 20
"""So many lines are named; how many more there are is said."""
_THOUSANDS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}$")
_THOUSANDS_BY_POINT = re.compile(r"^[+-]?[1-9]\d{0,2}(\.\d{3})+$")


@dataclass(frozen=True, slots=True)
class Start:
    """What times and water are counted from where the log counts them: the moment, and the counter's figure then [m^3]."""

    at: datetime | None = None
    counter_m3: float = 0.0


@dataclass(frozen=True, slots=True)
class LogRead:
    """A log as it was read. With ``refused`` there are no readings."""

    readings: tuple[LoggedReading, ...] = ()
    refused: tuple[LineRefused, ...] = ()
    more_refused: int = 0
    """Further lines that cannot be read, beyond those named."""
    without_value: int = 0
    """Lines without a figure in the conductivity column; they hold no reading."""
    unit_text: str = ""
    heads: tuple[str, ...] = ()
    """The headings that were understood, as they stand in the log."""
    is_counted_from_start: bool = False


def read_log(text: str, zone: tzinfo, start: Start | None = None) -> LogRead:
    """Read a logger's text. ``zone``: the plant's, for moments without an offset.

    Raises: nothing; whatever cannot be read stands in ``refused``.
    """
    try:
        return _read(text, zone, start or Start())
    except Unreadable as refusal:
        return LogRead(refused=(refusal.line,))


def text_of(content: bytes) -> str:
    """A file's bytes as text: UTF-8, UTF-16 with its mark, or the older Western table that loggers write.

    Raises: RecordRefused for what is no text.
    """
    for encoding in ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise RecordRefused(
        "The file is no plain text. Export the log as CSV, and hand that in.", field="file", code="no_text"
    )


# --- the whole text ---------------------------------------------------------------------------------------------------
def _read(text: str, zone: tzinfo, start: Start) -> LogRead:
    if "\x00" in text:
        raise Unreadable(
            0, "It holds characters that no text has", "plain text, as the logger exports it as CSV"
        )
    lines = text.lstrip("\ufeff").splitlines()
    heading = heading_of(lines)
    reader = _Reader(heading, zone, start, lines)
    readings: list[LoggedReading] = []
    refused: list[LineRefused] = []
    without_value = more = 0
    for line, cells in _rows(lines, heading):
        try:
            reading = reader.reading(cells)
        except (Unreadable, DomainError) as refusal:
            if len(refused) < MOST_NAMED:
                refused.append(_of_line(line, refusal))
            else:
                more += 1
            continue
        if reading is None:
            without_value += 1
        else:
            readings.append(reading)
        if len(readings) > MOST_READINGS:
            raise Unreadable(line, f"More than {MOST_READINGS:,} readings", "a log split into parts of fewer")
    if not readings and not refused:
        raise Unreadable(0, "No reading stands under the heading", "a line for each reading under it")
    return LogRead(
        readings=() if refused else tuple(readings),
        refused=tuple(refused),
        more_refused=more,
        without_value=without_value,
        unit_text=heading.columns[VALUE].unit,
        heads=tuple(column.head for column in heading.columns.values()),
        is_counted_from_start=reader.counts,
    )


def _of_line(line: int, refusal: Unreadable | DomainError) -> LineRefused:
    if isinstance(refusal, Unreadable):
        return LineRefused(line, refusal.line.what, refusal.line.allowed)
    return LineRefused(line, refusal.message.rstrip("."), "a figure that can be")


def _rows(lines: Sequence[str], heading: Heading) -> Iterator[tuple[int, list[str]]]:
    """(number of the line, its cells) of what stands under the heading; empty lines and remarks are passed over."""
    parted = csv.reader(lines[heading.line :], delimiter=heading.parted_by)
    while True:
        before = parted.line_num
        try:
            cells = next(parted)
        except StopIteration:
            return
        except csv.Error as trouble:
            raise Unreadable(
                heading.line + parted.line_num, f"The line cannot be parted ({trouble})", "plain cells"
            ) from trouble
        if parted.line_num > before + 1:
            raise Unreadable(
                heading.line + before + 1, "A quotation mark opens there and does not close on its line", "one line for each reading"
            )  # fmt: skip
        if cells and any(cells) and not cells[0].lstrip().startswith("#"):
            yield heading.line + parted.line_num, cells


# --- one line -----------------------------------------------------------------------------------------------------------
class _Reader:
    """Reads the lines under one heading. Made once, so that a hundred thousand lines take no longer than they must."""

    def __init__(self, heading: Heading, zone: tzinfo, start: Start, lines: Sequence[str]):
        columns = heading.columns
        self.value, self.temperature = columns[VALUE], columns[TEMPERATURE]
        self.volume, self.date = columns.get(VOLUME), columns.get(DATE)
        self.time = columns.get(TIME)
        self.unit = self.value.unit
        self.start = start
        self.zone = zone
        self.to_si = units.scale_of(self.unit, "conductivity")
        self.to_kelvin = units.scale_of(self.temperature.unit, "temperature")
        self.to_m3 = units.scale_of(self.volume.unit, "liquid_volume") if self.volume else None
        self.counts = self.date is None and self.time is not None and bool(self.time.unit)
        if self.counts and self.time is not None:
            self.to_s = self._scale_of_time(heading, self.time)
            if start.at is None:
                raise Unreadable(
                    heading.line, f"“{shortened(self.time.head)}” counts from a start",
                    "a log with moments, or the moment the log started, written beside it",
                )  # fmt: skip
        self.width = heading.width if heading.parted_by == "," else 0
        self.number = _numbers(heading, lines)

    @staticmethod
    def _scale_of_time(heading: Heading, column: Column) -> units.Scale:
        try:
            return units.scale_of(column.unit, "duration")
        except DomainError as refusal:
            raise Unreadable(
                heading.line, f"“{shortened(column.unit)}” is no unit of time", "s, min or h"
            ) from refusal

    def reading(self, cells: Sequence[str]) -> LoggedReading | None:
        """The reading of one line; None where its conductivity is left empty."""
        if 0 < self.width < len(cells) and any(one.strip() for one in cells[self.width :]):
            raise Unreadable(
                0, f"It has {len(cells)} cells, the heading {self.width}", "decimal points where commas part the cells"
            )  # fmt: skip
        text = cell(cells, self.value)
        if not text:
            return None
        value = self.number(text, self.value)
        if self.to_si.is_reciprocal and value == 0.0:
            raise Unreadable(0, f"A resistivity of “{text}”", "a resistivity above zero")
        if not math.isfinite(self.to_si.to_si(value)):
            raise Unreadable(0, f"“{shortened(text)}” is beyond every meter", "a figure that a cell shows")
        celsius = cell(cells, self.temperature)
        kelvin = self.to_kelvin.to_si(self.number(celsius, self.temperature))
        counter = None
        if self.volume is not None and self.to_m3 is not None:
            passed = (
                self.to_m3.to_si(self.number(cell(cells, self.volume), self.volume)) - self.start.counter_m3
            )
            if passed < -1e-9:
                raise Unreadable(
                    0, f"“{cell(cells, self.volume)}” in “{shortened(self.volume.head)}” lies below the counter's figure at the start",
                    "water passed since the rinse began, or a counter with its figure at the start written beside",
                )  # fmt: skip
            if passed > MOST_WATER_M3:
                raise Unreadable(
                    0, f"“{cell(cells, self.volume)}” in “{shortened(self.volume.head)}” is more than any rinse", "water passed since the rinse began"
                )  # fmt: skip
            counter = max(passed, 0.0)
        return LoggedReading(self.moment(cells), text.replace(",", "."), self.unit, kelvin, counter)

    def moment(self, cells: Sequence[str]) -> datetime:
        """When it was read."""
        if self.counts and self.time is not None and self.start.at is not None:
            text = cell(cells, self.time)
            try:
                return self.start.at + timedelta(seconds=self.to_s.to_si(self.number(text, self.time)))
            except OverflowError as trouble:
                raise Unreadable(
                    0, f"“{shortened(text)}” in “{shortened(self.time.head)}” leads to no moment", "a time from the start of the log"
                ) from trouble  # fmt: skip
        parts = [cell(cells, column) for column in (self.date, self.time) if column is not None]
        return moment(" ".join(part for part in parts if part), self.zone)


def _numbers(heading: Heading, lines: Sequence[str]) -> Callable[[str, Column], float]:
    """How numbers of this log are read. A comma is a decimal comma where it parts no cells; a log in which every comma, or a point
    beside a comma, could part thousands is read by nobody."""
    if heading.parted_by == ",":
        return number
    places = [
        column.place for role, column in heading.columns.items() if role in (VALUE, TEMPERATURE, VOLUME)
    ]
    written = [
        cells[place].strip() for _, cells in _rows(lines, heading) for place in places if place < len(cells)
    ]
    with_comma = [text for text in written if "," in text]
    pointed = next((text for text in written if _THOUSANDS_BY_POINT.match(text)), "")
    if with_comma and pointed:
        raise Unreadable(
            heading.line,
            f"“{pointed[:20]}” and “{with_comma[0][:20]}” stand in one log, so the point may part thousands",
            "one of them throughout, and no thousands",
        )
    if with_comma and all(_THOUSANDS.match(text) for text in with_comma):
        raise Unreadable(
            heading.line,
            f"“{with_comma[0][:20]}” can be read in two ways",
            "a log with decimal points, or without thousands",
        )
    return number_with_comma
