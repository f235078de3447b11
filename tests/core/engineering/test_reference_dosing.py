"""Equivalents, doses and dilutions against definitions worked out elsewhere."""

import pytest

from regenplant import units
from regenplant.core.engineering import ions, regenerants
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.regenerants import Dilution
from tests.core.reference_rows import Row, rows


def _given(symbol: str, value: float, unit: str = "kg/m^3", kind: str = "density") -> Estimate:
    return Estimate(
        symbol, "given by the reference row", value, unit, kind, "on record", (), "given", "plant_record"
    )


def _species(row: Row) -> str:
    return row.inputs.split(" (")[0].strip()


@pytest.mark.parametrize("row", rows("conversions", quantity="^equivalent weight"))
def test_equivalent_weights(row: Row) -> None:
    row.check(ions.equivalent_weight_kg_per_eq(_species(row)) * 1000.0)


@pytest.mark.parametrize("row", rows("conversions", quantity="^factor ion -> as CaCO3"))
def test_factors_to_calcium_carbonate(row: Row) -> None:
    row.check(ions.as_calcium_carbonate_factor(_species(row)))


@pytest.mark.parametrize("row", rows("conversions", quantity="^regenerant dose to eq per litre"))
def test_dose_in_equivalents(row: Row) -> None:
    pounds, name = row.numbers(r"([\d.]+) lb/ft3 (\w+)")
    dose = units.convert(float(pounds), "lb/ft^3", "kg/m^3")
    row.check(ions.applied_equivalents(name.lower(), dose).value / 1000.0)


_UNIT = {
    "lb/ft3 to g/L": ("lb/ft^3", "g/L"), "grain per US gallon to mg/L": ("grain/gallon", "mg/L"),
    "mg/L to grain per US gallon": ("mg/L", "grain/gallon"), "BV/h per gpm/ft3": ("gpm/ft^3", "1/hour"),
    "gpm/ft3 per BV/h": ("1/hour", "gpm/ft^3"), "m/h per gpm/ft2": ("gpm/ft^2", "m/hour"),
    "gpm/ft2 per m/h": ("m/hour", "gpm/ft^2"), "US gal per ft3": ("ft^3", "gallon"), "L per US gallon": ("gallon", "L"),
    "psi/ft to kPa/m": ("psi/ft", "kPa/m"), "psi to bar": ("psi", "bar"), "degF to degC": ("degF", "degC"),
    "degC to degF": ("degC", "degF"),
}  # fmt: skip


@pytest.mark.parametrize("row", [p for p in rows("conversions") if p.values[0].quantity in _UNIT])  # type: ignore[attr-defined]
def test_units_of_the_trade(row: Row) -> None:
    start, end = _UNIT[row.quantity]
    (number,) = row.numbers(r"^([\d.]+)")
    row.check(units.convert(float(number), start, end))


@pytest.mark.parametrize("row", rows("conversions", quantity="^kilograin"))
def test_kilograin_per_cubic_foot(row: Row) -> None:
    row.check(units.convert(1.0, "eq/L", "kgr/ft^3"))


def _diluted(row: Row) -> tuple[Dilution, float]:
    name, litres, dose, percent, stock_density, target, density = row.numbers(
        r"(\w+): resin ([\d.]+) L, dose ([\d.]+) g\(100 %\)/L, stock ([\d.]+) wt% \(density ([\d.]+) kg/m3\), "
        r"diluted to ([\d.]+) wt% \(density ([\d.]+) kg/m3\)"
    )
    volume = float(litres) / 1000.0
    mass = regenerants.dose_mass(name.lower(), volume, float(dose))
    blend = regenerants.dilution(
        name.lower(), mass, float(percent) / 100.0, _given("ρ_s", float(stock_density)), float(target) / 100.0,
        _given("ρ_d", float(density)), _given("ρ_w", 998.2),
    )  # fmt: skip
    return blend, volume


@pytest.mark.parametrize("row", rows("dilution_dosing"))
def test_dilution(row: Row) -> None:
    blend, volume = _diluted(row)
    flow = regenerants.flow_from_bed_volumes(volume, 4.0)
    ours = {
        "mass of 100 % chemical": blend.chemical_kg_100.value,
        "mass of stock": blend.stock_kg.value,
        "volume of stock": blend.stock_m3.value * 1000.0,
        "mass of dilution water": blend.water_kg.value,
        "volume of diluted regenerant": blend.diluted_m3.value * 1000.0,
        "bed volumes of diluted regenerant": regenerants.bed_volumes(blend.diluted_m3, volume).value,
        "contact time at 4 BV/h": regenerants.duration(blend.diluted_m3, flow).value / 60.0,
        "equivalents applied": blend.applied_eq.value,
    }
    row.check(ours[row.quantity])


@pytest.mark.parametrize("row", rows("capacity_dose", quantity="^regenerant ratio"))
def test_regenerant_ratio(row: Row) -> None:
    name, capacity, dose = row.numbers(r"(\w+): operating capacity ([\d.]+) eq/L, dose ([\d.]+) g/L")
    load = _given("n_e", float(capacity) * 1000.0, "eq", "equivalents")
    applied = ions.applied_equivalents(name.lower(), float(dose))
    row.check(regenerants.regenerant_ratio(applied, load).value * 100.0)
