"""Dose and dilution: from a dose per resin volume to what is drawn, blended and fed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Group, InputSpec, Quantity
from regenplant.core.engineering import ions, regenerants, solutions, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.substances import substance

_STOCK_DENSITY = given.number("stock_density", "density of the stock, if measured", "density", "kg/m3", 700.0, 2000.0, None, ("density_of_stock", "rho_stock"), True, "Left out, it is worked out from strength and temperature.")  # fmt: skip
_DILUTED_DENSITY = given.number("diluted_density", "density of the diluted regenerant, if measured", "density", "kg/m3", 700.0, 2000.0, None, ("density_diluted", "regenerant_density", "rho_diluted", "dilute_density"), True, "Left out, it is worked out from strength and temperature.")  # fmt: skip
_DILUTION = (
    given.chemical(),
    given.resin_volume(),
    given.DOSE,
    given.strength("stock_strength", "strength of the stock", 1e-4, 1.0, None, ("stock", "stock_concentration", "strength_of_stock", "concentrated_strength"), help="Beyond the ranges give the stock's density.", ranges=given.solution_ranges(1.0, 1e-4)),
    given.strength("strength", "strength of the diluted regenerant, at most that of the stock", 1e-5, 1.0, None, ("diluted_strength", "diluted", "regenerant_strength", "strength_diluted", "dilute_strength"), ranges=given.solution_ranges(1.0, 1e-5)),
    _STOCK_DENSITY,
    _DILUTED_DENSITY,
    given.temperature("stock_temperature", "temperature of the stock", 0.0, 60.0, "20 degC"),
    given.temperature("temperature", "temperature of the diluted regenerant", 0.0, 60.0, "20 degC", ("diluted_temperature",)),
    given.number("flow", "flow through the bed", "flow_bv_per_h", "BV/h", 0.01, 100.0, "4 BV/h", ("injection_flow", "flow_rate", "bv_per_h", "flow_bv", "rate", "specific_flow")),
)  # fmt: skip
_EXAMPLE = {"chemical": "HCl", "resin_volume": "100 L", "dose": "100 g/L", "stock_strength": "32 %", "strength": "5 %"}  # fmt: skip


def _density(chemical: str, strength_frac: float, kelvin: float, measured: float | None, symbol: str, name: str) -> Estimate:  # fmt: skip
    if measured is None:
        return solutions.solution_density(chemical, strength_frac, kelvin).named(symbol, name)
    return Estimate(
        symbol, name, measured, "kg/m^3", "density", "on record", (), "given", "plant_record", "as measured",
        _unlike(chemical, strength_frac, kelvin, measured, name),
    )  # fmt: skip


_UNLIKE_FRAC = 0.01


def _unlike(
    chemical: str, strength_frac: float, kelvin: float, measured: float, name: str
) -> tuple[str, ...]:
    """A word where the density given and the strength given do not belong together."""
    if not solutions.is_density_known(chemical, strength_frac, kelvin):
        return ()
    expected = solutions.density_kg_per_m3(chemical, strength_frac, kelvin)
    if abs(measured / expected - 1.0) <= _UNLIKE_FRAC:
        return ()
    formula = substance(chemical).formula
    return (
        f"The {name} is given as {measured:.5g} kg/m³; {formula} of {strength_frac * 100:.4g} % has {expected:.5g} kg/m³ at "
        f"{kelvin - 273.15:.3g} °C. Check density, strength and temperature.",
    )


def dilution_figures(
    chemical: str,
    resin_volume_m3: float,
    dose_kg_per_m3: float,
    stock_strength_frac: float | None,
    strength_frac: float | None,
    stock_density_kg_per_m3: float | None,
    diluted_density_kg_per_m3: float | None,
    stock_temperature_kelvin: float,
    temperature_kelvin: float,
    flow_bv_per_h: float,
) -> dict[str, Estimate]:
    """The figures of one dilution by key of their quantity; without a strength, those that need none of it."""
    mass = regenerants.dose_mass(chemical, resin_volume_m3, dose_kg_per_m3)
    of_the_dose = {
        "chemical_mass": mass,
        "equivalents_applied": ions.applied_equivalents(chemical, mass.value),
    }
    if stock_strength_frac is None:
        return of_the_dose
    stock = _density(
        chemical,
        stock_strength_frac,
        stock_temperature_kelvin,
        stock_density_kg_per_m3,
        "ρ_s",
        "density of the stock",
    )
    if strength_frac is None:
        return of_the_dose | _drawn(chemical, mass, stock_strength_frac, stock)
    diluted = _density(
        chemical,
        strength_frac,
        temperature_kelvin,
        diluted_density_kg_per_m3,
        "ρ_d",
        "density of the diluted regenerant",
    )
    found = regenerants.dilution(
        chemical,
        mass,
        stock_strength_frac,
        stock,
        strength_frac,
        diluted,
        water.water_density(temperature_kelvin),
    )
    flow = regenerants.flow_from_bed_volumes(resin_volume_m3, flow_bv_per_h)
    figures = {
        "chemical_mass": found.chemical_kg_100,
        "stock_mass": found.stock_kg,
        "stock_volume": found.stock_m3,
        "dilution_water_mass": found.water_kg,
        "dilution_water_volume": found.water_m3,
        "diluted_mass": found.diluted_kg,
        "diluted_volume": found.diluted_m3,
        "diluted_bed_volumes": regenerants.bed_volumes(found.diluted_m3, resin_volume_m3),
        "contact_time": regenerants.duration(found.diluted_m3, flow, "contact time"),
        "equivalents_applied": found.applied_eq,
    }  # fmt: skip
    resting = {
        "stock_volume": stock,
        "diluted_volume": diluted,
        "diluted_bed_volumes": diluted,
        "contact_time": diluted,
    }
    return figures | {key: _resting_on(figures[key], density) for key, density in resting.items()}


def _drawn(chemical: str, mass: Estimate, stock_strength_frac: float, stock: Estimate) -> dict[str, Estimate]:
    """What is drawn of the stock, which does not hang on how thin it is made: any thinner solution does for the balance."""
    half = stock_strength_frac / 2.0
    found = regenerants.blend(chemical, mass, stock_strength_frac, stock, half, stock, stock)
    return {"stock_mass": found.stock_kg, "stock_volume": _resting_on(found.stock_m3, stock)}


def _resting_on(figure: Estimate, density: Estimate) -> Estimate:
    """A volume with what the density it was worked out from is worth, and what is to be said of it."""
    warnings = tuple(dict.fromkeys((*figure.warnings, *density.warnings)))
    return replace(figure, warnings=warnings, uncertainty_frac=density.uncertainty_frac)


def _one(key: str) -> Callable[..., Answer]:
    def work_out(**values: float) -> Answer:
        figures = dilution_figures(**values)  # type: ignore[arg-type]
        return Answer(figures[key], {name: figure for name, figure in figures.items() if name != key})

    return work_out


_OF_THE_DOSE, _OF_THE_STOCK = ("chemical_mass", "equivalents_applied"), ("stock_mass", "stock_volume")


def _inputs_of(key: str) -> tuple[InputSpec, ...]:
    """What a figure needs; the rest of the dilution may be given with it."""
    idle = (
        {"stock_strength", "strength"}
        if key in _OF_THE_DOSE
        else {"strength"}
        if key in _OF_THE_STOCK
        else set()
    )
    return tuple(replace(spec, is_optional=True) if spec.name in idle else spec for spec in _DILUTION)


_OUTPUTS = (
    ("chemical_mass", "Mass of chemical as 100 %", "mass", "kg", ("mass_of_100_percent_chemical", "chemical_mass_100", "mass_100", "pure_mass", "mass_of_chemical")),
    ("stock_mass", "Mass of stock to draw", "mass", "kg", ("mass_of_stock",)),
    ("stock_volume", "Volume of stock to draw", "liquid_volume", "L", ("volume_of_stock",)),
    ("dilution_water_mass", "Mass of dilution water", "mass", "kg", ("mass_of_dilution_water", "water_mass", "dilution_water")),
    ("dilution_water_volume", "Volume of dilution water", "liquid_volume", "L", ("volume_of_dilution_water", "water_volume")),
    ("diluted_mass", "Mass of diluted regenerant", "mass", "kg", ("mass_of_diluted_regenerant",)),
    ("diluted_volume", "Volume of diluted regenerant", "liquid_volume", "L", ("volume_of_diluted_regenerant", "regenerant_volume", "dilution")),
    ("diluted_bed_volumes", "Bed volumes of diluted regenerant", "bed_volumes", "BV", ("bed_volumes_of_diluted_regenerant", "bed_volumes", "regenerant_bed_volumes")),
    ("contact_time", "Contact time of the injection", "duration", "min", ("injection_time", "contact_time_at_flow", "regenerant_contact_time")),
    ("equivalents_applied", "Equivalents of regenerant applied", "equivalents", "eq", ("applied_equivalents", "regenerant_equivalents")),
)  # fmt: skip


def _dose_equivalents(chemical: str, dose_kg_per_m3: float) -> Estimate:
    material = substance(chemical)
    weight = material.equivalent_weight_kg_per_eq
    return Estimate(
        "c_q", f"equivalents of {material.formula} per resin volume", dose_kg_per_m3 / weight, "eq/m^3", "capacity",
        "q / EW",
        (Input("q", "dose as 100 %", dose_kg_per_m3, "kg/m^3", "dose"), Input("EW", f"equivalent weight of {material.formula}", weight, "kg/eq", "equivalent_weight")),
        "equivalents from molar mass and charge", "equivalents", "pure substance; the dose is counted as 100 %",
    )  # fmt: skip


def _dose_from_equivalents(chemical: str, equivalents_eq_per_m3: float) -> Estimate:
    material = substance(chemical)
    weight = material.equivalent_weight_kg_per_eq
    return Estimate(
        "q", f"dose of {material.formula} as 100 %", equivalents_eq_per_m3 * weight, "kg/m^3", "dose", "c_q · EW",
        (Input("c_q", "equivalents per resin volume", equivalents_eq_per_m3, "eq/m^3", "capacity"), Input("EW", f"equivalent weight of {material.formula}", weight, "kg/eq", "equivalent_weight")),
        "equivalents from molar mass and charge", "equivalents",
    )  # fmt: skip


def _mass_equivalents(chemical: str, mass_kg: float) -> Estimate:
    return ions.applied_equivalents(chemical, mass_kg)


def _flow(resin_volume_m3: float, flow_bv_per_h: float) -> Estimate:
    return regenerants.flow_from_bed_volumes(resin_volume_m3, flow_bv_per_h)


def _dilution_ratio(stock_strength_frac: float, strength_frac: float, diluted_mass_kg: float) -> Answer:
    stock = Estimate(
        "m_s", "stock to draw", diluted_mass_kg * strength_frac / stock_strength_frac, "kg", "mass", "m_d · w / w_s",
        (Input("m_d", "diluted solution wanted", diluted_mass_kg, "kg", "mass"), Input("w", "strength wanted", strength_frac, "dimensionless", "strength"), Input("w_s", "strength of the stock", stock_strength_frac, "dimensionless", "strength")),
        "mass balance", "mass_balance",
    )  # fmt: skip
    water_kg = Estimate(
        "m_w", "water to add", diluted_mass_kg - stock.value, "kg", "mass", "m_d − m_s",
        (stock.inputs[0], stock.as_input()), "mass balance", "mass_balance", "acid and caustic into the water, never the other way",
    )  # fmt: skip
    return Answer(stock, {"water_mass": water_kg})


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    volume = InputSpec("equivalents", "equivalents per resin volume", "capacity", "eq/L", 1e-3, 10_000.0, aliases=("eq_per_l", "dose_equivalents"))  # fmt: skip
    return (
        *(
            Quantity(key, title, f"{title} for a dose, drawn from a stock and diluted by mass.", Group.DOSE, _inputs_of(key), kind, unit, _one(key), _EXAMPLE, aliases)
            for key, title, kind, unit, aliases in _OUTPUTS
        ),
        Quantity(
            "dose_equivalents", "Equivalents of a dose", "A regeneration level in equivalents per litre of resin.", Group.DOSE,
            (given.chemical(), given.DOSE), "capacity", "eq/L", _dose_equivalents, {"chemical": "HCl", "dose": "6 lb/ft3"},
            ("regenerant_dose_to_eq_per_litre_resin", "dose_to_equivalents", "regenerant_equivalents_per_litre", "dose_eq_per_l", "regenerant_dose_equivalents"),
        ),
        Quantity(
            "dose_from_equivalents", "Dose from equivalents", "The dose as 100 % that brings a number of equivalents per litre of resin.", Group.DOSE,
            (given.chemical(), volume), "dose", "g/L", _dose_from_equivalents, {"chemical": "NaOH", "equivalents": "2.4 eq/L"},
        ),
        Quantity(
            "mass_equivalents", "Equivalents in a mass", "Equivalents in a mass of regenerant counted as 100 %.", Group.DOSE,
            (given.chemical(), given.number("mass", "mass as 100 %", "mass", "kg", 1e-6, 200_000.0)), "equivalents", "eq", _mass_equivalents,
            {"chemical": "H2SO4", "mass": "10 kg"},
        ),
        Quantity(
            "injection_flow", "Flow from bed volumes per hour", "The flow that passes a number of bed volumes per hour.", Group.DOSE,
            (given.resin_volume(), _DILUTION[-1]), "flow", "L/min", _flow, {"resin_volume": "100 L", "flow": "4 BV/h"}, ("flow_from_bed_volumes",),
        ),
        Quantity(
            "dilution_by_mass", "Stock and water for a diluted mass", "How much stock and water make a mass of diluted solution.", Group.DOSE,
            (_DILUTION[3], _DILUTION[4], given.number("diluted_mass", "mass of diluted solution wanted", "mass", "kg", 1e-6, 200_000.0)),
            "mass", "kg", _dilution_ratio, {"stock_strength": "50 %", "strength": "4 %", "diluted_mass": "500 kg"}, ("mix", "make_up"),
        ),
    )  # fmt: skip
