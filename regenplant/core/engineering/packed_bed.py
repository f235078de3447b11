"""Pressure drop of a settled bed in downflow, by two methods.

Ergun is the method the plan uses; Carman is the second opinion. They differ by about a fifth for resin beads, which is as
much as a real bed differs from either: the disagreement is stated, never averaged away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from regenplant.core.engineering import water
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.fluidization import Bead
from regenplant.core.engineering.libraries import particle_library
from regenplant.core.engineering.ranges import require_positive

REAL_BED_UNCERTAINTY_FRAC = 0.25
"""A real bed of whole, clean beads against either equation."""


@dataclass(frozen=True, slots=True)
class PressureDrop:
    """One pressure drop by two methods. ``larger`` is the one to hold against a limit."""

    ergun: Estimate
    carman: Estimate

    @property
    def disagreement_frac(self) -> float:
        """How far Carman lies above Ergun, as a share of Ergun."""
        return self.carman.value / self.ergun.value - 1.0

    @property
    def larger(self) -> Estimate:
        return max(self.ergun, self.carman, key=lambda estimate: estimate.value)


def pressure_gradient_pascal_per_m(bead: Bead, velocity_m_per_s: float, temperature_kelvin: float) -> float:
    """Pressure drop of a clean packed bed per metre of depth.

    Parameters
    ----------
    bead : Bead
        Diameter and settled void fraction
    velocity_m_per_s : float
        Superficial velocity, > 0 [m/s]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    gradient_pascal_per_m : float
        Pressure drop per depth [Pa/m]

    Raises: OutOfRange for a velocity that is not above zero.
    Source: ergun; a real bed differs by about 25 %.
    """
    require_positive(velocity_m_per_s, "flow on the bed", "m/s")
    _, ergun = particle_library()
    rho, mu = water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin)
    return float(
        ergun(dp=bead.diameter_m, voidage=bead.settled_void_frac, vs=velocity_m_per_s, rho=rho, mu=mu, L=1.0)
    )


def carman_gradient_pascal_per_m(bead: Bead, velocity_m_per_s: float, temperature_kelvin: float) -> float:
    """Pressure drop of a clean packed bed per metre of depth, by Carman's equation.

    Its first term is Kozeny and Carman's for slow flow, 180 µ u (1 − ε)²/(d² ε³).

    Parameters
    ----------
    bead : Bead
        Diameter and settled void fraction
    velocity_m_per_s : float
        Superficial velocity, > 0 [m/s]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    gradient_pascal_per_m : float
        Pressure drop per depth [Pa/m]

    Raises: OutOfRange for a velocity that is not above zero.
    Source: carman.
    """
    u = require_positive(velocity_m_per_s, "flow on the bed", "m/s")
    rho, mu = water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin)
    d, void, solids = bead.diameter_m, bead.settled_void_frac, 1.0 - bead.settled_void_frac
    reynolds = rho * u * d / (mu * solids)
    return (180.0 / reynolds + 2.871 / reynolds**0.1) * rho * u**2 * solids / (d * void**3)


def _bed_inputs(
    bead: Bead, velocity: Estimate, depth: Estimate, temperature_kelvin: float
) -> tuple[Input, ...]:
    rho, mu = water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin)
    return (
        velocity.as_input(),
        depth.as_input(),
        Input("µ", "viscosity of the water", mu, "pascal*s", "viscosity"),
        Input("ρ_w", "density of the water", rho, "kg/m^3", "density"),
        Input("d", "bead diameter", bead.diameter_m, "m"),
        Input("ε_0", "void fraction of the settled bed", bead.settled_void_frac, "dimensionless", "fraction"),
    )


def pressure_drop(bead: Bead, velocity: Estimate, depth: Estimate, temperature_kelvin: float) -> Estimate:
    """Pressure drop of a clean settled bed in downflow.

    Parameters
    ----------
    bead : Bead
        Diameter and settled void fraction
    velocity : Estimate
        Superficial velocity [m/s]
    depth : Estimate
        Settled bed depth [m]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    pressure : Estimate
        Pressure drop over the bed [Pa]

    Raises: OutOfRange outside liquid water.
    Source: ergun.
    """
    gradient = pressure_gradient_pascal_per_m(bead, velocity.value, temperature_kelvin)
    return Estimate(
        symbol="Δp",
        name="pressure drop over the clean bed",
        value=gradient * depth.value,
        unit="pascal",
        kind="pressure",
        formula=(
            f"(150 · µ · {velocity.symbol} · (1 − ε_0)^2 / (d^2 · ε_0^3) "
            f"+ 1.75 · ρ_w · {velocity.symbol}^2 · (1 − ε_0) / (d · ε_0^3)) · {depth.symbol}"
        ),
        inputs=_bed_inputs(bead, velocity, depth, temperature_kelvin),
        method="Ergun 1952",
        source="ergun",
        valid="clean bed of whole beads; a real bed differs by about 25 %",
        uncertainty_frac=REAL_BED_UNCERTAINTY_FRAC,
    )


def _carman_drop(bead: Bead, velocity: Estimate, depth: Estimate, temperature_kelvin: float) -> Estimate:
    u, gradient = (
        velocity.symbol,
        carman_gradient_pascal_per_m(bead, velocity.value, temperature_kelvin),
    )
    reynolds = f"(ρ_w · {u} · d / (µ · (1 − ε_0)))"
    return Estimate(
        symbol="Δp_C",
        name="pressure drop over the clean bed, second method",
        value=gradient * depth.value,
        unit="pascal",
        kind="pressure",
        formula=(
            f"(180 / {reynolds} + 2.871 / {reynolds}^0.1) "
            f"· ρ_w · {u}^2 · (1 − ε_0) / (d · ε_0^3) · {depth.symbol}"
        ),
        inputs=_bed_inputs(bead, velocity, depth, temperature_kelvin),
        method="Carman 1937",
        source="carman",
        valid="clean bed of whole beads; a real bed differs by about 25 %",
        uncertainty_frac=REAL_BED_UNCERTAINTY_FRAC,
    )


def pressure_drop_methods(
    beads: Bead | BeadPopulation, velocity: Estimate, depth: Estimate, temperature_kelvin: float
) -> PressureDrop:
    """Pressure drop of a clean settled bed in service or rinse, by Ergun and by Carman, the disagreement stated.

    For a population the diameter is the one with the surface per volume of the whole (Sauter): fines count.

    Parameters
    ----------
    beads : Bead or BeadPopulation
        One bead, or the beads of the resin
    velocity : Estimate
        Superficial velocity [m/s]
    depth : Estimate
        Settled bed depth [m]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    pressure : PressureDrop
        Both pressure drops [Pa]; that of Ergun carries the warning

    Raises: OutOfRange outside liquid water or for a velocity that is not above zero.
    Source: ergun, carman.
    """
    bead = beads if isinstance(beads, Bead) else _packing_bead(beads)
    ergun = pressure_drop(bead, velocity, depth, temperature_kelvin)
    carman = _carman_drop(bead, velocity, depth, temperature_kelvin)
    apart = carman.value / ergun.value - 1.0
    way = "more" if apart >= 0.0 else "less"
    warning = (
        f"Carman's equation gives {carman.value / 1000:.3g} kPa, {abs(apart) * 100:.0f} % {way} than Ergun's; "
        "a dirty or broken bed has more than either. The gauge decides."
    )
    return PressureDrop(replace(ergun, warnings=(warning,)), carman)


def _packing_bead(population: BeadPopulation) -> Bead:
    return Bead(population.sauter_diameter_m, population.density_kg_per_m3, population.settled_void_frac)
