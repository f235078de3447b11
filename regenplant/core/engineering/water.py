"""Properties of water: density, viscosity, ion product.

Library formulas (IAPWS) behind a small cache: a plan asks for the same temperature a dozen times.
"""

from __future__ import annotations

from functools import lru_cache

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.libraries import water_library
from regenplant.core.engineering.ranges import require_within

FREEZING_KELVIN = 273.15
"""0 °C [K], exact by definition of the Celsius scale."""
BOILING_KELVIN = 373.15
REFERENCE_KELVIN = 298.15
"""25 °C, the reference temperature of conductivity [K]."""
SIXTY_FAHRENHEIT_KELVIN = 288.705555555555556
"""60 °F, the reference temperature of the US Baumé scale [K]."""
ATMOSPHERE_PASCAL = 101325.0
STANDARD_GRAVITY = 9.80665

_WHY = "Liquid water at atmospheric pressure."


@lru_cache(maxsize=512)
def density_kg_per_m3(temperature_kelvin: float) -> float:
    """Density of liquid water at 101 325 Pa.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    density_kg_per_m3 : float
        Density [kg/m^3]

    Raises: OutOfRange outside liquid water.
    Source: iapws95.
    """
    require_within(temperature_kelvin, FREEZING_KELVIN, BOILING_KELVIN, "water temperature", "K", _WHY)
    rho, _, _ = water_library()
    # At exactly 100 °C and one atmosphere the library may pick the steam root: stay a hair on the liquid side.
    return float(rho(min(temperature_kelvin, 373.12), ATMOSPHERE_PASCAL))


@lru_cache(maxsize=512)
def viscosity_pascal_s(temperature_kelvin: float) -> float:
    """Dynamic viscosity of liquid water at 101 325 Pa.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    viscosity_pascal_s : float
        Dynamic viscosity [Pa s]

    Raises: OutOfRange outside liquid water.
    Source: iapws_viscosity.
    """
    _, mu, _ = water_library()
    return float(mu(temperature_kelvin, density_kg_per_m3(temperature_kelvin)))


@lru_cache(maxsize=512)
def ion_product_molal(temperature_kelvin: float) -> float:
    """Ion product of water on the molal scale, (mol/kg)².

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    ion_product : float
        Kw, molal [-]

    Raises: OutOfRange outside liquid water.
    Source: iapws_kw; agrees with the Marshall & Franck 1981 table within 0.015 in pKw from 0 to 100 °C.
    """
    _, _, kw = water_library()
    return float(kw(temperature_kelvin, density_kg_per_m3(temperature_kelvin)))


def water_density(temperature_kelvin: float) -> Estimate:
    """Density of water with its working.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    density : Estimate
        Density [kg/m^3]

    Raises: OutOfRange outside liquid water.
    """
    return Estimate(
        symbol="ρ_w",
        name="density of water",
        value=density_kg_per_m3(temperature_kelvin),
        unit="kg/m^3",
        kind="density",
        formula="table IAPWS-95 at T",
        inputs=(Input("T", "water temperature", temperature_kelvin, "kelvin", "temperature"),),
        method="IAPWS-95 at 101 325 Pa",
        source="iapws95",
        valid="0 to 100 °C",
        uncertainty_frac=1e-4,
    )
