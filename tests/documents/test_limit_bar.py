"""The limit bar on paper."""

import pytest

from regenplant.documents.limit_bar import arranged


def test_the_allowed_span_lies_between_two_limits_and_the_target_in_it():
    bar = arranged(60 / 60000, 73 / 60000, 66 / 60000, "flow")
    assert bar.low_at is not None and bar.high_at is not None and bar.target_at is not None
    assert 0 < bar.low_at < bar.target_at < bar.high_at < 1


def test_a_target_in_the_middle_stands_in_the_middle():
    bar = arranged(1.0, 3.0, 2.0, "length")
    assert bar.target_at == pytest.approx((bar.low_at + bar.high_at) / 2)


def test_conductivity_is_placed_by_its_logarithm():
    # 1 is the geometric middle of 0.1 and 10
    bar = arranged(0.1e-4, 10e-4, 1e-4, "conductivity")
    assert bar.target_at == pytest.approx((bar.low_at + bar.high_at) / 2)


def test_a_single_limit_leaves_the_other_side_open():
    assert arranged(30 * 60, None, None, "duration").high_at is None
    assert arranged(None, 1e-3, None, "hardness").low_at is None


def test_nothing_is_forbidden_below_zero_where_nothing_is_below_zero():
    assert arranged(0.0, 0.014, 0.0, "resin_volume").low_at == 0.0


def test_limits_upside_down_are_a_defect():
    with pytest.raises(ValueError, match="above the high limit"):
        arranged(3.0, 1.0, None, "length")


@pytest.mark.parametrize("target", [None, 99.0])
def test_a_target_outside_its_limits_is_not_drawn(target):
    assert arranged(1.0, 3.0, target, "length").target_at is None
