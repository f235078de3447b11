"""Backwash of a whole population, the recommended flow, the pressure drop by two methods."""

import math
import random

import fluids
import pytest
from fluids.drag import drag_sphere
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from regenplant.core.engineering import hydraulics, water
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.fluidization import (
    VOID_HIGH_FRAC,
    archimedes_number,
    settling_velocity_m_per_s,
    water_fluid,
)
from regenplant.core.engineering.hydraulics import BackwashLimit, Bead
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out

CATION = BeadPopulation(0.65e-3, 0.15, 1280.0, 5.0)
ANION = BeadPopulation(0.60e-3, 0.15, 1080.0, 5.0)
H = 3600.0

bead_populations = st.builds(
    BeadPopulation,
    st.floats(4e-4, 9e-4), st.floats(0.0, 0.3), st.floats(1060.0, 1350.0), st.floats(0.0, 5.0), st.floats(0.34, 0.42),
)  # fmt: skip
single_beads = st.builds(Bead, st.floats(3e-4, 1.2e-3), st.floats(1040.0, 1400.0), st.floats(0.34, 0.42))
temperatures = st.floats(274.15, 313.15)


def _figure(symbol: str, value: float, unit: str, kind: str) -> Estimate:
    return Estimate(symbol, "given", value, unit, kind, "on record", (), "given", "plant_record")


def _settled_by(law: str, bead: Bead, rho: float, mu: float) -> float:
    """Terminal velocity [m/s] where the library's drag balances the weight in water, bracketed: the library's own secant does
    not converge where a law in pieces, such as Clift's, steps from one piece to the next."""
    weight = math.pi / 6.0 * bead.diameter_m**3 * (bead.density_kg_per_m3 - rho) * 9.80665

    def excess(speed: float) -> float:
        drag = drag_sphere(rho * speed * bead.diameter_m / mu, Method=law)
        return float(drag * math.pi / 4.0 * bead.diameter_m**2 * rho * speed**2 / 2.0 - weight)

    return float(brentq(excess, 1e-6, 1.0, xtol=1e-12))


# --- settling -------------------------------------------------------------------------------------------------------
@given(
    single_beads,
    temperatures,
    st.sampled_from(["Haider_Levenspiel", "Clift_Gauvin", "Khan_Richardson", "Cheng", "Clift"]),
)
@settings(max_examples=200, deadline=None)
def test_other_drag_laws_agree_within_eight_percent(bead: Bead, temperature: float, law: str) -> None:
    """Five other drag laws of the fluids library, each fitted by its author to measured drag of spheres."""
    rho, mu = water.density_kg_per_m3(temperature), water.viscosity_pascal_s(temperature)
    other = _settled_by(law, bead, rho, mu)
    assert hydraulics.terminal_velocity_m_per_s(bead, temperature) == pytest.approx(other, rel=0.08)


def test_drag_of_the_settling_bead_balances_its_weight() -> None:
    """Schiller and Naumann's drag, written out here (from memory; the laws above are the proof): 24/Re (1 + 0.15 Re^0.687)."""
    rho, mu, d, density = 998.2, 1.0016e-3, 0.65e-3, 1280.0
    u = hydraulics.terminal_velocity_m_per_s(Bead(d, density), 293.15)
    reynolds = rho * u * d / mu
    drag = 24.0 / reynolds * (1.0 + 0.15 * reynolds**0.687) * math.pi / 4.0 * d**2 * rho * u**2 / 2.0
    assert drag == pytest.approx(math.pi / 6.0 * d**3 * (density - rho) * 9.80665, rel=0.10)


@given(single_beads, temperatures, st.floats(1.02, 1.3), st.floats(2.0, 60.0))
@settings(max_examples=40, deadline=None)
def test_larger_and_denser_beads_settle_faster(
    bead: Bead, temperature: float, larger: float, denser: float
) -> None:
    fluid = water_fluid(temperature)
    speed = settling_velocity_m_per_s(bead.diameter_m, bead.density_kg_per_m3, fluid)
    assert settling_velocity_m_per_s(bead.diameter_m * larger, bead.density_kg_per_m3, fluid) > speed
    assert settling_velocity_m_per_s(bead.diameter_m, bead.density_kg_per_m3 + denser, fluid) > speed


