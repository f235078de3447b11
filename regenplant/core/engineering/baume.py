"""Degrees Baumé: the hydrometer scale of the acid and caustic trade (US scale, 60 °F/60 °F, heavier than water).

A hydrometer read at another temperature is not on the scale: it shows the density of the sample as it is, and the
strength follows from that density at that temperature.
"""

from __future__ import annotations

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.solutions import strength_from_density


def specific_gravity_from_baume(baume_degrees: float) -> float:
    """Specific gravity 60 °F/60 °F from degrees Baumé (US scale, heavier than water).

    Parameters
    ----------
    baume_degrees : float
        Degrees Baumé, 0 to 70 [-]

    Returns
    -------
    specific_gravity : float
        Density over that of water, both at 60 °F [-]

    Raises: OutOfRange outside 0 to 70 °Bé.
    Source: baume.
    """
    require_within(
        baume_degrees, 0.0, 70.0, "degrees Baumé", "°Bé", "The scale for liquids heavier than water."
    )
    return 145.0 / (145.0 - baume_degrees)


def baume_from_specific_gravity(specific_gravity: float) -> float:
    """Degrees Baumé (US scale, heavier than water) from specific gravity 60 °F/60 °F.

    Parameters
    ----------
    specific_gravity : float
        Density over that of water, both at 60 °F, 1 to 1.94 [-]

    Returns
    -------
    baume_degrees : float
        Degrees Baumé [-]

    Raises: OutOfRange for a liquid lighter than water.
    Source: baume.
    """
    require_within(specific_gravity, 1.0, 1.94, "specific gravity")
    return 145.0 - 145.0 / specific_gravity


def strength_from_baume(chemical: str, baume_degrees: float) -> Estimate:
    """Strength from degrees Baumé at the scale's own temperature, 60 °F.

    A hydrometer read at another temperature is not on the scale: use ``strength_from_density`` with the
    temperature of the sample.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    baume_degrees : float
        Degrees Baumé at 60 °F [-]

    Returns
    -------
    strength : Estimate
        Weight of pure substance per weight of solution [-]

    Raises: OutOfRange as ``strength_from_density``.
    """
    require_positive(baume_degrees, "degrees Baumé")
    water_60 = water.density_kg_per_m3(water.SIXTY_FAHRENHEIT_KELVIN)
    return strength_from_density(
        chemical, specific_gravity_from_baume(baume_degrees) * water_60, water.SIXTY_FAHRENHEIT_KELVIN
    )


def strength_from_hydrometer_baume(
    chemical: str, baume_degrees: float, temperature_kelvin: float
) -> Estimate:
    """Strength from a Baumé hydrometer (calibrated at 60 °F) read in a sample at another temperature.

    The hydrometer shows the density of the sample as it is: SG × ρ_water(60 °F). The small expansion of the
    glass itself (about 25 ppm/K) is neglected.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    baume_degrees : float
        Degrees Baumé as read [-]
    temperature_kelvin : float
        Temperature of the sample [K]

    Returns
    -------
    strength : Estimate
        Weight of pure substance per weight of solution [-]

    Raises: OutOfRange as ``strength_from_density``.
    """
    water_60 = water.density_kg_per_m3(water.SIXTY_FAHRENHEIT_KELVIN)
    return strength_from_density(
        chemical, specific_gravity_from_baume(baume_degrees) * water_60, temperature_kelvin
    )
