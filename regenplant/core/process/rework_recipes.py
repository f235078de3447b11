"""Which recipes do what a proposed rework asks for, and why. Offered first, never chosen: a person chooses."""

from __future__ import annotations

import math

from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeDefinition
from regenplant.core.process.rework_options import ReworkKind
from regenplant.core.process.vocabulary import Chemical, Purpose, StepKind

ABOUT_HALF_FROM, ABOUT_HALF_TO = 0.35, 0.65
"""Shares of the earlier dose that count as half of it; this program's own bounds [-]."""
FULL_FROM = 0.95
"""Share of the earlier dose that counts as all of it; this program's own bound [-]."""
WORKS_ON = (Purpose.REGENERATION, Purpose.EXCHANGE)


def why_it_fits(kind: ReworkKind, offered: RecipeDefinition, before: RecipeDefinition) -> str:
    """Why a recipe does what this way asks for, as the end of a sentence; "" where it does not.

    Parameters
    ----------
    kind : ReworkKind
        What was proposed
    offered : RecipeDefinition
        A recipe for the same resin
    before : RecipeDefinition
        The recipe of the batch that failed; its dose is what half and full are held against

    Returns
    -------
    why : str
        "it feeds 50 % of the dose of before"

    Raises: nothing.
    """
    if kind is ReworkKind.CLEAN:
        return "it cleans, then regenerates" if offered.purpose is Purpose.CLEANING else ""
    if offered.purpose not in WORKS_ON:
        return ""
    kinds = {step.kind for step in offered.steps}
    if kind is ReworkKind.RINSE:
        return "" if kinds & set(CHEMICAL_STEPS) else "it rinses without a chemical"
    if kind is ReworkKind.SEPARATE:
        return "it separates, then regenerates" if kinds & {StepKind.SEPARATE, StepKind.FLOAT} else ""
    share = dose_share(offered, before)
    if kind is ReworkKind.INJECT_HALF:
        return _feeds(share) if ABOUT_HALF_FROM <= share <= ABOUT_HALF_TO else ""
    return _feeds(share) if share >= FULL_FROM else ""


def dose_share(offered: RecipeDefinition, before: RecipeDefinition) -> float:
    """Dose over that of before, the smaller share where there are two chemicals; NaN where the chemicals differ or none is fed [-]."""
    own, earlier = _doses(offered), _doses(before)
    if not earlier or own.keys() != earlier.keys():
        return math.nan
    return min(own[chemical] / earlier[chemical] for chemical in earlier)


def _doses(recipe: RecipeDefinition) -> dict[Chemical, float]:
    """By chemical: what all injections feed for each resin volume [kg/m^3]."""
    found: dict[Chemical, float] = {}
    for step in recipe.injections():
        if step.chemical is not None:
            found[step.chemical] = found.get(step.chemical, 0.0) + step.settings["dose_kg_per_m3"].target
    return found


def _feeds(share: float) -> str:
    return f"it feeds {share * 100:.0f} % of the dose of before"
