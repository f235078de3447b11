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
MEASURED_PH_DECIDES = "Waste and neutralizer are plan figures at 25 °C. Give the neutralizer in two stages; the measured pH decides."
WEAK_ACIDS_TAKE_MORE = "Bicarbonate, carbonic acid and silica on the resin take up more caustic than counted."

MOST_EXCESS_EQ_PER_M3 = 6000.0
"""Beyond 6 eq/L no pH is predicted."""


def excess(
    applied_eq: Estimate, eluted_eq: Estimate, character: str, *, holds_weak_acids: bool = True
) -> Estimate:
    """Acid (+) or alkali (−) left in the spent regenerant.

    Parameters
    ----------
    applied_eq : Estimate
        Equivalents applied [eq]
    eluted_eq : Estimate
        Equivalents taken up by the resin in exchange [eq]
    character : str
        "acid", "base" or "salt"
    holds_weak_acids : bool
        Whether the resin takes up carbon dioxide and silica: a strong base does, a weak base does not

    Returns
    -------
    excess : Estimate
        Strong acid left, positive, or strong base left, negative; 0 for a salt, and where less was applied than the
        resin holds [eq]

    Source: charge_balance.
    """
    left = applied_eq.value - eluted_eq.value
    is_short = left < 0.0 and character != "salt"
    if character == "salt" or is_short:
        value, formula = 0.0, f"0 · {applied_eq.symbol}"
    elif character == "acid":
        value, formula = left, f"{applied_eq.symbol} − {eluted_eq.symbol}"
    else:
        value, formula = -left, f"−({applied_eq.symbol} − {eluted_eq.symbol})"
    warnings: tuple[str, ...] = () if character == "salt" else (MEASURED_PH_DECIDES,)
    if is_short:
        warnings = (
            *warnings,
            f"Applied are {applied_eq.value:.4g} eq, the resin holds {eluted_eq.value:.4g} eq: nothing is left over, "
            "and the resin keeps the rest of its load.",
        )
    if character == "base" and holds_weak_acids:
        warnings = (*warnings, WEAK_ACIDS_TAKE_MORE)
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


def neutralizer(
    excess_eq: Estimate, first_share_frac: float = FIRST_STAGE_SHARE, acid: str = "hcl"
) -> Neutralizer:
    """What neutralizes an excess, in two stages with a measured pH between.

    Parameters
    ----------
    excess_eq : Estimate
        Acid (+) or alkali (−) left [eq]
    first_share_frac : float
        Share given before the pH is measured, 0.5 to 0.95 [-]
    acid : str
        "hcl" or "h2so4", for alkali [-]

    Returns
    -------
    neutralizer : Neutralizer
        NaOH for acid, the acid for alkali; equivalents and mass as 100 %

    Raises: OutOfRange for a share outside its range.
    Source: charge_balance; the two stages are common practice.
    """
    require_within(first_share_frac, 0.5, 0.95, "share of the first stage")
    chemical = "naoh" if excess_eq.value >= 0 else acid
    share = Input("f", "share given before the pH is measured", first_share_frac, "dimensionless", "fraction")
    first = _stage(excess_eq, share, chemical, "first", "n_1", first_share_frac, "f")
    second = _stage(excess_eq, share, chemical, "second", "n_2", 1.0 - first_share_frac, "(1 − f)")
    return Neutralizer(
        chemical, first, second, reagent_mass(chemical, first, "m_1"), reagent_mass(chemical, second, "m_2")
    )


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


def reagent_mass(chemical: str, stage_eq: Estimate, symbol: str) -> Estimate:
    """Mass of a neutralizer, counted as 100 %.

    Parameters
    ----------
    chemical : str
        Key of the substance
    stage_eq : Estimate
        Equivalents [eq]
    symbol : str
        Symbol of the mass, "m_1" for the first stage

    Returns
    -------
    mass : Estimate
        Mass as 100 % [kg]

    Raises: OutOfRange for a substance that is not known.
    Source: equivalents.
    """
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
        valid="all three, the resin as its feed analysis says"
        if basis.endswith("resin")
        else "regenerant and neutralizer; what the resin held is not known by ion",
    )
