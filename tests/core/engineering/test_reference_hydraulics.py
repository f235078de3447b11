"""Settling, expansion, fluidization and pressure drop against computed reference rows.

These rows were computed with the same drag library (its own model is the outside here), but with water from another
one; they check our expansion, exponent and units, not nature. The ranges read in handbooks are checked below.
"""

import csv
from dataclasses import replace

import pytest

from regenplant.core.engineering import beds, hydraulics, separation_flow
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.hydraulics import Bead
from regenplant.core.errors import OutOfRange
from tests.core.reference_rows import REFERENCE, Row, kelvin, rows


def _bead(row: Row) -> Bead:
    diameter, density = row.numbers(r"d=([\d.]+) mm, (?:wet density )?([\d.]+) kg/m3")
    return Bead(float(diameter) / 1000.0, float(density))


def _expansion_tolerance(row: Row) -> float:
    """ "15 % rel or 5 points (model spread)": the larger of the two, in points."""
    return max(0.15 * row.value, 5.0) if "points" in row.tolerance else row.allowed()


@pytest.mark.parametrize("row", rows("bed_expansion", quantity="^backwash bed expansion"))
def test_expansion_at_a_velocity(row: Row) -> None:
    velocity, celsius = row.numbers(r"velocity ([\d.]+) m/h.*?; ([\d.]+) degC")
    bead, temperature = _bead(row), kelvin(celsius)
    ours = hydraulics.expansion_at_velocity(bead, float(velocity) / 3600.0, temperature)
    row.check(ours.value * 100.0, _expansion_tolerance(row))


@pytest.mark.parametrize("row", rows("settling_fluidisation", quantity="^superficial velocity for"))
def test_velocity_for_an_expansion(row: Row) -> None:
    (celsius,) = row.numbers(r"([\d.]+) degC")
    wanted = float(row.quantity.split("for ")[1].split(" %")[0]) / 100.0
    row.check(hydraulics.velocity_for_expansion(_bead(row), wanted, kelvin(celsius)).value * 3600.0)


@pytest.mark.parametrize("row", rows("settling_fluidisation", quantity="^terminal velocity"))
def test_terminal_velocity(row: Row) -> None:
    (celsius,) = row.numbers(r"([\d.]+) degC")
    row.check(hydraulics.terminal_velocity_m_per_s(_bead(row), kelvin(celsius)) * 3600.0)


@pytest.mark.parametrize("row", rows("settling_fluidisation", quantity="^minimum fluidisation"))
def test_minimum_fluidization_velocity(row: Row) -> None:
    (celsius,) = row.numbers(r"([\d.]+) degC")
    row.check(hydraulics.minimum_fluidization_velocity(_bead(row), kelvin(celsius)).value * 3600.0)


@pytest.mark.parametrize("row", rows("pressure_drop", quantity="Ergun"))
def test_pressure_drop(row: Row) -> None:
    diameter, void, velocity, celsius = row.numbers(
        r"d=([\d.]+) mm, voidage ([\d.]+), superficial velocity ([\d.]+) m/h, ([\d.]+) degC"
    )
    bead = Bead(float(diameter) / 1000.0, 1280.0, float(void))
    row.check(
        hydraulics.pressure_gradient_pascal_per_m(bead, float(velocity) / 3600.0, kelvin(celsius)) / 1000.0
    )


def _carman_rows() -> list[object]:
    """The second method's values, kept beside those of Ergun ("Carman gives 76.357")."""
    with (REFERENCE / "pressure_drop.csv").open(encoding="utf-8", newline="") as file:
        notes = {line["id"]: line["notes"] for line in csv.DictReader(file)}
    found = []
    for parameter in rows("pressure_drop", quantity="Ergun"):
        row = parameter.values[0]
        if notes[row.id].startswith("Carman gives"):
            value = notes[row.id].removeprefix("Carman gives ")
            carman = replace(
                row, id=f"{row.id}-carman", quantity=row.quantity.replace("Ergun", "Carman"), text=value,
                source="Carman 1937", how_obtained="computed fluids 1.3.1; water iapws 1.5.5",
            )  # fmt: skip
            found.append(pytest.param(carman, id=carman.id))
    return found


