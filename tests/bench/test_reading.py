"""What people type at the bench: spellings, units, bases, bare numbers; and what is refused, with what was seen and allowed."""

from __future__ import annotations

from typing import Any

import pytest

from regenplant.bench.answers import answer, as_json, refusal_json
from regenplant.bench.names import BenchRefused
from regenplant.bench.reading import read_one
from regenplant.core.bench.registry import plain_name, quantities, quantity_named
from regenplant.core.errors import DomainError, UnitNotUnderstood


def value(name: str, **given: Any) -> float:
    found = as_json(answer(name, given))["value"]
    assert isinstance(found, float)
    return found


@pytest.mark.parametrize("name", ["density", "Density of a solution", "solution-density", "SOLUTION DENSITY"])
def test_a_quantity_is_found_by_key_title_or_another_usual_name(name: str) -> None:
    found = quantity_named(name)
    assert found is not None and found.key == "density"


def test_every_name_leads_to_its_own_quantity() -> None:
    for found in quantities().values():
        assert quantity_named(found.key) is found
        assert quantity_named(found.title) is found, found.title


def test_no_two_inputs_of_a_quantity_answer_to_the_same_name() -> None:
    for found in quantities().values():
        names = [plain_name(spec.name) for spec in found.inputs]
        assert len(set(names)) == len(names), found.key
        for spec in found.inputs:
            others = {
                plain_name(alias) for other in found.inputs if other is not spec for alias in other.aliases
            }
            assert plain_name(spec.name) not in others, f"{found.key}: {spec.name} is another's alias"


@pytest.mark.parametrize("text", ["HCl", "hcl", "hydrochloric acid", "Hydrochloric-Acid", "muriatic acid"])
@pytest.mark.parametrize("strength", ["32 %", "32 wt%", "32", 32, 32.0, "0.32 frac", "32,0 %"])
def test_chemical_and_strength_in_many_spellings(text: str, strength: object) -> None:
    found = value("density", chemical=text, strength=strength, temperature="20 degC")
    assert found == pytest.approx(1159.4, rel=0.0005)  # CRC Handbook, 102nd ed., 32 wt% HCl at 20 °C


@pytest.mark.parametrize(
    ("name", "text"),
    [("temperature", "20 degC"), ("temperature", "68 F"), ("T", "20 °C"), ("temp", "293.15 K"), ("temperature", 20), ("temperature_C", 20),
     ("temperature_F", "68"), ("temperature_K", 293.15), ("Temperature", "20C")],
)  # fmt: skip
def test_a_temperature_in_many_spellings(name: str, text: object) -> None:
    found = value("density", **{"chemical": "HCl", "strength": 32, name: text})
    assert found == pytest.approx(
        value("density", chemical="HCl", strength=32, temperature="20 degC"), rel=1e-9
    )


@pytest.mark.parametrize("text", ["16 gpm/ft2", "16 gpm/ft²", "39.116 m/h", "39.116 m3/m2/h", "39.116", "10.8656 mm/s", "39.116 m3 m-2 h-1"])  # fmt: skip
def test_a_velocity_in_many_units(text: str) -> None:
    found = answer("bed expansion", {"d": "0.65 mm", "density": "1280", "u": text, "t": "41 F"})
    assert found.inputs["velocity"].value == pytest.approx(16 * 2.44475 / 3600, rel=1e-4)  # m/h per gpm/ft2


@pytest.mark.parametrize(
    "text", ["3 mmol/L", "120.2 mg/L", "6 meq/L", "300.3 mg/L as CaCO3", "300.3 mg/l CaCO3", "3 mmol/kgw", "0.003 mol/L", "300.3 ppm as CaCO3"],
)  # fmt: skip
def test_calcium_of_a_water_in_many_bases(text: str) -> None:
    """3 mmol of calcium are 120.2 mg, 6 meq and 300.3 mg as CaCO3 (Ca 40.078, CaCO3 100.087 g/mol)."""
    found = answer("water hardness", {"Ca": text})
    assert found.inputs["calcium"].value == pytest.approx(3.0, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "mmol"), [("62 mg/L", 1.0), ("14.007 mg/L as N", 1.0), ("50.04 mg/L as CaCO3", 1.0)]
)
def test_nitrate_as_itself_as_nitrogen_and_as_carbonate(text: str, mmol: float) -> None:
    assert answer("water ph", {"nitrate": text}).inputs["nitrate"].value == pytest.approx(mmol, rel=1e-3)


def test_silica_counts_one_to_one_and_silicon_too() -> None:
    for text in ("60.084 mg/L", "28.085 mg/L as Si", "60.084 mg/L SiO2"):
        assert answer("water ph", {"silica": text}).inputs["silica"].value == pytest.approx(1.0, rel=1e-3)


