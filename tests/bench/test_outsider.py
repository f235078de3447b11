"""What somebody from outside relies on: no number is made up beyond a table, each says how far it is off, and the list is true."""

from __future__ import annotations

import json
import math
import re
from typing import Any

import pytest

from regenplant.bench import listing
from regenplant.bench.answers import answer, as_json, refusal_json
from regenplant.bench.lines import answer_lines
from regenplant.core.bench.registry import quantities
from regenplant.core.errors import DomainError
from tests.core.reference_rows import Row, rows


def asked(name: str, /, **given: Any) -> dict[str, Any]:
    return as_json(answer(name, given))


def refused(name: str, /, **given: Any) -> dict[str, Any]:
    with pytest.raises(DomainError) as found:
        answer(name, given)
    return refusal_json(found.value)


# --- nothing is made up ------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("heat_of_solution", {"chemical": "NaOH", "ratio": 0.1}), ("heat_of_solution", {"chemical": "NaOH", "ratio": 1}),
        ("heat_of_dilution", {"chemical": "HCl", "ratio": 0.5}), ("heat_of_dilution", {"chemical": "NaOH", "ratio": 0.5}),
    ],
)  # fmt: skip
def test_a_heat_below_its_table_is_refused_with_where_it_begins(name: str, given: dict[str, Any]) -> None:
    found = refused(name, **given)
    assert found["allowed_low"] in (1.0, 2.0) and "known here from" in found["message"]


def test_strong_caustic_and_acid_have_a_heat_with_a_wider_band() -> None:
    strong, weak = (asked("heat_of_solution", chemical="NaOH", ratio=ratio) for ratio in (2.1, 4))
    assert strong["uncertainty"]["relative"] == 0.08 and any("carried on" in w for w in strong["warnings"])
    assert weak["uncertainty"]["relative"] == 0.02 and not weak["warnings"]
    assert asked("heat_of_solution", chemical="H2SO4", ratio=0.02)["value"] == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize(("chemical", "strength"), [("HCl", 60), ("HCl", 98), ("NaOH", 80), ("NaCl", 50)])
def test_no_specific_heat_of_a_solution_that_cannot_be(chemical: str, strength: float) -> None:
    found = refused("specific_heat", chemical=chemical, strength=strength)
    assert found["seen"] == strength and found["unit"] == "%"
    assert (
        refused("blend_temperature", chemical=chemical, stock_strength=strength, strength=5)["allowed_high"]
        < strength
    )


def test_a_ph_of_strong_acid_is_refused_or_bears_what_two_models_differ_by() -> None:
    assert "ionic strength" in refused("mixture_ph", acid_volume=100, acid_chloride=8)["message"]
    found = asked("mixture_ph", acid_volume=100, acid_chloride=2)
    # pitzer.dat gives -0.552 for 2 mol/kg HCl (PHREEQC 3.7.3)
    assert found["value"] < 0.0 and abs(found["value"] + 0.552) <= found["uncertainty"]["absolute"]
    assert "relative" not in found["uncertainty"]


def test_a_reagent_near_balance_is_known_no_better_than_the_acid() -> None:
    found = asked("neutralization_reagent", acid_volume=1000, acid_chloride=0.5, caustic_volume=1000, caustic_sodium=0.5001, target_ph=7)  # fmt: skip
    assert found["uncertainty"]["absolute"] >= 2.0  # 0.001 mol/L of 2000 L


def test_a_conductance_outside_its_fit_says_so() -> None:
    outside = asked("limiting_electrolyte_conductivity", electrolyte="NaCl", temperature=0)
    assert outside["warnings"] and outside["uncertainty"]["relative"] == 0.015
    assert not asked("limiting_electrolyte_conductivity", electrolyte="NaCl", temperature=25)["warnings"]
    assert any(
        "no trace" in w
        for w in asked("conductivity_with_trace", concentration="50000 ug/L", temperature=25)["warnings"]
    )


