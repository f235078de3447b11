"""Heat of neutralization: what acid and base give where they meet, and how warm a waste gets by it.

One figure per equivalent of strong acid and strong base; what weak species add stands in ``spent.pour_together``.
"""

from __future__ import annotations

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within

HEAT_J_PER_EQ = 57_000.0
"""Heat of neutralization of strong acid and base [J/eq]; 56.6 kJ/eq read, 55.8 from formation enthalpies."""
MIX_HEAT_CAPACITY_J_PER_KG_K = 4050.0
MIX_DENSITY_KG_PER_M3 = 1000.0
"""A waste is taken as heavy as water: with the heat capacity above, good to 3 % of a rise."""
WEAK_SPECIES_NOT_COUNTED = "The heat of neutralization is that of strong acid and strong base; carbonate, silica, ammonia and bisulfate give less or more."


def neutralized(acid_eq: float, base_eq: float) -> Estimate:
    """Equivalents of free acid and free hydroxide that meet when wastes are poured together.

    Parameters
    ----------
    acid_eq : float
        Free strong acid, >= 0 [eq]
    base_eq : float
        Free hydroxide, >= 0 [eq]

    Returns
    -------
    met : Estimate
        The lower of the two [eq]

    Raises: OutOfRange for a number below zero.
    Source: charge_balance.
    """
    require_within(acid_eq, 0.0, 1e9, "free acid", "eq")
    require_within(base_eq, 0.0, 1e9, "free hydroxide", "eq")
    return Estimate(
        symbol="n",
        name="equivalents of acid and hydroxide that meet",
        value=min(acid_eq, base_eq),
        unit="eq",
        kind="equivalents",
        formula="lowest of n_H, n_OH",
        inputs=(
            Input("n_H", "free strong acid", acid_eq, "eq", "equivalents"),
            Input("n_OH", "free hydroxide", base_eq, "eq", "equivalents"),
        ),
        method="charge balance",
        source="charge_balance",
        valid="strong acid and base",
        warnings=(WEAK_SPECIES_NOT_COUNTED,),
    )


def heat_of_neutralization(neutralized_eq: float) -> Estimate:
    """Heat that strong acid and base give when they meet.

    Parameters
    ----------
    neutralized_eq : float
        Equivalents of acid and base that meet, >= 0 [eq]

    Returns
    -------
    heat : Estimate
        Heat given off [J]

    Raises: OutOfRange for a number below zero.
    Source: neutralization_heat.
    """
    require_within(neutralized_eq, 0.0, 1e9, "equivalents neutralized", "eq")
    return Estimate(
        symbol="Q_n",
        name="heat of neutralization",
        value=neutralized_eq * HEAT_J_PER_EQ,
        unit="joule",
        kind="energy",
        formula="n · h",
        inputs=(
            Input("n", "equivalents neutralized", neutralized_eq, "eq", "equivalents"),
            Input("h", "heat of neutralization", HEAT_J_PER_EQ, "J/eq"),
        ),
        method="heat per equivalent",
        source="neutralization_heat",
        valid="strong acid and base in dilute solution; heat of dilution of a stock comes on top",
        warnings=(WEAK_SPECIES_NOT_COUNTED,),
        uncertainty_frac=0.03,
    )


def temperature_rise(neutralized_eq: float, mixture_kg: float) -> Estimate:
    """Adiabatic rise on neutralization.

    Parameters
    ----------
    neutralized_eq : float
        Equivalents of acid and base that meet, >= 0 [eq]
    mixture_kg : float
        Mass of the mixture, > 0 [kg]

    Returns
    -------
    rise : Estimate
        Temperature rise [K]

    Raises: OutOfRange for a mass that is not above zero or equivalents below zero.
    Source: neutralization_heat. ``spent.pour_together`` sets beside it what weak species add.
    """
    require_within(neutralized_eq, 0.0, 1e9, "equivalents neutralized", "eq")
    require_positive(mixture_kg, "mass of the mixture", "kg")
    return Estimate(
        symbol="ΔT",
        name="temperature rise on neutralization",
        value=neutralized_eq * HEAT_J_PER_EQ / (mixture_kg * MIX_HEAT_CAPACITY_J_PER_KG_K),
        unit="kelvin",
        kind="temperature_rise",
        formula="n · h / (m · c)",
        inputs=(
            Input("n", "equivalents neutralized", neutralized_eq, "eq", "equivalents"),
            Input("h", "heat of neutralization", HEAT_J_PER_EQ, "J/eq"),
            Input("m", "mass of the mixture", mixture_kg, "kg", "mass"),
            Input("c", "specific heat of the mixture", MIX_HEAT_CAPACITY_J_PER_KG_K, "J/(kg*kelvin)"),
        ),
        method="heat balance",
        source="neutralization_heat",
        valid="strong acid and base, no loss",
        warnings=(WEAK_SPECIES_NOT_COUNTED,),
        uncertainty_frac=0.03,
    )
