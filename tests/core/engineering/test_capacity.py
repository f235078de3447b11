"""Capacity, leakage and cross-contamination: bounds, monotony, balances, refusals, workings."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import capacity, leakage
from regenplant.core.engineering.capacity_data import CURVES, CapacityCurve, curve
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.interpolation import monotone
from regenplant.core.engineering.leakage import mixed_bed_leakage
from regenplant.core.engineering.sources import HowKnown, source
from regenplant.core.engineering.substances import SUBSTANCES
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out

KNOWN = tuple(entry for entry in CURVES if entry.chemical in SUBSTANCES)
curves = st.sampled_from(KNOWN)
shares = st.floats(0.0, 1.0)


def _dose(entry: CapacityCurve, share: float) -> float:
    low, high = entry.lowest_dose_kg_per_m3, entry.highest_dose_kg_per_m3
    return low + share * (high - low)


@given(curves, shares, shares)
@settings(max_examples=200, deadline=None)
def test_more_regenerant_gives_more_capacity_never_above_its_bounds(
    entry: CapacityCurve, one: float, other: float
) -> None:
    small, large = sorted((_dose(entry, one), _dose(entry, other)))
    less = capacity.operating_capacity(entry.family, entry.chemical, small)
    more = capacity.operating_capacity(entry.family, entry.chemical, large)
    assert less.value <= more.value * (1.0 + 1e-12)
    for figure, dose in ((less, small), (more, large)):
        applied = capacity.applied_eq_per_m3(entry.chemical, dose).value
        assert 0.0 < figure.value <= min(applied, entry.total_eq_per_m3) * (1.0 + 1e-12)


@given(curves, shares, st.floats(200.0, 3000.0))
@settings(max_examples=100, deadline=None)
def test_capacity_never_exceeds_the_resin_it_is_asked_for(
    entry: CapacityCurve, share: float, total: float
) -> None:
    figure = capacity.operating_capacity(
        entry.family, entry.chemical, _dose(entry, share), total_capacity_eq_per_m3=total
    )
    assert figure.value <= total


@given(curves, shares)
@settings(max_examples=100, deadline=None)
def test_the_ratio_is_never_below_stoichiometric(entry: CapacityCurve, share: float) -> None:
    level = capacity.regeneration_level(entry.family, entry.chemical, _dose(entry, share))
    assert level.ratio.value >= 1.0
    assert 0.0 < level.efficiency.value <= 1.0
    assert level.ratio.value * level.efficiency.value == pytest.approx(1.0)
    for figure in (level.applied, level.ratio, level.efficiency):
        assert worked_out(figure) == pytest.approx(figure.value)


@given(
    st.sampled_from([("sac_h", "hcl"), ("sac_h", "h2so4"), ("sac_na", "nacl")]), shares, st.floats(0.01, 0.3)
)
@settings(max_examples=100, deadline=None)
def test_more_regenerant_leaks_less(pair: tuple[str, str], share: float, step: float) -> None:
    entry = curve(*pair)
    doses = (_dose(entry, share * 0.7), _dose(entry, share * 0.7 + step))
    levels = [
        capacity.regeneration_level(*pair, dose, strong_anions_eq_per_m3=3.0, cations_eq_per_m3=6.0)
        for dose in doses
    ]
    first, second = (level.leakage for level in levels)
    assert first is not None and second is not None
    assert second.value < first.value
    assert levels[0].leakage_of == ("sodium" if pair[0] == "sac_h" else "hardness")
    assert levels[0].residual is not None
    assert worked_out(levels[0].residual) == pytest.approx(levels[0].residual.value)


@given(
    st.lists(
        st.tuples(st.floats(20.0, 300.0), st.floats(100.0, 1500.0)),
        min_size=2,
        max_size=6,
        unique_by=lambda p: round(p[0]),
    ),
    shares,
)
@settings(max_examples=100, deadline=None)  # fmt: skip
def test_a_monotone_curve_rises_wherever_its_points_do(
    points: list[tuple[float, float]], share: float
) -> None:
    xs = sorted(x for x, _ in points)
    ys = sorted(y for _, y in points)
    here = xs[0] + share * (xs[-1] - xs[0])
    beyond = min(here + 0.01 * (xs[-1] - xs[0]), xs[-1])
    assert monotone(xs, ys, here) <= monotone(xs, ys, beyond) + 1e-9
    assert ys[0] - 1e-9 <= monotone(xs, ys, here) <= ys[-1] + 1e-9
    assert monotone(xs, ys, xs[0]) == pytest.approx(ys[0])
    assert monotone(xs, ys, xs[-1]) == pytest.approx(ys[-1])


def test_own_points_go_before_the_method() -> None:
    own = ((60.0, 700.0), (120.0, 1150.0))
    figure = capacity.operating_capacity("sac_h", "hcl", 90.0, points=own)
    assert 700.0 < figure.value < 1150.0
    assert figure.source == "plant_record"
    assert capacity.operating_capacity("sac_h", "hcl", 120.0, points=own).value == pytest.approx(1150.0)
    assert not any("memory" in warning for warning in figure.warnings)


def test_own_points_that_cannot_be_are_capped_or_refused() -> None:
    too_good = capacity.operating_capacity("sac_h", "hcl", 36.461, points=((36.461, 1500.0),))
    assert too_good.value == pytest.approx(1000.0)
    assert any("equivalents applied" in warning for warning in too_good.warnings)
    with pytest.raises(OutOfRange, match="do not rise"):
        capacity.operating_capacity("sac_h", "hcl", 80.0, points=((60.0, 900.0), (90.0, 800.0)))
    with pytest.raises(OutOfRange, match="points say nothing"):
        capacity.operating_capacity("sac_h", "hcl", 500.0, points=((60.0, 900.0),))


def test_a_dose_outside_is_refused_and_one_between_points_and_range_is_warned() -> None:
    with pytest.raises(OutOfRange):
        capacity.operating_capacity("sac_na", "nacl", 400.0)
    with pytest.raises(OutOfRange, match="No capacity is known"):
        capacity.operating_capacity("gac", "naoh", 80.0)
    low, high = (capacity.operating_capacity("sac_na", "nacl", dose) for dose in (60.0, 300.0))
    assert any("efficiency is kept" in warning for warning in low.warnings)
    assert any("capacity is kept" in warning for warning in high.warnings)
    assert low.uncertainty_frac and low.uncertainty_frac > 0.25


def test_what_is_from_memory_says_so() -> None:
    for entry in CURVES:
        known = source(entry.source).how_known
        assert known in (HowKnown.READ, HowKnown.MEMORY, HowKnown.PRACTICE)
        if known is HowKnown.MEMORY:
            assert "memory" in entry.caution
            assert entry.uncertainty_frac >= 0.2


def test_a_weak_acid_uses_its_acid_nearly_wholly() -> None:
    """105 to 110 % of the load is common practice."""
    level = capacity.regeneration_level("wac_h", "hcl", 100.0)
    assert 1.05 <= level.ratio.value <= 1.10
    assert worked_out(level.capacity) == pytest.approx(level.capacity.value)


# --- leakage --------------------------------------------------------------------------------------------------------
@given(st.floats(0.0, 0.9), st.floats(0.1, 20.0), st.floats(1.0, 4.0))
@settings(max_examples=100, deadline=None)
def test_a_bed_never_leaks_more_sodium_than_there_is_acid(
    residual: float, anions: float, selectivity: float
) -> None:
    figure = leakage.sodium_leakage(residual, anions, selectivity)
    assert 0.0 <= figure.value <= 0.02299 * anions * residual * (1.0 + 1e-12)
    assert worked_out(figure) == pytest.approx(figure.value, abs=1e-15)


def test_much_alkalinity_is_said_to_lower_the_leakage() -> None:
    assert leakage.sodium_leakage(0.1, 1.0, alkalinity_eq_per_m3=4.0).warnings


@given(st.floats(0.01, 0.8), st.floats(1.0, 50.0))
@settings(max_examples=100, deadline=None)
def test_hardness_leaks_by_the_exchange_equilibrium(residual: float, cations: float) -> None:
    """The answer put back into K = (y/(1 − y)²)·((1 − x)²/x)·(c/Q)."""
    figure = leakage.hardness_leakage(residual, cations, 2000.0, 3.0)
    x = figure.value / 0.05004345 / cations
    assert 0.0 < x < 1.0
    back = residual / (1.0 - residual) ** 2 * (1.0 - x) ** 2 / x * cations / 2000.0
    assert back == pytest.approx(3.0, rel=1e-6)
    assert worked_out(figure) == pytest.approx(figure.value)


def _mixed(cation: float = 0.01, anion: float = 0.01, **options: float) -> leakage.MixedBedLeakage:
    return mixed_bed_leakage(cation, anion, cation_m3=0.4, anion_m3=0.6, **options)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5))
@settings(max_examples=60, deadline=None)
def test_a_mixed_bed_at_equilibrium_keeps_every_balance(cation: float, anion: float) -> None:
    """Charge and ion product, from the printed answers; the exchange constants put back."""
    bed = _mixed(cation, anion)
    sodium = bed.sodium.value / 0.022990
    chloride = bed.chloride.value / 0.035453
    hydrogen = 10.0 ** (3.0 - bed.ph.value) * 0.99705
    hydroxide = sodium + hydrogen - chloride
    product = hydrogen * hydroxide
    assert product == pytest.approx(1.0118e-8 * 0.99409, rel=2e-3)
    y = min(bed.sodium_frac.value, 0.98)
    assert y / (1.0 - y) * hydrogen / sodium == pytest.approx(leakage.SODIUM_OVER_HYDROGEN, rel=1e-3)


def test_worse_separation_leaks_more_and_says_how_much() -> None:
    clean, poor = _mixed(0.0, 0.0), _mixed(0.05, 0.05)
    assert clean.sodium_rise.value == pytest.approx(1.0)
    assert poor.sodium_rise.value > 4.0
    assert poor.chloride_rise.value > 1.5
    assert poor.sodium.value > clean.sodium.value
    assert poor.chloride.value > clean.chloride.value
    assert 16.0e4 < poor.resistivity.value < 18.3e4
    assert any("floor" in warning for warning in poor.resistivity.warnings)
    assert any("separate again" in warning for warning in _mixed(0.2, 0.0).sodium_frac.warnings)


def _figures(bed: leakage.MixedBedLeakage) -> tuple[Estimate, ...]:
    return (
        bed.sodium_frac,
        bed.chloride_frac,
        bed.sodium,
        bed.chloride,
        bed.sodium_rise,
        bed.chloride_rise,
        bed.resistivity,
    )


@pytest.mark.parametrize("figure", _figures(_mixed()))
def test_the_working_of_a_mixed_bed_gives_its_values(figure: Estimate) -> None:
    assert is_closed(figure)
    assert worked_out(figure) == pytest.approx(figure.value, rel=1e-9)


def test_impossible_mixed_beds_are_refused() -> None:
    for bad in ({"cation": 0.7}, {"anion": -0.1}, {"sodium_selectivity": 9.0}, {"residual_sodium_frac": 0.9}):
        with pytest.raises(OutOfRange):
            _mixed(**bad)