@given(st.floats(3e-4, 1.2e-3), st.floats(5.0, 200.0))
def test_a_bead_lighter_than_the_fluid_rises_as_a_heavier_one_sinks(diameter: float, gap: float) -> None:
    fluid = hydraulics.Fluid(1100.0, 1.5e-3)
    sinks = settling_velocity_m_per_s(diameter, 1100.0 + gap, fluid)
    assert settling_velocity_m_per_s(diameter, 1100.0 - gap, fluid) == pytest.approx(-sinks)
    assert archimedes_number(diameter, 1100.0 - gap, fluid) < 0.0 < sinks
    assert settling_velocity_m_per_s(diameter, 1100.0, fluid) == 0.0


# --- expansion ------------------------------------------------------------------------------------------------------
@given(single_beads, st.floats(0.02, 1.5), temperatures)
@settings(max_examples=40, deadline=None)
def test_a_population_without_spread_is_the_single_bead(
    bead: Bead, expansion: float, temperature: float
) -> None:
    alike = BeadPopulation(bead.diameter_m, 0.0, bead.density_kg_per_m3, 0.0, bead.settled_void_frac)
    velocity = hydraulics.velocity_for_expansion(bead, expansion, temperature).value
    assert hydraulics.velocity_for_population(bead, expansion, temperature).value == velocity
    assert hydraulics.velocity_for_population(alike, expansion, temperature).value == pytest.approx(
        velocity, rel=1e-6
    )
    for beads in (bead, alike):
        found = hydraulics.expansion_of_population(beads, velocity, temperature)
        assert found.value == pytest.approx(expansion, rel=1e-6)


@given(bead_populations, st.floats(0.1, 1.2), temperatures)
@settings(max_examples=40, deadline=None)
def test_flow_and_expansion_of_a_population_are_a_round_trip(
    population: BeadPopulation, expansion: float, temperature: float
) -> None:
    velocity = hydraulics.velocity_for_population(population, expansion, temperature)
    back = hydraulics.expansion_of_population(population, velocity.value, temperature)
    assert back.value == pytest.approx(expansion, rel=1e-4)


@given(bead_populations, st.floats(0.15, 1.0), st.floats(279.15, 313.15), st.floats(1.0, 5.0))
@settings(max_examples=40, deadline=None)
def test_colder_water_lifts_a_population_higher(
    population: BeadPopulation, expansion: float, temperature: float, colder: float
) -> None:
    velocity = hydraulics.velocity_for_population(population, expansion, temperature).value
    assert hydraulics.expansion_of_population(population, velocity, temperature - colder).value > expansion


@given(bead_populations, temperatures)
@settings(max_examples=40, deadline=None)
def test_more_flow_lifts_a_population_higher(population: BeadPopulation, temperature: float) -> None:
    top = hydraulics.velocity_for_population(population, 1.0, temperature).value
    heights = [
        hydraulics.expansion_of_population(population, top * step / 8.0, temperature).value
        for step in range(9)
    ]
    assert heights == sorted(heights)
    assert heights[0] == pytest.approx(0.0, abs=1e-9)


def test_expansion_of_many_sizes_agrees_with_drawn_beads() -> None:
    """Independent of the Gauss points: 20,000 drawn beads, Richardson and Zaki for each, heights added."""
    population, u, draw = BeadPopulation(0.65e-3, 0.25, 1280.0, 10.0), 15.0 / H, random.Random(3)
    height = 0.0
    for _ in range(20_000):
        bead = Bead(
            min(max(0.65e-3 * math.exp(draw.gauss(0.0, population.log_spread)), 1e-4), 3e-3),
            draw.gauss(1280.0, 10.0),
        )
        n = hydraulics.khan_richardson_exponent(hydraulics.archimedes(bead, 288.15))
        free = (u / hydraulics.terminal_velocity_m_per_s(bead, 288.15)) ** (1.0 / n)
        height += 0.62 / (1.0 - min(max(free, 0.38), VOID_HIGH_FRAC)) / 20_000
    ours = hydraulics.expansion_of_population(population, u, 288.15).value
    assert ours == pytest.approx(height - 1.0, abs=0.01)


def test_a_flow_that_carries_the_resin_out_is_refused() -> None:
    with pytest.raises(OutOfRange, match="carried out"):
        hydraulics.expansion_of_population(ANION, 40.0 / H, 283.15)
    with pytest.raises(OutOfRange, match="carried out"):
        hydraulics.expansion_of_population(Bead(0.6e-3, 1080.0), 40.0 / H, 283.15)


def test_beads_that_float_cannot_be_backwashed() -> None:
    light = BeadPopulation(0.6e-3, 0.1, 1000.0, 1.0)
    assert water.density_kg_per_m3(277.15) < 1000.0
    brine_like = BeadPopulation(0.6e-3, 0.1, 1000.0)
    with pytest.raises(OutOfRange, match="carried out"):
        hydraulics.expansion_of_population(light, 1.0 / H, 293.15)
    assert hydraulics.carry_over_velocity(brine_like, 277.15).value == 0.0


