"""Prohibitions over recipes: every rule broken once, every sound recipe passed, every pair of chemicals looked at."""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process import recipe_chemistry, recipe_order
from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.default_recipes.parts import (
    backwash,
    celsius,
    displace,
    fast_rinse,
    inject,
    load,
    minutes,
    percent,
    rinse,
    sample,
    sanitize,
    soak,
)
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.recipe_rules import (
    CHEMICALS_BY_FAMILY,
    CLEANERS_BY_FAMILY,
    NEEDS_WATER,
    REGENERANTS_BY_FAMILY,
    needs_rinse_between,
    offences,
    violations,
)
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import (
    Chemical,
    Leg,
    LegArrangement,
    Purpose,
    ResinFamily,
    StepKind,
    WaterKind,
)
from tests.core.process.plan_requests import ALL_RECIPES, RECIPES, with_setting

_WATER = WaterKind.DEIONIZED
_FLOW, _VOLUME = SetPoint(3.0, 2.0, 4.0), SetPoint(2.0, 1.0, 3.0)


def _inject(chemical: Chemical, strength: float = 0.02, leg: Leg = Leg.WHOLE) -> RecipeStep:
    return inject(
        f"{chemical.value} in", chemical, dose=SetPoint(50.0, 40.0, 60.0), strength=SetPoint(strength, strength, strength),
        flow=_FLOW, temperature=celsius(20, 5, 30), contact=minutes(20, 10, 60), leg=leg,
    )  # fmt: skip


def _sanitize(chemical: Chemical = Chemical.SODIUM_HYPOCHLORITE) -> RecipeStep:
    return sanitize(
        "Sanitize", chemical, strength=percent(0.03, 0.02, 0.05), volume=_VOLUME, contact=minutes(20, 10, 30), water=_WATER
    )  # fmt: skip


def _bring(chemical: Chemical) -> RecipeStep:
    return _sanitize(chemical) if chemical.is_oxidizer else _inject(chemical)


_DISPLACE = displace(_WATER, _FLOW, _VOLUME)
_RINSE = rinse(_WATER, _FLOW, _VOLUME)
_END = (fast_rinse(_WATER, _FLOW, _VOLUME), sample())


def _recipe(
    family: ResinFamily, *steps: RecipeStep, purpose: Purpose = Purpose.CLEANING, residual: bool = True
) -> RecipeDefinition:
    limits = {"residual_sanitizer_max_kg_per_m3": 1e-4} if residual else {}
    return RecipeDefinition(
        "T-1", "A recipe", family, (load(), *steps, *_END), purpose=purpose, limits=limits
    )


def _without(recipe: RecipeDefinition, *kinds: StepKind, leg: Leg | None = None) -> RecipeDefinition:
    kept = tuple(
        step for step in recipe.steps if step.kind not in kinds or (leg is not None and step.leg is not leg)
    )
    return replace(recipe, steps=kept)


def _after(recipe: RecipeDefinition, kind: StepKind, *new: RecipeStep) -> RecipeDefinition:
    index = [step.kind for step in recipe.steps].index(kind) + 1
    return replace(recipe, steps=(*recipe.steps[:index], *new, *recipe.steps[index:]))


def _hold(recipe: RecipeDefinition, kind: StepKind) -> RecipeDefinition:
    return replace(
        recipe,
        steps=tuple(
            replace(step, is_safe_hold_after=True) if step.kind is kind else step for step in recipe.steps
        ),
    )


NA, H, OH1, MB = (
    ResinFamily.SAC_SODIUM,
    ResinFamily.SAC_HYDROGEN,
    ResinFamily.SBA_TYPE_1,
    ResinFamily.MIXED_BED,
)
_SALT, _ACID, _CAUSTIC = Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE
_BLEACH, _SULFURIC = Chemical.SODIUM_HYPOCHLORITE, Chemical.SULFURIC_ACID
_SULFURIC_RECIPE, _CARBON = ALL_RECIPES["H-H2SO4-120"], RECIPES[ResinFamily.CARBON]
_SANITIZING = ALL_RECIPES["SAN-NA-NAOCL"]
_POLISHING = RECIPES[ResinFamily.MIXED_BED_POLISHING]

