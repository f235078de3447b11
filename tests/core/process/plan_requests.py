"""Requests for plans, one for each family: an invented plant, set up so that every check is met."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.plan import (
    PlanRequest,
    ResinData,
    SkidData,
    StockData,
    VesselData,
    WasteData,
    WaterData,
)
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, Chemical, ResinFamily, StepKind, WaterKind

FAMILIES = tuple(ResinFamily)
RECIPES = {recipe.family: recipe for recipe in default_recipes()}

_RESINS = {
    # total and operating capacity [eq/m³], bead diameter [m], wet density [kg/m³], swelling, highest temperature [K]
    ResinFamily.SAC_HYDROGEN: (2000.0, 1150.0, 6.5e-4, 1280.0, 0.07, 393.15),
    ResinFamily.SAC_SODIUM: (2000.0, 1250.0, 6.5e-4, 1280.0, 0.0, 393.15),
    ResinFamily.SBA_TYPE_1: (1300.0, 550.0, 6.0e-4, 1080.0, 0.20, 333.15),
    ResinFamily.SBA_TYPE_2: (1300.0, 600.0, 6.0e-4, 1080.0, 0.12, 308.15),
}


def stock(chemical: Chemical, strength: float, **changes: Any) -> StockData:
    plain = StockData(
        chemical, f"{chemical.value}-118", strength, None, 291.15, 800.0, "2026-03-11T07:10:00Z", 1.0
    )
    return replace(plain, **changes)


def request(family: ResinFamily, **changes: Any) -> PlanRequest:
    """A request whose plan has no blocker and no warning; ``changes`` replace fields of the request."""
    total, operating, diameter, density, swelling, warmest = _RESINS[family]
    stocks = (
        stock(Chemical.HYDROCHLORIC_ACID, 0.32),
        stock(Chemical.SODIUM_HYDROXIDE, 0.50),
        stock(Chemical.SODIUM_CHLORIDE, 0.26),
    )
    heater = {Chemical.SODIUM_HYDROXIDE: 338.15}
    plain = PlanRequest(
        recipe=RECIPES[family],
        recipe_version=6,
        segregation_class="D",
        resin=ResinData(
            family, "RT-1", "lot-7", total, operating, diameter, density, 0.38, swelling, warmest
        ),
        resin_volume_m3=0.85,
        resin_volume_form=EXHAUSTED_FORM[family],
        vessel=VesselData("V1", 1.07, 2.10, 0.60, 1.00, FAMILIES, ("A", "B", "C", "D")),
        stock={entry.chemical.value: entry for entry in stocks},
        skids={
            entry.chemical.value: SkidData(f"K-{entry.chemical.value}", entry.chemical, 5e-5, 5e-3, heater.get(entry.chemical))
            for entry in stocks
        },
        waters={
            kind.value: WaterData(kind, 288.15, hardness, 8e-3)
            for kind, hardness in ((WaterKind.RAW, 5.0), (WaterKind.SOFTENED, 0.01), (WaterKind.DEIONIZED, 0.001))
        },
        waste=WasteData(30.0, 5.0, 5.0, 6.0, 9.0),
    )  # fmt: skip
    return replace(plain, **changes)


def with_setting(recipe: RecipeDefinition, kind: StepKind, **settings: SetPoint) -> RecipeDefinition:
    """The recipe with settings of the steps of one kind replaced."""

    def changed(step: RecipeStep) -> RecipeStep:
        return replace(step, settings={**step.settings, **settings}) if step.kind is kind else step

    return replace(recipe, steps=tuple(changed(step) for step in recipe.steps))


def with_water(recipe: RecipeDefinition, kind: StepKind, water: WaterKind) -> RecipeDefinition:
    """The recipe with the water of the steps of one kind replaced."""
    return replace(
        recipe,
        steps=tuple(replace(step, water=water) if step.kind is kind else step for step in recipe.steps),
    )
