"""Reference rows asked of the bench as a person types them: the number, read back with its unit, is the row's.

The engineering tests hold the functions against the same rows; here the names, units, bases and spellings are under test,
over everything that a reference row calculates.
"""

from __future__ import annotations

import math
import re

import pytest

from regenplant.bench.answers import answer, as_json
from regenplant.core.errors import OutOfRange
from tests.bench.questions import question_of
from tests.core.reference_rows import Row, rows

FILES = (
    "baume", "bed_expansion", "capacity_dose", "conversions", "density", "dilution_dosing", "heat_of_dilution",
    "limiting_conductance", "neutralisation", "pressure_drop", "pure_water", "rinse_model", "selectivity_leakage",
    "settling_fluidisation", "temperature_compensation", "water_standards", "waters_phreeqc", "verified_values",
)  # fmt: skip
BEYOND = {"heat_of_dilution-052", "neutralisation-090"}
"""Rows that are told apart, each in a test of its own below."""
CALCULATED = tuple(
    parameter
    for name in FILES
    for parameter in rows(name)
    if re.fullmatch(r"-?[\d.]+(?:e-?\d+)?", parameter.values[0].text)  # type: ignore[attr-defined]
    and question_of(parameter.values[0].quantity, "", probe=True)  # type: ignore[attr-defined]
    and parameter.values[0].id not in BEYOND  # type: ignore[attr-defined]
)
"""Read and computed rows; those from memory are left to tests that say so."""

MODEL_SPREAD = {
    "backwash bed expansion": (0.15, 5.0),
    "reagent to bring the mixture to target pH": (0.03, 1.9),
    "softener capacity": (0.01, 0.0),
    "unit": (0.001, 0.0),
}
"""Rows whose tolerance is "relative or absolute, the larger", or that state only "range"."""


def allowed(row: Row) -> float:
    for quantity, (relative, absolute) in MODEL_SPREAD.items():
        if row.quantity == quantity:
            return max(relative * abs(row.value), absolute)
    return 1e-9 if "exact" in row.tolerance else row.allowed()


def test_more_than_a_thousand_rows_are_asked() -> None:
    assert len(CALCULATED) > 1000


@pytest.mark.parametrize("row", CALCULATED)
def test_the_bench_gives_the_value_of_the_row(row: Row) -> None:
    asked = question_of(row.quantity, row.inputs)
    assert asked is not None
    row.check(as_json(answer(*asked))["value"], allowed(row))


@pytest.mark.parametrize(
    ("chemical", "strength", "temperature"),
    [("HCl", "45 wt%", "20 degC"), ("NaOH", "60 wt%", "50 degC"), ("H2SO4", "50 wt%", "90 degC")],
)
def test_what_is_beyond_the_tables_is_refused_with_the_range(
    chemical: str, strength: str, temperature: str
) -> None:
    with pytest.raises(OutOfRange, match="known here from"):
        answer("density", {"chemical": chemical, "strength": strength, "temperature": temperature})


def test_a_blend_that_boils_is_said_to_boil() -> None:
    """heat_of_dilution-052: 121.5 °C by another enthalpy balance; it lies within the uncertainty, and both must not be made."""
    given = {"chemical": "H2SO4", "stock_strength": "96 %", "strength": "50 %", "stock_temperature": "25 degC", "water_temperature": "25 degC"}  # fmt: skip
    found = as_json(answer("blend temperature", given))
    assert abs(found["value"] - 121.5) <= found["uncertainty"]["absolute"] < 9.0
    assert any("boils" in warning for warning in found["warnings"])


def test_a_rise_of_a_hundredth_is_given_to_its_digit() -> None:
    """neutralisation-090 prints 0.01 K for 15.0 mol in 20 t: 15 · 57 000 / (20 000 · 4050)."""
    row = next(p.values[0] for p in rows("neutralisation") if p.values[0].id == "neutralisation-090")  # type: ignore[attr-defined]
    asked = question_of(row.quantity, row.inputs)
    assert asked is not None
    assert as_json(answer(*asked))["value"] == pytest.approx(15.0 * 57_000 / (20_000 * 4050), rel=0.05)


# --- rinse forecasts --------------------------------------------------------------------------------------------
def curve(name: str) -> dict[str, list[float]]:
    readings = [row for row in (p.values[0] for p in rows("rinse_curves")) if row.inputs.startswith(name)]  # type: ignore[attr-defined]
    return {
        "bed_volumes": [point_of(row) for row in readings],
        "conductivity": [row.value for row in readings],
    }


def point_of(row: Row) -> float:
    import csv

    from tests.core.reference_rows import REFERENCE

    with (REFERENCE / "rinse_curves.csv").open(encoding="utf-8") as file:
        return next(float(line["BV"]) for line in csv.DictReader(file) if line["id"] == row.id)


@pytest.mark.parametrize("row", rows("rinse_forecast", quantity="^estimated tail slope"))
def test_the_slope_of_a_tail_is_found_from_its_readings(row: Row) -> None:
    found = as_json(answer("estimated tail slope", curve(row.inputs.split(";")[0])))
    row.check(found["value"], 0.02 * row.value)


@pytest.mark.parametrize("row", rows("rinse_forecast", quantity="^forecast"))
def test_a_forecast_gives_the_bed_volumes_or_never(row: Row) -> None:
    """Against a posterior worked out on its own grid; its bounds are in the notes of the file."""
    name, end, data = re.match(r"(.+); endpoint ([\d.]+) uS/cm; data to ([\d.]+) BV", row.inputs).groups()  # type: ignore[union-attr]
    found = as_json(
        answer("rinse forecast", curve(name) | {"endpoint": f"{end} uS/cm", "until": f"{data} BV"})
    )
    if row.text == "never":
        assert found["value"] is None and found["never"] and "never reached" in found["sentence"]
    else:
        row.check(found["value"], 0.03 * row.value)


@pytest.mark.parametrize("row", rows("rinse_forecast", quantity="^true"))
def test_the_band_of_a_forecast_holds_the_truth(row: Row) -> None:
    """Six curves of known parameters; one of them may lie outside a band of 9 in 10 by a hundredth."""
    name, end = re.match(r"(.+); endpoint ([\d.]+) uS/cm", row.inputs).groups()  # type: ignore[union-attr]
    until = next(
        p.values[0].inputs
        for p in rows("rinse_forecast", quantity="^forecast")
        if p.values[0].inputs.startswith(name)
    )  # type: ignore[attr-defined]
    data = re.search(r"data to ([\d.]+)", until)
    assert data
    found = answer("rinse forecast", curve(name) | {"endpoint": f"{end} uS/cm", "until": f"{data[1]} BV"})
    early = found.answer.others.get("early_5_percent")
    late = found.answer.others.get("late_95_percent")
    truth = math.inf if row.text == "never" else row.value
    low = early.value if early else math.inf
    high = late.value if late else math.inf
    assert low - 0.01 * truth <= truth <= high * 1.01 or (math.isinf(truth) and math.isinf(high))
