"""A bed of beads of one size in water: settling, expansion, fluidization.

Spheres of one size in a wide vessel. Drag correlations differ by 8 %, the whole expansion model is good to about
15 %; bead size and wet density matter more (0.05 mm in diameter moves the cation flow 14 %, 1 % in density moves the
anion flow 13 %). Temperature is an input everywhere: the cation backwash flow doubles from 5 to 40 °C.
"""

from __future__ import annotations

from functools import lru_cache

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.fluidization import (
    MODEL_UNCERTAINTY_FRAC,
    VOID_HIGH_FRAC,
    Bead,
    archimedes_number,
    khan_richardson_exponent,
    settling_velocity_m_per_s,
    water_fluid,
)
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange


@lru_cache(maxsize=1024)
def terminal_velocity_m_per_s(bead: Bead, temperature_kelvin: float) -> float:
    """Settling velocity of a single bead in still water.

    Parameters
    ----------
    bead : Bead
        Diameter and wet density
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    velocity_m_per_s : float
        Terminal velocity [m/s]

    Raises: OutOfRange outside liquid water, or for a bead lighter than the water.
    Source: richardson_zaki (sphere drag of the fluids library).
    """
    rho = water.density_kg_per_m3(temperature_kelvin)
    if bead.density_kg_per_m3 <= rho:
        raise OutOfRange(
            f"Beads of {bead.density_kg_per_m3:g} kg/m³ float in water of {rho:.1f} kg/m³; they cannot be backwashed.",
            code="beads_float",
            seen=bead.density_kg_per_m3,
            allowed_low=rho,
        )
    return settling_velocity_m_per_s(bead.diameter_m, bead.density_kg_per_m3, water_fluid(temperature_kelvin))


def archimedes(bead: Bead, temperature_kelvin: float) -> float:
    """Archimedes number d³ρ(ρ_p − ρ)g/µ².

    Parameters
    ----------
    bead : Bead
        Diameter and wet density
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    archimedes : float
        Archimedes number [-]

    Raises: OutOfRange outside liquid water.
    """
    return archimedes_number(bead.diameter_m, bead.density_kg_per_m3, water_fluid(temperature_kelvin))


def _bead_inputs(bead: Bead, temperature_kelvin: float) -> tuple[Input, Input, Input]:
    velocity = terminal_velocity_m_per_s(bead, temperature_kelvin)
    exponent = khan_richardson_exponent(archimedes(bead, temperature_kelvin))
    celsius = temperature_kelvin - 273.15
    return (
        Input(
            "u_t",
            f"settling velocity of a bead of {bead.diameter_m * 1000:.2f} mm, {bead.density_kg_per_m3:.0f} kg/m³ at {celsius:.1f} °C",
            velocity,
            "m/s",
            "velocity",
        ),
        Input("n", "exponent of Richardson and Zaki (Khan and Richardson)", exponent, "dimensionless"),
        Input("ε_0", "void fraction of the settled bed", bead.settled_void_frac, "dimensionless", "fraction"),
    )


_VALID = "beads of one size, wide vessel, void fraction to 0.9; about 15 %"


