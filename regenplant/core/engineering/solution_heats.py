"""Enthalpy of solutions: integral heats of solution and of dilution at 25 °C, and specific heats.

ΔH(r) is the heat released on making a solution with r mol water per mol solute. Only differences between two r of one
table mean something: HCl counts from 1 mol water, NaOH from the solid, H2SO4 from the liquid acid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from regenplant.core.engineering import density_models, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import linear, monotone
from regenplant.core.engineering.libraries import electrolyte_library
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

WATER_MOLAR_MASS_KG_PER_MOL = 0.018015
WATER_HEAT_CAPACITY_J_PER_KG_K = 4181.0
"""Of water near 25 °C [J/(kg K)]; within 0.3 % from 5 to 80 °C."""
REFERENCE_KELVIN = water.REFERENCE_KELVIN
TABLE_UNCERTAINTY_FRAC, BELOW_TABLE_UNCERTAINTY_FRAC = 0.02, 0.08


@dataclass(frozen=True, slots=True)
class _HeatTable:
    """Heat released per mole of solute against r = mol water per mol solute [kJ/mol]."""

    source: str
    rows: tuple[tuple[float, float], ...]
    lowest_r: float
    """Below this r the table is extrapolated."""
    end_r: float
    """Below this r nothing is said: HCl and caustic of that strength are no solutions of the trade."""


# HCl: heat still to come on dilution to infinity, so the heat released up to r is H(1) − H(r). Rows at r = 1, 10 and
# 111 were read again, the others are from memory of the same table. NaOH: integral heat of solution; the row at r = 4
# was read again. H2SO4: rows at 1, 10, 100 and 500 were read, the others from memory.
_HCL_TO_INFINITY = (
    (1.0, 45.61), (2.775, 19.87), (3.70, 15.40), (5.551, 10.24), (6.938, 8.201), (10.0, 5.841), (13.88, 4.402),
    (18.5, 3.506), (27.75, 2.623), (55.51, 1.695), (111.0, 1.172), (277.5, 0.761), (555.1, 0.556), (5551.0, 0.188),
)  # fmt: skip
_TABLES: dict[str, _HeatTable] = {
    "hcl": _HeatTable("parker", tuple((r, 45.61 - heat) for r, heat in _HCL_TO_INFINITY), 1.0, 1.0),
    "naoh": _HeatTable(
        "felder",
        ((3.0, 28.87), (4.0, 34.43), (5.0, 37.74), (10.0, 42.51), (20.0, 42.84), (30.0, 42.72), (50.0, 42.53),
         (100.0, 42.34), (200.0, 42.26), (500.0, 42.38), (1000.0, 42.47)),
        3.0, 2.0,
    ),
    "h2so4": _HeatTable(
        "h2so4_enthalpy",
        ((0.5, 15.73), (1.0, 27.8), (1.5, 36.9), (2.0, 41.92), (3.0, 48.99), (4.0, 54.06), (5.0, 58.03), (10.0, 66.5),
         (25.0, 72.3), (100.0, 73.7), (500.0, 76.5), (1000.0, 78.6)),
        0.5, 0.0,
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
        "hcl", "naoh" or "h2so4"; any other has no table and counts as zero
    strength_frac : float
        Weight per weight [-]

    Returns
    -------
    heat_j_per_mol : float
        Heat released [J/mol]

    Raises: OutOfRange for a strength outside 0.0001 to 0.999, and for HCl below 1 or NaOH below 2 mol water per mol,
    of which the tables say nothing.
    Source: parker, felder, h2so4_enthalpy.
    """
    table = _TABLES.get(chemical)
    if table is None:
        return 0.0
    own = water_per_solute(chemical, strength_frac)
    if own < table.end_r * (1.0 - 1e-9):
        raise _too_strong(chemical, own, table.end_r)
    ratio = min(own, table.rows[-1][0])
    xs = [math.log(r) for r, _ in table.rows]
    ys = [1000.0 * heat for _, heat in table.rows]
    x = math.log(ratio)
    if x >= xs[0]:
        return monotone(xs, ys, x)
    return _below_table(chemical, ratio, xs, ys)


