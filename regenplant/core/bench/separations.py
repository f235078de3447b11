"""Beds of many bead sizes: recommended backwash, carry-over, and the separation of a mixed bed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Group, InputSpec, Quantity
from regenplant.core.engineering import air_mix, backwash, backwash_flow, fluidization, packed_bed, separation
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate, Input

_T = given.temperature("temperature", "water temperature", 0.0, 60.0)


def _spread(prefix: str = "") -> tuple[InputSpec, InputSpec]:
    of = prefix.replace("_", " ").strip()
    return (
        given.number(f"{prefix}diameter_spread", f"{of} spread of the diameter (standard deviation over mean)".strip(), "fraction", "%", 0.0, 0.6, "15 %", (f"{prefix}spread",)),
        given.number(f"{prefix}density_spread", f"{of} spread of the density (standard deviation)".strip(), "density_difference", "kg/m3", 0.0, 60.0, "5 kg/m3"),
    )  # fmt: skip


_LEAST_M_PER_S = 1e-6
_POPULATION = (given.bead_diameter(), given.bead_density(), *_spread(), given.VOID)


def _beads(values: dict[str, Any], prefix: str = "") -> BeadPopulation:
    return BeadPopulation(
        values[f"{prefix}bead_diameter_m"],
        values[f"{prefix}diameter_spread_frac"],
        values[f"{prefix}bead_density_kg_per_m3"],
        values[f"{prefix}density_spread"],
        values.get("settled_void_frac", 0.38),
    )


def _recommended(
    depth_m: float, straight_height_m: float, expansion_frac: float, keep_free_frac: float, temperature_kelvin: float, **values: Any
) -> Answer:  # fmt: skip
    flows = backwash_flow.backwash_flows(
        _beads(values), depth_m, straight_height_m, temperature_kelvin, expansion_frac, keep_free_frac
    )
    others = {"by_target": flows.by_target, "by_height": flows.by_height, "by_carry_over": flows.by_carry_over, "expansion": flows.expansion}  # fmt: skip
    return Answer(flows.recommended, others)


def _expansion(velocity_m_per_s: float, temperature_kelvin: float, **values: Any) -> Estimate:
    return backwash.expansion_of_population(_beads(values), velocity_m_per_s, temperature_kelvin)


def _velocity(expansion_frac: float, temperature_kelvin: float, **values: Any) -> Estimate:
    return backwash.velocity_for_population(_beads(values), expansion_frac, temperature_kelvin)


def _carry_velocity(share_frac: float, temperature_kelvin: float, **values: Any) -> Estimate:
    return backwash.carry_over_velocity(_beads(values), temperature_kelvin, share_frac)


def _carry_risk(velocity_m_per_s: float, temperature_kelvin: float, **values: Any) -> Estimate:
    return backwash.carry_over_risk(_beads(values), velocity_m_per_s, temperature_kelvin)


def _settling(depth_m: float, velocity_m_per_s: float, temperature_kelvin: float, **values: Any) -> Estimate:
    return backwash.settling_time(_beads(values), depth_m, velocity_m_per_s, temperature_kelvin)


_MIXED = (
    given.bead_diameter("cation_"), given.bead_density("cation_"), *_spread("cation_"),
    given.bead_diameter("anion_"), given.bead_density("anion_"), *_spread("anion_"),
    given.number("cation_volume", "settled volume of the cation resin", "resin_volume", "L", 1e-6, 50.0),
    given.number("anion_volume", "settled volume of the anion resin", "resin_volume", "L", 1e-6, 50.0),
    given.DIAMETER,
    given.number("expansion", "expansion of the anion resin", "fraction", "%", 0.05, 2.0, None, ("anion_expansion", "bed_expansion"), True, "Give this or the flow; neither: 60 %."),
    given.number("velocity", "flow on the bed", "velocity", "m/h", 0.0, 0.1, None, ("u", "superficial_velocity", "backwash_velocity"), True),
    given.number("cut", "share of the bed taken out around the interface", "fraction", "%", 0.0, 0.5, "0 %", ("interface_cut", "cut_fraction")),
    _T,
)  # fmt: skip
_MIXED_EXAMPLE = {
    "cation_bead_diameter": "0.65 mm", "cation_bead_density": "1280 kg/m3", "anion_bead_diameter": "0.6 mm", "anion_bead_density": "1080 kg/m3",
    "cation_volume": "400 L", "anion_volume": "600 L", "internal_diameter": "0.8 m", "expansion": "75 %", "temperature": "15 degC",
}  # fmt: skip


def separation_figures(values: dict[str, Any]) -> dict[str, Estimate]:
    """All figures of one separation by key of their quantity; at 60 % expansion where neither that nor a flow is given."""
    expansion = values["expansion_frac"]
    found = separation.predict(
        separation.SeparationCase(
            cation=_beads(values, "cation_"),
            anion=_beads(values, "anion_"),
            cation_m3=values["cation_volume_m3"],
            anion_m3=values["anion_volume_m3"],
            internal_diameter_m=values["internal_diameter_m"],
            temperature_kelvin=values["temperature_kelvin"],
            expansion_frac=0.6 if expansion is None and values["velocity_m_per_s"] is None else expansion,
            velocity_m_per_s=values["velocity_m_per_s"],
        )
    )
    figures = {
        "separation_velocity": found.velocity,
        "separation_velocity_ratio": found.velocity_ratio,
        "interface_height": found.interface_height,
        "separation_expanded_height": found.expanded_height,
        "separation_overlap": found.overlap_frac,
        "cation_in_anion": found.cation_in_anion_frac,
        "anion_in_cation": found.anion_in_cation_frac,
        "separation_settling_time": found.settling_time,
    }
    if values["cut_frac"] > 0.0:
        after = separation.after_cut(found, values["cut_frac"])
        figures |= {
            "cation_in_anion": after.cation_in_anion_frac,
            "anion_in_cation": after.anion_in_cation_frac,
        }
    return figures


def _one(key: str) -> Callable[..., Answer]:
    def work_out(**values: Any) -> Answer:
        figures = separation_figures(values)
        return Answer(figures[key], {name: figure for name, figure in figures.items() if name != key})

    return work_out


_SEPARATED = (
    ("separation_velocity", "Separation flow of a mixed bed", "velocity", "m/h", ()),
    ("separation_velocity_ratio", "Separation: ratio of settling velocities", "ratio", "-", ()),
    ("interface_height", "Interface height after separation", "length", "m", ("interface",)),
    ("separation_expanded_height", "Expanded height during separation", "length", "m", ()),
    ("separation_overlap", "Overlap of the separated resins", "fraction", "%", ("overlap",)),
    ("cation_in_anion", "Cation resin left in the anion resin", "fraction", "%", ("cross_contamination", "cation_in_anion_fraction")),
    ("anion_in_cation", "Anion resin left in the cation resin", "fraction", "%", ("anion_in_cation_fraction",)),
    ("separation_settling_time", "Settling time after separation", "duration", "min", ()),
)  # fmt: skip


def _floating(
    bead_density_kg_per_m3: float, density_spread: float, fluid_density_kg_per_m3: float
) -> Estimate:
    population = BeadPopulation(0.0006, 0.0, bead_density_kg_per_m3, density_spread)
    return Estimate(
        "x_f", "share of the beads that float", separation.sink_or_float(population, fluid_density_kg_per_m3), "dimensionless", "fraction",
        "table of the normal distribution at (ρ_f − ρ_p) / σ",
        (
            Input("ρ_f", "density of the fluid", fluid_density_kg_per_m3, "kg/m^3", "density"), Input("ρ_p", "mean wet density of the beads", bead_density_kg_per_m3, "kg/m^3", "density"),
            Input("σ", "spread of the density", density_spread, "kg/m^3", "density_difference"),
        ),
        "normal distribution of bead densities", "lognormal_beads", "beads at rest", uncertainty_frac=0.1,
    )  # fmt: skip


def _two_drops(depth_m: float, velocity_m_per_s: float, temperature_kelvin: float, bead_diameter_m: float, settled_void_frac: float) -> Answer:  # fmt: skip
    bead = fluidization.Bead(bead_diameter_m, 1280.0, settled_void_frac)
    velocity = Estimate(
        "u", "flow on the bed", velocity_m_per_s, "m/s", "velocity", "set point", (), "given", "recipe"
    )
    depth = Estimate("h", "settled bed depth", depth_m, "m", "length", "set point", (), "given", "recipe")
    found = packed_bed.pressure_drop_methods(bead, velocity, depth, temperature_kelvin)
    return Answer(found.carman, {"ergun": found.ergun})


def _air(air_velocity_m_per_s: float, internal_diameter_m: float) -> Estimate:
    return air_mix.air_flow(air_velocity_m_per_s, internal_diameter_m)


def quantities() -> tuple[Quantity, ...]:
    """Quantities of beds with spread, and of mixed beds."""
    beads = {"bead_diameter": "0.65 mm", "bead_density": "1280 kg/m3", "temperature": "15 degC"}
    height = given.number("straight_height", "straight height of the vessel above the bed support", "length", "m", 0.05, 15.0, None, ("vessel_height", "height"))  # fmt: skip
    keep = given.number("keep_free", "share of the height kept free", "fraction", "%", 0.0, 0.5, "5 %")
    target = given.number("expansion", "bed expansion wanted", "fraction", "%", 0.05, 2.0, "60 %", ("target_expansion",))  # fmt: skip
    share = given.number("share", "share of the beads that may leave", "fraction", "%", 1e-3, 0.5, "5 %")
    air = given.number(
        "air_velocity",
        f"air per area, {air_mix.STANDARD_AIR}",
        "air_velocity",
        "m/h",
        1e-4,
        0.1,
        "150 m/h",
        ("velocity",),
    )
    settled = given.number(
        "velocity", "flow before it is cut", "velocity", "m/h", _LEAST_M_PER_S, 0.1, None, ("u",)
    )
    fluid = given.number("fluid_density", "density of the fluid", "density", "kg/m3", 900.0, 1600.0, None, ("brine_density",))  # fmt: skip
    backwash_group, settling, pressure = Group.BACKWASH, Group.SETTLING, Group.PRESSURE
    return (
        Quantity("recommended_backwash", "Recommended backwash flow", "The flow to set: the wanted expansion, never so fast that the fine beads leave or the bed meets the top.", backwash_group, (*_POPULATION, given.DEPTH, height, target, keep, _T), "velocity", "m/h", _recommended, {**beads, "depth": "1.0 m", "straight_height": "2.0 m"}, ("backwash_flow_recommended",)),
        Quantity("population_expansion", "Bed expansion, beads of many sizes", "Expansion at a flow with the spread of size and density.", backwash_group, (*_POPULATION, given.VELOCITY, _T), "fraction", "%", _expansion, {**beads, "velocity": "15 m/h"}),
        Quantity("population_velocity", "Backwash flow, beads of many sizes", "Flow for an expansion with the spread of size and density.", backwash_group, (*_POPULATION, given.EXPANSION, _T), "velocity", "m/h", _velocity, beads),
        Quantity("carry_over_velocity", "Carry-over velocity", "Flow at which a share of the finest beads no longer stays in the bed.", backwash_group, (*_POPULATION, share, _T), "velocity", "m/h", _carry_velocity, beads),
        Quantity("carry_over_risk", "Beads carried over", "Share of the beads that settle more slowly than the water rises.", backwash_group, (*_POPULATION, given.VELOCITY, _T), "fraction", "%", _carry_risk, {**beads, "velocity": "40 m/h"}),
        Quantity("bed_settling_time", "Settling time of a bed", "From an expanded bed once the flow is cut.", settling, (*_POPULATION, given.DEPTH, settled, _T), "duration", "min", _settling, {**beads, "depth": "1.0 m", "velocity": "15 m/h"}),
        *(Quantity(key, title, "Backwash separation of a mixed bed, with the spread of both resins.", settling, _MIXED, kind, unit, _one(key), _MIXED_EXAMPLE, aliases, see=("terminal_velocity_ratio",) if key == "separation_velocity_ratio" else ()) for key, title, kind, unit, aliases in _SEPARATED),
        Quantity("floating_share", "Share of beads that float", "In brine or caustic of a density, as an aid to separation.", settling, (given.bead_density(), _spread()[1], fluid), "fraction", "%", _floating, {"bead_density": "1080 kg/m3", "fluid_density": "1100 kg/m3"}, ("sink_or_float",)),
        Quantity("pressure_drop_carman", "Pressure drop by Carman", "Second method beside Ergun; where they disagree, the larger counts.", pressure, (given.bead_diameter(), given.VOID, replace(given.VELOCITY, low=_LEAST_M_PER_S), _T, given.DEPTH), "pressure", "kPa", _two_drops, {"bead_diameter": "0.65 mm", "velocity": "40 m/h", "temperature": "15 degC", "depth": "1.2 m"}, ("carman_kozeny",)),
        Quantity("air_flow", "Air flow for mixing", "From an air velocity, both as standard air: 60 °F and 101.3 kPa.", settling, (air, given.DIAMETER), "air_flow", "L/min", _air, {"air_velocity": "150 m/h", "internal_diameter": "0.8 m"}, ("air_mix",)),
    )  # fmt: skip
