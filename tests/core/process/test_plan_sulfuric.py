"""Sulfuric acid in steps: what is exchanged in which step, how much of it is calcium, and whether gypsum may drop."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, FeedData
from regenplant.core.process.plan_sulfuric import ASSUMED_CALCIUM
from regenplant.core.process.vocabulary import StepKind
from tests.core.process.plan_requests import ALL_RECIPES, FEED, request_for

STEPWISE = ALL_RECIPES["H-H2SO4-120"]
SOFT = FeedData(sodium_eq_per_m3=3.0, chloride_eq_per_m3=3.0)
LOAD_EQ, STEP_EQ = 0.85 * 1150.0, 40.0 * 0.85 / 0.0490395


def _plan(**changes: Any) -> BatchPlan:
    return plan_batch(request_for(STEPWISE, **changes))


def _acid(plan: BatchPlan, key: str) -> list[float]:
    return [step.value(key) for step in plan.steps if step.kind is StepKind.INJECT]


def test_the_first_acid_is_taken_as_wholly_exchanged_and_the_rest_as_the_average() -> None:
    """977.5 eq on the resin, 693.3 eq in each of three steps: 1, then 977.5 of 2080."""
    exchanged = _acid(_plan(), "exchanged_frac")
    assert exchanged == pytest.approx([1.0, LOAD_EQ / (3 * STEP_EQ), LOAD_EQ / (3 * STEP_EQ)])


def test_a_load_smaller_than_the_first_step_leaves_acid_over_in_it() -> None:
    exchanged = _acid(_plan(eluted_equivalents=400.0), "exchanged_frac")
    assert exchanged == pytest.approx([400.0 / STEP_EQ, 400.0 / (3 * STEP_EQ), 400.0 / (3 * STEP_EQ)])


def test_without_a_feed_half_is_calcium_and_the_plan_says_so() -> None:
    plan = _plan()
    assert _acid(plan, "calcium_frac")[0] == pytest.approx(0.5)
    assert ASSUMED_CALCIUM in plan.notes


def test_an_empty_analysis_is_no_analysis() -> None:
    assert ASSUMED_CALCIUM in _plan(feed=FeedData()).notes


def test_the_feed_gives_the_share_of_calcium() -> None:
    plan = _plan(feed=FEED)
    assert _acid(plan, "calcium_frac")[0] == pytest.approx(1.6 / 3.2)
    assert ASSUMED_CALCIUM not in plan.notes


def test_a_weak_acid_resin_holds_hardness_only() -> None:
    plan = plan_batch(request_for(ALL_RECIPES["WH-H2SO4-104"], feed=FEED))
    exchanged, calcium = (_acid(plan, key)[0] for key in ("exchanged_frac", "calcium_frac"))
    assert calcium == pytest.approx(exchanged * 1.6 / 2.2)


def test_resin_from_softened_water_has_no_gypsum_index() -> None:
    plan = _plan(feed=SOFT)
    assert not any("gypsum_index" in step.figures for step in plan.steps)
    assert _acid(plan, "calcium_frac") == [0.0, 0.0, 0.0]


def test_softer_feed_lowers_the_gypsum_index_of_every_step() -> None:
    hard = _acid(_plan(feed=FEED), "gypsum_index")
    soft = _acid(_plan(feed=replace(FEED, calcium_eq_per_m3=0.4, sodium_eq_per_m3=2.2)), "gypsum_index")
    assert len(hard) == len(soft) == 3
    assert all(low < high for low, high in zip(soft, hard, strict=True))


def test_steps_add_up_and_no_step_alone_complains_of_too_little() -> None:
    plan = _plan()
    assert plan.totals["applied_eq"].value == pytest.approx(3 * STEP_EQ)
    assert plan.totals["regenerant_ratio_frac"].value == pytest.approx(3 * STEP_EQ / LOAD_EQ)
    for step in plan.steps:
        if step.kind is StepKind.INJECT:
            assert step.value("regenerant_ratio_frac") < 1.0
            assert step.figures["regenerant_ratio_frac"].warnings == ()


def test_each_step_is_diluted_to_its_own_strength_and_warms_by_it() -> None:
    plan = _plan()
    assert _acid(plan, "strength_frac") == [0.015, 0.04, 0.06]
    warmth = _acid(plan, "temperature_kelvin")
    assert warmth == sorted(warmth)
    volumes = _acid(plan, "volume_m3")
    assert volumes == sorted(volumes, reverse=True)


def test_all_of_the_sulfate_goes_to_the_sewer() -> None:
    plan = _plan()
    assert plan.totals["sulfate_kg"].value == pytest.approx(3 * 34.0 * 96.06 / 98.079, rel=1e-3)


@pytest.mark.parametrize("load", [300.0, 977.5, 3000.0])
def test_what_the_steps_exchange_together_is_never_less_than_what_there_is(load: float) -> None:
    """On the side of caution: the shares add up to the load or more, as far as there is acid for it."""
    plan = _plan(eluted_equivalents=load)
    exchanged = sum(share * STEP_EQ for share in _acid(plan, "exchanged_frac"))
    assert exchanged >= min(load, 3 * STEP_EQ) * (1.0 - 1e-9)
