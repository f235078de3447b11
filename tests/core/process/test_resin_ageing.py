"""Ageing of resin: the published tables, closed forms of the update, and what must hold whatever is found."""

from __future__ import annotations

import math
import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.errors import OutOfRange
from regenplant.core.process.resin_ageing import (
    LEAST_FACTOR,
    LOT_SD,
    NEW_SD,
    RINSE_SD,
    SLOPE,
    SLOPE_SD,
    Belief,
    Curve,
    Evidence,
    Part,
    curve_of,
    from_load,
    from_rinse,
    from_test,
    learned_slope,
    left,
    mean_age_years,
    prior,
    stands_apart,
    update,
)
from regenplant.core.process.vocabulary import ResinFamily
from tests.core.reference_rows import Row, rows

CURVE = {"type 1": Curve.TYPE_1, "type 2": Curve.TYPE_2, "cation": Curve.CATION}


# --- published ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("row", rows("resin_ageing", quantity="^strong-base capacity left"))
@pytest.mark.requirement("RS-04")
def test_strong_base_capacity_left_by_year(row: Row) -> None:
    kind, year = row.numbers(r"(type [12]), (\d) years?")
    row.check(100.0 * left(CURVE[kind], float(year)).mean)


@pytest.mark.parametrize("row", rows("resin_ageing", quantity="^capacity left of cation"))
def test_cation_stays_within_the_published_loss(row: Row) -> None:
    """1 and 5 % a year are taken as two deviations around the middle: the table's two ends are met by mean ± 2 sd, less what new resin
    itself differs."""
    (year,) = row.numbers(r"(\d+) years?")
    found = left(Curve.CATION, float(year))
    spread = math.sqrt(found.sd**2 - NEW_SD**2)
    end = found.mean + 2.0 * spread if "least loss" in row.quantity else found.mean - 2.0 * spread
    row.check(100.0 * end)


def test_the_range_of_type_2_lies_within_the_band() -> None:
    for year, low, high in ((1, 0.57, 0.64), (2, 0.41, 0.56), (3, 0.39, 0.55), (4, 0.37, 0.52)):
        band = left(Curve.TYPE_2, year)
        assert band.low < low < band.mean < high < band.high


def test_past_the_table_it_goes_on_and_says_less() -> None:
    four, six, eight = (left(Curve.TYPE_1, year) for year in (4, 6, 8))
    assert six.mean == pytest.approx(0.73 - 2 * 0.02)
    assert eight.sd > six.sd > four.sd
    assert left(Curve.CATION, 60).mean == LEAST_FACTOR


def test_weak_acid_cation_borrows_the_rate_with_twice_the_spread_and_says_so() -> None:
    own, borrowed = left(Curve.CATION, 6.0), left(Curve.WEAK_CATION, 6.0)
    assert borrowed.mean == own.mean
    assert borrowed.sd**2 - NEW_SD**2 == pytest.approx(4.0 * (own.sd**2 - NEW_SD**2))
    assert curve_of(ResinFamily.WAC_HYDROGEN) is Curve.WEAK_CATION
    assert "No rate of weak-acid cation" in Curve.WEAK_CATION.words


def test_every_resin_that_exchanges_ions_has_a_curve() -> None:
    single = [family for family in ResinFamily if not family.is_mixed and not family.is_exchanged]
    assert all(curve_of(family).words.endswith(".") for family in single)
    for family in set(ResinFamily) - set(single):
        with pytest.raises(OutOfRange, match="no ageing of its own"):
            curve_of(family)


# --- the lot as parts -----------------------------------------------------------------------------------------------------
def test_a_lot_of_two_ages_is_the_mean_of_both_by_share() -> None:
    """By hand: 0.75 · 0.83 + 0.25 · 0.73 = 0.805; deviations 0.75 · √(0.02² + (0.17/3)²) + 0.25 · √(0.02² + 0.09²)."""
    found = prior(Curve.TYPE_1, [Part(0.75, 1.0), Part(0.25, 4.0)])
    assert found.mean == pytest.approx(0.805)
    assert found.sd == pytest.approx(0.75 * math.hypot(0.02, 0.17 / 3) + 0.25 * math.hypot(0.02, 0.09))


