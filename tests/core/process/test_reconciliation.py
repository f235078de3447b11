"""The balance of a tank between two counts, and how long a stock lasts: by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.errors import OutOfRange
from regenplant.core.process.reconciliation import (
    Balance,
    StockFigures,
    Verdict,
    judged,
    together,
    watch_mass_kg,
)
from regenplant.core.process.stock_forecast import HORIZON_DAYS, UsualUse, fall_kg, forecast, usual_use

MASSES = st.floats(0.0, 1e5)


# --- balance ----------------------------------------------------------------------------------------------------------
def test_a_balance_by_hand() -> None:
    """2,000 + 1,500 − 600 − 20 = 2,880; 2,840 found: 40 kg are missing, 6.7 % of the use."""
    balance = Balance(2000.0, 1500.0, 600.0, 20.0, 2840.0, spread_kg=15.0, watch_kg=18.0)
    assert (balance.expected_kg, balance.gap_kg) == (2880.0, -40.0)
    assert balance.gap_frac == pytest.approx(40.0 / 600.0)
    assert balance.verdict is Verdict.ABOVE


@pytest.mark.parametrize(
    ("gap", "verdict"),
    [(0.0, Verdict.NONE), (-15.0, Verdict.NONE), (15.1, Verdict.WITHIN), (-18.0, Verdict.WITHIN), (-18.1, Verdict.ABOVE), (18.1, Verdict.ABOVE)],
)  # fmt: skip
def test_a_difference_is_judged_on_both_sides(gap: float, verdict: Verdict) -> None:
    assert judged(gap, 15.0, 18.0) is verdict


def test_a_coarse_gauge_proves_nothing() -> None:
    """Above the watch level, but the gauge cannot tell it from nothing."""
    assert judged(-30.0, 40.0, 18.0) is Verdict.NONE


def test_nothing_used_has_no_share() -> None:
    assert Balance(100.0, 0.0, 0.0, 0.0, 90.0, 1.0, 1.0).gap_frac is None


@given(MASSES, MASSES, MASSES, MASSES, MASSES)
def test_what_is_found_closes_the_balance(
    opening: float, came: float, used: float, other: float, found: float
) -> None:
    balance = Balance(opening, came, used, other, found, 1.0, 1.0)
    assert balance.expected_kg + balance.gap_kg == pytest.approx(found, abs=1e-6)


def test_the_watch_level_of_the_trade() -> None:
    """Common practice: 3 % of the use or 25 L of product, whichever is larger. 25 L of 32 % acid (371 kg/m³ as 100 %) are 9.3 kg."""
    figures = StockFigures()
    assert watch_mass_kg(100.0, figures, 371.0) == pytest.approx(9.275)
    assert watch_mass_kg(600.0, figures, 371.0) == pytest.approx(18.0)
    assert watch_mass_kg(600.0, figures, None) == pytest.approx(18.0)
    assert watch_mass_kg(-5.0, figures, None) == 0.0


def test_spreads_add_as_squares() -> None:
    assert together(3.0, 4.0) == 5.0


# --- forecast ---------------------------------------------------------------------------------------------------------
STEADY = UsualUse(50.0, 0.0, 28)


def test_usual_use_counts_idle_days() -> None:
    use = usual_use([100.0, 0.0, 50.0, 0.0, 100.0, 0.0, 100.0])
    assert use is not None and use.mean_kg == pytest.approx(50.0) and use.days == 7
    assert use.deviation_kg == pytest.approx(
        50.0
    )  # squares of the distances: 4 · 2,500 + ... = 15,000; over 6: 2,500
    assert usual_use([100.0] * 6) is None and usual_use([0.0] * 20) is None


def test_a_steady_stock_by_hand() -> None:
    """1,000 kg, mark 300, 50 kg a day: 700/50 = 14 days still leave exactly the mark, on day 15 it is under it."""
    found = forecast(1000.0, 300.0, 0.0, STEADY)
    assert found.low.likely_days == found.low.early_days == found.low.late_days == 15
    assert found.empty.likely_days == 21


def test_the_plan_draws_first_and_is_part_of_the_usual_use() -> None:
    """A plan of 200 kg is four usual days: it brings a crossing that is near forward, one that is far not."""
    assert forecast(450.0, 300.0, 200.0, STEADY).low.likely_days == 0
    assert forecast(450.0, 300.0, 0.0, STEADY).low.likely_days == 4
    assert forecast(1000.0, 300.0, 200.0, STEADY).low.likely_days == 15
    assert forecast(1000.0, 300.0, 200.0, STEADY).after_plan_kg == 800.0


def test_only_the_plan_is_known() -> None:
    assert forecast(450.0, 300.0, 100.0, None).low.likely_days is None
    assert forecast(450.0, 300.0, 151.0, None).low.likely_days == 0


def test_spread_makes_a_band() -> None:
    """Days of 50 ± 30 kg: after 10 days 500 ± 1.645 · 30 · √(10 · 38/28)."""
    use = UsualUse(50.0, 30.0, 28)
    assert fall_kg(10, 0.0, use, 1.6449) == pytest.approx(
        500.0 + 1.6449 * 30.0 * math.sqrt(10.0 * 38.0 / 28.0)
    )
    band = forecast(1000.0, 300.0, 0.0, use).low
    assert band.early_days is not None and band.likely_days == 15 and band.late_days is not None
    assert band.early_days < 15 < band.late_days


@given(MASSES, MASSES, MASSES, st.floats(0.1, 1e3), st.floats(0.0, 1e3))
def test_early_is_never_after_likely_nor_late(
    held: float, low: float, planned: float, mean: float, deviation: float
) -> None:
    found = forecast(held, low, planned, UsualUse(mean, deviation, 28))
    for crossing in (found.low, found.empty):
        days = [
            HORIZON_DAYS + 1 if day is None else day
            for day in (crossing.early_days, crossing.likely_days, crossing.late_days)
        ]
        assert days == sorted(days)
    empties = [
        HORIZON_DAYS + 1 if day is None else day for day in (found.low.likely_days, found.empty.likely_days)
    ]
    assert empties == sorted(empties)


def test_a_mark_below_nothing_is_refused() -> None:
    with pytest.raises(OutOfRange, match="at least nothing"):
        forecast(10.0, -1.0, 0.0, None)
