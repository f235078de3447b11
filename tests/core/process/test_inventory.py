"""The most that stood at the plant in a span (EV-07), held against sums written by hand and against a plain recount."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.process.inventory import Flow, peak_of

pytestmark = pytest.mark.requirement("EV-07")

BEGINS, ENDS = datetime(2026, 1, 1, tzinfo=UTC), datetime(2027, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
TANK, SECOND = 1, 2


def bring(number: int, day: float, kg: float, strength: float | None, tank: int = TANK) -> Flow:
    return Flow(BEGINS + day * DAY, number, round(kg * 1000), None, tank, strength)


def draw(number: int, day: float, kg: float, tank: int = TANK) -> Flow:
    return Flow(BEGINS + day * DAY, number, round(kg * 1000), tank, None)


YEAR = [
    bring(1, -10, 1000.0, 0.50),  # 2 000 kg of product stand there at the beginning of the year
    draw(2, 10, 400.0),  # 600 kg, 1 200 kg of product
    bring(3, 20, 900.0, 0.30),  # 1 500 kg, 1 200 + 3 000 = 4 200 kg of product, together 35.7 %
    draw(4, 30, 500.0),  # 1 000 kg, 4 200 · 1000/1500 = 2 800 kg
    bring(5, 40, 600.0, 0.60, SECOND),  # 1 600 kg, 2 800 + 1 000 = 3 800 kg
    draw(6, 50, 600.0, SECOND),
]
"""By hand: the most substance on day 40, the most product on day 20."""


def test_the_peaks_are_those_by_hand_each_at_its_own_moment() -> None:
    peak = peak_of(YEAR, BEGINS, ENDS)
    assert (peak.pure_kg, peak.pure_at) == (1600.0, BEGINS + 40 * DAY)
    assert peak.product_kg == pytest.approx(4200.0, rel=1e-12) and peak.product_at == BEGINS + 20 * DAY
    assert peak.closing_pure_kg == 1000.0
    by_hand = (1000 * 10 + 600 * 10 + 1500 * 10 + 1000 * 10 + 1600 * 10 + 1000 * 315) / 365
    assert peak.mean_pure_kg == pytest.approx(by_hand, rel=1e-12)
    assert peak.days_present == pytest.approx(365.0)


def test_what_stood_there_at_the_beginning_counts_and_what_comes_after_the_end_does_not() -> None:
    peak = peak_of(YEAR, BEGINS, BEGINS + 15 * DAY)
    assert (peak.pure_kg, peak.pure_at, peak.product_kg) == (1000.0, BEGINS, 2000.0)
    assert peak_of([bring(1, 400, 50.0, 0.5)], BEGINS, ENDS).pure_at is None


def test_a_delivery_whose_strength_nobody_knows_leaves_the_product_unknown_and_the_substance_known() -> None:
    peak = peak_of([bring(1, 5, 100.0, None)], BEGINS, ENDS)
    assert peak.pure_kg == 100.0 and peak.product_kg is None and peak.product_at is None


def test_what_a_count_finds_on_top_counts_as_what_stands_there() -> None:
    peak = peak_of([bring(1, 5, 100.0, 0.25), bring(2, 6, 10.0, None)], BEGINS, ENDS)
    assert peak.product_kg == pytest.approx(440.0)


def test_a_move_from_tank_to_tank_makes_no_peak() -> None:
    moved = Flow(BEGINS + 2 * DAY, 2, 60_000, TANK, SECOND)
    peak = peak_of([bring(1, 1, 100.0, 0.5), moved], BEGINS, ENDS)
    assert (peak.pure_kg, peak.pure_at) == (100.0, BEGINS + DAY)
    assert peak.product_kg == pytest.approx(200.0)


def test_an_emptied_tank_forgets_its_ratio() -> None:
    flows = [bring(1, 1, 100.0, 0.5), draw(2, 2, 100.0), bring(3, 3, 100.0, 0.25)]
    assert peak_of(flows, BEGINS, ENDS).product_kg == pytest.approx(400.0)


def test_a_span_that_ends_before_it_begins_is_a_defect() -> None:
    with pytest.raises(ValueError, match="ends before"):
        peak_of([], ENDS, BEGINS)


@given(
    steps=st.lists(st.tuples(st.integers(-50, 420), st.integers(-900, 900)), max_size=25),
    seed=st.integers(0, 999),
)
def test_the_order_of_entry_does_not_matter_and_the_substance_is_as_a_plain_recount(
    steps: list[tuple[int, int]], seed: int
) -> None:
    held, flows = 0, []
    for number, (day, kg) in enumerate(sorted(steps, key=lambda step: step[0])):
        if kg > 0:
            flows.append(bring(number, day, kg, 0.4))
        elif kg < 0 and held >= -kg:
            flows.append(draw(number, day, -kg))
        else:
            continue
        held += kg
    peak = peak_of(flows, BEGINS, ENDS)
    shuffled = list(flows)
    Random(seed).shuffle(shuffled)
    assert peak_of(shuffled, BEGINS, ENDS) == peak

    def after(count: int) -> int:
        return sum(flow.grams_100 if flow.target else -flow.grams_100 for flow in flows[:count])

    before = sum(flow.at < BEGINS for flow in flows)
    inside = sum(flow.at < ENDS for flow in flows)
    assert peak.pure_kg == max(after(count) for count in range(before, inside + 1)) / 1000.0
    assert peak.product_kg == pytest.approx(peak.pure_kg / 0.4, abs=1e-6)