def test_unknown_age_is_anything_up_to_old() -> None:
    """Rectangular between the factor of new resin and that of 8 years (1 − 0.24): mean 0.88, deviation at least 0.24/√12."""
    found = prior(Curve.CATION, [Part(1.0, None)])
    assert found.mean == pytest.approx(0.88)
    assert found.sd > 0.24 / math.sqrt(12.0)
    at_least = prior(Curve.CATION, [Part(1.0, 6.0, is_at_least=True)])
    assert at_least.mean == pytest.approx((0.82 + 0.76) / 2.0)


def test_shares_that_are_no_whole_are_refused() -> None:
    with pytest.raises(OutOfRange, match=r"add to 90\.00 %"):
        prior(Curve.CATION, [Part(0.5, 1.0), Part(0.4, 2.0)])
    with pytest.raises(OutOfRange, match="must make 100 %"):
        prior(Curve.CATION, [])


def test_the_mean_age_counts_what_is_known() -> None:
    assert mean_age_years([Part(0.5, 2.0), Part(0.25, 6.0), Part(0.25, None)]) == pytest.approx(10.0 / 3.0)
    assert mean_age_years([Part(1.0, None)]) is None


# --- the update -------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-04")
def test_one_measurement_meets_the_prior_by_precision() -> None:
    """Normal mean with known variance: prior 0.80 ± 0.06, measured 0.74 ± 0.03 → weights 1 : 4, mean 0.752, sd 0.06/√5."""
    found = update(Belief(0.80, 0.06), [Evidence("test", 0.74, 0.03)])
    assert found.now.mean == pytest.approx(0.752)
    assert found.now.sd == pytest.approx(0.06 / math.sqrt(5.0))
    assert found.shares == pytest.approx({"prior": 0.2, "test": 0.8})
    assert found.widening == 1.0


@pytest.mark.requirement("RS-04")
def test_disagreement_widens_by_the_birge_ratio() -> None:
    """0.90 ± 0.02 and 0.70 ± 0.02: mean 0.80, χ² = 2 · (0.1/0.02)² = 50 over one degree: √50 times 0.02/√2."""
    found = update(Belief(0.90, 0.02), [Evidence("test", 0.70, 0.02)])
    assert found.now.mean == pytest.approx(0.80)
    assert found.widening == pytest.approx(math.sqrt(50.0))
    assert found.now.sd == pytest.approx(math.sqrt(50.0) * 0.02 / math.sqrt(2.0))


def test_at_least_cuts_as_the_closed_form_says() -> None:
    """N(μ, σ) times Φ((c − b)/s): mean μ + σ²/√(σ²+s²) · φ(z)/Φ(z) with z = (μ − b)/√(σ²+s²); variance of the extended skew normal."""
    mu, sigma, bound, s = 0.70, 0.08, 0.78, 0.05
    found = update(Belief(mu, sigma), [Evidence("load", bound, s, is_at_least=True)])
    normal = statistics.NormalDist()
    total = math.hypot(sigma, s)
    z = (mu - bound) / total
    hazard = normal.pdf(z) / normal.cdf(z)
    mean = mu + sigma**2 / total * hazard
    variance = sigma**2 - sigma**4 / total**2 * hazard * (z + hazard)
    assert found.now.mean == pytest.approx(mean, abs=1e-6)
    assert found.now.sd == pytest.approx(math.sqrt(variance), abs=1e-6)
    assert found.cut_from_below


def test_a_small_load_says_next_to_nothing() -> None:
    found = update(Belief(0.80, 0.05), [Evidence("load", 0.30, 0.03, is_at_least=True)])
    assert found.now.mean == pytest.approx(0.80, abs=1e-6) and not found.cut_from_below


def test_a_bound_far_above_all_belief_stands() -> None:
    found = update(Belief(0.40, 0.005), [Evidence("load", 1.2, 0.005, is_at_least=True)])
    assert 0.4 < found.now.mean <= 1.2 and found.now.sd >= 0.005


PIECES = st.lists(
    st.builds(
        Evidence, st.text(min_size=1, max_size=3), st.floats(0.2, 1.2), st.floats(0.01, 0.4), st.booleans()
    ),
    max_size=6,
)


