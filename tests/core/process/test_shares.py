"""Exact limits of shares against published values, sums of whole numbers, and values worked out by hand."""

from __future__ import annotations

import math

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.shares import TAIL, at_most, count_limits, exact_interval, share_of
from tests.core.reference_rows import Row, rows


@pytest.mark.parametrize("row", rows("control_charts", quantity="exact limit of a share"))
def test_exact_limits_of_a_share_are_the_published_ones(row: Row) -> None:
    row.check(exact_interval(7, 50, 0.95)["upper" in row.quantity])


def test_binomial_chances_are_the_sums_of_whole_numbers() -> None:
    for trials in (1, 2, 5, 17, 60):
        for share in (0.001, 0.05, 0.3, 0.5, 0.95, 0.999):
            for count in range(-1, trials + 1):
                exact = sum(
                    math.comb(trials, k) * share**k * (1 - share) ** (trials - k) for k in range(count + 1)
                )
                assert at_most(count, trials, share) == pytest.approx(exact, abs=1e-12)


def test_nothing_and_all_have_an_interval_worked_out_by_hand() -> None:
    # none of n: the upper end is 1 − (α/2)^(1/n)
    assert exact_interval(0, 5) == (0.0, pytest.approx(1 - 0.025 ** (1 / 5)))
    assert exact_interval(5, 5) == (pytest.approx(0.025 ** (1 / 5)), 1.0)


def test_limits_of_a_count_leave_out_what_chance_hardly_does() -> None:
    for trials in (1, 5, 12, 40, 400):
        for share in (0.5, 0.9, 0.95, 0.99):
            low, high = count_limits(trials, share)
            assert at_most(low - 1, trials, share) <= TAIL < at_most(low, trials, share)
            assert 1 - at_most(high, trials, share) <= TAIL < 1 - at_most(high - 1, trials, share)


def test_a_small_month_is_not_judged_by_the_normal_curve() -> None:
    # 5 batches at 95 %: the normal curve says 0.95 ± 3·√(0.95·0.05/5), that is 66 to 124 %
    assert count_limits(5, 0.95) == (3, 5)
    assert share_of(2, 5, 0.95).is_low and not share_of(3, 5, 0.95).is_low


def test_shares_that_are_none_are_refused() -> None:
    for count, trials in ((1, 0), (3, 2), (-1, 2)):
        with pytest.raises(OutOfRange):
            exact_interval(count, trials)
    with pytest.raises(OutOfRange):
        at_most(1, 2, 1.1)
