"""The one sentence a person does at each step, and what ends it."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from regenplant.core.process.wording import say, say_range

_SHORT = {
    Chemical.HYDROCHLORIC_ACID: "acid",
    Chemical.SULFURIC_ACID: "acid",
    Chemical.SODIUM_HYDROXIDE: "caustic",
    Chemical.SODIUM_CHLORIDE: "brine",
}


def short_name(chemical: Chemical) -> str:
    """The floor's word for a regenerant: acid, caustic, brine."""
    return _SHORT[chemical]


def instruction(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last_injection: RecipeStep | None
) -> str:
    """What to do, in one or two sentences; the figures stand beside it in both unit systems."""
    return {
        StepKind.LOAD: _load,
        StepKind.BACKWASH: _backwash,
        StepKind.SETTLE: _settle,
        StepKind.INJECT: _inject,
        StepKind.DISPLACE: _displace,
        StepKind.FAST_RINSE: _fast_rinse,
        StepKind.SAMPLE: _sample,
    }[step.kind](basis, step, figures, last_injection)


def _value(figures: Mapping[str, Estimate], key: str) -> str:
    return say(figures[key].value, figures[key].kind)


def _water(step: RecipeStep) -> str:
    return step.water.label if step.water is not None else "water"


def _load(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    request = basis.request
    return (
        f"Load {say(request.resin_volume_m3, 'resin_volume')} of resin, {request.resin_volume_form.label}, into vessel "
        f"{request.vessel.code} and check every tank against the list. The settled bed is {say(basis.depth.value, 'length')} deep."
    )


def _backwash(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    celsius = say(basis.water_kelvin(step.water), "temperature")
    return (
        f"Backwash upward with {_water(step)} of {celsius}. Raise the flow slowly to {_value(figures, 'flow_m3_per_s')}; "
        f"the bed then stands at {_value(figures, 'expanded_height_m')}."
    )


def _settle(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    return "Close the flow and let the bed settle level before anything flows down."


def _inject(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    assert step.chemical is not None
    name = short_name(step.chemical)
    first = f"Start the dilution water first, then the {name}."
    if "dilution_water_flow_m3_per_s" in figures:
        first = (
            f"Start {_value(figures, 'dilution_water_flow_m3_per_s')} of {_water(step)} first, then the {name}: "
            f"draw {_value(figures, 'stock_m3')} of stock."
        )
    return (
        f"{first} Feed {_value(figures, 'volume_m3')} of {_value(figures, 'strength_frac')} {name} at "
        f"{_value(figures, 'flow_m3_per_s')} and {_value(figures, 'temperature_kelvin')}."
    )


def _displace(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    name = short_name(last.chemical) if last is not None and last.chemical is not None else "chemical"
    return (
        f"Shut the {name}, keep the water flowing: displace with {_value(figures, 'volume_m3')} of {_water(step)} "
        f"at {_value(figures, 'flow_m3_per_s')}."
    )


def _fast_rinse(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    low, high = step.settings["volume_bv"].low, step.settings["volume_bv"].high
    return (
        f"Rinse down with {_water(step)} at {_value(figures, 'flow_m3_per_s')} until the readings hold their limit. "
        f"Planned are {_value(figures, 'volume_m3')}; at least {say(low, 'bed_volumes')}, stop and ask at {say(high, 'bed_volumes')}."
    )


def _sample(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> str:
    if basis.request.recipe.family is ResinFamily.SAC_SODIUM:
        return "Take a sample of the rinse water for hardness, label it with the batch number, and call QC."
    return "Let the rinse water run through the flow cell, take the readings there, keep a labeled sample, and call QC."


def ends_when(step: RecipeStep, figures: Mapping[str, Estimate]) -> str:
    """The sign that a step is over, where the recipe names none."""
    if step.kind is StepKind.BACKWASH:
        return "The water runs clear and no whole beads are in the catcher."
    if step.kind is StepKind.SETTLE:
        return "The bed lies level and still."
    if step.kind is StepKind.INJECT:
        return f"All of the dose is fed: {_value(figures, 'chemical_kg_100')} as 100 %, by the tank level, not by the clock."
    if step.kind is StepKind.DISPLACE:
        return f"{_value(figures, 'volume_m3')} of water have passed."
    if step.kind is StepKind.FAST_RINSE:
        low, high = step.settings["volume_bv"].low, step.settings["volume_bv"].high
        return f"The specification is held for its hold time, after {say_range(low, high, 'bed_volumes')}."
    if step.kind is StepKind.LOAD:
        return "Every tank on the list is emptied into the vessel."
    return "QC has the sample."
