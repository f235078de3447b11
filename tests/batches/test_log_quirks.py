"""Logs that look right and could be read wrongly: each is read as it was meant, or refused with what is allowed. Never guessed."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from regenplant.batches.log_files import Start
from tests.batches.test_log_files import PLAIN, read, refused, seen

START = Start(datetime(2026, 11, 26, 14, 0, tzinfo=UTC))
COMMAS = "time,conductivity (µS/cm),temperature (°C)\n"
COUNTED = "elapsed (s);conductivity (µS/cm);temperature (°C)\n"


def test_decimal_commas_in_a_log_parted_by_commas_are_no_columns() -> None:
    """8,42 at 25,1 °C would be read as 8 µS/cm at 42 °C."""
    (sentence,) = refused(COMMAS + "2026-11-26T14:00:00Z,8,42,25,1\n")
    assert "Line 2: It has 5 cells, the heading 3" in sentence and "decimal points" in sentence


def test_empty_cells_behind_the_last_column_are_nothing() -> None:
    assert len(seen(COMMAS + "2026-11-26T14:00:00Z,8.42,25.1,,\n")) == 1


def test_points_that_part_thousands_beside_decimal_commas_are_refused() -> None:
    """1.234 beside 25,1 is a thousand in the countries that write so; read as a point it would be a good rinse."""
    (sentence,) = refused(PLAIN + "2026-11-26 14:02:00;1.234;18,3\n")
    assert "“1.234” and “412,5” stand in one log" in sentence
    assert seen(PLAIN.replace(",", ".")) == seen(PLAIN)


@pytest.mark.parametrize("count", ["1e12", "1e15", "1e300", "-1e12"])
def test_a_time_counted_beyond_every_calendar_is_named(count: str) -> None:
    assert refused(COUNTED + f"{count};8;25\n", START) == [
        f"Line 2: “{count}” in “elapsed (s)” leads to no moment. Allowed is a time from the start of the log."
    ]


def test_a_line_longer_than_any_log_has_is_refused() -> None:
    assert "longer than any line of a log" in refused("x" * 140_000 + "\n" + PLAIN)[0]
    assert "cannot be parted" in refused(PLAIN + "2026-11-26 14:02:00;8,1;" + "9" * 140_000)[0]


def test_a_quotation_mark_left_open_swallows_no_lines() -> None:
    """All lines behind it would stand in one remark, and their readings would be gone without a word."""
    heading = "time;conductivity (µS/cm);temperature (°C);remark\n"
    remarks = ("ok", '"air', "ok", "ok")
    rows = "".join(f"2026-11-26 14:0{n}:00;8,{n};18,3;{remark}\n" for n, remark in enumerate(remarks))
    (sentence,) = refused(heading + rows)
    assert "Line 3: A quotation mark opens there and does not close on its line" in sentence


def test_headings_as_loggers_write_them() -> None:
    for heading in ("Date/Time;Cond. [uS/cm];Temp. [°C]", "DATE-TIME;COND (µS/cm);TEMP (°C)"):
        assert len(read(f"{heading}\n2026-11-26 14:00:00;8,4;20,1\n").readings) == 1


@pytest.mark.parametrize(
    "heading, line, words",
    [
        ("resistivity (MΩ·cm);temperature (°C);volume (L)", "1e-320;18;5", "“1e-320” is beyond every meter"),
        ("conductivity (S/cm);temperature (°C);volume (L)", "1e308;18;5", "“1e308” is beyond every meter"),
        ("conductivity (µS/cm);temperature (°C);volume (m³)", "8;18;1e308", "is more than any rinse"),
    ],
)
def test_a_figure_beyond_every_meter_is_named(heading: str, line: str, words: str) -> None:
    """As infinity it would end the act that keeps it."""
    (sentence,) = refused(f"time;{heading}\n2026-11-26 14:00;{line}\n")
    assert words in sentence
