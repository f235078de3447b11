"""Heat of dilution: how warm a blend becomes, and which blends must not be made.

Enthalpy balance from 25 °C: T_f = 25 °C + [n·(ΔH(r_f) − ΔH(r_s)) + Σ m_j c_j (T_j − 25 °C)] / (m_f c_f), with
ΔH(r) the heat released on making a solution with r mol water per mol solute (``solution_heats``). Losses to pipe and
vessel are not counted, so the real blend is a little cooler. What a heater must give stands in ``heating``.
"""

from __future__ import annotations

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.heating import (
    heat_to_warm,
    heater_time,
    heating_duty,
    temperature_reached,
)
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.solution_heats import (
    BELOW_TABLE_UNCERTAINTY_FRAC,
    REFERENCE_KELVIN,
    STRONGER_THAN_TABLE,
    WATER_HEAT_CAPACITY_J_PER_KG_K,
    WATER_MOLAR_MASS_KG_PER_MOL,
    has_heat_table,
    heat_capacity_j_per_kg_k,
    heat_of_dilution,
    heat_released_j_per_mol,
    heat_source,
    is_within_heat_table,
    water_per_solute,
)
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

__all__ = [
    "REFERENCE_KELVIN",
    "WATER_HEAT_CAPACITY_J_PER_KG_K",
    "WATER_MOLAR_MASS_KG_PER_MOL",
    "blend_temperature",
    "heat_capacity_j_per_kg_k",
    "heat_of_dilution",
    "heat_released",
    "heat_released_j_per_mol",
    "heat_to_warm",
    "heater_time",
    "heating_duty",
    "require_safe_blend",
    "temperature_reached",
    "water_per_solute",
    "water_temperature_needed",
]

BOILING_KELVIN = 373.15
"""A blend that reaches it is refused; strong acid boils higher, the water poured on it does not."""


def _excess_heat_joule(
    chemical: str, stock_strength_frac: float, strength_frac: float, solute_kg: float
) -> float:
    moles = solute_kg / substance(chemical).molar_mass_kg_per_mol
    return moles * (
        heat_released_j_per_mol(chemical, strength_frac)
        - heat_released_j_per_mol(chemical, stock_strength_frac)
    )


def _warnings(
    chemical: str, stock_strength_frac: float, strength_frac: float, blend_kelvin: float
) -> tuple[str, ...]:
    found: list[str] = []
    if not has_heat_table(chemical) and chemical != "nacl":
        found.append(
            f"The heat of dilution of {substance(chemical).name} is not counted; it is a degree or two."
        )
    elif has_heat_table(chemical) and not is_within_heat_table(chemical, stock_strength_frac):
        found.append(STRONGER_THAN_TABLE)
    found.extend(_order_of_mixing(chemical, stock_strength_frac))
    is_from_strong = chemical == "naoh" and stock_strength_frac > STRONG_STOCK_FRAC
    if is_from_strong and INTERMEDIATE_CAUSTIC_FRAC < strength_frac < stock_strength_frac:
        found.append(
            f"Caustic of {strength_frac * 100:.3g} wt% made from strong stock needs cooling; "
            "dilute straight to 6 wt% or less in the running water where you can."
        )
    if blend_kelvin > 333.15:
        found.append(f"The blend reaches {blend_kelvin - 273.15:.0f} °C: scalding, and plastic pipe softens.")
    return tuple(found)


INTERMEDIATE_CAUSTIC_FRAC = 0.20
"""Above it a day tank of caustic is not made from 50 % stock without cooling; common practice."""
STRONG_STOCK_FRAC = 0.30
"""From this strength on water poured into acid or caustic may boil on it; common practice."""


def _order_of_mixing(chemical: str, stock_strength_frac: float) -> tuple[str, ...]:
    """Caution about the order of mixing, for stock strong enough to boil what is poured on it."""
    word = {"h2so4": "acid", "naoh": "caustic"}.get(chemical)
    if word is None or stock_strength_frac < STRONG_STOCK_FRAC:
        return ()
    return (
        f"Always the {word} into the water, slowly and stirred; water into strong {word} boils and spits.",
    )


_VALID = "no loss to pipe and vessel"
_BLEND_UNCERTAINTY_KELVIN = 2.0
"""Of a blend whose stock lies within the heat table, as its reference rows allow [K]."""


