"""Acts on recipes."""

from __future__ import annotations

import math
from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.recipe_rules import NEEDS_WATER, violations
from regenplant.core.process.recipes import RECIPE_LIMITS, RecipeDefinition
from regenplant.people import approvals
from regenplant.people.binding import SignaturePermit
from regenplant.plant.limits import newest_content
from regenplant.recipes.models import Recipe, RecipeVersion
from regenplant.recipes.services import _versioned

_LINE = _versioned.Line("recipe", Recipe, RecipeVersion, "recipe")
_MOST_GRADES = 12


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
def approve_recipe_version(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """A second person approves a draft and signs it (``approval_of``).

    Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.approve(
        _LINE.versions, by=by, version_id=version_id, permit=permit, effective_from=effective_from
    )


@use_case("recipe.version_withdrawn", permission="recipe.approve")
def withdraw_recipe_version(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """No new batch uses this version. One that was approved is withdrawn with a signature (``withdrawal_of``).

    Raises: SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.withdraw(_LINE.versions, by=by, version_id=version_id, reason=reason, permit=permit)


def _refuse_unfit(definition: RecipeDefinition) -> None:
    """What the frozen data itself cannot know: names and numbers that can be, the water of each step, the rules of the trade.

    Raises: RecordRefused with every rule broken; OutOfRange for a number that cannot be.
    """
    if not definition.steps:
        raise RecordRefused("The recipe has no step.", code="no_steps")
    for number, step in enumerate(definition.steps, start=1):
        if not step.name.strip() or len(step.name) > 60:
            raise RecordRefused(f"Step {number} needs a name of 1 to 60 characters.", code="step_name")
        if step.kind in NEEDS_WATER and step.water is None:
            raise RecordRefused(f"Step {number}, {step.name}, names no water.", code="no_water")
        for key, point in step.settings.items():
            if not all(
                math.isfinite(value) and value >= 0 for value in (point.low, point.target, point.high)
            ):
                raise OutOfRange(
                    f"Step {number}, {step.name}: {key} must be a number from zero up.", code="setting"
                )
    _refuse_limits(definition)
    broken = violations(definition, newest_content().process)
    if broken:
        raise RecordRefused(" ".join(broken), code="recipe_rules", sentences=broken)


def _refuse_limits(definition: RecipeDefinition) -> None:
    for key, value in definition.limits.items():
        if not math.isfinite(value):
            raise OutOfRange(f"The limit {RECIPE_LIMITS[key][0].lower()} must be a number.", code="limit")
    grades = definition.grades
    if len(grades) > _MOST_GRADES or any(not 2 <= len(grade.strip()) <= 20 for grade in grades):
        raise RecordRefused(
            f"A recipe names at most {_MOST_GRADES} resin grades, each of 2 to 20 characters.", code="grades"
        )


for _event, _words in _versioned.wordings("Recipe", "recipe"):
    say(_event, _words)
