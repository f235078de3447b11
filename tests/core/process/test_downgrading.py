"""What is lower, and which class goes down: by limits, never by the names of grades."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.downgrading import classes_below, is_laxer, why_not_lower
from regenplant.core.process.specification import Limit, LimitBasis, Specification
from regenplant.core.process.vocabulary import ResinFamily, SegregationClass

C, D = SegregationClass.HIGH_PURITY, SegregationClass.INDUSTRIAL
PRESENT = next(one for one in default_specifications() if one.family is ResinFamily.SBA_TYPE_1)


def with_limit(measurement: str, **change: object) -> Specification:
    limits = tuple(
        replace(limit, **change) if limit.measurement == measurement else limit for limit in PRESENT.limits
    )
    return replace(PRESENT, code="OTHER", limits=limits)


def high(measurement: str) -> float:
    limit = PRESENT.limit(measurement)
    assert limit is not None and limit.high is not None
    return limit.high


def test_only_class_c_goes_down_and_nothing_goes_up() -> None:
    """ "Down-grading (C to D) is allowed once with a record; up-grading is never allowed": practice of the trade."""
    below = {item.value: [one.value for one in classes_below(item)[1:]] for item in SegregationClass}
    assert below == {"A": [], "B": [], "C": ["D"], "D": [], "E": [], "F": [], "X": []}
    assert why_not_lower(PRESENT, PRESENT, D, C) and why_not_lower(
        PRESENT, PRESENT, C, SegregationClass.POTABLE
    )


def test_a_wider_limit_is_lower_and_a_narrower_one_is_not() -> None:
    wider = with_limit("conductivity", high=3 * high("conductivity"))
    assert why_not_lower(PRESENT, wider, D, D) == () and is_laxer(PRESENT, wider)
    (said,) = why_not_lower(wider, PRESENT, D, D)
    assert "Nothing is upgraded" in said


def test_wider_in_one_limit_and_narrower_in_another_is_not_lower() -> None:
    """The numbers of published grades are no ranking: type II of one standard allows more conductivity than type III."""
    mixed = with_limit("conductivity", high=3 * high("conductivity"))
    mixed = replace(
        mixed,
        limits=tuple(
            replace(one, high=high("silica") / 2) if one.measurement == "silica" else one
            for one in mixed.limits
        ),
    )
    assert any("Silica" in sentence for sentence in why_not_lower(PRESENT, mixed, D, D))


def test_a_limit_left_out_is_lower_and_the_same_limits_are_none() -> None:
    fewer = replace(
        PRESENT, code="FEWER", limits=tuple(one for one in PRESENT.limits if one.measurement != "silica")
    )
    assert why_not_lower(PRESENT, fewer, D, D) == ()
    assert why_not_lower(PRESENT, replace(PRESENT, code="SAME"), D, D) and not why_not_lower(
        PRESENT, PRESENT, C, D
    )


def test_a_table_for_uncompensated_readings_is_not_compared_with_a_limit_at_25_degrees() -> None:
    table = ((298.15, 1.3e-4), (303.15, 1.4e-4))
    uncompensated = Limit(
        "conductivity", "Conductivity", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, table=table
    )
    other = replace(PRESENT, code="TABLE", limits=(uncompensated, *PRESENT.limits[1:]))
    assert why_not_lower(PRESENT, other, D, D) and why_not_lower(other, PRESENT, D, D)
    wider = replace(uncompensated, table=tuple((kelvin, 2 * value) for kelvin, value in table))
    assert why_not_lower(other, replace(other, code="WIDE", limits=(wider, *PRESENT.limits[1:])), D, D) == ()
    assert why_not_lower(replace(other, limits=(wider, *PRESENT.limits[1:])), other, D, D)


@pytest.mark.parametrize("letter", ["A"])
def test_dedicated_resin_is_not_downgraded(letter: str) -> None:
    wider = with_limit("conductivity", high=3 * high("conductivity"))
    item = SegregationClass(letter)
    assert any("goes back to its own customer" in one for one in why_not_lower(PRESENT, wider, item, item))