@given(pieces=PIECES, seed=st.integers(0, 1000))
def test_the_order_of_the_evidence_does_not_matter(pieces: list[Evidence], seed: int) -> None:
    other = pieces[:]
    random.Random(seed).shuffle(other)
    first, second = update(Belief(0.8, 0.06), pieces), update(Belief(0.8, 0.06), other)
    assert first.now.mean == pytest.approx(second.now.mean, abs=1e-9)
    assert first.now.sd == pytest.approx(second.now.sd, abs=1e-9)


@given(pieces=PIECES)
def test_evidence_narrows_unless_it_disagrees_and_bounds_only_lift(pieces: list[Evidence]) -> None:
    firm = [one for one in pieces if not one.is_at_least]
    found, without = update(Belief(0.8, 0.06), pieces), update(Belief(0.8, 0.06), firm)
    assert without.now.sd / without.widening <= 0.06 + 1e-12
    assert found.now.mean >= without.now.mean - 1e-6
    assert sum(found.shares.values()) == pytest.approx(1.0)


# --- what each observation says ----------------------------------------------------------------------------------------------
def test_a_test_is_carried_forward_by_what_ageing_takes() -> None:
    """Tested 0.80 of new a year after delivery; a year later published ageing has taken 0.83 − 0.76 more."""
    then, now = left(Curve.TYPE_1, 1.0), left(Curve.TYPE_1, 2.0)
    found = from_test("LT-1", 1.04, 1.30, 0.05, then=then, now=now)
    assert found.factor == pytest.approx(0.80 - 0.07)
    assert found.sd == pytest.approx(math.sqrt((0.05 * 0.8) ** 2 + now.sd**2 - then.sd**2))
    mixed = from_test("LT-1", 1.04, 1.30, 0.05, share_frac=0.6, then=then, now=now)
    assert mixed.sd == pytest.approx(math.hypot(found.sd, 0.4 * LOT_SD))


@pytest.mark.parametrize(
    ("measured", "new", "says"),
    [(0.0, 1.3, "above zero"), (2.0, 1.3, "possible here"), (1.0, -1.0, "above zero")],
)
def test_a_capacity_that_cannot_be_is_refused(measured: float, new: float, says: str) -> None:
    belief = Belief(1.0, 0.02)
    with pytest.raises(OutOfRange, match=says):
        from_test("LT-1", measured, new, 0.05, then=belief, now=belief)


def test_a_longer_rinse_says_less_capacity_and_a_shorter_one_nothing_more() -> None:
    at_first = Belief(0.95, 0.03)
    risen = from_rinse("rinse", 0.4, at_first)
    assert risen.factor == pytest.approx(0.95 * (1.0 - SLOPE * 0.4))
    assert risen.sd == pytest.approx(math.hypot(0.03, 0.95 * SLOPE_SD * 0.4, RINSE_SD))
    assert from_rinse("rinse", -0.3, at_first).factor == pytest.approx(0.95)


def test_a_load_of_exhausted_tanks_is_a_measure_and_any_other_a_bound() -> None:
    full = from_load("B-1", 540.0, 600.0, 0.10, was_exhausted=True)
    assert (full.factor, full.is_at_least) == (pytest.approx(0.9), False)
    assert from_load("B-1", 540.0, 600.0, 0.10, was_exhausted=False).is_at_least
    with pytest.raises(OutOfRange, match="Look at the throughput"):
        from_load("B-1", 6000.0, 600.0, 0.10, was_exhausted=True)


def test_the_plants_own_tests_teach_the_slope() -> None:
    """By hand: prior 0.5 ± 0.25 (precision 16); one pair (0.4, 0.3) with σ 0.1 adds 16 and 12: mean (8 + 12)/32."""
    slope, sd = learned_slope([(0.4, 0.3)])
    assert slope == pytest.approx(0.625) and sd == pytest.approx(1.0 / math.sqrt(32.0))
    assert learned_slope([(-0.2, 0.1)]) == (SLOPE, pytest.approx(SLOPE_SD))


def test_what_stands_apart_is_said() -> None:
    believed = Belief(0.85, 0.04)
    assert stands_apart(Evidence("t", 0.60, 0.04), believed)
    assert not stands_apart(Evidence("t", 0.78, 0.04), believed)
    assert not stands_apart(Evidence("l", 0.30, 0.03, is_at_least=True), believed)
    assert stands_apart(Evidence("l", 1.15, 0.03, is_at_least=True), believed)
