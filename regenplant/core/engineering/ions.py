"""Equivalents and "as CaCO3": the two bases in which the trade counts ions.

A basis is not a unit: it is named in words beside every number. Equivalent weights are molar mass divided by
charge, in kg per equivalent.
"""

from __future__ import annotations

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

CALCIUM_CARBONATE_KG_PER_EQ = 0.05004345
"""Equivalent weight of CaCO3: 100.0869 g/mol divided by 2 [kg/eq]."""

EQUIVALENT_WEIGHTS_KG_PER_EQ: dict[str, float] = {
    "Ca++": 0.020039,
    "Mg++": 0.0121525,
    "Na+": 0.022990,
    "K+": 0.039098,
    "NH4+": 0.018039,
    "Fe++": 0.0279225,
    "H+": 0.001008,
    "Cl-": 0.035453,
    "SO4--": 0.04803,
    "NO3-": 0.062005,
    "HCO3-": 0.061017,
    "CO3--": 0.0300045,
    "OH-": 0.017007,
    "F-": 0.018998,
    "SiO2": 0.060084,
    "CO2": 0.044010,
    "CaCO3": CALCIUM_CARBONATE_KG_PER_EQ,
    "NaHCO3": 0.084007,
    "Na2CO3": 0.052994,
    "Ca(OH)2": 0.0370465,
    "HCl": 0.036461,
    "H2SO4": 0.0490395,
    "NaOH": 0.039997,
    "NaCl": 0.058443,
    "NH3": 0.017031,
    "HNO3": 0.063012,
    "MgSO4": 0.0601840,
    "CaSO4": 0.0680690,
    "Ba++": 0.0686635,
    "Sr++": 0.043810,
    "Mn++": 0.027469,
    "Al+++": 0.00899385,
}
"""By ion or substance [kg/eq]. SiO2 and CO2 count one equivalent per mole, as a strong-base anion bed takes them up."""

CHLORIDE_KG_PER_EQ = EQUIVALENT_WEIGHTS_KG_PER_EQ["Cl-"]
SODIUM_KG_PER_EQ = EQUIVALENT_WEIGHTS_KG_PER_EQ["Na+"]


def equivalent_weight_kg_per_eq(species: str) -> float:
    """Equivalent weight of an ion or substance.

    Parameters
    ----------
    species : str
        "Ca++", "HCO3-", "NaOH" ...; the keys of ``EQUIVALENT_WEIGHTS_KG_PER_EQ``

    Returns
    -------
    equivalent_weight_kg_per_eq : float
        Mass of one equivalent [kg/eq]

    Raises: OutOfRange for a species that is not in the table.
    Source: equivalents.
    """
    weight = EQUIVALENT_WEIGHTS_KG_PER_EQ.get(species)
    if weight is None:
        known = ", ".join(EQUIVALENT_WEIGHTS_KG_PER_EQ)
        raise OutOfRange(
            f"No equivalent weight is known for {species!r}. Known are {known}.", code="unknown_species"
        )
    return weight


def as_calcium_carbonate_factor(species: str) -> float:
    """Mass as CaCO3 per mass of the species.

    Parameters
    ----------
    species : str
        As for ``equivalent_weight_kg_per_eq``

    Returns
    -------
    factor : float
        Multiply a concentration of the species by this to have it "as CaCO3" [-]

    Raises: OutOfRange for a species that is not in the table.
    Source: equivalents.
    """
    return CALCIUM_CARBONATE_KG_PER_EQ / equivalent_weight_kg_per_eq(species)


def eq_per_m3_from_calcium_carbonate(concentration_kg_per_m3: float) -> float:
    """Equivalents per volume from a concentration "as CaCO3".

    Parameters
    ----------
    concentration_kg_per_m3 : float
        Concentration as CaCO3, >= 0 [kg/m^3]

    Returns
    -------
    concentration_eq_per_m3 : float
        The same in equivalents [eq/m^3]

    Source: equivalents. Example: 0.001 kg/m^3 (1 mg/L) as CaCO3 is 0.01998 eq/m^3.
    """
    return concentration_kg_per_m3 / CALCIUM_CARBONATE_KG_PER_EQ


def calcium_carbonate_from_eq_per_m3(concentration_eq_per_m3: float) -> float:
    """Concentration "as CaCO3" from equivalents per volume.

    Parameters
    ----------
    concentration_eq_per_m3 : float
        Equivalents per volume, >= 0 [eq/m^3]

    Returns
    -------
    concentration_kg_per_m3 : float
        As CaCO3 [kg/m^3]

    Source: equivalents.
    """
    return concentration_eq_per_m3 * CALCIUM_CARBONATE_KG_PER_EQ


# --- other bases in which hardness and capacity are counted ---------------------------------------------------------
_CALCIUM_OXIDE_KG_PER_MOL = 0.0560774
HARDNESS_DEGREE_KG_PER_M3: dict[str, float] = {
    "french": 0.010,
    "german": 0.010 * 2.0 * CALCIUM_CARBONATE_KG_PER_EQ / _CALCIUM_OXIDE_KG_PER_MOL,
    "english": 64.79891e-6 / 4.54609e-3,
    "us_grain": 64.79891e-6 / 3.785411784e-3,
}
"""One degree of hardness as CaCO3 [kg/m^3]: French 10 mg/L CaCO3, German 10 mg/L CaO, English one grain per imperial
gallon, US one grain per US gallon; by definition."""

