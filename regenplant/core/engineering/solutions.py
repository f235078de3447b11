"""Density, strength and concentration of regenerant solutions, each with its working.

Strength is always weight of pure substance per weight of solution (``_frac``; 0.32 is 32 wt%). The models and their
ranges stand in ``density_models``. Density does not identify sulfuric acid above 96 %: there the curve is flat and falls.
"""

from __future__ import annotations

from regenplant.core.engineering.density_models import (
    density_kg_per_m3,
    is_density_known,
    known_limits,
    temperature_range_kelvin,
    valid_words,
)
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import root
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.substances import Substance, substance
from regenplant.core.errors import OutOfRange

__all__ = [
    "amount_concentration_mol_per_m3",
    "density_kg_per_m3",
    "is_density_known",
    "mass_concentration",
    "normality_eq_per_m3",
    "solution_density",
    "strength_from_density",
    "strength_from_mass_concentration",
    "temperature_range_kelvin",
    "valid_words",
]


def solution_density(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    """Density of a solution with its working.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    density : Estimate
        Density at atmospheric pressure [kg/m^3]

    Raises: OutOfRange outside the ranges of ``density_models``. A lot's certificate or plant check goes before it.
    Source: laliberte, crc_solutions, naoh_table, ict_h2so4.
    """
    material, limits = substance(chemical), known_limits(chemical)
    return Estimate(
        symbol="ρ",
        name=f"density of {material.formula} solution",
        value=density_kg_per_m3(chemical, strength_frac, temperature_kelvin),
        unit="kg/m^3",
        kind="density",
        formula="table ρ(w, T)",
        inputs=(
            _strength_input(material, strength_frac),
            Input("T", "temperature of the solution", temperature_kelvin, "kelvin", "temperature"),
        ),
        method=limits.method,
        source=limits.source,
        valid=valid_words(chemical),
        uncertainty_frac=limits.uncertainty_at(temperature_kelvin),
    )


def _strength_input(material: Substance, strength_frac: float) -> Input:
    words = f"strength, weight of {material.formula} per weight of solution"
    return Input("w", words, strength_frac, "dimensionless", "strength")


def strength_from_density(chemical: str, density_kg_per_m3: float, temperature_kelvin: float) -> Estimate:
    """Strength of a solution from its density at the temperature of reading (a hydrometer in the sample).

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    density_kg_per_m3 : float
        Density read [kg/m^3]
    temperature_kelvin : float
        Temperature of the sample when it was read [K]

    Returns
    -------
    strength : Estimate
        Weight of pure substance per weight of solution [-]

    Raises: OutOfRange when the density is not one between water's and the strongest solution's known here, and for
    sulfuric acid above 96 %, where density does not tell the strength: titrate, or use the certificate.
    Range: as the density. A hydrometer good to 1 kg/m³ tells HCl to 0.2 points and NaOH to 0.1 points.
    """
    material, limits = substance(chemical), known_limits(chemical)
    high = limits.inversion_high_frac
    strength = _inverted(material, high, density_kg_per_m3, temperature_kelvin)
    near, step = min(max(strength, 1e-4), high - 1e-4), 1e-4
    slope = abs(
        _at(chemical, near + step, temperature_kelvin) - _at(chemical, near - step, temperature_kelvin)
    ) / (2.0 * step)
    spread = limits.uncertainty_at(temperature_kelvin) * density_kg_per_m3 / slope
    return Estimate(
        symbol="w",
        name=f"strength of {material.formula}, weight per weight of solution",
        value=strength,
        unit="dimensionless",
        kind="strength",
        formula="solve ρ(w, T) = ρ_read",
        inputs=(
            Input("ρ_read", "density read", density_kg_per_m3, "kg/m^3", "density"),
            Input("T", "temperature of the sample", temperature_kelvin, "kelvin", "temperature"),
        ),
        method=f"inversion of {limits.method}",
        source=limits.source,
        valid=f"0 to {high * 100:g} wt%, {limits.temperature_low_kelvin - 273.15:g} to {limits.temperature_high_kelvin - 273.15:g} °C",
        warnings=_strength_warnings(material.key, strength),
        uncertainty_frac=spread / strength if strength > 0 else None,
    )


def _inverted(material: Substance, high_frac: float, density: float, temperature_kelvin: float) -> float:
    """The strength at which the table shows this density; ammonia is lighter than water, the others heavier."""
    ends = (_at(material.key, 0.0, temperature_kelvin), _at(material.key, high_frac, temperature_kelvin))
    lightest, heaviest = min(ends), max(ends)
    if density > heaviest and material.key == "h2so4":
        raise OutOfRange(
            f"Sulfuric acid of {density:.5g} kg/m³ at {temperature_kelvin - 273.15:.4g} °C lies above 96 wt%. "
            "There one point of strength changes the density by less than 1 kg/m³: titrate it, or use the certificate.",
            code="density_does_not_identify_strength",
            seen=density,
            allowed_high=heaviest,
        )
    slack = 1e-9 * density  # the last digits of a float are no reason to refuse pure water
    require_within(
        density,
        lightest - slack,
        heaviest + slack,
        f"density of {material.formula} at {temperature_kelvin - 273.15:.4g} °C",
        "kg/m³",
        "Check the hydrometer and the temperature, or the label on the tank.",
    )
    inside = min(max(density, lightest), heaviest)
    if inside == ends[0]:
        return 0.0
    return root(lambda w: _at(material.key, w, temperature_kelvin) - inside, 0.0, high_frac)


def _at(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """``density_kg_per_m3`` under a name that an argument of that name does not hide."""
    return density_kg_per_m3(chemical, strength_frac, temperature_kelvin)


def _strength_warnings(key: str, strength_frac: float) -> tuple[str, ...]:
    if key == "h2so4" and strength_frac > 0.90:
        return (
            "Above 90 % the density of sulfuric acid is nearly flat; titrate when the strength decides a dose.",
        )
    return ()


def mass_concentration(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    """Mass of pure substance per volume of solution (the trade's g/L).

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    concentration : Estimate
        Mass concentration as 100 % substance [kg/m^3]

    Raises: OutOfRange as the density.
    """
    density = solution_density(chemical, strength_frac, temperature_kelvin)
    return Estimate(
        symbol="c_m",
        name=f"mass of {substance(chemical).formula} per volume of solution, as 100 %",
        value=strength_frac * density.value,
        unit="kg/m^3",
        kind="dose",
        formula="w · ρ",
        inputs=(density.inputs[0], density.as_input()),
        method=density.method,
        source=density.source,
        valid=density.valid,
        uncertainty_frac=density.uncertainty_frac,
    )


def amount_concentration_mol_per_m3(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """Amount of substance per volume of solution.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    concentration_mol_per_m3 : float
        Amount concentration; divide by 1000 for mol/L [mol/m^3]

    Raises: OutOfRange as the density.
    """
    density = _at(chemical, strength_frac, temperature_kelvin)
    return strength_frac * density / substance(chemical).molar_mass_kg_per_mol


def normality_eq_per_m3(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """Equivalents per volume of solution.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    concentration_eq_per_m3 : float
        Equivalents per volume; divide by 1000 for eq/L [eq/m^3]

    Raises: OutOfRange as the density.
    """
    charge = substance(chemical).charge_eq_per_mol
    return charge * amount_concentration_mol_per_m3(chemical, strength_frac, temperature_kelvin)


def strength_from_mass_concentration(
    chemical: str, concentration_kg_per_m3: float, temperature_kelvin: float
) -> float:
    """Strength by weight of a solution whose mass concentration (g/L) is known.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    concentration_kg_per_m3 : float
        Mass of pure substance per volume of solution, >= 0 [kg/m^3]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    strength_frac : float
        Weight of pure substance per weight of solution [-]

    Raises: OutOfRange when more is asked than the strongest solution known here holds.
    """
    high = known_limits(chemical).strength_high_frac
    most = high * _at(chemical, high, temperature_kelvin)
    require_within(
        concentration_kg_per_m3, 0.0, most, f"concentration of {substance(chemical).formula}", "g/L"
    )
    return root(lambda w: w * _at(chemical, w, temperature_kelvin) - concentration_kg_per_m3, 0.0, high)
