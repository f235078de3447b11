"""Gypsum in spent sulfuric acid: how far the acid is saturated, how much calcium it may hold, what pure water dissolves.

By PHREEQC with ``pitzer.dat``; ``phreeqc.dat`` is asked beside it, and what it says differently is said. Saturated is not
solid: gypsum stays in solution for minutes while the acid moves, never through a pause.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log10
from typing import Any

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import root
from regenplant.core.engineering.phreeqc_runs import (
    DEBYE_HUECKEL,
    PITZER,
    gypsum_index,
    log_water_activity,
    molality_mol_per_kg,
    require_temperature,
    solved,
)
from regenplant.core.engineering.ranges import require_within
from regenplant.core.errors import OutOfRange

LOWEST_ACID_FRAC, HIGHEST_ACID_FRAC = 0.001, 0.12
DISAGREEMENT_SAID = 0.05
"""A difference between the two data files from this on is put into words."""
_INDEX_UNCERTAINTY = 0.1
_CALCIUM_SULFATE_KG_PER_MOL = 0.13614


@lru_cache(maxsize=4096)
def _gypsum_index(
    strength_frac: float, shares: tuple[float, float, float], temperature_kelvin: float, data_file: str
) -> float:
    contents = _contents(strength_frac, shares, temperature_kelvin)
    return solved(contents, data_file, gypsum_index)


def _contents(
    strength_frac: float, shares: tuple[float, float, float], temperature_kelvin: float
) -> dict[str, Any]:
    molality = molality_mol_per_kg("h2so4", strength_frac)
    contents: dict[str, Any] = {
        "units": "mol/kgw", "temp": temperature_kelvin - 273.15, "pH": "1 charge", "S(6)": molality,
    }  # fmt: skip
    for name, share, charge in zip(("Ca", "Mg", "Na"), shares, (2, 2, 1), strict=True):
        if share > 0.0:
            contents[name] = share * 2.0 * molality / charge
    return contents


@dataclass(frozen=True, slots=True)
class GypsumTerms:
    """What stands behind an index: the activities of CaSO4·2H2O's parts, and the amounts they belong to [mol/kg]."""

    log_calcium_activity: float
    log_sulfate_activity: float
    log_water_activity: float
    log_solubility_product: float
    calcium_gamma: float
    sulfate_gamma: float
    free_calcium: float
    free_sulfate: float
    bisulfate: float
    ionic_strength: float
    ph: float


@lru_cache(maxsize=4096)
def gypsum_terms(
    strength_frac: float, shares: tuple[float, float, float], temperature_kelvin: float
) -> GypsumTerms:
    """Activities behind the index of ``gypsum_saturation``.

    Parameters
    ----------
    strength_frac : float
        Strength of the acid as fed, 0.001 to 0.12 [-]
    shares : tuple
        Shares of the acid's equivalents exchanged for calcium, magnesium, sodium [-]
    temperature_kelvin : float
        Temperature, 273.15 to 353.15 [K]

    Returns
    -------
    terms : GypsumTerms
        Their sum is the index

    Source: phreeqc_pitzer.
    """

    def read(solution: Any) -> GypsumTerms:
        activities, amounts = solution.species_activities, solution.species_molalities
        water = log_water_activity(solution)
        calcium, sulfate = log10(activities["Ca+2"]), log10(activities["SO4-2"])
        return GypsumTerms(
            calcium, sulfate, water, calcium + sulfate + 2.0 * water - gypsum_index(solution),
            activities["Ca+2"] / amounts["Ca+2"], activities["SO4-2"] / amounts["SO4-2"], amounts["Ca+2"], amounts["SO4-2"],
            amounts.get("HSO4-", 0.0), float(solution.I), float(solution.pH),
        )  # fmt: skip

    return solved(_contents(strength_frac, shares, temperature_kelvin), PITZER, read)


def gypsum_saturation(
    strength_frac: float,
    calcium_frac: float,
    temperature_kelvin: float,
    *,
    magnesium_frac: float = 0.0,
    sodium_frac: float = 0.0,
) -> Estimate:
    """Saturation index of gypsum in sulfuric acid part of whose acid is exchanged.

    Parameters
    ----------
    strength_frac : float
        Strength of the acid as fed, 0.001 to 0.12 [-]
    calcium_frac : float
        Share of the acid's equivalents exchanged for calcium, above 0 [-]
    temperature_kelvin : float
        Temperature in the bed, 273.15 to 353.15 [K]
    magnesium_frac : float
        Share exchanged for magnesium [-]
    sodium_frac : float
        Share exchanged for sodium [-]

    Returns
    -------
    index : Estimate
        log10 of the ion product over the solubility product; 0 is saturated, above it gypsum can drop [-]

    Raises: OutOfRange outside the ranges, or for shares that together exceed the acid.
    Range: equilibrium. How long gypsum stays in solution above 0 is not calculated.
    Source: phreeqc_pitzer.
    """
    require_within(
        strength_frac,
        LOWEST_ACID_FRAC,
        HIGHEST_ACID_FRAC,
        "strength of the sulfuric acid",
        "",
        "That is 0.1 to 12 wt%.",
    )
    require_within(calcium_frac, 1e-6, 1.0, "calcium share of the acid")
    shares = (calcium_frac, magnesium_frac, sodium_frac)
    for name, share in (("magnesium", magnesium_frac), ("sodium", sodium_frac)):
        require_within(share, 0.0, 1.0, f"{name} share of the acid")
    require_within(sum(shares), 0.0, 1.0 + 1e-9, "exchanged share of the acid", "", "No more than all of it.")
    require_temperature(temperature_kelvin)
    value = _gypsum_index(strength_frac, shares, temperature_kelvin, PITZER)
    difference = _difference(strength_frac, shares, temperature_kelvin, value)
    return Estimate(
        symbol="SI_g",
        name="saturation index of gypsum in the spent acid",
        value=value,
        unit="dimensionless",
        kind="index",
        formula="solve SI = log10(IAP / K) of CaSO4·2H2O",
        inputs=(
            Input("w", "strength of the sulfuric acid as fed", strength_frac, "dimensionless", "strength"),
            Input("y_Ca", "share of the acid exchanged for calcium", calcium_frac, "dimensionless", "fraction"),
            Input("y_Mg", "share of the acid exchanged for magnesium", magnesium_frac, "dimensionless", "fraction"),
            Input("y_Na", "share of the acid exchanged for sodium", sodium_frac, "dimensionless", "fraction"),
            Input("T", "temperature in the bed", temperature_kelvin, "kelvin", "temperature"),
        ),
        method="PHREEQC, pitzer.dat, nothing precipitated",
        source="phreeqc_pitzer",
        valid="equilibrium, 0.1 to 12 % acid, 0 to 80 °C; about 0.1, the two data files differ by more in strong acid",
        warnings=_disagreement(difference),
        uncertainty_frac=(
            abs(difference) / abs(value) if difference is not None and abs(value) > 2.0 * abs(difference) else None
        ),
        uncertainty_abs=max(_INDEX_UNCERTAINTY, abs(difference or 0.0)),
    )  # fmt: skip


