"""Viscosity and freezing of solutions against read rows and an independent correlation."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import freezing, solution_tables, viscosity, water
from regenplant.core.errors import OutOfRange
from tests.core.reference_rows import Row, rows

CELL = r"([\d.]+) wt% (\w+)"


def _ours(row: Row) -> float:
    percent, name = row.numbers(CELL)
    return viscosity.viscosity_pascal_s(name.lower(), float(percent) / 100.0, 293.15) * 1000.0


def _is_ours(row: Row, table: dict[str, tuple[tuple[float, float], ...]]) -> bool:
    percent, name = row.numbers(CELL)
    return any(abs(float(percent) / 100.0 - strength) < 1e-9 for strength, _ in table[name.lower()])


@pytest.mark.parametrize("row", rows("crc_solutions", "verified_solutions", quantity="^dynamic viscosity"))
def test_viscosity_agrees_with_handbook_rows(row: Row) -> None:
    """Rows that we compute with must be written down right (water in that table is 1.002); the others lie between."""
    if _is_ours(row, solution_tables.VISCOSITY_20C_MILLIPASCAL_S):
        assert _ours(row) == pytest.approx(row.value, rel=1e-3), (row.id, row.source, row.how_obtained)
    else:
        row.check(_ours(row))


def _kestin(celsius: float, molality: float) -> float:
    """Kestin, Khalifa & Correia, J. Phys. Chem. Ref. Data 10:71 (1981), eqs. 2 to 5: NaCl, 20 to 150 °C, 0.5 % [mPa·s]."""

    def series(x: float, factors: list[float]) -> float:
        return sum(factor * x**power for power, factor in enumerate(factors, start=1))

    pure = 1.002 * 10 ** (series(20.0 - celsius, [1.2378, -1.303e-3, 3.06e-6, 2.55e-8]) / (96.0 + celsius))
    a = series(molality, [3.324e-2, 3.624e-3, -1.879e-4])
    b = series(molality, [-3.96e-2, 1.02e-2, -7.02e-4])
    return pure * 10 ** (a + b * math.log10(pure / 1.002))


@pytest.mark.parametrize("celsius", [20, 25, 40, 60, 80])
@pytest.mark.parametrize("molality", [0.5, 1.0, 2.0, 4.0, 5.5])
def test_viscosity_of_brine_agrees_with_an_independent_correlation(celsius: float, molality: float) -> None:
    strength = molality * 0.058443 / (1.0 + molality * 0.058443)
    ours = viscosity.solution_viscosity("nacl", strength, 273.15 + celsius)
    assert ours.uncertainty_frac is not None
    assert ours.value * 1000.0 == pytest.approx(_kestin(celsius, molality), rel=ours.uncertainty_frac + 0.005)


@st.composite
def solution(draw: st.DrawFn) -> tuple[str, float, float]:
    chemical = draw(st.sampled_from(sorted(viscosity.RANGES)))
    limits = viscosity.RANGES[chemical]
    return (
        chemical,
        draw(st.floats(0.0, limits.strength_high_frac)),
        draw(st.floats(limits.temperature_low_kelvin, limits.temperature_high_kelvin)),
    )


@given(solution(), st.floats(1.0, 10.0))
@settings(max_examples=150, deadline=None)
def test_warmer_is_thinner(case: tuple[str, float, float], rise: float) -> None:
    chemical, strength, temperature = case
    if temperature + rise > viscosity.RANGES[chemical].temperature_high_kelvin:
        return
    at = viscosity.viscosity_pascal_s
    assert at(chemical, strength, temperature + rise) < at(chemical, strength, temperature)


@given(solution())
@settings(max_examples=150, deadline=None)
def test_a_solution_is_not_much_thinner_than_water(case: tuple[str, float, float]) -> None:
    chemical, strength, temperature = case
    found = viscosity.viscosity_pascal_s(chemical, strength, temperature)
    assert math.isfinite(found)
    assert found > 0.98 * water.viscosity_pascal_s(temperature)


@pytest.mark.parametrize("chemical", sorted(viscosity.RANGES))
def test_viscosity_has_no_step_at_a_row_and_ends_in_water(chemical: str) -> None:
    limits = viscosity.RANGES[chemical]
    at = viscosity.viscosity_pascal_s
    for strength, _ in solution_tables.VISCOSITY_20C_MILLIPASCAL_S[chemical]:
        if strength < limits.strength_high_frac:
            assert at(chemical, strength + 1e-9, 303.15) == pytest.approx(
                at(chemical, strength - 1e-9, 303.15), rel=1e-6
            )
    # 1e-4: Laliberté's caustic falls below water by 6 % within the first half percent; the rows carry it back
    assert at(chemical, 1e-9, 293.15) == pytest.approx(water.viscosity_pascal_s(293.15), rel=1e-6)


def test_strong_caustic_pours_like_oil_and_says_how_sure_that_is() -> None:
    """Weak outside figure: "about 78 mPa·s at room temperature" for 50 %, encyclopedias; ours must lie near it at 20 to 25 °C."""
    cold = viscosity.solution_viscosity("naoh", 0.50, 293.15)
    mild = viscosity.solution_viscosity("naoh", 0.50, 298.15)
    assert mild.value < 0.078 < cold.value
    assert cold.warnings and cold.uncertainty_frac == 0.10
    assert not viscosity.solution_viscosity("naoh", 0.40, 293.15).warnings


@pytest.mark.parametrize(
    ("chemical", "strength", "celsius"),
    [("naoh", 0.51, 20), ("h2so4", 0.93, 20), ("hcl", 0.39, 20), ("naoh", 0.2, 5), ("nacl", 0.1, 90), ("naocl", 0.1, 20),
     ("hcl", -0.1, 20), ("nacl", 0.1, float("nan"))],
)  # fmt: skip
def test_viscosity_outside_its_range_is_refused(chemical: str, strength: float, celsius: float) -> None:
    assert not viscosity.is_viscosity_known(chemical, strength, 273.15 + celsius)
    with pytest.raises(OutOfRange, match="known here"):
        viscosity.solution_viscosity(chemical, strength, 273.15 + celsius)


@pytest.mark.parametrize("row", rows("crc_solutions", "verified_solutions", quantity="^freezing point"))
def test_freezing_point_agrees_with_handbook_rows(row: Row) -> None:
    percent, name = row.numbers(CELL)
    depression = 273.15 - freezing.freezing_point(name.lower(), float(percent) / 100.0).value
    if _is_ours(row, solution_tables.FREEZING_DEPRESSION_K):
        assert depression == pytest.approx(row.value, abs=1e-6), (row.id, row.source, row.how_obtained)
    else:
        row.check(depression)


@pytest.mark.parametrize("row", rows("verified_solutions", quantity="stability range of NaOH.H2O, lower end"))
def test_strong_caustic_crystallizes_where_the_monohydrate_begins(row: Row) -> None:
    row.check(freezing.freezing_point("naoh", 0.50).value - 273.15)


@given(
    st.sampled_from(sorted(solution_tables.FREEZING_DEPRESSION_K)),
    st.floats(0.0, 1.0),
    st.floats(0.001, 0.02),
)
@settings(max_examples=150, deadline=None)
def test_stronger_freezes_later(chemical: str, share: float, step: float) -> None:
    highest = solution_tables.FREEZING_DEPRESSION_K[chemical][-1][0]
    strength = share * (highest - step)
    if strength < 0.0:
        return
    stronger = min(strength + step, highest)  # the sum may round to just above what is known
    assert (
        freezing.freezing_point(chemical, stronger).value < freezing.freezing_point(chemical, strength).value
    )


def test_a_cold_solution_is_warned_of_and_a_warm_one_is_not() -> None:
    (sentence,) = freezing.cold_warnings("naoh", 0.50, 283.15)
    assert "12.3 °C" in sentence and "flame" in sentence
    assert freezing.cold_warnings("naoh", 0.50, 293.15) == ()
    assert freezing.cold_warnings("nacl", 0.10, 268.15)
    assert freezing.cold_warnings("nacl", 0.10, 283.15) == ()
    assert freezing.cold_warnings("naoh", 0.04, 271.15)
    assert freezing.cold_warnings("h2so4", 0.93, 263.15) == ()  # no row read: nothing is claimed


@pytest.mark.parametrize(
    ("chemical", "strength"), [("h2so4", 0.93), ("naoh", 0.30), ("hcl", 0.32), ("paa", 0.05)]
)
def test_a_freezing_point_without_a_row_is_refused(chemical: str, strength: float) -> None:
    assert not freezing.is_freezing_known(chemical, strength)
    with pytest.raises(OutOfRange, match="Ask the supplier"):
        freezing.freezing_point(chemical, strength)
