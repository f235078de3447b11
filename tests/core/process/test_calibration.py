"""Points of a calibration, worked by hand."""

from __future__ import annotations

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.calibration import Point, corrected, found_within, left_within, margin_frac


def test_a_point_is_judged_by_its_share_of_the_reference() -> None:
    point = Point(84e-4, 82.4e-4, None, 0.02)  # 1.6 of 84 is 1.9 %
    assert found_within([point]) is True and left_within([point]) is True
    assert point.error_of(82.4e-4) == pytest.approx(-1.6 / 84)
    assert found_within([Point(84e-4, 82.3e-4, None, 0.02)]) is False  # 1.7 of 84 is 2.02 %


def test_a_point_on_the_edge_of_its_tolerance_is_within() -> None:
    assert Point(100.0, 102.0, None, 0.02).is_within(102.0)
    assert Point(7.0, 7.05, None, 0.05, is_relative=False).is_within(7.05)


def test_found_outside_and_left_within_are_two_answers() -> None:
    points = [Point(84e-4, 76e-4, 84.2e-4, 0.02), Point(10e-4, 10e-4, None, 0.02)]
    assert (found_within(points), left_within(points)) == (False, True)


def test_without_an_as_found_nothing_is_said_about_it() -> None:
    assert found_within([Point(84e-4, None, 84e-4, 0.02)]) is None
    assert (found_within([]), left_within([])) == (None, None)


def test_the_factor_found_corrects_a_reading_in_proportion() -> None:
    """It showed 90 where 100 was: what it shows as 9 is 10."""
    assert corrected(9.0, [Point(100.0, 90.0, None, 0.02)]) == pytest.approx(10.0)


def test_the_nearest_point_by_ratio_corrects() -> None:
    points = [Point(10.0, 8.0, None, 0.02), Point(1000.0, 1000.0, None, 0.02)]
    assert corrected(20.0, points) == pytest.approx(25.0)
    assert corrected(200.0, points) == pytest.approx(200.0)  # nearer to 1000 than to 8 by ratio


def test_a_difference_corrects_by_the_difference() -> None:
    """A pH meter that showed 7.20 in a buffer of 7.00 shows 0.20 too much."""
    assert corrected(8.4, [Point(7.0, 7.2, None, 0.05, is_relative=False)]) == pytest.approx(8.2)


def test_without_an_as_found_nothing_is_corrected() -> None:
    assert corrected(9.0, [Point(100.0, None, 100.0, 0.02)]) is None


@pytest.mark.parametrize(
    ("value", "low", "high", "margin"),
    [
        (9.0, None, 10.0, 0.1),
        (11.0, None, 10.0, -0.1),
        (6.0, 5.0, 8.0, 0.2),  # 0.2 of 5 under 0.25 of 8
        (8.0, 5.0, 8.5, 0.5 / 8.5),
        (3.0, None, None, None),
        (0.5, None, 0.0, -0.5),
    ],
)
def test_the_margin_is_a_share_of_the_nearer_limit(
    value: float, low: float | None, high: float | None, margin: float | None
) -> None:
    assert margin_frac(value, low, high) == (None if margin is None else pytest.approx(margin))


@pytest.mark.parametrize(
    ("reference", "found", "left", "tolerance", "is_relative", "field"),
    [
        (84.0, 84.0, None, 0.0, True, "tolerance"),
        (84.0, 84.0, None, 0.6, True, "tolerance"),
        (0.0, 84.0, None, 0.02, True, "reference"),
        (84.0, None, None, 0.02, True, "as_found"),
        (84.0, -1.0, None, 0.02, True, "as_found"),
        (7.0, 7.0, None, -0.05, False, "tolerance"),
    ],
)
def test_a_point_that_cannot_be_is_refused(
    reference: float, found: float | None, left: float | None, tolerance: float, is_relative: bool, field: str
) -> None:
    with pytest.raises(OutOfRange) as refused:
        Point(reference, found, left, tolerance, is_relative)
    assert refused.value.field == field
