"""Density of solutions as bare numbers: the models, where each holds, and how far off it was seen to be.

Strength is always weight of pure substance per weight of solution (``_frac``; 0.32 is 32 wt%).

    HCl     0 to 40 %     0 to 80 °C   read 20 °C rows, temperature by Laliberté
    NaCl    0 to 26.6 %   0 to 95 °C   Laliberté
    NaOH    0 to 51 %     0 to 100 °C  read 20 °C rows, temperature fitted to read rows
    H2SO4   0 to 100 %    0 to 70 °C   Laliberté below 5 %, International Critical Tables from 10 to 98 %, CRC row at 100 %
    Na2CO3  0 to 15 %     0 to 80 °C   read 20 °C rows, temperature by Laliberté
    NH3     0 to 30 %    10 to 40 °C   read 20 °C rows, temperature by Laliberté

Outside, the functions refuse. Oxidizers and reductants have no table: the lot's own density is used.
``solutions`` wraps these numbers with their working.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from regenplant.core.engineering import solution_tables as tables
from regenplant.core.engineering import water
from regenplant.core.engineering.interpolation import smooth, smooth_step
from regenplant.core.engineering.libraries import electrolyte_library
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

TWENTY_CELSIUS_KELVIN = 293.15


@dataclass(frozen=True, slots=True)
class DensityRange:
    """Where the density of one solution is known, by which method, and how well."""

    strength_high_frac: float
    temperature_low_kelvin: float
    temperature_high_kelvin: float
    source: str
    method: str
    uncertainty_frac: float
    """Between ``tested_low_kelvin`` and ``tested_high_kelvin``, where read rows stand."""
    tested_low_kelvin: float
    tested_high_kelvin: float
    far_uncertainty_frac: float
    """Beyond them, where only the fit's own range speaks for it."""
    inversion_high_frac: float

    def uncertainty_at(self, temperature_kelvin: float) -> float:
        """Honest relative uncertainty at this temperature."""
        is_tested = self.tested_low_kelvin <= temperature_kelvin <= self.tested_high_kelvin
        return self.uncertainty_frac if is_tested else self.far_uncertainty_frac


_ROWS = "rows at 20 °C (CRC), temperature by Laliberté 2009"
RANGES: dict[str, DensityRange] = {
    "hcl": DensityRange(0.40, 273.15, 353.15, "crc_solutions", _ROWS, 0.001, 283.15, 313.15, 0.0025, 0.40),
    "nacl": DensityRange(0.266, 273.15, 368.15, "laliberte", "Laliberté 2009", 0.0005, 288.15, 298.15, 0.0015, 0.266),
    "naoh": DensityRange(
        0.51, 273.15, 373.15, "naoh_table", "rows at 20 °C (CRC to 40 %, public table above), temperature fitted to read rows",
        0.001, 283.15, 333.15, 0.0025, 0.51,
    ),
    "h2so4": DensityRange(
        1.0, 273.15, 343.15, "ict_h2so4",
        "Laliberté 2009 below 5 %, International Critical Tables from 10 %, blended between; a CRC row at 100 %",
        0.001, 283.15, 313.15, 0.002, 0.96,
    ),
    "na2co3": DensityRange(0.15, 273.15, 353.15, "crc_solutions", _ROWS, 0.0005, 291.15, 295.15, 0.002, 0.15),
    "nh3": DensityRange(0.30, 283.15, 313.15, "crc_solutions", _ROWS, 0.0005, 291.15, 295.15, 0.003, 0.30),
}  # fmt: skip


def limits_of(chemical: str) -> DensityRange | None:
    """Range of the density table of this substance, None for one that has none.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``

    Raises: OutOfRange for a substance that is not known at all.
    """
    return RANGES.get(substance(chemical).key)


def known_limits(chemical: str) -> DensityRange:
    """Range of the density table of this substance.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``

    Raises: OutOfRange for a substance without a density table.
    """
    limits = limits_of(chemical)
    if limits is None:
        raise OutOfRange(
            f"The density of {substance(chemical).name} is not in the tables known here. "
            "Use the density on the lot's own record.",
            code="density_not_known",
        )
    return limits


def valid_words(chemical: str) -> str:
    """The range in which the density of this solution is known, in words.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    """
    limits = limits_of(chemical)
    if limits is None:
        return "no density table; the lot's own density is used"
    return (
        f"0 to {limits.strength_high_frac * 100:g} wt%, {limits.temperature_low_kelvin - 273.15:g} to "
        f"{limits.temperature_high_kelvin - 273.15:g} °C; about {limits.uncertainty_frac * 100:g} % from "
        f"{limits.tested_low_kelvin - 273.15:g} to {limits.tested_high_kelvin - 273.15:g} °C, "
        f"{limits.far_uncertainty_frac * 100:g} % beyond"
    )


def temperature_range_kelvin(chemical: str) -> tuple[float, float]:
    """Temperatures between which the density of this solution is known (low, high), in kelvin.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``

    Returns
    -------
    range_kelvin : tuple
        Low and high [K]

    Raises: OutOfRange for a substance without a density table.
    """
    limits = known_limits(chemical)
    return limits.temperature_low_kelvin, limits.temperature_high_kelvin


def is_density_known(chemical: str, strength_frac: float, temperature_kelvin: float) -> bool:
    """Whether ``density_kg_per_m3`` answers for this strength and temperature.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution [K]
    """
    limits = limits_of(chemical)
    return (
        limits is not None
        and 0.0 <= strength_frac <= limits.strength_high_frac
        and limits.temperature_low_kelvin <= temperature_kelvin <= limits.temperature_high_kelvin
    )


