"""Backwash of a whole population of beads in water: how high the bed goes, what is lost, how long it settles."""

from __future__ import annotations

from regenplant.core.engineering import water
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.fluidization import (
    MODEL_UNCERTAINTY_FRAC,
    VOID_HIGH_FRAC,
    Bead,
    carry_over_curve,
    expansion_of_classes,
    settling_curve,
    water_fluid,
)
from regenplant.core.engineering.interpolation import solve_rising
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.single_bead import velocity_for_expansion
from regenplant.core.errors import OutOfRange

CARRY_OVER_SHARE_FRAC = 0.05
"""The finest and lightest beads that set the highest flow: 5 % of the volume (common practice)."""
LOSS_WORTH_SAYING_FRAC = 0.001
METHOD = "Richardson and Zaki with Khan and Richardson's exponent, layer by layer"
VALID = (
    "spheres in a wide vessel, void fraction to 0.9; about 15 %, more where size or wet density is a guess"
)


def as_population(beads: Bead | BeadPopulation) -> BeadPopulation:
    """The population itself, or one bead as a population without spread.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin

    Returns
    -------
    population : BeadPopulation
        The beads
    """
    if isinstance(beads, BeadPopulation):
        return beads
    return BeadPopulation(beads.diameter_m, 0.0, beads.density_kg_per_m3, 0.0, beads.settled_void_frac)


def _require_sinking(population: BeadPopulation, temperature_kelvin: float) -> None:
    rho = water_fluid(temperature_kelvin).density_kg_per_m3
    if population.density_kg_per_m3 <= rho:
        raise OutOfRange(
            f"Beads of {population.density_kg_per_m3:g} kg/m³ float in water of {rho:.1f} kg/m³; "
            "they cannot be backwashed.",
            code="beads_float",
            seen=population.density_kg_per_m3,
            allowed_low=rho,
        )


def _population_inputs(population: BeadPopulation, temperature_kelvin: float) -> tuple[Input, ...]:
    return (
        Input("d_50", "median bead diameter by volume", population.diameter_m, "m"),
        Input("s_d", "spread of the diameter", population.diameter_spread_frac, "dimensionless", "fraction"),
        Input("ρ_p", "wet density of the beads", population.density_kg_per_m3, "kg/m^3", "density"),
        Input("s_ρ", "spread of the wet density", population.density_spread_kg_per_m3, "kg/m^3"),
        Input(
            "ε_0",
            "void fraction of the settled bed",
            population.settled_void_frac,
            "dimensionless",
            "fraction",
        ),
        Input("T", "water temperature", temperature_kelvin, "kelvin", "temperature"),
    )


