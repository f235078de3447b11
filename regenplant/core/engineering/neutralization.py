"""Spent regenerant: what is left over, the pH it has, and what neutralizes it.

A charge balance at 25 °C. It plans; it does not discharge: near neutral a 1 % slip in volume moves an unbuffered
mixture by four pH units, carbonate and silica from the resin are not known beforehand, and the record of a discharge
is a measured pH. Therefore the neutralizer is always planned in two stages with a measurement between.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.equilibria import mixture_ph, strong_mixture
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.substances import substance

FIRST_STAGE_SHARE = 0.90
"""Share of the neutralizer given before the pH is measured; common practice, plant-editable by argument."""
HEAT_J_PER_EQ = 57_000.0
"""Heat of neutralization of strong acid and base [J/eq]; 56.6 kJ/eq read, 55.8 from formation enthalpies."""
MIX_HEAT_CAPACITY_J_PER_KG_K = 4050.0
MEASURED_PH_DECIDES = "A plan figure at 25 °C for strong acid and base only. The measured pH decides."

MOST_EXCESS_EQ_PER_M3 = 6000.0
"""Beyond 6 eq/L no pH is predicted."""


def excess(applied_eq: Estimate, eluted_eq: Estimate, character: str) -> Estimate:
    """Acid (+) or alkali (−) left in the spent regenerant.

    Parameters
    ----------
    applied_eq : Estimate
        Equivalents applied [eq]
    eluted_eq : Estimate
        Equivalents taken up by the resin in exchange [eq]
    character : str
        "acid", "base" or "salt"

    Returns
    -------
    excess : Estimate
        Strong acid left, positive, or strong base left, negative; 0 for a salt [eq]

    Source: charge_balance.
    """
    left = applied_eq.value - eluted_eq.value
    value = {"acid": left, "base": -left, "salt": 0.0}[character]
    formula = {
        "acid": f"{applied_eq.symbol} − {eluted_eq.symbol}",
        "base": f"−({applied_eq.symbol} − {eluted_eq.symbol})",
        "salt": f"0 · {applied_eq.symbol}",
    }[character]
    warnings: tuple[str, ...] = (MEASURED_PH_DECIDES,)
    if character == "base":
        warnings = (
            *warnings,
            "Bicarbonate, carbonic acid and silica on the resin take up more caustic than counted.",
        )
    return Estimate(
        symbol="n_x",
        name="excess acid (+) or alkali (−) in the spent regenerant",
        value=value,
        unit="eq",
        kind="equivalents",
        formula=formula,
        inputs=(applied_eq.as_input(), eluted_eq.as_input()),
        method="charge balance",
        source="charge_balance",
        valid="strong acid and base",
        warnings=warnings,
    )


def waste_ph(excess_eq: Estimate, volume: Estimate) -> Estimate:
    """pH of the spent regenerant, mixed, from its excess.

    Parameters
    ----------
    excess_eq : Estimate
        Acid (+) or alkali (−) left [eq]
    volume : Estimate
        Volume of the waste, > 0 [m^3]

    Returns
    -------
    ph : Estimate
        pH at 25 °C [-]

    Raises: OutOfRange for a volume that is not above zero or an excess beyond 6 eq/L.
    Source: charge_balance, phreeqc_constants. Where the composition is known, ``equilibria.mixture_ph`` knows more.
    """
    require_positive(volume.value, "waste volume", "m³")
    concentration = excess_eq.value / volume.value
    most = MOST_EXCESS_EQ_PER_M3
    require_within(concentration, -most, most, "excess of acid or alkali per volume", "eq/m³")
    return Estimate(
        symbol="pH",
        name="pH of the mixed waste, predicted",
        value=mixture_ph(strong_mixture(concentration)),
        unit="dimensionless",
        kind="ph",
        formula="solve charge balance at n_x / V_x",
        inputs=(excess_eq.as_input(), volume.as_input()),
        method="charge balance of strong acid or base, 25 °C",
        source="phreeqc_constants",
        valid="strong acid and base at 25 °C",
        warnings=(MEASURED_PH_DECIDES,),
    )


@dataclass(frozen=True, slots=True)
class Neutralizer:
    """A neutralizer in two stages. ``chemical`` is the key of the substance to give."""

    chemical: str
    first_eq: Estimate
    second_eq: Estimate
    first_kg_100: Estimate
    second_kg_100: Estimate


def neutralizer(excess_eq: Estimate, first_share_frac: float = FIRST_STAGE_SHARE) -> Neutralizer:
    """What neutralizes an excess, in two stages with a measured pH between.

    Parameters
    ----------
    excess_eq : Estimate
        Acid (+) or alkali (−) left [eq]
    first_share_frac : float
        Share given before the pH is measured, 0.5 to 0.95 [-]

    Returns
    -------
    neutralizer : Neutralizer
        NaOH for acid, HCl for alkali; equivalents and mass as 100 %

    Raises: OutOfRange for a share outside its range.
    Source: charge_balance; the two stages are common practice.
    """
    require_within(first_share_frac, 0.5, 0.95, "share of the first stage")
    chemical = "naoh" if excess_eq.value >= 0 else "hcl"
    share = Input("f", "share given before the pH is measured", first_share_frac, "dimensionless", "fraction")
    first = _stage(excess_eq, share, chemical, "first", "n_1", first_share_frac, "f")
    second = _stage(excess_eq, share, chemical, "second", "n_2", 1.0 - first_share_frac, "(1 − f)")
    return Neutralizer(chemical, first, second, _mass(chemical, first, "m_1"), _mass(chemical, second, "m_2"))


def _stage(
    excess_eq: Estimate, share: Input, chemical: str, order: str, symbol: str, factor: float, factor_text: str
) -> Estimate:
    sign = "" if excess_eq.value >= 0 else "−"
    when = "before measuring the pH" if order == "first" else "at most, after measuring the pH"
    return Estimate(
        symbol=symbol,
        name=f"{substance(chemical).formula} for neutralization, {order} stage, {when}",
        value=abs(excess_eq.value) * factor,
        unit="eq",
        kind="equivalents",
        formula=f"{sign}{excess_eq.symbol} · {factor_text}",
        inputs=(excess_eq.as_input(), share),
        method="charge balance in two stages",
        source="charge_balance",
        valid="strong acid and base",
        warnings=(MEASURED_PH_DECIDES,),
    )


def _mass(chemical: str, stage_eq: Estimate, symbol: str) -> Estimate:
    material = substance(chemical)
    weight = material.equivalent_weight_kg_per_eq
    return Estimate(
        symbol=symbol,
        name=f"{stage_eq.name}, as 100 %",
        value=stage_eq.value * weight,
        unit="kg",
        kind="mass",
        formula=f"{stage_eq.symbol} · EW",
        inputs=(
            stage_eq.as_input(),
            Input("EW", f"equivalent weight of {material.formula}", weight, "kg/eq"),
        ),
        method="equivalents from molar mass and charge",
        source="equivalents",
        warnings=stage_eq.warnings,
    )


def stock_volume(mass: Estimate, strength_frac: float, density_kg_per_m3: Estimate) -> Estimate:
    """Volume of a stock that holds a mass counted as 100 %.

    Parameters
    ----------
    mass : Estimate
        Mass as 100 % [kg]
    strength_frac : float
        Strength of the stock, > 0 [-]
    density_kg_per_m3 : Estimate
        Density of the stock [kg/m^3]

    Returns
    -------
    volume : Estimate
        Volume of stock [m^3]

    Raises: OutOfRange for a strength that is not above zero.
    Source: mass_balance.
    """
    require_positive(strength_frac, "strength of the stock")
    return Estimate(
        symbol=f"V_{mass.symbol.removeprefix('m_')}",
        name=mass.name.removesuffix(", as 100 %") + ", volume of stock",
        value=mass.value / (strength_frac * density_kg_per_m3.value),
        unit="m^3",
        kind="liquid_volume",
        formula=f"{mass.symbol} / (w_s · {density_kg_per_m3.symbol})",
        inputs=(
            mass.as_input(),
            Input("w_s", "strength of the stock", strength_frac, "dimensionless", "strength"),
            density_kg_per_m3.as_input(),
        ),
        method="mass balance",
        source="mass_balance",
        warnings=mass.warnings,
        uncertainty_frac=density_kg_per_m3.uncertainty_frac,
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

    Raises: OutOfRange for a mass that is not above zero.
    Source: neutralization_heat.
    """
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
        uncertainty_frac=0.03,
    )