# --- carry-over -----------------------------------------------------------------------------------------------------
@given(bead_populations, temperatures, st.floats(0.0, 60.0), st.floats(1.0, 30.0))
@settings(max_examples=40, deadline=None)
def test_more_flow_loses_more_beads(
    population: BeadPopulation, temperature: float, velocity: float, more: float
) -> None:
    low = hydraulics.carry_over_risk(population, velocity / H, temperature).value
    high = hydraulics.carry_over_risk(population, (velocity + more) / H, temperature).value
    assert 0.0 <= low <= high <= 1.0


@given(bead_populations, temperatures)
@settings(max_examples=40, deadline=None)
def test_carry_over_velocity_lies_below_the_settling_velocity(
    population: BeadPopulation, temperature: float
) -> None:
    """The layer of a bead ends at a void fraction of 0.9, before the bead itself is lifted."""
    edge = hydraulics.carry_over_velocity(population, temperature).value
    assert hydraulics.carry_over_risk(population, edge, temperature).value < 0.05


def test_lost_beads_are_said() -> None:
    assert not hydraulics.carry_over_risk(CATION, 15.0 / H, 288.15).warnings
    lost = hydraulics.carry_over_risk(BeadPopulation(0.6e-3, 0.3, 1080.0, 8.0), 18.0 / H, 278.15)
    assert lost.value > 0.1
    assert "catcher" in lost.warnings[0]


def test_coarse_beads_need_more_flow_to_move_than_the_median() -> None:
    """Wen and Yu for d95 = d50·e^(1.645 σ); with no spread it is the single bead's own."""
    median = hydraulics.minimum_fluidization_velocity(Bead(0.65e-3, 1280.0), 288.15).value
    assert hydraulics.full_fluidization_velocity(CATION, 288.15).value > median
    assert hydraulics.full_fluidization_velocity(Bead(0.65e-3, 1280.0), 288.15).value == pytest.approx(median)


def test_minimum_fluidization_agrees_with_the_pressure_that_carries_the_bed() -> None:
    """Independent of Wen and Yu: Ergun's pressure drop equals the bed's weight in water; 25 % is their spread.

    The void fraction at the onset is that Wen and Yu's constants imply, 0.42 for spheres.
    """
    for bead in (Bead(0.65e-3, 1280.0, 0.42), Bead(0.60e-3, 1080.0, 0.42)):
        u = hydraulics.minimum_fluidization_velocity(bead, 288.15).value
        weight = (1.0 - 0.42) * (bead.density_kg_per_m3 - water.density_kg_per_m3(288.15)) * 9.80665
        low, high = (
            hydraulics.pressure_gradient_pascal_per_m(bead, u * factor, 288.15) for factor in (0.75, 1.5)
        )
        assert low < weight < high


# --- settling time --------------------------------------------------------------------------------------------------
def test_settling_time_by_hand() -> None:
    """1.2 m of bed, 50 % up at 5.10 m/h: 0.6 m down at 5.10 m/h = 423 s. Practice lets it settle 5 to 10 min."""
    bead = Bead(0.60e-3, 1080.0)
    velocity = hydraulics.velocity_for_expansion(bead, 0.5, 293.15).value
    time = hydraulics.settling_time(bead, 1.2, velocity, 293.15)
    assert time.value == pytest.approx(0.6 / velocity, rel=1e-6)
    assert 300.0 < time.value < 600.0


