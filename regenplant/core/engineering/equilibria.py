"""pH of a mixed waste from its composition: charge balance with the pairs that matter, at 25 °C.

Species, constants and activity parameters are those of the public data file phreeqc.dat (WATEQ Debye-Hückel), solved
by our own few lines, and compared with that program in the tests. Closed to the air, nothing precipitates: an open
tank loses carbon dioxide and a caustic one drops chalk and magnesia, so this plans and never replaces a measured pH.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from math import log10, sqrt

from regenplant.core.engineering import water
from regenplant.core.engineering.interpolation import root
from regenplant.core.engineering.ranges import require_within

_DEBYE_HUECKEL_A, _DEBYE_HUECKEL_B = 0.5092, 0.3283  # 25 °C, mol/kg and ångström
_LOG_KW = -14.0
_STRENGTH_HELD = 3.0
"""Above this ionic strength [mol/L] the activity model means nothing and is held where it is."""

_NOTHING_MOL_PER_M3 = 1e-9
"""A total below this is left out: it cannot move a pH, and it divides badly."""

# name: (charge, ion size in ångström or None for Davies, b)
_IONS: dict[str, tuple[int, float | None, float]] = {
    "H": (1, 9.0, 0.0), "OH": (-1, 3.5, 0.0), "Na": (1, 4.08, 0.082), "Ca": (2, 5.0, 0.165), "Mg": (2, 5.5, 0.20),
    "Cl": (-1, 3.63, 0.017), "NO3": (-1, 3.0, 0.0), "SO4": (-2, 5.0, -0.04), "CO3": (-2, 5.4, 0.0),
    "HCO3": (-1, 5.4, 0.0), "HSO4": (-1, None, 0.0), "CaOH": (1, None, 0.0), "MgOH": (1, 6.5, 0.0),
    "CaHCO3": (1, 6.0, 0.0), "MgHCO3": (1, 4.0, 0.0), "NaCO3": (-1, None, 0.0), "NaSO4": (-1, 5.4, 0.0),
    "CaHSO4": (1, None, 0.0), "H3SiO4": (-1, 4.0, 0.0), "H2SiO4": (-2, 5.4, 0.0),
}  # fmt: skip

# pair: (log10 of the formation constant from free ions, exponent of H+, ions that form it)
_PAIRS: dict[str, tuple[float, int, tuple[str, ...]]] = {
    "HCO3": (10.329, 1, ("CO3",)), "CO2": (16.681, 2, ("CO3",)), "HSO4": (1.988, 1, ("SO4",)),
    "CaOH": (-12.78, -1, ("Ca",)), "MgOH": (-11.44, -1, ("Mg",)),
    "CaCO3": (3.224, 0, ("Ca", "CO3")), "CaHCO3": (11.435, 1, ("Ca", "CO3")),
    "MgCO3": (2.98, 0, ("Mg", "CO3")), "MgHCO3": (11.399, 1, ("Mg", "CO3")),
    "NaCO3": (1.27, 0, ("Na", "CO3")), "NaHCO3": (-0.25 + 10.329, 1, ("Na", "CO3")),
    "CaSO4": (2.25, 0, ("Ca", "SO4")), "CaHSO4": (1.08 + 1.988, 1, ("Ca", "SO4")),
    "MgSO4": (2.37, 0, ("Mg", "SO4")), "NaSO4": (0.7, 0, ("Na", "SO4")),
    "H3SiO4": (-9.83, -1, ("H4SiO4",)), "H2SiO4": (-23.0, -2, ("H4SiO4",)),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Composition:
    """Totals in a waste, whatever form they are in [mol/m³]."""

    sodium_mol_per_m3: float = 0.0
    calcium_mol_per_m3: float = 0.0
    magnesium_mol_per_m3: float = 0.0
    chloride_mol_per_m3: float = 0.0
    sulfate_mol_per_m3: float = 0.0
    nitrate_mol_per_m3: float = 0.0
    carbonate_mol_per_m3: float = 0.0
    silica_mol_per_m3: float = 0.0

    def __post_init__(self) -> None:
        for entry in fields(self):
            require_within(
                getattr(self, entry.name), 0.0, 8000.0, entry.name.removesuffix("_mol_per_m3"), "mol/m³"
            )

    @property
    def excess_eq_per_m3(self) -> float:
        """Strong anions less strong cations: strong acid left (+) or strong base left (−) [eq/m³]."""
        anions = self.chloride_mol_per_m3 + self.nitrate_mol_per_m3 + 2.0 * self.sulfate_mol_per_m3
        cations = self.sodium_mol_per_m3 + 2.0 * (self.calcium_mol_per_m3 + self.magnesium_mol_per_m3)
        return anions - cations


def mixed(first: Composition, first_m3: float, second: Composition, second_m3: float) -> Composition:
    """Composition of two wastes poured together; volumes are taken as adding.

    Parameters
    ----------
    first : Composition
        One waste
    first_m3 : float
        Its volume, > 0 [m^3]
    second : Composition
        The other waste
    second_m3 : float
        Its volume, > 0 [m^3]

    Returns
    -------
    mixture : Composition
        Totals of the mixture

    Raises: OutOfRange for volumes that are not above zero.
    """
    require_within(first_m3, 1e-9, 1e6, "volume of the first waste", "m³")
    require_within(second_m3, 1e-9, 1e6, "volume of the second waste", "m³")
    whole = first_m3 + second_m3
    return Composition(
        *(
            (getattr(first, entry.name) * first_m3 + getattr(second, entry.name) * second_m3) / whole
            for entry in fields(Composition)
        )
    )


def _log_activity_coefficient(name: str, ionic_strength: float) -> float:
    ionic_strength = min(ionic_strength, _STRENGTH_HELD)
    if name not in _IONS:
        return 0.1 * ionic_strength  # neutral species
    charge, size, b = _IONS[name]
    square_root = sqrt(ionic_strength)
    if size is None:
        davies = square_root / (1.0 + square_root) - 0.3 * ionic_strength
        return -_DEBYE_HUECKEL_A * charge * charge * davies
    limiting = square_root / (1.0 + _DEBYE_HUECKEL_B * size * square_root)
    return -_DEBYE_HUECKEL_A * charge * charge * limiting + b * ionic_strength


def _totals(composition: Composition) -> dict[str, float]:
    """Totals by master species in mol/L, those that are there."""
    found = {
        "Na": composition.sodium_mol_per_m3, "Ca": composition.calcium_mol_per_m3, "Mg": composition.magnesium_mol_per_m3,
        "Cl": composition.chloride_mol_per_m3, "NO3": composition.nitrate_mol_per_m3, "SO4": composition.sulfate_mol_per_m3,
        "CO3": composition.carbonate_mol_per_m3, "H4SiO4": composition.silica_mol_per_m3,
    }  # fmt: skip
    return {name: total / 1000.0 for name, total in found.items() if total > _NOTHING_MOL_PER_M3}


def _log_kw(temperature_kelvin: float) -> float:
    """log10 of the ion product: −14 at 25 °C as in the data file, moved with temperature as IAPWS says."""
    if temperature_kelvin == water.REFERENCE_KELVIN:
        return _LOG_KW
    ratio = water.ion_product_molal(temperature_kelvin) / water.ion_product_molal(water.REFERENCE_KELVIN)
    return _LOG_KW + log10(ratio)


def _charge(ph: float, totals: dict[str, float], log_kw: float = _LOG_KW) -> float:
    """Net charge at a pH [mol/L]; speciation and ionic strength are found by repeated substitution."""
    pairs = {name: pair for name, pair in _PAIRS.items() if all(ion in totals for ion in pair[2])}
    free = dict(totals)
    strength = 0.5 * sum(total * _square_charge(name) for name, total in totals.items())
    concentrations: dict[str, float] = {}
    for _ in range(100):
        gamma = {
            name: 10.0 ** _log_activity_coefficient(name, strength) for name in {"H", "OH", *totals, *pairs}
        }
        concentrations = {"H": 10.0**-ph / gamma["H"], "OH": 10.0 ** (log_kw + ph) / gamma["OH"]}
        bound = dict.fromkeys(totals, 0.0)
        for name, (constant, protons, ions) in pairs.items():
            value = 10.0 ** (constant - protons * ph) / gamma[name]
            for ion in ions:
                value *= free[ion] * gamma[ion]
            concentrations[name] = value
            for ion in ions:
                bound[ion] += value
        largest = 0.0
        for name, total in totals.items():
            renewed = total / (1.0 + bound[name] / free[name])
            largest = max(largest, abs(renewed - free[name]) / total)
            # the geometric mean of old and new does not swing when two ions hold each other
            free[name] = sqrt(renewed * free[name])
        concentrations.update(free)
        renewed_strength = 0.5 * sum(value * _square_charge(name) for name, value in concentrations.items())
        settled = abs(renewed_strength - strength) < 1e-9 * (1.0 + strength)
        strength = renewed_strength
        if largest < 1e-9 and settled:
            break
    return sum(value * _IONS[name][0] for name, value in concentrations.items() if name in _IONS)


def _square_charge(name: str) -> int:
    return _IONS[name][0] ** 2 if name in _IONS else 0


def mixture_ph(composition: Composition, temperature_kelvin: float = water.REFERENCE_KELVIN) -> float:
    """pH of a waste, closed to the air, nothing precipitated.

    Parameters
    ----------
    composition : Composition
        Totals of the waste
    temperature_kelvin : float
        Temperature, 273.15 to 333.15; only the ion product of water follows it, the other constants stay those of
        25 °C [K]

    Returns
    -------
    ph : float
        pH, activity scale [-]

    Raises: OutOfRange for a temperature outside 0 to 60 °C.
    Source: phreeqc_constants. Within 0.05 of PHREEQC with the same data to an ionic strength of 1 mol/L; above it, and
    against a Pitzer model, within about 0.25.
    """
    require_within(temperature_kelvin, 273.15, 333.15, "temperature of the waste", "K")
    totals, log_kw = _totals(composition), _log_kw(temperature_kelvin)
    return root(lambda ph: _charge(ph, totals, log_kw), -2.0, 16.0, 1e-7)


def reagent_to_ph_eq_per_m3(composition: Composition, target_ph: float) -> float:
    """Strong base (+) or strong acid (−) that brings a waste to a pH, per volume of waste.

    Parameters
    ----------
    composition : Composition
        Totals of the waste
    target_ph : float
        pH wanted, 3 to 12 [-]

    Returns
    -------
    reagent_eq_per_m3 : float
        Equivalents of NaOH (+) or HCl (−); the volume of the reagent is neglected [eq/m^3]

    Raises: OutOfRange outside pH 3 to 12.
    Source: phreeqc_constants.
    """
    require_within(target_ph, 3.0, 12.0, "pH wanted")
    given = 0.0
    for _ in range(30):
        treated = _with_reagent(composition, given)
        missing = -1000.0 * _charge(target_ph, _totals(treated))
        given += missing
        if abs(missing) < 1e-7:
            break
    return given


def _with_reagent(composition: Composition, given_eq_per_m3: float) -> Composition:
    if given_eq_per_m3 >= 0.0:
        return replace(composition, sodium_mol_per_m3=composition.sodium_mol_per_m3 + given_eq_per_m3)
    return replace(composition, chloride_mol_per_m3=composition.chloride_mol_per_m3 - given_eq_per_m3)


def strong_mixture(excess_eq_per_m3: float) -> Composition:
    """A waste that is nothing but leftover hydrochloric acid (+) or caustic (−).

    Parameters
    ----------
    excess_eq_per_m3 : float
        Strong acid left, positive, or strong base left, negative [eq/m^3]

    Returns
    -------
    composition : Composition
        Chloride for acid, sodium for caustic
    """
    if excess_eq_per_m3 >= 0.0:
        return Composition(chloride_mol_per_m3=excess_eq_per_m3)
    return Composition(sodium_mol_per_m3=-excess_eq_per_m3)
