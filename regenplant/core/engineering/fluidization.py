"""Beads in a fluid, as bare numbers: settling, void fraction of the layer they form, density of that layer.

Used by ``hydraulics`` (one bead in water), ``backwash`` (a population in water) and ``separation`` (two populations in
water, brine or caustic). Spheres in a wide vessel.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from regenplant.core.engineering import water
from regenplant.core.engineering.beads import LEAST_SPREAD_FRAC, BeadPopulation, PropertyCurve, tabulate
from regenplant.core.engineering.libraries import particle_library
from regenplant.core.engineering.ranges import require_positive, require_within

MODEL_UNCERTAINTY_FRAC = 0.15
"""Of the expansion model against real beds (spread of drag laws and exponents)."""
VOID_HIGH_FRAC = 0.90
"""Above this void fraction the bed is nearly a suspension and the model is not used."""


@dataclass(frozen=True, slots=True)
class Bead:
    """One resin bead in water: diameter, wet density, void fraction of the settled bed."""

    diameter_m: float
    density_kg_per_m3: float
    settled_void_frac: float = 0.38

    def __post_init__(self) -> None:
        require_within(self.diameter_m, 1e-4, 3e-3, "bead diameter", "m", "Resin beads are 0.3 to 1.2 mm.")
        require_within(self.density_kg_per_m3, 1000.0, 2000.0, "wet density of the bead", "kg/m³")
        require_within(self.settled_void_frac, 0.2, 0.6, "void fraction of the settled bed")


@dataclass(frozen=True, slots=True)
class Fluid:
    """What the beads are in: density [kg/m^3] and dynamic viscosity [Pa s]."""

    density_kg_per_m3: float
    viscosity_pascal_s: float

    def __post_init__(self) -> None:
        require_within(self.density_kg_per_m3, 900.0, 1600.0, "density of the fluid", "kg/m³")
        require_within(self.viscosity_pascal_s, 1e-4, 0.1, "viscosity of the fluid", "Pa·s")


def water_fluid(temperature_kelvin: float) -> Fluid:
    """Water as the fluid.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    fluid : Fluid
        Density and viscosity

    Raises: OutOfRange outside liquid water.
    Source: iapws95, iapws_viscosity.
    """
    return Fluid(water.density_kg_per_m3(temperature_kelvin), water.viscosity_pascal_s(temperature_kelvin))


def archimedes_number(diameter_m: float, density_kg_per_m3: float, fluid: Fluid) -> float:
    """Archimedes number d³ρ(ρ_p − ρ)g/µ²; below zero for a bead that floats.

    Parameters
    ----------
    diameter_m : float
        Bead diameter [m]
    density_kg_per_m3 : float
        Wet density of the bead [kg/m^3]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    archimedes : float
        Archimedes number [-]
    """
    lift = density_kg_per_m3 - fluid.density_kg_per_m3
    scale = fluid.density_kg_per_m3 * water.STANDARD_GRAVITY / fluid.viscosity_pascal_s**2
    return diameter_m**3 * lift * scale


@lru_cache(maxsize=8192)
def settling_velocity_m_per_s(diameter_m: float, density_kg_per_m3: float, fluid: Fluid) -> float:
    """Settling velocity of a single bead in a fluid at rest; below zero for a bead that rises.

    Parameters
    ----------
    diameter_m : float
        Bead diameter [m]
    density_kg_per_m3 : float
        Wet density of the bead [kg/m^3]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    velocity_m_per_s : float
        Terminal velocity, downward [m/s]

    Source: richardson_zaki (sphere drag of the fluids library); drag laws differ by 8 %.
    """
    lift = density_kg_per_m3 - fluid.density_kg_per_m3
    if lift == 0.0:
        return 0.0
    terminal, _ = particle_library()
    speed = float(
        terminal(
            D=diameter_m,
            rhop=fluid.density_kg_per_m3 + abs(lift),
            rho=fluid.density_kg_per_m3,
            mu=fluid.viscosity_pascal_s,
        )
    )
    return speed if lift > 0.0 else -speed


def khan_richardson_exponent(archimedes_number: float) -> float:
    """Exponent n of Richardson and Zaki, by Khan and Richardson: (4.8 − n)/(n − 2.4) = 0.043 Ar^0.57.

    Parameters
    ----------
    archimedes_number : float
        Archimedes number, > 0 [-]

    Returns
    -------
    exponent : float
        n, between 2.4 and 4.8 [-]

    Raises: OutOfRange for a number that is not above zero.
    Source: richardson_zaki.
    """
    x = 0.043 * require_positive(archimedes_number, "Archimedes number") ** 0.57
    return (4.8 + 2.4 * x) / (1.0 + x)


@dataclass(frozen=True, slots=True)
class ClassInFluid:
    """A class of beads in a fluid: share of the volume, settling velocity, Richardson-Zaki exponent."""

    share_frac: float
    terminal_m_per_s: float
    exponent: float

    def void_frac(self, velocity_m_per_s: float, settled_void_frac: float) -> float:
        """Void fraction of the layer this class forms; the model's end for one that is carried off or floats."""
        if self.terminal_m_per_s <= 0.0:
            return VOID_HIGH_FRAC
        free = (velocity_m_per_s / self.terminal_m_per_s) ** (1.0 / self.exponent)
        return min(max(free, settled_void_frac), VOID_HIGH_FRAC)