# --- the recommended flow -------------------------------------------------------------------------------------------
@given(
    bead_populations, st.floats(0.5, 2.0), st.floats(1.0, 4.0), temperatures, st.floats(0.2, 1.0), st.floats(0.0, 0.2)
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_the_recommended_flow_is_within_all_three_limits(
    population: BeadPopulation, depth: float, height: float, temperature: float, target: float, free: float
) -> None:
    assume(height * (1.0 - free) > depth * 1.05)
    flows = hydraulics.backwash_flows(population, depth, height, temperature, target, free)
    u = flows.recommended.value
    assert u == min(flows.by_target.value, flows.by_height.value, flows.by_carry_over.value)
    assert flows.recommended.method == f"governed by the {flows.governs.value}"
    assert depth * (1.0 + flows.expansion.value) <= height * (1.0 - free) * (1.0 + 1e-6)
    assert hydraulics.carry_over_risk(population, u, temperature).value <= 0.05
    assert (flows.recommended.warnings == ()) is (flows.governs is BackwashLimit.TARGET)


def test_each_limit_can_govern_and_says_so() -> None:
    roomy = hydraulics.backwash_flows(CATION, 1.0, 3.0, 288.15, 0.5, 0.1)
    low = hydraulics.backwash_flows(CATION, 1.0, 1.4, 288.15, 0.5, 0.1)
    fines = BeadPopulation(0.55e-3, 0.45, 1080.0, 15.0)
    fine = hydraulics.backwash_flows(fines, 0.6, 3.0, 288.15, 1.8, 0.1)
    assert roomy.governs is BackwashLimit.TARGET
    assert roomy.expansion.value == pytest.approx(0.5, rel=1e-4)
    assert low.governs is BackwashLimit.HEIGHT
    assert "no room for more" in low.recommended.warnings[0]
    assert low.expansion.value == pytest.approx((1.4 * 0.9 - 1.0) / 1.15, rel=1e-3)
    assert fine.governs is BackwashLimit.CARRY_OVER
    assert "carry off" in fine.recommended.warnings[0]


def test_a_bed_that_fills_the_vessel_is_not_expanded() -> None:
    full = hydraulics.recommended_backwash(CATION, 1.5, 1.6, 288.15, 0.5, 0.1)
    assert "leaves no room" in full.warnings[0]
    assert hydraulics.expansion_of_population(CATION, full.value, 288.15).value == pytest.approx(
        0.0, abs=1e-6
    )


def test_colder_water_asks_for_less_flow() -> None:
    flows = [
        hydraulics.recommended_backwash(ANION, 1.0, 3.0, 273.15 + celsius, 0.5, 0.1).value
        for celsius in (2.0, 5.0, 10.0, 15.0, 20.0, 30.0)
    ]
    assert flows == sorted(flows)
    assert flows[-1] > 1.8 * flows[0]


@pytest.mark.parametrize("beads", [Bead(0.65e-3, 1280.0), CATION], ids=["one size", "sieve spread"])
@pytest.mark.parametrize("celsius", [10.0, 15.0, 20.0])
def test_recommended_cation_flow_lies_in_the_handbook_range(
    beads: Bead | BeadPopulation, celsius: float
) -> None:
    """12 to 20 m/h: Davis 2010, Table 8-2 (read)."""
    flow = hydraulics.recommended_backwash(beads, 0.9, 2.2, 273.15 + celsius, 0.5, 0.1).value * H
    assert 12.0 <= flow <= 20.0


@pytest.mark.parametrize("celsius", [10.0, 15.0, 20.0])
def test_recommended_softener_flow_lies_in_the_military_range(celsius: float) -> None:
    """6 to 8 gpm/ft² = 14.7 to 19.6 m/h: MIL-HDBK-1164 (read), within the 15 % of the expansion model."""
    flow = hydraulics.recommended_backwash(CATION, 0.9, 2.2, 273.15 + celsius, 0.5, 0.1).value * H / 2.4448
    assert 6.0 * 0.85 <= flow <= 8.0 * 1.15


@pytest.mark.parametrize(
    ("beads", "expansion"),
    [
        (BeadPopulation(0.60e-3, 0.15, 1080.0), 0.60),
        (BeadPopulation(0.60e-3, 0.15, 1080.0), 0.75),
        (BeadPopulation(0.70e-3, 0.15, 1100.0), 0.50),
    ],
    ids=["gel 60 %", "gel 75 %", "macroporous 50 %"],
)
def test_recommended_anion_flow_lies_in_the_handbook_range(beads: BeadPopulation, expansion: float) -> None:
    """5 to 7.5 m/h: Davis 2010, Table 8-2 (read), at 20 °C and within the 15 % of the expansion model."""
    flow = hydraulics.recommended_backwash(beads, 0.9, 2.5, 293.15, expansion, 0.1).value * H
    assert 5.0 * 0.85 <= flow <= 7.5 * 1.15


def test_the_handbook_range_is_too_much_for_light_anion_resin_in_cold_water() -> None:
    """Why temperature is an input: 7.5 m/h, the top of the range (Davis 2010, read), at 10 °C lifts gel anion by 100 %."""
    assert hydraulics.expansion_of_population(ANION, 7.5 / H, 283.15).value > 1.0
    assert hydraulics.recommended_backwash(ANION, 0.9, 2.2, 283.15, 0.5, 0.1).value * H < 5.0


@pytest.mark.parametrize(
    ("depth", "height", "free", "name"),
    [(0.0, 2.0, 0.1, "bed depth"), (1.0, 0.0, 0.1, "straight height"), (1.0, 2.0, 1.0, "kept free")],
)
def test_a_vessel_that_cannot_be_is_refused(depth: float, height: float, free: float, name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        hydraulics.recommended_backwash(CATION, depth, height, 288.15, 0.5, free)


# --- pressure drop --------------------------------------------------------------------------------------------------
@given(single_beads, temperatures, st.floats(2.0, 100.0))
@settings(max_examples=40, deadline=None)
def test_carman_is_that_of_the_library(bead: Bead, temperature: float, velocity: float) -> None:
    """Our own writing of the equation against the fluids library's."""
    theirs = fluids.packed_bed.Carman(
        dp=bead.diameter_m, voidage=bead.settled_void_frac, vs=velocity / H,
        rho=water.density_kg_per_m3(temperature), mu=water.viscosity_pascal_s(temperature),
    )  # fmt: skip
    assert hydraulics.carman_gradient_pascal_per_m(bead, velocity / H, temperature) == pytest.approx(theirs)


def test_other_packed_bed_equations_agree_within_the_stated_uncertainty() -> None:
    """Three equations of other authors (fluids library) lie within 25 % of Ergun or of Carman in service and rinse."""
    bead, rho, mu = Bead(0.6e-3, 1280.0), water.density_kg_per_m3(288.15), water.viscosity_pascal_s(288.15)
    for velocity in (5.0, 15.0, 40.0):
        ergun = hydraulics.pressure_gradient_pascal_per_m(bead, velocity / H, 288.15)
        carman = hydraulics.carman_gradient_pascal_per_m(bead, velocity / H, 288.15)
        for law in (fluids.packed_bed.KTA, fluids.packed_bed.Brauer, fluids.packed_bed.Erdim_Akgiray_Demir):
            theirs = law(dp=0.6e-3, voidage=0.38, vs=velocity / H, rho=rho, mu=mu, L=1.0)
            assert 0.75 * ergun <= theirs <= 1.25 * carman


def test_the_disagreement_of_the_two_methods_is_said() -> None:
    velocity, depth = _figure("u", 20.0 / H, "m/s", "velocity"), _figure("h_0", 1.2, "m", "length")
    found = hydraulics.pressure_drop_methods(Bead(0.55e-3, 1280.0), velocity, depth, 288.15)
    assert found.disagreement_frac == pytest.approx(27.915 / 23.062 - 1.0, abs=0.01)
    assert "21 % more" in found.ergun.warnings[0]
    assert found.larger is found.carman


def test_a_wide_sieve_range_resists_more() -> None:
    velocity, depth = _figure("u", 20.0 / H, "m/s", "velocity"), _figure("h_0", 1.0, "m", "length")
    narrow, wide = (
        hydraulics.pressure_drop_methods(BeadPopulation(0.6e-3, spread, 1280.0), velocity, depth, 288.15)
        for spread in (0.05, 0.30)
    )
    assert wide.ergun.value > 1.05 * narrow.ergun.value


# --- workings -------------------------------------------------------------------------------------------------------
def _samples() -> list[Estimate]:
    bead = Bead(0.65e-3, 1280.0)
    velocity, depth = _figure("u", 20.0 / H, "m/s", "velocity"), _figure("h_0", 1.2, "m", "length")
    pressure = hydraulics.pressure_drop_methods(CATION, velocity, depth, 288.15)
    return [
        pressure.ergun,
        pressure.carman,
        hydraulics.full_fluidization_velocity(CATION, 288.15),
        hydraulics.settling_time(CATION, 1.2, 15.0 / H, 288.15),
        hydraulics.velocity_for_population(bead, 0.5, 288.15),
    ]


@pytest.mark.parametrize("estimate", _samples(), ids=lambda estimate: estimate.name[:40])
def test_the_printed_formula_gives_the_value(estimate: Estimate) -> None:
    assert is_closed(estimate)
    assert worked_out(estimate) == pytest.approx(estimate.value, rel=1e-9)


def test_solved_figures_say_that_they_are_solved() -> None:
    for estimate in (
        hydraulics.expansion_of_population(CATION, 15.0 / H, 288.15),
        hydraulics.velocity_for_population(CATION, 0.5, 288.15),
        hydraulics.carry_over_velocity(CATION, 288.15),
        hydraulics.carry_over_risk(CATION, 15.0 / H, 288.15),
        hydraulics.recommended_backwash(CATION, 1.0, 3.0, 288.15, 0.5, 0.1),
    ):
        assert not is_closed(estimate)
