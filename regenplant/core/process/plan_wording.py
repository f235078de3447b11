"""The one sentence a person does at each step, and what ends it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.entry_parts import StepCase
from regenplant.core.process.hazard_words import SHORT_NAMES
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_warm_displacement import leaves_heater_on
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, LegArrangement, ResinFamily, StepKind
from regenplant.core.process.wording import say, say_range


def short_name(chemical: Chemical) -> str:
    """The floor's word for a chemical: acid, caustic, brine."""
    return SHORT_NAMES[chemical]


def instruction(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last_injection: RecipeStep | None
) -> str:
    """What to do, in one to three sentences; the figures stand beside it in both unit systems."""
    case = StepCase(basis, step, figures, last_injection)
    return _leg(case) + _SENTENCES[step.kind](case)


def _leg(case: StepCase) -> str:
    """Which leg, and where it stands: "Anion leg in V2: "."""
    leg = case.step.leg
    if leg is Leg.WHOLE:
        return ""
    name = leg.label[:1].upper() + leg.label[1:]
    return f"{name} in vessel {case.bed.vessel.code}: "


def _value(figures: Mapping[str, Estimate], key: str) -> str:
    return say(figures[key].value, figures[key].kind)


def _water(step: RecipeStep) -> str:
    return step.water.label if step.water is not None else "water"


def _last_name(case: StepCase) -> str:
    last = case.last.chemical if case.last is not None else None
    return short_name(last) if last is not None else "chemical"


def _is_together(case: StepCase) -> bool:
    recipe = case.basis.request.recipe
    return recipe.arrangement is LegArrangement.TOGETHER and case.step.leg is not Leg.WHOLE


# --- loading and backwash -------------------------------------------------------------------------------------------
def _load(case: StepCase) -> str:
    request = case.basis.request
    return (
        f"Load {say(request.resin_volume_m3, 'resin_volume')} of resin, {request.resin_volume_form.label}, into vessel "
        f"{request.vessel.code} and check every tank against the list. The settled bed is {say(case.basis.depth.value, 'length')} deep."
    )


def _backwash(case: StepCase) -> str:
    celsius = say(case.basis.water_kelvin(case.step.water), "temperature")
    return (
        f"Backwash upward with {_water(case.step)} of {celsius}. Raise the flow slowly to {_value(case.figures, 'flow_m3_per_s')}; "
        f"the bed then stands at {_value(case.figures, 'expanded_height_m')}."
    )


def _separate(case: StepCase) -> str:
    celsius = say(case.basis.water_kelvin(case.step.water), "temperature")
    return (
        f"Part the resins upward with {_water(case.step)} of {celsius}: raise the flow slowly to "
        f"{_value(case.figures, 'flow_m3_per_s')}, until the bed stands at {_value(case.figures, 'expanded_height_m')} and the "
        "lighter anion resin lies above the cation resin."
    )


def _floats_next(case: StepCase) -> bool:
    """Whether a float separation comes after this step."""
    steps = case.basis.request.recipe.steps
    place = next(index for index, step in enumerate(steps) if step is case.step)
    return any(step.kind is StepKind.FLOAT for step in steps[place + 1 :])


def _settle(case: StepCase) -> str:
    if case.basis.request.resin.family.is_mixed and case.has(StepKind.SEPARATE):
        if _floats_next(case):
            return "Close the flow slowly and let both layers settle before the water is drained down to the bed."
        return "Close the flow slowly and let both layers settle. Nothing flows before the interface is read."
    return "Close the flow and let the bed settle level before anything flows down."


def _cut(case: StepCase) -> str:
    figures, request = case.figures, case.basis.request
    where = f" at {_value(figures, 'interface_height_m')}" if "interface_height_m" in figures else ""
    cut = _value(figures, "cut_m3")
    if request.recipe.arrangement is LegArrangement.TOGETHER:
        first = f"Read the interface{where} and draw {cut} off at the interface collector into a labeled container."
    else:
        vessel = (
            f"vessel {request.anion_vessel.code}" if request.anion_vessel is not None else "its own vessel"
        )
        first = f"Read the interface{where}, move the anion resin above it to {vessel}, and draw {cut} off as the cut."
    return f"{first} Take a core sample of each resin and count the beads of the other kind."


def _join(case: StepCase) -> str:
    if case.basis.request.recipe.arrangement is LegArrangement.TOGETHER:
        return "Check that both legs are rinsed, shut the interface collector and fill the vessel for the air mix."
    volume = f" The joined bed is {_value(case.figures, 'joined_m3')}." if "joined_m3" in case.figures else ""
    return f"Check that both legs are rinsed, then move the anion resin back onto the cation resin and flush the line.{volume}"


