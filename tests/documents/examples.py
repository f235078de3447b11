"""Batch sheets by hand-made records of an invented plant, one for each family, planned by the core."""

from __future__ import annotations

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.default_recipes import default_recipes, default_specifications
from regenplant.core.process.plan import (
    BatchPlan,
    PlanRequest,
    ResinData,
    SkidData,
    StockData,
    VesselData,
    WasteData,
    WaterData,
)
from regenplant.core.process.vocabulary import Chemical, IonicForm, ResinFamily, WaterKind
from regenplant.documents.batch_sheet_content import BatchSheetContent, SheetTank
from regenplant.documents.issue import Issue

CELSIUS = 273.15
LITRE = 1e-3
CUSTOMERS = (
    "Papercup Laundry",
    "Umbrella Tea Works",
    "Left Sock Galvanics",
    "Cloud Nine Boilers",
    "Moonlight Lens Polish",
)

_RESINS = {
    ResinFamily.SAC_HYDROGEN: ("SAC-H", 2000.0, 1100.0, 0.00075, 1260.0, 0.07, 120.0, IonicForm.SODIUM),
    ResinFamily.SAC_SODIUM: ("SAC-Na", 2000.0, 1200.0, 0.00070, 1290.0, 0.0, 120.0, IonicForm.SODIUM),
    ResinFamily.SBA_TYPE_1: ("SBA1-OH", 1300.0, 500.0, 0.00070, 1080.0, 0.2, 60.0, IonicForm.CHLORIDE),
    ResinFamily.SBA_TYPE_2: ("SBA2-OH", 1300.0, 650.0, 0.00070, 1090.0, 0.12, 35.0, IonicForm.CHLORIDE),
}


def resin(family: ResinFamily) -> ResinData:
    code, total, operating, bead, density, swelling, celsius, _ = _RESINS[family]
    return ResinData(
        family,
        code,
        f"L-{code}-031",
        total,
        operating,
        bead,
        density,
        0.38,
        swelling,
        celsius + CELSIUS,
        0.96,
    )


def request(family: ResinFamily, tanks: tuple[SheetTank, ...]) -> PlanRequest:
    recipe = next(recipe for recipe in default_recipes() if recipe.family is family)
    return PlanRequest(
        recipe=recipe,
        recipe_version=6,
        segregation_class="D",
        resin=resin(family),
        resin_volume_m3=sum(tank.resin_volume_m3 for tank in tanks),
        resin_volume_form=_RESINS[family][7],
        vessel=VesselData("C1", 1.10, 2.60, 0.5, 1.7, (family,), ("C", "D"), last_segregation_class="D"),
        stock={
            "hcl": StockData(Chemical.HYDROCHLORIC_ACID, "A-118", 0.314, 1157.0, 18 + CELSIUS, 2400.0, "2026-03-11", 0.2),
            "naoh": StockData(Chemical.SODIUM_HYDROXIDE, "K-077", 0.497, None, 24 + CELSIUS, 3100.0, "2026-03-10", 1.2),
            "nacl": StockData(Chemical.SODIUM_CHLORIDE, "S-210", 0.259, None, 15 + CELSIUS, 4000.0, "2026-03-09", 2.4),
        },
        skids={
            "hcl": SkidData("SK-A", Chemical.HYDROCHLORIC_ACID, 0.0002, 0.004),
            "naoh": SkidData("SK-K", Chemical.SODIUM_HYDROXIDE, 0.0002, 0.004, 60 + CELSIUS),
            "nacl": SkidData("SK-S", Chemical.SODIUM_CHLORIDE, 0.0002, 0.004),
        },
        waters={
            "raw": WaterData(WaterKind.RAW, 12 + CELSIUS, 5.6, 0.01),
            "softened": WaterData(WaterKind.SOFTENED, 13 + CELSIUS, 0.01, 0.008),
            "deionized": WaterData(WaterKind.DEIONIZED, 17 + CELSIUS, 0.0, 0.008, 30.0),
        },
        waste=WasteData(30.0, 6.0, 4.0, 6.0, 9.0),
    )  # fmt: skip


def tanks(count: int) -> tuple[SheetTank, ...]:
    return tuple(
        SheetTank(
            position=number,
            serial=f"T-{20400 + number * 7}",
            visit_number=f"V-{30000 + number}",
            size="14 × 47 in",
            customer=CUSTOMERS[number % len(CUSTOMERS)],
            resin_volume_m3=99 * LITRE,
            lot_code="L-0031",
        )
        for number in range(1, count + 1)
    )


def content(family: ResinFamily, count: int = 14) -> BatchSheetContent:
    batch_tanks = tanks(count)
    plan: BatchPlan = plan_batch(request(family, batch_tanks))
    specification = next(found for found in default_specifications() if found.family is family)
    return BatchSheetContent(
        plant="Alder Quay",
        hall="regeneration hall",
        emergency=(
            "Shower and eyewash: by C1 west wall, by the skids. Rinse 15 minutes and call.",
            "Spill: stop the source, keep people away, shut the drain. Call 555, then the supervisor.",
        ),
        batch_number="B-10412",
        state="Ready: no step is started.",
        rework_of="",
        rework_cause="",
        vessel="C1",
        resin_type=plan.request.resin.type_code,
        resin_description="gel type, 8 % crosslinked, invented",
        segregation_class="D",
        class_label="Industrial",
        dedicated_to="",
        tanks=batch_tanks,
        recipe_name=plan.request.recipe.name,
        recipe_digest=digest("recipe"),
        specification=specification,
        specification_version=2,
        specification_digest=digest("specification"),
        plan=plan,
        plan_digest=digest(canonical_text(plan)),
        checked_at={
            chemical: f"{stock.checked_at} 06:40-06:00" for chemical, stock in plan.request.stock.items()
        },
        planned_by="M. Tarn",
        planned_at="2026-03-11 11:48-06:00",
        issue=Issue(1, "2026-03-11 11:52-06:00", "M. Tarn", 4127, digest("head"), 2),
    )
