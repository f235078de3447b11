"""Activated carbon: tanks are emptied, sanitized and filled anew; nothing is regenerated and nothing has a dose."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan_basis import PlanBasis, set_point
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_dilute import blend_temperature, diluted_density, draw_figures
from regenplant.core.process.plan_flow import bed_volumes_as_volume, time_set
from regenplant.core.process.recipes import RecipeStep


def empty_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """Carbon that comes out of the tanks."""
    volume = basis.bed(step.leg).reference_volume
    return {
        "duration_s": time_set(step),
        "emptied_m3": replace(volume, name="spent carbon out of the tanks, settled"),
    }


def fill_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """Fresh carbon that goes into the tanks: as much as came out."""
    volume = basis.bed(step.leg).reference_volume
    return {
        "duration_s": time_set(step),
        "filled_m3": replace(volume, name="fresh carbon into the tanks, settled"),
    }


def sanitize_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """Sanitizer to make up: volume from bed volumes, mass as 100 %, stock to draw, and the time it stands."""
    assert step.chemical is not None
    bed, settings = basis.bed(step.leg), step.settings
    strength = set_point(
        "w_d", "strength of the sanitizer", settings["strength_frac"].target, "dimensionless", "strength"
    )
    volume_bv = set_point(
        "B", "bed volumes of sanitizer", settings["volume_bv"].target, "dimensionless", "bed_volumes"
    )
    contact = set_point(
        "t_c", "time the sanitizer stands", settings["contact_time_s"].target, "s", "duration"
    )
    temperature = _temperature(basis, step)
    density = diluted_density(step.chemical, strength.value, temperature.value)
    volume = bed_volumes_as_volume(bed, volume_bv, f"volume of {step.chemical.formula} solution")
    mass = _mass(step, volume, strength, density)
    drawn = draw_figures(basis, step, mass, strength, density)
    return {
        "strength_frac": strength,
        "temperature_kelvin": temperature,
        "density_kg_per_m3": density,
        "volume_bv": volume_bv,
        "chemical_kg_100": mass,
        "dose_kg_per_m3": _dose(mass, bed),
        **drawn,
        "volume_m3": volume,
        "contact_time_s": contact,
        "duration_s": contact.named("t", "time"),
    }


def _temperature(basis: PlanBasis, step: RecipeStep) -> Estimate:
    assert step.chemical is not None
    usable, supply = basis.usable_stock(step), basis.water_kelvin(step.water)
    if usable is None:
        return Estimate(
            "T_d", "temperature of the sanitizer, that of the water", supply, "kelvin", "temperature",
            "on record", (), "record", "plant_record",
        )  # fmt: skip
    blend = blend_temperature(step.chemical, usable[0], step.settings["strength_frac"].target, supply)
    return blend.named("T_d", "temperature of the sanitizer")


def _mass(step: RecipeStep, volume: Estimate, strength: Estimate, density: Estimate) -> Estimate:
    assert step.chemical is not None
    return Estimate(
        symbol="m_100",
        name=f"{step.chemical.formula} as 100 %",
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
    volume = bed.reference_volume
    return Estimate(
        symbol="q",
        name="sanitizer as 100 % per bed volume",
        value=mass.value / volume.value,
        unit="kg/m^3",
        kind="dose",
        formula=f"{mass.symbol} / {volume.symbol}",
        inputs=(mass.as_input(), volume.as_input()),
        method="mass balance",
        source="mass_balance",
    )
