"""Activated carbon: exchanged, its tanks emptied, sanitized and filled anew."""

from __future__ import annotations

from regenplant.core.process.default_recipes.parts import (
    fast_rinse,
    minutes,
    percent,
    rinse,
    sample,
    sanitize,
)
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, Purpose, ResinFamily, StepKind, WaterKind


def exchange() -> RecipeDefinition:
    return RecipeDefinition(
        code="GAC-EXCHANGE",
        name="Carbon tanks: empty, sanitize, fill with new carbon",
        family=ResinFamily.CARBON,
        purpose=Purpose.EXCHANGE,
        steps=(
            RecipeStep(
                StepKind.EMPTY,
                "Empty the tanks",
                {"duration_s": minutes(60, 20, 180)},
                is_safe_hold_after=True,
            ),
            rinse(
                WaterKind.RAW,
                SetPoint(8.0, 4.0, 16.0),
                SetPoint(1.0, 0.5, 3.0),
                name="Flush the emptied tanks",
            ),
            sanitize(
                "Sanitize the emptied tanks",
                Chemical.SODIUM_HYPOCHLORITE,
                strength=percent(0.02, 0.01, 0.05),
                volume=SetPoint(1.0, 0.8, 1.5),
                contact=minutes(30, 20, 60),
                water=WaterKind.RAW,
            ),
            rinse(
                WaterKind.RAW,
                SetPoint(8.0, 4.0, 16.0),
                SetPoint(3.0, 2.0, 6.0),
                name="Rinse the sanitizer out",
            ),
            RecipeStep(
                StepKind.FILL,
                "Fill with new carbon",
                {"duration_s": minutes(45, 15, 120)},
                is_safe_hold_after=True,
            ),
            fast_rinse(
                WaterKind.RAW,
                SetPoint(8.0, 6.0, 16.0),
                SetPoint(8.0, 5.0, 20.0),
                ends_when="The water runs clear of fines, no sanitizer is left, and the pH is inside.",
            ),
            sample(),
        ),
        notes=(
            "Carbon takes free chlorine and about half of chloramine: bacteria grow in it, and sanitizer must be gone before it is "
            "filled in: read. Strength 100 to 500 mg/L for 20 to 60 min, rinse volumes: common practice. Spent carbon may be a "
            "hazardous waste by what it took up: somebody decides that in writing before it leaves."
        ),
        limits={"residual_sanitizer_max_kg_per_m3": 1e-4},
    )