@lru_cache(maxsize=256)
def classes_in_fluid(population: BeadPopulation, fluid: Fluid) -> tuple[ClassInFluid, ...]:
    """A population's classes with their settling velocities in a fluid.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    classes : tuple of ClassInFluid
        Shares add up to one
    """
    found = []
    for beads in population.classes():
        diameter, density = beads.diameter_m, beads.density_kg_per_m3
        terminal = settling_velocity_m_per_s(diameter, density, fluid)
        number = archimedes_number(diameter, density, fluid)
        exponent = khan_richardson_exponent(number) if number > 0.0 else 4.8
        found.append(ClassInFluid(beads.share_frac, terminal, exponent))
    return tuple(found)


def expansion_of_classes(population: BeadPopulation, velocity_m_per_s: float, fluid: Fluid) -> float:
    """Expansion of a bed of many sizes: each class forms its own layer, the heights add up (serial model).

    Parameters
    ----------
    population : BeadPopulation
        The beads
    velocity_m_per_s : float
        Superficial velocity, >= 0 [m/s]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    expansion : float
        Height of the expanded over the settled bed, less one [-]

    Source: serial_model; classes beyond a void fraction of 0.9 are counted at 0.9.
    """
    solids = 1.0 - population.settled_void_frac
    height = sum(
        beads.share_frac * solids / (1.0 - beads.void_frac(velocity_m_per_s, population.settled_void_frac))
        for beads in classes_in_fluid(population, fluid)
    )
    return max(height - 1.0, 0.0)


def _density_moves_more(population: BeadPopulation, fluid: Fluid) -> bool:
    """Whether the spread in density moves the settling velocity more than the spread in diameter does."""
    lift = abs(population.density_kg_per_m3 - fluid.density_kg_per_m3)
    return (
        0.8 * population.density_spread_kg_per_m3 > 1.2 * max(population.log_spread, LEAST_SPREAD_FRAC) * lift
    )


@lru_cache(maxsize=256)
def settling_curve(population: BeadPopulation, fluid: Fluid) -> PropertyCurve:
    """How the settling velocity is spread over a population; below zero for beads that rise.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    curve : PropertyCurve
        Distribution of the settling velocity [m/s]
    """
    return tabulate(
        population,
        lambda diameter, density: settling_velocity_m_per_s(diameter, density, fluid),
        _density_moves_more(population, fluid),
    )


@lru_cache(maxsize=256)
def carry_over_curve(population: BeadPopulation, fluid: Fluid) -> PropertyCurve:
    """How the velocity at which a bead's layer reaches the end of the model (void fraction 0.9) is spread.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    curve : PropertyCurve
        Distribution of the superficial velocity [m/s]; zero or below for beads that float
    """

    def velocity(diameter: float, density: float) -> float:
        terminal = settling_velocity_m_per_s(diameter, density, fluid)
        if terminal <= 0.0:
            return terminal
        return terminal * VOID_HIGH_FRAC ** khan_richardson_exponent(
            archimedes_number(diameter, density, fluid)
        )

    return tabulate(population, velocity, _density_moves_more(population, fluid))


def layer_density_kg_per_m3(
    diameter_m: float,
    density_kg_per_m3: float,
    velocity_m_per_s: float,
    fluid: Fluid,
    settled_void_frac: float,
) -> float:
    """Density of the layer, beads and fluid together, that beads of one kind form in an upward flow.

    Parameters
    ----------
    diameter_m : float
        Bead diameter [m]
    density_kg_per_m3 : float
        Wet density of the bead [kg/m^3]
    velocity_m_per_s : float
        Superficial velocity, >= 0 [m/s]
    fluid : Fluid
        Density and viscosity
    settled_void_frac : float
        Void fraction of the settled bed [-]

    Returns
    -------
    layer_density_kg_per_m3 : float
        Density of the layer; packed at rest or while floating, that of the fluid once carried off [kg/m^3]

    Source: richardson_zaki for the void fraction.
    """
    lift = density_kg_per_m3 - fluid.density_kg_per_m3
    void = settled_void_frac
    if lift > 0.0:
        terminal = settling_velocity_m_per_s(diameter_m, density_kg_per_m3, fluid)
        exponent = khan_richardson_exponent(archimedes_number(diameter_m, density_kg_per_m3, fluid))
        void = min(max((velocity_m_per_s / terminal) ** (1.0 / exponent), settled_void_frac), 1.0)
    return fluid.density_kg_per_m3 + (1.0 - void) * lift


@lru_cache(maxsize=256)
def layer_density_curve(population: BeadPopulation, velocity_m_per_s: float, fluid: Fluid) -> PropertyCurve:
    """How the density of the layer they form is spread over a population in an upward flow.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    velocity_m_per_s : float
        Superficial velocity, >= 0 [m/s]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    curve : PropertyCurve
        Distribution of the layer density [kg/m³]
    """
    void = population.settled_void_frac
    return tabulate(
        population,
        lambda diameter, density: layer_density_kg_per_m3(diameter, density, velocity_m_per_s, fluid, void),
        _density_moves_more(population, fluid),
    )
