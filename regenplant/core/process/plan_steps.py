"""The steps of a plan: figures, sentence, entries, cautions for each step of the recipe."""

from __future__ import annotations

from collections.abc import Callable

from regenplant.core.engineering import beds, hydraulics, regenerants
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process import plan_wording
from regenplant.core.process.hazards import step_cautions
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_basis import PlanBasis, set_point
from regenplant.core.process.plan_entries import step_entries
from regenplant.core.process.plan_inject import bed_pressure_drop, flow_figures, injection_figures
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import StepKind

WASTE_TANK = "waste tank"
BACKWASH_DRAIN = "backwash drain, through the resin catcher"
RINSE_DRAIN = "waste tank at first, then the rinse drain once the pH is inside the permit"


def build_steps(basis: PlanBasis) -> tuple[PlannedStep, ...]:
    """Every step of the recipe in order, numbered from 1."""
    steps: list[PlannedStep] = []
    last_injection: RecipeStep | None = None
    for number, step in enumerate(basis.request.recipe.steps, start=1):
        steps.append(_step(basis, step, number, last_injection))
        if step.kind is StepKind.INJECT:
            last_injection = step
    return tuple(steps)


def _step(basis: PlanBasis, step: RecipeStep, number: int, last_injection: RecipeStep | None) -> PlannedStep:
    figures = _FIGURES[step.kind](basis, step)
    chemical = step.chemical or (last_injection.chemical if last_injection else None)
    strength = step if step.kind is StepKind.INJECT else last_injection
    temperature = (
        figures["temperature_kelvin"].value
        if "temperature_kelvin" in figures
        else basis.water_kelvin(step.water)
    )
    stock = basis.stock(step.chemical) if step.chemical else None
    cautions = step_cautions(
        step.kind,
        chemical,
        strength.settings["strength_frac"].target if strength else None,
        stock.strength_frac if stock else None,
        temperature,
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
        drain_to=_drain(step.kind),
    )


def _drain(kind: StepKind) -> str:
    return {
        StepKind.BACKWASH: BACKWASH_DRAIN,
        StepKind.INJECT: WASTE_TANK,
        StepKind.DISPLACE: WASTE_TANK,
        StepKind.FAST_RINSE: RINSE_DRAIN,
    }.get(kind, "")


def _time(step: RecipeStep) -> Estimate:
    return set_point("t", "time", step.settings["duration_s"].target, "s", "duration")


def _timed(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    return {"duration_s": _time(step)}


def _load(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    return {"duration_s": _time(step), "bed_depth_m": basis.depth}


def backwash_expansion(basis: PlanBasis, step: RecipeStep) -> Estimate:
    """The expansion to aim at: the recipe's, or less where the vessel is too low for it.

    Never below the recipe's own low: there the plan shows the low and a check blocks it.
    """
    wanted = step.settings["expansion_frac"]
    limits = basis.request.limits
    height = basis.request.vessel.straight_height_m
    fits = beds.expansion_that_fits(basis.depth.value, height, limits.height_kept_free_frac)
    fits /= 1.0 + hydraulics.MODEL_UNCERTAINTY_FRAC
    if fits >= wanted.target:
        return set_point("E", "bed expansion wanted", wanted.target, "dimensionless", "fraction")
    value = max(fits, wanted.low)
    return Estimate(
        symbol="E",
        name="bed expansion that fits the vessel",
        value=value,
        unit="dimensionless",
        kind="fraction",
        formula="(H · (1 − k) / h_0 − 1) / (1 + s)"
        if value == fits
        else "lowest expansion of the recipe (set point)",
        inputs=(
            Input("H", "straight height of the vessel", height, "m", "length"),
            Input(
                "k",
                "share of the height kept free",
                limits.height_kept_free_frac,
                "dimensionless",
                "fraction",
            ),
            basis.depth.as_input(),
            Input(
                "s",
                "uncertainty of the expansion model",
                hydraulics.MODEL_UNCERTAINTY_FRAC,
                "dimensionless",
                "fraction",
            ),
        ),
        method="height left in the vessel",
        source="geometry",
        warnings=("Less than the recipe's target: the vessel has no room for more.",),
    )


def _backwash(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    expansion = backwash_expansion(basis, step)
    velocity = hydraulics.velocity_for_expansion(basis.bead, expansion.value, basis.water_kelvin(step.water))
    flow = beds.flow_at_velocity(velocity, basis.request.vessel.internal_diameter_m)
    time = _time(step)
    volume = _passed(flow, time, "volume of backwash water")
    return {
        "duration_s": time,
        "expansion_frac": expansion,
        "linear_velocity_m_per_s": velocity,
        "flow_m3_per_s": flow,
        "flow_bv_per_h": _bed_volumes_per_hour(basis, flow),
        "volume_m3": volume,
        "volume_bv": regenerants.bed_volumes(volume, basis.volume_m3),
        "expanded_height_m": beds.expanded_height(basis.depth, expansion),
        "minimum_velocity_m_per_s": hydraulics.minimum_fluidization_velocity(
            basis.bead, basis.water_kelvin(step.water)
        ),
    }


def _passed(flow: Estimate, time: Estimate, name: str) -> Estimate:
    return Estimate(
        symbol="V",
        name=name,
        value=flow.value * time.value,
        unit="m^3",
        kind="liquid_volume",
        formula=f"{flow.symbol} · {time.symbol}",
        inputs=(flow.as_input(), time.as_input()),
        method="flow times time",
        source="mass_balance",
        uncertainty_frac=flow.uncertainty_frac,
    )


def _bed_volumes_per_hour(basis: PlanBasis, flow: Estimate) -> Estimate:
    return Estimate(
        symbol="F",
        name="flow, bed volumes per hour",
        value=flow.value * 3600.0 / basis.volume_m3,
        unit="1/hour",
        kind="flow_bv_per_h",
        formula=f"{flow.symbol} · 3600 / V_r",
        inputs=(flow.as_input(), basis.reference_volume.as_input()),
        method="definition of the bed volume; 3600 s per hour",
        source="mass_balance",
        uncertainty_frac=flow.uncertainty_frac,
    )


def _downflow(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    figures = flow_figures(basis, step.settings["flow_bv_per_h"].target)
    volume_bv = set_point(
        "B", "bed volumes to pass", step.settings["volume_bv"].target, "dimensionless", "bed_volumes"
    )
    figures["volume_bv"] = volume_bv
    figures["volume_m3"] = Estimate(
        symbol="V",
        name="volume of rinse water",
        value=volume_bv.value * basis.volume_m3,
        unit="m^3",
        kind="liquid_volume",
        formula="B · V_r",
        inputs=(volume_bv.as_input(), basis.reference_volume.as_input()),
        method="definition of the bed volume",
        source="mass_balance",
    )
    figures["duration_s"] = regenerants.duration(figures["volume_m3"], figures["flow_m3_per_s"])
    figures["pressure_drop_pascal"] = bed_pressure_drop(basis, figures, basis.water_kelvin(step.water))
    return figures


def _inject(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    return injection_figures(basis, step)


_FIGURES: dict[StepKind, Callable[[PlanBasis, RecipeStep], dict[str, Estimate]]] = {
    StepKind.LOAD: _load,
    StepKind.BACKWASH: _backwash,
    StepKind.SETTLE: _timed,
    StepKind.INJECT: _inject,
    StepKind.DISPLACE: _downflow,
    StepKind.FAST_RINSE: _downflow,
    StepKind.SAMPLE: _timed,
}
