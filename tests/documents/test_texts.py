"""Numbers and formulas as they stand on paper."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.documents.texts import (
    both,
    clock_time,
    grouped,
    limit_words,
    limit_words_other,
    moment,
    notation,
    working_text,
)

THIN, HARD = "\u202f", "\u00a0"
LITRES_PER_US_GALLON = 3.785411784
"""231 cubic inches of 2.54 cm: the definition of the US gallon."""


def text_of(spans) -> str:
    return "".join(span.text for span in spans)


def test_both_unit_systems_stand_beside_each_other():
    litres = 2711.0
    gallons = litres / LITRES_PER_US_GALLON
    assert both(litres / 1000, "liquid_volume", "metric") == f"2{THIN}711{HARD}L · {gallons:.1f}{HARD}US gal"
    assert both(litres / 1000, "liquid_volume", "us") == f"{gallons:.1f}{HARD}US gal · 2{THIN}711{HARD}L"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (60, 73, f"60 to 73{HARD}L/min"),
        (60, None, f"at least 60{HARD}L/min"),
        (None, 73, f"at most 73{HARD}L/min"),
        (None, None, ""),
    ],
)
def test_limits_in_words(low, high, words):
    per_minute = 1 / 60000
    scaled = [None if value is None else value * per_minute for value in (low, high)]
    assert limit_words(*scaled, "flow", "metric") == words


def test_limits_in_the_other_units_are_the_same_limits():
    words = limit_words_other(60 / 60000, 73 / 60000, "flow", "metric")
    assert words == f"{60 / LITRES_PER_US_GALLON:.1f} to {73 / LITRES_PER_US_GALLON:.1f}{HARD}US gpm"


def test_a_highest_conductivity_is_a_lowest_resistivity():
    # 10 µS/cm is 1/10 MΩ·cm by definition
    assert limit_words_other(None, 10e-4, "conductivity", "metric") == f"at least 0.1{HARD}MΩ·cm"


def test_times_for_people():
    assert clock_time(34 * 60) == "34 min"
    assert clock_time(65 * 60) == "1 h 05 min"
    assert moment(datetime(2026, 3, 11, 14, 5, 30, tzinfo=UTC)) == "2026-03-11 14:05+00:00"
    assert (
        moment(datetime(2026, 3, 11, 14, 5, tzinfo=timezone(timedelta(hours=-6)))) == "2026-03-11 14:05-06:00"
    )


def test_a_digest_is_read_in_groups_of_four():
    assert grouped("5be091fd0123456789", 3) == "5be0 91fd 0123"


def test_indices_are_lowered_and_exponents_raised():
    spans = notation("V_r · e^(−t/τ) · d^2")
    assert text_of(spans) == "Vr · e−t/τ · d2"
    shifts = {span.text: span.rise for span in spans}
    assert shifts["r"] < 0 < shifts["−t/τ"]
    assert shifts["2"] > 0


def test_a_working_shows_formula_figures_result_and_source():
    mass = Estimate(
        "m", "acid as 100 %", 169.9, "kg", "mass", "q · V_r",
        (Input("q", "dose", 120.0, "kg/m^3", "dose"), Input("V_r", "resin volume, settled", 1.416, "m^3", "resin_volume")),
        "dose times volume", "recipe", "all doses", (), 0.02,
    )  # fmt: skip
    working = working_text(mass, "metric")
    assert text_of(working.formula) == "q · Vr"
    assert text_of(working.figures) == f"120{HARD}g/L × 1{THIN}416{HARD}L"
    assert working.result == f"169.9{HARD}kg"
    # 1 lb is 0.45359237 kg by definition
    assert working.result_other == f"{169.9 / 0.45359237:.1f}{HARD}lb"
    assert [name for _, name, _ in working.given] == ["dose", "resin volume, settled"]
    assert working.source and working.uncertainty == f"about ±2.0{HARD}%"


def test_a_negative_or_raised_figure_stands_in_brackets():
    square = Estimate("A", "area", 1.0, "m^2", "area", "x^2 + y", (Input("x", "x", 2.0, "m", "length"), Input("y", "y", -3.0, "m", "length")), "sum", "geometry")  # fmt: skip
    assert text_of(working_text(square, "metric").figures) == f"(2{HARD}m)2 + (−3{HARD}m)"
