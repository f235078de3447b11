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
from datetime import UTC, datetime, timedelta, tzinfo

from regenplant import units
from regenplant.batches.packets import MOST_READINGS, MOST_WATER_M3, LoggedReading
from regenplant.core.errors import DomainError, RecordRefused

HEADING_WITHIN = 40
"""Loggers write a few lines about themselves first."""
MOST_NAMED = 20
"""So many lines are named; how many more there are is said."""
LONGEST_CELL = 40
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
ALLOWED_HEADING = "a heading such as: time; conductivity (µS/cm); temperature (°C). A column of water passed (L) may stand beside"
_HEAD = re.compile(r"^\s*(?P<name>[^\[\]()]*?)\s*(?:[\[(]\s*(?P<unit>[^\[\]]*?)\s*[\])])?\s*$")
_DAY_FIRST = re.compile(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ T]+(.*))?$")
_SLASHED = re.compile(r"^(\d{4})[/.](\d{1,2})[/.](\d{1,2})(?:[ T]+(.*))?$")
_THOUSANDS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}$")
_THOUSANDS_BY_POINT = re.compile(r"^[+-]?[1-9]\d{0,2}(\.\d{3})+$")
MOMENTS_ALLOWED = "2026-11-26 14:02:05, with or without an offset such as +01:00, or 26.11.2026 14:02:05"


@dataclass(frozen=True, slots=True)
class LineRefused:
    """One line that cannot be read. ``line`` 0 stands for the whole text."""

    line: int
    what: str
    """What stands there."""
    allowed: str

    @property
    def sentence(self) -> str:
        where = f"Line {self.line}: " if self.line else ""
        return f"{where}{self.what}. Allowed is {self.allowed}."


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
    except _Unreadable as refusal:
        return LogRead(refused=(refusal.line,))


class _Unreadable(Exception):
    def __init__(self, line: int, what: str, allowed: str):
        super().__init__(what)
        self.line = LineRefused(line, what, allowed)


# --- the whole text ---------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Column:
    place: int
    head: str
    unit: str


@dataclass(frozen=True, slots=True)
class _Heading:
    line: int
    """Number of its line."""
    parted_by: str
    columns: dict[str, _Column]
    value_kind: str
    width: int
    """Cells of its line."""


def _read(text: str, zone: tzinfo, start: Start) -> LogRead:
    if "\x00" in text:
        raise _Unreadable(
            0, "It holds characters that no text has", "plain text, as the logger exports it as CSV"
        )
    lines = text.lstrip("\ufeff").splitlines()
    heading = _heading(lines)
    reader = _Reader(heading, zone, start, lines)
    readings: list[LoggedReading] = []
    refused: list[LineRefused] = []
    without_value = more = 0
    for number, cells in _rows(lines, heading):
        try:
            reading = reader.reading(cells)
        except (_Unreadable, DomainError) as refusal:
            if len(refused) < MOST_NAMED:
                refused.append(_of_line(number, refusal))
            else:
                more += 1
            continue
        if reading is None:
            without_value += 1
        else:
            readings.append(reading)
        if len(readings) > MOST_READINGS:
            raise _Unreadable(
                number, f"More than {MOST_READINGS:,} readings", "a log split into parts of fewer"
            )
    if not readings and not refused:
        raise _Unreadable(0, "No reading stands under the heading", "a line for each reading under it")
    heads = tuple(column.head for column in heading.columns.values())
    common = {"without_value": without_value, "unit_text": heading.columns[VALUE].unit, "heads": heads}
    if refused:
        return LogRead((), tuple(refused), more, is_counted_from_start=reader.counts, **common)  # type: ignore[arg-type]
    return LogRead(tuple(readings), is_counted_from_start=reader.counts, **common)  # type: ignore[arg-type]


def _of_line(number: int, refusal: _Unreadable | DomainError) -> LineRefused:
    if isinstance(refusal, _Unreadable):
        return LineRefused(number, refusal.line.what, refusal.line.allowed)
    return LineRefused(number, refusal.message.rstrip("."), "a figure that can be")


def _rows(lines: Sequence[str], heading: _Heading) -> Iterator[tuple[int, list[str]]]:
    """(number of the line, its cells) of what stands under the heading; empty lines and remarks are passed over."""
    parted = csv.reader(lines[heading.line :], delimiter=heading.parted_by)
    while True:
        before = parted.line_num
        try:
            cells = next(parted)
        except StopIteration:
            return
        except csv.Error as trouble:
            raise _Unreadable(
                heading.line + parted.line_num, f"The line cannot be parted ({trouble})", "plain cells"
            ) from trouble
        if parted.line_num > before + 1:
            raise _Unreadable(
                heading.line + before + 1, "A quotation mark opens there and does not close on its line", "one line for each reading"
            )  # fmt: skip
        if cells and any(cells) and not cells[0].lstrip().startswith("#"):
            yield heading.line + parted.line_num, cells


