"""What days ask against what is there, by hand."""

from __future__ import annotations

import math

import pytest

from regenplant.core.scheduling.days_ahead import (
    Asked,
    Usual,
    bottleneck,
    by_day,
    overtime_by_day,
    usual_week,
    whole,
)

EDGES = (0, 1440, 2880)
"""Two days."""


def test_an_interval_over_midnight_is_shared_by_its_days() -> None:
    """From 23:00 to 01:00 two people: 120 person minutes on each day. What lies outside, or ends before it begins, counts nowhere."""
    assert by_day([(1380, 1500, 2.0)], EDGES) == [120.0, 120.0]
    assert by_day([(-60, 30, 1.0), (2870, 3000, 1.0), (50, 40, 9.0)], EDGES) == [30.0, 10.0]
    assert by_day([], EDGES) == [0.0, 0.0]


def test_overtime_is_what_is_needed_while_nobody_works() -> None:
    """Three quarters of an operator from 13:30 to 14:30, one there till 14:00; two at once at 08:00, where one works. By hand: 30 minutes
    of 0.75 after the shift, 22.5; the second at 08:00 waits until the first is done."""
    taken = [(810, 870, 0.75), (480, 540, 1.0), (480, 540, 1.0)]
    there = [(360, 600, 1.0), (600, 840, 1.0)]
    assert overtime_by_day(taken, there, EDGES) == [pytest.approx(22.5), 0.0]
    assert overtime_by_day([(1430, 1450, 2.0)], [], EDGES) == [20.0, 20.0]
    assert overtime_by_day([(300, 400, 1.0)], [(320, 340, 1.0), (360, 380, 0.0)], EDGES) == [80.0, 0.0]


def test_overtime_is_what_goes_beyond_all_hours_of_a_day() -> None:
    """Ten hours of two in a shift of one over eight hours: by hand 20 h asked; 4 h lie outside of it (two hours of two), 16 in it, 8 there."""
    assert overtime_by_day([(300, 900, 2.0)], [(360, 840, 1.0)], EDGES) == [(4 + 8) * 60, 0.0]


def test_the_usual_week_begins_with_the_day_of_today() -> None:
    """Fourteen days, yesterday the last with 7 and 14 hours: today is the day that took 1 and 8."""
    found = usual_week([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14])
    assert [day.mean for day in found] == [4.5, 5.5, 6.5, 7.5, 8.5, 9.5, 10.5]
    assert found[0] == Usual(4.5, pytest.approx(math.sqrt(24.5)), 2)  # (3.5² + 3.5²)/1


def test_too_few_weeks_tell_no_days_apart_and_too_few_days_nothing() -> None:
    assert usual_week([5.0] * 6) == ()
    assert (
        usual_week([0.0, 0.0, 7.0, 0.0, 0.0, 0.0, 0.0]) == (Usual(1.0, pytest.approx(math.sqrt(7.0)), 7),) * 7
    )


def test_the_bottleneck_is_what_is_asked_for_most_of() -> None:
    things = {
        "C1": Asked(12.0, 24.0),
        "skid": Asked(9.0, 16.0),
        "A1": Asked(9.0, 16.0),
        "water": Asked(5.0, None),
    }
    assert bottleneck(things) == "skid"
    assert things["skid"].share_frac == 0.5625
    assert things["water"].share_frac is None
    assert bottleneck({"C1": Asked(0.0, 24.0)}) == ""
    assert bottleneck({}) == ""


def test_nothing_there_has_no_share() -> None:
    assert Asked(3.0, 0.0).share_frac is None


def test_days_together() -> None:
    assert whole([Asked(2.0, 8.0), Asked(0.0, 0.0)]) == Asked(2.0, 8.0)
    assert whole([Asked(2.0, 8.0), Asked(1.0, None)]) == Asked(3.0, None)
