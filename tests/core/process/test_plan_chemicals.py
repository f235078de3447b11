"""Other chemicals than the usual three: weak bases, cleaners, sanitizers, and what the heater must give."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from tests.core.process.plan_requests import ALL_RECIPES, FEED, request, request_for

PLANS = {code: plan_batch(request_for(recipe)) for code, recipe in ALL_RECIPES.items()}


def _inject(plan: BatchPlan, chemical: Chemical) -> list[PlannedStep]:
    return [step for step in plan.steps if step.kind is StepKind.INJECT and step.chemical is chemical]


# --- weak resins ----------------------------------------------------------------------------------------------------
def test_soda_ash_brings_two_equivalents_a_mole() -> None:
    step = _inject(PLANS["FB-NA2CO3-85"], Chemical.SODIUM_CARBONATE)[0]
    assert step.value("applied_eq") == pytest.approx(85.0 * 0.85 / 0.052994, rel=1e-4)


def test_ammonia_brings_one_equivalent_a_mole_and_leaves_ammonium() -> None:
    plan = PLANS["FB-NH3-27"]
    step = _inject(plan, Chemical.AMMONIA)[0]
    assert step.value("applied_eq") == pytest.approx(27.0 * 0.85 / 0.017031, rel=1e-4)
    assert plan.totals["ammonium_kg"].value == pytest.approx(step.value("applied_eq") * 0.018039, rel=1e-4)


def test_ammonium_is_an_acid_of_its_own_and_takes_less_than_the_excess() -> None:
    totals = PLANS["FB-NH3-27"].totals
    given = totals["neutralizer_first_eq"].value + totals["neutralizer_second_eq"].value
    assert 0.0 < given < abs(totals["excess_eq"].value)
    assert 8.5 < totals["waste_ph"].value < 11.5


def test_spent_soda_ash_is_bicarbonate_and_inside_the_permit_as_it_comes() -> None:
    """850 eq of acid on 682 mol of carbonate: all of it bicarbonate, a quarter of that carbonic acid, near pH 6.7."""
    totals = PLANS["FB-NA2CO3-85"].totals
    assert totals["excess_eq"].value < 0.0
    assert 6.0 < totals["waste_ph"].value < 9.0
    assert totals["neutralizer_first_eq"].value == 0.0


def test_weak_resins_show_the_dose_that_would_be_enough() -> None:
    step = _inject(PLANS["WH-HCL-78"], Chemical.HYDROCHLORIC_ACID)[0]
    assert step.value("stoichiometric_dose_kg_per_m3") == pytest.approx(1900.0 * 0.036461)
    assert step.value("recommended_dose_kg_per_m3") == pytest.approx(1.08 * 1900.0 * 0.036461)
    strong = _inject(PLANS["H-HCL-100"], Chemical.HYDROCHLORIC_ACID)[0]
    assert "recommended_dose_kg_per_m3" not in strong.figures


def test_a_weak_acid_resin_that_is_said_to_grow_is_told() -> None:
    plain = request(ResinFamily.WAC_HYDROGEN)
    plan = plan_batch(replace(plain, resin=replace(plain.resin, swelling_frac=0.2)))
    assert any("it shrinks" in note or "shrinks" in note for note in plan.notes)


# --- cleaning -------------------------------------------------------------------------------------------------------
def test_a_cleaning_injection_is_held_against_no_load() -> None:
    plan = PLANS["CL-ORG-OH1"]
    brine = _inject(plan, Chemical.SODIUM_CHLORIDE)[0]
    assert "applied_eq" in brine.figures
    assert "regenerant_ratio_frac" not in brine.figures
    caustic = _inject(plan, Chemical.SODIUM_HYDROXIDE)
    assert "regenerant_ratio_frac" not in caustic[0].figures, "it cleans together with the brine"
    assert "regenerant_ratio_frac" in caustic[-1].figures
    regenerating = [step for step in caustic if "regenerant_ratio_frac" in step.figures]
    assert plan.totals["applied_eq"].value == pytest.approx(
        sum(step.value("applied_eq") for step in regenerating)
    )


def test_alkali_of_the_cleaning_stays_in_the_waste() -> None:
    """All caustic less what the resin took up by regeneration."""
    plan = PLANS["CL-ORG-OH1"]
    caustic = sum(step.value("applied_eq") for step in _inject(plan, Chemical.SODIUM_HYDROXIDE))
    assert plan.totals["excess_eq"].value == pytest.approx(-(caustic - plan.totals["eluted_eq"].value))


def test_a_soak_says_what_stands_in_the_bed() -> None:
    plan = PLANS["CL-ORG-OH1"]
    soaks = [step for step in plan.steps if step.kind is StepKind.SOAK]
    assert soaks
    for soak in soaks:
        before = [step for step in plan.steps[: soak.number - 1] if step.kind is StepKind.INJECT][-1]
        assert soak.value("strength_frac") == before.value("strength_frac")
        assert before.chemical is not None
        assert before.chemical.formula in soak.figures["strength_frac"].name


@pytest.mark.parametrize(
    ("code", "chemical"),
    [("SAN-NA-NAOCL", "naocl"), ("SAN-NA-PAA", "paa"), ("CL-FE-NA", "na2s2o4"), ("GAC-EXCHANGE", "naocl")],
)
def test_oxidizers_and_reductants_bring_no_equivalents(code: str, chemical: str) -> None:
    plan = PLANS[code]
    own = [step for step in plan.steps if step.chemical is not None and step.chemical.value == chemical]
    assert own
    for step in own:
        assert "applied_eq" not in step.figures
        assert step.value("stock_m3") > 0.0
    assert plan.totals[f"chemical_kg_100:{chemical}"].value == pytest.approx(
        sum(step.value("chemical_kg_100") for step in own)
    )


def test_a_thin_solution_is_taken_as_water_and_a_strong_one_says_so() -> None:
    thin = next(step for step in PLANS["SAN-NA-PAA"].steps if step.kind is StepKind.SANITIZE)
    density = thin.figures["density_kg_per_m3"]
    assert density.value == pytest.approx(999.1, abs=1.5)
    assert density.uncertainty_frac == thin.value("strength_frac")
    strong = _inject(PLANS["CL-FE-NA"], Chemical.SODIUM_DITHIONITE)[0].figures["density_kg_per_m3"]
    assert bool(strong.warnings) == (
        _inject(PLANS["CL-FE-NA"], Chemical.SODIUM_DITHIONITE)[0].value("strength_frac") > 0.01
    )


def test_a_sanitizer_without_a_measured_density_draws_nothing() -> None:
    plain = request_for(ALL_RECIPES["GAC-EXCHANGE"])
    lot = replace(plain.stock["naocl"], density_kg_per_m3=None)
    plan = plan_batch(replace(plain, stock={**plain.stock, "naocl": lot}))
    step = next(step for step in plan.steps if step.kind is StepKind.SANITIZE)
    assert "stock_m3" not in step.figures
    assert step.value("chemical_kg_100") > 0.0
    assert any(check.code == "stock_density" and not check.is_met for check in plan.checks)


# --- carbon ---------------------------------------------------------------------------------------------------------
def test_carbon_has_volumes_and_no_regeneration() -> None:
    plan = PLANS["GAC-EXCHANGE"]
    assert plan.step(1).value("emptied_m3") == pytest.approx(0.85)
    assert {"emptied_m3", "filled_m3"} <= {key for step in plan.steps for key in step.figures}
    assert not {"applied_eq", "eluted_eq", "excess_eq", "regenerant_ratio_frac"} & plan.totals.keys()
    first = next(step for step in plan.steps if step.kind is StepKind.RINSE)
    assert first.drain_to == "rinse drain", "nothing but carbon dust was in the tank"


# --- heat -----------------------------------------------------------------------------------------------------------
def test_the_heater_needs_its_time_and_a_small_one_is_told() -> None:
    plain = request(ResinFamily.SBA_TYPE_1)

    def heated(power: float | None) -> BatchPlan:
        skid = replace(plain.skids["naoh"], heater_power_watt=power)
        return plan_batch(replace(plain, skids={**plain.skids, "naoh": skid}))

    step = _inject(heated(100_000.0), Chemical.SODIUM_HYDROXIDE)[0]
    energy = step.value("heating_duty_watt") * step.value("duration_s")
    assert step.value("heating_energy_joule") == pytest.approx(energy)
    assert step.value("heater_time_s") == pytest.approx(energy / 100_000.0)
    assert any("warm a tank of water beforehand" in note for note in heated(10_000.0).notes)
    assert "heater_time_s" not in _inject(heated(None), Chemical.SODIUM_HYDROXIDE)[0].figures


def test_hard_dilution_water_drops_solids_in_caustic() -> None:
    plain = request(ResinFamily.SBA_TYPE_1)

    def solids(hardness: float) -> float:
        water = replace(plain.waters["deionized"], hardness_eq_per_m3=hardness)
        plan = plan_batch(replace(plain, waters={**plain.waters, "deionized": water}))
        return _inject(plan, Chemical.SODIUM_HYDROXIDE)[0].value("caustic_solids_kg_per_m3")

    assert solids(0.01) < 0.005
    assert 0.1 < solids(5.6) < 0.4, "hard tap water drops about 200 mg/kg (computed with PHREEQC)"


# --- what the feed adds ---------------------------------------------------------------------------------------------
def test_with_a_feed_the_sewer_also_gets_what_the_resin_held() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN, feed=FEED, throughput_m3=280.0))
    assert plan.totals["calcium_kg"].value == pytest.approx(280.0 * 1.6 * 0.020039)
    assert "calcium_kg" not in PLANS["H-HCL-100"].totals
    assert plan.totals["expected_sodium_leakage_kg_per_m3"].value > 0.0


def test_the_recommended_backwash_is_no_faster_than_the_fine_beads_allow() -> None:
    for code in ("H-HCL-100", "OH1-NAOH-96", "WH-HCL-78"):
        step = next(step for step in PLANS[code].steps if step.kind is StepKind.BACKWASH)
        assert step.value("recommended_velocity_m_per_s") <= step.value("carry_over_velocity_m_per_s") * (
            1 + 1e-9
        )
        assert 0.0 <= step.value("carry_over_frac") < 0.05
