"""Whether a recipe can run in a vessel at all: its chemicals are piped there, and a skid that works doses each of them.

What depends on the day (stock, strength, water, room) is left to the checks of the plan.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from regenplant.core.process.plan import SkidData, VesselData
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, LegArrangement, StepKind
from regenplant.core.process.wording import listed


def runs_apart(recipe: RecipeDefinition) -> bool:
    """Whether the anion leg of a mixed bed runs in a vessel of its own."""
    return recipe.family.is_mixed and recipe.arrangement is LegArrangement.APART


def steps_in(recipe: RecipeDefinition, *, anion_vessel: bool = False) -> tuple[RecipeStep, ...]:
    """The steps that run in the vessel of the batch, or in the one of its anion leg."""
    apart = runs_apart(recipe)
    return tuple(step for step in recipe.steps if (apart and step.leg is Leg.ANION) == anion_vessel)


def chemicals_fed(steps: Sequence[RecipeStep]) -> tuple[Chemical, ...]:
    """What the skids bring in these steps, each once; a sanitizer is made up by hand."""
    return tuple(
        dict.fromkeys(step.chemical for step in steps if step.chemical and step.kind is not StepKind.SANITIZE)
    )


def not_piped(chemicals: Sequence[Chemical], vessel: VesselData) -> tuple[Chemical, ...]:
    """Those the lines of the vessel do not bring; none where nobody wrote down what they bring."""
    if not vessel.chemicals:
        return ()
    return tuple(chemical for chemical in chemicals if chemical not in vessel.chemicals)


def not_piped_sentence(missing: Sequence[Chemical], vessel: VesselData) -> str:
    """ "Sulfuric acid is not piped to vessel C1, which gets hydrochloric acid." """
    brought = listed(chemical.label.lower() for chemical in vessel.chemicals)
    names = [
        chemical.label if index == 0 else chemical.label.lower() for index, chemical in enumerate(missing)
    ]
    verb = "is" if len(names) == 1 else "are"
    return f"{listed(names)} {verb} not piped to vessel {vessel.code}, which gets {brought}."


def reasons_against(
    recipe: RecipeDefinition, vessel: VesselData, skids: Mapping[str, SkidData]
) -> tuple[str, ...]:
    """Why this recipe cannot run in this vessel, as sentences; empty where it can.

    ``skids`` by ``Chemical`` value, as in a ``PlanRequest``.
    """
    return tuple(_against(recipe, vessel, skids))


def _against(recipe: RecipeDefinition, vessel: VesselData, skids: Mapping[str, SkidData]) -> Iterator[str]:
    missing = not_piped(chemicals_fed(steps_in(recipe)), vessel)
    if missing:
        yield not_piped_sentence(missing, vessel)
    for chemical in chemicals_fed(recipe.steps):
        skid = skids.get(chemical.value)
        if skid is None:
            yield f"No dilution skid for {chemical.label.lower()} is on record."
        elif skid.lock_out_reason:
            yield f"Skid {skid.code} for {chemical.label.lower()} is locked out: {skid.lock_out_reason}."
