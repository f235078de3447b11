"""Acts on recipes and specifications: versions are drafted by one person and approved by another. Acts on products."""

from regenplant.recipes.services.products import (
    add_product,
    change_product,
    end_customer_specification,
    set_customer_specification,
)
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
    "add_product",
    "add_recipe",
    "add_specification",
    "approve_recipe_version",
    "approve_specification_version",
    "change_product",
    "draft_recipe_version",
    "draft_specification_version",
    "end_customer_specification",
    "set_customer_specification",
    "withdraw_recipe_version",
    "withdraw_specification_version",
]
