"""Backwash, settling and pressure drop of a resin bed."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Group, InputSpec, Quantity
from regenplant.core.engineering import beds, hydraulics, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive

_T = given.temperature("temperature", "water temperature", 0.0, 100.0)
_BEAD = (given.bead_diameter(), given.bead_density(), given.VOID)
_CATION = {"bead_diameter": "0.65 mm", "bead_density": "1280 kg/m3", "temperature": "10 degC"}


def _bead(bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float) -> hydraulics.Bead:
    return hydraulics.Bead(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac)


def _expansion(
    bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float, velocity_m_per_s: float, temperature_kelvin: float
) -> Estimate:  # fmt: skip
    bead = _bead(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac)
    return hydraulics.expansion_at_velocity(bead, velocity_m_per_s, temperature_kelvin)


def _velocity(
    bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float, expansion_frac: float, temperature_kelvin: float
) -> Estimate:  # fmt: skip
    bead = _bead(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac)
    return hydraulics.velocity_for_expansion(bead, expansion_frac, temperature_kelvin)


def _velocity_50(
    bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float, temperature_kelvin: float
) -> Estimate:  # fmt: skip
    return _velocity(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac, 0.5, temperature_kelvin)


def _velocity_75(
    bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float, temperature_kelvin: float
) -> Estimate:  # fmt: skip
    return _velocity(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac, 0.75, temperature_kelvin)


def _flow(
    bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float, expansion_frac: float, temperature_kelvin: float,
    internal_diameter_m: float,
) -> Answer:  # fmt: skip
    velocity = _velocity(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac, expansion_frac, temperature_kelvin)  # fmt: skip
    return Answer(beds.flow_at_velocity(velocity, internal_diameter_m), {"velocity": velocity})


def _minimum(
    bead_diameter_m: float, bead_density_kg_per_m3: float, settled_void_frac: float, temperature_kelvin: float
) -> Estimate:  # fmt: skip
    bead = _bead(bead_diameter_m, bead_density_kg_per_m3, settled_void_frac)
    return hydraulics.minimum_fluidization_velocity(bead, temperature_kelvin)


def terminal_velocity(bead_diameter_m: float, bead_density_kg_per_m3: float, temperature_kelvin: float, sign: str = "") -> Estimate:  # fmt: skip
    """Settling velocity of one bead in still water, with its working."""
    bead = hydraulics.Bead(bead_diameter_m, bead_density_kg_per_m3)
    end = f"_{sign[0]}" if sign else ""
    return Estimate(
        f"u_t{end[1:]}", f"terminal velocity of a {sign + ' ' if sign else ''}bead",
        hydraulics.terminal_velocity_m_per_s(bead, temperature_kelvin), "m/s", "velocity",
        "solve u² = 4 · g · d · (ρ_p − ρ) / (3 · C_D(Re) · ρ) for u",
        (
            Input(f"d{end}", "bead diameter", bead_diameter_m, "m", "bead_diameter"), Input(f"ρ_p{end[1:]}", "wet density of the bead", bead_density_kg_per_m3, "kg/m^3", "density"),
            Input("ρ", "density of the water", water.density_kg_per_m3(temperature_kelvin), "kg/m^3", "density"),
            Input("µ", "viscosity of the water", water.viscosity_pascal_s(temperature_kelvin), "pascal*s", "viscosity"),
        ),
        "balance of weight and drag on a sphere", "richardson_zaki", "single smooth sphere in still water", (), 0.08,
    )  # fmt: skip


def _settling_time(bead_diameter_m: float, bead_density_kg_per_m3: float, temperature_kelvin: float, depth_m: float) -> Answer:  # fmt: skip
    velocity = terminal_velocity(bead_diameter_m, bead_density_kg_per_m3, temperature_kelvin)
    time = Estimate(
        "t", "time a single bead needs to fall", depth_m / velocity.value, "s", "duration", "h / u_t",
        (Input("h", "height of fall", depth_m, "m", "length"), velocity.as_input()), "terminal velocity", velocity.source,
        "a single bead; a dense bed settles more slowly", (), 0.1,
    )  # fmt: skip
    return Answer(time, {"terminal_velocity": velocity})


def _ratio(
    cation_bead_diameter_m: float, cation_bead_density_kg_per_m3: float, anion_bead_diameter_m: float, anion_bead_density_kg_per_m3: float,
    temperature_kelvin: float,
) -> Answer:  # fmt: skip
    cation = terminal_velocity(
        cation_bead_diameter_m, cation_bead_density_kg_per_m3, temperature_kelvin, "cation"
    )
    anion = terminal_velocity(
        anion_bead_diameter_m, anion_bead_density_kg_per_m3, temperature_kelvin, "anion"
    )
    warnings = ()
    if cation.value < 1.5 * anion.value:
        warnings = ("Cation and anion beads settle too much alike to separate well.",)  # type: ignore[assignment]
    ratio = Estimate(
        "R", "ratio of terminal velocities, cation over anion", cation.value / anion.value, "dimensionless", "ratio",
        f"{cation.symbol} / {anion.symbol}", (cation.as_input(), anion.as_input()), "terminal velocities of single beads",
        cation.source, "one size of each; use the separation for beds with spread", warnings, 0.08,
    )  # fmt: skip
    return Answer(ratio, {"cation_terminal_velocity": cation, "anion_terminal_velocity": anion})


def _archimedes(bead_diameter_m: float, bead_density_kg_per_m3: float, temperature_kelvin: float) -> Estimate:
    bead = hydraulics.Bead(bead_diameter_m, bead_density_kg_per_m3)
    rho, mu = water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin)
    return Estimate(
        "Ar", "Archimedes number", hydraulics.archimedes(bead, temperature_kelvin), "dimensionless", "scalar",
        "d^3 · ρ · (ρ_p − ρ) · g / µ^2",
        (
            Input("d", "bead diameter", bead_diameter_m, "m", "bead_diameter"), Input("ρ", "density of the water", rho, "kg/m^3", "density"),
            Input("ρ_p", "wet density of the bead", bead_density_kg_per_m3, "kg/m^3", "density"), Input("g", "standard gravity", water.STANDARD_GRAVITY, "m/s^2"),
            Input("µ", "viscosity of the water", mu, "pascal*s", "viscosity"),
        ),
        "definition", "richardson_zaki",
    )  # fmt: skip


def _gradient(bead_diameter_m: float, settled_void_frac: float, velocity_m_per_s: float, temperature_kelvin: float) -> Estimate:  # fmt: skip
    return _drop(
        bead_diameter_m, settled_void_frac, velocity_m_per_s, temperature_kelvin, 1.0, is_gradient=True
    )


def _drop(
    bead_diameter_m: float, settled_void_frac: float, velocity_m_per_s: float, temperature_kelvin: float, depth_m: float, is_gradient: bool = False
) -> Estimate:  # fmt: skip
    require_positive(velocity_m_per_s, "flow on the bed", "m/s")
    bead = hydraulics.Bead(bead_diameter_m, 1280.0, settled_void_frac)
    velocity = Estimate(
        "u", "flow on the bed", velocity_m_per_s, "m/s", "velocity", "set point", (), "given", "recipe"
    )
    depth = Estimate("h", "settled bed depth", depth_m, "m", "length", "set point", (), "given", "recipe")
    found = hydraulics.pressure_drop(bead, velocity, depth, temperature_kelvin)
    if not is_gradient:
        return found
    return Estimate(
        "Δp/h", "pressure drop per depth of a clean bed", found.value, "pascal/m", "pressure_gradient",
        "150 · µ · u · (1 − ε_0)^2 / (d^2 · ε_0^3) + 1.75 · ρ_w · u^2 · (1 − ε_0) / (d · ε_0^3)",
        tuple(entry for entry in found.inputs if entry.symbol != "h"), found.method, found.source, found.valid, found.warnings,
        found.uncertainty_frac,
    )  # fmt: skip


def _reynolds(bead_diameter_m: float, settled_void_frac: float, velocity_m_per_s: float, temperature_kelvin: float) -> Estimate:  # fmt: skip
    rho, mu = water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin)
    return Estimate(
        "Re", "Reynolds number of the packed bed", bead_diameter_m * velocity_m_per_s * rho / (mu * (1.0 - settled_void_frac)), "dimensionless", "scalar",
        "d · u · ρ / (µ · (1 − ε_0))",
        (
            Input("d", "bead diameter", bead_diameter_m, "m", "bead_diameter"), Input("u", "flow on the bed", velocity_m_per_s, "m/s", "velocity"),
            Input("ρ", "density of the water", rho, "kg/m^3", "density"), Input("µ", "viscosity of the water", mu, "pascal*s", "viscosity"),
            Input("ε_0", "void fraction of the settled bed", settled_void_frac, "dimensionless", "fraction"),
        ),
        "definition", "ergun",
    )  # fmt: skip


def _depth(resin_volume_m3: float, internal_diameter_m: float) -> Estimate:
    return beds.bed_depth(resin_volume_m3, internal_diameter_m)


def _linear_velocity(flow_m3_per_s: float, internal_diameter_m: float) -> Estimate:
    flow = Estimate("q", "flow", flow_m3_per_s, "m^3/s", "flow", "set point", (), "given", "recipe")
    return beds.linear_velocity(flow, internal_diameter_m)


def _flow_at(velocity_m_per_s: float, internal_diameter_m: float) -> Estimate:
    velocity = Estimate(
        "u", "flow on the bed", velocity_m_per_s, "m/s", "velocity", "set point", (), "given", "recipe"
    )
    return beds.flow_at_velocity(velocity, internal_diameter_m)


def _expanded(depth_m: float, expansion_frac: float) -> Estimate:
    depth = Estimate("h", "settled bed depth", depth_m, "m", "length", "set point", (), "given", "recipe")
    expansion = Estimate("E", "bed expansion", expansion_frac, "dimensionless", "fraction", "set point", (), "given", "recipe")  # fmt: skip
    return beds.expanded_height(depth, expansion)


def _cylinder(internal_diameter_m: float, depth_m: float) -> Estimate:
    area = beds.cross_section_m2(internal_diameter_m)
    return Estimate(
        "V", "volume of the cylinder", area * depth_m, "m^3", "resin_volume", "π · D^2 / 4 · h",
        (Input("D", "internal diameter", internal_diameter_m, "m", "length"), Input("h", "height", depth_m, "m", "length")),
        "geometry", "geometry", "straight cylinder, without heads",
    )  # fmt: skip


def quantities() -> tuple[Quantity, ...]:
    """Backwash, settling and pressure drop of one resin."""
    expansion_in = (*_BEAD, given.VELOCITY, _T)
    cation_anion = (given.bead_diameter("cation_"), given.bead_density("cation_"), given.bead_diameter("anion_"), given.bead_density("anion_"), _T)  # fmt: skip
    packed = (given.bead_diameter(), given.VOID, replace(given.VELOCITY, low=1e-6), _T)
    flow_in = given.number("flow", "flow", "flow", "L/min", 0.0, 0.5, None, ("flow_rate", "q"))
    height = InputSpec(
        "depth", "height of fall", "length", "m", 0.001, 20.0, aliases=("height", "h", "distance")
    )
    backwash, settling, pressure = Group.BACKWASH, Group.SETTLING, Group.PRESSURE
    return (
        Quantity("bed_expansion", "Bed expansion", "Expansion of a backwashed bed at a flow and water temperature.", backwash, expansion_in, "fraction", "%", _expansion, {**_CATION, "velocity": "12.5 m/h"}, ("backwash_bed_expansion", "expansion", "backwash_expansion"), see=("population_expansion",)),
        Quantity("velocity_for_expansion", "Backwash flow for an expansion", "Superficial velocity that expands the bed to a target.", backwash, (*_BEAD, given.EXPANSION, _T), "velocity", "m/h", _velocity, {**_CATION, "expansion": "50 %"}, ("backwash_velocity", "superficial_velocity_for_expansion"), see=("population_velocity", "recommended_backwash")),
        Quantity("velocity_for_50_percent_expansion", "Backwash flow for 50 % expansion", "Superficial velocity that expands the bed by half.", backwash, (*_BEAD, _T), "velocity", "m/h", _velocity_50, _CATION, ("superficial_velocity_for_50_expansion", "velocity_for_50_expansion", "superficial_velocity_for_50_percent_expansion", "velocity_50")),
        Quantity("velocity_for_75_percent_expansion", "Backwash flow for 75 % expansion", "Superficial velocity that expands the bed by three quarters.", backwash, (*_BEAD, _T), "velocity", "m/h", _velocity_75, _CATION, ("superficial_velocity_for_75_expansion", "velocity_for_75_expansion", "superficial_velocity_for_75_percent_expansion", "velocity_75")),
        Quantity("backwash_flow", "Backwash flow of a vessel", "Volume flow that expands the bed of a vessel to a target.", backwash, (*_BEAD, given.EXPANSION, _T, given.DIAMETER), "flow", "L/min", _flow, {**_CATION, "internal_diameter": "0.9 m"}),
        Quantity("minimum_fluidization_velocity", "Minimum fluidization velocity", "Superficial velocity at which the bed begins to move (Wen and Yu).", backwash, (*_BEAD, _T), "velocity", "m/h", _minimum, _CATION, ("minimum_fluidisation_velocity", "minimum_fluidisation", "minimum_fluidization", "minimum_fluidisation_velocity_wen_yu", "u_mf", "umf")),
        Quantity("expanded_height", "Height of an expanded bed", "Settled depth and expansion.", backwash, (given.DEPTH, given.EXPANSION), "length", "m", _expanded, {"depth": "1.2 m", "expansion": "60 %"}),
        Quantity("bed_depth", "Bed depth", "Depth of a resin volume in a vessel.", backwash, (given.resin_volume(), given.DIAMETER), "length", "m", _depth, {"resin_volume": "500 L", "internal_diameter": "0.8 m"}),
        Quantity("linear_velocity", "Flow on the bed", "Superficial velocity of a flow in a vessel.", backwash, (flow_in, given.DIAMETER), "velocity", "m/h", _linear_velocity, {"flow": "100 L/min", "internal_diameter": "0.8 m"}, ("superficial_velocity", "surface_loading")),
        Quantity("flow_at_velocity", "Flow at a velocity", "Volume flow of a superficial velocity in a vessel.", backwash, (given.VELOCITY, given.DIAMETER), "flow", "L/min", _flow_at, {"velocity": "12 m/h", "internal_diameter": "0.8 m"}),
        Quantity("cylinder_volume", "Volume of a cylinder", "Gross volume of a straight tank shell.", backwash, (given.DIAMETER, given.DEPTH), "resin_volume", "L", _cylinder, {"internal_diameter": "14 in", "depth": "47 in"}, ("tank_volume", "gross_cylinder_volume")),
        Quantity("terminal_velocity", "Terminal velocity of a bead", "Settling velocity of a single bead in still water.", settling, (given.bead_diameter(), given.bead_density(), _T), "velocity", "m/h", _terminal, _CATION, ("settling_velocity", "terminal_velocity_of_a_single_bead", "terminal_velocity_of_single_bead", "u_t", "ut")),
        Quantity("terminal_velocity_ratio", "Ratio of terminal velocities", "Cation over anion bead: how well a mixed bed separates.", settling, cation_anion, "ratio", "-", _ratio, {"cation_bead_diameter": "0.65 mm", "cation_bead_density": "1280 kg/m3", "anion_bead_diameter": "0.6 mm", "anion_bead_density": "1080 kg/m3", "temperature": "20 degC"}, ("ratio_of_terminal_velocities", "ratio_of_terminal_velocities_cation_anion", "separation_ratio", "velocity_ratio")),
        Quantity("settling_time", "Time for a bead to settle", "A single bead falling a height in still water.", settling, (given.bead_diameter(), given.bead_density(), _T, height), "duration", "min", _settling_time, {**_CATION, "depth": "1.5 m"}),
        Quantity("archimedes_number", "Archimedes number", "Of a bead in water.", settling, (given.bead_diameter(), given.bead_density(), _T), "scalar", "-", _archimedes, _CATION, ("archimedes", "ar")),
        Quantity("pressure_drop_per_depth", "Pressure drop per depth", "Clean packed bed, Ergun.", pressure, packed, "pressure_gradient", "kPa/m", _gradient, {"bead_diameter": "0.65 mm", "velocity": "40 m/h", "temperature": "15 degC"}, ("pressure_gradient", "clean_packed_bed_pressure_drop_per_metre", "ergun", "pressure_drop_per_metre", "pressure_drop_per_meter", "clean_packed_bed_pressure_drop_per_metre_ergun")),
        Quantity("pressure_drop", "Pressure drop over a bed", "Clean settled bed of a depth, Ergun.", pressure, (*packed, given.DEPTH), "pressure", "kPa", _drop, {"bead_diameter": "0.65 mm", "velocity": "40 m/h", "temperature": "15 degC", "depth": "1.2 m"}, ("bed_pressure_drop", "headloss")),
        Quantity("reynolds_number", "Reynolds number of a packed bed", "With the bead diameter and 1 less the void fraction.", pressure, packed, "scalar", "-", _reynolds, {"bead_diameter": "0.65 mm", "velocity": "40 m/h", "temperature": "15 degC"}),
    )  # fmt: skip


def _terminal(bead_diameter_m: float, bead_density_kg_per_m3: float, temperature_kelvin: float) -> Estimate:
    return terminal_velocity(bead_diameter_m, bead_density_kg_per_m3, temperature_kelvin)
