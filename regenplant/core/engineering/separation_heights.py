"""Heights and times of a mixed-bed separation as estimates that show their working."""

from __future__ import annotations

from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.beds import cross_section_m2
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.fluidization import (
    MODEL_UNCERTAINTY_FRAC,
    Fluid,
    archimedes_number,
    khan_richardson_exponent,
    settling_velocity_m_per_s,
)
from regenplant.core.engineering.layers import SettledBed

_PARTING_VOID_FRAC = 0.70
"""Void fraction of the cloud of beads while they part in a fluid at rest: an assumption."""


def interface_height(cation_m3: float, internal_diameter_m: float) -> Estimate:
    """Height of the interface over the bottom of the bed once it has settled.

    Parameters
    ----------
    cation_m3 : float
        Settled volume of the cation resin [m^3]
    internal_diameter_m : float
        Internal diameter of the vessel [m]

    Returns
    -------
    height : Estimate
        Height [m]

    Source: geometry.
    """
    return Estimate(
        symbol="h_c",
        name="height of the interface, settled",
        value=cation_m3 / cross_section_m2(internal_diameter_m),
        unit="m",
        kind="length",
        formula="4 · V_c / (π · D^2)",
        inputs=(
            Input(
                "V_c", "cation resin, settled, in the form being separated", cation_m3, "m^3", "resin_volume"
            ),
            Input("D", "internal diameter of the vessel", internal_diameter_m, "m", "length"),
        ),
        method="geometry of a cylinder",
        source="geometry",
        valid="cylindrical part, counted from the bottom of the bed; domes and supports are not counted",
        uncertainty_frac=0.05,
    )


def expanded_interface(interface: Estimate, cation_expansion_frac: float) -> Estimate:
    """Height of the interface while the bed is expanded.

    Parameters
    ----------
    interface : Estimate
        Height of the interface, settled [m]
    cation_expansion_frac : float
        Expansion of the cation layer [-]

    Returns
    -------
    height : Estimate
        Height [m]

    Source: serial_model.
    """
    return Estimate(
        symbol="h_i",
        name="height of the interface, expanded",
        value=interface.value * (1.0 + cation_expansion_frac),
        unit="m",
        kind="length",
        formula=f"{interface.symbol} · (1 + E_c)",
        inputs=(
            interface.as_input(),
            Input(
                "E_c",
                "expansion of the cation layer at this flow",
                cation_expansion_frac,
                "dimensionless",
                "fraction",
            ),
        ),
        method="layer by layer",
        source="serial_model",
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def _depths(bed: SettledBed) -> tuple[Input, Input]:
    return (
        Input("h_c", "settled depth of the cation resin", bed.cation_depth_m, "m", "length"),
        Input("h_a", "settled depth of the anion resin", bed.anion_depth_m, "m", "length"),
    )


def expanded_height(bed: SettledBed, cation_expansion_frac: float, anion_expansion_frac: float) -> Estimate:
    """Height of the whole bed while it is expanded.

    Parameters
    ----------
    bed : SettledBed
        The bed at rest
    cation_expansion_frac : float
        Expansion of the cation layer [-]
    anion_expansion_frac : float
        Expansion of the anion layer [-]

    Returns
    -------
    height : Estimate
        Height [m]

    Source: serial_model.
    """
    return Estimate(
        symbol="h_e",
        name="height of the expanded bed",
        value=bed.cation_depth_m * (1.0 + cation_expansion_frac)
        + bed.anion_depth_m * (1.0 + anion_expansion_frac),
        unit="m",
        kind="length",
        formula="h_c · (1 + E_c) + h_a · (1 + E_a)",
        inputs=(
            *_depths(bed),
            Input(
                "E_c",
                "expansion of the cation layer at this flow",
                cation_expansion_frac,
                "dimensionless",
                "fraction",
            ),
            Input(
                "E_a",
                "expansion of the anion layer at this flow",
                anion_expansion_frac,
                "dimensionless",
                "fraction",
            ),
        ),
        method="layer by layer",
        source="serial_model",
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def settling_time(
    bed: SettledBed, velocity: Estimate, cation_expansion_frac: float, anion_expansion_frac: float
) -> Estimate:
    """Time the expanded bed needs to settle once the flow is cut.

    Parameters
    ----------
    bed : SettledBed
        The bed at rest
    velocity : Estimate
        Upward flow before it is cut [m/s]
    cation_expansion_frac : float
        Expansion of the cation layer [-]
    anion_expansion_frac : float
        Expansion of the anion layer [-]

    Returns
    -------
    time : Estimate
        Time [s]

    Source: richardson_zaki; every layer comes down at the velocity that held it up.
    """
    return Estimate(
        symbol="t_s",
        name="time the separated bed needs to settle",
        value=(bed.cation_depth_m * cation_expansion_frac + bed.anion_depth_m * anion_expansion_frac)
        / velocity.value,
        unit="s",
        kind="duration",
        formula=f"(h_c · E_c + h_a · E_a) / {velocity.symbol}",
        inputs=(
            *_depths(bed),
            Input(
                "E_c",
                "expansion of the cation layer at this flow",
                cation_expansion_frac,
                "dimensionless",
                "fraction",
            ),
            Input(
                "E_a",
                "expansion of the anion layer at this flow",
                anion_expansion_frac,
                "dimensionless",
                "fraction",
            ),
            velocity.as_input(),
        ),
        method="the bed comes down at the velocity that held it up",
        source="richardson_zaki",
        valid="flow cut at once; fines come down later",
        uncertainty_frac=0.3,
    )


def parting_time(cation: BeadPopulation, anion: BeadPopulation, depth_m: float, fluid: Fluid) -> Estimate:
    """Time the resins need to part in a fluid at rest between their densities.

    Parameters
    ----------
    cation : BeadPopulation
        Beads of the cation resin
    anion : BeadPopulation
        Beads of the anion resin
    depth_m : float
        Settled depth of both together [m]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    time : Estimate
        Time for the slower resin to cross the depth of the bed [s]

    Source: richardson_zaki; the void fraction of the cloud is an assumption.
    """
    speeds = {
        abs(settling_velocity_m_per_s(beads.diameter_m, beads.density_kg_per_m3, fluid)): beads
        for beads in (cation, anion)
    }
    speed = max(min(speeds), 1e-7)
    slower = speeds[min(speeds)]
    number = abs(archimedes_number(slower.diameter_m, slower.density_kg_per_m3, fluid))
    exponent = khan_richardson_exponent(max(number, 1e-9))
    return Estimate(
        symbol="t_s",
        name="time the resins need to part",
        value=depth_m / (speed * _PARTING_VOID_FRAC**exponent),
        unit="s",
        kind="duration",
        formula="h / (u_s · ε_s^n)",
        inputs=(
            Input("h", "settled depth of both resins together", depth_m, "m", "length"),
            Input("u_s", "velocity of the slower of the two median beads", speed, "m/s", "velocity"),
            Input(
                "ε_s", "void fraction of the cloud of beads", _PARTING_VOID_FRAC, "dimensionless", "fraction"
            ),
            Input("n", "exponent of Richardson and Zaki (Khan and Richardson)", exponent, "dimensionless"),
        ),
        method="hindered motion through the depth of the bed",
        source="richardson_zaki",
        valid="indication; beads that stick together take longer",
        uncertainty_frac=0.5,
    )
