"""Beads as a population: quadrature, sieve data, distributions of a property."""

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import beads
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.fluidization import (
    carry_over_curve,
    layer_density_curve,
    settling_curve,
    settling_velocity_m_per_s,
    water_fluid,
)
from regenplant.core.errors import OutOfRange

populations = st.builds(
    BeadPopulation,
    st.floats(4e-4, 9e-4), st.floats(0.0, 0.3), st.floats(1060.0, 1350.0), st.floats(0.0, 15.0), st.floats(0.34, 0.42),
)  # fmt: skip
spread_populations = st.builds(
    BeadPopulation, st.floats(4e-4, 9e-4), st.floats(0.02, 0.3), st.floats(1060.0, 1350.0), st.floats(0.5, 15.0)
)  # fmt: skip


@pytest.mark.parametrize("count", [1, 2, 5, 15])
def test_gauss_points_have_the_moments_of_the_normal_distribution(count: int) -> None:
    """Moments 1, 0, 1, 0, 3, 0, 15 of the standard normal distribution, exact to degree 2n − 1."""
    moments = (1.0, 0.0, 1.0, 0.0, 3.0, 0.0, 15.0)
    for degree, moment in enumerate(moments[: 2 * count]):
        ours = sum(weight * score**degree for score, weight in beads.gauss_normal(count))
        assert ours == pytest.approx(moment, abs=1e-10)


@given(populations)
@settings(max_examples=40, deadline=None)
def test_classes_keep_the_volume_and_the_means(population: BeadPopulation) -> None:
    """Mean of a lognormal: median · e^(σ²/2); mean density as given."""
    classes = population.classes()
    assert sum(beads.share_frac for beads in classes) == pytest.approx(1.0, abs=1e-12)
    mean = sum(beads.share_frac * beads.diameter_m for beads in classes)
    assert mean == pytest.approx(population.diameter_m * math.exp(population.log_spread**2 / 2.0), rel=1e-5)
    density = sum(beads.share_frac * beads.density_kg_per_m3 for beads in classes)
    assert density == pytest.approx(population.density_kg_per_m3, rel=1e-9)


def test_beads_without_spread_are_one_class() -> None:
    (only,) = BeadPopulation(0.6e-3, 0.0, 1080.0, 0.0).classes()
    assert (only.share_frac, only.diameter_m, only.density_kg_per_m3) == (1.0, 0.6e-3, 1080.0)


def test_sauter_diameter_is_the_volume_over_the_surface() -> None:
    population = BeadPopulation(0.6e-3, 0.25, 1080.0, 0.0)
    per_class = 1.0 / sum(one.share_frac / one.diameter_m for one in population.classes())
    assert population.sauter_diameter_m == pytest.approx(per_class, rel=1e-9)


def test_uniformity_coefficient_of_a_worked_sieve_analysis() -> None:
    """By hand: d10 = 0.50 mm, d60 = 0.80 mm: σ = ln 1.6 / (0.2533 + 1.2816) = 0.3062, d50 = 0.5·e^(1.2816·0.3062) = 0.740."""
    spread = beads.spread_from_uniformity(1.6)
    median = beads.median_from_effective_size(0.5e-3, 1.6)
    assert math.sqrt(math.log(1.0 + spread**2)) == pytest.approx(0.3062, abs=2e-4)
    assert median == pytest.approx(0.740e-3, rel=1e-3)
    population = BeadPopulation(median, spread, 1280.0)
    assert population.effective_size_m == pytest.approx(0.5e-3)
    assert population.diameter_quantile_m(0.6) == pytest.approx(0.8e-3)
    assert population.uniformity_coefficient == pytest.approx(1.6)


@given(st.floats(1.0, 2.4))
def test_uniformity_and_spread_are_a_round_trip(uniformity: float) -> None:
    spread = beads.spread_from_uniformity(uniformity)
    assert BeadPopulation(0.6e-3, spread, 1200.0).uniformity_coefficient == pytest.approx(uniformity)


@given(spread_populations, st.floats(0.02, 0.98), st.sampled_from([278.15, 293.15, 313.15]))
@settings(max_examples=40, deadline=None)
def test_quantile_and_share_are_a_round_trip(population: BeadPopulation, share: float, kelvin: float) -> None:
    fluid = water_fluid(kelvin)
    for curve in (settling_curve(population, fluid), carry_over_curve(population, fluid)):
        assert curve.share_below(curve.quantile(share)) == pytest.approx(share, abs=2e-3)


@given(populations, st.floats(0.0, 0.05))
@settings(max_examples=40, deadline=None)
def test_distributions_rise_from_nothing_to_all(population: BeadPopulation, velocity: float) -> None:
    fluid = water_fluid(293.15)
    for curve in (settling_curve(population, fluid), layer_density_curve(population, velocity, fluid)):
        low, high = curve.lowest, curve.highest
        shares = [curve.share_below(low + (high - low) * step / 20.0) for step in range(21)]
        assert shares == sorted(shares)
        assert curve.share_below(low - 1e-6) == 0.0
        assert curve.share_below(high + 1e-6) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "population",
    [
        BeadPopulation(0.65e-3, 0.25, 1280.0, 10.0),
        BeadPopulation(0.60e-3, 0.10, 1080.0, 12.0),
        BeadPopulation(0.60e-3, 0.02, 1080.0, 20.0),
    ],
)
def test_settling_distribution_agrees_with_drawn_beads(population: BeadPopulation) -> None:
    """Independent of the tabulation: 20,000 beads drawn with a fixed seed, each settling on its own."""
    fluid, draw = water_fluid(288.15), random.Random(7)
    speeds = sorted(
        settling_velocity_m_per_s(
            population.diameter_m * math.exp(draw.gauss(0.0, population.log_spread)),
            draw.gauss(population.density_kg_per_m3, population.density_spread_kg_per_m3),
            fluid,
        )
        for _ in range(20_000)
    )
    curve = settling_curve(population, fluid)
    for share in (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99):
        assert curve.share_below(speeds[int(share * 20_000)]) == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize(
    ("numbers", "name"),
    [
        ((5e-3, 0.1, 1280.0), "bead diameter"),
        ((6e-4, 0.9, 1280.0), "spread of the bead diameter"),
        ((6e-4, 0.1, 900.0), "wet density"),
        ((6e-4, 0.1, 1280.0, 100.0), "spread of the wet density"),
        ((6e-4, 0.1, 1280.0, 5.0, 0.9), "void fraction"),
    ],
)
def test_beads_that_cannot_be_are_refused(numbers: tuple[float, ...], name: str) -> None:
    with pytest.raises(OutOfRange, match=name):
        BeadPopulation(*numbers)


def test_numbers_of_a_data_sheet_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutOfRange, match="uniformity coefficient"):
        beads.spread_from_uniformity(0.9)
    with pytest.raises(OutOfRange, match="effective size"):
        beads.median_from_effective_size(0.5, 1.6)
    with pytest.raises(OutOfRange, match="share of the bead volume"):
        BeadPopulation(6e-4, 0.1, 1280.0).diameter_quantile_m(1.0)
