"""Flow and settling velocities of a mixed-bed separation as estimates that show their working."""

from __future__ import annotations

import math

from regenplant.core.engineering.beads import NORMAL, BeadPopulation
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.fluidization import (
    MODEL_UNCERTAINTY_FRAC,
    Bead,
    Fluid,
    archimedes_number,
    khan_richardson_exponent,
    settling_curve,
    settling_velocity_m_per_s,
)

END_SHARE_FRAC = 0.05
"""The slow end of the cation and the fast end of the anion: 5 % of the volume."""
_LARGEST_RATIO = 1e6
_LEAST_GAP = 0.01
"""Of 1 − 1/R: resins that hardly part mix over a hundred times the allowance, no further."""


def floating_share(population: BeadPopulation, fluid_density_kg_per_m3: float) -> float:
    """Share of a resin's beads lighter than a fluid.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    fluid_density_kg_per_m3 : float
        Density of the fluid [kg/m^3]

    Returns
    -------
    floating_frac : float
        Share of the bead volume [-]
    """
    lift = fluid_density_kg_per_m3 - population.density_kg_per_m3
    if population.density_spread_kg_per_m3 == 0.0:
        return 1.0 if lift > 0.0 else 0.0
    return NORMAL.cdf(lift / population.density_spread_kg_per_m3)


def mixing_length_m(allowance_m: float, ratio: Estimate) -> float:
    """Length over which mixing at the interface falls by a factor e: Λ/(1 − 1/R).

    Parameters
    ----------
    allowance_m : float
        Λ, mixing by uneven flow where the resins part easily [m]
    ratio : Estimate
        Settling velocity of the median cation over that of the median anion bead; below zero where the anion rises [-]

    Returns
    -------
    length_m : float
        Mixing length [m]

    Source: interface_mixing (a proposal).
    """
    return allowance_m / max(1.0 - 1.0 / ratio.value, _LEAST_GAP)


def _ratio(cation_m_per_s: float, anion_m_per_s: float) -> float:
    if abs(anion_m_per_s) * _LARGEST_RATIO <= cation_m_per_s:
        return math.copysign(_LARGEST_RATIO, anion_m_per_s)
    return cation_m_per_s / anion_m_per_s


def velocity_ratio(cation: BeadPopulation, anion: BeadPopulation, fluid: Fluid) -> Estimate:
    """Settling velocity of the median cation bead over that of the median anion bead.

    Parameters
    ----------
    cation : BeadPopulation
        Beads of the cation resin
    anion : BeadPopulation
        Beads of the anion resin
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    ratio : Estimate
        Above 1.2 for resins that part; below zero where the anion rises [-]

    Source: velocity_order; drag laws differ by 8 %, which the ratio mostly sheds.
    """
    fast = settling_velocity_m_per_s(cation.diameter_m, cation.density_kg_per_m3, fluid)
    slow = settling_velocity_m_per_s(anion.diameter_m, anion.density_kg_per_m3, fluid)
    return _ratio_estimate(
        "R",
        "settling velocity of the cation over that of the anion beads",
        fast,
        slow,
        ("median cation bead", "median anion bead"),
    )


def end_ratio(cation: BeadPopulation, anion: BeadPopulation, fluid: Fluid) -> Estimate:
    """Settling velocity of the slowest 5 % of the cation over that of the fastest 5 % of the anion beads.

    Parameters
    ----------
    cation : BeadPopulation
        Beads of the cation resin
    anion : BeadPopulation
        Beads of the anion resin
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    ratio : Estimate
        Above 1 where the two distributions hardly touch [-]

    Source: velocity_order.
    """
    return _ratio_estimate(
        "R_5",
        "settling velocity of the slowest cation over that of the fastest anion beads",
        settling_curve(cation, fluid).quantile(END_SHARE_FRAC),
        settling_curve(anion, fluid).quantile(1.0 - END_SHARE_FRAC),
        ("slowest 5 % of the cation beads", "fastest 5 % of the anion beads"),
    )


def _ratio_estimate(
    symbol: str, name: str, cation_m_per_s: float, anion_m_per_s: float, whose: tuple[str, str]
) -> Estimate:
    value = _ratio(cation_m_per_s, anion_m_per_s)
    is_capped = abs(value) == _LARGEST_RATIO
    return Estimate(
        symbol=symbol,
        name=name,
        value=value,
        unit="dimensionless",
        kind="ratio",
        formula="set point: the anion beads neither rise nor sink" if is_capped else "u_c / u_a",
        inputs=(
            Input("u_c", f"settling velocity, {whose[0]}", cation_m_per_s, "m/s", "velocity"),
            Input(
                "u_a", f"settling velocity, {whose[1]} (below zero: rises)", anion_m_per_s, "m/s", "velocity"
            ),
        ),
        method="ratio of terminal velocities",
        source="velocity_order",
        valid="spheres; below 1.2 the resins do not part by settling (trade rule)",
        uncertainty_frac=0.08,
    )


def no_flow() -> Estimate:
    """The upward flow of a float separation: none.

    Parameters
    ----------
    (none)

    Returns
    -------
    velocity : Estimate
        Zero [m/s]
    """
    return Estimate(
        symbol="u",
        name="upward flow while the anion floats",
        value=0.0,
        unit="m/s",
        kind="velocity",
        formula="set point: no flow, the resins part at rest",
        inputs=(),
        method="float separation",
        source="trade_practice",
    )


def given_flow(velocity_m_per_s: float) -> Estimate:
    """The upward flow as set.

    Parameters
    ----------
    velocity_m_per_s : float
        Superficial velocity [m/s]

    Returns
    -------
    velocity : Estimate
        The same [m/s]
    """
    return Estimate(
        symbol="u",
        name="separation flow",
        value=velocity_m_per_s,
        unit="m/s",
        kind="velocity",
        formula="set point",
        inputs=(),
        method="as set",
        source="recipe",
    )


def flow_for_expansion(bead: Bead, expansion_frac: float, fluid: Fluid) -> Estimate:
    """Flow that expands a layer of the median anion bead to a target, in any fluid it sinks in.

    Parameters
    ----------
    bead : Bead
        The median bead
    expansion_frac : float
        Target expansion, 0 to 2 [-]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    velocity : Estimate
        Superficial velocity [m/s]

    Source: richardson_zaki.
    """
    terminal = settling_velocity_m_per_s(bead.diameter_m, bead.density_kg_per_m3, fluid)
    exponent = khan_richardson_exponent(archimedes_number(bead.diameter_m, bead.density_kg_per_m3, fluid))
    void = bead.settled_void_frac
    return Estimate(
        symbol="u",
        name=f"separation flow for {expansion_frac * 100:.0f} % expansion of the anion resin",
        value=terminal * (1.0 - (1.0 - void) / (1.0 + expansion_frac)) ** exponent,
        unit="m/s",
        kind="velocity",
        formula="u_t · (1 − (1 − ε_0) / (1 + E))^n",
        inputs=(
            Input("u_t", "settling velocity of the median anion bead", terminal, "m/s", "velocity"),
            Input("ε_0", "void fraction of the settled bed", void, "dimensionless", "fraction"),
            Input("E", "expansion of the anion resin wanted", expansion_frac, "dimensionless", "fraction"),
            Input("n", "exponent of Richardson and Zaki (Khan and Richardson)", exponent, "dimensionless"),
        ),
        method="Richardson and Zaki with Khan and Richardson's exponent",
        source="richardson_zaki",
        valid="median bead, wide vessel; about 15 %",
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )
