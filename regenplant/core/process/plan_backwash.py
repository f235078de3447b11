"""The figures of a backwash: expansion that fits the vessel, flow at the real water temperature, what it may carry off."""

from __future__ import annotations

from regenplant.core.engineering import beds, hydraulics, regenerants
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.hydraulics import Bead
from regenplant.core.process.plan import ResinData
from regenplant.core.process.plan_basis import PlanBasis, set_point
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_flow import flow_as_bed_volumes, passed, time_set
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Leg


def bead_population(resin: ResinData) -> BeadPopulation:
    """The beads of a resin with their spread, in the exhausted form.

    Raises: OutOfRange for beads that cannot be.
    """
    return BeadPopulation(
        resin.bead_diameter_m,
        resin.bead_diameter_spread_frac,
        resin.bead_density_kg_per_m3,
        resin.bead_density_spread_kg_per_m3,
        resin.settled_void_frac,
    )


def lifted_resin(basis: PlanBasis, leg: Leg) -> ResinData:
    """Whose beads a backwash of this bed must not carry off: of a whole mixed bed those of the anion resin."""
    mixed = basis.request.mixed
    if leg is Leg.WHOLE and mixed is not None and basis.request.resin.family.is_mixed:
        return mixed.anion
    return basis.bed(leg).resin


def lifted_bead(basis: PlanBasis, leg: Leg) -> Bead:
    """The median bead of ``lifted_resin``."""
    resin = lifted_resin(basis, leg)
    return Bead(resin.bead_diameter_m, resin.bead_density_kg_per_m3, resin.settled_void_frac)


def backwash_expansion(basis: PlanBasis, step: RecipeStep) -> Estimate:
    """The expansion to aim at: the recipe's, or less where the vessel is too low for it.

    Never below the recipe's own low: there the plan shows the low and a check blocks it.
    """
    bed, wanted = basis.bed(step.leg), step.settings["expansion_frac"]
    limits = basis.request.limits
    height = bed.vessel.straight_height_m
    fits = beds.expansion_that_fits(bed.depth.value, height, limits.height_kept_free_frac)
    fits /= 1.0 + hydraulics.MODEL_UNCERTAINTY_FRAC
    if fits >= wanted.target:
        return set_point("E", "bed expansion wanted", wanted.target, "dimensionless", "fraction")
    value = max(fits, wanted.low)
    is_free = value == fits
    inputs = (
        Input("H", "straight height of the vessel", height, "m", "length"),
        Input("k", "share of the height kept free", limits.height_kept_free_frac, "dimensionless", "fraction"),
        bed.depth.as_input(),
        Input("s", "uncertainty of the expansion model", hydraulics.MODEL_UNCERTAINTY_FRAC, "dimensionless", "fraction"),
    )  # fmt: skip
    return Estimate(
        symbol="E",
        name="bed expansion that fits the vessel",
        value=value,
        unit="dimensionless",
        kind="fraction",
        formula="(H · (1 − k) / h_0 − 1) / (1 + s)"
        if is_free
        else "lowest expansion of the recipe (set point)",
        inputs=inputs,
        method="height left in the vessel",
        source="geometry",
        warnings=("Less than the recipe's target: the vessel has no room for more.",),
    )


def backwash_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """All figures of a backwash."""
    bed, kelvin = basis.bed(step.leg), basis.water_kelvin(step.water)
    bead = lifted_bead(basis, step.leg)
    expansion = backwash_expansion(basis, step)
    velocity = hydraulics.velocity_for_expansion(bead, expansion.value, kelvin)
    flow = beds.flow_at_velocity(velocity, bed.vessel.internal_diameter_m)
    time = time_set(step)
    volume = passed(flow, time, "volume of backwash water")
    return {
        "duration_s": time,
        "expansion_frac": expansion,
        "linear_velocity_m_per_s": velocity,
        "flow_m3_per_s": flow,
        "flow_bv_per_h": flow_as_bed_volumes(bed, flow),
        "volume_m3": volume,
        "volume_bv": regenerants.bed_volumes(volume, bed.volume_m3),
        "expanded_height_m": beds.expanded_height(bed.depth, expansion),
        "minimum_velocity_m_per_s": hydraulics.minimum_fluidization_velocity(bead, kelvin),
        **_spread_figures(basis, bed, step, velocity, kelvin),
    }


def _spread_figures(
    basis: PlanBasis, bed: Bed, step: RecipeStep, velocity: Estimate, kelvin: float
) -> dict[str, Estimate]:
    """What the spread of size and density adds: the flow to recommend, and what leaves at the planned one."""
    resin = lifted_resin(basis, step.leg)
    if resin.bead_diameter_spread_frac <= 0.0:
        return {}
    population = bead_population(resin)
    flows = hydraulics.backwash_flows(
        population,
        bed.depth.value,
        bed.vessel.straight_height_m,
        kelvin,
        step.settings["expansion_frac"].target,
        basis.request.limits.height_kept_free_frac,
    )
    return {
        "recommended_velocity_m_per_s": flows.recommended,
        "recommended_flow_m3_per_s": beds.flow_at_velocity(
            flows.recommended, bed.vessel.internal_diameter_m
        ).named("Q_r", "recommended backwash flow"),
        "carry_over_velocity_m_per_s": flows.by_carry_over,
        "carry_over_frac": hydraulics.carry_over_risk(population, velocity.value, kelvin),
    }