def _air_mix(case: StepCase) -> str:
    above, standard = case.setting("water_above_bed_m"), _value(case.figures, "air_standard_flow_m3_per_s")
    return (
        f"Drain to {say(above.target, 'length')} above the bed, open the vent, and mix with {standard} of clean, oil-free air, "
        f"counted as standard air ({_value(case.figures, 'air_flow_m3_per_s')} where it enters the bed), for "
        f"{_value(case.figures, 'duration_s')}. Drain fast while it still mixes, then fill slowly from the top."
    )


# --- chemicals ------------------------------------------------------------------------------------------------------
def _inject(case: StepCase) -> str:
    step, figures = case.step, case.figures
    assert step.chemical is not None
    name = short_name(step.chemical)
    first = f"Start the dilution water first, then the {name}."
    if "dilution_water_flow_m3_per_s" in figures:
        first = (
            f"Start {_value(figures, 'dilution_water_flow_m3_per_s')} of {_water(step)} first, then the {name}: "
            f"draw {_value(figures, 'stock_m3')} of stock."
        )
    together = (
        " Start it at the same moment as the other leg, and keep both flows steady."
        if _is_together(case)
        else ""
    )
    pause = " Do not let it pause." if step.chemical is Chemical.SULFURIC_ACID else ""
    return (
        f"{first} Feed {_value(figures, 'volume_m3')} of {_value(figures, 'strength_frac')} {name} at "
        f"{_value(figures, 'flow_m3_per_s')} and {_value(figures, 'temperature_kelvin')}.{together}{pause}"
    )


def _soak(case: StepCase) -> str:
    return (
        f"Shut the feed, tag the vessel and let the {_last_name(case)} stand for {_value(case.figures, 'duration_s')}. "
        "Go on to displacement at once when the time is over."
    )


def _sanitize(case: StepCase) -> str:
    step, figures = case.step, case.figures
    assert step.chemical is not None
    name = short_name(step.chemical)
    draw = f": draw {_value(figures, 'stock_m3')} of stock" if "stock_m3" in figures else ""
    what = "the emptied tanks" if case.basis.request.resin.family.is_exchanged else "the bed"
    return (
        f"Make sure no acid is left, then fill {what} with {_value(figures, 'volume_m3')} of {_value(figures, 'strength_frac')} "
        f"{name} in {_water(step)}{draw}. Let it stand {_value(figures, 'contact_time_s')}, vented."
    )


def _float(case: StepCase) -> str:
    step, figures = case.step, case.figures
    assert step.chemical is not None
    name = short_name(step.chemical)
    first = f"Start the dilution water first, then the {name}."
    if "dilution_water_flow_m3_per_s" in figures:
        first = (
            f"Start {_value(figures, 'dilution_water_flow_m3_per_s')} of {_water(step)} first, then the {name}: "
            f"draw {_value(figures, 'stock_m3')} of stock."
        )
    height = f", to {_value(figures, 'solution_height_m')}" if "solution_height_m" in figures else ""
    return (
        f"Drain the water down to the bed. {first} Feed {_value(figures, 'volume_m3')} of {_value(figures, 'strength_frac')} {name} "
        f"slowly upward from below at {_value(figures, 'flow_m3_per_s')}{height}; the water leaves at the top. Shut the feed and let "
        f"it stand {_value(figures, 'contact_time_s')}: the anion resin floats, the cation resin sinks."
    )


# --- rinses ---------------------------------------------------------------------------------------------------------
def _follows_float(case: StepCase) -> bool:
    """Whether the last chemical floated the resin, and the layers still wait for their cut."""
    return case.last is not None and case.last.kind is StepKind.FLOAT and case.step.leg is Leg.WHOLE


def _displace(case: StepCase) -> str:
    if _follows_float(case):
        return (
            f"Shut the {_last_name(case)}. Displace from the top downward with {_value(case.figures, 'volume_m3')} of "
            f"{_water(case.step)} at {_value(case.figures, 'flow_m3_per_s')}, slowly: the anion resin comes down onto the cation "
            "resin as the solution leaves."
        )
    together = " Shut both legs together." if _is_together(case) else ""
    if leaves_heater_on(case.basis, case.step, case.last):
        together += (
            f" Leave the heater on: the water comes about as warm as the {_last_name(case)}, not cold. Switch it off before the "
            "water stops, and at once if the water fails: water that stands in it overheats and scalds."
        )
    return (
        f"Shut the {_last_name(case)}, keep the water flowing: displace with {_value(case.figures, 'volume_m3')} of "
        f"{_water(case.step)} at {_value(case.figures, 'flow_m3_per_s')}.{together}"
    )


def _rinse(case: StepCase) -> str:
    last = case.last.chemical if case.last is not None else None
    until = " Downward only: the layers wait for their cut." if _follows_float(case) else ""
    if last is not None and last.is_oxidizer:
        until = " Rinse on until the sanitizer is gone."
    elif last is not None and last.is_reductant:
        until = " Rinse on until no reductant is left."
    where = "drain" if case.last is None else "waste tank"
    return f"Rinse to the {where} with {_value(case.figures, 'volume_m3')} of {_water(case.step)} at {_value(case.figures, 'flow_m3_per_s')}.{until}"


