"""What hard dilution water drops in caustic: chalk and magnesia, from the hardness of the supply."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant.core.engineering import scaling, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipes import RecipeStep

CALCIUM_SHARE_FRAC = 0.7
"""Share of calcium in the hardness of a supply whose analysis is not known; common practice."""
NOTHING_EQ_PER_M3 = 1e-4
"""Hardness below this drops nothing that could be seen."""


def solids_figures(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate]
) -> dict[str, Estimate]:
    """Solids per volume of dilution water and in all; nothing where the supply or the stock is not on record."""
    supply = basis.water(step.water)
    if supply is None or supply.hardness_eq_per_m3 < NOTHING_EQ_PER_M3 or "dilution_water_m3" not in figures:
        return {}
    hardness, kelvin = supply.hardness_eq_per_m3, figures["temperature_kelvin"].value
    try:
        per_kg = scaling.caustic_solids(
            figures["strength_frac"].value,
            hardness * CALCIUM_SHARE_FRAC,
            hardness * (1.0 - CALCIUM_SHARE_FRAC),
            hardness,
            kelvin,
        )
    except OutOfRange:
        return {}  # stronger or warmer than the equilibrium answers for: a check of its own stops such a set point
    rho = water.density_kg_per_m3(supply.temperature_kelvin)
    per_volume = Estimate(
        symbol="c_z",
        name="solids that drop, per volume of dilution water",
        value=per_kg.value * rho,
        unit="kg/m^3",
        kind="concentration",
        formula=f"{per_kg.symbol} · ρ_w",
        inputs=(per_kg.as_input(), Input("ρ_w", "density of the dilution water", rho, "kg/m^3", "density")),
        method=per_kg.method,
        source=per_kg.source,
        valid=f"{per_kg.valid}; hardness taken as {CALCIUM_SHARE_FRAC * 100:.0f} % calcium with as much alkalinity",
        warnings=per_kg.warnings,
        uncertainty_frac=per_kg.uncertainty_frac,
    )
    whole = figures["dilution_water_m3"]
    return {
        "caustic_solids_kg_per_m3": per_volume,
        "caustic_solids_kg": Estimate(
            symbol="m_z",
            name="solids that drop in this injection",
            value=per_volume.value * whole.value,
            unit="kg",
            kind="mass",
            formula=f"{per_volume.symbol} · {whole.symbol}",
            inputs=(per_volume.as_input(), whole.as_input()),
            method="solids of all the dilution water",
            source="mass_balance",
            valid=per_volume.valid,
            uncertainty_frac=per_volume.uncertainty_frac,
        ),
    }
