"""Heat of dilution and of solution, the temperature of a blend, and what a heater must do."""

from __future__ import annotations

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Group, InputSpec, Quantity
from regenplant.core.engineering import heat, heating, solution_heats, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

_HEATED = ("hcl", "naoh", "h2so4")
_RATIO = InputSpec("ratio", "moles of water per mole of solute", "scalar", "-", 0.02, 20_000.0, None, True, aliases=("r", "mol_water", "water_ratio", "moles_of_water", "water_per_solute", "mol_water_per_mol", "n_water"), help="Give this or the strength.", ranges={"hcl": (1.0, 20_000.0), "naoh": (2.0, 20_000.0)})  # fmt: skip
_SOLUTION_STRENGTH = given.strength(
    "strength", "strength of the solution", 0.0, 1.0, "0 %", ranges=given.solution_ranges()
)
_STRENGTH = given.strength("strength", low=1e-4, high=0.998, optional=True, help="Give this or the moles of water per mole.", ranges={"hcl": (1e-4, 0.66), "naoh": (1e-4, 0.52)})  # fmt: skip
_STRONGER = "Stronger than the first row of the table, which is carried on: it may be 8 % off."


_REST_J_PER_MOL = {"hcl": 188.0}
"""What the table of HCl leaves from its last row, 5551 mol water per mol, to infinity: the row itself."""


def _strength_of(chemical: str, ratio: float | None, strength_frac: float | None) -> tuple[float, float]:
    if (ratio is None) == (strength_frac is None):
        raise OutOfRange("Give either the moles of water per mole or the strength.", code="one_of_two")
    molar = substance(chemical).molar_mass_kg_per_mol
    if ratio is not None:
        return ratio, molar / (molar + ratio * solution_heats.WATER_MOLAR_MASS_KG_PER_MOL)
    assert strength_frac is not None
    return solution_heats.water_per_solute(chemical, strength_frac), strength_frac


def _released(chemical: str, ratio: float | None, strength_frac: float | None) -> Estimate:
    r, strength = _strength_of(chemical, ratio, strength_frac)
    if chemical == "hcl":
        raise OutOfRange(
            "For hydrochloric acid the table is of the acid as it is in solution: ask for heat_of_dilution.",
            code="no_table",
        )
    state = {"naoh": "solid sodium hydroxide", "h2so4": "liquid sulfuric acid"}[chemical]
    return Estimate(
        "H_s", f"heat released on dissolving {state}", solution_heats.heat_released_j_per_mol(chemical, strength), "J/mol", "heat_per_amount",
        "table of integral heats of solution at r",
        (Input("r", "moles of water per mole", r, "dimensionless", "ratio"),),
        "table, smooth between its rows", _source(chemical), "25 °C", *_worth(chemical, strength),
    )  # fmt: skip


def _worth(chemical: str, strength_frac: float) -> tuple[tuple[str, ...], float]:
    """Warnings and relative uncertainty of a heat at this strength."""
    if solution_heats.is_within_heat_table(chemical, strength_frac):
        return (), solution_heats.TABLE_UNCERTAINTY_FRAC
    return (_STRONGER,), solution_heats.BELOW_TABLE_UNCERTAINTY_FRAC


def _source(chemical: str) -> str:
    return {"hcl": "parker", "naoh": "felder", "h2so4": "h2so4_enthalpy"}[chemical]


def _diluted(
    chemical: str,
    ratio: float | None,
    strength_frac: float | None,
    final_strength_frac: float | None,
) -> Estimate:
    """Heat released on diluting further, per mole; to infinity when no final strength is given."""
    r, strength = _strength_of(chemical, ratio, strength_frac)
    if final_strength_frac is not None:
        return solution_heats.heat_of_dilution(chemical, strength, final_strength_frac)
    end = 1e-4  # beyond the last row of every table
    last = solution_heats.heat_released_j_per_mol(chemical, end)
    before = solution_heats.heat_released_j_per_mol(chemical, strength)
    inputs: tuple[Input, ...] = (
        Input("H_2", "heat released up to the last row of the table", last, "J/mol", "heat_per_amount"),
        Input("H_1", f"heat released up to {r:.4g} mol water per mol", before, "J/mol", "heat_per_amount"),
    )
    rest = _REST_J_PER_MOL.get(chemical, 0.0)
    if rest:
        inputs = (*inputs, Input("H_3", "from the last row of the table to infinity", rest, "J/mol", "heat_per_amount"))  # fmt: skip
    return Estimate(
        "ΔH", "heat released on dilution to infinite dilution, per mole", last - before + rest, "J/mol", "heat_per_amount",
        "H_2 − H_1 + H_3" if rest else "H_2 − H_1", inputs, "difference of tabulated heats", _source(chemical), "25 °C", *_worth(chemical, strength),
    )  # fmt: skip


def _blend(
    chemical: str, stock_strength_frac: float, strength_frac: float, stock_temperature_kelvin: float, water_temperature_kelvin: float
) -> Estimate:  # fmt: skip
    return heat.blend_temperature(
        chemical, stock_strength_frac, stock_temperature_kelvin, strength_frac, water_temperature_kelvin
    )


