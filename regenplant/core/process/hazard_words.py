"""What all cautions share: who has the last word, the gear, the floor's short names of the chemicals."""

from __future__ import annotations

from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep
from regenplant.core.process.vocabulary import Chemical, Purpose

AUTHORITY = "The SDS, local codes and licensed practice decide."

SPLASH_GEAR = ("goggles and face shield", "chemical-resistant gloves", "apron", "boots")
LINE_GEAR = ("goggles", "chemical-resistant gloves", "apron", "boots")
FLOOR_GEAR = ("safety glasses", "gloves", "boots")
QC_GEAR = ("safety glasses", "gloves")

SHOWER = "Know the way to the shower and eyewash; rinse at once, for 15 minutes, and call for help."
NO_TAP = "Open no cover, vent or sample tap without gear."

SHORT_NAMES = {
    Chemical.HYDROCHLORIC_ACID: "acid",
    Chemical.SULFURIC_ACID: "acid",
    Chemical.SODIUM_HYDROXIDE: "caustic",
    Chemical.SODIUM_CARBONATE: "soda ash",
    Chemical.AMMONIA: "ammonia",
    Chemical.SODIUM_CHLORIDE: "brine",
    Chemical.SODIUM_DITHIONITE: "dithionite",
    Chemical.SODIUM_HYPOCHLORITE: "hypochlorite",
    Chemical.PERACETIC_ACID: "peracetic acid",
}
"""The floor's word for each chemical."""


def solution_word(recipe: RecipeDefinition, step: RecipeStep) -> str:
    """What an injection brings: "regenerant", or in a cleaning, until its last injection, the chemical by its own name."""
    injections = recipe.injections()
    if recipe.purpose is not Purpose.CLEANING or step.chemical is None or step is injections[-1]:
        return "regenerant"
    return SHORT_NAMES[step.chemical]


def caution(
    code: str,
    signal: SignalWord,
    headline: str,
    measures: tuple[str, ...],
    gear: tuple[str, ...],
    pictograms: tuple[str, ...],
    source: str,
) -> Caution:
    """A caution that ends with the authority."""
    return Caution(code, signal, headline, (*measures, AUTHORITY), gear, pictograms, source)
