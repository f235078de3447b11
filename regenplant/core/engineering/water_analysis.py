"""Working on an analysis: does it balance, what carbon does it hold, what does air do to it.

A laboratory gives ions, alkalinity and pH, each with its error. Together they are one too many: the balance of charges says
whether they fit, and alkalinity with pH gives the carbon that nobody measures.
"""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import straight_root
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.water_species import SPECIES, carbon_dioxide_mol_per_kg_atm
from regenplant.core.engineering.waters import HIGHEST_TOTAL_MOL_PER_M3, Water, inputs_of, species_of
from regenplant.core.errors import OutOfRange

IMBALANCE_WARNING_FRAC = 0.05
"""Above 5 % an analysis is usually called incomplete (common practice)."""
AIR_CARBON_DIOXIDE_PASCAL = 42.2
"""10^−3.38 atm, air of the 2010s; indoor air holds up to three times as much [Pa]."""


def charge_imbalance(analysis: Water, temperature_kelvin: float) -> Estimate:
    """How far an analysis with a measured pH is from electroneutral.

    Parameters
    ----------
    analysis : Water
        Totals with the measured pH
    temperature_kelvin : float
        Temperature of the pH, 273.15 to 333.15 [K]

    Returns
    -------
    imbalance : Estimate
        (cations − anions) / (cations + anions), over all charged species [-]

    Raises: OutOfRange without a measured pH: a charge balance that sets the pH is neutral by construction.
    """
    if analysis.ph is None:
        raise OutOfRange(
            "The analysis has no measured pH. Without it the ions cannot be checked against each other; measure the pH.",
            code="no_ph",
        )
    found = species_of(analysis, temperature_kelvin)
    cations = anions = 0.0
    per_volume = water.density_kg_per_m3(temperature_kelvin)
    for name, molality in found.molalities.items():
        charge = SPECIES[name].charge * molality * per_volume
        cations, anions = cations + max(charge, 0.0), anions + max(-charge, 0.0)
    value = (cations - anions) / (cations + anions)
    warnings: tuple[str, ...] = ()
    if abs(value) > IMBALANCE_WARNING_FRAC:
        side = "cations" if value > 0.0 else "anions"
        warnings = (
            f"The analysis has {abs(value) * 100:.1f} % more {side}; up to {IMBALANCE_WARNING_FRAC * 100:g} % is usual. "
            "Check the analysis or complete it before computing with it.",
        )
    return Estimate(
        symbol="E",
        name="charge imbalance of the analysis",
        value=value,
        unit="dimensionless",
        kind="fraction",
        formula="(N_c − N_a) / (N_c + N_a)",
        inputs=(
            Input("N_c", "charge of all cations at the measured pH", cations, "eq/m^3", "normality"),
            Input("N_a", "charge of all anions at the measured pH", anions, "eq/m^3", "normality"),
        ),
        method="electroneutrality over ions and pairs at the measured pH",
        source="charge_balance",
        valid="0 to 60 °C; 5 % is the usual limit (common practice)",
        warnings=warnings,
    )


def balanced(analysis: Water) -> Water:
    """The analysis completed to its own alkalinity of zero free charge: sodium or chloride makes up what is missing.

    Parameters
    ----------
    analysis : Water
        Totals with the measured pH at 25 °C

    Returns
    -------
    water : Water
        With sodium added (anions were in excess) or chloride added (cations were in excess), same pH

    Raises: OutOfRange without a measured pH.
    """
    if analysis.ph is None:
        raise OutOfRange("The analysis has no measured pH; measure it before completing it.", code="no_ph")
    result = analysis
    for _ in range(20):
        found = species_of(result, water.REFERENCE_KELVIN)
        missing = found.charge_eq_per_kg * water.density_kg_per_m3(water.REFERENCE_KELVIN)
        if abs(missing) < 1e-9:
            break
        if missing > 0.0:
            result = replace(result, chloride_mol_per_m3=result.chloride_mol_per_m3 + missing)
        else:
            result = replace(result, sodium_mol_per_m3=result.sodium_mol_per_m3 - missing)
    return result