def _heading(lines: Sequence[str]) -> _Heading:
    """The first line that names a time and a conductivity or resistivity."""
    seen = ""
    for number, line in enumerate(lines[:HEADING_WITHIN], start=1):
        if not line.strip():
            continue
        if len(line) > csv.field_size_limit():
            raise _Unreadable(
                number, "It is longer than any line of a log", "plain text, as the logger exports it as CSV"
            )
        seen = seen or line.strip()
        for parted_by in PARTED_BY:
            cells = next(csv.reader([line], delimiter=parted_by), [])
            columns = _columns_of(cells)
            if VALUE in columns and (TIME in columns or DATE in columns):
                kind = _value_kind(columns[VALUE])
                return _checked_heading(_Heading(number, parted_by, columns, kind, len(cells)))
    if not seen:
        raise _Unreadable(0, "Nothing is written", ALLOWED_HEADING)
    raise _Unreadable(1, f"No heading is found; it begins “{_short(seen)}”", ALLOWED_HEADING)


def _columns_of(cells: Sequence[str]) -> dict[str, _Column]:
    found: dict[str, _Column] = {}
    for place, cell in enumerate(cells):
        match = _HEAD.match(cell)
        if match is None:
            continue
        role, unit = _role(match["name"], match["unit"] or "")
        if role and role not in found:
            found[role] = _Column(place, cell.strip(), unit)
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
                if rest and _is_unit(role, rest):
                    return role, rest
    return "", ""


_KIND_OF = {TIME: "duration", TEMPERATURE: "temperature", VOLUME: "liquid_volume"}


def _is_unit(role: str, unit: str) -> bool:
    if role == DATE:
        return False
    try:
        units.scale_of(unit, _KIND_OF.get(role, "conductivity"))
    except DomainError:
        return False
    return True


def _value_kind(column: _Column) -> str:
    return "resistivity" if column.head.lower().startswith(("res", "specific res")) else "conductivity"


def _checked_heading(heading: _Heading) -> _Heading:
    value, temperature = heading.columns[VALUE], heading.columns.get(TEMPERATURE)
    if temperature is None:
        raise _Unreadable(
            heading.line,
            "No column holds the water temperature",
            "a column such as temperature (°C) in every log",
        )
    for column, kind, example in (
        (value, "conductivity", "µS/cm or MΩ·cm"),
        (temperature, "temperature", "°C or °F"),
        (heading.columns.get(VOLUME), "liquid_volume", "L, m³ or gal"),
    ):
        if column is None:
            continue
        if not column.unit:
            raise _Unreadable(
                heading.line,
                f"“{_short(column.head)}” names no unit",
                f"the unit in brackets behind it, such as {example}",
            )
        if not _is_unit(
            VALUE if kind == "conductivity" else {"temperature": TEMPERATURE}.get(kind, VOLUME), column.unit
        ):
            raise _Unreadable(
                heading.line, f"“{_short(column.unit)}” is no unit of “{_short(column.head)}”", example
            )
    is_resistivity = units.scale_of(value.unit, "conductivity").is_reciprocal
    if is_resistivity != (heading.value_kind == "resistivity"):
        raise _Unreadable(
            heading.line,
            f"“{_short(value.head)}” names one quantity and the unit of another",
            "conductivity in µS/cm or mS/m, resistivity in MΩ·cm or kΩ·cm",
        )
    return heading