def expansion_at_velocity(bead: Bead, velocity_m_per_s: float, temperature_kelvin: float) -> Estimate:
    """Expansion of a backwashed bed at a superficial velocity.

    Parameters
    ----------
    bead : Bead
        Diameter, wet density and settled void fraction, in the form being backwashed
    velocity_m_per_s : float
        Superficial velocity, >= 0 [m/s]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    expansion : Estimate
        Height of the expanded over the settled bed, less one; 0 while the bed is at rest [-]

    Raises: OutOfRange above a void fraction of 0.9, where beads are carried out.
    Source: richardson_zaki.
    """
    require_within(velocity_m_per_s, 0.0, 1.0, "flow on the bed", "m/s")
    terminal, exponent, void = _bead_inputs(bead, temperature_kelvin)
    epsilon = (velocity_m_per_s / terminal.value) ** (1.0 / exponent.value)
    if epsilon > VOID_HIGH_FRAC:
        most = terminal.value * VOID_HIGH_FRAC**exponent.value
        raise OutOfRange(
            f"At {velocity_m_per_s * 3600:.3g} m/h this resin is carried out of the vessel; "
            f"the model ends at {most * 3600:.3g} m/h.",
            code="resin_carried_out",
            seen=velocity_m_per_s,
            allowed_high=most,
        )
    moves = epsilon > bead.settled_void_frac
    return Estimate(
        symbol="E",
        name="bed expansion",
        value=(1.0 - bead.settled_void_frac) / (1.0 - epsilon) - 1.0 if moves else 0.0,
        unit="dimensionless",
        kind="fraction",
        formula="(1 − ε_0) / (1 − (u / u_t)^(1 / n)) − 1" if moves else "0 · u",
        inputs=(Input("u", "flow on the bed", velocity_m_per_s, "m/s", "velocity"), terminal, exponent, void),
        method="Richardson and Zaki with Khan and Richardson's exponent",
        source="richardson_zaki",
        valid=_VALID,
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def velocity_for_expansion(bead: Bead, expansion_frac: float, temperature_kelvin: float) -> Estimate:
    """Superficial velocity that expands a bed to a target at the real water temperature.

    Parameters
    ----------
    bead : Bead
        Diameter, wet density and settled void fraction, in the form being backwashed
    expansion_frac : float
        Target expansion, 0 to 2; 0.5 is 50 % [-]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    velocity : Estimate
        Superficial velocity [m/s]

    Raises: OutOfRange for an expansion outside 0 to 2 or a bead that floats.
    Source: richardson_zaki.
    """
    require_within(expansion_frac, 0.0, 2.0, "bed expansion")
    terminal, exponent, void = _bead_inputs(bead, temperature_kelvin)
    epsilon = 1.0 - (1.0 - void.value) / (1.0 + expansion_frac)
    return Estimate(
        symbol="u",
        name="backwash flow on the bed",
        value=terminal.value * epsilon**exponent.value,
        unit="m/s",
        kind="velocity",
        formula="u_t · (1 − (1 − ε_0) / (1 + E))^n",
        inputs=(
            terminal,
            void,
            Input("E", "bed expansion wanted", expansion_frac, "dimensionless", "fraction"),
            exponent,
        ),
        method="Richardson and Zaki with Khan and Richardson's exponent",
        source="richardson_zaki",
        valid=_VALID,
        uncertainty_frac=MODEL_UNCERTAINTY_FRAC,
    )


def minimum_fluidization_velocity(bead: Bead, temperature_kelvin: float) -> Estimate:
    """Superficial velocity at which a bed just begins to move.

    Parameters
    ----------
    bead : Bead
        Diameter and wet density
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    velocity : Estimate
        Superficial velocity [m/s]

    Raises: OutOfRange outside liquid water.
    Source: wen_yu; good to about 25 %.
    """
    rho, mu = water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin)
    number = archimedes(bead, temperature_kelvin)
    require_positive(number, "Archimedes number")
    reynolds = (33.7**2 + 0.0408 * number) ** 0.5 - 33.7
    return Estimate(
        symbol="u_mf",
        name="flow at which the bed begins to move",
        value=reynolds * mu / (rho * bead.diameter_m),
        unit="m/s",
        kind="velocity",
        formula="((33.7^2 + 0.0408 · Ar)^0.5 − 33.7) · µ / (ρ_w · d)",
        inputs=(
            Input("Ar", "Archimedes number of the bead", number, "dimensionless"),
            Input("µ", "viscosity of the water", mu, "pascal*s", "viscosity"),
            Input("ρ_w", "density of the water", rho, "kg/m^3", "density"),
            Input("d", "bead diameter", bead.diameter_m, "m"),
        ),
        method="Wen and Yu 1966",
        source="wen_yu",
        valid="spheres; about 25 %",
        uncertainty_frac=0.25,
    )
