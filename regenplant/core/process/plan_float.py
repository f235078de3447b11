"""The figures of a float separation: a dense solution fed from below, in which the anion resin rises and the cation resin sinks.

Chemical, stock, dilution water and heat are worked out as for any chemical; then what the solution does to the two resins,
as they come and as they stand in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from regenplant.core.engineering import float_separation, ions, regenerants, separation, viscosity
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.float_separation import FloatCase, Soaking
from regenplant.core.engineering.fluidization import Fluid, expansion_of_classes
from regenplant.core.engineering.separation import Separation, SeparationCase
from regenplant.core.process.plan_backwash import bead_population
from regenplant.core.process.plan_basis import PlanBasis, set_point
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_dilute import diluted_density, draw_figures
from regenplant.core.process.plan_flow import bed_volumes_as_volume, flow_figures
from regenplant.core.process.plan_inject import regenerant_temperatures, skid_figures, worded
from regenplant.core.process.plan_solids import solids_figures
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg


def float_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """All figures of one float separation; those of the stock are left out where there is no usable stock."""
    assert step.chemical is not None
    bed, settings = basis.bed(step.leg), step.settings
    strength = set_point(
        "w_d",
        "strength of the solution as fed",
        settings["strength_frac"].target,
        "dimensionless",
        "strength",
    )
    volume_bv = set_point(
        "B", "bed volumes of solution", settings["volume_bv"].target, "dimensionless", "bed_volumes"
    )
    usable = basis.usable_stock(step)
    temperatures = regenerant_temperatures(basis, step, usable[0] if usable else None)
    kelvin = temperatures["temperature_kelvin"].value
    density = diluted_density(step.chemical, strength.value, kelvin).named(
        "ρ_d", "density of the solution as fed"
    )
    volume = bed_volumes_as_volume(bed, volume_bv, f"volume of {step.chemical.formula} solution")
    mass = _mass(step.chemical, volume, strength, density)
    figures: dict[str, Estimate] = {
        "dose_kg_per_m3": _dose(mass, bed),
        "chemical_kg_100": mass,
        "strength_frac": strength,
        **temperatures,
        "density_kg_per_m3": density,
        "applied_eq": ions.applied_equivalents(step.chemical.value, mass.value),
        **draw_figures(basis, step, mass, strength, density),
        "volume_m3": volume,
        "volume_bv": volume_bv,
        **flow_figures(bed, settings["flow_bv_per_h"].target),
    }
    figures.update(_times(figures, settings["contact_time_s"].target))
    if usable is not None:
        # the skid runs while the solution is fed, not while it stands
        figures.update(skid_figures(basis, step, {**figures, "duration_s": figures["feed_time_s"]}))
    if step.chemical is Chemical.SODIUM_HYDROXIDE:
        figures.update(solids_figures(basis, step, figures))
    figures.update(_in_the_solution(basis, step, figures))
    return worded(figures, "solution")


def _mass(chemical: Chemical, volume: Estimate, strength: Estimate, density: Estimate) -> Estimate:
    return Estimate(
        symbol="m_100",
        name=f"{chemical.formula} as 100 %",
        value=volume.value * strength.value * density.value,
        unit="kg",
        kind="mass",
        formula=f"{volume.symbol} · {strength.symbol} · {density.symbol}",
        inputs=(volume.as_input(), strength.as_input(), density.as_input()),
        method="mass balance",
        source="mass_balance",
        valid=density.valid,
        uncertainty_frac=density.uncertainty_frac,
    )


def _dose(mass: Estimate, bed: Bed) -> Estimate:
    return Estimate(
        symbol="q",
        name="chemical as 100 % per bed volume",
        value=mass.value / bed.volume_m3,
        unit="kg/m^3",
        kind="dose",
        formula=f"{mass.symbol} / {bed.reference_volume.symbol}",
        inputs=(mass.as_input(), bed.reference_volume.as_input()),
        method="mass balance",
        source="mass_balance",
    )


def _times(figures: Mapping[str, Estimate], stands_s: float) -> dict[str, Estimate]:
    feed = regenerants.duration(
        figures["volume_m3"], figures["flow_m3_per_s"], "time the solution is fed", "t_f"
    )
    stand = set_point("t_c", "time the solution stands", stands_s, "s", "duration")
    return {
        "feed_time_s": feed,
        "contact_time_s": stand,
        "duration_s": Estimate(
            symbol="t",
            name="time",
            value=feed.value + stand.value,
            unit="s",
            kind="duration",
            formula=f"{feed.symbol} + {stand.symbol}",
            inputs=(feed.as_input(), stand.as_input()),
            method="feeding, then standing",
            source="mass_balance",
        ),
    }


# --- what the solution does to the resins ---------------------------------------------------------------------------
def float_case(basis: PlanBasis, step: RecipeStep, kelvin: float) -> FloatCase:
    """Both resins in this solution; moistures are those of usual resins, from memory."""
    mixed = basis.request.mixed
    assert mixed is not None and step.chemical is not None
    settings = step.settings
    return FloatCase(
        chemical=step.chemical.value,
        strength_frac=settings["strength_frac"].target,
        temperature_kelvin=kelvin,
        volume_m3=settings["volume_bv"].target * basis.bed(step.leg).volume_m3,
        cation=Soaking(
            bead_population(mixed.cation),
            basis.bed(Leg.CATION).volume_m3,
            mixed.cation.total_capacity_eq_per_m3,
            float_separation.CATION_MOISTURE_FRAC,
        ),
        anion=Soaking(
            bead_population(mixed.anion),
            basis.bed(Leg.ANION).volume_m3,
            mixed.anion.total_capacity_eq_per_m3,
            float_separation.ANION_MOISTURE_FRAC,
        ),
    )


def _in_the_solution(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate]
) -> dict[str, Estimate]:
    """Who floats and who sinks, how high it all stands, and how well the two are expected to part."""
    assert step.chemical is not None
    if step.chemical.value not in float_separation.SOLUTES:
        return {}  # no solution that floats a resin: a check says so
    kelvin = figures["temperature_kelvin"].value
    case = float_case(basis, step, kelvin)
    fed = figures["density_kg_per_m3"]
    strength = float_separation.standing_strength(case)
    standing = float_separation.standing_density(case, strength)
    soaked_anion = float_separation.soaked_density(case, case.anion, "anion")
    soaked_cation = float_separation.soaked_density(case, case.cation, "cation")
    diameter = basis.bed(step.leg).vessel.internal_diameter_m
    height = float_separation.solution_height(case, diameter)
    lighter = _soaked(case.anion.beads, soaked_anion)
    found = {
        "anion_floats_frac": float_separation.floating(case.anion.beads, fed, "anion"),
        "cation_sinks_frac": float_separation.sinking(case.cation.beads, fed, "cation"),
        "standing_strength_frac": strength,
        "standing_density_kg_per_m3": standing,
        "soaked_anion_density_kg_per_m3": soaked_anion,
        "soaked_cation_density_kg_per_m3": soaked_cation,
        "soaked_anion_floats_frac": float_separation.floating(lighter, standing, "anion").named(
            "x_fs", "share of the anion beads that float once they are soaked"
        ),
        "solution_height_m": height,
        "clear_height_m": float_separation.clear_height(case, height, diameter),
    }
    parted = predicted_float(basis, step, kelvin)
    if parted is not None:
        found["parting_time_s"] = parted.settling_time
        found["lifted_cation_height_m"] = _lifted(case, parted, figures["linear_velocity_m_per_s"], fed)
    return found


def _soaked(beads: BeadPopulation, density: Estimate) -> BeadPopulation:
    return replace(beads, density_kg_per_m3=density.value)


def predicted_float(basis: PlanBasis, step: RecipeStep, kelvin: float | None = None) -> Separation | None:
    """How the two resins are expected to part in the standing solution, beads soaked.

    None where the soaked anion beads sink on the whole, the cation beads float, or the viscosity is not known: nothing
    can be predicted then, and a check says what is wrong.
    """
    assert step.chemical is not None
    if step.chemical.value not in float_separation.SOLUTES:
        return None
    if kelvin is None:
        usable = basis.usable_stock(step)
        figures = regenerant_temperatures(basis, step, usable[0] if usable else None)
        kelvin = figures["temperature_kelvin"].value
    case = float_case(basis, step, kelvin)
    strength = float_separation.standing_strength(case)
    fluid = float_separation.standing_density(case, strength).value
    anion = _soaked(case.anion.beads, float_separation.soaked_density(case, case.anion, "anion"))
    cation = _soaked(case.cation.beads, float_separation.soaked_density(case, case.cation, "cation"))
    is_known = viscosity.is_viscosity_known(case.chemical, strength.value, kelvin)
    if not is_known or not anion.density_kg_per_m3 < fluid < cation.density_kg_per_m3:
        return None
    return separation.predict(
        SeparationCase(
            cation=cation,
            anion=anion,
            cation_m3=case.cation.volume_m3,
            anion_m3=case.anion.volume_m3,
            internal_diameter_m=basis.request.vessel.internal_diameter_m,
            temperature_kelvin=kelvin,
            fluid_density_kg_per_m3=fluid,
            fluid_viscosity_pascal_s=viscosity.viscosity_pascal_s(case.chemical, strength.value, kelvin),
            is_let_down=True,
        )
    )


def _lifted(case: FloatCase, parted: Separation, velocity: Estimate, fed: Estimate) -> Estimate:
    """Height of the cation resin while the solution flows up through it."""
    fluid = Fluid(
        fed.value, viscosity.viscosity_pascal_s(case.chemical, case.strength_frac, case.temperature_kelvin)
    )
    expansion = expansion_of_classes(case.cation.beads, velocity.value, fluid)
    settled = parted.interface_height
    return Estimate(
        symbol="h_l",
        name="height of the cation resin while the solution is fed",
        value=settled.value * (1.0 + expansion),
        unit="m",
        kind="length",
        formula=f"{settled.symbol} · (1 + E_c)",
        inputs=(
            settled.as_input(),
            Input("E_c", "expansion of the cation layer in the solution at this flow", expansion, "dimensionless", "fraction"),
        ),
        method="layer by layer, in the solution as fed",
        source="serial_model",
        valid="the densest fluid it meets, so the highest it is lifted",
        uncertainty_frac=0.3,
    )  # fmt: skip
