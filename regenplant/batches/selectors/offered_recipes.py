"""Recipes for one vessel, in the order an operator wants them, those that cannot run there last with the reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant.core.process.default_recipes import main_recipe
from regenplant.core.process.recipe_fit import chemicals_fed, reasons_against
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.plant.models import Vessel
from regenplant.plant.selectors import skids_by_chemical, vessel_data
from regenplant.recipes.models import RecipeVersion
from regenplant.recipes.selectors import BESIDES_REGENERATION, recipe_definition, usable_recipe_versions
from regenplant.resins.models import ResinType


@dataclass(frozen=True, slots=True)
class OfferedRecipe:
    """A recipe as seen by one vessel."""

    version: RecipeVersion
    reasons_against: tuple[str, ...]
    """Why it cannot run in this vessel, as sentences; empty where it can."""

    @property
    def can_run(self) -> bool:
        return not self.reasons_against


def offered_recipes(resin_type: ResinType, vessel: Vessel, now: datetime) -> tuple[OfferedRecipe, ...]:
    """Every recipe for this resin, the one to take first.

    What can run in the vessel stands before what cannot. Among those: what regenerates before cleaning and conditioning; of
    what regenerates the usual recipe of the family, then those that take its chemicals, then the others; each by code.
    """
    family = ResinFamily(resin_type.family)
    data, skids, usual = vessel_data(vessel), skids_by_chemical(), main_recipe(family)
    found = [
        (_distance(definition, usual), OfferedRecipe(version, reasons_against(definition, data, skids)))
        for version in usable_recipe_versions(resin_type.family, resin_type.grade, now)
        for definition in (recipe_definition(version),)
    ]
    # the order among equals is the one of usable_recipe_versions: by purpose and code
    return tuple(offered for _, offered in sorted(found, key=lambda pair: (not pair[1].can_run, pair[0])))


def _distance(definition: RecipeDefinition, usual: RecipeDefinition) -> int:
    """How far a recipe is from the usual one: 0 itself, 1 the same chemicals, 2 others, 3 cleaning and conditioning."""
    if definition.purpose in BESIDES_REGENERATION:
        return 3
    if definition.code == usual.code:
        return 0
    return 1 if chemicals_fed(definition.steps) == chemicals_fed(usual.steps) else 2
