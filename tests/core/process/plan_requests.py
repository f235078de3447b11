"""Requests for plans, one for each family and each recipe: an invented plant, set up so that every check is met."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from regenplant.core.process.default_recipes import default_recipes, main_recipes
from regenplant.core.process.plan import (
    FeedData,
    MixedData,
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
SINGLE = tuple(family for family in FAMILIES if not family.is_mixed and not family.is_exchanged)
MIXED = tuple(family for family in FAMILIES if family.is_mixed)
RECIPES = {recipe.family: recipe for recipe in main_recipes()}
ALL_RECIPES = {recipe.code: recipe for recipe in default_recipes()}

_RESINS = {
    # total and operating capacity [eq/m³], bead diameter [m], wet density [kg/m³], swelling, highest temperature [K]
    ResinFamily.SAC_HYDROGEN: (2000.0, 1150.0, 6.5e-4, 1280.0, 0.07, 393.15),
    ResinFamily.SAC_SODIUM: (2000.0, 1250.0, 6.5e-4, 1280.0, 0.0, 393.15),
    ResinFamily.WAC_HYDROGEN: (3800.0, 1900.0, 7.0e-4, 1190.0, -0.15, 373.15),
    ResinFamily.SBA_TYPE_1: (1300.0, 550.0, 6.0e-4, 1080.0, 0.20, 333.15),
    ResinFamily.SBA_TYPE_2: (1300.0, 600.0, 6.0e-4, 1080.0, 0.12, 308.15),
    ResinFamily.SBA_ACRYLIC: (1250.0, 650.0, 6.0e-4, 1090.0, 0.15, 308.15),
    ResinFamily.WBA: (1500.0, 1000.0, 6.0e-4, 1060.0, -0.15, 333.15),
    ResinFamily.MIXED_BED: (1580.0, 790.0, 6.2e-4, 1160.0, 0.148, 333.15),
    ResinFamily.MIXED_BED_POLISHING: (1580.0, 790.0, 6.2e-4, 1160.0, 0.148, 333.15),
    ResinFamily.CARBON: (0.0, 0.0, 1.0e-3, 1400.0, 0.0, 373.15),
}

FEED = FeedData(1.6, 0.6, 1.0, 0.9, 0.7, 0.1, 1.5, 0.2, 0.15, "invented town water")
"""A feed in balance: 3.2 eq/m³ of cations and of anions."""


def resin(family: ResinFamily, **changes: Any) -> ResinData:
    total, operating, diameter, density, swelling, warmest = _RESINS[family]
    plain = ResinData(family, "RT-1", "lot-7", total, operating, diameter, density, 0.38, swelling, warmest)
    return replace(plain, **changes)


def mixed() -> MixedData:
    """The two resins of a mixed bed, of even size, so that they part well."""
    even = {"bead_diameter_spread_frac": 0.05, "bead_density_spread_kg_per_m3": 3.0}
    return MixedData(
        cation=resin(ResinFamily.SAC_HYDROGEN, type_code="RT-C", lot_code="lot-c", **even),
        anion=resin(ResinFamily.SBA_TYPE_1, type_code="RT-A", lot_code="lot-a", **even),
        cation_frac=0.4,
    )


def stock(chemical: Chemical, strength: float, **changes: Any) -> StockData:
    plain = StockData(
        chemical, f"{chemical.value}-118", strength, None, 291.15, 800.0, "2026-03-11T07:10:00Z", 1.0
    )
    return replace(plain, **changes)


def stocks() -> dict[str, StockData]:
    """A lot of every chemical; thin ones without a density table carry their measured density."""
    lots = (
        stock(Chemical.HYDROCHLORIC_ACID, 0.32),
        stock(Chemical.SULFURIC_ACID, 0.93),
        stock(Chemical.SODIUM_HYDROXIDE, 0.50),
        stock(Chemical.SODIUM_CARBONATE, 0.12),
        stock(Chemical.AMMONIA, 0.24),
        stock(Chemical.SODIUM_CHLORIDE, 0.26),
        stock(Chemical.SODIUM_DITHIONITE, 0.15, density_kg_per_m3=1130.0),
        stock(Chemical.SODIUM_HYPOCHLORITE, 0.125, density_kg_per_m3=1190.0),
        stock(Chemical.PERACETIC_ACID, 0.15, density_kg_per_m3=1120.0),
    )
    return {lot.chemical.value: lot for lot in lots}


def skids() -> dict[str, SkidData]:
    heater = {Chemical.SODIUM_HYDROXIDE: 338.15}
    return {
        chemical.value: SkidData(f"K-{chemical.value}", chemical, 5e-5, 5e-3, heater.get(chemical))
        for chemical in Chemical
    }


def vessel(code: str = "V1", **changes: Any) -> VesselData:
    plain = VesselData(code, 1.07, 2.10, 0.60, 1.00, FAMILIES, ("A", "B", "C", "D"), air_max_m3_per_s=0.06)
    return replace(plain, **changes)


def request(family: ResinFamily, **changes: Any) -> PlanRequest:
    """A request whose plan has no blocker and no warning; ``changes`` replace fields of the request."""
    plain = PlanRequest(
        recipe=RECIPES[family],
        recipe_version=6,
        segregation_class="C" if family is ResinFamily.MIXED_BED_POLISHING else "D",
        resin=resin(family),
        resin_volume_m3=0.85,
        resin_volume_form=EXHAUSTED_FORM[family],
        vessel=vessel(),
        stock=stocks(),
        skids=skids(),
        waters={
            kind.value: WaterData(kind, 288.15, hardness, 8e-3)
            for kind, hardness in ((WaterKind.RAW, 5.0), (WaterKind.SOFTENED, 0.01), (WaterKind.DEIONIZED, 0.001))
        },
        waste=WasteData(30.0, 5.0, 5.0, 6.0, 9.0),
    )  # fmt: skip
    if family.is_mixed:
        plain = _mixed_request(plain)
    return replace(plain, **changes)


def _mixed_request(plain: PlanRequest) -> PlanRequest:
    """A larger vessel with an interface collector at the interface, and a second vessel for the anion leg."""
    polishing = plain.resin.family is ResinFamily.MIXED_BED_POLISHING
    grade = "polishing" if polishing else "working"
    both = mixed()
    large = {
        "internal_diameter_m": 1.30,
        "straight_height_m": 3.60,
        "bed_volume_min_m3": 0.3,
        "bed_volume_max_m3": 2.5,
    }
    volume = 2.0
    collector = 0.4 * volume / (3.141592653589793 * 1.30**2 / 4.0)
    return replace(
        plain,
        resin=replace(plain.resin, grade=grade),
        mixed=replace(both, cation=replace(both.cation, grade=grade), anion=replace(both.anion, grade=grade)),
        resin_volume_m3=volume,
        vessel=vessel("V1", side_outlet_height_m=collector, **large),
        anion_vessel=vessel("V2", **large),
        waste=replace(plain.waste, capacity_m3=90.0),
    )  # fmt: skip


def request_for(recipe: RecipeDefinition, **changes: Any) -> PlanRequest:
    """A request that carries out this recipe."""
    return request(recipe.family, **{"recipe": recipe, **changes})


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