def _water_needed(
    chemical: str, stock_strength_frac: float, strength_frac: float, stock_temperature_kelvin: float, target_kelvin: float
) -> Estimate:  # fmt: skip
    return heat.water_temperature_needed(
        chemical, stock_strength_frac, stock_temperature_kelvin, strength_frac, target_kelvin
    )


def _duty(flow_m3_per_s: float, from_kelvin: float, to_kelvin: float) -> Estimate:
    return heating.heating_duty(flow_m3_per_s * water.density_kg_per_m3(from_kelvin), from_kelvin, to_kelvin)


def _to_warm(
    mass_kg: float, from_kelvin: float, to_kelvin: float, chemical: str | None, strength_frac: float
) -> Estimate:  # fmt: skip
    return heating.heat_to_warm(mass_kg, from_kelvin, to_kelvin, chemical, strength_frac)


def _heater_time(
    mass_kg: float, from_kelvin: float, to_kelvin: float, chemical: str | None, strength_frac: float, power_watt: float, efficiency_frac: float
) -> Answer:  # fmt: skip
    needed = heating.heat_to_warm(mass_kg, from_kelvin, to_kelvin, chemical, strength_frac)
    return Answer(heating.heater_time(needed.value, power_watt, efficiency_frac), {"heat": needed})


def _reached(flow_m3_per_s: float, from_kelvin: float, power_watt: float) -> Estimate:
    return heating.temperature_reached(
        flow_m3_per_s * water.density_kg_per_m3(from_kelvin), from_kelvin, power_watt
    )


def _batch_heat(
    chemical: str, stock_strength_frac: float, strength_frac: float, chemical_mass_kg: float
) -> Estimate:
    return heat.heat_released(chemical, stock_strength_frac, strength_frac, chemical_mass_kg)


def _specific_heat(chemical: str, strength_frac: float) -> Estimate:
    value = solution_heats.heat_capacity_j_per_kg_k(chemical, strength_frac)
    is_fitted = solution_heats.is_within_heat_capacity_fit(chemical, strength_frac)
    warnings = () if is_fitted else ("Stronger than the specific heats were fitted to; it may be 5 % off.",)
    return Estimate(
        "c_p", f"specific heat of {substance(chemical).formula} solution", value, "J/(kg*kelvin)", "specific_heat",
        "table or correlation of specific heat at w", (Input("w", "strength by weight", strength_frac, "dimensionless", "strength"),),
        "read table (HCl), Laliberté (others)", "hcl_heat_capacity" if chemical == "hcl" else "laliberte", "near 25 °C", warnings, 0.02 if is_fitted else 0.05,
    )  # fmt: skip