def test_more_than_stoichiometric_is_refused() -> None:
    assert "5994 grain/lb" in refused("salt_efficiency", capacity="30 kgr/ft3", dose="4 lb/ft3")["message"]
    found = refused("regenerant_ratio", chemical="HCl", dose="30 g/L", capacity="1.5 eq/L")
    assert "100 %" in found["message"] and found["allowed_low"] == 100.0


def test_what_does_not_fit_together_is_said() -> None:
    drawn = asked(
        "stock_volume",
        chemical="HCl",
        resin_volume="100 L",
        dose="100 g/L",
        stock_strength=32,
        strength=5,
        stock_density=1500,
    )
    assert any("Check density, strength" in w for w in drawn["warnings"])
    assert any(
        "°Bé" in w
        for w in asked("mass_concentration_from_baume", chemical="HCl", baume=22, strength=5)["warnings"]
    )
    assert any(
        "mineral acidity" in w
        for w in asked("water_alkalinity", sodium="1 mmol/L", chloride="2 mmol/L")["warnings"]
    )
    leak = asked("leakage_from_dose", family="sac_h", chemical="HCl", dose="100 g/L", strong_anions="3 meq/L")
    assert any("factor of two" in w for w in leak["warnings"]) and leak["uncertainty"]["relative"] >= 1.0


# --- what is known is answered -----------------------------------------------------------------------------------
@pytest.mark.parametrize("row", rows("verified_water", quantity="D1125 reference solution"))
def test_reference_solutions_of_the_standard(row: Row) -> None:
    row.check(asked("astm_d1125_reference_solution", solution=row.quantity[-1])["value"])


@pytest.mark.parametrize(
    "row", rows("limiting_conductance", quantity="^limiting molar ionic", inputs="H3SiO4", memory=True)
)
def test_silicate_is_given_as_from_memory(row: Row) -> None:
    """From memory on both sides: only that it says so."""
    found = asked("limiting_molar_conductivity", ion="silicate")
    assert found["value"] == pytest.approx(row.value) and "memory" in found["warnings"][0]


def test_a_figure_asks_only_for_what_it_needs() -> None:
    of_dose = {"chemical": "HCl", "resin_volume": "100 L", "dose": "100 g/L"}
    assert asked("chemical_mass", **of_dose)["value"] == 10.0
    assert asked("equivalents_applied", **of_dose)["value"] == pytest.approx(
        274.27, rel=1e-4
    )  # 10 000 g / 36.461 g/eq
    drawn = asked("stock_volume", **of_dose, stock_strength=32)
    assert drawn["value"] == pytest.approx(
        asked("stock_volume", **of_dose, stock_strength=32, strength=5)["value"]
    )
    assert asked("mixture_ph", caustic_volume="100 L", caustic_sodium="0.1 mol/L")["value"] > 12.5


def test_a_leak_is_taken_where_the_feed_is_not_stated() -> None:
    """waters_phreeqc-107: 0.22097 µS/cm behind a strong base with 0.02 mg/L sodium and 20 µg/L silica."""
    found = asked(
        "effluent_conductivity", stage="strong_base", sodium_leak="0.02 mg/L", silica_leak="20 ug/L"
    )
    assert found["value"] == pytest.approx(0.22097, rel=0.02)


@pytest.mark.parametrize(
    ("amount", "to", "value"),
    [("18.18 MΩ·cm", "uS/cm", 1 / 18.18), ("0.055 uS/cm", "Mohm-cm", 1 / 0.055), ("8 scfm/ft2", "m/h", 8 * 0.3048 * 60), ("10 cfm", "L/min", 283.168),
     ("60 pcf", "kg/m3", 961.11), ("1 degClark", "mg/L", 14.2538), ("1 hp", "kW", 0.7457), ("1 kilograins/cuft", "kgr/ft3", 1.0)],
)  # fmt: skip
def test_units_of_the_trade_convert(amount: str, to: str, value: float) -> None:
    assert asked("convert", amount=amount, to=to)["value"] == pytest.approx(value, rel=2e-4)