_KILOGRAIN_KG, _POUND_KG, _CUBIC_FOOT_M3 = 64.79891e-3, 0.45359237, 0.028316846592


def hardness_from_degrees(degrees: float, scale: str) -> float:
    """Hardness as CaCO3 from degrees of hardness.

    Parameters
    ----------
    degrees : float
        Degrees, >= 0
    scale : str
        "french", "german", "english" or "us_grain"

    Returns
    -------
    hardness_kg_per_m3 : float
        As CaCO3 [kg/m^3]

    Raises: OutOfRange for an unknown scale.
    Source: equivalents. Example: 1 German degree is 17.848 mg/L as CaCO3.
    """
    return degrees * _degree(scale)


def hardness_in_degrees(hardness_kg_per_m3: float, scale: str) -> float:
    """Degrees of hardness from hardness as CaCO3; the inverse of ``hardness_from_degrees``.

    Parameters
    ----------
    hardness_kg_per_m3 : float
        As CaCO3, >= 0 [kg/m^3]
    scale : str
        "french", "german", "english" or "us_grain"

    Returns
    -------
    degrees : float
        Degrees

    Raises: OutOfRange for an unknown scale.
    """
    return hardness_kg_per_m3 / _degree(scale)


def _degree(scale: str) -> float:
    degree = HARDNESS_DEGREE_KG_PER_M3.get(scale)
    if degree is None:
        known = ", ".join(HARDNESS_DEGREE_KG_PER_M3)
        raise OutOfRange(
            f"{scale!r} is no scale of hardness known here. Known are {known}.", code="unknown_scale"
        )
    return degree


def eq_per_m3_from_kilograin_per_ft3(capacity_kilograin_per_ft3: float) -> float:
    """Capacity in equivalents from kilograins as CaCO3 per cubic foot.

    Parameters
    ----------
    capacity_kilograin_per_ft3 : float
        Capacity as the US trade prints it, >= 0

    Returns
    -------
    capacity_eq_per_m3 : float
        The same [eq/m^3]

    Source: equivalents. Example: 21.869 kgr/ft³ is 1000 eq/m³ (1 eq/L).
    """
    kilogram = capacity_kilograin_per_ft3 * _KILOGRAIN_KG
    return kilogram / _CUBIC_FOOT_M3 / CALCIUM_CARBONATE_KG_PER_EQ


def dose_kg_per_m3_from_pound_per_ft3(dose_pound_per_ft3: float) -> float:
    """Dose in kilograms per cubic metre of resin from pounds per cubic foot, for tables that were printed so.

    Parameters
    ----------
    dose_pound_per_ft3 : float
        Dose as the US trade prints it, >= 0

    Returns
    -------
    dose_kg_per_m3 : float
        The same [kg/m^3]

    Source: equivalents. Example: 6 lb/ft³ is 96.11 kg/m³.
    """
    return dose_pound_per_ft3 * _POUND_KG / _CUBIC_FOOT_M3


def kilograin_per_ft3_from_eq_per_m3(capacity_eq_per_m3: float) -> float:
    """Kilograins as CaCO3 per cubic foot from equivalents; the inverse of ``eq_per_m3_from_kilograin_per_ft3``.

    Parameters
    ----------
    capacity_eq_per_m3 : float
        Capacity, >= 0 [eq/m^3]

    Returns
    -------
    capacity_kilograin_per_ft3 : float
        As the US trade prints it
    """
    return capacity_eq_per_m3 * CALCIUM_CARBONATE_KG_PER_EQ * _CUBIC_FOOT_M3 / _KILOGRAIN_KG


def applied_equivalents(chemical: str, mass_kg: float) -> Estimate:
    """Equivalents in a mass of regenerant counted as 100 %.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    mass_kg : float
        Mass as 100 % substance, > 0 [kg]

    Returns
    -------
    applied_eq : Estimate
        Equivalents [eq]

    Raises: OutOfRange for a mass that is not above zero.
    Source: equivalents.
    """
    require_positive(mass_kg, "mass of regenerant as 100 %", "kg")
    material = substance(chemical)
    return Estimate(
        symbol="n_a",
        name=f"equivalents of {material.formula} applied",
        value=mass_kg / material.equivalent_weight_kg_per_eq,
        unit="eq",
        kind="equivalents",
        formula="m_100 / EW",
        inputs=(
            Input("m_100", f"mass of {material.formula} as 100 %", mass_kg, "kg", "mass"),
            Input(
                "EW",
                f"equivalent weight of {material.formula}",
                material.equivalent_weight_kg_per_eq,
                "kg/eq",
            ),
        ),
        method="equivalents from molar mass and charge",
        source="equivalents",
        valid="pure substance; the mass is counted as 100 %",
    )