# --- one line -----------------------------------------------------------------------------------------------------------
class _Reader:
    """Reads the lines under one heading. Made once, so that a hundred thousand lines take no longer than they must."""

    def __init__(self, heading: _Heading, zone: tzinfo, start: Start, lines: Sequence[str]):
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
                raise _Unreadable(
                    heading.line, f"“{_short(self.time.head)}” counts from a start",
                    "a log with moments, or the moment the log started, written beside it",
                )  # fmt: skip
        self.width = heading.width if heading.parted_by == "," else 0
        self.number = _numbers(heading, lines)

    @staticmethod
    def _scale_of_time(heading: _Heading, column: _Column) -> units.Scale:
        try:
            return units.scale_of(column.unit, "duration")
        except DomainError as refusal:
            raise _Unreadable(
                heading.line, f"“{_short(column.unit)}” is no unit of time", "s, min or h"
            ) from refusal

    def reading(self, cells: Sequence[str]) -> LoggedReading | None:
        """The reading of one line; None where its conductivity is left empty."""
        if 0 < self.width < len(cells) and any(cell.strip() for cell in cells[self.width :]):
            raise _Unreadable(
                0, f"It has {len(cells)} cells, the heading {self.width}", "decimal points where commas part the cells"
            )  # fmt: skip
        text = _cell(cells, self.value)
        if not text:
            return None
        value = self.number(text, self.value)
        if self.to_si.is_reciprocal and value == 0.0:
            raise _Unreadable(0, f"A resistivity of “{text}”", "a resistivity above zero")
        if not math.isfinite(self.to_si.to_si(value)):
            raise _Unreadable(0, f"“{_short(text)}” is beyond every meter", "a figure that a cell shows")
        celsius = _cell(cells, self.temperature)
        kelvin = self.to_kelvin.to_si(self.number(celsius, self.temperature))
        counter = None
        if self.volume is not None and self.to_m3 is not None:
            passed = (
                self.to_m3.to_si(self.number(_cell(cells, self.volume), self.volume)) - self.start.counter_m3
            )
            if passed < -1e-9:
                raise _Unreadable(
                    0, f"“{_cell(cells, self.volume)}” in “{_short(self.volume.head)}” lies below the counter's figure at the start",
                    "water passed since the rinse began, or a counter with its figure at the start written beside",
                )  # fmt: skip
            if passed > MOST_WATER_M3:
                raise _Unreadable(
                    0, f"“{_cell(cells, self.volume)}” in “{_short(self.volume.head)}” is more than any rinse", "water passed since the rinse began"
                )  # fmt: skip
            counter = max(passed, 0.0)
        return LoggedReading(self.moment(cells), text.replace(",", "."), self.unit, kelvin, counter)

    def moment(self, cells: Sequence[str]) -> datetime:
        """When it was read."""
        if self.counts and self.time is not None and self.start.at is not None:
            text = _cell(cells, self.time)
            try:
                return self.start.at + timedelta(seconds=self.to_s.to_si(self.number(text, self.time)))
            except OverflowError as trouble:
                raise _Unreadable(
                    0, f"“{_short(text)}” in “{_short(self.time.head)}” leads to no moment", "a time from the start of the log"
                ) from trouble  # fmt: skip
        parts = [_cell(cells, column) for column in (self.date, self.time) if column is not None]
        return _moment(" ".join(part for part in parts if part), self.zone)


def _cell(cells: Sequence[str], column: _Column) -> str:
    if column.place >= len(cells):
        raise _Unreadable(
            0, f"The line ends before “{_short(column.head)}”", "a cell for every column of the heading"
        )
    text = cells[column.place].strip()
    if len(text) > LONGEST_CELL:
        raise _Unreadable(
            0,
            f"“{_short(text)}” is too long for “{_short(column.head)}”",
            f"at most {LONGEST_CELL} characters",
        )
    return text


def _numbers(heading: _Heading, lines: Sequence[str]) -> Callable[[str, _Column], float]:
    """How numbers of this log are read. A comma is a decimal comma where it parts no cells; a log in which every comma, or a point
    beside a comma, could part thousands is read by nobody."""
    if heading.parted_by == ",":
        return _number
    places = [
        column.place for role, column in heading.columns.items() if role in (VALUE, TEMPERATURE, VOLUME)
    ]
    written = [
        cells[place].strip() for _, cells in _rows(lines, heading) for place in places if place < len(cells)
    ]
    with_comma = [text for text in written if "," in text]
    pointed = next((text for text in written if _THOUSANDS_BY_POINT.match(text)), "")
    if with_comma and pointed:
        raise _Unreadable(
            heading.line,
            f"“{pointed[:20]}” and “{with_comma[0][:20]}” stand in one log, so the point may part thousands",
            "one of them throughout, and no thousands",
        )
    if with_comma and all(_THOUSANDS.match(text) for text in with_comma):
        raise _Unreadable(
            heading.line,
            f"“{with_comma[0][:20]}” can be read in two ways",
            "a log with decimal points, or without thousands",
        )
    return _number_with_comma


def _number(text: str, column: _Column) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if value != value or value in (float("inf"), float("-inf")) or "_" in text:
        raise _Unreadable(
            0, f"“{_short(text)}” in “{_short(column.head)}” is no number", "a number such as 8.42"
        )
    return value


def _number_with_comma(text: str, column: _Column) -> float:
    if "," in text and "." in text:
        raise _Unreadable(
            0, f"“{_short(text)}” in “{_short(column.head)}” holds a point and a comma", "one of them"
        )
    return _number(text.replace(",", ".", 1), column)


# --- moments --------------------------------------------------------------------------------------------------------------
def _moment(text: str, zone: tzinfo) -> datetime:
    """A moment with an offset, or as the plant's clocks showed it."""
    found = _parsed(text)
    if found is None or not 2000 <= found.year <= 2200:
        raise _Unreadable(0, f"“{_short(text)}” is no moment", MOMENTS_ALLOWED)
    if found.tzinfo is not None:
        return found.astimezone(UTC)
    local = found.replace(tzinfo=zone)
    if local.utcoffset() != local.replace(fold=1).utcoffset():
        raise _Unreadable(
            0,
            f"“{_short(text)}” is a time that the clocks showed twice, or never, that night",
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


def _short(text: str) -> str:
    return text if len(text) <= 30 else f"{text[:29]}…"


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