def carbon_from_alkalinity(
    analysis: Water, alkalinity_eq_per_m3: float, ph: float, temperature_kelvin: float
) -> Estimate:
    """Total inorganic carbon from a titrated alkalinity and a measured pH.

    Parameters
    ----------
    analysis : Water
        The other ions (they set activities and pairs); its carbon is not looked at
    alkalinity_eq_per_m3 : float
        Titrated total alkalinity, > 0 [eq/m^3]
    ph : float
        Measured pH, 4.5 to 11; near the lower end alkalinity says little about carbon [-]
    temperature_kelvin : float
        Temperature of the pH, 273.15 to 333.15 [K]

    Returns
    -------
    carbon : Estimate
        Carbon dioxide with bicarbonate and carbonate [mol/m^3]

    Raises: OutOfRange for a pH outside 4.5 to 11, or an alkalinity that hydroxide alone exceeds at that pH.
    Source: phreeqc_data.
    """
    require_within(ph, 4.5, 11.0, "measured pH", why="Outside it alkalinity says nothing about carbon.")
    require_positive(alkalinity_eq_per_m3, "alkalinity", "eq/m³")

    def surplus(carbon: float) -> float:
        tried = replace(analysis, total_inorganic_carbon_mol_per_m3=carbon, ph=ph)
        found = species_of(tried, temperature_kelvin)
        # what charge the strong ions carry, the weak ones must answer: alkalinity held at this pH
        held = tried.alkalinity_eq_per_m3 - found.charge_eq_per_kg * water.density_kg_per_m3(
            temperature_kelvin
        )
        return held - alkalinity_eq_per_m3

    if surplus(0.0) > 0.0:
        raise OutOfRange(
            f"At pH {ph:.2f} hydroxide, silica and ammonia alone are more than the alkalinity of "
            f"{alkalinity_eq_per_m3:.4g} meq/L. Check the pH and the titration.",
            code="no_carbon_possible",
            seen=alkalinity_eq_per_m3,
        )
    high = max(2.0 * alkalinity_eq_per_m3, 1e-4)
    while surplus(high) < 0.0:
        high *= 2.0
        if high > HIGHEST_TOTAL_MOL_PER_M3:
            raise OutOfRange(
                f"pH {ph:.2f} with an alkalinity of {alkalinity_eq_per_m3:.4g} eq/m³ would need more carbon dioxide than "
                "water holds. Check the pH.",
                code="too_much_carbon",
            )
    value = straight_root(surplus, 0.0, high)
    return Estimate(
        symbol="c_TIC",
        name="total inorganic carbon",
        value=value,
        unit="mol/m^3",
        kind="amount_concentration",
        formula="solve for carbon: alkalinity held at the measured pH = alkalinity titrated",
        inputs=(
            Input("Alk", "titrated total alkalinity", alkalinity_eq_per_m3, "eq/m^3", "normality"),
            Input("pH", "measured pH", ph, "dimensionless", "ph"),
            *inputs_of(replace(analysis, total_inorganic_carbon_mol_per_m3=0.0), temperature_kelvin),
        ),
        method="carbonate equilibria with pairs and activity coefficients",
        source="phreeqc_data",
        valid="pH 4.5 to 11, 0 to 60 °C, fresh closed sample",
        warnings=(("Below pH 6 an error of 0.1 in pH moves the carbon by about 20 %.",) if ph < 6.0 else ()),
        uncertainty_frac=0.2 if ph < 6.0 else 0.05,
    )


def with_alkalinity(
    analysis: Water, alkalinity_eq_per_m3: float, ph: float, temperature_kelvin: float
) -> Water:
    """The analysis with its carbon from a titrated alkalinity and a measured pH, which it keeps.

    Parameters
    ----------
    analysis : Water
        The other ions
    alkalinity_eq_per_m3 : float
        Titrated total alkalinity, > 0 [eq/m^3]
    ph : float
        Measured pH, 4.5 to 11 [-]
    temperature_kelvin : float
        Temperature of the pH, 273.15 to 333.15 [K]

    Returns
    -------
    water : Water
        With carbon and measured pH

    Raises: OutOfRange as ``carbon_from_alkalinity``.
    """
    carbon = carbon_from_alkalinity(analysis, alkalinity_eq_per_m3, ph, temperature_kelvin)
    return replace(analysis, total_inorganic_carbon_mol_per_m3=carbon.value, ph=ph)


def carbon_in_equilibrium_with_air(
    temperature_kelvin: float,
    carbon_dioxide_pascal: float = AIR_CARBON_DIOXIDE_PASCAL,
    analysis: Water | None = None,
) -> Estimate:
    """Total inorganic carbon of a water that has come to equilibrium with air.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]
    carbon_dioxide_pascal : float
        Pressure of carbon dioxide in the air, 1 to 10 000 [Pa]
    analysis : Water or None
        The other ions; None for pure water

    Returns
    -------
    carbon : Estimate
        Total inorganic carbon [mol/m^3]

    Raises: OutOfRange outside these ranges.
    Source: phreeqc_data, CO2(g). Pure water at 25 °C: pH 5.6 and 0.99 µS/cm.
    """
    require_within(carbon_dioxide_pascal, 1.0, 1e4, "pressure of carbon dioxide", "Pa")
    solubility = carbon_dioxide_mol_per_kg_atm(temperature_kelvin)
    dissolved = solubility * carbon_dioxide_pascal / water.ATMOSPHERE_PASCAL
    base = analysis or Water()

    def surplus(carbon: float) -> float:
        open_water = replace(base, total_inorganic_carbon_mol_per_m3=carbon, ph=None)
        found = species_of(open_water, temperature_kelvin).molalities["CO2"]
        return found - dissolved

    low = dissolved * 500.0
    high = 4.0 * low + max(base.alkalinity_eq_per_m3, 0.0) + 0.1
    value = straight_root(surplus, low, high)
    return Estimate(
        symbol="c_TIC",
        name="total inorganic carbon in equilibrium with air",
        value=value,
        unit="mol/m^3",
        kind="amount_concentration",
        formula="solve for carbon: dissolved carbon dioxide = k_H · p",
        inputs=(
            Input(
                "k_H", "solubility of carbon dioxide", solubility / water.ATMOSPHERE_PASCAL, "mol/(kg*pascal)"
            ),
            Input("p", "pressure of carbon dioxide in the air", carbon_dioxide_pascal, "pascal", "pressure"),
            *inputs_of(base, temperature_kelvin),
        ),
        method="Henry's law with carbonate equilibria",
        source="phreeqc_data",
        valid="0 to 60 °C; air indoors may hold two to three times the carbon dioxide of outdoor air",
        uncertainty_frac=0.1,
    )
