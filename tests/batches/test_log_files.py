"""Loggers' texts: columns in any order, units in the heading, times as moments or counted; every line that cannot be read is named."""

from __future__ import annotations

from datetime import UTC, datetime
from time import perf_counter
from zoneinfo import ZoneInfo

import pytest

from regenplant import units
from regenplant.batches.log_files import LogRead, Start, read_log, text_of
from regenplant.core.errors import RecordRefused

ZONE = ZoneInfo("Europe/Berlin")
PLAIN = "time;conductivity (µS/cm);temperature (°C)\n2026-11-26 14:00:00;412,5;18,2\n2026-11-26 14:01:00;380,1;18,3\n"


def read(text: str, start: Start | None = None) -> LogRead:
    return read_log(text, ZONE, start)


def seen(text: str, start: Start | None = None) -> list[tuple[str, str, float, float]]:
    """(moment in UTC, value, kelvin, m³) of each reading; nothing was refused."""
    found = read(text, start)
    assert found.refused == ()
    return [
        (r.at.astimezone(UTC).strftime("%d %H:%M:%S"), r.value_text, round(r.temperature_kelvin, 2), r.totalizer_m3 or 0.0)
        for r in found.readings
    ]  # fmt: skip


def refused(text: str, start: Start | None = None) -> list[str]:
    """The sentences; nothing was read then."""
    found = read(text, start)
    assert found.readings == ()
    return [line.sentence for line in found.refused]


def test_a_log_with_decimal_commas_at_the_plants_time() -> None:
    assert seen(PLAIN) == [("26 13:00:00", "412.5", 291.35, 0.0), ("26 13:01:00", "380.1", 291.45, 0.0)]


@pytest.mark.parametrize("parted_by", [";", "\t", ","])
def test_columns_stand_in_any_order_parted_in_three_ways(parted_by: str) -> None:
    lines = [
        ["Temp [°F]", "note", "Resistivity [MΩ·cm]", "Timestamp"],
        ["77.0", "ok", "8.42", "2026-11-26T14:00:00+01:00"],
    ]
    assert seen("\n".join(parted_by.join(line) for line in lines)) == [("26 13:00:00", "8.42", 298.15, 0.0)]


def test_a_unit_may_stand_behind_the_name_without_brackets() -> None:
    found = read("Time;Conductivity mS/cm;Temperature °C\n2026-11-26 14:00;1.2;20\n")
    assert found.unit_text == "mS/cm" and len(found.readings) == 1


def test_day_and_time_in_columns_of_their_own_and_a_few_words_before() -> None:
    text = "Logger 7\nserial 12\n\nDate;Time;Cond (uS/cm);Temp (C)\n26.11.2026;14:00:05;9.1;20\n# a remark\n\n26.11.2026;14:00:10;9.0;20\n"
    assert [row[0] for row in seen(text)] == ["26 13:00:05", "26 13:00:10"]


@pytest.mark.parametrize("unit, first", [("s", "90"), ("min", "1.5")])
def test_times_counted_from_a_start(unit: str, first: str) -> None:
    text = f"elapsed ({unit}),conductivity (uS/cm),temperature (C)\n{first},9.1,20\n"
    start = Start(datetime(2026, 11, 26, 14, 0, tzinfo=ZONE))
    assert [row[0] for row in seen(text, start)] == ["26 13:01:30"]
    assert refused(text) == [f"Line 1: “elapsed ({unit})” counts from a start. Allowed is a log with moments, or the moment the log started, written beside it."]  # fmt: skip


def test_a_counter_of_water_is_taken_from_its_figure_at_the_start() -> None:
    text = "time,totalizer (L),conductivity (uS/cm),temperature (C)\n2026-11-26T14:00:00Z,12350,9.1,20\n"
    assert seen(text, Start(counter_m3=12.0))[0][3] == pytest.approx(0.35)
    assert "lies below the counter's figure at the start" in refused(text, Start(counter_m3=13.0))[0]


def test_a_line_without_a_figure_holds_no_reading() -> None:
    found = read(PLAIN + "2026-11-26 14:02:00;;18,3\n")
    assert len(found.readings) == 2 and found.without_value == 1