def density_kg_per_m3(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """Density of a solution as a bare number, for inner loops.

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
    density_kg_per_m3 : float
        Density at atmospheric pressure [kg/m^3]

    Raises: OutOfRange outside the table in the module docstring.
    """
    limits = known_limits(chemical)
    name = substance(chemical).formula
    if not 0.0 <= strength_frac <= limits.strength_high_frac:
        raise OutOfRange(
            f"{name} of {strength_frac * 100:.4g} wt%: its density is known here from 0 to "
            f"{limits.strength_high_frac * 100:g} wt%. Use the density on the lot's own record.",
            code="strength_out_of_range",
            seen=strength_frac,
            allowed_low=0.0,
            allowed_high=limits.strength_high_frac,
        )
    low, high = limits.temperature_low_kelvin, limits.temperature_high_kelvin
    if not low <= temperature_kelvin <= high:
        raise OutOfRange(
            f"{name} at {temperature_kelvin - 273.15:.4g} °C: its density is known here from "
            f"{low - 273.15:g} to {high - 273.15:g} °C. Measure the density at the plant.",
            code="temperature_out_of_range",
            seen=temperature_kelvin,
            allowed_low=low,
            allowed_high=high,
        )
    return _density(substance(chemical).key, strength_frac, temperature_kelvin)


@lru_cache(maxsize=4096)
def _density(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    if strength_frac == 0.0:
        return water.density_kg_per_m3(temperature_kelvin)
    if chemical == "naoh":
        return _naoh(strength_frac, temperature_kelvin)
    if chemical == "h2so4":
        return _h2so4(strength_frac, temperature_kelvin)
    if chemical in tables.ROWS_20C:
        return _rows(chemical, strength_frac, temperature_kelvin)
    return _laliberte(chemical, strength_frac, temperature_kelvin)


@lru_cache(maxsize=8)
def _laliberte_coefficients(cas: str) -> tuple[list[float], ...]:
    """The five density coefficients of one solute, as the library wants them."""
    library = electrolyte_library()
    library._load_electrochem_data()
    row = library.Laliberte_data.loc[cas].values
    return tuple([float(row[index])] for index in range(3, 8))


def _laliberte(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    library = electrolyte_library()
    c0, c1, c2, c3, c4 = _laliberte_coefficients(substance(chemical).cas)
    found = float(library.Laliberte_density_mix(temperature_kelvin, [strength_frac], c0, c1, c2, c3, c4))
    # Laliberté's own water is up to 5 ppm off IAPWS: put ours in, so that no step is left at strength zero.
    return (
        found * water.density_kg_per_m3(temperature_kelvin) / library.Laliberte_density_w(temperature_kelvin)
    )


def _rows(chemical: str, strength_frac: float, temperature_kelvin: float) -> float:
    """The read rows at 20 °C, moved to another temperature by Laliberté's ratio."""
    rows = ((0.0, water.density_kg_per_m3(TWENTY_CELSIUS_KELVIN)), *tables.ROWS_20C[chemical])
    at_20 = smooth([w for w, _ in rows], [density for _, density in rows], strength_frac)
    if temperature_kelvin == TWENTY_CELSIUS_KELVIN:
        return at_20
    return (
        at_20
        * _laliberte(chemical, strength_frac, temperature_kelvin)
        / _laliberte(chemical, strength_frac, TWENTY_CELSIUS_KELVIN)
    )


def _naoh(strength_frac: float, temperature_kelvin: float) -> float:
    w, x = strength_frac, (temperature_kelvin - TWENTY_CELSIUS_KELVIN) / 100.0
    water_20 = water.density_kg_per_m3(TWENTY_CELSIUS_KELVIN)
    # the row of pure water is IAPWS to all its digits, so that no step is left at strength zero
    rows = (water_20, *tables.NAOH_20C_KG_PER_M3[1:])
    at_20 = smooth(tables.NAOH_WEIGHT_FRAC, rows, min(w, 0.50))
    if w > 0.50:  # one percent beyond the last row, along its slope
        at_20 += (w - 0.50) * (tables.NAOH_20C_KG_PER_M3[-1] - tables.NAOH_20C_KG_PER_M3[-2]) / 0.02
    (a1, a2, a3), (b1, b2, b3) = tables.NAOH_TEMPERATURE
    departure = x * w * (a1 + a2 * w + a3 * w * w) + x * x * w * (b1 + b2 * w + b3 * w * w)
    return at_20 * (water.density_kg_per_m3(temperature_kelvin) / water_20 + departure)


def _ict(strength_frac: float, temperature_kelvin: float) -> float:
    rows = [1000.0 * (c0 + c1 * temperature_kelvin) for _, c0, c1 in tables.ICT_H2SO4]
    top = tables.H2SO4_WEIGHT_FRAC[-1]
    if strength_frac <= top:
        return smooth(tables.H2SO4_WEIGHT_FRAC, rows, strength_frac)
    # from 98 % straight to the one row read at 100 %, which moves with temperature as the 98 % row does
    pure = tables.H2SO4_PURE_20C_KG_PER_M3 + 1000.0 * tables.ICT_H2SO4[-1][2] * (
        temperature_kelvin - TWENTY_CELSIUS_KELVIN
    )
    return rows[-1] + (pure - rows[-1]) * (strength_frac - top) / (1.0 - top)


def _h2so4(strength_frac: float, temperature_kelvin: float) -> float:
    share = smooth_step(strength_frac, 0.05, 0.10)
    dilute = _laliberte("h2so4", strength_frac, temperature_kelvin) if share < 1.0 else 0.0
    strong = _ict(strength_frac, temperature_kelvin) if share > 0.0 else 0.0
    return (1.0 - share) * dilute + share * strong
