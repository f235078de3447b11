"""A listing as CSV or XLSX: every filtered row in the order shown, not only the page shown.

    RequestConfig(request, paginate={"per_page": 40}).configure(table)
    return export.answer(request, table, "tanks") or render(request, "tanks/list.html", {"table": table})

What a person typed must stay text in a spreadsheet: a cell that starts with "=" would be run as a formula. In XLSX
such a cell is marked as text; in CSV it gets an apostrophe in front, which ``typed`` takes away again.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from html import unescape
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.html import strip_tags
from django.utils.safestring import SafeString
from django_tables2 import Table
from openpyxl import Workbook
from openpyxl.styles import Font

PARAMETER = "_export"
FORMATS = ("csv", "xlsx")
_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
_RISKY = ("=", "+", "-", "@", "\t", "\r", "'")
_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")

Cell = str | int | float | None


def answer(request: HttpRequest, table: Table, name: str) -> HttpResponse | None:
    """The file asked for by ``?_export=csv`` or ``xlsx``; None when the page itself is wanted."""
    wanted = request.GET.get(PARAMETER, "")
    if wanted not in FORMATS:
        return None
    return handed_out(as_csv(table) if wanted == "csv" else as_xlsx(table), name, wanted)


def handed_out(content: bytes, name: str, wanted: str) -> HttpResponse:
    """A file of one of ``FORMATS`` with today's day in its name."""
    response = HttpResponse(content, content_type=_TYPES[wanted])
    response["Content-Disposition"] = (
        f'attachment; filename="{name}-{timezone.localdate():%Y-%m-%d}.{wanted}"'
    )
    return response


def as_csv(table: Table) -> bytes:
    """As ``lines_as_csv``."""
    return lines_as_csv(rows(table))


def lines_as_csv(lines: Iterable[Sequence[Cell]]) -> bytes:
    """UTF-8 with a byte-order mark, so that a spreadsheet reads "Ω" and "³" right."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    for row in lines:
        writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in row])
    return text.getvalue().encode("utf-8-sig")


def as_xlsx(table: Table) -> bytes:
    """One sheet with a bold, frozen head; every text cell is marked as text."""
    return as_book({"Sheet": rows(table)})


def as_book(sheets: Mapping[str, Iterable[Sequence[Cell]]]) -> bytes:
    """A workbook of several sheets, each with a bold, frozen head; every text cell is marked as text."""
    book = Workbook()
    book.remove(book.worksheets[0])
    for title, lines in sheets.items():
        sheet = book.create_sheet(title)
        for number, row in enumerate(lines, start=1):
            for column, value in enumerate(row, start=1):
                cell = sheet.cell(row=number, column=column, value=value)
                if isinstance(value, str):
                    cell.data_type = "s"
                if number == 1:
                    cell.font = Font(bold=True)
        sheet.freeze_panes = "A2"
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def rows(table: Table) -> Iterator[list[Cell]]:
    """The head, then every row; numbers stay numbers, an unwritten cell is empty. Columns hidden on screen are in it."""
    columns = [column for column in table.columns.iterall() if not column.column.exclude_from_export]
    yield [_plain(column.header) for column in columns]
    for row in table.rows:
        yield [_plain(row.get_cell_value(column.name)) for column in columns]


def guarded(text: str) -> str:
    """Text that no spreadsheet runs: an apostrophe in front of what looks like a formula."""
    return f"'{text}" if text.startswith(_RISKY) else text


def typed(text: str) -> str:
    """The text as it was typed, read back from a CSV of ours."""
    return text[1:] if text.startswith("'") else text


def _plain(value: Any) -> Cell:
    if value is None or (isinstance(value, (int, float)) and not isinstance(value, bool)):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return timezone.localtime(value).isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    text = unescape(strip_tags(value)) if isinstance(value, SafeString) else str(value)
    return _UNPRINTABLE.sub("", text)
