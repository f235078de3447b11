"""Sums of the audit in whole numbers: spread against the standard library, shares that always add up, shifts."""

from __future__ import annotations

import statistics
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.errors import OutOfRange
from regenplant.core.process import use_audit
from regenplant.core.process.use_audit import (
    SPLIT,
    Sums,
    shared,
    shared_sums,
    shift_at,
    summed,
    variance_step,
)


def batch(planned: int, used: int, volume_ml: int = 300_000) -> Sums:
    count, total, squares = use_audit.compared_sums(variance_step(used, planned))
    return Sums(
        1, volume_ml, 12_000, planned, used, used, compared=count, variance_sum=total, variance_squares=squares
    )  # fmt: skip


def test_a_group_by_hand() -> None:
    found = summed([batch(30_000, 30_000), batch(30_000, 33_000), batch(30_000, 29_400)])
    assert (found.batches, found.planned_grams, found.used_grams) == (3, 90_000, 92_400)
    # 2,400 over 90,000; mean of 0, +10 and -2 %; squares 7.11 + 53.78 + 21.78 over 2, root 6.43 %
    assert found.variance_frac == pytest.approx(0.0266667, abs=1e-7)
    assert found.mean_variance_frac == pytest.approx(0.0266667, abs=1e-5)
    assert found.spread_frac == pytest.approx(0.064291, abs=1e-5)
    # 92.4 kg over 36 kg of stoichiometry; 92.4 kg on 900 L
    assert found.ratio == pytest.approx(92.4 / 36) and found.efficiency_frac == pytest.approx(36 / 92.4)
    assert found.used_kg_per_m3 == pytest.approx(92.4 / 0.9)


def test_nothing_compared_says_nothing() -> None:
    assert Sums().variance_frac is None and Sums().spread_frac is None and Sums().ratio is None
    assert batch(100, 100).spread_frac is None, "one batch has no spread"
    assert variance_step(500, 0) is None


def test_a_slip_of_units_does_not_drown_the_sums() -> None:
    assert variance_step(10**9, 1) == 100 * use_audit.VARIANCE_STEP


masses = st.integers(1, 200_000_000)


@given(st.lists(st.tuples(masses, st.integers(0, 200_000_000)), min_size=3, max_size=30))
def test_the_spread_is_that_of_the_standard_library(pairs: list[tuple[int, int]]) -> None:
    steps = [variance_step(used, planned) for planned, used in pairs]
    found = summed(batch(planned, used) for planned, used in pairs)
    # both from the same whole numbers, the library by fractions: no tolerance but that of a square root
    expected = statistics.stdev([Fraction(step or 0, use_audit.VARIANCE_STEP) for step in steps])
    assert found.spread_frac == pytest.approx(float(expected), rel=1e-12, abs=1e-12)


@given(st.permutations([batch(30_000, 31_000 + 7 * n) for n in range(6)]))
def test_the_order_of_entry_does_not_matter(order: list[Sums]) -> None:
    assert summed(order) == summed(batch(30_000, 31_000 + 7 * n) for n in range(6))
    assert summed([*order, *(-one for one in order)]) == Sums()


weights = st.dictionaries(
    st.text("ABC123", min_size=1, max_size=4), st.floats(0, 1e6), min_size=1, max_size=12
)


@given(st.integers(-(10**9), 10**12), weights)
def test_shares_add_up_to_the_whole_and_lie_within_one_of_their_part(
    whole: int, by_key: dict[str, float]
) -> None:
    if sum(by_key.values()) <= 0:
        with pytest.raises(OutOfRange):
            shared(whole, by_key)
        return
    parts = shared(whole, by_key)
    assert sum(parts.values()) == whole
    total = sum(Fraction(weight) for weight in by_key.values())
    for key, part in parts.items():
        exact = Fraction(whole) * Fraction(by_key[key]) / total
        # one of rounding, and what floats of 53 bits lose of a whole of up to 10^12
        assert abs(part - exact) <= 1 + Fraction(abs(whole), 2**50)


def test_a_batch_in_three_parts_is_one_batch_in_each() -> None:
    whole = batch(30_001, 31_000)
    parts = shared_sums(whole, {"A": 0.1, "B": 0.1, "C": 0.1})
    assert [parts[key].planned_grams for key in "ABC"] == [10_001, 10_000, 10_000], "the first by name"
    assert all(part.batches == 1 and part.variance_sum == whole.variance_sum for part in parts.values())
    for name in SPLIT:
        assert sum(getattr(part, name) for part in parts.values()) == getattr(whole, name)


@pytest.mark.parametrize("bad", [{}, {"A": 0.0}, {"A": -1.0, "B": 2.0}, {"A": float("nan")}])
def test_no_share_without_weight(bad: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        shared(100, bad)


@pytest.mark.parametrize(
    ("minute", "beginnings", "name"),
    [
        (6 * 60, ("06:00", "14:00", "22:00"), "06:00–14:00"),
        (14 * 60 - 1, ("06:00", "14:00", "22:00"), "06:00–14:00"),
        (23 * 60, ("22:00", "06:00", "14:00"), "22:00–06:00"),
        (5 * 60 + 59, ("06:00", "14:00", "22:00"), "22:00–06:00"),
        (12 * 60, ("7:30",), "07:30–07:30"),
    ],
)
def test_the_shift_of_a_minute(minute: int, beginnings: tuple[str, ...], name: str) -> None:
    assert shift_at(minute, beginnings) == name


@pytest.mark.parametrize("bad", ["24:00", "6", "6:0", "06:60", "-1:00", "٠٦:٠٠", ""])
def test_what_is_no_time_of_day_is_refused_with_the_range(bad: str) -> None:
    with pytest.raises(OutOfRange, match="00:00 to 23:59"):
        shift_at(0, [bad])