_FLOATED = ALL_RECIPES["MB-FLOAT-110"]
_FLOAT = next(step for step in _FLOATED.steps if step.kind is StepKind.FLOAT)


def _floated_in(chemical: Chemical) -> RecipeDefinition:
    """The float recipe with another chemical in its float, of 14 %."""
    strength = percent(14, 12, 16)
    return replace(
        _FLOATED,
        steps=tuple(
            replace(step, chemical=chemical, settings={**step.settings, "strength_frac": strength})
            if step.kind is StepKind.FLOAT
            else step
            for step in _FLOATED.steps
        ),
    )


_BRINED = (_inject(_SALT, 0.10), _DISPLACE)

PLANTED: list[tuple[str, Callable[[], RecipeDefinition], str]] = [
    ("chemical_for_family", lambda: _recipe(H, _inject(_CAUSTIC), _DISPLACE), "brings sodium hydroxide.*Possible: hydrochloric acid"),
    ("chemical_for_family", lambda: _recipe(OH1, *_BRINED, _inject(_CAUSTIC), _DISPLACE, purpose=Purpose.REGENERATION),
     r"brings sodium chloride \(brine\) on Strong-base anion.*for regeneration. Possible: sodium hydroxide"),
    ("chemical_for_family", lambda: replace(RECIPES[MB], steps=tuple(
        replace(step, chemical=_CAUSTIC) if step.leg is Leg.CATION and step.kind is StepKind.INJECT else step
        for step in RECIPES[MB].steps)), "in the cation leg of a mixed bed. Possible: hydrochloric acid and sulfuric acid"),
    ("oxidizer_step", lambda: _recipe(NA, *_BRINED, _inject(_BLEACH), _DISPLACE, _RINSE, *_BRINED), "Oxidizers come by a sanitizing step"),
    ("oxidizer_step", lambda: _recipe(NA, _sanitize(_SALT), _DISPLACE, *_BRINED), "all else by injection"),
    ("no_rinse_between", lambda: _recipe(OH1, _inject(_ACID), _DISPLACE, _inject(_CAUSTIC), _DISPLACE),
     "acid and caustic react with heat"),
    ("no_rinse_between", lambda: _recipe(NA, _inject(Chemical.SODIUM_DITHIONITE), _DISPLACE, _inject(_ACID), _DISPLACE, _RINSE, *_BRINED),
     "acid sets sulfur dioxide free"),
    ("no_rinse_between", lambda: _recipe(NA, _inject(Chemical.SODIUM_DITHIONITE), _DISPLACE, _sanitize(), _RINSE, *_BRINED),
     "an oxidizer and a reductant react with heat"),
    ("no_rinse_between", lambda: _recipe(NA, _sanitize(), _DISPLACE, _inject(_ACID), _DISPLACE, _RINSE, *_BRINED),
     "an oxidizer sets chlorine or oxygen free in acid"),
    ("no_rinse_between", lambda: _recipe(ResinFamily.WBA, _inject(_ACID), _DISPLACE, _inject(Chemical.SODIUM_CARBONATE), _DISPLACE),
     "acid sets carbon dioxide free from soda ash"),
    ("no_rinse_between", lambda: _without(_CARBON, StepKind.RINSE), "not rinsed out before new carbon goes in"),
    ("no_displacement_between", lambda: _recipe(NA, _inject(_SALT, 0.10), _inject(_ACID), _DISPLACE, _RINSE, *_BRINED), "Put a displacement between"),
    ("oxidizer_after_acid_or_caustic", lambda: _recipe(NA, _inject(_ACID), _DISPLACE, _RINSE, *_BRINED, _sanitize(), _RINSE, *_BRINED),
     "never on hydrogen, hydroxide or free-base form"),
    ("oxidizer_after_acid_or_caustic", lambda: _recipe(OH1, _inject(_CAUSTIC), _DISPLACE, _RINSE, _sanitize(), _RINSE, _inject(_CAUSTIC), _DISPLACE),
     "Sanitize first, regenerate afterwards"),
    ("oxidizer_not_on_salt_form", lambda: _recipe(OH1, _sanitize(), _RINSE, _inject(_CAUSTIC), _DISPLACE), "salt form with brine first"),
    ("no_regeneration_after_oxidizer", lambda: _recipe(NA, *_BRINED, _sanitize(), _RINSE), "no regeneration follows"),
    ("sanitizer_not_rinsed", lambda: _recipe(NA, _sanitize(), *_BRINED), "is not followed by a rinse"),
    ("no_residual_limit", lambda: _recipe(NA, _sanitize(), _RINSE, *_BRINED, residual=False), "no limit for what is left"),
    ("reductant_on_hydrogen_form", lambda: _recipe(H, _inject(Chemical.SODIUM_DITHIONITE), _DISPLACE, _RINSE, _inject(_ACID), _DISPLACE),
     "gives off sulfur dioxide"),
    ("ammonia_with_hypochlorite", lambda: _recipe(ResinFamily.WBA, *_BRINED, _sanitize(), _RINSE, _inject(Chemical.AMMONIA), _DISPLACE),
     "toxic chloramine gas"),
    ("sulfuric_first_step", lambda: replace(_SULFURIC_RECIPE, steps=tuple(
        step for step in _SULFURIC_RECIPE.steps if step.name != "Acid injection, first step")), "of 4.%; the first step takes at most 2.%"),
    ("sulfuric_weak_acid", lambda: with_setting(ALL_RECIPES["WH-H2SO4-104"], StepKind.INJECT, strength_frac=percent(2, 1, 3)),
     "on weak-acid cation at most 0.8.%"),
    ("sulfuric_order", lambda: _recipe(H, _inject(_SULFURIC, 0.02), _inject(_SULFURIC, 0.015), _DISPLACE), "rises step by step"),
    ("sulfuric_hold", lambda: _hold(_SULFURIC_RECIPE, StepKind.INJECT), "sulfuric acid never stands in the bed"),
    ("hold_with_chemical", lambda: _hold(RECIPES[H], StepKind.INJECT), "is no hold point: chemical stands"),
    ("hold_with_chemical", lambda: _hold(ALL_RECIPES["CL-ORG-OH1"], StepKind.SOAK), "Soak in warm alkaline brine, is no hold point"),
    ("soak_without_chemical", lambda: _recipe(H, soak("Soak", minutes(60, 30, 90)), _inject(_ACID), _DISPLACE), "soaks in nothing"),
    ("sulfuric_soak", lambda: _recipe(H, _inject(_SULFURIC), soak("Soak", minutes(60, 30, 90)), _DISPLACE), "it never pauses, or gypsum drops"),
    ("soak_in_regeneration", lambda: replace(ALL_RECIPES["CL-FE-H"], purpose=Purpose.REGENERATION), "Only a cleaning or a conditioning soaks"),
    ("strength_too_high", lambda: with_setting(RECIPES[H], StepKind.INJECT, strength_frac=percent(8, 5, 15)),
     "lets HCl reach 15.%, at most 10.% by the plant's limits. Lining"),
    ("strength_too_high", lambda: with_setting(_SANITIZING, StepKind.SANITIZE, strength_frac=percent(1, 0.5, 2)), "lets NaOCl reach 2.%, at most 0.5"),
    ("caustic_too_warm", lambda: with_setting(RECIPES[ResinFamily.SBA_TYPE_2], StepKind.INJECT, temperature_kelvin=celsius(40, 30, 45)),
     "reach 45.°C; Strong-base anion type 2, hydroxide form takes at most 35"),
    ("caustic_too_warm", lambda: with_setting(RECIPES[ResinFamily.SBA_ACRYLIC], StepKind.INJECT, temperature_kelvin=celsius(40, 30, 45)),
     "acrylic.*takes at most 35"),
    ("last_regenerant", lambda: _recipe(H, _inject(_ACID), _DISPLACE, _RINSE, *_BRINED), r"ends on sodium chloride \(brine\); hydrogen form takes"),
    ("last_regenerant", lambda: _recipe(NA), "injects nothing; sodium form takes sodium chloride"),
    ("no_steps", lambda: replace(RECIPES[H], steps=()), "has no step"),
    ("first_step", lambda: _without(RECIPES[H], StepKind.LOAD), "begins with: Load the vessel"),
    ("no_sample", lambda: _without(RECIPES[H], StepKind.SAMPLE), "ends with a sample for QC"),
    ("no_final_rinse", lambda: _without(RECIPES[H], StepKind.FAST_RINSE), "No fast or recirculating rinse follows"),
    ("only_mixed", lambda: _after(RECIPES[H], StepKind.FAST_RINSE, next(s for s in RECIPES[MB].steps if s.kind is StepKind.AIR_MIX)),
     "belongs to a mixed bed"),
    ("only_exchange", lambda: _after(RECIPES[H], StepKind.LOAD, _CARBON.steps[0]), "belongs to an exchange of carbon"),
    ("exchange_of_resin", lambda: replace(RECIPES[H], purpose=Purpose.EXCHANGE), "Only carbon is exchanged"),
    ("carbon_regenerated", lambda: replace(_CARBON, purpose=Purpose.REGENERATION), "a recipe for regeneration is not for it"),
    ("carbon_regenerated", lambda: replace(_CARBON, steps=(_CARBON.steps[0], _inject(_CAUSTIC), _DISPLACE, *_CARBON.steps[1:])),
     "treats carbon with a chemical"),
    ("carbon_wording", lambda: replace(_CARBON, name="Carbon regeneration"), "never regenerated here: reword 'Carbon regeneration'"),
    ("exchange_order", lambda: _without(_CARBON, StepKind.FILL), "then fills them with new carbon"),
    ("sanitizer_on_carbon", lambda: replace(_CARBON, steps=(*_CARBON.steps[:5], _sanitize(), _RINSE, *_CARBON.steps[5:])),
     "brings an oxidizer onto carbon"),
    ("mixed_without_cut", lambda: RecipeDefinition("T", "Mixed", MB, (load(), *_END)), "parts at an interface cut and joins again"),
    ("mixed_without_separation", lambda: _without(RECIPES[MB], StepKind.SEPARATE), "cuts a bed that was not separated"),
    ("mixed_without_settling", lambda: _without(RECIPES[MB], StepKind.SETTLE), "Let the bed settle"),
    ("hold_while_separated", lambda: _hold(RECIPES[MB], StepKind.SEPARATE), "the layers blur before the cut"),
    ("hold_while_separated", lambda: _hold(_FLOATED, StepKind.FLOAT), "Float separation in dense brine, is no hold point: the layers blur"),
    ("hold_while_separated", lambda: _hold(_FLOATED, StepKind.RINSE), "Rinse the dense brine out downward, is no hold point"),
    ("only_mixed", lambda: _after(RECIPES[H], StepKind.SETTLE, _FLOAT), "belongs to a mixed bed"),
    ("float_after_cut", lambda: _after(_after(RECIPES[MB], StepKind.AIR_MIX, _DISPLACE), StepKind.AIR_MIX, _FLOAT),
     "parts resins that step .* has cut already"),
    ("float_not_exhausted", lambda: replace(_FLOATED, steps=(_FLOATED.steps[0], *_FLOATED.steps[4:])), "Exhaust with brine first"),
    ("float_caustic_on_brine", lambda: replace(_floated_in(_CAUSTIC), steps=tuple(
        step for step in _floated_in(_CAUSTIC).steps if step.name != "Rinse the brine out")), "chalk and magnesia in the bed"),
    ("float_not_rinsed", lambda: replace(_FLOATED, steps=tuple(
        step for step in _FLOATED.steps if step.name != "Rinse the dense brine out downward")), "leaves its solution in the bed up to the cut"),
    ("lifted_after_float", lambda: _after(_FLOATED, StepKind.FLOAT, _DISPLACE, backwash(WaterKind.DEIONIZED, percent(50, 30, 75), minutes(10, 5, 15))),
     "in water both resins mix again"),
    ("chemical_for_family", lambda: _floated_in(_ACID), r"brings hydrochloric acid in the whole bed of a mixed bed. Possible: sodium chloride"),
    ("strength_too_high", lambda: with_setting(_floated_in(_CAUSTIC), StepKind.FLOAT, strength_frac=percent(16, 14, 18)), "lets NaOH reach 18.%, at most 16"),
    ("caustic_too_warm", lambda: with_setting(_floated_in(_CAUSTIC), StepKind.FLOAT, temperature_kelvin=celsius(40, 20, 60)), "lets caustic reach 60.°C"),
    ("leg_without_regenerant", lambda: _without(RECIPES[MB], StepKind.INJECT, leg=Leg.ANION), "The anion leg has no injection"),
    ("leg_not_rinsed", lambda: _without(RECIPES[MB], StepKind.RINSE, leg=Leg.CATION), "The cation leg joins without a rinse"),
    ("chemical_after_join", lambda: _after(_after(RECIPES[MB], StepKind.AIR_MIX, _DISPLACE), StepKind.AIR_MIX, _inject(_SALT, 0.1)),
     "brings a chemical to the joined bed"),
    ("mixed_without_air_mix", lambda: _without(RECIPES[MB], StepKind.AIR_MIX), "Put an air mix after the join"),
    ("mixed_without_final_rinse", lambda: _without(RECIPES[MB], StepKind.FAST_RINSE, StepKind.RECIRCULATE), "not followed by a final rinse"),
    ("no_balance_limit", lambda: replace(RECIPES[MB], arrangement=LegArrangement.TOGETHER, limits={}), "sets no limit for the balance"),
    ("polishing_grades", lambda: replace(_POLISHING, grades=()), "polishing or virgin resin only"),
    ("polishing_limits", lambda: replace(_POLISHING, limits={"cross_contamination_max_frac": 0.002}), "how many regenerations the resin may have"),
    ("polishing_limits", lambda: replace(_POLISHING, limits={"resin_cycles_max": 20.0}), "how many beads of the other kind"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "make", "sentence"), PLANTED, ids=[f"{code}-{index}" for index, (code, *_) in enumerate(PLANTED)]
)
def test_a_recipe_that_breaks_a_rule_is_told_which(
    code: str, make: Callable[[], RecipeDefinition], sentence: str
) -> None:
    definition = make()
    found = [offence for offence in offences(definition) if offence.code == code]
    assert found, [offence.code for offence in offences(definition)]
    assert any(re.search(sentence, offence.sentence) for offence in found), found
    assert {offence.sentence for offence in found} <= set(violations(definition))
    for offence in found:
        assert offence.step_number is None or 1 <= offence.step_number <= len(definition.steps)


