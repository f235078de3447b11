"""Heat of dilution: how warm a blend becomes, and what heat warm caustic needs.

Enthalpy balance from 25 °C: T_f = 25 °C + [n·(ΔH(r_f) − ΔH(r_s)) + Σ m_j c_j (T_j − 25 °C)] / (m_f c_f), with
ΔH(r) the heat released on making a solution with r mol water per mol solute. Losses to pipe and vessel are not
counted, so the real blend is a little cooler.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import linear, smooth
from regenplant.core.engineering.libraries import electrolyte_library
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.substances import substance

WATER_MOLAR_MASS_KG_PER_MOL = 0.018015
WATER_HEAT_CAPACITY_J_PER_KG_K = 4181.0
"""Of water near 25 °C [J/(kg K)]; within 0.3 % from 5 to 80 °C."""
_REFERENCE = water.REFERENCE_KELVIN


@dataclass(frozen=True, slots=True)
class _HeatTable:
    """Heat released per mole of solute against r = mol water per mol solute [kJ/mol]."""

    source: str
    rows: tuple[tuple[float, float], ...]
    lowest_r: float
    """Below this r the table is extrapolated."""


# HCl: heat still to come on dilution to infinity, so the heat released up to r is H(1) − H(r). Rows at r = 1, 10 and
# 111 were read again, the others are from memory of the same table. NaOH: integral heat of solution; the row at r = 4
# was read again. H2SO4: rows at 1, 10, 100 and 500 were read, the others from memory.
_HCL_TO_INFINITY = (
    (1.0, 45.61), (2.775, 19.87), (3.70, 15.40), (5.551, 10.24), (6.938, 8.201), (10.0, 5.841), (13.88, 4.402),
    (18.5, 3.506), (27.75, 2.623), (55.51, 1.695), (111.0, 1.172), (277.5, 0.761), (555.1, 0.556), (5551.0, 0.188),
)  # fmt: skip
_TABLES: dict[str, _HeatTable] = {
    "hcl": _HeatTable("parker", tuple((r, 45.61 - heat) for r, heat in _HCL_TO_INFINITY), 1.0),
    "naoh": _HeatTable(
        "felder",
        ((3.0, 28.87), (4.0, 34.43), (5.0, 37.74), (10.0, 42.51), (20.0, 42.84), (30.0, 42.72), (50.0, 42.53),
         (100.0, 42.34), (200.0, 42.26), (500.0, 42.38), (1000.0, 42.47)),
        3.0,
    ),
    "h2so4": _HeatTable(
        "h2so4_enthalpy",
        ((0.5, 15.73), (1.0, 27.8), (1.5, 36.9), (2.0, 41.92), (3.0, 48.99), (4.0, 54.06), (5.0, 58.03), (10.0, 66.5),
         (25.0, 72.3), (100.0, 73.7), (500.0, 76.5), (1000.0, 78.6)),
        0.5,
    ),
}  # fmt: skip


def water_per_solute(chemical: str, strength_frac: float) -> float:
    """Moles of water per mole of solute.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight per weight, 0 < w < 1 [-]

    Returns
    -------
    ratio : float
        r, mol water per mol solute [-]

    Raises: OutOfRange for a strength outside 0.0001 to 0.999.
    """
    require_within(strength_frac, 1e-4, 0.999, "strength")
    molar_mass = substance(chemical).molar_mass_kg_per_mol
    return (1.0 - strength_frac) / strength_frac * molar_mass / WATER_MOLAR_MASS_KG_PER_MOL


@lru_cache(maxsize=1024)
def heat_released_j_per_mol(chemical: str, strength_frac: float) -> float:
    """Heat released on making the solution, from the zero of its own table, per mole of solute at 25 °C.

    Only differences between two strengths mean something.

    Parameters
    ----------
    chemical : str
        "hcl", "naoh", "h2so4", or "nacl" (taken as zero)
    strength_frac : float
        Weight per weight [-]

    Returns
    -------
    heat_j_per_mol : float
        Heat released [J/mol]

    Raises: OutOfRange for a strength outside 0.0001 to 0.999.
    Source: parker, felder, h2so4_enthalpy.
    """
    table = _TABLES.get(chemical)
    if table is None:
        return 0.0
    ratio = min(water_per_solute(chemical, strength_frac), table.rows[-1][0])
    xs = [math.log(r) for r, _ in table.rows]
    ys = [1000.0 * heat for _, heat in table.rows]
    x = math.log(ratio)
    if x >= xs[0]:
        return smooth(xs, ys, x)
    return _below_table(chemical, ratio, xs, ys)


def _below_table(chemical: str, ratio: float, xs: list[float], ys: list[float]) -> float:
    """Heat below the first row [J/mol].

    Strong sulfuric acid: in the shape of Thomsen's old formula r/(r + 1.798), which goes to zero with the water.
    Caustic above 43 %: the parabola through the first three rows against ln r; the curve steepens there.
    """
    if chemical == "h2so4":
        first = math.exp(xs[0])
        return ys[0] * (ratio / (ratio + 1.798)) / (first / (first + 1.798))
    x = math.log(ratio)
    slope_1, slope_2 = (ys[1] - ys[0]) / (xs[1] - xs[0]), (ys[2] - ys[1]) / (xs[2] - xs[1])
    curvature = (slope_2 - slope_1) / (xs[2] - xs[0])
    return ys[0] + (x - xs[0]) * (slope_1 + curvature * (x - xs[1]))


@lru_cache(maxsize=1024)
def heat_capacity_j_per_kg_k(chemical: str, strength_frac: float) -> float:
    """Specific heat of a solution near 25 °C.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight per weight, 0 to 0.98 [-]

    Returns
    -------
    heat_capacity_j_per_kg_k : float
        Specific heat [J/(kg K)]

    Raises: OutOfRange outside 0 to 0.98.
    Source: hcl_heat_capacity for HCl; laliberte for the others (NaOH fitted to 30 %: above it taken as at 30 %).
    """
    require_within(strength_frac, 0.0, 0.98, "strength")
    if strength_frac == 0.0:
        return WATER_HEAT_CAPACITY_J_PER_KG_K
    if chemical == "hcl":
        return linear(
            (0.0, 0.1, 0.2, 0.3), (WATER_HEAT_CAPACITY_J_PER_KG_K, 3470.0, 2990.0, 2600.0), strength_frac
        )
    limit = {"naoh": 0.30, "nacl": 0.26, "h2so4": 0.94}[substance(chemical).key]
    library = electrolyte_library()
    cas = substance(chemical).cas
    return float(library.Laliberte_heat_capacity(_REFERENCE, [min(strength_frac, limit)], [cas]))


def _excess_heat_joule(
    chemical: str, stock_strength_frac: float, strength_frac: float, solute_kg: float
) -> float:
    moles = solute_kg / substance(chemical).molar_mass_kg_per_mol
    return moles * (
        heat_released_j_per_mol(chemical, strength_frac)
        - heat_released_j_per_mol(chemical, stock_strength_frac)
    )


def _warnings(chemical: str, stock_strength_frac: float, blend_kelvin: float) -> tuple[str, ...]:
    found: list[str] = []
    table = _TABLES.get(chemical)
    if (
        table
        and stock_strength_frac < 0.999
        and water_per_solute(chemical, stock_strength_frac) < table.lowest_r
    ):
        found.append("The stock is stronger than the heat table; the rise may be 8 % off.")
    if blend_kelvin > 333.15:
        found.append(f"The blend reaches {blend_kelvin - 273.15:.0f} °C: scalding, and plastic pipe softens.")
    return tuple(found)


def _source(chemical: str) -> str:
    table = _TABLES.get(chemical)
    return table.source if table else "mass_balance"


_VALID = "no loss to pipe and vessel; about 2 °C"


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

    Raises: OutOfRange for strengths that do not fit.
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
    heat = _excess_heat_joule(chemical, stock_strength_frac, strength_frac, strength_frac)
    c_stock = heat_capacity_j_per_kg_k(chemical, stock_strength_frac)
    c_blend = heat_capacity_j_per_kg_k(chemical, strength_frac)
    c_water = WATER_HEAT_CAPACITY_J_PER_KG_K
    brought = stock_kg * c_stock * (stock_temperature_kelvin - _REFERENCE)
    brought += water_kg * c_water * (water_temperature_kelvin - _REFERENCE)
    value = _REFERENCE + (heat + brought) / c_blend
    warnings = _warnings(chemical, stock_strength_frac, value)
    if value > 373.15:
        warnings = (*warnings, "This blend boils: never make it.")
    return Estimate(
        symbol="T_b",
        name="temperature of the blend, unheated",
        value=value,
        unit="kelvin",
        kind="temperature",
        formula="T_0 + (H + x_s · c_s · (T_s − T_0) + (1 − x_s) · c_w · (T_w − T_0)) / c_b",
        inputs=(
            Input("T_0", "25 °C", _REFERENCE, "kelvin", "temperature"),
            Input("H", "heat of dilution per mass of blend", heat, "J/kg"),
            Input("x_s", "share of stock in the blend, by mass", stock_kg, "dimensionless", "fraction"),
            Input("c_s", "specific heat of the stock", c_stock, "J/(kg*kelvin)"),
            Input("T_s", "temperature of the stock", stock_temperature_kelvin, "kelvin", "temperature"),
            Input("c_w", "specific heat of water", c_water, "J/(kg*kelvin)"),
            Input("T_w", "temperature of the dilution water", water_temperature_kelvin, "kelvin", "temperature"),
            Input("c_b", "specific heat of the blend", c_blend, "J/(kg*kelvin)"),
        ),
        method="enthalpy balance from 25 °C",
        source=_source(chemical),
        valid=_VALID,
        warnings=warnings,
    )  # fmt: skip


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
        chemical, stock_strength_frac, stock_temperature_kelvin, strength_frac, _REFERENCE
    )
    by_symbol = {entry.symbol: entry for entry in unheated.inputs}
    c_blend, share = by_symbol["c_b"].value, by_symbol["x_s"].value
    require_within(share, 0.0, 0.999, "share of stock in the blend", "", "There is no water to heat.")
    value = _REFERENCE + (target_kelvin - unheated.value) * c_blend / (
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
        warnings=_warnings(chemical, stock_strength_frac, target_kelvin),
    )  # fmt: skip


def heating_duty(water_kg_per_s: float, from_kelvin: float, to_kelvin: float) -> Estimate:
    """Heat flow that warms the dilution water; 0 when it is warm enough.

    Parameters
    ----------
    water_kg_per_s : float
        Mass flow of dilution water, >= 0 [kg/s]
    from_kelvin : float
        Temperature of the supply [K]
    to_kelvin : float
        Temperature needed [K]

    Returns
    -------
    duty : Estimate
        Heat flow [W]
    """
    rise = max(to_kelvin - from_kelvin, 0.0)
    return Estimate(
        symbol="P",
        name="heating duty for the dilution water",
        value=water_kg_per_s * WATER_HEAT_CAPACITY_J_PER_KG_K * rise,
        unit="watt",
        kind="power",
        formula="q_w · c_w · ΔT",
        inputs=(
            Input("q_w", "flow of dilution water by mass", water_kg_per_s, "kg/s"),
            Input("c_w", "specific heat of water", WATER_HEAT_CAPACITY_J_PER_KG_K, "J/(kg*kelvin)"),
            Input("ΔT", "rise wanted", rise, "kelvin", "temperature_rise"),
        ),
        method="heat balance of water",
        source="mass_balance",
        valid="no loss to pipe and vessel",
    )
