"""Density and strength against read tables and other libraries."""

import pytest

from regenplant.core.engineering import baume, solution_tables, solutions, water
from tests.core.reference_rows import Row, kelvin, rows

IDENTIFIED = r"^(?!(?:9[5-9]|100) wt% H2SO4)"
"""Density does not identify sulfuric acid above 94 % well enough for a table; the refusal above 96 % has its own test."""


def _ours(row: Row) -> float:
    percent, name, celsius = row.numbers(r"([\d.]+) wt% (\w+); ([\d.]+) degC")
    return solutions.density_kg_per_m3(name.lower(), float(percent) / 100.0, kelvin(celsius))


@pytest.mark.parametrize(
    "row", rows("density", "verified_values", "crc_density", quantity="^density of aqueous")
)
def test_density_agrees_with_the_outside(row: Row) -> None:
    row.check(_ours(row))


def _is_a_row_of_our_table(row: Row) -> bool:
    percent, name = row.numbers(r"([\d.]+) wt% (\w+)")
    own = solution_tables.ROWS_20C.get(name.lower(), ())
    return any(abs(float(percent) / 100.0 - strength) < 1e-9 for strength, _ in own)


@pytest.mark.parametrize("row", rows("crc_solutions", quantity="^density of aqueous"))
def test_density_agrees_with_handbook_rows_that_stand_between_ours(row: Row) -> None:
    """Every row of the handbook; those that we compute with must be written down right, to the last digit."""
    if _is_a_row_of_our_table(row):
        assert _ours(row) == pytest.approx(row.value, abs=1e-6), (row.id, row.source, row.how_obtained)
    else:
        row.check(_ours(row), allowed=5e-4 * row.value)


@pytest.mark.parametrize("row", rows("density", quantity="^density of aqueous", memory=True))
def test_density_agrees_with_remembered_rows_as_an_extra(row: Row) -> None:
    row.check(_ours(row))


@pytest.mark.parametrize(
    "row",
    rows(
        "density",
        "verified_values",
        "crc_density",
        quantity="^density of aqueous",
        inputs=IDENTIFIED,
    ),
)
def test_strength_is_found_again_from_a_read_density(row: Row) -> None:
    """The inversion, on the outside's own density: within the strength that the density tolerance means."""
    percent, name, celsius = row.numbers(r"([\d.]+) wt% (\w+); ([\d.]+) degC")
    strength, temperature = float(percent) / 100.0, kelvin(celsius)
    found = solutions.strength_from_density(name.lower(), row.value, temperature)
    step = min(strength, 0.002)
    slope = (_at(name, strength + step / 2, temperature) - _at(name, strength - step / 2, temperature)) / step
    assert abs(found.value - strength) <= 1.2 * row.allowed() / slope + 1e-9, (
        row.id,
        row.source,
        row.how_obtained,
        found.value,
    )


def _at(name: str, strength: float, temperature: float) -> float:
    return solutions.density_kg_per_m3(name.lower(), strength, temperature)


@pytest.mark.parametrize("row", rows("baume", quantity="^specific gravity 60F/60F from deg Baume, heavier"))
def test_specific_gravity_from_degrees_baume(row: Row) -> None:
    (degrees,) = row.numbers(r"([\d.]+) degBe")
    row.check(baume.specific_gravity_from_baume(float(degrees)))


@pytest.mark.parametrize("row", rows("baume", quantity="^deg Baume from SG"))
def test_degrees_baume_from_specific_gravity(row: Row) -> None:
    (gravity,) = row.numbers(r"SG ([\d.]+)")
    row.check(baume.baume_from_specific_gravity(float(gravity)))


@pytest.mark.parametrize("row", rows("baume", quantity="wt% from deg Baume", memory=True))
def test_strength_from_baume_agrees_with_remembered_trade_pairs_as_an_extra(row: Row) -> None:
    (degrees,) = row.numbers(r"([\d.]+) degBe")
    row.check(baume.strength_from_baume(row.quantity.split()[0].lower(), float(degrees)).value * 100.0)


@pytest.mark.parametrize("row", rows("baume", quantity="^HCl mass per volume"))
def test_mass_per_volume_from_degrees_baume(row: Row) -> None:
    (degrees,) = row.numbers(r"([\d.]+) degBe")
    strength = baume.strength_from_baume("hcl", float(degrees)).value
    row.check(solutions.mass_concentration("hcl", strength, water.SIXTY_FAHRENHEIT_KELVIN).value)


@pytest.mark.parametrize("row", rows("verified_values", quantity="^H2SO4 strength at"))
def test_sulfuric_acid_from_degrees_baume(row: Row) -> None:
    degrees = {"66": 66.0, "60": 60.0}[row.quantity.split()[3]]
    row.check(baume.strength_from_baume("h2so4", degrees).value * 100.0)


@pytest.mark.parametrize("row", rows("verified_values", quantity="^amount concentration of 50 wt% NaOH"))
def test_amount_concentration_of_strong_caustic(row: Row) -> None:
    row.check(solutions.amount_concentration_mol_per_m3("naoh", 0.50, 293.15) / 1000.0)


@pytest.mark.parametrize("row", rows("verified_values", quantity="^temperature slope of density"))
def test_temperature_slope_of_strong_caustic(row: Row) -> None:
    slope = (
        solutions.density_kg_per_m3("naoh", 0.5, 313.15) - solutions.density_kg_per_m3("naoh", 0.5, 293.15)
    ) / 20.0
    row.check(slope)