def _difference(
    strength_frac: float, shares: tuple[float, float, float], temperature_kelvin: float, value: float
) -> float | None:
    """What the second data file says more; None where it finds no equilibrium in so strong a solution."""
    try:
        return _gypsum_index(strength_frac, shares, temperature_kelvin, DEBYE_HUECKEL) - value
    except OutOfRange:
        return None


def _disagreement(difference: float | None) -> tuple[str, ...]:
    if difference is None:
        return (
            "phreeqc.dat finds no equilibrium in so strong a solution; pitzer.dat alone stands behind the index.",
        )
    if abs(difference) < DISAGREEMENT_SAID:
        return ()
    side = "lower" if difference < 0.0 else "higher"
    return (
        f"Two data files disagree: phreeqc.dat puts the index {abs(difference):.2f} {side}; "
        "pitzer.dat, made for strong solutions, is used.",
    )


def largest_calcium_fraction(strength_frac: float, temperature_kelvin: float) -> Estimate:
    """Largest share of the acid's equivalents that may be calcium with gypsum just saturated.

    Parameters
    ----------
    strength_frac : float
        Strength of the acid as fed, 0.001 to 0.12 [-]
    temperature_kelvin : float
        Temperature in the bed, 273.15 to 353.15 [K]

    Returns
    -------
    share : Estimate
        Share of the equivalents; 1 where even all of it stays in solution [-]

    Raises: OutOfRange outside the ranges.
    Range: equilibrium, so on the side of caution; nothing else exchanged.
    Source: phreeqc_pitzer.
    """
    at_all = gypsum_saturation(strength_frac, 1.0, temperature_kelvin)
    return Estimate(
        symbol="y_max",
        name="largest share of calcium with gypsum saturated",
        value=1.0 if at_all.value <= 0.0 else _saturated_share(strength_frac, temperature_kelvin),
        unit="dimensionless",
        kind="fraction",
        formula="solve SI(w, y, T) = 0",
        inputs=(at_all.inputs[0], at_all.inputs[-1]),
        method="PHREEQC, pitzer.dat, solved for the share by halving",
        source="phreeqc_pitzer",
        valid="equilibrium; plants run above it for minutes while the acid moves",
        uncertainty_frac=0.25,
    )


@lru_cache(maxsize=512)
def _saturated_share(strength_frac: float, temperature_kelvin: float) -> float:
    def index(share: float) -> float:
        return _gypsum_index(strength_frac, (share, 0.0, 0.0), temperature_kelvin, PITZER)

    return root(index, 1e-5, 1.0, 1e-5)


def gypsum_solubility(temperature_kelvin: float) -> Estimate:
    """Gypsum that pure water dissolves, counted as CaSO4.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature, 273.15 to 353.15 [K]

    Returns
    -------
    solubility : Estimate
        Mass of CaSO4 per mass of water [kg/kg]

    Raises: OutOfRange outside 0 to 80 °C.
    Source: phreeqc_pitzer.
    """
    require_temperature(temperature_kelvin)
    return Estimate(
        symbol="s_g",
        name="solubility of gypsum in pure water, as CaSO4",
        value=_gypsum_solubility(temperature_kelvin),
        unit="dimensionless",
        kind="mass_ratio",
        formula="solve equilibrium of water with CaSO4·2H2O",
        inputs=(Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),),
        method="PHREEQC, pitzer.dat, equilibrium with gypsum",
        source="phreeqc_pitzer",
        valid="pure water, 0 to 80 °C; other salts raise it",
        uncertainty_frac=0.02,
    )


@lru_cache(maxsize=256)
def _gypsum_solubility(temperature_kelvin: float) -> float:
    def dissolved(solution: Any) -> float:
        solution.equalize(["Gypsum"], [0.0], [10.0])
        return float(solution.total_element("Ca", "mol")) * _CALCIUM_SULFATE_KG_PER_MOL

    return solved({"units": "mol/kgw", "temp": temperature_kelvin - 273.15}, PITZER, dissolved)
