"""From a dose to what is drawn, blended and fed: mass balances only.

A dose is always mass of pure (100 %) substance per volume of resin in its reference form. Masses add, volumes do not:
the dilution water is found by mass, never as a difference of volumes.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ions import applied_equivalents
from regenplant.core.engineering.ranges import require_positive
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

_BALANCE = "mass balance"


@dataclass(frozen=True, slots=True)
class Blend:
    """A mass of pure substance, drawn from a stock and diluted: every figure with its working."""

    chemical_kg_100: Estimate
    stock_kg: Estimate
    stock_m3: Estimate
    water_kg: Estimate
    water_m3: Estimate
    diluted_kg: Estimate
    diluted_m3: Estimate


@dataclass(frozen=True, slots=True)
class Dilution(Blend):
    """One dose of a regenerant: a blend with the equivalents it brings."""

    applied_eq: Estimate


def dose_mass(chemical: str, resin_volume_m3: float, dose_kg_per_m3: float) -> Estimate:
    """Mass of regenerant as 100 % for a resin volume.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    resin_volume_m3 : float
        Resin volume in its reference form, settled, > 0 [m^3]
    dose_kg_per_m3 : float
        Dose as 100 % substance per volume of resin, > 0 [kg/m^3]

    Returns
    -------
    mass_kg : Estimate
        Mass as 100 % [kg]

    Raises: OutOfRange for a volume or dose that is not above zero.
    Source: mass_balance.
    """
    require_positive(resin_volume_m3, "resin volume", "m³")
    require_positive(dose_kg_per_m3, "dose", "g/L")
    material = substance(chemical)
    return Estimate(
        symbol="m_100",
        name=f"{material.formula} as 100 %",
        value=resin_volume_m3 * dose_kg_per_m3,
        unit="kg",
        kind="mass",
        formula="V_r · q",
        inputs=(
            Input("V_r", "resin volume, settled, reference form", resin_volume_m3, "m^3", "resin_volume"),
            Input(
                "q", f"dose of {material.formula} as 100 % per resin volume", dose_kg_per_m3, "kg/m^3", "dose"
            ),
        ),
        method=_BALANCE,
        source="mass_balance",
        valid="dose counted as 100 %, never as delivered",
    )


def dilution(
    chemical: str,
    mass_kg: Estimate,
    stock_strength_frac: float,
    stock_density_kg_per_m3: Estimate,
    strength_frac: float,
    density_kg_per_m3: Estimate,
    water_density_kg_per_m3: Estimate,
) -> Dilution:
    """Stock to draw, water to blend and regenerant to feed for a mass counted as 100 %.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    mass_kg : Estimate
        Mass as 100 % substance [kg]
    stock_strength_frac : float
        Strength of the stock by the plant's own check, weight per weight [-]
    stock_density_kg_per_m3 : Estimate
        Density of the stock at its own temperature [kg/m^3]
    strength_frac : float
        Strength of the diluted regenerant, below the stock's [-]
    density_kg_per_m3 : Estimate
        Density of the diluted regenerant at its temperature [kg/m^3]
    water_density_kg_per_m3 : Estimate
        Density of the dilution water at its temperature [kg/m^3]

    Returns
    -------
    dilution : Dilution
        Masses and volumes of stock, water and diluted regenerant

    Raises: OutOfRange when the stock is not stronger than the regenerant wanted, or for a substance without equivalents.
    Source: mass_balance.
    """
    made = blend(
        chemical,
        mass_kg,
        stock_strength_frac,
        stock_density_kg_per_m3,
        strength_frac,
        density_kg_per_m3,
        water_density_kg_per_m3,
    )
    parts = {entry.name: getattr(made, entry.name) for entry in fields(made)}
    return Dilution(**parts, applied_eq=applied_equivalents(chemical, mass_kg.value))


def blend(
    chemical: str,
    mass_kg: Estimate,
    stock_strength_frac: float,
    stock_density_kg_per_m3: Estimate,
    strength_frac: float,
    density_kg_per_m3: Estimate,
    water_density_kg_per_m3: Estimate,
) -> Blend:
    """Stock to draw and water to blend, for any substance, whether it brings equivalents or not.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    mass_kg : Estimate
        Mass as 100 % substance [kg]
    stock_strength_frac : float
        Strength of the stock by the plant's own check, weight per weight [-]
    stock_density_kg_per_m3 : Estimate
        Density of the stock at its own temperature [kg/m^3]
    strength_frac : float
        Strength of the blend, below the stock's [-]
    density_kg_per_m3 : Estimate
        Density of the blend at its temperature [kg/m^3]
    water_density_kg_per_m3 : Estimate
        Density of the dilution water at its temperature [kg/m^3]

    Returns
    -------
    blend : Blend
        Masses and volumes of stock, water and blend

    Raises: OutOfRange when the stock is not stronger than the blend wanted.
    Source: mass_balance.
    """
    material = substance(chemical)
    require_positive(strength_frac, "strength of the regenerant")
    if stock_strength_frac <= strength_frac:
        raise OutOfRange(
            f"The stock holds {stock_strength_frac * 100:.4g} % {material.formula}; it cannot be diluted to "
            f"{strength_frac * 100:.4g} %. Take a stronger stock or a weaker set point.",
            code="stock_too_weak",
            seen=stock_strength_frac,
            allowed_low=strength_frac,
        )
    w_stock = Input(
        "w_s", "strength of the stock, plant check", stock_strength_frac, "dimensionless", "strength"
    )
    w_diluted = Input("w_d", "strength of the diluted regenerant", strength_frac, "dimensionless", "strength")
    stock_kg = _quotient("m_s", f"{material.formula} stock", mass_kg, w_stock, "kg", "mass")
    diluted_kg = _quotient("m_d", "diluted regenerant", mass_kg, w_diluted, "kg", "mass")
    water_kg = Estimate(
        symbol="m_w",
        name="dilution water",
        value=diluted_kg.value - stock_kg.value,
        unit="kg",
        kind="mass",
        formula="m_d − m_s",
        inputs=(diluted_kg.as_input(), stock_kg.as_input()),
        method=_BALANCE,
        source="mass_balance",
        valid="masses add, volumes do not",
    )
    return Blend(
        chemical_kg_100=mass_kg,
        stock_kg=stock_kg,
        stock_m3=_volume("V_s", f"{material.formula} stock", stock_kg, stock_density_kg_per_m3),
        water_kg=water_kg,
        water_m3=_volume("V_w", "dilution water", water_kg, water_density_kg_per_m3),
        diluted_kg=diluted_kg,
        diluted_m3=_volume("V_d", "diluted regenerant", diluted_kg, density_kg_per_m3),
    )


def _quotient(symbol: str, name: str, mass: Estimate, strength: Input, unit: str, kind: str) -> Estimate:
    return Estimate(
        symbol=symbol,
        name=name,
        value=mass.value / strength.value,
        unit=unit,
        kind=kind,
        formula=f"{mass.symbol} / {strength.symbol}",
        inputs=(mass.as_input(), strength),
        method=_BALANCE,
        source="mass_balance",
    )


def _volume(symbol: str, name: str, mass: Estimate, density: Estimate) -> Estimate:
    return Estimate(
        symbol=symbol,
        name=f"volume of {name}",
        value=mass.value / density.value,
        unit="m^3",
        kind="liquid_volume",
        formula=f"{mass.symbol} / {density.symbol}",
        inputs=(mass.as_input(), density.as_input()),
        method=_BALANCE,
        source="mass_balance",
        valid=density.valid,
        warnings=density.warnings,
        uncertainty_frac=density.uncertainty_frac,
    )


def flow_from_bed_volumes(resin_volume_m3: float, flow_bv_per_h: float) -> Estimate:
    """Flow through a bed from bed volumes per hour.

    Parameters
    ----------
    resin_volume_m3 : float
        Resin volume in its reference form, > 0 [m^3]
    flow_bv_per_h : float
        Bed volumes per hour, > 0 [1/h]

    Returns
    -------
    flow : Estimate
        Volume flow [m^3/s]

    Raises: OutOfRange for a volume or flow that is not above zero.
    """
    require_positive(resin_volume_m3, "resin volume", "m³")
    require_positive(flow_bv_per_h, "flow per bed volume", "BV/h")
    return Estimate(
        symbol="Q",
        name="flow",
        value=resin_volume_m3 * flow_bv_per_h / 3600.0,
        unit="m^3/s",
        kind="flow",
        formula="V_r · F / 3600",
        inputs=(
            Input("V_r", "resin volume, settled, reference form", resin_volume_m3, "m^3", "resin_volume"),
            Input("F", "bed volumes per hour", flow_bv_per_h, "1/hour", "flow_bv_per_h"),
        ),
        method="definition of the bed volume; 3600 s per hour",
        source="mass_balance",
    )


def duration(volume: Estimate, flow: Estimate, name: str = "time", symbol: str = "t") -> Estimate:
    """Time in which a volume passes at a flow; for an injection this is the contact time.

    Parameters
    ----------
    volume : Estimate
        Volume to pass [m^3]
    flow : Estimate
        Volume flow [m^3/s]
    name : str
        What the time is, in words
    symbol : str
        Symbol in the working

    Returns
    -------
    duration : Estimate
        Time [s]
    """
    return Estimate(
        symbol=symbol,
        name=name,
        value=volume.value / flow.value,
        unit="s",
        kind="duration",
        formula=f"{volume.symbol} / {flow.symbol}",
        inputs=(volume.as_input(), flow.as_input()),
        method="volume over flow",
        source="mass_balance",
    )


def bed_volumes(volume: Estimate, resin_volume_m3: float) -> Estimate:
    """A liquid volume counted in bed volumes.

    Parameters
    ----------
    volume : Estimate
        Liquid volume [m^3]
    resin_volume_m3 : float
        Resin volume in its reference form, > 0 [m^3]

    Returns
    -------
    bed_volumes : Estimate
        Bed volumes [-]

    Raises: OutOfRange for a resin volume that is not above zero.
    """
    require_positive(resin_volume_m3, "resin volume", "m³")
    return Estimate(
        symbol="B",
        name=f"bed volumes of {volume.name.removeprefix('volume of ')}",
        value=volume.value / resin_volume_m3,
        unit="dimensionless",
        kind="bed_volumes",
        formula=f"{volume.symbol} / V_r",
        inputs=(
            volume.as_input(),
            Input("V_r", "resin volume, settled, reference form", resin_volume_m3, "m^3", "resin_volume"),
        ),
        method="definition of the bed volume",
        source="mass_balance",
    )


def regenerant_ratio(applied_eq: Estimate, load_eq: Estimate) -> Estimate:
    """Equivalents applied per equivalent to be taken off the resin (1.00 is stoichiometric).

    Parameters
    ----------
    applied_eq : Estimate
        Equivalents of regenerant applied [eq]
    load_eq : Estimate
        Equivalents of foreign ions to be eluted, > 0 [eq]

    Returns
    -------
    ratio : Estimate
        Applied over eluted; its inverse is the efficiency [-]

    Raises: OutOfRange for a load that is not above zero. A ratio below one is returned, so that a plan can show it;
    ``require_stoichiometric`` refuses it.
    """
    require_positive(load_eq.value, "load on the resin", "eq")
    ratio = applied_eq.value / load_eq.value
    warnings = () if ratio >= 1.0 else (f"{ratio * 100:.0f} % of stoichiometric: less than the resin holds.",)
    return Estimate(
        symbol="R",
        name="regenerant ratio, applied per eluted",
        value=ratio,
        unit="dimensionless",
        kind="ratio",
        formula=f"{applied_eq.symbol} / {load_eq.symbol}",
        inputs=(applied_eq.as_input(), load_eq.as_input()),
        method="charge balance",
        source="equivalents",
        valid="1 is stoichiometric; strong resins need 1.4 to 5 (common practice)",
        warnings=warnings,
    )


def require_stoichiometric(ratio: Estimate) -> Estimate:
    """The ratio itself, if it is at least stoichiometric.

    Parameters
    ----------
    ratio : Estimate
        From ``regenerant_ratio`` [-]

    Returns
    -------
    ratio : Estimate
        Unchanged [-]

    Raises: OutOfRange below 100 %: charge cannot be regenerated that is not brought.
    """
    if ratio.value < 1.0:
        raise OutOfRange(
            f"The dose brings {ratio.value * 100:.0f} % of the equivalents on the resin; at least 100 % is needed. "
            "Raise the dose or correct the load.",
            code="below_stoichiometric",
            seen=ratio.value,
            allowed_low=1.0,
        )
    return ratio