@pytest.mark.parametrize(
    "line, words",
    [
        ("2026-11-26 14:02:00;OL;18,3", "Line 4: “OL” in “conductivity (µS/cm)” is no number. Allowed is a number such as 8.42."),
        ("2026-11-26 14:02:00;9,1;", "Line 4: “” in “temperature (°C)” is no number"),
        ("2026-11-26 14:02:00;9,1", "Line 4: The line ends before “temperature (°C)”"),
        ("yesterday;9,1;18", "Line 4: “yesterday” is no moment. Allowed is 2026-11-26 14:02:05"),
        ("26/11/2026 14:02;9,1;18", "Line 4: “26/11/2026 14:02” is no moment"),
        ("2026-11-26;9,1;18", "Line 4: “2026-11-26” is no moment"),
        ("2026-13-26 14:02;9,1;18", "Line 4: “2026-13-26 14:02” is no moment"),
        ("2026-11-26 14:02;1.234,5;18", "Line 4: “1.234,5” in “conductivity (µS/cm)” holds a point and a comma"),
        ("2026-11-26 14:02;1_000;18", "Line 4: “1_000” in “conductivity (µS/cm)” is no number"),
        ("2026-11-26 14:02;nan;18", "Line 4: “nan” in “conductivity (µS/cm)” is no number"),
        ("2026-11-26 14:02;" + "9" * 60 + ";18", "is too long for"),
        ("2026-10-25 02:30;9,1;18", "is a time that the clocks showed twice, or never, that night"),
        ("2026-03-29 02:30;9,1;18", "is a time that the clocks showed twice, or never, that night"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_read_is_named_and_nothing_is_taken(line: str, words: str) -> None:
    (sentence,) = refused(PLAIN + line + "\n")
    assert words in sentence


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "Nothing is written. Allowed is a heading such as"),
        ("a;b;c\n1;2;3\n", "No heading is found; it begins “a;b;c”"),
        ("time;conductivity (µS/cm)\n", "No column holds the water temperature"),
        ("time;conductivity;temperature (°C)\n", "“conductivity” names no unit"),
        ("time;conductivity (kg);temperature (°C)\n", "“kg” is no unit of “conductivity (kg)”"),
        ("time;conductivity (MΩ·cm);temperature (°C)\n", "names one quantity and the unit of another"),
        ("time;resistivity (µS/cm);temperature (°C)\n", "names one quantity and the unit of another"),
        ("time (kg);conductivity (µS/cm);temperature (°C)\n1;2;3\n", "“kg” is no unit of time"),
        ("time;conductivity (µS/cm);temperature (°C)\n", "No reading stands under the heading"),
        ("time;conductivity (µS/cm);temperature (°C)\n2026-11-26 14:00;1,416;20\n", "“1,416” can be read in two ways"),
        ("time\x00;conductivity (µS/cm)", "It holds characters that no text has"),
        ("time;resistivity (MΩ·cm);temperature (°C)\n2026-11-26 14:00;0;20\n", "A resistivity of “0”"),
    ],
)  # fmt: skip
def test_a_text_that_is_no_log_is_refused_with_what_is_allowed(text: str, words: str) -> None:
    assert words in refused(text)[0]


def test_twenty_lines_are_named_and_the_rest_is_counted() -> None:
    found = read(PLAIN + "2026-11-26 14:02:00;OL;18\n" * 50)
    assert len(found.refused) == 20 and found.more_refused == 30 and found.readings == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_files_come_in_the_tables_that_loggers_write(encoding: str) -> None:
    assert len(read(text_of(PLAIN.encode(encoding))).readings) == 2


def test_a_file_that_is_no_text_is_refused() -> None:
    with pytest.raises(RecordRefused, match="no plain text"):
        text_of(b"\x89PNG\x81\x8d\x8f\x90\x9d")


@pytest.mark.parametrize(
    "unit, value", [("µS/cm", 8.42e-4), ("mS/m", 8.42e-3), ("MΩ·cm", 1.0 / 84_200.0), ("kohm-cm", 1.0 / 84.2), ("S/m", 8.42)]
)  # fmt: skip
def test_a_column_scales_as_each_of_its_figures_would(unit: str, value: float) -> None:
    """Held against the reading of one figure, and worked out by hand: 1 µS/cm is 1e-4 S/m, 1 MΩ·cm is 10 000 Ω·m."""
    assert units.scale_of(unit, "conductivity").to_si(8.42) == pytest.approx(value, rel=1e-12)
    assert units.understand(f"8.42 {unit}", "conductivity").value == pytest.approx(value, rel=1e-12)


def test_a_hundred_thousand_lines_are_read_in_seconds() -> None:
    rows = (
        f"2026-11-26 {14 + s // 3600 % 8:02}:{s // 60 % 60:02}:{s % 60:02};{400 - s / 300:.2f};{18 + s % 7 / 10:.1f}"
        for s in range(100_000)
    )
    text = PLAIN.splitlines()[0] + "\n" + "\n".join(rows)
    began = perf_counter()
    assert len(read(text).readings) == 100_000
    assert perf_counter() - began < 10.0
