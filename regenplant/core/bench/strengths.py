"""Strength and density of regenerant solutions, with the hydrometer scales of the trade."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Choice, Group, Quantity
from regenplant.core.engineering import baume as scale_of_baume
from regenplant.core.engineering import freezing, solutions, viscosity, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.substances import substance

_AT_20 = given.temperature(
    "temperature", "temperature of the solution", 0.0, 100.0, "20 degC", ranges=given.temperature_ranges()
)
_STRENGTH = given.strength(ranges=given.solution_ranges())
_AGREES_FRAC = 0.05
"""A strength that differs by more from what the degrees Baumé say is put into words."""
_DENSITY_READ = given.number("density", "density read, or specific gravity as g/mL", "density", "kg/m3", 700.0, 2000.0, None, ("rho", "density_read", "solution_density"))  # fmt: skip
_BAUME = given.number("baume", "degrees Baumé", "baume", "degBe", 0.1, 70.0, None, ("degrees_baume", "be", "deg_baume", "degbe", "degree_baume", "baume_degrees", "deg_be"))  # fmt: skip
_HEAVY = Choice("heavier", "heavier than water", ("heavy", "heavier than water"))
_LIGHT = Choice("lighter", "lighter than water", ("light", "lighter than water"))
_SCALE = given.word("scale", "hydrometer scale", (_HEAVY, _LIGHT), "heavier", ("liquid", "than_water"))
_60F = "60 degF"


def _density(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    return solutions.solution_density(chemical, strength_frac, temperature_kelvin)


def _strength(chemical: str, density_kg_per_m3: float, temperature_kelvin: float) -> Estimate:
    return solutions.strength_from_density(chemical, density_kg_per_m3, temperature_kelvin)


def _strength_from_baume(chemical: str, baume: float, temperature_kelvin: float) -> Estimate:
    return scale_of_baume.strength_from_hydrometer_baume(chemical, baume, temperature_kelvin)


def _gravity(baume: float, scale: str) -> Estimate:
    if scale == "lighter":
        require_within(
            baume, 10.0, 100.0, "degrees Baumé", "°Bé", "The scale for liquids lighter than water."
        )
        value, formula, top, bottom = 140.0 / (130.0 + baume), "a / (b + B)", 140.0, 130.0
    else:
        value, formula, top, bottom = (
            scale_of_baume.specific_gravity_from_baume(baume),
            "a / (a − B)",
            145.0,
            145.0,
        )
    constants: tuple[Input, ...] = (Input("a", "constant of the scale", top, "dimensionless", "scalar"),)
    if scale == "lighter":
        constants = (
            *constants,
            Input("b", "second constant of the scale", bottom, "dimensionless", "scalar"),
        )
    return Estimate(
        "SG", f"specific gravity 60 °F/60 °F, {scale} than water", value, "dimensionless", "specific_gravity", formula,
        (*constants, Input("B", "degrees Baumé", baume, "dimensionless", "baume")), "definition of the Baumé scale", "baume",
        "hydrometer and liquid at 60 °F (15.56 °C)",
    )  # fmt: skip


def _baume(specific_gravity: float, scale: str) -> Estimate:
    if scale == "lighter":
        require_within(
            specific_gravity, 0.6, 1.0, "specific gravity", "", "The scale for liquids lighter than water."
        )
        value, formula = 140.0 / specific_gravity - 130.0, "a / SG − b"
        constants: tuple[Input, ...] = (Input("a", "constant of the scale", 140.0, "dimensionless", "scalar"), Input("b", "second constant of the scale", 130.0, "dimensionless", "scalar"))  # fmt: skip
    else:
        value, formula = scale_of_baume.baume_from_specific_gravity(specific_gravity), "a − a / SG"
        constants = (Input("a", "constant of the scale", 145.0, "dimensionless", "scalar"),)
    return Estimate(
        "B", f"degrees Baumé, {scale} than water", value, "dimensionless", "baume", formula,
        (*constants, Input("SG", "specific gravity 60 °F/60 °F", specific_gravity, "dimensionless", "specific_gravity")),
        "definition of the Baumé scale", "baume", "hydrometer and liquid at 60 °F (15.56 °C)",
    )  # fmt: skip


def _baume_of_solution(chemical: str, strength_frac: float) -> Estimate:
    density = solutions.solution_density(chemical, strength_frac, water.SIXTY_FAHRENHEIT_KELVIN)
    gravity = density.value / water.density_kg_per_m3(water.SIXTY_FAHRENHEIT_KELVIN)
    return _baume(gravity, "heavier")


def _specific_gravity(chemical: str, strength_frac: float, temperature_kelvin: float, reference_kelvin: float) -> Estimate:  # fmt: skip
    density = solutions.solution_density(chemical, strength_frac, temperature_kelvin)
    of_water = water.water_density(reference_kelvin).named(
        "ρ_w", "density of water at its reference temperature"
    )
    return Estimate(
        "SG", "specific gravity of the solution", density.value / of_water.value, "dimensionless", "specific_gravity", "ρ / ρ_w",
        (Input("ρ", "density of the solution", density.value, "kg/m^3", "density"), of_water.as_input()), density.method, density.source,
        density.valid, density.warnings, density.uncertainty_frac,
    )  # fmt: skip


def _mass_per_volume(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    return solutions.mass_concentration(chemical, strength_frac, temperature_kelvin)


def _mass_per_volume_baume(chemical: str, baume: float, strength_frac: float | None) -> Estimate:
    gravity = _gravity(baume, "heavier")
    of_water = water.density_kg_per_m3(water.SIXTY_FAHRENHEIT_KELVIN)
    warnings: tuple[str, ...] = ()
    uncertainty: float | None = None
    read = scale_of_baume.strength_from_baume(chemical, baume)
    if strength_frac is None:
        strength_frac, uncertainty, warnings = read.value, read.uncertainty_frac, read.warnings
    elif abs(read.value - strength_frac) > _AGREES_FRAC * strength_frac:
        warnings = (
            f"{substance(chemical).formula} of {baume:g} °Bé is of {read.value * 100:.3g} %; {strength_frac * 100:.3g} % is given. "
            "Check which of the two is right.",
        )
    return Estimate(
        "c_m", f"mass of {substance(chemical).formula} per volume of solution at 60 °F", gravity.value * of_water * strength_frac,
        "kg/m^3", "dose", "SG · ρ_w · w",
        (gravity.as_input(), Input("ρ_w", "density of water at 60 °F", of_water, "kg/m^3", "density"), Input("w", "strength by weight", strength_frac, "dimensionless", "strength")),
        "Baumé scale and strength from density", "baume", "at 60 °F (15.56 °C)", warnings, uncertainty,
    )  # fmt: skip


def _per_volume(
    chemical: str, strength_frac: float, temperature_kelvin: float, is_equivalents: bool
) -> Estimate:
    material = substance(chemical)
    density = solutions.solution_density(chemical, strength_frac, temperature_kelvin)
    weight = material.equivalent_weight_kg_per_eq if is_equivalents else material.molar_mass_kg_per_mol
    symbol, unit, kind = (
        ("EW", "eq/m^3", "normality") if is_equivalents else ("M", "mol/m^3", "amount_concentration")
    )
    name = "equivalent weight" if is_equivalents else "molar mass"
    return Estimate(
        "c", f"{'equivalents' if is_equivalents else 'amount'} of {material.formula} per volume of solution",
        strength_frac * density.value / weight, unit, kind, f"w · ρ / {symbol}",
        (
            Input("w", "strength by weight", strength_frac, "dimensionless", "strength"),
            Input("ρ", "density of the solution", density.value, "kg/m^3", "density"),
            Input(symbol, f"{name} of {material.formula}", weight, "kg/eq" if is_equivalents else "kg/mol"),
        ),
        density.method, density.source, density.valid, density.warnings, density.uncertainty_frac,
    )  # fmt: skip


def _amount(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    return _per_volume(chemical, strength_frac, temperature_kelvin, False)


def _normality(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    return _per_volume(chemical, strength_frac, temperature_kelvin, True)


def _strength_from_mass(chemical: str, mass_concentration_kg_per_m3: float, temperature_kelvin: float) -> Estimate:  # fmt: skip
    value = solutions.strength_from_mass_concentration(
        chemical, mass_concentration_kg_per_m3, temperature_kelvin
    )
    found = (
        solutions.solution_density(chemical, value, temperature_kelvin)
        if value > 0
        else water.water_density(temperature_kelvin)
    )
    return Estimate(
        "w", f"strength of {substance(chemical).formula}, weight per weight", value, "dimensionless", "strength",
        "solve w · ρ(w, T) = c_m",
        (Input("c_m", "mass per volume of solution", mass_concentration_kg_per_m3, "kg/m^3", "dose"), Input("T", "temperature", temperature_kelvin, "kelvin", "temperature")),
        f"inversion of {found.method}", found.source, found.valid, found.warnings, found.uncertainty_frac,
    )  # fmt: skip


def _viscosity(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    return viscosity.solution_viscosity(chemical, strength_frac, temperature_kelvin)


def _freezing(chemical: str, strength_frac: float) -> Answer:
    found = freezing.freezing_point(chemical, strength_frac)
    return Answer(found, {"freezing_point_depression": _depression_of(found)})


def _depression_of(point: Estimate) -> Estimate:
    return Estimate(
        "ΔT_f", "freezing point depression", water.FREEZING_KELVIN - point.value, "kelvin", "temperature_rise", f"T_0 − {point.symbol}",
        (Input("T_0", "freezing point of water", water.FREEZING_KELVIN, "kelvin", "temperature"), point.as_input()), point.method, point.source,
        point.valid, point.warnings, uncertainty_abs=point.uncertainty_abs,
    )  # fmt: skip


def _depression(chemical: str, strength_frac: float) -> Estimate:
    return _depression_of(freezing.freezing_point(chemical, strength_frac))


_FIT_FRAC = 0.0005
"""How far the densities of one fit are off against each other: its largest residual was 0.054 %."""


def _slope(chemical: str, strength_frac: float, low_kelvin: float, high_kelvin: float) -> Estimate:
    low = solutions.solution_density(chemical, strength_frac, low_kelvin)
    high = solutions.solution_density(chemical, strength_frac, high_kelvin)
    require_within(high_kelvin - low_kelvin, 0.1, 200.0, "distance of the two temperatures", "K")
    return Estimate(
        "s", "change of density with temperature", (high.value - low.value) / (high_kelvin - low_kelvin), "kg/m^3/kelvin", "density_slope",
        "(ρ_2 − ρ_1) / (T_2 − T_1)",
        (
            Input("ρ_2", "density at the higher temperature", high.value, "kg/m^3", "density"), Input("ρ_1", "density at the lower temperature", low.value, "kg/m^3", "density"),
            Input("T_2", "higher temperature", high_kelvin, "kelvin", "temperature"), Input("T_1", "lower temperature", low_kelvin, "kelvin", "temperature"),
        ),
        low.method, low.source, low.valid, uncertainty_abs=_FIT_FRAC * high.value / (high_kelvin - low_kelvin),
    )  # fmt: skip


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    chemical = given.chemical()
    group = Group.STRENGTH
    acid = {"chemical": "HCl", "strength": "32 %", "temperature": "20 degC"}
    gravity_in = given.number("specific_gravity", "specific gravity 60 °F/60 °F", "specific_gravity", "-", 0.6, 1.94, None, ("sg", "gravity"))  # fmt: skip
    baume_in = (chemical, _BAUME, given.temperature("temperature", "temperature of the sample", 0.0, 60.0, _60F))  # fmt: skip
    return (
        Quantity("density", "Density of a solution", "Density of a regenerant solution from its strength and temperature.", group, (chemical, _STRENGTH, _AT_20), "density", "kg/m3", _density, acid, ("solution_density", "density_of_aqueous_solution", "density_of_solution", "rho")),
        Quantity("strength_from_density", "Strength from density", "Strength by weight from a density read at a known temperature.", group, (chemical, _DENSITY_READ, _AT_20), "strength", "%", _strength, {"chemical": "HCl", "density": "1159 kg/m3", "temperature": "20 degC"}, ("strength", "concentration_from_density", "hydrometer", "weight_percent_from_density")),
        Quantity("strength_from_baume", "Strength from degrees Baumé", "Strength by weight from a Baumé hydrometer (US scale, heavier than water); at 60 °F unless said otherwise.", group, baume_in, "strength", "%", _strength_from_baume, {"chemical": "HCl", "baume": "20 degBe"}, ("wt_from_deg_baume", "weight_percent_from_baume", "hcl_wt_from_baume", "strength_at_baume")),
        Quantity("specific_gravity_from_baume", "Specific gravity from degrees Baumé", "60 °F/60 °F; scale heavier or lighter than water.", group, (replace(_BAUME, low=0.0, high=100.0, help="Heavier than water 0 to 70, lighter 10 to 100."), _SCALE), "specific_gravity", "-", _gravity, {"baume": "22", "scale": "heavier"}, ("sg_from_baume", "baume_to_specific_gravity", "baume_to_sg", "specific_gravity_from_deg_baume")),
        Quantity("baume_from_specific_gravity", "Degrees Baumé from specific gravity", "60 °F/60 °F; scale heavier or lighter than water.", group, (gravity_in, _SCALE), "baume", "degBe", _baume, {"specific_gravity": "1.16"}, ("baume_from_sg", "sg_to_baume", "deg_baume_from_sg", "baume")),
        Quantity("baume_of_solution", "Degrees Baumé of a solution", "What a Baumé hydrometer shows at 60 °F in a solution of known strength.", group, (chemical, _STRENGTH), "baume", "degBe", _baume_of_solution, {"chemical": "HCl", "strength": "31.45 %"}, ("baume_from_strength",)),
        Quantity("specific_gravity", "Specific gravity of a solution", "Density of the solution over that of water at a reference temperature.", group, (chemical, _STRENGTH, given.temperature("temperature", "temperature of the solution", 0.0, 100.0, _60F, ranges=given.temperature_ranges()), given.temperature("reference", "temperature of the water it is compared with", 0.0, 60.0, _60F)), "specific_gravity", "-", _specific_gravity, {"chemical": "H2SO4", "strength": "93 %"}, ("sg",)),
        Quantity("mass_concentration", "Mass per volume of solution", "Grams of pure substance per litre of solution.", group, (chemical, _STRENGTH, _AT_20), "dose", "g/L", _mass_per_volume, acid, ("grams_per_litre", "g_per_l", "mass_per_volume")),
        Quantity("mass_concentration_from_baume", "Mass per volume from degrees Baumé", "Grams of pure substance per litre at 60 °F; the strength is worked out unless given.", group, (chemical, _BAUME, given.strength("strength", optional=True)), "dose", "g/L", _mass_per_volume_baume, {"chemical": "HCl", "baume": "20"}, ("mass_per_volume_from_baume", "mass_per_volume_from_deg_baume", "hcl_mass_per_volume_from_deg_baume")),
        Quantity("amount_concentration", "Amount per volume of solution", "Moles of pure substance per litre of solution.", group, (chemical, _STRENGTH, _AT_20), "amount_concentration", "mol/L", _amount, {"chemical": "NaOH", "strength": "50 %"}, ("molarity", "mol_per_l")),
        Quantity("normality", "Equivalents per volume of solution", "Equivalents per litre of solution.", group, (chemical, _STRENGTH, _AT_20), "normality", "eq/L", _normality, {"chemical": "H2SO4", "strength": "4 %"}, ("eq_per_l", "equivalents_per_litre")),
        Quantity("strength_from_mass_concentration", "Strength from mass per volume", "Strength by weight of a solution whose grams per litre are known.", group, (chemical, given.number("mass_concentration", "mass of pure substance per volume of solution", "dose", "g/L", 0.0, 1000.0, None, ("concentration", "g_per_l", "mass_per_volume"), ranges={"hcl": (0.0, 479.0), "nacl": (0.0, 319.0), "naoh": (0.0, 782.0), "na2co3": (0.0, 173.0), "nh3": (0.0, 267.0)}), _AT_20), "strength", "%", _strength_from_mass, {"chemical": "NaCl", "mass_concentration": "317 g/L"}, ()),
        Quantity("density_slope", "Change of density with temperature", "Between two temperatures, for a solution of known strength.", group, (chemical, _STRENGTH, given.temperature("low", "lower temperature", 0.0, 100.0, "20 degC", ("from", "temperature_low", "t1")), given.temperature("high", "higher temperature", 0.0, 100.0, "40 degC", ("to", "temperature_high", "t2"))), "density_slope", "kg/m3/K", _slope, {"chemical": "NaOH", "strength": "50 %"}, ("temperature_slope_of_density",)),
        Quantity("solution_viscosity", "Viscosity of a solution", "Dynamic, from strength and temperature.", group, (chemical, _STRENGTH, _AT_20), "viscosity", "mPa.s", _viscosity, {"chemical": "NaOH", "strength": "30 %", "temperature": "20 degC"}, ("viscosity", "dynamic_viscosity_of_aqueous", "viscosity_of_solution", "dynamic_viscosity_of_solution")),
        Quantity("freezing_point", "Freezing point of a solution", "Where ice or crystals begin to form.", group, (chemical, _STRENGTH), "temperature", "degC", _freezing, {"chemical": "NaCl", "strength": "20 %"}, ("freezing", "crystallization_temperature")),
        Quantity("freezing_point_depression", "Freezing point depression", "Below that of water.", group, (chemical, _STRENGTH), "temperature_rise", "K", _depression, {"chemical": "NaCl", "strength": "20 %"}, ("freezing_point_depression_of_aqueous", "freezing_depression")),
    )  # fmt: skip
