"""Float separation: the solution weakens, the beads grow heavier, and what still floats is known by two densities."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import float_separation as floats
from regenplant.core.engineering import separation, viscosity
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.float_separation import FloatCase, Soaking
from regenplant.core.engineering.separation import SeparationCase
from regenplant.core.engineering.solutions import density_kg_per_m3
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out
from tests.core.reference_rows import Row, kelvin, rows

CATION = BeadPopulation(6.5e-4, 0.15, 1280.0, 5.0)
ANION = BeadPopulation(6.0e-4, 0.15, 1080.0, 5.0)
BED = FloatCase(
    "nacl", 0.24, 288.15, 1.2, Soaking(CATION, 0.4, 2000.0, 0.45), Soaking(ANION, 0.6, 1300.0, 0.50)
)
"""One cubic meter of mixed bed in 1.2 bed volumes of brine."""

cases = st.builds(
    FloatCase,
    chemical=st.sampled_from(floats.SOLUTES),
    strength_frac=st.floats(0.06, 0.25),
    temperature_kelvin=st.floats(284.15, 313.15),
    volume_m3=st.floats(0.6, 3.0),
    cation=st.builds(Soaking, st.just(CATION), st.floats(0.2, 0.6), st.floats(1600.0, 2200.0), st.floats(0.42, 0.52)),
    anion=st.builds(Soaking, st.just(ANION), st.floats(0.3, 0.8), st.floats(900.0, 1400.0), st.floats(0.42, 0.58)),
)  # fmt: skip


def _fluid(density: float) -> Estimate:
    return Estimate(
        "ρ_f", "density of the fluid", density, "kg/m^3", "density", "set point", (), "given", "recipe"
    )


def _standing(case: FloatCase) -> float:
    return floats.standing_density(case, floats.standing_strength(case)).value


def _soaked(case: FloatCase) -> float:
    return floats.soaked_density(case, case.anion, "anion").value


def _margin(case: FloatCase) -> float:
    return _standing(case) - _soaked(case)


# --- against a calculation by hand and against read densities --------------------------------------------------------
def test_the_salt_of_the_brine_is_outside_and_inside_the_beads() -> None:
    """By hand: 24 % brine at 20 °C is 1180.4 kg/m³ (between the read rows of 22 and 26 %); 1.2 m³ bring 339.9 kg of salt."""
    case = replace(BED, temperature_kelvin=293.15)
    salt_mol = 1.2 * 1180.4 * 0.24 / 0.058443
    water_outside = 1.2 * 1180.4 * 0.76 + 0.1 * 998.2
    # beads take 62 % of the bed; 45 % of the cation and half of the anion bead are water
    water_cation, water_anion = 0.4 * 0.62 * 1280.0 * 0.45, 0.6 * 0.62 * 1080.0 * 0.50
    fixed_cation, fixed_anion = 0.4 * 2000.0 / water_cation, 0.6 * 1300.0 / water_anion
    m = floats.standing_molality(case)
    inside_cation = (fixed_cation**2 / 4.0 + m * m) ** 0.5 - fixed_cation / 2.0
    inside_anion = (fixed_anion**2 / 4.0 + m * m) ** 0.5 - fixed_anion / 2.0
    found = m * water_outside + inside_cation * water_cation + inside_anion * water_anion
    assert found == pytest.approx(salt_mol, rel=1e-3)
    assert inside_anion * (inside_anion + fixed_anion) == pytest.approx(m * m)
    strength = floats.standing_strength(case)
    assert strength.value == pytest.approx(m * 0.058443 / (1.0 + m * 0.058443), rel=1e-9)


FED = rows(
    "density", "crc_density", quantity="^density of aqueous (NaCl|NaOH)", inputs=r"^(1[0-9]|2[0-6]) wt%"
)


@pytest.mark.parametrize("row", FED)
def test_who_floats_follows_the_densities_read_elsewhere(row: Row) -> None:
    """Beads just lighter and just heavier than the read density of the solution: all float, all sink."""
    percent, name, celsius = row.numbers(r"([\d.]+) wt% (\w+); ([\d.]+) degC")
    ours = _fluid(density_kg_per_m3(name.lower(), float(percent) / 100.0, kelvin(celsius)))
    lighter = BeadPopulation(6e-4, 0.15, row.value - 5.0, 1.0)
    heavier = BeadPopulation(6e-4, 0.15, row.value + 5.0, 1.0)
    assert floats.floating(lighter, ours, "anion").value > 0.999
    assert floats.sinking(heavier, ours, "cation").value > 0.999
    assert floats.floating(heavier, ours, "anion").value < 0.001


def test_common_practice_comes_out_of_the_model() -> None:
    """10 to 26 % brine and 8 to 16 % caustic are in use (common practice): at the strong ends soaked anion beads float, at
    the weak ends they do not, which is why the weak ones are known to fail."""
    strong = [replace(BED, strength_frac=0.25), replace(BED, chemical="naoh", strength_frac=0.16)]
    weak = [replace(BED, strength_frac=0.10), replace(BED, chemical="naoh", strength_frac=0.08)]
    assert all(_margin(case) > 10.0 for case in strong)
    assert all(_margin(case) < -10.0 for case in weak)


def test_the_heights_are_those_of_a_cylinder() -> None:
    """1.2 m³ of solution with 0.62 m³ of beads in a vessel of 1 m² stand at 1.82 m; the layers pack to 1 m."""
    diameter = (4.0 / 3.141592653589793) ** 0.5
    height = floats.solution_height(BED, diameter)
    assert height.value == pytest.approx(1.82)
    assert floats.clear_height(BED, height, diameter).value == pytest.approx(0.82)


def test_workings_give_their_values() -> None:
    height = floats.solution_height(BED, 1.3)
    found = (
        height,
        floats.clear_height(BED, height, 1.3),
        floats.soaked_density(BED, BED.anion, "anion"),
        floats.soaked_density(BED, BED.cation, "cation"),
    )
    for figure in found:
        assert is_closed(figure)
        assert worked_out(figure) == pytest.approx(figure.value, rel=1e-9)


# --- properties -------------------------------------------------------------------------------------------------------
@given(st.floats(1000.0, 1250.0), st.floats(1000.0, 1250.0), st.floats(0.0, 20.0))
@settings(max_examples=60, deadline=None)
def test_a_denser_fluid_never_floats_less(first: float, second: float, spread: float) -> None:
    low, high = sorted((first, second))
    beads = replace(ANION, density_spread_kg_per_m3=spread)
    assert (
        floats.floating(beads, _fluid(high), "anion").value
        >= floats.floating(beads, _fluid(low), "anion").value
    )
    both = (
        floats.floating(beads, _fluid(low), "anion").value + floats.sinking(beads, _fluid(low), "anion").value
    )
    assert both == pytest.approx(1.0)


@given(cases)
@settings(max_examples=60, deadline=None)
def test_a_standing_solution_is_lighter_and_soaked_beads_are_heavier(case: FloatCase) -> None:
    fed = density_kg_per_m3(case.chemical, case.strength_frac, case.temperature_kelvin)
    assert 0.0 < floats.standing_strength(case).value < case.strength_frac
    assert _standing(case) < fed
    assert ANION.density_kg_per_m3 < _soaked(case) < ANION.density_kg_per_m3 + fed - 990.0


@given(cases, st.floats(1.02, 1.6))
@settings(max_examples=60, deadline=None)
def test_more_and_stronger_solution_floats_more(case: FloatCase, factor: float) -> None:
    assume(case.strength_frac * factor <= 0.26)
    assert _standing(replace(case, volume_m3=case.volume_m3 * factor)) > _standing(case)
    stronger = replace(case, strength_frac=case.strength_frac * factor)
    assert _standing(stronger) > _standing(case)
    # below about 4 % the beads gain as fast as the solution; where anything floats, strength helps
    if _margin(case) > -20.0:
        assert _margin(stronger) > _margin(case)


def test_what_is_let_down_touches_and_mixes_a_little_again() -> None:
    strength = floats.standing_strength(BED)
    bed = SeparationCase(
        cation=CATION, anion=replace(ANION, density_kg_per_m3=_soaked(BED)), cation_m3=0.4, anion_m3=0.6,
        internal_diameter_m=1.0, temperature_kelvin=288.15, fluid_density_kg_per_m3=_standing(BED),
        fluid_viscosity_pascal_s=viscosity.viscosity_pascal_s("nacl", strength.value, 288.15),
    )  # fmt: skip
    afloat, down = separation.predict(bed), separation.predict(replace(bed, is_let_down=True))
    # 0.3 % of the anion beads sink all the same; let down, the interface blurs over a centimeter
    assert 2.0 * afloat.cation_in_anion_frac.value < down.cation_in_anion_frac.value < 0.02
    assert down.overlap_frac.value > afloat.overlap_frac.value


# --- refusals ---------------------------------------------------------------------------------------------------------
def test_only_brine_and_caustic_float_a_resin_here() -> None:
    with pytest.raises(OutOfRange, match="Hydrochloric acid floats no resin here; brine or caustic does"):
        replace(BED, chemical="hcl")


@pytest.mark.parametrize("change", [{"volume_m3": 0.0}, {"strength_frac": 0.9}])
def test_a_solution_that_cannot_be_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        replace(BED, **change)
