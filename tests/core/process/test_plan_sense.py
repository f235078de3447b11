"""What an expert and an operator read in a plan: nothing said twice, nothing that does not apply, nothing missing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.plan import BatchPlan, Check, PlannedStep, PlanRequest
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind, WaterKind
from tests.core.process.plan_requests import ALL_RECIPES, FEED, request, request_for, with_setting
from tests.core.process.recipe_plants import FITTING

PLANS = {code: plan_batch(found) for code, found in FITTING.items()}
BRINE_ONLY = ("NA-NACL-160", "CL-FE-NA", "SAN-NA-NAOCL", "SAN-NA-PAA")
WEAK_BASE = ("FB-NAOH-50", "FB-NA2CO3-85", "FB-NH3-27")
MIXED = ("MB-APART-110", "MBP-APART-160", "MB-TOGETHER-107")
SULFURIC = "H-H2SO4-120"


def _notes(plan: BatchPlan) -> str:
    return "\n".join(plan.notes[1:])  # the first are the recipe's own words


def _unmet(plan: BatchPlan, code: str) -> list[Check]:
    return [check for check in plan.checks if check.code == code and not check.is_met]


def _step(plan: BatchPlan, kind: StepKind, leg: Leg = Leg.WHOLE) -> PlannedStep:
    return next(step for step in plan.steps if step.kind is kind and step.leg is leg)


def _water(plain: PlanRequest, kind: WaterKind, hardness_eq_per_m3: float) -> PlanRequest:
    hard = replace(plain.waters[kind.value], hardness_eq_per_m3=hardness_eq_per_m3)
    return replace(plain, waters={**plain.waters, kind.value: hard})


# --- notes ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", BRINE_ONLY)
def test_salt_waste_is_not_talked_of_as_if_it_were_neutralized(code: str) -> None:
    plan = PLANS[code]
    assert plan.totals["excess_eq"].value == 0.0
    for word in ("eutraliz", "public models", "Closed to the air"):
        assert word not in _notes(plan)
    assert plan.totals["waste_ph"].warnings, "the working of the pH itself still says how good it is"


@pytest.mark.parametrize("code", WEAK_BASE)
def test_a_weak_base_is_said_to_let_carbon_dioxide_and_silica_pass_and_never_to_hold_them(code: str) -> None:
    notes = _notes(PLANS[code])
    assert "takes up neither carbon dioxide nor silica" in notes
    assert "silica on the resin" not in notes


@pytest.mark.parametrize("code", ["OH1-NAOH-96", "OH2-NAOH-80", "MB-APART-110"])
def test_a_strong_base_is_said_to_take_more_caustic_for_weak_acids(code: str) -> None:
    assert "silica on the resin take up more caustic" in _notes(PLANS[code])


def test_carbonate_that_may_foam_is_said_even_where_nothing_needs_neutralizing() -> None:
    plan = PLANS["FB-NA2CO3-85"]
    assert plan.totals["neutralizer_first_eq"].value == 0.0
    assert "gives off carbon dioxide: foam" in _notes(plan)


@pytest.mark.parametrize("code", ALL_RECIPES)
def test_no_note_stands_twice_and_alike_ones_once(code: str) -> None:
    notes = PLANS[code].notes
    assert len(set(notes)) == len(notes)
    for start in ("Two data files disagree", "Two public models", "Waste and neutralizer are plan figures"):
        assert sum(note.startswith(start) for note in notes) <= 1


# --- silica ---------------------------------------------------------------------------------------------------------
def test_a_cold_type_1_regeneration_gets_silica_advice_and_a_warm_one_none() -> None:
    cold = with_setting(
        ALL_RECIPES["OH1-NAOH-96"], StepKind.INJECT, temperature_kelvin=SetPoint(298.15, 288.15, 313.15)
    )
    assert "Cold caustic leaves silica behind" in _notes(plan_batch(request_for(cold)))
    assert "Cold caustic" not in _notes(PLANS["OH1-NAOH-96"])


def test_without_silica_in_the_feed_nothing_is_said_of_it() -> None:
    plain = replace(FITTING["OH2-NAOH-80"], feed=replace(FEED, silica_mol_per_m3=0.0))
    assert "where silica matters" in _notes(plan_batch(replace(plain, feed=FEED)))
    assert "where silica matters" not in _notes(plan_batch(plain))


# --- sulfuric acid and calcium --------------------------------------------------------------------------------------
def test_an_unknown_calcium_share_is_warned_of_once_not_at_every_step() -> None:
    plan = plan_batch(replace(FITTING[SULFURIC], feed=None))
    assert [check.step_number for check in plan.checks if check.code == "calcium_share"] == [4]
    assert len(_unmet(plan, "calcium_share")) == 1


def test_advice_against_gypsum_is_something_that_lowers_the_index() -> None:
    plan = plan_batch(replace(FITTING[SULFURIC], feed=FEED))
    blocked = [check for check in _unmet(plan, "gypsum") if check.blocks]
    assert blocked and all("more flow does not lower the index" in check.sentence for check in blocked)
    faster = with_setting(
        ALL_RECIPES[SULFURIC], StepKind.INJECT, flow_bv_per_h=SetPoint(12.0, 2.0, 14.0)
    )  # more flow, the same index
    again = plan_batch(replace(FITTING[SULFURIC], recipe=faster, feed=FEED))
    for number in (4, 5, 6):
        assert again.step(number).value("gypsum_index") == pytest.approx(
            plan.step(number).value("gypsum_index")
        )


def test_a_weak_acid_of_unknown_feed_is_taken_as_wholly_calcium_as_its_waste_is() -> None:
    plan = plan_batch(replace(FITTING["WH-H2SO4-104"], feed=None))
    inject = _step(plan, StepKind.INJECT)
    # hand: all acid that is exchanged carries calcium; 104 g/L is 2121 eq/m³ against a load of 1900 eq/m³
    assert inject.value("calcium_frac") == pytest.approx(1900.0 * 0.049039 / 104.0, rel=1e-3)
    assert "all that the weak-acid resin holds is taken as calcium" in _notes(plan)
    assert "all of it is counted as calcium" in _notes(plan)


def test_an_index_just_over_its_limit_is_shown_with_hundredths() -> None:
    plan = plan_batch(replace(FITTING[SULFURIC], feed=FEED))
    for check in _unmet(plan, "gypsum"):
        assert f"is {check.seen:.2f}, at most {check.allowed_high:.2f}." in check.sentence


# --- hard water -----------------------------------------------------------------------------------------------------
def test_water_too_hard_for_caustic_raises_one_alarm_and_says_what_to_do() -> None:
    plan = plan_batch(_water(request(ResinFamily.SBA_TYPE_1), WaterKind.DEIONIZED, 5.0))
    hard = _unmet(plan, "caustic_hardness")
    assert hard and all(
        "find out why the deionized water is hard" in check.sentence for check in hard if check.step_number
    )
    assert not _unmet(plan, "caustic_solids")
    lenient = replace(plan.request, limits=PlantLimits(caustic_hardness_limit_eq_per_m3=6.0))
    assert _unmet(plan_batch(lenient), "caustic_solids"), (
        "where hardness alone does not stop it, the solids speak"
    )


# --- mixed beds -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", MIXED)
def test_after_brine_the_dose_is_held_against_every_site_of_the_resin(code: str) -> None:
    """Service leaves part of the sites regenerated; brine exhausts them all. By hand: total capacity times volume."""
    plan = PLANS[code]
    found = [check for check in plan.checks if check.code == "ratio_after_brine"]
    assert len(found) == 2 and all(check.is_met for check in found)
    for check, leg, sites in zip(found, (Leg.CATION, Leg.ANION), (0.8 * 2000.0, 1.2 * 1300.0), strict=True):
        assert check.seen == pytest.approx(plan.totals[f"applied_eq:{leg.value}"].value / sites)
        assert check.seen < plan.totals[f"regenerant_ratio_frac:{leg.value}"].value


def test_a_dose_that_leaves_brine_on_the_resin_is_warned_of() -> None:
    def weaker(plain: PlanRequest) -> PlanRequest:
        steps = tuple(
            replace(step, settings={**step.settings, "dose_kg_per_m3": SetPoint(60.0, 55.0, 65.0)})
            if step.leg is Leg.CATION and step.kind is StepKind.INJECT
            else step
            for step in plain.recipe.steps
        )
        return replace(plain, recipe=replace(plain.recipe, steps=steps))

    plan = plan_batch(weaker(FITTING["MB-APART-110"]))
    (check,) = _unmet(plan, "ratio_after_brine")
    # hand: 60 / 36.461 = 1646 eq/m³ against 2000
    assert check.warns and check.seen == pytest.approx(60.0 / 36.461e-3 / 2000.0, rel=1e-4)


@pytest.mark.parametrize("code", MIXED)
def test_cross_contamination_shows_what_it_does_to_the_leakage(code: str) -> None:
    totals = PLANS[code].totals
    for key in ("expected_sodium_rise", "expected_chloride_rise"):
        assert totals[key].value > 1.0
    poor = replace(FITTING[code])
    assert poor.mixed is not None
    wide = {"bead_diameter_spread_frac": 0.2, "bead_density_spread_kg_per_m3": 10.0}
    beads = replace(
        poor.mixed, cation=replace(poor.mixed.cation, **wide), anion=replace(poor.mixed.anion, **wide)
    )
    worse = plan_batch(replace(poor, mixed=beads)).totals
    assert worse["expected_sodium_rise"].value > totals["expected_sodium_rise"].value


@pytest.mark.parametrize("code", MIXED)
def test_the_operator_sets_the_air_as_the_gauge_counts_it(code: str) -> None:
    step = _step(PLANS[code], StepKind.AIR_MIX)
    entry = next(entry for entry in step.entries if entry.key == "air_flow")
    assert entry.name == "Air flow, as standard air"
    assert entry.target == step.value("air_standard_flow_m3_per_s") > step.value("air_flow_m3_per_s")
    assert "counted as standard air" in step.instruction and "where it enters the bed" in step.instruction


# --- carbon, rinses -------------------------------------------------------------------------------------------------
def test_emptied_carbon_tanks_hold_no_bed_that_resists_or_is_soaked() -> None:
    plan = PLANS["GAC-EXCHANGE"]
    assert [step.number for step in plan.steps if "pressure_drop_pascal" in step.figures] == [6]
    standing = next(caution for step in plan.steps for caution in step.cautions if caution.code == "soaking")
    assert "bed" not in standing.headline


@pytest.mark.parametrize("code", ALL_RECIPES)
def test_a_rinse_names_the_drain_that_its_valve_goes_to(code: str) -> None:
    for step in PLANS[code].steps:
        if step.kind is StepKind.RINSE:
            to_tank = step.drain_to == "waste tank"
            assert ("Rinse to the waste tank" in step.instruction) is to_tank
            assert ("Rinse to the drain" in step.instruction) is not to_tank


def test_brine_in_front_does_not_turn_a_conditioning_into_a_mixed_bed_rule() -> None:
    assert not any(check.code == "ratio_after_brine" for check in PLANS["CL-ORG-OH1"].checks)
    assert Chemical.SODIUM_CHLORIDE in {step.chemical for step in PLANS["CL-ORG-OH1"].steps}
