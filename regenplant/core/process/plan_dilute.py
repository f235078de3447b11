"""A chemical drawn from its stock and diluted: density and temperature of the blend, stock to draw, water to add.

Shared by injections and by sanitizing. Oxidizers and reductants have no density table here: used this thin they are
taken as water, with the strength itself as the uncertainty; their stock's density is the plant's own measurement.
"""

from __future__ import annotations

from regenplant.core.engineering import heat, regenerants, solutions, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import StockData
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical

THIN_FRAC = 0.01
"""Up to this strength a solution without a density table is taken as water without a warning."""


def has_density_table(chemical: Chemical) -> bool:
    """Whether densities of this substance are tabulated here; oxidizers and reductants are not."""
    return not (chemical.is_oxidizer or chemical.is_reductant)


def diluted_density(chemical: Chemical, strength_frac: float, temperature_kelvin: float) -> Estimate:
    """Density of what is fed.

    Raises: OutOfRange outside the density table.
    """
    if has_density_table(chemical):
        found = solutions.solution_density(chemical.value, strength_frac, temperature_kelvin)
        return found.named("ρ_d", "density of the diluted regenerant")
    warnings: tuple[str, ...] = ()
    if strength_frac > THIN_FRAC:
        warnings = (
            f"The density of {chemical.formula} of {strength_frac * 100:.3g} % is not in the tables and taken as water's: "
            f"volumes may be {strength_frac * 100:.2g} % off.",
        )
    return Estimate(
        symbol="ρ_d",
        name=f"density of the diluted {chemical.formula}, taken as water",
        value=water.density_kg_per_m3(temperature_kelvin),
        unit="kg/m^3",
        kind="density",
        formula="table ρ_w(T)",
        inputs=(Input("T", "temperature of the solution", temperature_kelvin, "kelvin", "temperature"),),
        method="water, because the solution is thin",
        source="iapws95",
        valid=f"to about {THIN_FRAC * 100:g} wt%",
        warnings=warnings,
        uncertainty_frac=strength_frac,
    )


def blend_temperature(
    chemical: Chemical, stock: StockData, strength_frac: float, water_kelvin: float
) -> Estimate:
    """Temperature of the blend without a heater."""
    if has_density_table(chemical):
        return heat.blend_temperature(
            chemical.value, stock.strength_frac, stock.temperature_kelvin, strength_frac, water_kelvin
        )
    share = strength_frac / stock.strength_frac
    return Estimate(
        symbol="T_b",
        name="temperature of the blend, unheated",
        value=share * stock.temperature_kelvin + (1.0 - share) * water_kelvin,
        unit="kelvin",
        kind="temperature",
        formula="x_s · T_s + (1 − x_s) · T_w",
        inputs=(
            *_share_inputs(share, stock.temperature_kelvin),
            Input("T_w", "temperature of the dilution water", water_kelvin, "kelvin", "temperature"),
        ),
        method="mixing by mass, heat of dilution not known",
        source="mass_balance",
        valid="thin solutions; about 2 °C",
    )


def _share_inputs(share_frac: float, stock_kelvin: float) -> tuple[Input, Input]:
    return (
        Input("x_s", "share of stock in the blend, by mass", share_frac, "dimensionless", "fraction"),
        Input("T_s", "temperature of the stock", stock_kelvin, "kelvin", "temperature"),
    )


def water_temperature_needed(
    chemical: Chemical, stock: StockData, strength_frac: float, target_kelvin: float
) -> Estimate:
    """Temperature the dilution water must have for the blend to reach its target."""
    if has_density_table(chemical):
        return heat.water_temperature_needed(
            chemical.value, stock.strength_frac, stock.temperature_kelvin, strength_frac, target_kelvin
        )
    share = strength_frac / stock.strength_frac
    return Estimate(
        symbol="T_w",
        name="dilution water temperature needed",
        value=(target_kelvin - share * stock.temperature_kelvin) / (1.0 - share),
        unit="kelvin",
        kind="temperature",
        formula="(T_d − x_s · T_s) / (1 − x_s)",
        inputs=(
            Input("T_d", "temperature wanted in the blend", target_kelvin, "kelvin", "temperature"),
            *_share_inputs(share, stock.temperature_kelvin),
        ),
        method="mixing by mass, solved for the water",
        source="mass_balance",
        valid="thin solutions; about 2 °C",
    )


def draw_figures(
    basis: PlanBasis, step: RecipeStep, mass: Estimate, strength: Estimate, density: Estimate
) -> dict[str, Estimate]:
    """Volume of what is fed and, where a stock is usable, what is drawn and added for it."""
    usable = basis.usable_stock(step)
    if usable is None or step.chemical is None:
        return {"volume_m3": _volume_without_stock(mass, strength, density)}
    stock, stock_density = usable
    blend = regenerants.blend(
        step.chemical.value,
        mass,
        stock.strength_frac,
        stock_density,
        strength.value,
        density,
        water.water_density(basis.water_kelvin(step.water)),
    )
    return {
        "stock_kg": blend.stock_kg,
        "stock_m3": blend.stock_m3,
        "dilution_water_kg": blend.water_kg,
        "dilution_water_m3": blend.water_m3,
        "volume_m3": blend.diluted_m3,
    }


def _volume_without_stock(mass: Estimate, strength: Estimate, density: Estimate) -> Estimate:
    return Estimate(
        symbol="V_d",
        name="volume of diluted regenerant",
        value=mass.value / (strength.value * density.value),
        unit="m^3",
        kind="liquid_volume",
        formula="m_100 / (w_d · ρ_d)",
        inputs=(mass.as_input(), strength.as_input(), density.as_input()),
        method="mass balance",
        source="mass_balance",
        valid=density.valid,
        uncertainty_frac=density.uncertainty_frac,
    )