def _blend_uncertainty_kelvin(
    chemical: str, stock_strength_frac: float, heat: float, c_blend: float
) -> float:
    """2 K; beyond the heat table 8 % of the rise by dilution, if that is more."""
    if not has_heat_table(chemical) or is_within_heat_table(chemical, stock_strength_frac):
        return _BLEND_UNCERTAINTY_KELVIN
    return max(_BLEND_UNCERTAINTY_KELVIN, BELOW_TABLE_UNCERTAINTY_FRAC * abs(heat) / c_blend)


def blend_temperature(
    chemical: str,
    stock_strength_frac: float,
    stock_temperature_kelvin: float,
    strength_frac: float,
    water_temperature_kelvin: float,
) -> Estimate:
    """Temperature of a regenerant blended from stock and water, without heating.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    stock_strength_frac : float
        Strength of the stock [-]
    stock_temperature_kelvin : float
        Temperature of the stock [K]
    strength_frac : float
        Strength of the blend, 0 < w <= the stock's [-]
    water_temperature_kelvin : float
        Temperature of the dilution water [K]

    Returns
    -------
    temperature : Estimate
        Temperature of the blend; above 100 °C it boils and must not be made [K]

    Raises: OutOfRange for strengths that do not fit. ``require_safe_blend`` refuses what must not be made.
    Source: parker, felder, h2so4_enthalpy; brine taken as without heat.
    """
    require_positive(strength_frac, "strength of the blend")
    require_within(
        strength_frac,
        0.0,
        stock_strength_frac,
        "strength of the blend",
        "",
        "The stock's strength is the top.",
    )
    stock_kg = strength_frac / stock_strength_frac  # per kg of blend
    water_kg = 1.0 - stock_kg
    c_stock = heat_capacity_j_per_kg_k(chemical, stock_strength_frac)
    c_blend = heat_capacity_j_per_kg_k(chemical, strength_frac)
    heat = _excess_heat_joule(chemical, stock_strength_frac, strength_frac, strength_frac)
    c_water = WATER_HEAT_CAPACITY_J_PER_KG_K
    brought = stock_kg * c_stock * (stock_temperature_kelvin - REFERENCE_KELVIN)
    brought += water_kg * c_water * (water_temperature_kelvin - REFERENCE_KELVIN)
    value = REFERENCE_KELVIN + (heat + brought) / c_blend
    warnings = _warnings(chemical, stock_strength_frac, strength_frac, value)
    if value >= BOILING_KELVIN:
        warnings = (*warnings, "This blend boils: never make it.")
    return Estimate(
        symbol="T_b",
        name="temperature of the blend, unheated",
        value=value,
        unit="kelvin",
        kind="temperature",
        formula="T_0 + (H + x_s · c_s · (T_s − T_0) + (1 − x_s) · c_w · (T_w − T_0)) / c_b",
        inputs=(
            Input("T_0", "25 °C", REFERENCE_KELVIN, "kelvin", "temperature"),
            Input("H", "heat of dilution per mass of blend", heat, "J/kg"),
            Input("x_s", "share of stock in the blend, by mass", stock_kg, "dimensionless", "fraction"),
            Input("c_s", "specific heat of the stock", c_stock, "J/(kg*kelvin)"),
            Input("T_s", "temperature of the stock", stock_temperature_kelvin, "kelvin", "temperature"),
            Input("c_w", "specific heat of water", c_water, "J/(kg*kelvin)"),
            Input("T_w", "temperature of the dilution water", water_temperature_kelvin, "kelvin", "temperature"),
            Input("c_b", "specific heat of the blend", c_blend, "J/(kg*kelvin)"),
        ),
        method="enthalpy balance from 25 °C",
        source=heat_source(chemical),
        valid=_VALID,
        warnings=warnings,
        uncertainty_abs=_blend_uncertainty_kelvin(chemical, stock_strength_frac, heat, c_blend),
    )  # fmt: skip


def require_safe_blend(blend: Estimate) -> Estimate:
    """The blend temperature itself, if the blend may be made at all.

    Parameters
    ----------
    blend : Estimate
        Result of ``blend_temperature`` [K]

    Raises: OutOfRange for a blend at 100 °C or above, with the temperature it would reach.
    """
    if blend.value >= BOILING_KELVIN:
        raise OutOfRange(
            f"This blend would reach {blend.value - 273.15:.0f} °C and boil; allowed is below 100 °C, and cooler is safer. "
            "Never make it: dilute in steps with cooling, or straight to a weak regenerant in running water.",
            code="blend_boils",
            seen=blend.value,
            allowed_high=BOILING_KELVIN,
        )
    return blend


