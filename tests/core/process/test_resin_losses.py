"""What cycles lose: the rate against a statistics library, by hand, and in properties; and when resin is to be added."""

from __future__ import annotations

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from regenplant.core.errors import OutOfRange
from regenplant.core.process.resin_losses import (
    MOST_CYCLES,
    T95,
    Cycle,
    loss_rate,
    reasons_to_top_up,
)

pytestmark = pytest.mark.requirement("RS-08")
cycle = st.builds(
    Cycle, st.floats(0.05, 2.0), st.just(0.0), st.floats(0.04, 2.0), st.floats(0.01, 1.0), st.integers(0, 6)
)


def lost(*fractions: float, **more: float) -> list[Cycle]:
    """Cycles of 100 L that lost these shares, the oldest first; one after the other."""
    last = len(fractions) - 1
    return [Cycle(0.1, 0.0, 0.1 * (1 - one), 1.0, last - step) for step, one in enumerate(fractions)]


def test_the_quantiles_are_those_of_an_open_library() -> None:
    """SciPy's Student t; three decimals as the handbook's table prints them."""
    assert [round(float(stats.t.ppf(0.95, free)), 3) for free in range(1, len(T95) + 1)] == list(T95)
    assert len(T95) == MOST_CYCLES - 1


def test_the_rate_by_hand() -> None:
    """2, 4 and 3 % of 100 L: mean 3 %, deviation 1 %, band 2.920 · 1 / √3 = 1.69; 1 − 0.98 · 0.96 · 0.97 is short."""
    rate = loss_rate(lost(0.02, 0.04, 0.03))
    assert rate is not None and (rate.count, rate.steps_since) == (3, 3)
    assert rate.mean_frac == pytest.approx(0.03) and rate.sd_frac == pytest.approx(0.01)
    assert (rate.low_frac, rate.high_frac) == (pytest.approx(0.03 - 0.016859, abs=1e-6), pytest.approx(0.046859, abs=1e-6))  # fmt: skip
    assert rate.last_frac == pytest.approx(0.03) and rate.short_frac == pytest.approx(1 - 0.98 * 0.96 * 0.97)


def test_large_batches_weigh_more() -> None:
    """1 L of 100 and 12 L of 300: 13 of 400."""
    rate = loss_rate([Cycle(0.1, 0.0, 0.099), Cycle(0.3, 0.0, 0.288)])
    assert rate is not None and rate.mean_frac == pytest.approx(13 / 400)


def test_what_was_topped_up_counts_as_come_in_and_ends_what_is_short() -> None:
    """100 L in, 5 L added, 102 L out: 3 L lost. Before it 4 % were lost; since then 2 %."""
    rate = loss_rate(
        [Cycle(0.1, 0.0, 0.096, 1.0, 2), Cycle(0.1, 0.005, 0.102, 1.0, 1), Cycle(0.1, 0.0, 0.098, 1.0, 0)]
    )
    assert rate is not None and rate.mean_frac == pytest.approx(0.03)
    assert (rate.short_frac, rate.steps_since) == (pytest.approx(0.02), 1)


def test_batches_side_by_side_are_one_step_and_not_several() -> None:
    """A lot of two halves that lost 2 and 4 %, then 1 % together: 1 − 0.97 · 0.99."""
    rate = loss_rate([Cycle(0.1, 0.0, 0.098, 0.5, 1), Cycle(0.1, 0.0, 0.096, 0.5, 1), Cycle(0.2, 0.0, 0.198, 1.0, 0)])  # fmt: skip
    assert rate is not None and (rate.short_frac, rate.steps_since) == (pytest.approx(1 - 0.97 * 0.99), 2)


def test_a_step_that_is_hardly_on_record_ends_what_is_short() -> None:
    rate = loss_rate([Cycle(0.1, 0.0, 0.09, 0.4, 1), Cycle(0.1, 0.0, 0.098, 1.0, 0)])
    assert rate is not None and (rate.short_frac, rate.steps_since) == (pytest.approx(0.02), 1)


def test_no_cycle_has_no_rate_and_one_has_no_spread() -> None:
    assert loss_rate([]) is None and reasons_to_top_up(None) == ()
    rate = loss_rate(lost(0.02))
    assert rate is not None and rate.sd_frac is rate.low_frac is rate.high_frac is None


@given(st.lists(cycle.filter(lambda one: one.lost_frac >= -1.0), min_size=2, max_size=20))
def test_only_the_newest_count_and_the_band_holds_the_mean(cycles: list[Cycle]) -> None:
    rate = loss_rate(cycles)
    newest = cycles[-MOST_CYCLES:]
    assert rate is not None and rate.count == len(newest)
    assert rate.low_frac is not None and rate.high_frac is not None and rate.sd_frac is not None
    assert rate.low_frac <= rate.mean_frac <= rate.high_frac
    assert rate.sd_frac == pytest.approx(statistics.stdev(one.lost_frac for one in newest), abs=1e-9)
    fractions = [one.lost_frac for one in newest]
    assert min(fractions) - 1e-9 <= rate.mean_frac <= max(fractions) + 1e-9


@pytest.mark.parametrize(
    "wrong",
    [
        Cycle(0.0, 0.0, 0.1),
        Cycle(0.1, -0.01, 0.1),
        Cycle(0.1, 0.0, -0.1),
        Cycle(0.1, 0.0, 0.25),
        Cycle(0.1, 0.0, float("nan")),
        Cycle(0.1, 0.0, 0.1, 0.0),
    ],
)
def test_what_cannot_be_is_refused(wrong: Cycle) -> None:
    with pytest.raises(OutOfRange):
        loss_rate([wrong])


@pytest.mark.parametrize(
    ("fractions", "words"),
    [
        ((0.03,), []),
        ((0.01, 0.02, 0.015), []),
        ((-0.02, 0.01), []),
        ((0.0, 0.045), ["4.5 % of it was lost in the last cycle"]),
        ((0.02, 0.02, 0.02), ["5.9 % of it was lost in the last 3 cycles"]),
        ((0.041, 0.04, 0.039), ["last 3 cycles", "3 cycles lost 4.0 % each on the average (3.8 to 4.2 %"]),
        ((0.00, 0.07, 0.04), ["last 3 cycles", "do not prove it"]),
    ],
)  # fmt: skip
def test_resin_is_added_where_losses_say_so_and_not_before(
    fractions: tuple[float, ...], words: list[str]
) -> None:
    """Levels: 3 % a cycle and 5 % together, common practice and what a count can tell."""
    found = reasons_to_top_up(loss_rate(lost(*fractions)))
    assert len(found) == len(words)
    for sentence, part in zip(found, words, strict=True):
        assert part in sentence
