"""Spent regenerant and heat of dilution against PHREEQC and against an independent enthalpy balance."""

import pytest

from regenplant.core.engineering import heat
from regenplant.core.engineering.equilibria import Composition, mixed, mixture_ph, reagent_to_ph_eq_per_m3
from regenplant.core.engineering.neutralization import temperature_rise
from tests.core.reference_rows import Row, kelvin, rows

_NAMES = {
    "Na": "sodium", "Ca": "calcium", "Mg": "magnesium", "Cl": "chloride", "S(6)": "sulfate", "N(5)": "nitrate",
    "C(4)": "carbonate", "Si": "silica",
}  # fmt: skip
_MIX = r"(\d+) L spent acid \{(.*?)\} mol/L \+ (\d+) L spent caustic \{(.*?)\} mol/L.*?; (\d+) degC"


def _composition(text: str) -> Composition:
    entries = (entry.split() for entry in text.split(", "))
    return Composition(**{f"{_NAMES[name]}_mol_per_m3": float(value) * 1000.0 for name, value in entries})


def _mixture(row: Row) -> tuple[Composition, float, float]:
    acid_l, acid, caustic_l, caustic, celsius = row.numbers(_MIX)
    acid_m3, caustic_m3 = float(acid_l) / 1000.0, float(caustic_l) / 1000.0
    return (
        mixed(_composition(acid), acid_m3, _composition(caustic), caustic_m3),
        acid_m3 + caustic_m3,
        kelvin(celsius),
    )


@pytest.mark.parametrize("row", rows("neutralisation", quantity="^pH of the mixture"))
def test_ph_of_a_mixture_against_phreeqc(row: Row) -> None:
    composition, _, temperature = _mixture(row)
    # "0.3 near neutral (buffer-limited), 0.15 otherwise"
    row.check(mixture_ph(composition, temperature), 0.3 if 5.0 < row.value < 10.0 else 0.15)


@pytest.mark.parametrize("row", rows("neutralisation", quantity="^reagent to bring"))
def test_reagent_to_a_ph_against_phreeqc(row: Row) -> None:
    composition, volume_m3, _ = _mixture(row)
    (target,) = row.numbers(r"target pH (\d+)")
    ours = reagent_to_ph_eq_per_m3(composition, float(target)) * volume_m3
    # "3 % or 0.001 mol per L of mix"; base is positive, acid negative
    allowed = max(0.03 * abs(row.value), 0.001 * volume_m3 * 1000.0)
    row.check(ours if "NaOH" in row.unit else -ours, allowed)


@pytest.mark.parametrize("row", rows("neutralisation", quantity="^adiabatic temperature rise"))
def test_temperature_rise_on_mixing(row: Row) -> None:
    acid_l, acid, caustic_l, caustic, _ = row.numbers(_MIX)
    acid_m3, caustic_m3 = float(acid_l) / 1000.0, float(caustic_l) / 1000.0
    free_acid = _composition(acid).excess_eq_per_m3 * acid_m3
    alkaline = _composition(caustic)
    # only free hydroxide gives the heat of neutralization: carbonate and silicate hold two and one of the alkali
    bound = 2.0 * alkaline.carbonate_mol_per_m3 + alkaline.silica_mol_per_m3
    free_base = (-alkaline.excess_eq_per_m3 - bound) * caustic_m3
    met = min(free_acid, free_base)
    ours = temperature_rise(max(met, 0.0), 1000.0 * (acid_m3 + caustic_m3)).value
    row.check(ours, max(row.allowed(), 0.005))  # the rows are printed to 0.01 K


EXTRAPOLATED = frozenset({"heat_of_dilution-052"})
"""96 % H2SO4 has 0.23 mol water per mol acid. The reference row extrapolates its table (from 0.5 on) by a spline that
leaves 11.6 kJ/mol there; Thomsen's formula, which we follow, leaves 8. Both boil, and the product forbids the blend."""


@pytest.mark.parametrize(
    "row", rows("heat_of_dilution", quantity="^final temperature", leave_out=EXTRAPOLATED)
)
def test_temperature_of_a_blend(row: Row) -> None:
    name, percent, stock_c, target, water_c = row.numbers(
        r"(\w+): ([\d.]+) wt% at ([\d.]+) degC diluted to ([\d.]+) wt% with water at ([\d.]+) degC"
    )
    blend = heat.blend_temperature(
        name.lower(), float(percent) / 100.0, kelvin(stock_c), float(target) / 100.0, kelvin(water_c)
    )
    row.check(blend.value - 273.15)


def test_strong_sulfuric_acid_to_half_strength_boils_and_says_so() -> None:
    blend = heat.blend_temperature("h2so4", 0.96, 298.15, 0.50, 298.15)
    assert blend.value > 373.15
    assert any("boils" in warning for warning in blend.warnings)


def _strength(name: str, ratio: float) -> float:
    """Weight per weight with so many mol water per mol solute."""
    molar = {"hcl": 36.461, "naoh": 39.997, "h2so4": 98.079}[name]
    return molar / (molar + ratio * 18.015)


def _heat(name: str, ratio: float) -> float:
    return heat.heat_released_j_per_mol(name, _strength(name, ratio)) / 1000.0


@pytest.mark.parametrize(
    "row", rows("heat_of_dilution", quantity="integral heat of solution|heat released on dilution")
)
def test_heat_rows_that_were_read(row: Row) -> None:
    name = row.quantity.split("(")[0].lower()
    (ratio,) = row.numbers(r"r=([\d.]+) mol")
    ours = _heat(name, float(ratio))
    if name == "hcl":  # the row is the heat still to come on dilution to infinity
        ours = 45.61 - ours
    row.check(ours)


@pytest.mark.parametrize("row", rows("heat_of_dilution", quantity="integral heat of solution", memory=True))
def test_heat_rows_that_are_remembered_as_an_extra(row: Row) -> None:
    (ratio,) = row.numbers(r"r=([\d.]+) mol")
    row.check(_heat(row.quantity.split("(")[0].lower(), float(ratio)))