def expansion_of_population(
    beads: Bead | BeadPopulation, velocity_m_per_s: float, temperature_kelvin: float
) -> Estimate:
    """Expansion of a backwashed bed of many sizes at a superficial velocity.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin, in the form being backwashed
    velocity_m_per_s : float
        Superficial velocity, >= 0 [m/s]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    expansion : Estimate
        Height of the expanded over the settled bed, less one [-]

    Raises: OutOfRange when half the beads or more are carried out, or when they float.
    Source: serial_model, richardson_zaki.
    """
    require_within(velocity_m_per_s, 0.0, 1.0, "flow on the bed", "m/s")
    population, fluid = as_population(beads), water_fluid(temperature_kelvin)
    _require_sinking(population, temperature_kelvin)
    curve = carry_over_curve(population, fluid)
    lost = curve.share_below(velocity_m_per_s)
    if lost >= 0.5:
        most = curve.quantile(0.5)
        raise OutOfRange(
            f"At {velocity_m_per_s * 3600:.3g} m/h this resin is carried out of the vessel; "
            f"the model ends at {most * 3600:.3g} m/h.",
            code="resin_carried_out",
            seen=velocity_m_per_s,
            allowed_high=most,
        )
    beyond = (
        f"{lost * 100:.2g} % of the beads leave the bed at this flow; the height counts them at its edge."
    )
    return Estimate(
        symbol="E",
        name="bed expansion",
        value=expansion_of_classes(population, velocity_m_per_s, fluid),
        unit="dimensionless",
        kind="fraction",
        formula="sum of w_i · (1 − ε_0) / (1 − ε_i) over the classes, less 1",
        inputs=(
            Input("u", "flow on the bed", velocity_m_per_s, "m/s", "velocity"),
            *_population_inputs(population, temperature_kelvin),
        ),
        method=METHOD,
        source="serial_model",
        valid=VALID,
        warnings=(beyond,) if lost > LOSS_WORTH_SAYING_FRAC else (),
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def velocity_for_population(
    beads: Bead | BeadPopulation, expansion_frac: float, temperature_kelvin: float
) -> Estimate:
    """Superficial velocity that expands a bed of many sizes to a target at the real water temperature.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin, in the form being backwashed
    expansion_frac : float
        Target expansion, 0 to 2; 0 is the flow at which the finest beads begin to move [-]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    velocity : Estimate
        Superficial velocity [m/s]

    Raises: OutOfRange for an expansion outside 0 to 2 or beads that float.
    Source: serial_model, richardson_zaki.
    """
    if isinstance(beads, Bead):
        closed = velocity_for_expansion(beads, expansion_frac, temperature_kelvin)
        return closed.named("u_E", f"flow for {expansion_frac * 100:.0f} % bed expansion")
    require_within(expansion_frac, 0.0, 2.0, "bed expansion")
    population, fluid = as_population(beads), water_fluid(temperature_kelvin)
    _require_sinking(population, temperature_kelvin)
    highest = carry_over_curve(population, fluid).highest
    value = solve_rising(
        lambda velocity: expansion_of_classes(population, velocity, fluid),
        max(expansion_frac, 1e-9),
        0.0,
        highest,
    )
    return Estimate(
        symbol="u_E",
        name=f"flow for {expansion_frac * 100:.0f} % bed expansion",
        value=value,
        unit="m/s",
        kind="velocity",
        formula="solve E(u) = E, the expansion summed over the classes",
        inputs=(
            Input("E", "bed expansion wanted", expansion_frac, "dimensionless", "fraction"),
            *_population_inputs(population, temperature_kelvin),
        ),
        method=METHOD,
        source="serial_model",
        valid=VALID,
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def carry_over_velocity(
    beads: Bead | BeadPopulation, temperature_kelvin: float, share_frac: float = CARRY_OVER_SHARE_FRAC
) -> Estimate:
    """Flow at which this share of the beads, the finest and lightest, no longer stays in the bed.

    A bead counts as gone when the layer of its like would have a void fraction of 0.9; its settling velocity is higher
    still, so beads are held back by the last stretch of the vessel.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin
    temperature_kelvin : float
        Water temperature [K]
    share_frac : float
        Share of the bead volume, 0.001 to 0.5 [-]

    Returns
    -------
    velocity : Estimate
        Superficial velocity [m/s]

    Raises: OutOfRange for a share outside its range or beads that float.
    Source: richardson_zaki; the share is common practice.
    """
    require_within(share_frac, 0.001, 0.5, "share of the bead volume")
    population, fluid = as_population(beads), water_fluid(temperature_kelvin)
    _require_sinking(population, temperature_kelvin)
    value = max(carry_over_curve(population, fluid).quantile(share_frac), 0.0)
    return Estimate(
        symbol="u_c",
        name=f"flow that carries off the finest and lightest {share_frac * 100:.2g} % of the beads",
        value=value,
        unit="m/s",
        kind="velocity",
        formula="solve share of beads with u_t · ε_h^n below u = w",
        inputs=(
            Input("w", "share of the bead volume", share_frac, "dimensionless", "fraction"),
            Input("ε_h", "highest void fraction of a bed", VOID_HIGH_FRAC, "dimensionless", "fraction"),
            *_population_inputs(population, temperature_kelvin),
        ),
        method="settling velocity and exponent of every bead size and density",
        source="richardson_zaki",
        valid=VALID,
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def carry_over_risk(
    beads: Bead | BeadPopulation, velocity_m_per_s: float, temperature_kelvin: float
) -> Estimate:
    """Share of the beads that settle more slowly than the water rises: they leave with the backwash.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin
    velocity_m_per_s : float
        Superficial velocity, >= 0 [m/s]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    share : Estimate
        Share of the bead volume [-]

    Raises: OutOfRange for a velocity below zero or outside liquid water.
    Source: richardson_zaki (settling velocity); sizes by lognormal_beads.
    """
    require_within(velocity_m_per_s, 0.0, 1.0, "flow on the bed", "m/s")
    population = as_population(beads)
    value = settling_curve(population, water_fluid(temperature_kelvin)).share_below(velocity_m_per_s)
    warning = (
        f"{value * 100:.2g} % of the beads rise with this flow and are lost: lower it, and check the catcher."
    )
    return Estimate(
        symbol="w_c",
        name="share of beads lost with the backwash",
        value=value,
        unit="dimensionless",
        kind="fraction",
        formula="solve share of beads with u_t below u",
        inputs=(
            Input("u", "flow on the bed", velocity_m_per_s, "m/s", "velocity"),
            *_population_inputs(population, temperature_kelvin),
        ),
        method="settling velocity of every bead size and density",
        source="richardson_zaki",
        valid="whole beads; broken beads and fines below the sieve are lost sooner",
        warnings=(warning,) if value > LOSS_WORTH_SAYING_FRAC else (),
        uncertainty_frac=1.0,
    )


def full_fluidization_velocity(beads: Bead | BeadPopulation, temperature_kelvin: float) -> Estimate:
    """Flow at which even the coarse beads move: minimum fluidization of the bead that 95 % of the volume lies below.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    velocity : Estimate
        Superficial velocity [m/s]

    Raises: OutOfRange outside liquid water or for beads that float.
    Source: wen_yu; good to about 25 %.
    """
    population = as_population(beads)
    _require_sinking(population, temperature_kelvin)
    coarse = population.diameter_quantile_m(0.95)
    fluid = water_fluid(temperature_kelvin)
    lift = population.density_kg_per_m3 - fluid.density_kg_per_m3
    g, rho, mu = water.STANDARD_GRAVITY, fluid.density_kg_per_m3, fluid.viscosity_pascal_s
    number = coarse**3 * rho * lift * g / mu**2
    return Estimate(
        symbol="u_f",
        name="flow at which even the coarse beads move",
        value=((33.7**2 + 0.0408 * number) ** 0.5 - 33.7) * mu / (rho * coarse),
        unit="m/s",
        kind="velocity",
        formula="((33.7^2 + 0.0408 · d_95^3 · ρ_w · (ρ_p − ρ_w) · g / µ^2)^0.5 − 33.7) · µ / (ρ_w · d_95)",
        inputs=(
            Input("d_95", "diameter that 95 % of the bead volume lies below", coarse, "m"),
            Input("ρ_w", "density of the water", rho, "kg/m^3", "density"),
            Input("ρ_p", "wet density of the beads", population.density_kg_per_m3, "kg/m^3", "density"),
            Input("g", "standard gravity", g, "m/s^2"),
            Input("µ", "viscosity of the water", mu, "pascal*s", "viscosity"),
        ),
        method="Wen and Yu 1966 for the coarse end of the sieve analysis",
        source="wen_yu",
        valid="spheres; about 25 %",
        uncertainty_frac=0.25,
    )


def settling_time(
    beads: Bead | BeadPopulation, depth_m: float, velocity_m_per_s: float, temperature_kelvin: float
) -> Estimate:
    """Time an expanded bed needs to settle once the flow is cut.

    The top of every layer sinks at the flow that held it up, so the whole bed comes down at that velocity.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin
    depth_m : float
        Settled bed depth, > 0 [m]
    velocity_m_per_s : float
        Superficial velocity of the backwash, > 0 [m/s]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    time : Estimate
        Time until the bed lies at its settled depth [s]

    Raises: OutOfRange for a depth or velocity not above zero, or a flow that carries the resin out.
    Source: richardson_zaki; kinematic settling of a uniform suspension.
    """
    require_positive(depth_m, "bed depth", "m")
    require_positive(velocity_m_per_s, "flow on the bed", "m/s")
    expansion = expansion_of_population(beads, velocity_m_per_s, temperature_kelvin)
    return Estimate(
        symbol="t_s",
        name="time the expanded bed needs to settle",
        value=depth_m * expansion.value / velocity_m_per_s,
        unit="s",
        kind="duration",
        formula="h_0 · E / u",
        inputs=(
            Input("h_0", "settled bed depth", depth_m, "m", "length"),
            expansion.as_input(),
            Input("u", "flow on the bed before it is cut", velocity_m_per_s, "m/s", "velocity"),
        ),
        method="the bed comes down at the velocity that held it up",
        source="richardson_zaki",
        valid="flow cut at once; fines come down later",
        uncertainty_frac=0.3,
    )
