"""A hold that is told by more than one clock: hand and meter, or two meters, whose clocks may be apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from regenplant.core.process.acceptance import Outcome, judge
from regenplant.core.process.series import Series, series_of
from tests.core.process.test_acceptance import SPECIFICATION, reading

WIDE = replace(SPECIFICATION, longest_gap_s=1200.0)


def by_two_clocks(minutes: float) -> Series:
    """Four readings inside the limit over so many minutes: the first by hand, the others of a meter of the same cell."""
    found = series_of([reading(minutes * part / 3.0, 8.0 - 0.1 * part) for part in range(4)])
    return replace(found, is_by_hand=np.array([True, False, False, False]))


@pytest.mark.parametrize(("minutes", "met"), [(16.0, False), (17.1, True)])
def test_a_hold_told_by_two_clocks_is_shorter_by_what_they_may_differ(minutes: float, met: bool) -> None:
    """A quarter of an hour is asked for; a meter's clock may be two minutes ahead of the plant's."""
    verdict = judge(by_two_clocks(minutes), WIDE, rinsed_bv=10.0)
    assert verdict.held_s == pytest.approx(60.0 * (minutes - 2.0))
    (told,) = [reason for reason in verdict.reasons if reason.measurement == "conductivity"]
    assert (told.outcome is Outcome.PASS) == met
    assert ("less 2\u00a0min, as two clocks tell it" in told.sentence) == (not met)


def test_one_clock_tells_the_whole_hold() -> None:
    for by_hand in ([True] * 4, [False] * 4):
        series = replace(by_two_clocks(16.0), is_by_hand=np.array(by_hand))
        assert judge(series, WIDE, rinsed_bv=10.0).held_s == pytest.approx(960.0)


def test_two_meters_are_two_clocks() -> None:
    series = replace(by_two_clocks(16.0), is_by_hand=np.zeros(4, dtype=bool), instrument=np.array([0, 0, 1, 1]), instrument_codes=("A", "B"))  # fmt: skip
    assert judge(series, WIDE, rinsed_bv=10.0).held_s == pytest.approx(840.0)