def heat_released(
    chemical: str, stock_strength_frac: float, strength_frac: float, solute_kg: float
) -> Estimate:
    """Heat released when so much of a chemical is diluted, at 25 °C.

    Parameters
    ----------
    chemical : str
        "hcl", "naoh" or "h2so4"
    stock_strength_frac : float
        Strength of the stock [-]
    strength_frac : float
        Strength of the blend [-]
    solute_kg : float
        Mass as 100 % substance, > 0 [kg]

    Returns
    -------
    heat : Estimate
        Heat released [J]

    Raises: OutOfRange as ``heat_of_dilution``, and for a mass that is not above zero.
    Source: parker, felder, h2so4_enthalpy.
    """
    require_positive(solute_kg, "mass of the chemical", "kg")
    molar = heat_of_dilution(chemical, stock_strength_frac, strength_frac)
    material = substance(chemical)
    return Estimate(
        symbol="Q_d",
        name=f"heat released on diluting the {material.formula}",
        value=solute_kg / material.molar_mass_kg_per_mol * molar.value,
        unit="joule",
        kind="energy",
        formula="m_100 / M · H_d",
        inputs=(
            Input("m_100", f"mass of {material.formula}, as 100 %", solute_kg, "kg", "mass"),
            Input("M", f"molar mass of {material.formula}", material.molar_mass_kg_per_mol, "kg/mol"),
            molar.as_input(),
        ),
        method=molar.method,
        source=molar.source,
        valid=molar.valid,
        warnings=molar.warnings,
        uncertainty_frac=molar.uncertainty_frac,
    )


def water_temperature_needed(
    chemical: str,
    stock_strength_frac: float,
    stock_temperature_kelvin: float,
    strength_frac: float,
    target_kelvin: float,
) -> Estimate:
    """Temperature the dilution water must have for the blend to reach its target.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    stock_strength_frac : float
        Strength of the stock [-]
    stock_temperature_kelvin : float
        Temperature of the stock [K]
    strength_frac : float
        Strength of the blend, below the stock's [-]
    target_kelvin : float
        Temperature wanted in the blend [K]

    Returns
    -------
    temperature : Estimate
        Temperature of the dilution water after the heater [K]

    Raises: OutOfRange for strengths that do not fit.
    Source: as ``blend_temperature``, of which this is the inverse.
    """
    unheated = blend_temperature(
        chemical, stock_strength_frac, stock_temperature_kelvin, strength_frac, REFERENCE_KELVIN
    )
    by_symbol = {entry.symbol: entry for entry in unheated.inputs}
    c_blend, share = by_symbol["c_b"].value, by_symbol["x_s"].value
    require_within(share, 0.0, 0.999, "share of stock in the blend", "", "There is no water to heat.")
    value = REFERENCE_KELVIN + (target_kelvin - unheated.value) * c_blend / (
        (1.0 - share) * WATER_HEAT_CAPACITY_J_PER_KG_K
    )
    return Estimate(
        symbol="T_w",
        name="dilution water temperature needed",
        value=value,
        unit="kelvin",
        kind="temperature",
        formula="T_0 + (T_d − T_b) · c_b / ((1 − x_s) · c_w)",
        inputs=(
            by_symbol["T_0"],
            Input("T_d", "temperature wanted in the blend", target_kelvin, "kelvin", "temperature"),
            Input("T_b", "temperature of the blend if the water came at 25 °C", unheated.value, "kelvin", "temperature"),
            by_symbol["c_b"],
            by_symbol["x_s"],
            by_symbol["c_w"],
        ),
        method="enthalpy balance from 25 °C, solved for the water",
        source=unheated.source,
        valid=_VALID,
        warnings=_warnings(chemical, stock_strength_frac, strength_frac, target_kelvin),
        uncertainty_abs=(unheated.uncertainty_abs or 0.0) * c_blend / ((1.0 - share) * WATER_HEAT_CAPACITY_J_PER_KG_K),
    )  # fmt: skip