def _ratio(chemical: str, strength_frac: float) -> Estimate:
    material = substance(chemical)
    return Estimate(
        "r", "moles of water per mole of solute", solution_heats.water_per_solute(chemical, strength_frac), "dimensionless", "ratio",
        "(1 − w) / w · M / M_w",
        (
            Input("w", "strength by weight", strength_frac, "dimensionless", "strength"),
            Input("M", f"molar mass of {material.formula}", material.molar_mass_kg_per_mol, "kg/mol"),
            Input("M_w", "molar mass of water", solution_heats.WATER_MOLAR_MASS_KG_PER_MOL, "kg/mol"),
        ),
        "definition", "mass_balance",
    )  # fmt: skip


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.HEAT
    blend_in = (
        given.chemical(),
        given.strength("stock_strength", "strength of the stock", 1e-4, 0.999, aliases=("stock", "initial_strength", "from_strength", "strength_before", "concentrated_strength"), ranges=given.solution_ranges(0.999, 1e-4)),
        given.strength("strength", "strength of the blend, at most that of the stock", 1e-4, 0.999, aliases=("final_strength", "blend_strength", "diluted_strength", "to_strength", "strength_after")),
        given.temperature("stock_temperature", "temperature of the stock", -10.0, 80.0, "20 degC", ("temperature_of_stock",)),
    )  # fmt: skip
    water_in = given.temperature("water_temperature", "temperature of the dilution water", 0.0, 95.0, "20 degC", ("dilution_water_temperature", "temperature_of_water"))  # fmt: skip
    heated = given.chemical(*_HEATED)
    flow = given.number(
        "flow", "flow of water", "flow", "L/min", 1e-8, 0.5, None, ("water_flow", "flow_rate")
    )
    ends = (
        given.temperature("from", "temperature before", 0.0, 95.0, None, ("from_temperature", "temperature_before", "supply_temperature", "t1", "inlet_temperature")),
        given.temperature("to", "temperature wanted", 0.0, 95.0, None, ("to_temperature", "temperature_after", "target", "target_temperature", "t2", "outlet_temperature")),
    )  # fmt: skip
    mass = given.number(
        "mass", "mass of water or solution", "mass", "kg", 1e-6, 200_000.0, None, ("water_mass",)
    )
    solution = InputSpec("chemical", "what it is a solution of", choices=given.chemical("hcl", "naoh", "h2so4", "nacl").choices, is_optional=True, help="Left out: water.")  # fmt: skip
    power = given.number("power", "power of the heater", "power", "kW", 1.0, 1e8, None, ("heater_power",))
    efficiency = given.number("efficiency", "share of the power that reaches the water", "fraction", "%", 0.3, 1.0, "100 %")  # fmt: skip
    return (
        Quantity("blend_temperature", "Temperature of a blend", "Temperature of a regenerant blended from stock and water, without loss of heat.", group, (*blend_in, water_in), "temperature", "degC", _blend, {"chemical": "NaOH", "stock_strength": "50 %", "strength": "4 %", "stock_temperature": "20 degC", "water_temperature": "20 degC"}, ("final_temperature", "final_temperature_of_adiabatic_dilution", "dilution_temperature", "adiabatic_dilution", "diluted_temperature")),
        Quantity("dilution_water_temperature", "Dilution water temperature needed", "How warm the dilution water must be for the blend to reach its target.", group, (*blend_in, given.temperature("target", "temperature wanted in the blend", 0.0, 95.0, None, ("target_temperature", "blend_temperature"))), "temperature", "degC", _water_needed, {"chemical": "NaOH", "stock_strength": "50 %", "strength": "4 %", "stock_temperature": "20 degC", "target": "45 degC"}, ("water_temperature_needed",)),
        Quantity("heat_of_solution", "Integral heat of solution", "Heat released on dissolving solid NaOH or liquid H2SO4 in water, per mole.", group, (given.chemical("naoh", "h2so4"), _RATIO, _STRENGTH), "heat_per_amount", "kJ/mol", _released, {"chemical": "NaOH", "ratio": "10"}, ("integral_heat_of_solution", "heat_released_on_solution"), one_of=(("ratio", "strength"),), see=("heat_of_dilution",)),
        Quantity("heat_of_dilution", "Heat of dilution", "Heat released on diluting a solution, per mole: to infinity, or to a final strength.", group, (heated, _RATIO, _STRENGTH, given.strength("final_strength", "strength after dilution", 1e-4, 0.999, optional=True, aliases=("to_strength", "strength_after"), help="Left out: to infinite dilution.")), "heat_per_amount", "kJ/mol", _diluted, {"chemical": "HCl", "ratio": "10"}, ("heat_of_dilution_to_infinity", "heat_released_on_dilution_to_infinity", "hcl_aq_heat_released_on_dilution_to_infinity"), one_of=(("ratio", "strength"),), see=("heat_of_solution", "heat_released")),
        Quantity("heating_duty", "Heating duty for water", "Heat flow that warms a flow of water.", group, (flow, *ends), "power", "kW", _duty, {"flow": "30 L/min", "from": "15 degC", "to": "45 degC"}, ("heater_power", "heat_flow")),
        Quantity("specific_heat", "Specific heat of a solution", "Near 25 °C.", group, (given.chemical("hcl", "naoh", "h2so4", "nacl"), given.strength("strength", ranges=given.solution_ranges())), "specific_heat", "kJ/(kg K)", _specific_heat, {"chemical": "HCl", "strength": "20 %"}, ("heat_capacity", "cp")),
        Quantity("water_per_solute", "Moles of water per mole of solute", "From the strength by weight.", group, (given.chemical(), given.strength("strength", low=1e-4, high=0.999)), "ratio", "-", _ratio, {"chemical": "NaOH", "strength": "50 %"}, ("mol_water_per_mol",)),
        Quantity("heat_to_warm", "Heat to warm water or a solution", "Heat that warms a mass.", group, (mass, *ends, solution, _SOLUTION_STRENGTH), "energy", "MJ", _to_warm, {"mass": "1000 kg", "from": "15 degC", "to": "45 degC"}, ("heating_energy",)),
        Quantity("heater_time", "Time a heater needs", "To warm a mass with a heater of given power.", group, (mass, *ends, solution, _SOLUTION_STRENGTH, power, efficiency), "duration", "min", _heater_time, {"mass": "1000 kg", "from": "15 degC", "to": "45 degC", "power": "30 kW"}, ("heating_time",)),
        Quantity("heater_outlet_temperature", "Temperature a heater reaches", "Running water in a heater of given power.", group, (flow, ends[0], power), "temperature", "degC", _reached, {"flow": "15 L/min", "from": "15 degC", "power": "30 kW"}),
        Quantity("heat_released", "Heat released by a dilution", "When a mass of chemical is diluted from one strength to another, at 25 °C.", group, (given.chemical("hcl", "naoh", "h2so4"), blend_in[1], blend_in[2], given.number("chemical_mass", "mass of chemical as 100 %", "mass", "kg", 1e-6, 200_000.0, None, ("mass", "solute_mass"))), "energy", "MJ", _batch_heat, {"chemical": "NaOH", "stock_strength": "50 %", "strength": "4 %", "chemical_mass": "100 kg"}),
    )  # fmt: skip