def _too_strong(chemical: str, ratio: float, lowest_ratio: float) -> OutOfRange:
    material = substance(chemical)
    most = 1.0 / (1.0 + lowest_ratio * WATER_MOLAR_MASS_KG_PER_MOL / material.molar_mass_kg_per_mol)
    return OutOfRange(
        f"{material.formula} with {ratio:.3g} mol water per mol: its heats are known here from {lowest_ratio:g} mol on "
        f"(at most {most * 100:.3g} wt%). Ask the supplier for stronger.",
        code="heat_not_known",
        seen=ratio,
        allowed_low=lowest_ratio,
        unit="-",
    )


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
        Weight per weight, 0 to the strongest solution of ``density_models`` [-]

    Returns
    -------
    heat_capacity_j_per_kg_k : float
        Specific heat [J/(kg K)]

    Raises: OutOfRange beyond the strongest solution known, and for oxidizers and reductants, whose solutions are not
    known here.
    Source: hcl_heat_capacity for HCl; laliberte for the others. Above the strength of its fit (NaOH 30 %, NaCl 26 %,
    Na2CO3 20 %, H2SO4 94 %) it is taken as at that strength.
    """
    _require_solution(chemical, strength_frac)
    if strength_frac == 0.0:
        return WATER_HEAT_CAPACITY_J_PER_KG_K
    if chemical == "hcl":
        return linear(
            (0.0, 0.1, 0.2, 0.3), (WATER_HEAT_CAPACITY_J_PER_KG_K, 3470.0, 2990.0, 2600.0), strength_frac
        )
    material = substance(chemical)
    limit = _HEAT_CAPACITY_HIGH_FRAC.get(material.key)
    if limit is None:
        raise OutOfRange(
            f"The specific heat of {material.name} solutions is not known here. Used thin, take that of water.",
            code="heat_capacity_not_known",
        )
    library = electrolyte_library()
    strength = min(strength_frac, limit)
    return float(library.Laliberte_heat_capacity(REFERENCE_KELVIN, [strength], [material.cas]))


def _require_solution(chemical: str, strength_frac: float) -> None:
    """Nothing, for a strength that the solution can have. Raises: OutOfRange with the strongest that is known."""
    limits = density_models.limits_of(chemical)
    high = 1.0 if limits is None else limits.strength_high_frac
    if not 0.0 <= strength_frac <= high + 1e-9:
        raise OutOfRange(
            f"{substance(chemical).formula} of {strength_frac * 100:.4g} wt%: its specific heat is known here from 0 to "
            f"{high * 100:g} wt%.",
            code="strength_out_of_range",
            seen=strength_frac * 100.0,
            allowed_low=0.0,
            allowed_high=high * 100.0,
            unit="%",
        )


def is_within_heat_capacity_fit(chemical: str, strength_frac: float) -> bool:
    """Whether the specific heat of this strength was fitted, not carried on from the strongest that was.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight per weight [-]
    """
    return strength_frac <= (_HEAT_CAPACITY_HIGH_FRAC | {"hcl": 0.30}).get(substance(chemical).key, 1.0)


_HEAT_CAPACITY_HIGH_FRAC = {"naoh": 0.30, "nacl": 0.26, "h2so4": 0.94, "na2co3": 0.20, "nh3": 0.98}


def has_heat_table(chemical: str) -> bool:
    """Whether the heat of dilution of this substance is tabulated here.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    """
    return substance(chemical).key in _TABLES


def is_within_heat_table(chemical: str, strength_frac: float) -> bool:
    """Whether this strength lies inside the rows of the heat table (not above its strongest row).

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight per weight [-]
    """
    table = _TABLES.get(substance(chemical).key)
    if table is None or strength_frac >= 0.999:
        return False
    return water_per_solute(chemical, strength_frac) >= table.lowest_r


def heat_source(chemical: str) -> str:
    """Key of the source of the heat table of this substance; that of the balance where there is no table.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    """
    table = _TABLES.get(substance(chemical).key)
    return table.source if table else "mass_balance"


def heat_of_dilution(chemical: str, stock_strength_frac: float, strength_frac: float) -> Estimate:
    """Heat released on diluting a solution at 25 °C, per mole of solute.

    Parameters
    ----------
    chemical : str
        "hcl", "naoh" or "h2so4"
    stock_strength_frac : float
        Strength before [-]
    strength_frac : float
        Strength after, not above that before [-]

    Returns
    -------
    heat : Estimate
        Heat released, positive when the blend warms [J/mol]

    Raises: OutOfRange for strengths that do not fit, and for a substance without a heat table.
    Source: parker, felder, h2so4_enthalpy.
    """
    material = substance(chemical)
    if not has_heat_table(chemical):
        raise OutOfRange(
            f"The heat of dilution of {material.name} is not in the tables known here.", code="heat_not_known"
        )
    require_within(
        strength_frac, 1e-4, stock_strength_frac, "strength after", "", "It lies below that before."
    )
    before = heat_released_j_per_mol(chemical, stock_strength_frac)
    after = heat_released_j_per_mol(chemical, strength_frac)
    is_inside = is_within_heat_table(chemical, stock_strength_frac)
    return Estimate(
        symbol="H_d",
        name=f"heat released on diluting {material.formula}",
        value=after - before,
        unit="J/mol",
        kind="heat_per_amount",
        formula="H_2 − H_1",
        inputs=(
            _heat_input(chemical, "H_2", strength_frac, after),
            _heat_input(chemical, "H_1", stock_strength_frac, before),
        ),
        method="integral heats of solution, monotone cubic in ln r between rows",
        source=heat_source(chemical),
        valid="25 °C",
        warnings=() if is_inside else (STRONGER_THAN_TABLE,),
        uncertainty_frac=TABLE_UNCERTAINTY_FRAC if is_inside else BELOW_TABLE_UNCERTAINTY_FRAC,
    )


STRONGER_THAN_TABLE = (
    "The stock is stronger than the heat table, which is carried on to it: the rise may be 8 % off, and other tables lie as "
    "far apart there."
)


def _heat_input(chemical: str, symbol: str, strength_frac: float, heat_j_per_mol: float) -> Input:
    ratio = water_per_solute(chemical, strength_frac)
    words = f"heat released up to {strength_frac * 100:.4g} wt%, {ratio:.4g} mol water per mol, from the table's zero"
    return Input(symbol, words, heat_j_per_mol, "J/mol", "heat_per_amount")