@pytest.mark.parametrize("row", _carman_rows())
def test_pressure_drop_by_the_second_method(row: Row) -> None:
    diameter, void, velocity, celsius = row.numbers(
        r"d=([\d.]+) mm, voidage ([\d.]+), superficial velocity ([\d.]+) m/h, ([\d.]+) degC"
    )
    bead = Bead(float(diameter) / 1000.0, 1280.0, float(void))
    row.check(
        hydraulics.carman_gradient_pascal_per_m(bead, float(velocity) / 3600.0, kelvin(celsius)) / 1000.0
    )


@pytest.mark.parametrize("row", rows("settling_fluidisation", quantity="^ratio of terminal velocities"))
def test_ratio_of_settling_velocities(row: Row) -> None:
    anion_mm, anion_density, cation_mm, cation_density, celsius = row.numbers(
        r"anion d=([\d.]+) mm ([\d.]+) kg/m3, cation d=([\d.]+) mm ([\d.]+) kg/m3, ([\d.]+) degC"
    )
    cation = BeadPopulation(float(cation_mm) / 1000.0, 0.15, float(cation_density))
    anion = BeadPopulation(float(anion_mm) / 1000.0, 0.15, float(anion_density))
    fluid = hydraulics.water_fluid(kelvin(celsius))
    row.check(separation_flow.velocity_ratio(cation, anion, fluid).value)


@pytest.mark.parametrize(
    ("name", "tested"), [("bed_expansion", 156), ("settling_fluidisation", 104), ("pressure_drop", 29)]
)
def test_no_reference_row_is_left_out(name: str, tested: int) -> None:
    """Every row has one of the quantities tested above, and the file is whole."""
    kinds = (
        "^backwash bed expansion", "^superficial velocity for", "^terminal velocity", "^minimum fluidisation",
        "Ergun", "^ratio of terminal velocities",
    )  # fmt: skip
    assert len(rows(name, quantity="|".join(kinds))) == len(rows(name)) == tested


CATION, ANION = Bead(0.65e-3, 1280.0), Bead(0.60e-3, 1080.0)


def test_cation_backwash_lies_in_the_handbook_range_in_cool_water() -> None:
    """12 to 20 m/h for strong-acid cation: Davis 2010, Table 8-2 (read)."""
    for celsius in (5.0, 10.0, 15.0, 20.0):
        velocity = hydraulics.velocity_for_expansion(CATION, 0.5, 273.15 + celsius).value * 3600.0
        assert 12.0 <= velocity <= 20.0, (celsius, velocity)


def test_anion_backwash_lies_in_the_handbook_range_at_room_temperature() -> None:
    """5 to 7.5 m/h for strong-base anion: Davis 2010, Table 8-2 (read)."""
    assert 5.0 <= hydraulics.velocity_for_expansion(ANION, 0.5, 293.15).value * 3600.0 <= 7.5


def test_anion_at_the_cation_rate_is_lost() -> None:
    """5 gpm/ft² (12.2 m/h) in cold water expands anion resin past any vessel; common practice knows it as resin loss."""
    assert hydraulics.expansion_at_velocity(ANION, 12.2 / 3600.0, 286.15).value > 1.0
    with pytest.raises(OutOfRange, match="carried out"):
        hydraulics.expansion_at_velocity(ANION, 30.0 / 3600.0, 278.15)


def test_beads_as_light_as_cold_water_are_refused() -> None:
    """At 4 °C water has 999.97 kg/m³ (IAPWS); a bead of 1000 kg/m³ just sinks, one below the allowed range is refused."""
    assert hydraulics.terminal_velocity_m_per_s(Bead(0.6e-3, 1000.0), 277.15) > 0.0
    with pytest.raises(OutOfRange, match="wet density"):
        Bead(0.6e-3, 998.0)


def test_expansion_that_fits_is_what_is_left_of_the_height() -> None:
    assert beds.expansion_that_fits(1.0, 2.0) == pytest.approx(1.0)
    assert beds.expansion_that_fits(1.0, 2.0, 0.1) == pytest.approx(0.8)
    assert beds.expansion_that_fits(2.5, 2.0) < 0.0
