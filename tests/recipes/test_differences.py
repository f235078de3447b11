"""How two versions differ, said step by step and limit by limit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.process.default_recipes import default_recipes, default_specifications
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.vocabulary import StepKind, WaterKind
from regenplant.recipes.selectors import Difference, recipe_differences, specification_differences

RECIPE = default_recipes()[0]
SPECIFICATION = default_specifications()[2]


def test_the_same_version_differs_in_nothing() -> None:
    assert recipe_differences(RECIPE, RECIPE) == ()
    assert specification_differences(SPECIFICATION, SPECIFICATION) == ()


@pytest.mark.requirement("ER-18")
def test_a_changed_set_point_is_named_with_its_step() -> None:
    inject = RECIPE.steps[3]
    changed = replace(inject, settings={**inject.settings, "dose_kg_per_m3": SetPoint(104.0, 98.0, 112.0)})
    new = replace(RECIPE, steps=(*RECIPE.steps[:3], changed, *RECIPE.steps[4:]))
    (found,) = recipe_differences(RECIPE, new)
    assert (found.where, found.kind) == ("Step 4, Acid injection", "dose")
    assert (found.old, found.new) == (SetPoint(100.0, 95.0, 110.0), SetPoint(104.0, 98.0, 112.0))


def test_a_step_put_in_and_one_left_out_are_said_once_each() -> None:
    without = replace(RECIPE, steps=tuple(step for step in RECIPE.steps if step.kind is not StepKind.SETTLE))
    assert recipe_differences(RECIPE, without) == (Difference("Step 3", "Settle", "", "Settle", None),)
    assert recipe_differences(without, RECIPE) == (Difference("Step 3", "Settle", "", None, "Settle"),)


def test_water_words_and_hold_points_are_compared() -> None:
    backwash = replace(
        RECIPE.steps[1], water=WaterKind.SOFTENED, ends_when="clear water", is_safe_hold_after=False
    )
    new = replace(RECIPE, steps=(RECIPE.steps[0], backwash, *RECIPE.steps[2:]), notes="other")
    assert {found.what for found in recipe_differences(RECIPE, new)} == {
        "Notes",
        "Water",
        "Ends when",
        "Safe to hold after it",
    }


def test_limits_are_compared_one_by_one() -> None:
    first, *others = SPECIFICATION.limits
    new = replace(SPECIFICATION, limits=(replace(first, high=2e-3), *others[1:]), hold_time_s=1200.0)
    found = {row.what: row for row in specification_differences(SPECIFICATION, new)}
    assert found["Hold time"].kind == "duration"
    assert found[first.name].new == replace(first, high=2e-3)
    assert found[others[0].name].new is None


@given(st.lists(st.integers(min_value=0, max_value=6), unique=True))
def test_leaving_steps_out_is_always_said_exactly(left_out: list[int]) -> None:
    """Whatever is left out (as far as the recipe stays one) is what the comparison names."""
    kept = [step for index, step in enumerate(RECIPE.steps) if index not in left_out]
    if 4 in left_out and 3 not in left_out:  # an injection needs its displacement
        return
    gone = {RECIPE.steps[index].name for index in left_out}
    found = recipe_differences(RECIPE, replace(RECIPE, steps=tuple(kept)))
    assert {row.what for row in found if row.new is None} == gone
