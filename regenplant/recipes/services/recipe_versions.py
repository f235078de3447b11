"""Acts on recipes."""

from __future__ import annotations

import math
from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.plan_basis import CHEMICALS_BY_FAMILY
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.recipes.models import Recipe, RecipeVersion
from regenplant.recipes.services import _versioned

_LINE = _versioned.Line("recipe", "recipe", Recipe, RecipeVersion, "recipe")
_NEEDS_WATER = (StepKind.BACKWASH, StepKind.INJECT, StepKind.DISPLACE, StepKind.FAST_RINSE)


@use_case("recipe.added", permission="recipe.edit")
def add_recipe(
    *, by: By, code: str, name: str, family: str, grade: str, definition: RecipeDefinition, reason: str
) -> Outcome:
    """A recipe with version 1 as a draft; ``result`` is the version.

    Raises: RecordRefused, OutOfRange.
    """
    _refuse_unfit(definition)
    return _versioned.add(
        _LINE, by=by, code=code, name=name, family=family, grade=grade, definition=definition, reason=reason
    )


@use_case("recipe.version_drafted", permission="recipe.edit")
def draft_recipe_version(*, by: By, recipe_id: int, definition: RecipeDefinition, reason: str) -> Outcome:
    """The next version as a draft; ``result`` is the version. Raises: RecordRefused, OutOfRange."""
    _refuse_unfit(definition)
    return _versioned.draft(_LINE, by=by, owner_id=recipe_id, definition=definition, reason=reason)


@use_case("recipe.version_approved", permission="recipe.approve")
def approve_recipe_version(*, by: By, version_id: int, effective_from: datetime | None = None) -> Outcome:
    """A second person approves a draft. Raises: NotAllowed (own work), StaleRecord, RecordRefused."""
    return _versioned.approve(_LINE, by=by, version_id=version_id, effective_from=effective_from)


@use_case("recipe.version_withdrawn", permission="recipe.approve")
def withdraw_recipe_version(*, by: By, version_id: int, reason: str) -> Outcome:
    """No new batch uses this version. Raises: StaleRecord, RecordRefused."""
    return _versioned.withdraw(_LINE, by=by, version_id=version_id, reason=reason)


def _refuse_unfit(definition: RecipeDefinition) -> None:
    """What the frozen data itself cannot know: the family's chemicals, the water of each step, and numbers that can be."""
    if not definition.steps:
        raise RecordRefused("The recipe has no step.", code="no_steps")
    allowed = CHEMICALS_BY_FAMILY[definition.family.value]
    for number, step in enumerate(definition.steps, start=1):
        if not step.name.strip() or len(step.name) > 60:
            raise RecordRefused(f"Step {number} needs a name of 1 to 60 characters.", code="step_name")
        if step.chemical is not None and step.chemical not in allowed:
            names = ", ".join(chemical.label for chemical in allowed)
            raise RecordRefused(
                f"Step {number}, {step.name}: {Chemical(step.chemical).label} does not regenerate {definition.family.label}. "
                f"Possible: {names}.",
                code="chemical_not_for_family",
            )
        if step.kind in _NEEDS_WATER and step.water is None:
            raise RecordRefused(f"Step {number}, {step.name}, names no water.", code="no_water")
        for key, point in step.settings.items():
            if not all(
                math.isfinite(value) and value >= 0 for value in (point.low, point.target, point.high)
            ):
                raise OutOfRange(
                    f"Step {number}, {step.name}: {key} must be a number from zero up.", code="setting"
                )
        _refuse_standing_chemical(number, definition)


def _refuse_standing_chemical(number: int, definition: RecipeDefinition) -> None:
    """A bed with chemical in it is never a hold point (the step after an injection is displacement)."""
    step = definition.steps[number - 1]
    if step.kind is StepKind.INJECT and step.is_safe_hold_after:
        raise RecordRefused(
            f"Step {number}, {step.name}, cannot be a safe hold point: chemical stands in the bed until it is displaced.",
            code="unsafe_hold_point",
        )


for _event, _words in _versioned.wordings("Recipe", "recipe"):
    say(_event, _words)
