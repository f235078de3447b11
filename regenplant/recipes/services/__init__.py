"""Acts on recipes and specifications: versions are drafted by one person and approved by another."""

from regenplant.recipes.services.recipe_versions import (
    add_recipe,
    approve_recipe_version,
    draft_recipe_version,
    withdraw_recipe_version,
)
from regenplant.recipes.services.specification_versions import (
    add_specification,
    approve_specification_version,
    draft_specification_version,
    withdraw_specification_version,
)

__all__ = [
    "add_recipe",
    "add_specification",
    "approve_recipe_version",
    "approve_specification_version",
    "draft_recipe_version",
    "draft_specification_version",
    "withdraw_recipe_version",
    "withdraw_specification_version",
]
