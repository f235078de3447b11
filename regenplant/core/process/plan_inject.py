"""The figures of an injection: dose, draw, blend, flow, contact, temperature, and what it does in the bed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from regenplant.core.engineering import heating, ions, regenerants, solutions
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.substances import substance
from regenplant.core.process.hazard_words import solution_word
from regenplant.core.process.plan import StockData
from regenplant.core.process.plan_basis import PlanBasis, recorded, set_point
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_dilute import (
    blend_temperature,
    diluted_density,
    draw_figures,
    has_density_table,
    water_temperature_needed,
)
from regenplant.core.process.plan_dose import dose_figures
from regenplant.core.process.plan_flow import flow_figures, rate
from regenplant.core.process.plan_heater import heater_figures
from regenplant.core.process.plan_regenerants import regenerating_steps
from regenplant.core.process.plan_solids import solids_figures
from regenplant.core.process.plan_sulfuric import gypsum_figures
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical

HEATER_STARTS_KELVIN = 1.0
"""A blend less than this below its set point is not worth heating [K]."""


def injection_figures(basis: PlanBasis, step: RecipeStep, number: int) -> dict[str, Estimate]:
    """All figures of one injection; those of the stock are left out where there is no usable stock."""
    assert step.chemical is not None
    bed, settings = basis.bed(step.leg), step.settings
    dose = set_point(
        "q", "dose as 100 % per resin volume", settings["dose_kg_per_m3"].target, "kg/m^3", "dose"
    )
    strength = set_point(
        "w_d", "strength of the regenerant", settings["strength_frac"].target, "dimensionless", "strength"
    )
    mass = regenerants.dose_mass(step.chemical.value, bed.volume_m3, dose.value)
    figures: dict[str, Estimate] = {
        "dose_kg_per_m3": dose,
        "chemical_kg_100": mass,
        "strength_frac": strength,
    }
    usable = basis.usable_stock(step)
    figures.update(regenerant_temperatures(basis, step, usable[0] if usable else None))
    temperature = figures["temperature_kelvin"].value
    figures["density_kg_per_m3"] = diluted_density(step.chemical, strength.value, temperature)
    figures.update(_equivalents(basis, bed, step, number, mass))
    figures.update(draw_figures(basis, step, mass, strength, figures["density_kg_per_m3"]))
    figures["volume_bv"] = regenerants.bed_volumes(figures["volume_m3"], bed.volume_m3)
    figures.update(flow_figures(bed, settings["flow_bv_per_h"].target))
    contact = regenerants.duration(
        figures["volume_m3"], figures["flow_m3_per_s"], "contact time of the regenerant", "t_c"
    )
    figures["contact_time_s"], figures["duration_s"] = contact, contact.named("t", "time")
    if usable is not None:
        figures.update(skid_figures(basis, step, figures))
    figures.update(_in_the_bed(basis, bed, step, number, figures))
    return worded(figures, solution_word(basis.request.recipe, step))


def worded(figures: Mapping[str, Estimate], word: str) -> dict[str, Estimate]:
    """The figures under the name of what is fed: cleaning acid is no regenerant."""
    if word == "regenerant":
        return dict(figures)

    def named(name: str) -> str:
        return name if name.startswith("regenerant ratio") else name.replace("regenerant", word)

    return {
        key: replace(
            figure,
            name=named(figure.name),
            inputs=tuple(replace(entry, name=named(entry.name)) for entry in figure.inputs),
        )
        for key, figure in figures.items()
    }


def _equivalents(
    basis: PlanBasis, bed: Bed, step: RecipeStep, number: int, mass: Estimate
) -> dict[str, Estimate]:
    """Equivalents brought and, where they regenerate, their ratio to the load.

    Oxidizers and reductants bring none; a cleaning injection is held against no load.
    """
    assert step.chemical is not None
    if substance(step.chemical.value).charge_eq_per_mol == 0:
        return {}
    figures = {"applied_eq": ions.applied_equivalents(step.chemical.value, mass.value)}
    regenerating = [entry for entry, _ in regenerating_steps(basis.request.recipe, step.leg)]
    if number in regenerating:
        figures.update(
            dose_figures(bed, step.chemical, figures["applied_eq"], is_only=len(regenerating) == 1)
        )
    return figures


def _in_the_bed(
    basis: PlanBasis, bed: Bed, step: RecipeStep, number: int, figures: Mapping[str, Estimate]
) -> dict[str, Estimate]:
    """What may fall out: gypsum in sulfuric acid, chalk and magnesia in caustic."""
    if step.chemical is Chemical.SULFURIC_ACID and "regenerant_ratio_frac" in figures:
        return gypsum_figures(basis, bed, step, number, figures)
    if step.chemical is Chemical.SODIUM_HYDROXIDE:
        return solids_figures(basis, step, figures)
    return {}


def regenerant_temperatures(
    basis: PlanBasis, step: RecipeStep, stock: StockData | None
) -> dict[str, Estimate]:
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
    strength_frac = step.settings["strength_frac"].target
    blend = blend_temperature(step.chemical, stock, strength_frac, basis.water_kelvin(step.water))
    skid = basis.skid(step.chemical)
    has_heater = skid is not None and skid.heater_max_temperature_kelvin is not None
    figures = {"unheated_temperature_kelvin": blend}
    if not has_heater or wanted.value - blend.value < HEATER_STARTS_KELVIN:
        figures["temperature_kelvin"] = _possible(step.chemical, blend)
        return figures
    figures["temperature_kelvin"] = wanted
    figures["dilution_water_temperature_kelvin"] = water_temperature_needed(
        step.chemical, stock, strength_frac, wanted.value
    )
    return figures


def _possible(chemical: Chemical, blend: Estimate) -> Estimate:
    """The blend temperature as the figure of the step, held inside the range in which a density is known."""
    name = "temperature of the regenerant at the bed, unheated"
    if not has_density_table(chemical):
        return blend.named("T_d", name)
    low, high = solutions.temperature_range_kelvin(chemical.value)
    if low <= blend.value <= high:
        return blend.named("T_d", name)
    return recorded(
        "T_d",
        f"{name}, limited to the density table",
        min(max(blend.value, low), high),
        "kelvin",
        "temperature",
        "parker",
    )


def skid_figures(basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate]) -> dict[str, Estimate]:
    """What is set at the dilution skid: flow of water, flow of stock, and heat."""
    assert step.chemical is not None
    time = figures["duration_s"]
    found = {
        "dilution_water_flow_m3_per_s": rate(
            "Q_w", "flow of dilution water", figures["dilution_water_m3"], time, "m^3/s", "flow"
        ),
        "stock_flow_m3_per_s": rate("Q_s", "flow of stock", figures["stock_m3"], time, "m^3/s", "flow"),
    }
    if "dilution_water_temperature_kelvin" in figures:
        found["heating_duty_watt"] = heating.heating_duty(
            figures["dilution_water_kg"].value / time.value,
            basis.water_kelvin(step.water),
            figures["dilution_water_temperature_kelvin"].value,
        )
        found.update(heater_figures(basis.skid(step.chemical), found["heating_duty_watt"], time))
    return found
