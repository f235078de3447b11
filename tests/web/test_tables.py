"""The columns and exports that every listing shares."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import django_tables2 as tables
import pytest
from django.test import RequestFactory
from django.utils import timezone
from django.utils.html import format_html
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from regenplant.web import active_units
from regenplant.web.tables import export
from regenplant.web.tables.columns import (
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
    StateColumn,
)

MOMENT = datetime(2026, 3, 11, 19, 5, 30, tzinfo=UTC)


class Sample(tables.Table):
    code = CodeColumn()
    volume = QuantityColumn("resin_volume", verbose_name="Resin")
    ph = QuantityColumn("ph", verbose_name="pH", wide_only=True)
    state = StateColumn()
    by = PersonColumn(verbose_name="By")
    at = LocalTimeColumn()
    on = DayColumn()
    count = NumberColumn()
    note = HouseColumn()
    secret = HouseColumn(exclude_from_export=True)
    hidden = HouseColumn(visible=False)


def row(**changed):
    return {
        "code": "T-1", "volume": 0.102, "ph": 7.2, "state": "held", "by": "J. Fenn", "at": MOMENT, "on": date(2026, 3, 11),
        "count": 3, "note": "ok", "secret": "s", "hidden": "h",
    } | changed  # fmt: skip


@pytest.fixture(autouse=True)
def plant_zone():
    with timezone.override(ZoneInfo("America/Chicago")):
        yield
    active_units.deactivate()


def cells(table, name):
    return [bound.get_cell(name) for bound in table.rows]


def test_a_quantity_is_shown_in_the_readers_unit_with_the_unit_in_the_head():
    table = Sample([row(), row(volume=None)])
    assert (table.columns["volume"].header, cells(table, "volume")) == ("Resin, L", ["102.0", "–"])
    active_units.activate("us")
    assert (table.columns["volume"].header, cells(table, "volume")) == ("Resin, ft³", ["3.60", "–"])
    assert table.columns["ph"].header == "pH"


def test_columns_carry_our_classes():
    columns = Sample([row()]).columns
    classes = {
        (name, part): set(columns[name].attrs[part]["class"].split())
        for name in ("volume", "ph", "by")
        for part in ("th", "td")
    }
    assert "num" in classes["volume", "td"] and "wo" not in classes["volume", "td"]
    assert {"num", "wo"} <= classes["ph", "th"] and {"num", "wo"} <= classes["ph", "td"]
    assert {"hand", "nb"} <= classes["by", "td"] and "hand" not in classes["by", "th"]


def test_a_state_is_a_shape_and_a_word_and_an_unknown_one_is_a_defect():
    assert cells(Sample([row()]), "state")[0].count("<svg") == 1
    assert "Awaiting QC" in cells(Sample([row(state="awaiting_qc")]), "state")[0]
    with pytest.raises(KeyError, match="no mark for the state"):
        cells(Sample([row(state="dreaming")]), "state")


def test_a_time_is_the_plants_and_machine_readable():
    assert cells(Sample([row()]), "at") == [
        '<time datetime="2026-03-11T14:05:30-05:00">2026-03-11 14:05</time>'
    ]
    assert cells(Sample([row(on=MOMENT)]), "on") == ["2026-03-11"]


def test_text_is_escaped():
    table = Sample([row(note="<b>bold</b>")])
    table.request = RequestFactory().get("/")
    assert "<b>bold" not in str(format_html("{}", cells(table, "note")[0]))


# --- files --------------------------------------------------------------------------------------------------------------
def test_the_file_has_every_row_the_hidden_columns_and_plain_values():
    head, first, second = export.rows(Sample([row(), row(volume=None, at=None, note=None)]))
    assert head == ["Code", "Resin, L", "pH", "State", "By", "At", "On", "Count", "Note", "Hidden"]
    assert first == [
        "T-1",
        102.0,
        7.2,
        "Held",
        "J. Fenn",
        "2026-03-11T14:05:30-05:00",
        "2026-03-11",
        3,
        "ok",
        "h",
    ]
    assert (second[1], second[5], second[8]) == (None, None, None)


def test_a_number_in_a_file_carries_no_noise_of_the_conversion():
    active_units.activate("us")
    rows = list(
        export.rows(Sample([row(volume=0.028316846592)]))
    )  # one cubic foot, exact by definition of the foot
    assert rows[1][1] == 1.0


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "'quoted", "=cmd|' /C calc'!A0"])
def test_risky_text_gets_an_apostrophe_and_loses_it_again(text):
    assert export.guarded(text) == f"'{text}"
    assert export.typed(export.guarded(text)) == text


@given(text=st.text(max_size=40))
def test_every_text_comes_back_as_it_was_and_none_starts_a_formula(text):
    guarded = export.guarded(text)
    assert export.typed(guarded) == text
    assert not guarded.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_csv_reads_back_with_its_units_and_quotes():
    content = export.as_csv(Sample([row(note='a "b", c\nd', by="Ω³")])).decode("utf-8-sig")
    (read,) = csv.DictReader(io.StringIO(content, newline=""))
    assert (read["Note"], read["By"], read["Resin, L"]) == ('a "b", c\nd', "Ω³", "102.0")


def test_xlsx_keeps_numbers_as_numbers_and_formulas_as_text():
    book = load_workbook(io.BytesIO(export.as_xlsx(Sample([row(note="=1+1", code="T-1\x07")]))))
    sheet = book.active
    found = {sheet.cell(1, column).value: sheet.cell(2, column) for column in range(1, 11)}
    assert (found["Resin, L"].value, found["Resin, L"].data_type) == (102, "n")
    assert (found["Note"].value, found["Note"].data_type) == ("=1+1", "s")
    assert found["Code"].value == "T-1"
    assert sheet.freeze_panes == "A2"


@pytest.mark.parametrize(
    ("wanted", "kind"), [("csv", "text/csv"), ("xlsx", "spreadsheetml"), ("exe", None), ("", None)]
)
def test_only_known_formats_are_answered(wanted, kind):
    response = export.answer(RequestFactory().get("/", {"_export": wanted}), Sample([row()]), "tanks")
    if kind is None:
        assert response is None
    else:
        assert response is not None
        assert kind in response["Content-Type"] and 'filename="tanks-' in response["Content-Disposition"]