def _fast_rinse(case: StepCase) -> str:
    low, high = case.setting("volume_bv").low, case.setting("volume_bv").high
    if case.basis.request.resin.family.is_exchanged:
        until = "the water runs clear of fines"
    elif case.step is case.basis.request.recipe.last_rinse():
        until = "the readings hold their limit"
    else:
        until = "the readings fall no faster"
    return (
        f"Rinse down with {_water(case.step)} at {_value(case.figures, 'flow_m3_per_s')} until {until}. "
        f"Planned are {_value(case.figures, 'volume_m3')}; at least {say(low, 'bed_volumes')}, stop and ask at {say(high, 'bed_volumes')}."
    )


def _recirculate(case: StepCase) -> str:
    low, high = case.setting("volume_bv").low, case.setting("volume_bv").high
    return (
        f"Close the loop and pump the {_water(case.step)} round at {_value(case.figures, 'flow_m3_per_s')} until the readings hold "
        f"their limit. Planned are {_value(case.figures, 'volume_m3')} round the loop; at least {say(low, 'bed_volumes')}, stop and "
        f"ask at {say(high, 'bed_volumes')}."
    )


# --- carbon ---------------------------------------------------------------------------------------------------------
def _empty(case: StepCase) -> str:
    return (
        f"Empty the tanks: about {_value(case.figures, 'emptied_m3')} of spent carbon into labeled containers. It leaves the plant "
        "only as a named person decided in writing."
    )


def _fill(case: StepCase) -> str:
    return f"Fill {_value(case.figures, 'filled_m3')} of new carbon into the tanks, wetting it from below as it goes in. Write down its lot."


def _sample(case: StepCase) -> str:
    recipe = case.basis.request.recipe
    if recipe.family is ResinFamily.SAC_SODIUM:
        return "Take a sample of the rinse water for hardness, label it with the batch number, and call QC."
    if recipe.family.is_exchanged:
        return "Take a sample of the rinse water, label it with the batch number, and call QC."
    return "Let the rinse water run through the flow cell, take the readings there, keep a labeled sample, and call QC."


_SENTENCES: dict[StepKind, Callable[[StepCase], str]] = {
    StepKind.LOAD: _load,
    StepKind.BACKWASH: _backwash,
    StepKind.SEPARATE: _separate,
    StepKind.SETTLE: _settle,
    StepKind.FLOAT: _float,
    StepKind.CUT: _cut,
    StepKind.INJECT: _inject,
    StepKind.SOAK: _soak,
    StepKind.DISPLACE: _displace,
    StepKind.RINSE: _rinse,
    StepKind.JOIN: _join,
    StepKind.AIR_MIX: _air_mix,
    StepKind.FAST_RINSE: _fast_rinse,
    StepKind.RECIRCULATE: _recirculate,
    StepKind.EMPTY: _empty,
    StepKind.SANITIZE: _sanitize,
    StepKind.FILL: _fill,
    StepKind.SAMPLE: _sample,
}

_ENDS = {
    StepKind.LOAD: "Every tank on the list is emptied into the vessel.",
    StepKind.BACKWASH: "The water runs clear and no whole beads are in the catcher.",
    StepKind.SEPARATE: "Two layers stand apart and the line between them is sharp.",
    StepKind.SETTLE: "The bed lies level and still.",
    StepKind.CUT: "Both volumes, the cut and both samples are written down.",
    StepKind.JOIN: "All of both resins is in one vessel.",
    StepKind.AIR_MIX: "The bed looks even and is drained.",
    StepKind.EMPTY: "Every tank on the list is empty and its carbon stands in a labeled container.",
    StepKind.FILL: "Every tank is filled and the carbon is wetted through.",
    StepKind.SAMPLE: "QC has the sample.",
}


def ends_when(step: RecipeStep, figures: Mapping[str, Estimate]) -> str:
    """The sign that a step is over, where the recipe names none."""
    if step.kind is StepKind.INJECT:
        return f"All of the dose is fed: {_value(figures, 'chemical_kg_100')} as 100 %, by the tank level, not by the clock."
    if step.kind is StepKind.FLOAT:
        return f"It stood {_value(figures, 'contact_time_s')}, clear solution lies between the resins, and its density is written down."
    if step.kind in (StepKind.SOAK, StepKind.SANITIZE):
        return f"The chemical stood for {_value(figures, 'duration_s')}."
    if step.kind in (StepKind.DISPLACE, StepKind.RINSE):
        return f"{_value(figures, 'volume_m3')} of water have passed."
    if step.kind.is_judged_rinse:
        low, high = step.settings["volume_bv"].low, step.settings["volume_bv"].high
        return f"The specification is held for its hold time, after {say_range(low, high, 'bed_volumes')}."
    return _ENDS[step.kind]
