"""Dynamic viscosity of regenerant solutions: how stiff a stock or a diluted regenerant is at its temperature.

Relative viscosity at 20 °C from read rows (CRC), moved to other temperatures by Laliberté's model, times IAPWS water:

    µ(w, T) = µ_w(T) · [µ/µ_w](w, 20 °C) · R_L(w, T) / R_L(w, 20 °C),  R_L = Laliberté's µ over his own water

Alone, Laliberté's fit is 9 % low for 4 % caustic and 5 % low at 36 %; the rows put that right.

    HCl     0 to 38 %     5 to 50 °C      Na2CO3  0 to 15 %   10 to 60 °C
    NaCl    0 to 26 %     5 to 80 °C      NH3     0 to 26 %   10 to 40 °C
    NaOH    0 to 50 %    10 to 70 °C      H2SO4   0 to 60 %    0 to 70 °C
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from regenplant.core.engineering import solution_tables as tables
from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import smooth
from regenplant.core.engineering.libraries import electrolyte_library
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

_TWENTY_CELSIUS_KELVIN = 293.15


@dataclass(frozen=True, slots=True)
class ViscosityRange:
    """Where the viscosity of one solution is known; the uncertainty is that away from 20 °C."""

    strength_high_frac: float
    temperature_low_kelvin: float
    temperature_high_kelvin: float
    uncertainty_frac: float


RANGES: dict[str, ViscosityRange] = {
    "hcl": ViscosityRange(0.38, 278.15, 323.15, 0.03),
    "h2so4": ViscosityRange(0.60, 273.15, 343.15, 0.03),
    "nacl": ViscosityRange(0.26, 278.15, 353.15, 0.02),
    "naoh": ViscosityRange(0.50, 283.15, 343.15, 0.05),
    "na2co3": ViscosityRange(0.15, 283.15, 333.15, 0.04),
    "nh3": ViscosityRange(0.26, 283.15, 313.15, 0.03),
}
AT_TWENTY_UNCERTAINTY_FRAC = 0.01
"""Within 2 K of 20 °C, where the rows are."""
BEYOND_ROWS_FRAC = 0.40
"""Caustic above this strength has no read row; Laliberté's fit goes on to 56 %."""
BEYOND_ROWS_UNCERTAINTY_FRAC = 0.10


def is_viscosity_known(chemical: str, strength_frac: float, temperature_kelvin: float) -> bool:
    """Whether ``solution_viscosity`` answers for this strength and temperature.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]
    """
    limits = RANGES.get(substance(chemical).key)
    return (
        limits is not None
        and 0.0 <= strength_frac <= limits.strength_high_frac
        and limits.temperature_low_kelvin <= temperature_kelvin <= limits.temperature_high_kelvin
    )


def viscosity_pascal_s(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """Dynamic viscosity of a solution as a bare number.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    viscosity_pascal_s : float
        Dynamic viscosity [Pa s]

    Raises: OutOfRange outside the table in the module docstring.
    Source: crc_solutions, laliberte.
    """
    limits = _limits(chemical)
    name = substance(chemical).formula
    if not 0.0 <= strength_frac <= limits.strength_high_frac:
        raise OutOfRange(
            f"{name} of {strength_frac * 100:.4g} wt%: its viscosity is known here from 0 to "
            f"{limits.strength_high_frac * 100:g} wt%. Use the supplier's figure.",
            code="strength_out_of_range",
            seen=strength_frac,
            allowed_low=0.0,
            allowed_high=limits.strength_high_frac,
        )
    low, high = limits.temperature_low_kelvin, limits.temperature_high_kelvin
    if not low <= temperature_kelvin <= high:
        raise OutOfRange(
            f"{name} at {temperature_kelvin - 273.15:.4g} °C: its viscosity is known here from {low - 273.15:g} to "
            f"{high - 273.15:g} °C. Use the supplier's figure.",
            code="temperature_out_of_range",
            seen=temperature_kelvin,
            allowed_low=low,
            allowed_high=high,
        )
    return _viscosity(substance(chemical).key, strength_frac, temperature_kelvin)


def _limits(chemical: str) -> ViscosityRange:
    limits = RANGES.get(substance(chemical).key)
    if limits is None:
        raise OutOfRange(
            f"The viscosity of {substance(chemical).name} is not known here. Use the supplier's figure.",
            code="viscosity_not_known",
        )
    return limits


@lru_cache(maxsize=1024)
def _viscosity(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    pure = water.viscosity_pascal_s(temperature_kelvin)
    if strength_frac == 0.0:
        return pure
    rows = tables.VISCOSITY_20C_MILLIPASCAL_S[chemical]
    at_rows = min(strength_frac, rows[-1][0])
    logs = [0.0, *(math.log(mu / tables.VISCOSITY_WATER_20C_MILLIPASCAL_S) for _, mu in rows)]
    relative = math.exp(smooth([0.0, *(w for w, _ in rows)], logs, at_rows))
    moved = _relative_laliberte(chemical, strength_frac, temperature_kelvin)
    return pure * relative * moved / _relative_laliberte(chemical, at_rows, _TWENTY_CELSIUS_KELVIN)


def _relative_laliberte(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """Laliberté's viscosity of the solution over that of his own water."""
    library = electrolyte_library()
    found = library.Laliberte_viscosity(temperature_kelvin, [strength_frac], [substance(chemical).cas])
    return float(found / library.Laliberte_viscosity_w(temperature_kelvin))


def solution_viscosity(chemical: str, strength_frac: float, temperature_kelvin: float) -> Estimate:
    """Dynamic viscosity of a solution with its working.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]

    Returns
    -------
    viscosity : Estimate
        Dynamic viscosity [Pa s]

    Raises: OutOfRange outside the table in the module docstring.
    Source: crc_solutions, laliberte.
    """
    material, limits = substance(chemical), _limits(chemical)
    is_beyond = material.key == "naoh" and strength_frac > BEYOND_ROWS_FRAC
    is_near = abs(temperature_kelvin - _TWENTY_CELSIUS_KELVIN) <= 2.0
    uncertainty = AT_TWENTY_UNCERTAINTY_FRAC if is_near else limits.uncertainty_frac
    return Estimate(
        symbol="µ",
        name=f"dynamic viscosity of {material.formula} solution",
        value=viscosity_pascal_s(chemical, strength_frac, temperature_kelvin),
        unit="pascal*s",
        kind="viscosity",
        formula="table µ(w, T)",
        inputs=(
            Input("w", f"strength, weight of {material.formula} per weight of solution", strength_frac, "dimensionless", "strength"),
            Input("T", "temperature of the solution", temperature_kelvin, "kelvin", "temperature"),
        ),
        method="rows at 20 °C (CRC), temperature by Laliberté 2009",
        source="crc_solutions",
        valid=f"0 to {limits.strength_high_frac * 100:g} wt%, {limits.temperature_low_kelvin - 273.15:g} to "
        f"{limits.temperature_high_kelvin - 273.15:g} °C",
        warnings=("Above 40 % no row was read; the model goes on alone and may be 10 % off.",) if is_beyond else (),
        uncertainty_frac=BEYOND_ROWS_UNCERTAINTY_FRAC if is_beyond else uncertainty,
    )  # fmt: skip
