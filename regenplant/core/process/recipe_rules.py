"""Which recipes may be: the prohibitions of the trade, each a rule over the steps that each body of resin meets.

``violations`` serves the approval of recipes, ``offences`` the checks of a plan. A recipe that was approved before a rule
existed still shows its violations in the next plan.
"""

from __future__ import annotations

from regenplant.core.process.limits import DEFAULT_LIMITS, PlantLimits
from regenplant.core.process.recipe_chemistry import (
    CHEMICALS_BY_FAMILY,
    CLEANERS_BY_FAMILY,
    LEG_REGENERANTS,
    REGENERANTS_BY_FAMILY,
    allowed_chemicals,
    chemistry_offences,
    may_follow_undisplaced,
    needs_rinse_between,
    regenerants_of,
)
from regenplant.core.process.recipe_order import form_offences, order_offences
from regenplant.core.process.recipe_paths import Offence, paths
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import StepKind

__all__ = [
    "CHEMICALS_BY_FAMILY",
    "CLEANERS_BY_FAMILY",
    "LEG_REGENERANTS",
    "NEEDS_WATER",
    "REGENERANTS_BY_FAMILY",
    "Offence",
    "allowed_chemicals",
    "may_follow_undisplaced",
    "needs_rinse_between",
    "offences",
    "regenerants_of",
    "violations",
]

NEEDS_WATER = (
    StepKind.BACKWASH,
    StepKind.SEPARATE,
    StepKind.FLOAT,
    StepKind.INJECT,
    StepKind.DISPLACE,
    StepKind.RINSE,
    StepKind.FAST_RINSE,
    StepKind.RECIRCULATE,
    StepKind.SANITIZE,
)
"""Kinds of step that name a water."""


def offences(definition: RecipeDefinition, limits: PlantLimits = DEFAULT_LIMITS) -> tuple[Offence, ...]:
    """Every rule that a recipe breaks, each once, in the order of its steps.

    Parameters
    ----------
    definition : RecipeDefinition
        The recipe
    limits : PlantLimits
        The plant's own limits of strength and temperature
    """
    found: dict[Offence, None] = dict.fromkeys(order_offences(definition))
    for leg, path in paths(definition):
        found.update(dict.fromkeys(chemistry_offences(definition, leg, path, limits)))
        found.update(dict.fromkeys(form_offences(definition, leg, path)))
    return tuple(sorted(found, key=lambda offence: offence.step_number or 0))


def violations(definition: RecipeDefinition, limits: PlantLimits = DEFAULT_LIMITS) -> tuple[str, ...]:
    """The sentences of ``offences``: why this recipe may not be approved; empty for a sound one."""
    return tuple(dict.fromkeys(offence.sentence for offence in offences(definition, limits)))