def ion_load(
    ion_name: str, ion_symbol: str, equivalents_eq: float, ion_kg_per_eq: float, basis: str
) -> Estimate:
    """Mass of an ion that goes to the waste, for the permit's budget.

    Parameters
    ----------
    ion_name : str
        "chloride", "sodium", "sulfate"
    ion_symbol : str
        Symbol in the working, for example "Cl"
    equivalents_eq : float
        Equivalents counted, >= 0 [eq]
    ion_kg_per_eq : float
        Equivalent weight of the ion [kg/eq]
    basis : str
        What is counted, in words

    Returns
    -------
    mass : Estimate
        Mass of the ion [kg]

    Source: equivalents.
    """
    return Estimate(
        symbol=f"m_{ion_symbol}",
        name=f"{ion_name} load, {basis}",
        value=equivalents_eq * ion_kg_per_eq,
        unit="kg",
        kind="mass",
        formula=f"n_{ion_symbol} · EW",
        inputs=(
            Input(f"n_{ion_symbol}", f"equivalents of {ion_name}", equivalents_eq, "eq", "equivalents"),
            Input("EW", f"equivalent weight of {ion_name}", ion_kg_per_eq, "kg/eq"),
        ),
        method="equivalents",
        source="equivalents",
        valid="regenerant and neutralizer; what the resin held is not known by ion",
    )