def test_every_rule_has_a_planted_offence() -> None:
    """The codes are read from the rules themselves: a new rule without an offence here fails."""
    written: set[str] = set()
    for module in (recipe_chemistry, recipe_order):
        for node in ast.walk(ast.parse(Path(module.__file__).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Offence":
                first = node.args[0]
                parts = (first.body, first.orelse) if isinstance(first, ast.IfExp) else (first,)
                written |= {part.value for part in parts if isinstance(part, ast.Constant)}
    assert len(written) >= 40
    assert written == {code for code, *_ in PLANTED}


@pytest.mark.parametrize("recipe", default_recipes(), ids=lambda recipe: recipe.code)
def test_a_recipe_to_begin_with_breaks_no_rule(recipe: RecipeDefinition) -> None:
    assert violations(recipe) == ()


@pytest.mark.requirement("CS-03")
@pytest.mark.parametrize(("first", "second"), list(itertools.product(Chemical, repeat=2)))
def test_no_forbidden_pair_meets_without_a_full_rinse_between(first: Chemical, second: Chemical) -> None:
    """CS-03: over every ordered pair of chemicals. With displacement and rinse between, the pair itself is allowed."""
    ends = (_bring(second), _DISPLACE, _RINSE, *_BRINED)
    codes = {
        name: {offence.code for offence in offences(_recipe(NA, _bring(first), *between, *ends))}
        for name, between in {"displaced": (_DISPLACE,), "rinsed": (_DISPLACE, _RINSE)}.items()
    }
    forbidden = bool(needs_rinse_between(first, second))
    assert ("no_rinse_between" in codes["displaced"]) == forbidden
    assert "no_rinse_between" not in codes["rinsed"]
    kinds = {first, second}
    if any(one.is_acid for one in kinds) and any(
        one.is_base or one.is_oxidizer or one.is_reductant for one in kinds
    ):
        assert forbidden
    if any(one.is_oxidizer for one in kinds) and any(one.is_reductant for one in kinds):
        assert forbidden


def test_a_rinse_before_the_first_chemical_or_after_the_second_is_no_rinse_between() -> None:
    recipe = _recipe(OH1, _RINSE, _inject(_ACID), _DISPLACE, _inject(_CAUSTIC), _DISPLACE, _RINSE)
    assert "no_rinse_between" in {offence.code for offence in offences(recipe)}


def test_brine_and_caustic_may_follow_each_other_in_the_bed() -> None:
    assert violations(_recipe(OH1, _inject(_SALT, 0.10), _inject(_CAUSTIC, 0.03), _DISPLACE)) == ()


def test_the_legs_of_a_mixed_bed_are_two_paths() -> None:
    """Acid on the one leg and caustic on the other do not meet in the record, however the steps are listed."""
    assert violations(ALL_RECIPES["MB-TOGETHER-107"]) == ()


def test_the_limits_are_the_plants_own() -> None:
    strong = with_setting(RECIPES[H], StepKind.INJECT, strength_frac=percent(8, 5, 15))
    assert violations(strong, PlantLimits(hydrochloric_strength_max_frac=0.15)) == ()
    warm = with_setting(
        RECIPES[ResinFamily.SBA_TYPE_2], StepKind.INJECT, temperature_kelvin=celsius(38, 30, 40)
    )
    assert violations(warm, PlantLimits(caustic_type_2_max_kelvin=313.15)) == ()


def test_every_family_has_its_regenerants_and_carbon_none() -> None:
    assert (
        REGENERANTS_BY_FAMILY.keys() == CLEANERS_BY_FAMILY.keys() == {family.value for family in ResinFamily}
    )
    for family in ResinFamily:
        assert bool(REGENERANTS_BY_FAMILY[family.value]) != family.is_exchanged
        assert (
            CHEMICALS_BY_FAMILY[family.value][: len(REGENERANTS_BY_FAMILY[family.value])]
            == REGENERANTS_BY_FAMILY[family.value]
        )
        for chemical in REGENERANTS_BY_FAMILY[family.value]:
            assert not chemical.is_oxidizer and not chemical.is_reductant
            if family.is_anion:
                assert chemical.is_base
            if family.is_cation and family is not NA:
                assert chemical.is_acid


def test_every_rinse_and_every_chemical_names_a_water() -> None:
    for recipe in default_recipes():
        for step in recipe.steps:
            assert (step.water is not None) == (step.kind in NEEDS_WATER), (recipe.code, step.name)


def test_a_float_in_caustic_stands_behind_brine_its_displacement_and_its_rinse() -> None:
    assert violations(_floated_in(_CAUSTIC)) == ()
    assert violations(_floated_in(_CAUSTIC), PlantLimits(float_caustic_strength_max_frac=0.15)) != ()


def test_a_dense_solution_may_stand_in_for_the_backwash_separation() -> None:
    alone = _without(_FLOATED, StepKind.SEPARATE, StepKind.SETTLE)
    assert violations(alone) == ()
    assert "mixed_without_separation" in {
        offence.code for offence in offences(_without(alone, StepKind.FLOAT))
    }


def test_a_float_that_is_not_displaced_is_no_recipe() -> None:
    steps = tuple(step for step in _FLOATED.steps if step.name != "Displace the dense brine downward")
    with pytest.raises(OutOfRange, match="chemical never stays in the bed"):
        replace(_FLOATED, steps=steps)


@pytest.mark.requirement("CS-06")
@pytest.mark.parametrize(
    ("family", "celsius_kept", "celsius_refused"),
    [
        # 95 °F (35 °C) for acrylic resin: a supplier’s sheet (read); 35 °C for type 2 and 120 °F (49 °C) for type 1: memory
        (ResinFamily.SBA_TYPE_1, 49.0, 55.0),
        (ResinFamily.SBA_TYPE_2, 35.0, 55.0),
        (ResinFamily.SBA_ACRYLIC, 35.0, 55.0),
    ],
)
def test_caustic_warmer_than_the_resin_bears_is_no_recipe(
    family: ResinFamily, celsius_kept: float, celsius_refused: float
) -> None:
    def too_warm(most: float) -> list[str]:
        warm = with_setting(
            RECIPES[family], StepKind.INJECT, temperature_kelvin=celsius(min(most, 33), 30, most)
        )
        return [offence.code for offence in offences(warm) if offence.code == "caustic_too_warm"]

    assert too_warm(celsius_kept) == []
    assert too_warm(celsius_refused) == ["caustic_too_warm"]
