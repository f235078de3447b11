"""A stock with deliveries on their way, by hand: 50 kg a day, every day alike."""

from __future__ import annotations

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.stock_forecast import HORIZON_DAYS, UsualUse, forecast

STEADY = UsualUse(50.0, 0.0, 28)


@pytest.mark.parametrize(
    ("coming", "low_in", "empty_in"),
    [
        ((), 4, 10),  # 450 − 4 · 50 = 250 < 300; 450 − 10 · 50 = −50 < 0
        (((2, 400.0),), 12, 18),  # 850 − 12 · 50 = 250; 850 − 18 · 50 = −50
        (((4, 400.0),), 4, 18),  # it counts from day 5: on day 4 there are 250 kg
        (((0, 100.0), (3, 100.0)), 8, 14),  # 650 − 8 · 50 = 250; 650 − 14 · 50 = −50
        (((30, 400.0),), 4, 10),  # too late
    ],
)
def test_the_day_it_runs_low_and_empty(
    coming: tuple[tuple[int, float], ...], low_in: int, empty_in: int
) -> None:
    found = forecast(450.0, 300.0, 0.0, STEADY, coming)
    assert (found.low.likely_days, found.empty.likely_days) == (low_in, empty_in)


def test_the_plan_draws_first_and_a_delivery_lifts_it() -> None:
    """450 − 200 = 250 < 300 today; no delivery of today helps today."""
    assert forecast(450.0, 300.0, 200.0, None, ((0, 500.0),)).low.likely_days == 0
    assert forecast(450.0, 300.0, 100.0, None, ((0, 500.0),)).low.likely_days is None
    assert forecast(450.0, 300.0, 0.0, STEADY, ((1, 50.0 * HORIZON_DAYS),)).low.likely_days is None


@pytest.mark.parametrize("coming", [((-1, 10.0),), ((1, -10.0),)])
def test_nothing_below_nothing_is_expected(coming: tuple[tuple[int, float], ...]) -> None:
    with pytest.raises(OutOfRange):
        forecast(450.0, 300.0, 0.0, STEADY, coming)
