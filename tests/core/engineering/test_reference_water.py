"""Water and its conductivity against read figures and other libraries."""

import pytest

from regenplant.core.engineering import conductivity, conductivity_tables, pure_water, water
from regenplant.core.engineering.conductivity import Compensation
from tests.core.reference_rows import Row, kelvin, rows

_CELSIUS = r"([\d.]+) degC"
_STREAM = {"NaCl": Compensation.NEUTRAL, "HCl": Compensation.ACID, "NaOH": Compensation.BASE}


def _kelvin(row: Row) -> float:
    return kelvin(row.numbers(_CELSIUS)[0])


@pytest.mark.parametrize("row", rows("pure_water", quantity="^density of water"))
def test_density_of_water(row: Row) -> None:
    row.check(water.density_kg_per_m3(_kelvin(row)))


@pytest.mark.parametrize("row", rows("pure_water", quantity="^dynamic viscosity of water"))
def test_viscosity_of_water(row: Row) -> None:
    row.check(water.viscosity_pascal_s(_kelvin(row)) * 1000.0)


@pytest.mark.parametrize("row", rows("pure_water", quantity="^pKw"))
def test_ion_product_of_water(row: Row) -> None:
    from math import log10

    row.check(-log10(water.ion_product_molal(_kelvin(row))))


def _pure_tolerance(row: Row) -> float:
    """ "1 % (5-90 degC), 1.5 % outside"."""
    if "outside" not in row.tolerance:
        return row.allowed()
    return row.value * (0.01 if 5.0 <= float(row.numbers(_CELSIUS)[0]) <= 90.0 else 0.015)


@pytest.mark.parametrize("row", rows("pure_water", quantity="^resistivity of (theoretically )?pure water"))
def test_resistivity_of_pure_water(row: Row) -> None:
    ours = 1.0 / pure_water.pure_water_conductivity(_kelvin(row)).value / 1e4
    row.check(ours, _pure_tolerance(row))


@pytest.mark.parametrize("row", rows("pure_water", quantity="^conductivity of pure water"))
def test_conductivity_of_pure_water(row: Row) -> None:
    row.check(pure_water.pure_water_conductivity(_kelvin(row)).value * 1e4, _pure_tolerance(row))


@pytest.mark.parametrize("row", rows("pure_water", quantity="^resistivity with 1.0 ug/L NaCl"))
def test_resistivity_with_a_trace_of_salt(row: Row) -> None:
    temperature = _kelvin(row)
    trace_mol_per_m3 = (
        1e-6 / 58.443e-3 * water.density_kg_per_m3(temperature) / water.density_kg_per_m3(298.15)
    )
    row.check(
        1.0 / conductivity.conductivity_with_trace(trace_mol_per_m3, Compensation.NEUTRAL, temperature) / 1e4
    )


@pytest.mark.parametrize("row", rows("temperature_compensation", quantity="^uncompensated conductivity"))
def test_conductivity_at_temperature_of_water_known_at_25(row: Row) -> None:
    impurity, at_25 = row.numbers(r"trace (\w+); kappa25=([\d.]+)")
    celsius = row.inputs.rsplit(";", 1)[1].strip().split()[0]
    ours = conductivity.from_25_celsius(float(at_25) * 1e-4, kelvin(celsius), _STREAM[impurity])
    row.check(ours.value * 1e4)


_TO_50 = r"; (5|10|15|20|30|35|40|50) degC"


@pytest.mark.parametrize(
    "row", rows("temperature_compensation", quantity="^uncompensated conductivity", inputs=_TO_50)
)
def test_compensated_value_of_the_outside_reading(row: Row) -> None:
    """The direction that a reading takes: from the outside's value at temperature back to 25 °C.

    To 50 °C: at 60 °C and above the water itself conducts more than 1.5 % of a trace can be told from.
    """
    impurity, at_25 = row.numbers(r"trace (\w+); kappa25=([\d.]+)")
    celsius = row.inputs.rsplit(";", 1)[1].strip().split()[0]
    ours = conductivity.at_25_celsius(row.value * 1e-4, kelvin(celsius), _STREAM[impurity]).value * 1e4
    assert ours == pytest.approx(float(at_25), rel=0.015), (row.id, row.source, row.how_obtained)


_UNUSED = r"^(?!HSO4-|Sr\+2|Ba\+2|H2PO4-)"


@pytest.mark.parametrize(
    "row", rows("limiting_conductance", quantity="^limiting equivalent ionic", inputs=_UNUSED)
)
def test_limiting_equivalent_conductivity_of_ions(row: Row) -> None:
    ion = row.inputs.split(";")[0].replace("+2", "++").replace("-2", "--")
    row.check(conductivity_tables.LIMITING_IONIC_S_CM2_PER_EQ[ion])


@pytest.mark.parametrize(
    "row", rows("limiting_conductance", inputs="^(HCl|NaOH|NaCl);", quantity="electrolyte L0")
)
def test_limiting_conductance_of_electrolytes(row: Row) -> None:
    electrolyte, celsius = row.numbers(r"^(\w+); ([\d.]+) degC")
    row.check(pure_water.limiting_conductance_s_m2_per_mol(electrolyte, kelvin(celsius)) * 1e4)


_IONS_OF = {"HCl": ("H+", "Cl-"), "NaOH": ("Na+", "OH-"), "NaCl": ("Na+", "Cl-")}


@pytest.mark.parametrize(
    "row", rows("limiting_conductance", inputs="^(HCl|NaOH|NaCl);", quantity="of electrolyte$")
)
def test_limiting_conductance_as_a_sum_of_ions(row: Row) -> None:
    table = conductivity_tables.LIMITING_IONIC_S_CM2_PER_EQ
    row.check(sum(table[ion] for ion in _IONS_OF[row.inputs.split(";")[0]]))


@pytest.mark.parametrize("row", rows("usp_645"))
def test_uncompensated_limits_by_temperature(row: Row) -> None:
    ours = conductivity_tables.table_limit_siemens_per_m(conductivity_tables.USP_645_STAGE_1, _kelvin(row))
    assert ours * 1e4 == pytest.approx(row.value, rel=1e-12), (row.id, row.source)


@pytest.mark.parametrize("row", rows("verified_values", quantity="^resistivity of neutral pure water"))
def test_neutral_water_at_25(row: Row) -> None:
    row.check(1.0 / pure_water.pure_water_conductivity(298.15).value / 1e4)


@pytest.mark.parametrize("row", rows("verified_values", quantity="^maximum (possible )?resistivity"))
def test_highest_resistivity_with_a_trace_of_caustic(row: Row) -> None:
    lowest = min(
        conductivity.conductivity_with_trace(trace * 1e-7, Compensation.BASE, 298.15) for trace in range(1000)
    )
    row.check(1.0 / lowest / 1e4)
