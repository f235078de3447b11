"""The recipes and specifications to begin with: that each plans in a fitting plant, and what each was agreed to do."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from regenplant.core.engineering.ions import applied_equivalents
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process.acceptance import CONDUCTIVITY, LabResult, Outcome, judge
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.canonical import canonical_text, from_plain
from regenplant.core.process.default_recipes import (
    OPTIONAL_LIMITS,
    default_recipes,
    default_specifications,
    main_recipe,
    main_recipes,
)
from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeDefinition
from regenplant.core.process.specification import Specification
from regenplant.core.process.vocabulary import (
    Chemical,
    Leg,
    LegArrangement,
    Purpose,
    ResinFamily,
    StepKind,
    WaterKind,
)
from tests.core.process.recipe_plants import FITTING

RECIPES = default_recipes()
BY_CODE = {recipe.code: recipe for recipe in RECIPES}
SPECIFICATIONS = {specification.family: specification for specification in default_specifications()}

WARNS_ALWAYS = {"WH-H2SO4-104": {"gypsum"}}
"""Recipes that warn in any plant, and of what: weak-acid cation holds mostly calcium. The others warn of nothing in theirs."""

_each = pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)


@_each
def test_a_recipe_to_begin_with_plans_without_blockers_in_a_fitting_plant(recipe: RecipeDefinition) -> None:
    plan = plan_batch(FITTING[recipe.code])
    assert plan.blockers == ()
    assert {check.code for check in plan.warnings} == WARNS_ALWAYS.get(recipe.code, set())
    assert len(plan.steps) == len(recipe.steps)


@_each
def test_a_recipe_says_where_its_figures_come_from(recipe: RecipeDefinition) -> None:
    assert "read" in recipe.notes and "common practice" in recipe.notes
    assert len(recipe.notes) <= 1000


@_each
def test_names_fit_their_columns_and_say_what_is_done(recipe: RecipeDefinition) -> None:
    assert len(recipe.code) <= 16 and len(recipe.name) <= 120
    names = [step.name for step in recipe.steps]
    assert all(0 < len(name) <= 60 for name in names)
    chemical_names = [step.name for step in recipe.steps if step.kind in CHEMICAL_STEPS]
    assert len(chemical_names) == len(set(chemical_names)), "two injections of one name cannot be told apart"


@_each
def test_a_recipe_survives_storage(recipe: RecipeDefinition) -> None:
    assert from_plain(RecipeDefinition, json.loads(canonical_text(recipe))) == recipe


@_each
def test_the_least_contact_is_kept_at_the_planned_flow(recipe: RecipeDefinition) -> None:
    plan = plan_batch(FITTING[recipe.code])
    for step, setting in zip(plan.steps, recipe.steps, strict=True):
        if step.kind is StepKind.INJECT:
            contact = step.value("volume_bv") / setting.settings["flow_bv_per_h"].target * 3600.0
            assert contact >= setting.settings["contact_time_s"].low
            assert contact == pytest.approx(step.value("contact_time_s"), rel=1e-9)


def test_the_main_recipe_of_each_family_comes_first_in_the_order_of_families() -> None:
    assert [recipe.family for recipe in RECIPES[: len(ResinFamily)]] == list(ResinFamily)
    assert main_recipes() == RECIPES[: len(ResinFamily)]
    for family in ResinFamily:
        assert main_recipe(family).family is family
        assert main_recipe(family).purpose is (
            Purpose.EXCHANGE if family.is_exchanged else Purpose.REGENERATION
        )
    assert len({recipe.code for recipe in RECIPES}) == len(RECIPES)


AGREED = {
    # code: chemical, dose [kg/m³], strength, temperature [°C]
    "H-HCL-100": (Chemical.HYDROCHLORIC_ACID, 100.0, 0.05, 20.0),
    "NA-NACL-160": (Chemical.SODIUM_CHLORIDE, 160.0, 0.10, 18.0),
    "WH-HCL-78": (Chemical.HYDROCHLORIC_ACID, 78.0, 0.04, 20.0),
    "WH-H2SO4-104": (Chemical.SULFURIC_ACID, 104.0, 0.007, 18.0),
    "OH1-NAOH-96": (Chemical.SODIUM_HYDROXIDE, 96.0, 0.04, 45.0),
    "OH2-NAOH-80": (Chemical.SODIUM_HYDROXIDE, 80.0, 0.04, 30.0),
    "OHA-NAOH-96": (Chemical.SODIUM_HYDROXIDE, 96.0, 0.04, 25.0),
    "OH1-NAOH-192": (Chemical.SODIUM_HYDROXIDE, 192.0, 0.04, 48.0),
    "FB-NAOH-50": (Chemical.SODIUM_HYDROXIDE, 50.0, 0.03, 22.0),
    "FB-NA2CO3-85": (Chemical.SODIUM_CARBONATE, 85.0, 0.05, 20.0),
    "FB-NH3-27": (Chemical.AMMONIA, 27.0, 0.02, 18.0),
}


@pytest.mark.parametrize("recipe", RECIPES, ids=[recipe.code for recipe in RECIPES])
def test_no_injection_aims_at_the_end_of_its_own_temperature_range(recipe: RecipeDefinition) -> None:
    """A set point that is also the limit is passed by the first swing of a heater."""
    for step in recipe.injections():
        point = step.settings["temperature_kelvin"]
        assert point.low < point.target < point.high, step.name


@pytest.mark.parametrize("code", AGREED)
def test_a_single_regeneration_has_the_dose_agreed(code: str) -> None:
    chemical, dose, strength, celsius = AGREED[code]
    (step,) = BY_CODE[code].injections()
    assert step.chemical is chemical
    assert step.settings["dose_kg_per_m3"].target == dose
    assert step.settings["strength_frac"].target == pytest.approx(strength)
    assert step.settings["temperature_kelvin"].target == pytest.approx(celsius + 273.15)


RANGES = {
    # code: dose [g/L], strength [%] and flow [BV/h] of the ranges of the trade (regeneration_ranges.csv, from memory)
    "H-HCL-100": ((64, 192), (4, 10), (2.4, 8.0)),
    "NA-NACL-160": ((96, 240), (8, 12), (2.4, 5.6)),
    "OH1-NAOH-96": ((64, 160), (3, 6), (2.0, 4.0)),
    "OH2-NAOH-80": ((64, 128), (4, 4), (1.6, 4.0)),
    "FB-NAOH-50": ((48, 80), (2, 5), (2.0, 4.0)),
}


@pytest.mark.parametrize("code", RANGES)
def test_targets_lie_in_the_ranges_of_the_trade(code: str) -> None:
    """From memory of the trade, as marked in the table; not a proof, a guard against slips."""
    doses, strengths, flows = RANGES[code]
    (step,) = BY_CODE[code].injections()
    assert doses[0] <= step.settings["dose_kg_per_m3"].target <= doses[1]
    assert strengths[0] <= step.settings["strength_frac"].target * 100.0 <= strengths[1]
    assert flows[0] <= step.settings["flow_bv_per_h"].target <= flows[1]


# --- sulfuric acid ---------------------------------------------------------------------------------------------------
def test_sulfuric_acid_begins_dilute_and_fast_and_rises() -> None:
    steps = BY_CODE["H-H2SO4-120"].injections()
    strengths = [step.settings["strength_frac"] for step in steps]
    assert strengths[0].high <= 0.02
    assert [point.target for point in strengths] == sorted(point.target for point in strengths)
    assert steps[0].settings["flow_bv_per_h"].target > steps[-1].settings["flow_bv_per_h"].target
    assert BY_CODE["H-H2SO4-120"].limits == {"gypsum_index_warn": 0.3, "gypsum_index_stop": 1.0}
    assert not any(step.is_safe_hold_after for step in steps)


def test_gypsum_warns_and_stops_with_the_calcium_of_the_feed() -> None:
    plain = FITTING["H-H2SO4-120"]
    assert plain.feed is not None
    seen = {}
    for calcium in (0.15, 0.3, 1.6):
        feed = replace(plain.feed, calcium_eq_per_m3=calcium, sodium_eq_per_m3=2.0 - calcium - 0.1)
        plan = plan_batch(replace(plain, feed=feed))
        checks = [check for check in plan.checks if check.code == "gypsum"]
        assert len(checks) == 3
        seen[calcium] = checks
    assert all(check.is_met for check in seen[0.15])
    assert any(check.warns for check in seen[0.3])
    assert any(check.blocks for check in seen[1.6])
    unknown = plan_batch(replace(plain, feed=None))
    assert any(check.warns for check in unknown.checks if check.code == "calcium_share")


# --- mixed beds ------------------------------------------------------------------------------------------------------
MIXED = [recipe for recipe in RECIPES if recipe.family.is_mixed]


@pytest.mark.parametrize("recipe", MIXED, ids=lambda recipe: recipe.code)
def test_a_mixed_bed_is_exhausted_parted_cut_regenerated_joined_mixed_and_rinsed(
    recipe: RecipeDefinition,
) -> None:
    whole = [step.kind for step in recipe.steps if step.leg is Leg.WHOLE]
    floated = [StepKind.FLOAT, StepKind.DISPLACE, StepKind.RINSE] if recipe.code == "MB-FLOAT-110" else []
    assert whole == [
        StepKind.LOAD, StepKind.INJECT, StepKind.DISPLACE, StepKind.RINSE, StepKind.SEPARATE, StepKind.SETTLE, *floated,
        StepKind.CUT, StepKind.JOIN, StepKind.AIR_MIX, StepKind.FAST_RINSE, StepKind.RECIRCULATE, StepKind.SAMPLE,
    ]  # fmt: skip
    for leg in (Leg.CATION, Leg.ANION):
        own = [step.kind for step in recipe.steps if step.leg is leg]
        assert own == [StepKind.INJECT, StepKind.DISPLACE, StepKind.RINSE]
    assert recipe.injections()[0].chemical is Chemical.SODIUM_CHLORIDE
    assert {step.water for step in recipe.steps} <= {None, WaterKind.DEIONIZED}
    last = recipe.last_rinse()
    assert last is not None and last.kind is StepKind.RECIRCULATE


def test_a_float_stays_inside_what_is_in_use_and_leaves_the_rest_as_it_is() -> None:
    """10 to 26 % brine is in use (common practice, from memory); the strong end, because soaked beads grow heavier."""
    floated, plain = BY_CODE["MB-FLOAT-110"], BY_CODE["MB-APART-110"]
    step = next(step for step in floated.steps if step.kind is StepKind.FLOAT)
    strength = step.settings["strength_frac"]
    assert strength.low >= 0.10 and strength.high <= 0.26 and strength.target == 0.24
    assert step.chemical is Chemical.SODIUM_CHLORIDE
    place = floated.steps.index(step)
    assert (*floated.steps[:place], *floated.steps[place + 3 :]) == plain.steps
    assert floated.limits == plain.limits
    assert main_recipe(ResinFamily.MIXED_BED) == plain
    assert RECIPES.index(floated) >= len(ResinFamily)


def test_both_legs_at_once_balance_for_a_bed_of_two_to_three() -> None:
    """By hand: equivalents per hour = BV/h · share · strength · density / equivalent weight, densities of the read rows."""
    recipe = BY_CODE["MB-TOGETHER-107"]
    assert recipe.arrangement is LegArrangement.TOGETHER
    by_leg = {step.leg: step for step in recipe.injections() if step.leg is not Leg.WHOLE}
    # 4 % HCl 1017.9 kg/m³ at 20 °C; 4.3 % NaOH about 1046 kg/m³ at 20 °C and 1037 at 42 °C
    acid = applied_equivalents("hcl", 1.0).value * 3.0 * 0.4 * 0.040 * 1017.9
    caustic = applied_equivalents("naoh", 1.0).value * 2.0 * 0.6 * 0.043 * 1037.0
    assert by_leg[Leg.CATION].settings["flow_bv_per_h"].target == 3.0
    assert by_leg[Leg.ANION].settings["flow_bv_per_h"].target == 2.0
    assert abs(acid - caustic) / max(acid, caustic) < 0.02
    balance = plan_batch(FITTING[recipe.code]).totals["leg_balance_frac"].value
    assert balance < 0.02 < recipe.limits["leg_balance_max_frac"]


def test_polishing_is_stricter_than_working_in_every_limit() -> None:
    working, polishing = BY_CODE["MB-APART-110"], BY_CODE["MBP-APART-160"]
    assert polishing.grades == ("polishing", "virgin") and working.grades == ()
    assert (
        polishing.limits["cross_contamination_max_frac"]
        == 0.002
        < working.limits["cross_contamination_max_frac"]
    )
    assert polishing.limits["resin_cycles_max"] > 0
    spec, plain = SPECIFICATIONS[ResinFamily.MIXED_BED_POLISHING], SPECIFICATIONS[ResinFamily.MIXED_BED]
    assert spec.limit(CONDUCTIVITY).high == pytest.approx(plain.limit(CONDUCTIVITY).high / 10.0)  # type: ignore[union-attr]
    assert spec.hold_time_s > plain.hold_time_s and spec.minimum_rinse_bv > plain.minimum_rinse_bv


# --- cleaning and conditioning ----------------------------------------------------------------------------------------
def test_cleaning_covers_what_fouls_and_always_ends_in_a_regeneration() -> None:
    cleaning = {recipe.code: recipe for recipe in RECIPES if recipe.purpose is Purpose.CLEANING}
    assert cleaning.keys() == {"CL-ORG-OH1", "CL-FE-H", "CL-FE-NA", "CL-SI-OH1", "SAN-NA-NAOCL", "SAN-NA-PAA"}
    for recipe in cleaning.values():
        main = main_recipe(recipe.family).injections()[-1]
        last = recipe.injections()[-1]
        assert last.chemical is main.chemical
        assert last.settings["dose_kg_per_m3"].target >= main.settings["dose_kg_per_m3"].target


def test_organic_fouling_gets_a_soak_and_two_regenerations() -> None:
    recipe = BY_CODE["CL-ORG-OH1"]
    chemicals = [step.chemical for step in recipe.injections()]
    caustic = Chemical.SODIUM_HYDROXIDE
    assert chemicals == [Chemical.SODIUM_CHLORIDE, caustic, caustic, caustic]
    soak = next(step for step in recipe.steps if step.kind is StepKind.SOAK)
    assert soak.settings["duration_s"].low >= 3600.0
    brine, alkali = recipe.injections()[:2]
    # 10 lb/ft³ of salt and 1 lb/ft³ of caustic (supplier knowledge base, read): 160 and 16 g/L
    assert brine.settings["dose_kg_per_m3"].target == pytest.approx(10 * 16.0185, rel=0.01)
    assert alkali.settings["dose_kg_per_m3"].target == pytest.approx(16.0185, rel=0.01)


def test_sanitizing_stands_on_salt_form_and_its_residual_is_asked_for() -> None:
    for code in ("SAN-NA-NAOCL", "SAN-NA-PAA"):
        plan = plan_batch(FITTING[code])
        kinds = [step.kind for step in plan.steps]
        place = kinds.index(StepKind.SANITIZE)
        assert any(step.chemical is Chemical.SODIUM_CHLORIDE for step in plan.steps[:place])
        after = [entry.key for step in plan.steps[place:] for entry in step.entries]
        assert after.count("residual_sanitizer") >= 2
        keys = [entry.key for entry in plan.steps[place].entries if entry.is_before]
        assert {"no_acid", "ph_before", "vent_open"} <= set(keys)


def test_conditioning_gives_new_resin_twice_the_dose() -> None:
    for code, family in (("CO-H", ResinFamily.SAC_HYDROGEN), ("CO-OH1", ResinFamily.SBA_TYPE_1)):
        (step,) = BY_CODE[code].injections()
        (usual,) = main_recipe(family).injections()
        assert step.settings["dose_kg_per_m3"].target == 2.0 * usual.settings["dose_kg_per_m3"].target


# --- carbon ----------------------------------------------------------------------------------------------------------
def test_carbon_is_never_called_regenerated() -> None:
    plan = plan_batch(FITTING["GAC-EXCHANGE"])
    texts = [plan.request.recipe.name, plan.request.recipe.notes, SPECIFICATIONS[ResinFamily.CARBON].notes]
    texts += [text for step in plan.steps for text in (step.name, step.instruction, step.ends_when)]
    texts += [check.sentence for check in plan.checks]
    assert not [text for text in texts if "regenerat" in text.lower()]


def test_spent_carbon_is_somebodys_decision_and_new_carbon_has_a_lot() -> None:
    plan = plan_batch(FITTING["GAC-EXCHANGE"])
    entries = {entry.key: entry for step in plan.steps for entry in step.entries}
    for key in ("container_label", "waste_decided_by", "carbon_lot"):
        assert entries[key].kind == "text" and entries[key].is_required
    assert "hazardous waste" in entries["waste_decided_by"].help


# --- specifications --------------------------------------------------------------------------------------------------
def test_every_family_has_a_specification_that_can_be_met() -> None:
    assert list(SPECIFICATIONS) == list(ResinFamily)
    for family, specification in SPECIFICATIONS.items():
        assert all(limit.source in SOURCES for limit in specification.limits)
        assert specification.maximum_rinse_bv is not None
        assert specification.maximum_rinse_bv > specification.minimum_rinse_bv
        rinse = main_recipe(family).last_rinse()
        assert rinse is not None
        assert rinse.settings["volume_bv"].low >= specification.minimum_rinse_bv


def test_a_weak_base_is_not_judged_by_what_passes_it() -> None:
    assert SPECIFICATIONS[ResinFamily.WBA].limit("silica") is None
    assert "pass a weak base" in SPECIFICATIONS[ResinFamily.WBA].notes


def test_organic_carbon_is_an_option_of_polishing_not_a_default() -> None:
    (toc,) = OPTIONAL_LIMITS[ResinFamily.MIXED_BED_POLISHING]
    polishing = SPECIFICATIONS[ResinFamily.MIXED_BED_POLISHING]
    assert polishing.limit("toc") is None
    extended = replace(polishing, limits=(*polishing.limits, toc))
    assert extended.limit("toc").high == pytest.approx(5e-5)  # type: ignore[union-attr]
    assert SOURCES[toc.source].how_known.value == "common practice"


def _passing(specification: Specification) -> list[LabResult]:
    return [
        LabResult(
            limit.measurement, limit.high if limit.high is not None else limit.low or 0.0, 60.0, "K-1", True
        )
        for limit in specification.limits
    ]


@pytest.mark.parametrize("family", [ResinFamily.CARBON, ResinFamily.SAC_SODIUM])
def test_a_specification_without_conductivity_is_judged_by_its_results_and_its_rinse(
    family: ResinFamily,
) -> None:
    specification = SPECIFICATIONS[family]
    assert specification.limit(CONDUCTIVITY) is None
    results = _passing(specification)
    rinsed = specification.minimum_rinse_bv
    assert judge([], specification, results, rinsed).outcome is Outcome.PASS
    assert judge([], specification, results, rinsed - 1.0).outcome is Outcome.INCOMPLETE
    assert judge([], specification, results[1:], rinsed).outcome is Outcome.INCOMPLETE
    high = next(limit for limit in specification.limits if limit.high is not None)
    bad = [
        replace(result, value=high.high * 1.5) if result.measurement == high.measurement else result  # type: ignore[operator]
        for result in results
    ]
    assert judge([], specification, bad, rinsed).outcome is Outcome.FAIL