# --- the list is true --------------------------------------------------------------------------------------------
def test_range_and_default_are_in_the_listed_unit() -> None:
    for entry in listing.everything()["quantities"]:
        for given in entry["inputs"]:
            if "low" in given and "default" in given and given["kind"] != "text":
                unit = given["default"].split(" ", 1)[1] if " " in given["default"] else given["unit"]
                if unit == given["unit"]:
                    number = float(given["default"].split(" ")[0])
                    assert given["low"] <= number <= given["high"], (entry["quantity"], given["name"])
    leak = next(
        given
        for given in listing.as_json(quantities()["effluent_ph"])["inputs"]
        if given["name"] == "sodium_leak"
    )
    assert leak["unit"] == "mg/L" and leak["default"] == "0 mg/L"
    assert leak["high"] == pytest.approx(50.0 * 22.990, rel=1e-4)  # 50 mmol/L of sodium


def test_what_is_required_suffices() -> None:
    for found in quantities().values():
        choice = {name for group in found.one_of for name in group}
        needed = {spec.name for spec in found.inputs if spec.is_needed} | choice
        given = {name: value for name, value in found.example.items() if name in needed}
        if found.key not in ("waste_scaling_index", "spent_ph"):  # a waste of nothing has no index
            assert math.isfinite(answer(found.key, given).answer.main.value), found.key


def test_all_that_is_missing_is_named() -> None:
    assert refused("density")["missing"] == ["chemical", "strength"]
    assert refused("heat_of_solution", chemical="NaOH")["missing"] == ["ratio", "strength"]
    assert refused("mixture_ph", acid_chloride="0.1 mol/L")["missing"] == ["acid_volume", "caustic_volume"]


@pytest.mark.parametrize(
    ("name", "given", "says", "unit"),
    [
        ("heat_to_warm", {"mass": 1000, "from": "50 degC", "to": "15 degC"}, "15 °C", "°C"),
        ("blend_temperature", {"chemical": "HCl", "stock_strength": 4, "strength": 10}, "10 %", "%"),
        ("operating_capacity", {"family": "sac_h", "chemical": "HCl", "dose": "300 g/L"}, "300 g/L", "g/L"),
        ("rinse_tail", {"bed_volumes": 1, "start": 10, "floor": 50, "decade": 1}, "50 µS/cm", "µS/cm"),
        ("density", {"chemical": "HCl", "strength": "-5 %"}, "Allowed is", "%"),
    ],
)  # fmt: skip
def test_a_refusal_speaks_in_the_units_of_the_person(
    name: str, given: dict[str, Any], says: str, unit: str
) -> None:
    found = refused(name, **given)
    assert says in found["message"] and found["unit"] == unit
    assert not re.search(r"\d K\b|mol/m³|eq/m³|S/m\b", found["message"])
    assert len(re.findall(r"(?:Allowed|Possible|possible)", found["message"])) == 1


def test_a_specific_gravity_as_density_is_told_how_to_be_written() -> None:
    assert "write 1.16 g/mL" in refused("strength_from_density", chemical="HCl", density="1.16")["message"]
    assert asked("strength_from_density", chemical="HCl", density="1.16 g/mL")["value"] == pytest.approx(
        32.1, abs=0.2
    )


def test_a_number_at_the_very_edge_is_taken() -> None:
    assert asked("rinse_volume", bed_volumes=1, resin_volume="50000 L")["value"] == pytest.approx(50_000)
    assert asked("softener_capacity", dose="48 g/L")["value"] > 0


# --- the working can be followed ---------------------------------------------------------------------------------
def test_the_working_of_a_conversion_has_its_factor_and_its_unit() -> None:
    found = asked("convert", amount="914.55 eq/m3", to="kgr/ft3")["working"]
    assert found["substitution"] == "y = 914.55 × 0.021869" and found["result"].startswith("y = 20")


