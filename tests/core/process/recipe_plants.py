"""A fitting plant for each recipe to begin with: vessel, stock, water and feed so that its plan may start.

Built on the plant of ``plan_requests``; what a recipe asks for beyond it stands here by code.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from regenplant.core.process.plan import FeedData, PlanRequest
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import Chemical
from tests.core.process.plan_requests import ALL_RECIPES, request_for

SOFT_FEED = FeedData(0.15, 0.10, 1.75, 0.8, 0.3, 0.1, 0.8, 0.1, 0.1, "invented soft water")
"""Little calcium: sulfuric acid can be used on resin from it without gypsum."""


def _with_heater(plain: PlanRequest, chemical: Chemical) -> PlanRequest:
    skid = replace(plain.skids[chemical.value], heater_max_temperature_kelvin=338.15)
    return replace(plain, skids={**plain.skids, chemical.value: skid})


def _soft_feed(plain: PlanRequest) -> PlanRequest:
    return replace(plain, feed=SOFT_FEED)


def _one_vessel(plain: PlanRequest) -> PlanRequest:
    return replace(plain, anion_vessel=None)


def _warm_brine(plain: PlanRequest) -> PlanRequest:
    return _with_heater(plain, Chemical.SODIUM_CHLORIDE)


def _much_brine(plain: PlanRequest) -> PlanRequest:
    lot = replace(plain.stock["nacl"], available_kg_100=1500.0)
    return replace(plain, stock={**plain.stock, "nacl": lot})


_EXTRA: dict[str, Callable[[PlanRequest], PlanRequest]] = {
    "H-H2SO4-120": _soft_feed,
    "WH-H2SO4-104": _soft_feed,
    "MB-TOGETHER-107": _one_vessel,
    "MB-FLOAT-110": _much_brine,
    "CL-ORG-OH1": _warm_brine,
}


def fitting_request(recipe: RecipeDefinition) -> PlanRequest:
    """A request whose plan for this recipe has no blocker."""
    plain = request_for(recipe)
    change = _EXTRA.get(recipe.code)
    return change(plain) if change is not None else plain


FITTING = {code: fitting_request(recipe) for code, recipe in ALL_RECIPES.items()}
"""By recipe code."""
