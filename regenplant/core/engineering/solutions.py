"""Density and strength of regenerant solutions: HCl, NaOH, H2SO4, NaCl.

Strength is always weight of pure substance per weight of solution (``_frac``; 0.32 is 32 wt%). Which method stands
behind which range, and what it was seen to be worth against read tables:

    HCl    0 to 37.6 %   5 to 60 °C    Laliberté                           0.1 %
    NaCl   0 to 26.6 %   0 to 60 °C    Laliberté                           0.05 %
    NaOH   0 to 51 %     5 to 80 °C    read 20 °C rows, fitted temperature 0.06 %
    H2SO4  0 to 98 %     5 to 50 °C    Laliberté below 5 %, ICT from 10 %  0.1 %

Outside, the functions refuse. Density does not identify sulfuric acid above 96 %: there the curve is flat and falls.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from regenplant.core.engineering import solution_tables as tables
from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import root, smooth, smooth_step
from regenplant.core.engineering.libraries import electrolyte_library
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange


@dataclass(frozen=True, slots=True)
class _Range:
    strength_high_frac: float
    temperature_low_kelvin: float
    temperature_high_kelvin: float
    source: str
    method: str
    uncertainty_frac: float
    inversion_high_frac: float


_RANGES: dict[str, _Range] = {
    "hcl": _Range(0.376, 278.15, 333.15, "laliberte", "Laliberté 2009", 0.001, 0.376),
    "nacl": _Range(0.266, 273.15, 333.15, "laliberte", "Laliberté 2009", 0.0005, 0.266),
    "naoh": _Range(0.51, 278.15, 353.15, "naoh_table", "rows at 20 °C (CRC to 40 %, public table above), temperature fitted to read rows", 0.0006, 0.51),
    "h2so4": _Range(0.98, 278.15, 323.15, "ict_h2so4", "Laliberté 2009 below 5 %, International Critical Tables from 10 %, blended between", 0.001, 0.96),
}  # fmt: skip


def valid_words(chemical: str) -> str:
    """The range in which the density of this solution is known, in words.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    """
    limits = _RANGES[substance(chemical).key]
    return (
        f"0 to {limits.strength_high_frac * 100:g} wt%, {limits.temperature_low_kelvin - 273.15:g} to "
        f"{limits.temperature_high_kelvin - 273.15:g} °C, about {limits.uncertainty_frac * 100:g} %"
    )


@lru_cache(maxsize=8)
def _laliberte_coefficients(cas: str) -> tuple[list[float], ...]:
    """The five density coefficients of one solute, as the library wants them."""
    library = electrolyte_library()
    library._load_electrochem_data()
    row = library.Laliberte_data.loc[cas].values
    return tuple([float(row[index])] for index in range(3, 8))


def _laliberte(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    library = electrolyte_library()
    c0, c1, c2, c3, c4 = _laliberte_coefficients(substance(chemical).cas)
    found = float(library.Laliberte_density_mix(temperature_kelvin, [strength_frac], c0, c1, c2, c3, c4))
    # Laliberté's own water is up to 5 ppm off IAPWS: put ours in, so that no step is left at strength zero.
    return (
        found * water.density_kg_per_m3(temperature_kelvin) / library.Laliberte_density_w(temperature_kelvin)
    )


def _naoh(strength_frac: float, temperature_kelvin: float) -> float:
    w, x = strength_frac, (temperature_kelvin - 293.15) / 100.0
    # the row of pure water is IAPWS to all its digits, so that no step is left at strength zero
    rows = (water.density_kg_per_m3(293.15), *tables.NAOH_20C_KG_PER_M3[1:])
    at_20 = smooth(tables.NAOH_WEIGHT_FRAC, rows, min(w, 0.50))
    if w > 0.50:  # one percent beyond the last row, along its slope
        at_20 += (w - 0.50) * (tables.NAOH_20C_KG_PER_M3[-1] - tables.NAOH_20C_KG_PER_M3[-2]) / 0.02
    (a1, a2, a3), (b1, b2, b3) = tables.NAOH_TEMPERATURE
    departure = x * w * (a1 + a2 * w + a3 * w * w) + x * x * w * (b1 + b2 * w + b3 * w * w)
    return at_20 * (water.density_kg_per_m3(temperature_kelvin) / water.density_kg_per_m3(293.15) + departure)


def _ict(strength_frac: float, temperature_kelvin: float) -> float:
    rows = [1000.0 * (c0 + c1 * temperature_kelvin) for _, c0, c1 in tables.ICT_H2SO4]
    return smooth(tables.H2SO4_WEIGHT_FRAC, rows, strength_frac)


def _h2so4(strength_frac: float, temperature_kelvin: float) -> float:
    share = smooth_step(strength_frac, 0.05, 0.10)
    dilute = _laliberte("h2so4", strength_frac, temperature_kelvin) if share < 1.0 else 0.0
    strong = _ict(strength_frac, temperature_kelvin) if share > 0.0 else 0.0
    return (1.0 - share) * dilute + share * strong


@lru_cache(maxsize=4096)
def _density(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    if strength_frac == 0.0:
        return water.density_kg_per_m3(temperature_kelvin)
    if chemical == "naoh":
        return _naoh(strength_frac, temperature_kelvin)
    if chemical == "h2so4":
        return _h2so4(strength_frac, temperature_kelvin)
    return _laliberte(chemical, strength_frac, temperature_kelvin)


def density_kg_per_m3(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """Density of a solution as a bare number, for inner loops.

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
    density_kg_per_m3 : float
        Density at atmospheric pressure [kg/m^3]

    Raises: OutOfRange outside the table in the module docstring.
    """
    key = substance(chemical).key
    limits = _RANGES[key]
    name = substance(chemical).formula
    if not 0.0 <= strength_frac <= limits.strength_high_frac:
        raise OutOfRange(
            f"{name} of {strength_frac * 100:.4g} wt%: its density is known here from 0 to "
            f"{limits.strength_high_frac * 100:g} wt%. Use the density on the lot's own record.",
            code="strength_out_of_range",
            seen=strength_frac,
            allowed_low=0.0,
            allowed_high=limits.strength_high_frac,
        )
    if not limits.temperature_low_kelvin <= temperature_kelvin <= limits.temperature_high_kelvin:
        raise OutOfRange(
            f"{name} at {temperature_kelvin - 273.15:.4g} °C: its density is known here from "
            f"{limits.temperature_low_kelvin - 273.15:g} to {limits.temperature_high_kelvin - 273.15:g} °C. "
            "Measure the density at the plant.",
            code="temperature_out_of_range",
            seen=temperature_kelvin,
            allowed_low=limits.temperature_low_kelvin,
            allowed_high=limits.temperature_high_kelvin,
        )
    return _density(key, strength_frac, temperature_kelvin)


def is_density_known(chemical: str, strength_frac: float, temperature_kelvin: float) -> bool:
    """Whether ``solution_density`` answers for this strength and temperature.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]
    """
    limits = _RANGES[substance(chemical).key]
    return (
        0.0 <= strength_frac <= limits.strength_high_frac
        and limits.temperature_low_kelvin <= temperature_kelvin <= limits.temperature_high_kelvin
    )


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

    Raises: OutOfRange outside the table in the module docstring.
    Source: laliberte, naoh_table with crc_solutions, ict_h2so4.
    """
    material = substance(chemical)
    limits = _RANGES[material.key]
    return Estimate(
        symbol="ρ",
        name=f"density of {material.formula} solution",
        value=density_kg_per_m3(chemical, strength_frac, temperature_kelvin),
        unit="kg/m^3",
        kind="density",
        formula="table ρ(w, T)",
        inputs=(
            Input("w", f"strength, weight of {material.formula} per weight of solution", strength_frac, "dimensionless", "strength"),
            Input("T", "temperature of the solution", temperature_kelvin, "kelvin", "temperature"),
        ),
        method=limits.method,
        source=limits.source,
        valid=valid_words(chemical),
        uncertainty_frac=limits.uncertainty_frac,
    )  # fmt: skip


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

    Raises: OutOfRange when the density is below water's or above the strongest solution known here, and for
    sulfuric acid above 96 %, where density does not tell the strength: titrate, or use the certificate.
    Range: as the density. A hydrometer good to 1 kg/m³ tells HCl to 0.2 points and NaOH to 0.1 points.
    """
    material = substance(chemical)
    limits = _RANGES[material.key]
    high = limits.inversion_high_frac
    lightest = _at(chemical, 0.0, temperature_kelvin)
    heaviest = _at(chemical, high, temperature_kelvin)
    if density_kg_per_m3 > heaviest and material.key == "h2so4":
        raise OutOfRange(
            f"Sulfuric acid of {density_kg_per_m3:.5g} kg/m³ at {temperature_kelvin - 273.15:.4g} °C lies above 96 wt%. "
            "There one point of strength changes the density by less than 1 kg/m³: titrate it, or use the certificate.",
            code="density_does_not_identify_strength",
            seen=density_kg_per_m3,
            allowed_high=heaviest,
        )
    slack = 1e-9 * density_kg_per_m3  # the last digits of a float are no reason to refuse pure water
    require_within(
        density_kg_per_m3,
        lightest - slack,
        heaviest + slack,
        f"density of {material.formula} at {temperature_kelvin - 273.15:.4g} °C",
        "kg/m³",
        "Check the hydrometer and the temperature, or the label on the tank.",
    )
    inside = min(max(density_kg_per_m3, lightest), heaviest)
    strength = 0.0
    if inside > lightest:
        strength = root(lambda w: _at(chemical, w, temperature_kelvin) - inside, 0.0, high)
    step = 1e-4
    near = min(max(strength, step), high - step)
    slope = (
        _at(chemical, near + step, temperature_kelvin) - _at(chemical, near - step, temperature_kelvin)
    ) / (2 * step)
    spread = limits.uncertainty_frac * density_kg_per_m3 / slope
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


def _at(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
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
    limits = _RANGES[substance(chemical).key]
    high = limits.strength_high_frac
    most = high * _at(chemical, high, temperature_kelvin)
    require_within(
        concentration_kg_per_m3, 0.0, most, f"concentration of {substance(chemical).formula}", "g/L"
    )
    return root(lambda w: w * _at(chemical, w, temperature_kelvin) - concentration_kg_per_m3, 0.0, high)


def temperature_range_kelvin(chemical: str) -> tuple[float, float]:
    """Temperatures between which the density of this solution is known (low, high), in kelvin.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``

    Returns
    -------
    range_kelvin : tuple
        Low and high [K]

    Raises: OutOfRange for a substance that is not in the table.
    """
    limits = _RANGES[substance(chemical).key]
    return limits.temperature_low_kelvin, limits.temperature_high_kelvin
