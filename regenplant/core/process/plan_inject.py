"""The figures of an injection: dose, draw, blend, flow, contact, temperature."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant.core.engineering import beds, heat, hydraulics, ions, regenerants, solutions, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import StockData
from regenplant.core.process.plan_basis import PlanBasis, recorded, set_point
from regenplant.core.process.recipes import RecipeStep

HEATER_STARTS_KELVIN = 1.0
"""A blend less than this below its set point is not worth heating [K]."""


def injection_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """All figures of one injection; those of the stock are left out where there is no usable stock."""
    assert step.chemical is not None
    chemical = step.chemical.value
    settings = step.settings
    dose = set_point(
        "q", "dose as 100 % per resin volume", settings["dose_kg_per_m3"].target, "kg/m^3", "dose"
    )
    strength = set_point(
        "w_d", "strength of the regenerant", settings["strength_frac"].target, "dimensionless", "strength"
    )
    mass = regenerants.dose_mass(chemical, basis.volume_m3, dose.value)
    figures: dict[str, Estimate] = {
        "dose_kg_per_m3": dose,
        "chemical_kg_100": mass,
        "strength_frac": strength,
    }
    usable = basis.usable_stock(step)
    figures.update(_temperatures(basis, step, usable[0] if usable else None))
    temperature = figures["temperature_kelvin"]
    density = solutions.solution_density(chemical, strength.value, temperature.value).named(
        "ρ_d", "density of the diluted regenerant"
    )
    figures["density_kg_per_m3"] = density
    figures["applied_eq"] = ions.applied_equivalents(chemical, mass.value)
    figures["regenerant_ratio_frac"] = regenerants.regenerant_ratio(figures["applied_eq"], basis.load)
    if usable is not None:
        stock, stock_density = usable
        water_kelvin = basis.water_kelvin(step.water)
        blend = regenerants.dilution(
            chemical,
            mass,
            stock.strength_frac,
            stock_density,
            strength.value,
            density,
            water.water_density(water_kelvin),
        )
        figures["stock_kg"], figures["stock_m3"] = blend.stock_kg, blend.stock_m3
        figures["dilution_water_kg"], figures["dilution_water_m3"] = blend.water_kg, blend.water_m3
        figures["volume_m3"] = blend.diluted_m3
    else:
        figures["volume_m3"] = _volume_without_stock(mass, strength, density)
    figures["volume_bv"] = regenerants.bed_volumes(figures["volume_m3"], basis.volume_m3)
    figures.update(flow_figures(basis, settings["flow_bv_per_h"].target))
    contact = regenerants.duration(
        figures["volume_m3"], figures["flow_m3_per_s"], "contact time of the regenerant", "t_c"
    )
    figures["contact_time_s"], figures["duration_s"] = contact, contact.named("t", "time")
    if usable is not None:
        figures.update(_skid_figures(figures))
    return figures


def flow_figures(basis: PlanBasis, flow_bv_per_h: float) -> dict[str, Estimate]:
    """Flow in bed volumes per hour, by volume, and on the bed."""
    flow = regenerants.flow_from_bed_volumes(basis.volume_m3, flow_bv_per_h)
    return {
        "flow_bv_per_h": set_point(
            "F", "flow, bed volumes per hour", flow_bv_per_h, "1/hour", "flow_bv_per_h"
        ),
        "flow_m3_per_s": flow,
        "linear_velocity_m_per_s": beds.linear_velocity(flow, basis.request.vessel.internal_diameter_m),
    }


def bed_pressure_drop(
    basis: PlanBasis, figures: Mapping[str, Estimate], temperature_kelvin: float
) -> Estimate:
    """Pressure drop of the clean bed at a step's flow."""
    return hydraulics.pressure_drop(
        basis.bead, figures["linear_velocity_m_per_s"], basis.depth, temperature_kelvin
    )


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


def _temperatures(basis: PlanBasis, step: RecipeStep, stock: StockData | None) -> dict[str, Estimate]:
    """Temperature at the bed, with or without the heater, and what the heater must do.

    With a heater the set point is reached by warming the dilution water. Without one, or when the blend is already
    warmer, the plan shows the temperature that the blend will really have; a check compares it with the recipe.
    """
    assert step.chemical is not None
    wanted = set_point(
        "T_d",
        "temperature of the regenerant at the bed",
        step.settings["temperature_kelvin"].target,
        "kelvin",
        "temperature",
    )
    if stock is None:
        return {"temperature_kelvin": wanted}
    supply_kelvin = basis.water_kelvin(step.water)
    blend = heat.blend_temperature(
        step.chemical.value, stock.strength_frac, stock.temperature_kelvin, step.settings["strength_frac"].target, supply_kelvin
    )  # fmt: skip
    skid = basis.skid(step.chemical)
    has_heater = skid is not None and skid.heater_max_temperature_kelvin is not None
    figures = {"unheated_temperature_kelvin": blend}
    if not has_heater or wanted.value - blend.value < HEATER_STARTS_KELVIN:
        figures["temperature_kelvin"] = _possible(step, blend)
        return figures
    figures["temperature_kelvin"] = wanted
    figures["dilution_water_temperature_kelvin"] = heat.water_temperature_needed(
        step.chemical.value, stock.strength_frac, stock.temperature_kelvin, step.settings["strength_frac"].target, wanted.value
    )  # fmt: skip
    return figures


def _possible(step: RecipeStep, blend: Estimate) -> Estimate:
    """The blend temperature as the figure of the step, held inside the range in which a density is known."""
    assert step.chemical is not None
    low, high = solutions.temperature_range_kelvin(step.chemical.value)
    if low <= blend.value <= high:
        return blend.named("T_d", "temperature of the regenerant at the bed, unheated")
    return recorded(
        "T_d",
        "temperature of the regenerant at the bed, unheated, limited to the density table",
        min(max(blend.value, low), high),
        "kelvin",
        "temperature",
        "parker",
    )


def _skid_figures(figures: Mapping[str, Estimate]) -> dict[str, Estimate]:
    """What is set at the dilution skid: flow of water, flow of stock, and heat."""
    time = figures["duration_s"]
    water_flow = _rate("Q_w", "flow of dilution water", figures["dilution_water_m3"], time, "m^3/s", "flow")
    found = {
        "dilution_water_flow_m3_per_s": water_flow,
        "stock_flow_m3_per_s": _rate("Q_s", "flow of stock", figures["stock_m3"], time, "m^3/s", "flow"),
    }
    if "dilution_water_temperature_kelvin" in figures:
        found["heating_duty_watt"] = heat.heating_duty(
            figures["dilution_water_kg"].value / time.value,
            _supply_kelvin(figures["unheated_temperature_kelvin"]),
            figures["dilution_water_temperature_kelvin"].value,
        )
    return found


def _supply_kelvin(blend: Estimate) -> float:
    return next(entry.value for entry in blend.inputs if entry.symbol == "T_w")


def _rate(symbol: str, name: str, volume: Estimate, time: Estimate, unit: str, kind: str) -> Estimate:
    return Estimate(
        symbol=symbol,
        name=name,
        value=volume.value / time.value,
        unit=unit,
        kind=kind,
        formula=f"{volume.symbol} / {time.symbol}",
        inputs=(volume.as_input(), Input(time.symbol, time.name, time.value, time.unit, time.kind)),
        method="volume over time",
        source="mass_balance",
    )
