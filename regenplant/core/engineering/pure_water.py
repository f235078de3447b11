"""Conductivity of pure water, and the limiting conductances it is built on.

Limiting conductances by McCleskey 2011; one factor (1.00494) sets neutral water at 25 °C to 18.18 MΩ·cm, as read.
Above 90 °C, where McCleskey's fit ends, the factor runs to 0.99634, which sets 100 °C to the 1.29 MΩ·cm read there.
"""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

from regenplant.core.engineering import water
from regenplant.core.engineering.conductivity_tables import MCCLESKEY
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within

WATER_SCALE = 1.00494
WATER_SCALE_AT_100 = 0.99634
_PER_M2 = 1e-4  # S·cm²/mol to S·m²/mol


@lru_cache(maxsize=256)
def limiting_conductance_s_m2_per_mol(electrolyte: str, temperature_kelvin: float) -> float:
    """Limiting conductance of an electrolyte, per equivalent (for HCl, NaOH, NaCl, KCl that is per mole).

    Parameters
    ----------
    electrolyte : str
        A key of ``MCCLESKEY``: "HCl", "NaOH", "NaCl", "KCl", "CaCl2" ...
    temperature_kelvin : float
        Temperature, 273.15 to 373.15 [K]

    Returns
    -------
    conductance : float
        Limiting conductance [S m^2/mol]

    Raises: OutOfRange outside 0 to 100 °C.
    Source: mccleskey, fitted from 5 to 90 °C.
    """
    require_within(temperature_kelvin, 273.15, 373.15, "temperature of the water", "K")
    c1, c2, c3 = MCCLESKEY[electrolyte]
    t = temperature_kelvin - 273.15
    return (c1 * t * t + c2 * t + c3) * _PER_M2


@lru_cache(maxsize=256)
def water_parts(temperature_kelvin: float) -> tuple[float, float, float]:
    """What pure water conducts by, one after the other.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    parts : tuple
        Ion product K = ρ²·Kw [mol²/m⁶], limiting conductance λ_w of its ions with the scale [S·m²/mol], density [kg/m³]

    Raises: OutOfRange outside 0 to 100 °C.
    Source: iapws_kw, mccleskey.
    """
    rho = water.density_kg_per_m3(temperature_kelvin)
    product = water.ion_product_molal(temperature_kelvin) * rho * rho
    conductance = (
        limiting_conductance_s_m2_per_mol("HCl", temperature_kelvin)
        + limiting_conductance_s_m2_per_mol("NaOH", temperature_kelvin)
        - limiting_conductance_s_m2_per_mol("NaCl", temperature_kelvin)
    )
    beyond_fit = min(max((temperature_kelvin - 363.15) / 10.0, 0.0), 1.0)
    scale = WATER_SCALE + beyond_fit * (WATER_SCALE_AT_100 - WATER_SCALE)
    return product, conductance * scale, rho


def water_ions_s_m2_per_mol(temperature_kelvin: float) -> float:
    """Limiting conductance of H⁺ and OH⁻ together, as pure water needs it.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    conductance : float
        λ_w [S m^2/mol]

    Raises: OutOfRange outside 0 to 100 °C.
    Source: mccleskey, set to the read 18.18 MΩ·cm at 25 °C.
    """
    return water_parts(temperature_kelvin)[1]


def pure_water_conductivity(temperature_kelvin: float) -> Estimate:
    """Conductivity of pure water.

    Parameters
    ----------
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    conductivity : Estimate
        Conductivity [S/m]

    Raises: OutOfRange outside 0 to 100 °C.
    Source: mccleskey with iapws_kw; set to the read 18.18 MΩ·cm at 25 °C and 1.29 at 100 °C.
    """
    product, conductance, _ = water_parts(temperature_kelvin)
    return Estimate(
        symbol="κ_w",
        name="conductivity of pure water",
        value=conductance * sqrt(product),
        unit="S/m",
        kind="conductivity",
        formula="λ_w · K^0.5",
        inputs=(
            Input("λ_w", f"limiting conductance of H⁺ and OH⁻ at {temperature_kelvin - 273.15:g} °C", conductance, "S*m^2/mol"),
            Input("K", "ion product of water, per volume", product, "mol^2/m^6"),
        ),
        method="McCleskey's limiting conductances with the IAPWS ion product, set to 18.18 MΩ·cm at 25 °C",
        source="mccleskey",
        valid="5 to 90 °C within 1 %, 0 to 100 °C within 1.5 %",
        uncertainty_frac=0.01 if 278.15 <= temperature_kelvin <= 363.15 else 0.015,
    )  # fmt: skip


def resistivity_ohm_m(conductivity_siemens_per_m: float) -> float:
    """Resistivity, the exact reciprocal of conductivity.

    Parameters
    ----------
    conductivity_siemens_per_m : float
        Conductivity, > 0 [S/m]

    Returns
    -------
    resistivity_ohm_m : float
        Resistivity; 1 MΩ·cm is 10 000 ohm·m [ohm m]

    Raises: OutOfRange for a conductivity that is not above zero.
    """
    return 1.0 / require_positive(conductivity_siemens_per_m, "conductivity", "S/m")
