"""Mixed beds in a plan: two beds out of one, two legs at once, one bed again."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, PlannedStep, PlanRequest
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.vocabulary import Chemical, IonicForm, Leg, ResinFamily, StepKind
from tests.core.process.plan_requests import (
    ALL_RECIPES,
    FEED,
    MIXED,
    RECIPES,
    request,
    request_for,
    with_setting,
)

WORKING = ResinFamily.MIXED_BED
PLAN = plan_batch(request(WORKING))


def _step(plan: BatchPlan, kind: StepKind, leg: Leg = Leg.WHOLE) -> PlannedStep:
    return next(step for step in plan.steps if step.kind is kind and step.leg is leg)


def _at(kelvin: float) -> PlanRequest:
    plain = request(WORKING)
    return replace(
        plain,
        waters={key: replace(water, temperature_kelvin=kelvin) for key, water in plain.waters.items()},
    )


# --- the beds of the legs -------------------------------------------------------------------------------------------
def test_every_step_says_whose_it_is() -> None:
    assert [step.leg for step in PLAN.steps] == [step.leg for step in PLAN.request.recipe.steps]
    assert {step.leg for step in PLAN.steps} == set(Leg)


def test_each_leg_counts_its_own_resin() -> None:
    """2000 L with 40 % cation: 110 g/L are 88 kg of acid and 132 kg of caustic, 3.5 BV/h are 2800 L/h."""
    acid, caustic = _step(PLAN, StepKind.INJECT, Leg.CATION), _step(PLAN, StepKind.INJECT, Leg.ANION)
    assert acid.value("chemical_kg_100") == pytest.approx(88.0)
    assert caustic.value("chemical_kg_100") == pytest.approx(132.0)
    assert acid.value("flow_m3_per_s") * 3600 == pytest.approx(2.8)
    assert caustic.value("flow_m3_per_s") * 3600 == pytest.approx(2.76)
    assert PLAN.totals["regenerant_ratio_frac:cation"].value == pytest.approx(88 / 0.036461 / (0.8 * 1150))


def test_the_anion_leg_flows_in_the_vessel_it_was_moved_to() -> None:
    plain = request(WORKING)
    narrow = replace(plain.anion_vessel, internal_diameter_m=0.9)
    plan = plan_batch(replace(plain, anion_vessel=narrow))
    caustic = _step(plan, StepKind.INJECT, Leg.ANION)
    expected = caustic.value("flow_m3_per_s") / (math.pi * 0.81 / 4)
    assert caustic.value("linear_velocity_m_per_s") == pytest.approx(expected)
    acid = _step(plan, StepKind.INJECT, Leg.CATION)
    assert acid.value("linear_velocity_m_per_s") == _step(PLAN, StepKind.INJECT, Leg.CATION).value(
        "linear_velocity_m_per_s"
    )


def test_both_legs_together_stay_in_one_vessel() -> None:
    plan = plan_batch(request_for(ALL_RECIPES["MB-TOGETHER-107"]))
    caustic = _step(plan, StepKind.INJECT, Leg.ANION)
    expected = caustic.value("flow_m3_per_s") / (math.pi * 1.69 / 4)
    assert caustic.value("linear_velocity_m_per_s") == pytest.approx(expected)


def test_a_bed_counted_regenerated_is_brought_back_by_both_swellings() -> None:
    """1 L of exhausted mixture is 0.4 · 1.07 + 0.6 · 1.20 = 1.148 L regenerated."""
    counted = plan_batch(
        request(WORKING, resin_volume_m3=2.0 * 1.148, resin_volume_form=IonicForm.MIXED_REGENERATED)
    )
    assert counted.totals["resin_volume_m3"].value == pytest.approx(2.0)
    assert not any("grow" in note for note in counted.notes)


def test_a_swelling_that_does_not_fit_its_two_resins_is_told() -> None:
    plain = request(WORKING, resin_volume_form=IonicForm.MIXED_REGENERATED)
    plan = plan_batch(replace(plain, resin=replace(plain.resin, swelling_frac=0.05)))
    assert any("recorded to grow by 5.0 %" in note and "14.8 %" in note for note in plan.notes)


def test_a_mixed_bed_without_its_two_resins_is_refused() -> None:
    with pytest.raises(OutOfRange, match="cation and anion resin are not on record"):
        plan_batch(request(WORKING, mixed=None))


def test_two_cation_resins_are_no_mixed_bed() -> None:
    plain = request(WORKING)
    with pytest.raises(OutOfRange, match="a cation and an anion resin"):
        plan_batch(replace(plain, mixed=replace(plain.mixed, anion=plain.mixed.cation)))


# --- time and balance -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("family", MIXED)
def test_the_legs_run_at_the_same_time(family: ResinFamily) -> None:
    plan = plan_batch(request(family))
    by_leg = {leg: sum(step.value("duration_s") for step in plan.steps if step.leg is leg) for leg in Leg}
    longer = max(by_leg[Leg.CATION], by_leg[Leg.ANION])
    assert plan.totals["duration_s"].value == pytest.approx(by_leg[Leg.WHOLE] + longer)
    assert plan.totals["duration_s"].value < sum(by_leg.values())


def test_what_is_left_of_acid_and_caustic_meets_in_the_tank() -> None:
    totals = PLAN.totals
    assert totals["excess_eq"].value == pytest.approx(
        totals["excess_eq:cation"].value + totals["excess_eq:anion"].value
    )
    assert totals["excess_eq:cation"].value > 0.0 > totals["excess_eq:anion"].value
    assert totals["waste_ph:cation"].value < totals["waste_ph"].value < totals["waste_ph:anion"].value
    given = totals["neutralizer_first_eq"].value + totals["neutralizer_second_eq"].value
    assert given == pytest.approx(abs(totals["excess_eq"].value))


def test_the_recipe_for_one_vessel_is_balanced_and_the_other_says_how_far_off_it_is() -> None:
    together = plan_batch(request_for(ALL_RECIPES["MB-TOGETHER-107"]))
    assert together.totals["leg_balance_frac"].value < 0.10
    rates = [PLAN.totals[f"regenerant_rate_eq_per_s:{leg}"].value for leg in ("cation", "anion")]
    assert PLAN.totals["leg_balance_frac"].value == pytest.approx(1.0 - min(rates) / max(rates))


def test_a_stronger_acid_flow_unbalances_the_legs() -> None:
    def balance(flow: float) -> float:
        recipe = RECIPES[WORKING]
        steps = tuple(
            replace(step, settings={**step.settings, "flow_bv_per_h": SetPoint(flow, 0.1, 20.0)})
            if step.kind is StepKind.INJECT and step.leg is Leg.CATION
            else step
            for step in recipe.steps
        )
        plan = plan_batch(request(WORKING, recipe=replace(recipe, steps=steps)))
        return plan.totals["leg_balance_frac"].value

    assert balance(2.544) < 0.01
    assert balance(2.0) > balance(2.4)
    assert balance(4.0) > balance(3.0)


def test_a_known_load_is_held_by_both_resins() -> None:
    plan = plan_batch(request(WORKING, eluted_equivalents=500.0))
    assert plan.totals["eluted_eq:cation"].value == plan.totals["eluted_eq:anion"].value == 500.0


def test_throughput_and_feed_give_each_resin_its_own_load() -> None:
    """280 m³ of 3.2 eq/m³ cations; the anion resin also takes carbon dioxide and silica: 3.55 eq/m³."""
    plan = plan_batch(request(WORKING, feed=FEED, throughput_m3=280.0))
    assert plan.totals["eluted_eq:cation"].value == pytest.approx(280 * 3.2)
    assert plan.totals["eluted_eq:anion"].value == pytest.approx(280 * 3.55)


# --- separation, mixing, recirculation ------------------------------------------------------------------------------
def test_colder_water_parts_the_resins_at_a_lower_flow() -> None:
    cold, warm = (plan_batch(_at(kelvin)) for kelvin in (278.15, 298.15))
    flows = [_step(plan, StepKind.SEPARATE).value("flow_m3_per_s") for plan in (cold, warm)]
    assert flows[0] < flows[1]


def test_a_larger_cut_leaves_cleaner_resins_and_less_of_them() -> None:
    def plan(cut: float) -> BatchPlan:
        recipe = with_setting(RECIPES[WORKING], StepKind.CUT, cut_frac=SetPoint(cut, 0.0, 0.2))
        return plan_batch(request(WORKING, recipe=recipe))

    small, large = plan(0.02), plan(0.10)
    for key in ("cation_in_anion_frac", "anion_in_cation_frac"):
        assert _step(large, StepKind.CUT).value(key) < _step(small, StepKind.CUT).value(key)
    assert _step(large, StepKind.JOIN).value("joined_m3") < _step(small, StepKind.JOIN).value("joined_m3")
    key = "expected_sodium_leakage_kg_per_m3"
    assert large.totals[key].value < small.totals[key].value


def test_resin_of_uneven_size_parts_worse_and_leaks_more() -> None:
    plain = request(WORKING)
    uneven = {"bead_diameter_spread_frac": 0.20}
    mixed = replace(
        plain.mixed, cation=replace(plain.mixed.cation, **uneven), anion=replace(plain.mixed.anion, **uneven)
    )
    worse = plan_batch(replace(plain, mixed=mixed))
    assert _step(worse, StepKind.CUT).value("cation_in_anion_frac") > _step(PLAN, StepKind.CUT).value("cation_in_anion_frac")  # fmt: skip
    key = "expected_sodium_leakage_kg_per_m3"
    assert worse.totals[key].value > PLAN.totals[key].value
    assert worse.totals["sodium_form_frac"].value > PLAN.totals["sodium_form_frac"].value


def test_the_interface_is_held_against_the_side_outlet_where_there_is_one() -> None:
    cut = _step(PLAN, StepKind.CUT)
    assert cut.value("interface_offset_m") == pytest.approx(0.0, abs=1e-9)
    plain = request(WORKING)
    without = plan_batch(replace(plain, vessel=replace(plain.vessel, side_outlet_height_m=None)))
    assert "interface_offset_m" not in _step(without, StepKind.CUT).figures


def test_water_that_goes_round_is_taken_once_and_is_no_waste() -> None:
    loop = _step(PLAN, StepKind.RECIRCULATE)
    assert loop.value("volume_m3") == pytest.approx(24.0)
    assert loop.value("loop_fill_m3") == pytest.approx(math.pi * 1.69 / 4 * 3.6 - 0.62 * _step(PLAN, StepKind.JOIN).value("joined_m3"))  # fmt: skip
    more = with_setting(RECIPES[WORKING], StepKind.RECIRCULATE, volume_bv=SetPoint(40.0, 10.0, 50.0))
    longer = plan_batch(request(WORKING, recipe=more))
    for key in ("water_m3:deionized", "waste_m3"):
        assert longer.totals[key].value == pytest.approx(PLAN.totals[key].value)
    assert longer.totals["duration_s"].value > PLAN.totals["duration_s"].value


def test_a_water_level_above_the_vessel_is_told_and_not_hidden() -> None:
    plain = request(WORKING)
    low = plan_batch(replace(plain, vessel=replace(plain.vessel, straight_height_m=1.75)))
    air = _step(low, StepKind.AIR_MIX)
    assert "water_drained_m3" not in air.figures
    assert any("above the straight height" in note for note in low.notes)


def test_a_mixed_bed_counts_three_chemicals() -> None:
    for chemical in (Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE):
        planned = sum(step.value("chemical_kg_100") for step in PLAN.steps if step.chemical is chemical)
        assert PLAN.totals[f"chemical_kg_100:{chemical.value}"].value == pytest.approx(planned)


def test_one_percent_of_acid_shows_that_no_volume_replaces_a_meter() -> None:
    less, more = (PLAN.totals[f"sensitivity_{way}_ph"].value for way in ("less", "more"))
    assert less > 9.0 > 5.0 > more
