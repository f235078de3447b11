"""A stock under an accepted plan and by the days of the week, by hand."""

from __future__ import annotations

import math

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.stock_forecast import (
    Z_90,
    DayUse,
    PlannedCourse,
    UsualUse,
    fall_kg,
    forecast,
    usual_use,
)

STEADY = UsualUse(50.0, 0.0, 28)
WEEK = [70.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]
"""Use by day, oldest first: yesterday took 60 kg, the same day of the week as today 70."""


def test_days_of_the_week_are_told_apart_from_two_of_each_on() -> None:
    assert usual_use(WEEK) is not None and usual_use(WEEK).week == ()  # type: ignore[union-attr]
    found = usual_use([*WEEK, *(kg + 2.0 for kg in WEEK)])
    assert found is not None
    assert [day.mean_kg for day in found.week] == [71.0, 11.0, 21.0, 31.0, 41.0, 51.0, 61.0]
    assert {day.count for day in found.week} == {2}
    assert found.week[0].deviation_kg == pytest.approx(math.sqrt(2.0))  # 70 and 72: (1 + 1)/(2 − 1) = 2


def test_the_use_of_some_days_is_that_of_their_days_of_the_week() -> None:
    """Two weeks alike. Today and tomorrow 70 + 10; from the third day on ten days 20+30+40+50+60 + 70+10 + 20+30+40 = 370."""
    found = usual_use([*WEEK, *WEEK])
    assert found is not None
    assert found.kg(0, 0) == 0.0
    assert found.kg(0, 2) == 80.0
    assert found.kg(2, 10) == 370.0
    assert found.kg(9, 10) == 370.0, "a week later it is the same"
    assert found.kg(0, 10, Z_90) == found.kg(0, 10), "no spread, no band"


def test_the_spread_of_days_alike_adds_with_that_of_their_mean() -> None:
    """Only today's day of the week varies, ± 12 kg over 4 of them. Fifteen days hold three of them: s² · 3 · (1 + 3/4) = 756."""
    week = (DayUse(40.0, 12.0, 4), *(DayUse(0.0, 0.0, 4) for _ in range(6)))
    use = UsualUse(40.0 / 7, 17.0, 28, week)
    assert use.kg(0, 15) == 120.0
    assert use.kg(0, 15, 2.0) == pytest.approx(120.0 + 2.0 * math.sqrt(756.0))
    assert use.kg(0, 15, -9.0) == 0.0


def test_each_draw_of_a_plan_counts_on_its_day_and_the_usual_use_behind_its_last() -> None:
    """1,000 kg; open batches draw 30 at once, the plan 200 today and 100 on day 2; from day 3 on 50 a day."""
    course = PlannedCourse(((0, 200.0), (2, 100.0)), reach_day=2)
    found = forecast(1000.0, 450.0, 30.0, STEADY, (), course)
    assert [found.level_kg(day) for day in range(6)] == [770.0, 770.0, 670.0, 620.0, 570.0, 520.0]
    assert [found.is_planned(day) for day in range(4)] == [True, True, True, False]
    assert found.low.likely_days == 7  # 420 < 450
    assert found.low.early_days == 7


def test_the_early_edge_never_falls_by_less_than_the_usual_use() -> None:
    """A thin plan of 10 kg over ten days: what comes in meanwhile is in no plan, so on day 8 400 kg may be gone."""
    course = PlannedCourse(((0, 10.0),), reach_day=10)
    found = forecast(1000.0, 650.0, 0.0, STEADY, (), course)
    assert found.level_kg(8) == 990.0
    assert found.level_kg(8, Z_90) == 600.0
    assert found.low.early_days == 8
    assert found.low.likely_days == 17  # 1,000 − 10 − 7 · 50 = 640


def test_a_delivery_lifts_the_course_from_the_day_after() -> None:
    course = PlannedCourse(((1, 400.0),), reach_day=1)
    found = forecast(500.0, 300.0, 0.0, None, ((1, 600.0),), course)
    assert [found.level_kg(day) for day in range(4)] == [500.0, 100.0, 700.0, 700.0]
    assert found.low.likely_days == 1


def test_without_a_usual_use_only_the_plan_is_known() -> None:
    assert fall_kg(5, 10.0, None, Z_90, PlannedCourse(((3, 90.0),), 3)) == 100.0


@pytest.mark.parametrize("draw", [(-1, 5.0), (1, -5.0)])
def test_no_draw_of_a_plan_is_below_nothing(draw: tuple[int, float]) -> None:
    with pytest.raises(OutOfRange):
        forecast(10.0, 0.0, 0.0, None, (), PlannedCourse((draw,), 3))
