"""Batch sheets by hand-made records of an invented plant, one for each recipe to begin with, planned by the core."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.default_recipes import default_recipes, default_specifications, main_recipe
from regenplant.core.process.plan import BatchPlan, PlanRequest
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import ResinFamily, SegregationClass
from regenplant.documents.batch_sheet_content import BatchSheetContent, SheetTank
from regenplant.documents.issue import Issue
from tests.core.process.plan_requests import FEED
from tests.core.process.recipe_plants import fitting_request

CUSTOMERS = (
    "Papercup Laundry",
    "Umbrella Tea Works",
    "Left Sock Galvanics",
    "Cloud Nine Boilers",
    "Moonlight Lens Polish",
)
RECIPES: dict[str, RecipeDefinition] = {recipe.code: recipe for recipe in default_recipes()}
SULFURIC = "H-H2SO4-120"
TOGETHER = "MB-TOGETHER-107"
FLOATED = "MB-FLOAT-110"


def request(recipe: RecipeDefinition) -> PlanRequest:
    """A plant that fits this recipe, with checks on paper that can be told apart from each other."""
    plain = fitting_request(recipe)
    stocks = {key: replace(lot, lot_code=f"{key.upper()}-118") for key, lot in plain.stock.items()}
    resin = replace(
        plain.resin, type_code=plain.resin.family.abbreviation, lot_code="L-031", capacity_factor=0.96
    )
    feed = plain.feed if plain.feed is not None or not resin.family.is_mixed else FEED
    return replace(plain, stock=stocks, resin=resin, feed=feed)


def tanks(count: int, resin_volume_m3: float = 0.85) -> tuple[SheetTank, ...]:
    return tuple(
        SheetTank(
            position=number,
            serial=f"T-{20400 + number * 7}",
            visit_number=f"V-{30000 + number}",
            size="14 × 47 in",
            customer=CUSTOMERS[number % len(CUSTOMERS)],
            resin_volume_m3=resin_volume_m3 / count,
            lot_code="L-0031",
        )
        for number in range(1, count + 1)
    )


@lru_cache(maxsize=64)
def plan_of(code: str) -> BatchPlan:
    return plan_batch(request(RECIPES[code]))


def content(family: ResinFamily, count: int = 14) -> BatchSheetContent:
    """The sheet of the recipe that a family is usually worked by."""
    return content_of(main_recipe(family).code, count)


def content_of(code: str, count: int = 14) -> BatchSheetContent:
    """The sheet of one recipe."""
    plan = plan_of(code)
    asked = plan.request
    family = asked.resin.family
    specification = next(found for found in default_specifications() if found.family is family)
    return BatchSheetContent(
        plant="Alder Quay",
        hall="regeneration hall",
        emergency=(
            "Shower and eyewash: by V1 west wall, by the skids. Rinse 15 minutes and call.",
            "Spill: stop the source, keep people away, shut the drain. Call 555, then the supervisor.",
        ),
        batch_number="B-10412",
        state="Ready: no step is started.",
        rework_of="",
        rework_cause="",
        vessel=asked.vessel.code,
        resin_type=asked.resin.type_code,
        resin_description="invented",
        segregation_class=asked.segregation_class,
        class_label=SegregationClass(asked.segregation_class).label,
        dedicated_to="",
        tanks=tanks(count, asked.resin_volume_m3),
        recipe_name=asked.recipe.name,
        recipe_digest=digest("recipe"),
        specification=specification,
        specification_version=2,
        specification_digest=digest("specification"),
        plan=plan,
        plan_digest=digest(canonical_text(plan)),
        checked_at={
            chemical: f"{stock.checked_at[:10]} 06:40-06:00" for chemical, stock in asked.stock.items()
        },
        planned_by="M. Tarn",
        planned_at="2026-03-11 11:48-06:00",
        issue=Issue(1, "2026-03-11 11:52-06:00", "M. Tarn", 4127, digest("head"), 2),
    )