def test_a_bare_number_is_in_the_unit_that_the_list_states() -> None:
    for found in quantities().values():
        for spec in found.inputs:
            if (
                spec.choices
                or spec.kind in ("text",)
                or spec.kind.startswith("series")
                or spec.default is None
            ):
                continue

            number = spec.default.split(" ")[0]
            bare, full = read_one(spec, number), read_one(spec, spec.default)
            if spec.default.endswith(spec.unit) or " " not in spec.default:
                assert bare.value == pytest.approx(full.value), f"{found.key}.{spec.name}"


def test_every_default_and_every_example_can_be_read() -> None:
    for found in quantities().values():
        for spec in found.inputs:
            if spec.default is not None:
                assert read_one(spec, None).is_default, f"{found.key}.{spec.name}"
        assert answer(found.key, found.example).answer.main.name


def test_a_floor_of_zero_may_be_asked_about() -> None:
    assert value(
        "rinse bed volumes", start="1000 uS/cm", floor="0", decade=1, endpoint="10 uS/cm"
    ) == pytest.approx(2.0)


def test_a_bare_strength_below_one_is_read_as_stated_and_said_aloud() -> None:
    found = as_json(answer("density", {"chemical": "HCl", "strength": 0.32, "temperature": 20}))
    assert found["inputs"]["strength"]["value"] == 0.32
    assert any("0.32 frac" in warning for warning in found["warnings"])


def test_the_answer_in_another_unit_is_the_same_answer() -> None:
    given = {"chemical": "HCl", "strength": "32 %", "temperature": "20 degC"}
    for unit, factor in (("g/mL", 1e-3), ("lb/gal", 0.00834540445)):
        found = as_json(answer("density", given, unit=unit))
        assert found["unit"] == unit
        assert found["value"] == pytest.approx(factor * found["value_si"], rel=1e-6)
    assert as_json(answer("blend temperature", {"chemical": "NaOH", "stock_strength": 50, "strength": 4}, unit="degF"))["value"] == pytest.approx(77.2, abs=2.7)  # fmt: skip
    with pytest.raises(UnitNotUnderstood, match="cannot be shown"):
        as_json(answer("density", given, unit="degC"))


# --- refusals ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("name", "given", "field", "says"),
    [
        ("densty", {}, None, "Near are: density"),
        ("density", {"chemical": "HCl", "strength": 5, "colour": "red"}, "colour", "it has chemical, strength, temperature"),
        ("density", {"strength": 5}, "chemical", "is needed"),
        ("density", {"chemical": "gin", "strength": 5}, "chemical", "it may be"),
        ("density", {"chemical": "HCl", "strength": "five"}, "strength", "not a number"),
        ("density", {"chemical": "HCl", "strength": "5 furlongs"}, "strength", "Allowed is"),
        ("density", {"chemical": "HCl", "strength": True}, "strength", "A number is needed"),
        ("density", {"chemical": "HCl", "strength": float("nan")}, "strength", "finite"),
        ("density", {"chemical": "HCl", "strength": [5]}, "strength", "A number is needed"),
        ("density", {"chemical": "HCl", "strength": 5, "wt": 6}, "strength", "given twice"),
        ("density", {"chemical": "HCl", "strength": 5, "temperature": "400 degC"}, "temperature", "0.0"),
        ("bed expansion", {"d": "65 mm", "density": 1280, "u": 10, "t": 20}, "bead_diameter", "0.100"),
        ("water ph", {"calcium": "-1 mmol/L"}, "calcium", "Allowed is"),
        ("rinse bed volumes", {"start": 2000, "floor": 60, "decade": 1, "endpoint": 50}, "floor", "Never"),
    ],
)  # fmt: skip
def test_bad_input_is_answered_with_what_where_and_what_is_allowed(
    name: str, given: dict[str, Any], field: str | None, says: str
) -> None:
    with pytest.raises(DomainError) as refused:
        answer(name, given)
    found = refusal_json(refused.value)
    assert says in found["message"] and found["message"].endswith((".", "?"))
    assert found.get("input") == field
    assert "!" not in found["message"] and "please" not in found["message"].lower()


def test_a_refusal_names_the_seen_and_the_allowed() -> None:
    with pytest.raises(BenchRefused) as refused:
        answer("density", {"chemical": "HCl", "strength": "5 %", "temperature": "400 degC"})
    found = refusal_json(refused.value)
    assert found["seen"] == "400 degC" and "°C" in found["allowed"] and "°F" in found["allowed"]
