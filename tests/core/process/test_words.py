"""Sentences, cautions, default recipes: the words and figures a person meets."""

from __future__ import annotations

import pytest

from regenplant import units
from regenplant.core.engineering.sources import SOURCES, HowKnown, source
from regenplant.core.process import hazards, wording
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.default_recipes import default_recipes, default_specifications
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from tests.core.process.plan_requests import request


# --- numbers in sentences -------------------------------------------------------------------------------------------
@pytest.mark.parametrize("kind", sorted(wording.shown_units()))
def test_a_sentence_shows_a_number_in_the_metric_unit_of_the_house(kind: str) -> None:
    """One truth for units: the factors of sentences are those of the unit module."""
    factor, offset, unit = wording.shown_units()[kind]
    for value in (300.0, 1.0, 0.25):
        assert value * factor + offset == pytest.approx(
            units.shown_value(value, kind, "metric"), rel=1e-9, abs=1e-9
        )
    assert unit == units.unit_text(kind, "metric")


def test_every_kind_of_the_house_can_be_said() -> None:
    assert wording.shown_units().keys() == units.KINDS.keys()


def test_numbers_are_short_and_keep_their_unit() -> None:
    assert wording.say(0.00111, "flow") == "66.6\u00a0L/min"
    assert wording.say(1.6619, "liquid_volume") == "1\u202f662\u00a0L"
    assert wording.say(283.15, "temperature") == "10\u00a0°C"
    assert wording.say(263.15, "temperature") == "\u221210\u00a0°C"
    assert wording.say_range(308.15, 322.15, "temperature") == "35 to 49\u00a0°C"
    assert wording.listed(["a", "b", "c"]) == "a, b and c"
    assert wording.listed([]) == ""
    assert wording.say(float("inf"), "resistivity") == "∞\u00a0MΩ·cm"
    assert wording.say(float("nan"), "ph") == "no number"


# --- sources --------------------------------------------------------------------------------------------------------
def test_every_source_has_a_title_and_says_how_it_is_known() -> None:
    for key, entry in SOURCES.items():
        assert entry.key == key
        assert entry.title
        assert entry.how_known in HowKnown
        assert entry.how_known.value in entry.citation()
    assert source("crc_solutions").citation() == (
        "CRC Handbook of Chemistry and Physics, 102nd ed. 2021, Concentrative Properties of Aqueous Solutions (read)"
    )


def test_limits_of_the_trade_agree_with_the_units_they_are_quoted_in() -> None:
    limits = PlantLimits()
    assert limits.velocity_warn_m_per_s == pytest.approx(units.convert(15.0, "gpm/ft^2", "m/s"), rel=1e-4)
    assert limits.velocity_limit_m_per_s == pytest.approx(units.convert(20.0, "gpm/ft^2", "m/s"), rel=1e-4)
    assert limits.pressure_drop_limit_pascal == pytest.approx(units.convert(20.0, "psi", "pascal"), rel=1e-4)
    assert limits.caustic_hardness_warn_eq_per_m3 == pytest.approx(0.002 / 0.0500435, rel=1e-3)


# --- cautions -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("chemical", list(Chemical))
def test_every_caution_names_its_authority_and_its_source(chemical: Chemical) -> None:
    for kind in StepKind:
        for caution in hazards.step_cautions(kind, chemical, 0.05, 0.30, 293.15):
            assert caution.measures[-1] == hazards.AUTHORITY
            assert caution.source in SOURCES
            assert caution.headline.endswith(".")
            assert "!" not in caution.headline


@pytest.mark.parametrize(
    "chemical", [Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID, Chemical.SODIUM_HYDROXIDE]
)
def test_concentrates_are_danger_with_face_shield_and_shower(chemical: Chemical) -> None:
    cautions = hazards.step_cautions(StepKind.INJECT, chemical, 0.05, 0.30, 293.15)
    concentrate = cautions[0]
    assert concentrate.signal is SignalWord.DANGER
    assert "GHS05" in concentrate.pictograms
    assert "goggles and face shield" in hazards.protective_equipment(cautions)
    assert any("shower" in measure for measure in concentrate.measures)
    assert any("water flows before" in measure for measure in concentrate.measures)


@pytest.mark.parametrize("chemical", [Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE])
def test_gear_stays_on_through_displacement(chemical: Chemical) -> None:
    cautions = hazards.step_cautions(StepKind.DISPLACE, chemical, 0.04, None, 293.15)
    assert "goggles" in hazards.protective_equipment(cautions)


