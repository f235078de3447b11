"""Sane recipes and specifications to begin with, for every family the plant sees.

Ranges marked "common practice" are the trade's; figures that were read name their source in the notes; what is from memory
says so. A plant reviews them against its resin data sheets, approves its own versions, and from then on these are history.
"""

from __future__ import annotations

from regenplant.core.process.default_recipes import anions, carbon, cations, cleaning, mixed
from regenplant.core.process.default_recipes.specifications import OPTIONAL_LIMITS, default_specifications
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import ResinFamily

__all__ = ["OPTIONAL_LIMITS", "default_recipes", "default_specifications", "main_recipe", "main_recipes"]

_MAIN = {
    ResinFamily.SAC_HYDROGEN: cations.hydrogen,
    ResinFamily.SAC_SODIUM: cations.sodium,
    ResinFamily.WAC_HYDROGEN: cations.weak_acid,
    ResinFamily.SBA_TYPE_1: anions.type_1,
    ResinFamily.SBA_TYPE_2: anions.type_2,
    ResinFamily.SBA_ACRYLIC: anions.acrylic,
    ResinFamily.WBA: anions.weak_base,
    ResinFamily.MIXED_BED: mixed.working,
    ResinFamily.MIXED_BED_POLISHING: mixed.polishing,
    ResinFamily.CARBON: carbon.exchange,
}

_OTHERS = (
    cations.hydrogen_by_sulfuric,
    cations.weak_acid_by_sulfuric,
    anions.type_1_for_silica,
    anions.weak_base_by_soda_ash,
    anions.weak_base_by_ammonia,
    mixed.working_together,
    mixed.working_floated,
    cleaning.organic_fouling,
    cleaning.iron_by_acid,
    cleaning.iron_by_dithionite,
    cleaning.silica_on_type_1,
    cleaning.sanitize_softener_by_hypochlorite,
    cleaning.sanitize_softener_by_peracetic_acid,
    cleaning.new_cation,
    cleaning.new_anion,
)


def main_recipe(family: ResinFamily) -> RecipeDefinition:
    """The recipe a family is usually worked by."""
    return _MAIN[family]()


def main_recipes() -> tuple[RecipeDefinition, ...]:
    """One recipe for each family, in the order of ``ResinFamily``."""
    return tuple(make() for make in _MAIN.values())


def default_recipes() -> tuple[RecipeDefinition, ...]:
    """Every recipe to begin with: the main one of each family in the order of ``ResinFamily``, then all others."""
    return (*main_recipes(), *(make() for make in _OTHERS))
