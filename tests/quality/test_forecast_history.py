"""Forecasts at each quarter of the way, beside how they came out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

from regenplant.quality.forecast_history import quarters


@dataclass
class Made:
    rinsed_bv: float
    p05_bv: float | None = 6.0
    p50_bv: float | None = 8.0
    p95_bv: float | None = 10.0
    p_never: float | None = 0.1
    enough_data: bool = True
    at: datetime = field(default=datetime(2026, 3, 11, tzinfo=UTC))


def test_each_quarter_shows_the_last_forecast_made_until_then() -> None:
    lines = quarters([Made(1.9), Made(2.1), Made(3.9, p05_bv=8.5), Made(7.0, p95_bv=7.5)], 9.0, 8.0)
    assert [line.share for line in lines] == [0.25, 0.5, 0.75, 1.0]
    assert [line.forecast.rinsed_bv for line in lines if line.forecast] == [1.9, 3.9, 3.9, 7.0]
    assert [line.came_out for line in lines] == ["inside", "sooner", "sooner", "later"]


def test_an_end_point_that_was_never_met_is_said() -> None:
    assert {line.came_out for line in quarters([Made(1.0)], 9.0, None)} == {"never"}


def test_a_forecast_without_enough_data_is_not_held_against_what_came() -> None:
    (first, *_) = quarters([Made(1.0, enough_data=False)], 9.0, 8.0)
    assert first.came_out == "" and first.forecast is not None


def test_nothing_is_shown_where_nothing_was_forecast() -> None:
    assert quarters([], 9.0, 8.0) == () and quarters([Made(1.0)], 0.0, None) == ()
    assert quarters([Made(5.0)], 9.0, 8.0)[0].forecast is None