def test_the_result_stands_in_the_unit_asked_for_too() -> None:
    found = as_json(answer("cylinder_volume", {"internal_diameter": "6 in", "depth": "18 in"}, unit="ft3"))
    assert found["working"]["result"] == "V = 8.34\u00a0L = 0.29452\u00a0ft3"
    assert "0.0116" in asked("pure_water_conductivity", temperature=0)["working"]["result"]


def test_the_working_of_a_ph_and_of_gypsum_can_be_worked_out_by_hand() -> None:
    ph = asked("mixture_ph", acid_volume="1 L", acid_chloride="0.2 mol/L", acid_sodium="0.1 mol/L")
    by_symbol = {entry["symbol"]: entry["value_si"] for entry in ph["working"]["inputs"]}
    assert 3.0 - math.log10(by_symbol["γ_H"] * by_symbol["c_H"]) == pytest.approx(ph["value"], abs=1e-6)
    assert by_symbol["I"] == pytest.approx(200.0, rel=0.01) and by_symbol["c_H"] == pytest.approx(
        100.0, rel=0.01
    )
    gypsum = asked("gypsum_saturation_index", strength=8, calcium=10, temperature=20)
    terms = {entry["symbol"]: entry["value_si"] for entry in gypsum["working"]["inputs"]}
    assert terms["l_Ca"] + terms["l_SO4"] + 2 * terms["l_w"] - terms["log_K"] == pytest.approx(
        gypsum["value"], abs=1e-9
    )
    # pitzer.dat: 82.381 - 3804.5/T - 29.9952 log10 T
    assert terms["log_K"] == pytest.approx(82.381 - 3804.5 / 293.15 - 29.9952 * math.log10(293.15), abs=1e-3)
    assert terms["l_w"] < -0.01


def test_no_dust_of_floating_point_is_shown() -> None:
    assert "×10⁻¹" not in asked("heat_of_dilution", chemical="HCl", ratio=1)["working"]["substitution"]


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("blend_temperature", {"chemical": "NaOH", "stock_strength": 50, "strength": 4}), ("freezing_point", {"chemical": "NaCl", "strength": 20}),
        ("gypsum_saturation_index", {"strength": 2, "calcium": 10, "temperature": 20}), ("mixture_ph", {"acid_volume": 1, "acid_chloride": 1}),
        ("contact_time", {"chemical": "HCl", "resin_volume": "100 L", "dose": "100 g/L", "stock_strength": 32, "strength": 5}),
        ("density_slope", {"chemical": "NaOH", "strength": 50}), ("mass_concentration_from_baume", {"chemical": "HCl", "baume": 20}),
        ("rinse_forecast", {"bed_volumes": "0.2, 0.5, 0.8, 1.1, 1.4, 1.7, 2.0", "conductivity": "2520, 1270, 640, 325, 168, 88, 48 uS/cm", "endpoint": 50}),
    ],
)  # fmt: skip
def test_a_method_says_how_far_it_may_be_off(name: str, given: dict[str, Any]) -> None:
    found = asked(name, **given)
    assert found["uncertainty"]["absolute"] > 0 and found["uncertainty_words"].startswith("about ±")


# --- lines -------------------------------------------------------------------------------------------------------
def test_no_id_and_no_sign_ends_the_answers_and_errors_name_their_line() -> None:
    lines = [
        '\ufeff{"id": NaN, "quantity": "usp stage 2"}', '{"id": "\\ud800", "quantity": "density"}', '{"id": Infinity, "quantity": "\\ud800"}', "",
        "{", '{"id": 5, "quantity": "usp stage 2"}',
    ]  # fmt: skip
    answered = list(answer_lines(lines))
    found = [json.loads(line) for line in answered]
    assert all(line.encode() for line in answered)
    assert found[0]["id"] == "nan" and found[0]["value"] == 2.1
    assert [entry.get("line") for entry in found] == [None, 2, 3, 5, None]
    assert found[-1]["id"] == 5 and found[-1]["value"] == 2.1
