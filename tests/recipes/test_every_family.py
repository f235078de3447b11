"""Recipes of every family in the record: the rules of the trade refuse what would hurt, and what is new is compared."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from regenplant.audit.by import By
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.recipes import RECIPE_LIMITS, SETTINGS_BY_KIND, RecipeDefinition, SetPoint
from regenplant.core.process.vocabulary import LegArrangement, Purpose, StepKind
from regenplant.people.models import Person
from regenplant.recipes import services
from regenplant.recipes.models import Recipe, RecipeVersion
from regenplant.recipes.selectors import (
    SETTING_KINDS,
    Difference,
    purpose_of,
    recipe_definition,
    recipe_differences,
    runs_apart,
)
from regenplant.units import KINDS
from tests import factories

Acts = Callable[..., By]
BY_CODE = {one.code: one for one in default_recipes()}
MIXED = next(one for one in BY_CODE.values() if one.family.is_mixed)


def added(by: By, definition: RecipeDefinition) -> RecipeVersion:
    return services.add_recipe(
        by=by, code=definition.code, name=definition.name, family=definition.family.value, grade="working",
        definition=definition, reason="first version",
    ).result  # fmt: skip


@pytest.mark.parametrize("code", BY_CODE)
def test_every_default_recipe_is_kept_as_it_is(supervisor: Person, by: Acts, code: str) -> None:
    version = added(by(supervisor), BY_CODE[code])
    assert recipe_definition(version) == BY_CODE[code]
    assert purpose_of(version) is BY_CODE[code].purpose


def test_every_setting_and_limit_has_a_quantity_kind() -> None:
    settings = {key for keys in SETTINGS_BY_KIND.values() for key in keys}
    assert settings == set(SETTING_KINDS)
    assert {kind for kind, _ in SETTING_KINDS.values()} <= set(KINDS)
    assert {kind for _, kind in RECIPE_LIMITS.values()} <= set(KINDS)


def test_only_a_recipe_whose_anion_leg_has_a_vessel_of_its_own_runs_apart(
    supervisor: Person, by: Acts
) -> None:
    found = {code: runs_apart(added(by(supervisor), definition)) for code, definition in BY_CODE.items()}
    apart = {
        code
        for code, one in BY_CODE.items()
        if one.family.is_mixed and one.arrangement is LegArrangement.APART
    }
    assert apart and {code for code, is_apart in found.items() if is_apart} == apart


def without(definition: RecipeDefinition, kind: StepKind) -> RecipeDefinition:
    return replace(definition, steps=tuple(step for step in definition.steps if step.kind is not kind))


@pytest.mark.parametrize(
    ("definition", "words"),
    [
        (without(MIXED, StepKind.SETTLE), "without settling"),
        (without(MIXED, StepKind.AIR_MIX), "not mixed by air"),
        (replace(BY_CODE["GAC-EXCHANGE"], purpose=Purpose.REGENERATION), "Carbon is exchanged"),
        (without(BY_CODE["GAC-EXCHANGE"], StepKind.SAMPLE), "it ends with a sample"),
        (replace(BY_CODE["SAN-NA-NAOCL"], limits={}), "what is left of the sanitizer"),
    ],
    ids=["settle", "air mix", "carbon regenerated", "no sample", "no residual limit"],
)
def test_what_the_trade_forbids_is_not_even_a_draft(
    supervisor: Person, by: Acts, definition: RecipeDefinition, words: str
) -> None:
    with pytest.raises(RecordRefused, match=words) as refusal:
        added(by(supervisor), definition)
    assert refusal.value.code == "recipe_rules" and refusal.value.context["sentences"]
    assert not Recipe.objects.exists()


def test_limits_and_grades_that_cannot_be_are_refused(supervisor: Person, by: Acts) -> None:
    with pytest.raises(OutOfRange, match="must be a number"):
        added(by(supervisor), replace(MIXED, limits={**MIXED.limits, "velocity_ratio_min": float("nan")}))
    with pytest.raises(RecordRefused, match="resin grades"):
        added(by(supervisor), replace(MIXED, grades=("x",)))


def test_a_version_written_before_recipes_had_a_purpose_is_the_same_recipe(
    supervisor: Person, qc_technician: Person, by: Acts
) -> None:
    hydrogen = BY_CODE["H-HCL-100"]
    old = added(by(supervisor), hydrogen)
    plain = canonical_text(hydrogen)
    for name in (
        '"arrangement":"apart",',
        '"grades":[],',
        ',"purpose":"regeneration"',
        ',"leg":"whole"',
        '"limits":{},',
    ):
        assert name in plain, name
        plain = plain.replace(name, "")
    RecipeVersion.objects.filter(pk=old.pk).update(content=plain, digest=digest(plain))
    services.approve_recipe_version(
        by=by(qc_technician), version_id=old.pk, permit=factories.approval(by(qc_technician), old)
    )
    with pytest.raises(RecordRefused, match="the same as version 1"):
        services.draft_recipe_version(
            by=by(supervisor), recipe_id=old.recipe_id, definition=hydrogen, reason="again"
        )


def test_purpose_arrangement_grades_and_limits_are_compared() -> None:
    changed = replace(
        MIXED,
        arrangement=LegArrangement.TOGETHER,
        grades=("working",),
        limits={**MIXED.limits, "cross_contamination_max_frac": 0.02},
    )
    found = recipe_differences(MIXED, changed)
    assert found == (
        Difference("Recipe", "How the legs run", "", MIXED.arrangement.label, LegArrangement.TOGETHER.label),
        Difference("Recipe", "Resin grades", "", "any", "working"),
        Difference(
            "Recipe",
            RECIPE_LIMITS["cross_contamination_max_frac"][0],
            "fraction",
            SetPoint(0.01, 0.01, 0.01),
            SetPoint(0.02, 0.02, 0.02),
        ),
    )
    cut = next(step for step in MIXED.steps if step.kind is StepKind.CUT)
    wider = replace(cut, settings={**cut.settings, "cut_frac": SetPoint(0.2, 0.1, 0.3)})
    steps = tuple(wider if step is cut else step for step in MIXED.steps)
    (one,) = recipe_differences(MIXED, replace(MIXED, steps=steps))
    assert (one.kind, one.new) == ("fraction", SetPoint(0.2, 0.1, 0.3))