def test_five_percent_caustic_is_more_than_a_warning() -> None:
    """Skin corrosion 1A from 5 %, 1B from 2 %: classification of sodium hydroxide (read)."""
    assert (
        hazards.step_cautions(StepKind.DISPLACE, Chemical.SODIUM_HYDROXIDE, 0.05, None, 293.15)[0].signal
        is SignalWord.DANGER
    )
    assert (
        hazards.step_cautions(StepKind.DISPLACE, Chemical.SODIUM_HYDROXIDE, 0.04, None, 293.15)[0].signal
        is SignalWord.WARNING
    )


def test_a_hot_feed_has_its_own_caution() -> None:
    codes = {
        caution.code
        for caution in hazards.step_cautions(StepKind.INJECT, Chemical.SODIUM_HYDROXIDE, 0.04, 0.5, 318.15)
    }
    assert "hot_line" in codes
    cold = {
        caution.code
        for caution in hazards.step_cautions(StepKind.INJECT, Chemical.SODIUM_HYDROXIDE, 0.04, 0.5, 293.15)
    }
    assert "hot_line" not in cold


def test_loading_warns_of_oxidizers_and_of_the_vessel() -> None:
    codes = {caution.code for caution in hazards.step_cautions(StepKind.LOAD, None, None, None, 293.15)}
    assert {"oxidizer", "opening_vessel", "beads_on_floor"} <= codes


def test_gear_is_listed_once_and_the_stronger_piece_replaces_the_weaker() -> None:
    cautions = hazards.step_cautions(StepKind.INJECT, Chemical.HYDROCHLORIC_ACID, 0.05, 0.32, 293.15)
    gear = hazards.protective_equipment(cautions)
    assert len(gear) == len(set(gear))
    assert "goggles" not in gear
    assert "goggles and face shield" in gear


# --- default recipes ------------------------------------------------------------------------------------------------
RECIPES = default_recipes()


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_a_default_recipe_plans_without_blockers_or_warnings(recipe: RecipeDefinition) -> None:
    plan = plan_batch(request(recipe.family))
    assert (plan.blockers, plan.warnings) == ((), ())
    assert "read" in recipe.notes and "common practice" in recipe.notes


def test_the_defaults_cover_the_four_families_with_the_doses_agreed() -> None:
    agreed = {
        ResinFamily.SAC_HYDROGEN: (Chemical.HYDROCHLORIC_ACID, 100.0, 0.05, None),
        ResinFamily.SAC_SODIUM: (Chemical.SODIUM_CHLORIDE, 160.0, 0.10, None),
        ResinFamily.SBA_TYPE_1: (Chemical.SODIUM_HYDROXIDE, 96.0, 0.04, 45.0),
        ResinFamily.SBA_TYPE_2: (Chemical.SODIUM_HYDROXIDE, 80.0, 0.04, 35.0),
    }
    assert {recipe.family for recipe in RECIPES} == agreed.keys()
    for recipe in RECIPES:
        chemical, dose, strength, celsius = agreed[recipe.family]
        (step,) = recipe.injections()
        assert step.chemical is chemical
        assert step.settings["dose_kg_per_m3"].target == dose
        assert step.settings["strength_frac"].target == strength
        if celsius is not None:
            assert step.settings["temperature_kelvin"].target == pytest.approx(celsius + 273.15)


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.code)
def test_the_whole_range_of_a_default_recipe_keeps_the_least_contact(recipe: RecipeDefinition) -> None:
    """At the highest flow and the target dose and strength the regenerant still flows long enough."""
    (step,) = recipe.injections()
    plan = plan_batch(request(recipe.family))
    volume_bv = next(entry for entry in plan.steps if entry.kind is StepKind.INJECT).value("volume_bv")
    contact = volume_bv / step.settings["flow_bv_per_h"].target * 3600.0
    assert contact >= step.settings["contact_time_s"].low


def test_every_family_has_a_specification_that_can_be_met() -> None:
    assert {entry.family for entry in default_specifications()} == set(ResinFamily)
    for specification in default_specifications():
        assert all(limit.source in SOURCES for limit in specification.limits)
        assert specification.maximum_rinse_bv is not None
        assert specification.maximum_rinse_bv > specification.minimum_rinse_bv
        recipe = next(entry for entry in RECIPES if entry.family is specification.family)
        rinse = next(step for step in recipe.steps if step.kind is StepKind.FAST_RINSE)
        assert rinse.settings["volume_bv"].low >= specification.minimum_rinse_bv
