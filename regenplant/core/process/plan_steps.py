"""The steps of a plan: figures, sentence, entries, cautions for each step of the recipe."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process import plan_wording
from regenplant.core.process.hazards import step_cautions
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_backwash import backwash_figures
from regenplant.core.process.plan_basis import PlanBasis, set_point
from regenplant.core.process.plan_carbon import empty_figures, fill_figures, sanitize_figures
from regenplant.core.process.plan_entries import step_entries
from regenplant.core.process.plan_flow import rinse_figures, time_set
from regenplant.core.process.plan_inject import injection_figures
from regenplant.core.process.plan_mixed import (
    air_mix_figures,
    cut_figures,
    float_separation_figures,
    join_figures,
    recirculation_figures,
    separation_figures,
)
from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeStep
from regenplant.core.process.vocabulary import Leg, StepKind

WASTE_TANK = "waste tank"
BACKWASH_DRAIN = "backwash drain, through the resin catcher"
RINSE_DRAIN = "waste tank at first, then the rinse drain once the pH is inside the permit"
WATER_DRAIN = "rinse drain"
FLOAT_DRAIN = "waste tank, by the upper outlet through the resin catcher"


def build_steps(basis: PlanBasis) -> tuple[PlannedStep, ...]:
    """Every step of the recipe in order, numbered from 1."""
    steps: list[PlannedStep] = []
    standing: dict[Leg, RecipeStep] = {}
    warmth: dict[Leg, float] = {}
    for number, step in enumerate(basis.request.recipe.steps, start=1):
        steps.append(_step(basis, step, number, standing.get(step.leg), warmth.get(step.leg)))
        if step.kind in CHEMICAL_STEPS:
            # a leg inherits what stood in the whole bed; the joined bed remembers the last of either leg
            legs = (step.leg, Leg.WHOLE) if step.leg is not Leg.WHOLE else tuple(Leg)
            standing.update(dict.fromkeys(legs, step))
            warmth.update(dict.fromkeys(legs, steps[-1].value("temperature_kelvin")))
    return tuple(steps)


def _step(
    basis: PlanBasis,
    step: RecipeStep,
    number: int,
    last_injection: RecipeStep | None,
    standing_kelvin: float | None,
) -> PlannedStep:
    figures = _figures(basis, step, number)
    chemical = step.chemical or (last_injection.chemical if last_injection else None)
    strength = step if step.kind in CHEMICAL_STEPS else last_injection
    if step.kind is StepKind.SOAK and last_injection is not None:
        figures = {**figures, **_standing(last_injection)}
    temperature = (
        figures["temperature_kelvin"].value
        if "temperature_kelvin" in figures
        else basis.water_kelvin(step.water)
    )
    if step.kind in (StepKind.SOAK, StepKind.DISPLACE) and standing_kelvin is not None:
        temperature = max(temperature, standing_kelvin)  # what stands in the bed is as warm as it came
    stock = basis.stock(step.chemical) if step.chemical else None
    cautions = step_cautions(
        step.kind,
        chemical,
        strength.settings["strength_frac"].target if strength else None,
        stock.strength_frac if stock else None,
        temperature,
        basis.request.recipe.arrangement,
    )
    return PlannedStep(
        number=number,
        kind=step.kind,
        name=step.name,
        instruction=plan_wording.instruction(basis, step, figures, last_injection),
        figures=figures,
        entries=step_entries(basis, step, figures, last_injection),
        cautions=cautions,
        water=step.water,
        chemical=step.chemical,
        is_safe_hold_after=step.is_safe_hold_after,
        ends_when=step.ends_when or plan_wording.ends_when(step, figures),
        drain_to=_drain(step.kind, last_injection),
        leg=step.leg,
    )


def _figures(basis: PlanBasis, step: RecipeStep, number: int) -> dict[str, Estimate]:
    if step.kind is StepKind.INJECT:
        return injection_figures(basis, step, number)
    return _FIGURES[step.kind](basis, step)


def _standing(injection: RecipeStep) -> Mapping[str, Estimate]:
    """Strength of what stands in the bed while it soaks: that of the last injection of the leg."""
    strength = injection.settings["strength_frac"].target
    assert injection.chemical is not None
    name = f"strength of the {injection.chemical.formula} that stands in the bed"
    return {"strength_frac": set_point("w_d", name, strength, "dimensionless", "strength")}


def _drain(kind: StepKind, last_chemical: RecipeStep | None) -> str:
    if kind in (StepKind.RINSE, StepKind.FAST_RINSE) and last_chemical is None:
        return WATER_DRAIN
    return {
        StepKind.BACKWASH: BACKWASH_DRAIN,
        StepKind.SEPARATE: BACKWASH_DRAIN,
        StepKind.INJECT: WASTE_TANK,
        StepKind.DISPLACE: WASTE_TANK,
        StepKind.RINSE: WASTE_TANK,
        StepKind.SANITIZE: WASTE_TANK,
        StepKind.FLOAT: FLOAT_DRAIN,
        StepKind.FAST_RINSE: RINSE_DRAIN,
        StepKind.AIR_MIX: WATER_DRAIN,
    }.get(kind, "")


def _timed(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    return {"duration_s": time_set(step)}


def _load(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    return {"duration_s": time_set(step), "bed_depth_m": basis.bed(step.leg).depth}


_FIGURES: dict[StepKind, Callable[[PlanBasis, RecipeStep], dict[str, Estimate]]] = {
    StepKind.LOAD: _load,
    StepKind.BACKWASH: backwash_figures,
    StepKind.SEPARATE: separation_figures,
    StepKind.SETTLE: _timed,
    StepKind.FLOAT: float_separation_figures,
    StepKind.CUT: cut_figures,
    StepKind.SOAK: _timed,
    StepKind.DISPLACE: rinse_figures,
    StepKind.RINSE: rinse_figures,
    StepKind.JOIN: join_figures,
    StepKind.AIR_MIX: air_mix_figures,
    StepKind.FAST_RINSE: rinse_figures,
    StepKind.RECIRCULATE: recirculation_figures,
    StepKind.EMPTY: empty_figures,
    StepKind.SANITIZE: sanitize_figures,
    StepKind.FILL: fill_figures,
    StepKind.SAMPLE: _timed,
}
