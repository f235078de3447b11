"""What is dissolved in a water: ions, pairs, their equilibria from 0 to 60 °C and their limiting conductances.

One place for the constants of water chemistry. Masters are the totals of an analysis; every other species forms from at
most one cation, one anion and some hydrogen ions:

    log10 a(species) = log10 K(T) − protons·pH + log10 a(cation) + log10 a(anion)

Constants, temperature functions, ion sizes and diffusion coefficients of pairs are those of the public data file
phreeqc.dat; limiting conductances of the ions at 25 °C are those of ``conductivity_tables``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log10, sqrt

from regenplant.core.engineering import conductivity_tables, pure_water, water

_GAS_KJ = 8.314462618e-3
_FARADAY = 96485.33212
_KCAL = 4.184


@dataclass(frozen=True, slots=True)
class Species:
    """One dissolved species.

    ``size_angstrom`` None means Davies' formula; a neutral species has 0.1·I. ``analytic`` holds A1 to A5 of
    log10 K = A1 + A2·T + A3/T + A4·log10 T + A5/T²; without it van 't Hoff moves ``log_k`` with ``enthalpy_kj``.
    """

    name: str
    charge: int
    size_angstrom: float | None = None
    b: float = 0.0
    log_k: float = 0.0
    protons: int = 0
    cation: str | None = None
    anion: str | None = None
    enthalpy_kj: float = 0.0
    analytic: tuple[float, float, float, float, float] | None = None
    diffusion_m2_per_s: float = 0.0
    """Only for pairs: their limiting conductance comes from it by Nernst and Einstein."""

    def log_k_at(self, temperature_kelvin: float) -> float:
        """log10 of the formation constant at a temperature [K]."""
        if self.analytic is not None:
            a1, a2, a3, a4, a5 = self.analytic
            t = temperature_kelvin
            return a1 + a2 * t + a3 / t + a4 * log10(t) + a5 / (t * t)
        shift = self.enthalpy_kj / (_GAS_KJ * 2.302585092994046)
        return self.log_k + shift * (1.0 / water.REFERENCE_KELVIN - 1.0 / temperature_kelvin)


MASTERS: tuple[Species, ...] = (
    Species("Ca++", 2, 5.0, 0.165),
    Species("Mg++", 2, 5.5, 0.20),
    Species("Na+", 1, 4.08, 0.082),
    Species("K+", 1, 3.5, 0.015),
    Species("NH4+", 1, 2.5, 0.0),
    Species("Cl-", -1, 3.63, 0.017),
    Species("SO4--", -2, 5.0, -0.04),
    Species("NO3-", -1, 3.0, 0.0),
    Species("CO3--", -2, 5.4, 0.0),
    Species("H4SiO4", 0),
)
"""In the order of the fields of ``waters.Water``."""

HYDROGEN = Species("H+", 1, 9.0, 0.0)
HYDROXIDE = Species("OH-", -1, 3.5, 0.0)

_BICARBONATE = (107.8871, 0.03252849, -5151.79, -38.92561, 563713.9)
_CALCIUM_BICARBONATE = (1317.0071, 0.34546894, -39916.84, -517.70761, 563713.9)
_MAGNESIUM_BICARBONATE = (48.6721, 0.03252849, -2614.335, -18.00263, 563713.9)
_CARBONIC_ACID = (464.1965, 0.09344813, -26986.16, -165.75951, 2248628.9)
_BISULFATE = (-56.889, 0.006473, 2307.9, 19.8858, 0.0)
_CALCIUM_CARBONATE = (-1228.732, -0.299440, 35512.75, 485.818, 0.0)
_SILICATE = (-302.3724, -0.050698, 15669.69, 108.18466, -1119669.0)
_SILICATE_2 = (-294.0184, -0.072650, 11204.49, 108.18466, -1119669.0)

FORMED: tuple[Species, ...] = (
    Species("HCO3-", -1, 5.4, 0.0, 10.329, 1, None, "CO3--", analytic=_BICARBONATE),
    Species("CO2", 0, log_k=16.681, protons=2, anion="CO3--", analytic=_CARBONIC_ACID),
    Species("HSO4-", -1, None, 0.0, 1.988, 1, None, "SO4--", analytic=_BISULFATE),
    Species("NH3", 0, log_k=-9.252, protons=-1, cation="NH4+", analytic=(0.6322, -0.001225, -2835.76, 0.0, 0.0)),
    Species("H3SiO4-", -1, 4.0, 0.0, -9.83, -1, None, "H4SiO4", analytic=_SILICATE),
    Species("H2SiO4--", -2, 5.4, 0.0, -23.0, -2, None, "H4SiO4", analytic=_SILICATE_2),
    Species("CaOH+", 1, None, 0.0, -12.78, -1, "Ca++"),
    Species("MgOH+", 1, 6.5, 0.0, -11.44, -1, "Mg++", enthalpy_kj=15.952 * _KCAL),
    Species("CaCO3", 0, log_k=3.224, cation="Ca++", anion="CO3--", analytic=_CALCIUM_CARBONATE),
    Species("CaHCO3+", 1, 6.0, 0.0, 11.435, 1, "Ca++", "CO3--", analytic=_CALCIUM_BICARBONATE, diffusion_m2_per_s=5.06e-10),
    Species("MgCO3", 0, log_k=2.98, cation="Mg++", anion="CO3--", analytic=(0.9910, 0.00667, 0.0, 0.0, 0.0)),
    Species("MgHCO3+", 1, 4.0, 0.0, 11.399, 1, "Mg++", "CO3--", analytic=_MAGNESIUM_BICARBONATE, diffusion_m2_per_s=4.78e-10),
    Species("NaCO3-", -1, None, 0.0, 1.27, 0, "Na+", "CO3--", 8.91 * _KCAL, diffusion_m2_per_s=5.85e-10),
    Species("NaHCO3", 0, log_k=-0.25 + 10.329, protons=1, cation="Na+", anion="CO3--", enthalpy_kj=(-1.0 - 3.561) * _KCAL),
    Species("CaSO4", 0, log_k=2.25, cation="Ca++", anion="SO4--", enthalpy_kj=1.325 * _KCAL),
    Species("CaHSO4+", 1, None, 0.0, 1.08 + 1.988, 1, "Ca++", "SO4--", 3.85 * _KCAL),
    Species("MgSO4", 0, log_k=2.37, cation="Mg++", anion="SO4--", enthalpy_kj=4.550 * _KCAL),
    Species("NaSO4-", -1, 5.4, 0.0, 0.7, 0, "Na+", "SO4--", 1.120 * _KCAL, diffusion_m2_per_s=6.18e-10),
    Species("KSO4-", -1, 5.4, 0.0, 0.85, 0, "K+", "SO4--", analytic=(3.106, 0.0, -673.6, 0.0, 0.0), diffusion_m2_per_s=7.46e-10),
    Species("NH4SO4-", -1, None, 0.0, 1.11, 0, "NH4+", "SO4--"),
)  # fmt: skip

SPECIES: dict[str, Species] = {entry.name: entry for entry in (HYDROGEN, HYDROXIDE, *MASTERS, *FORMED)}

_CARBON_DIOXIDE_GAS = (10.5624, -2.3547e-2, -3972.8, 0.0, 5.8746e5)
_CARBON_DIOXIDE_GAS_SQUARE = 1.9194e-5


def carbon_dioxide_mol_per_kg_atm(temperature_kelvin: float) -> float:
    """Dissolved carbon dioxide per pressure of it in the gas.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    solubility : float
        Henry's constant [mol/(kg atm)]

    Source: phreeqc_data, CO2(g). Example: 0.0340 at 25 °C.
    """
    a1, a2, a3, a4, a5 = _CARBON_DIOXIDE_GAS
    t = temperature_kelvin
    exponent = a1 + a2 * t + a3 / t + a4 * log10(t) + a5 / (t * t) + _CARBON_DIOXIDE_GAS_SQUARE * t * t
    return float(10.0**exponent)


@dataclass(frozen=True, slots=True)
class ActivityLaw:
    """A and B of the Debye-Hückel law at a temperature, for mol/kg and ångström."""

    a: float
    b: float


@lru_cache(maxsize=256)
def activity_law(temperature_kelvin: float) -> ActivityLaw:
    """The Debye-Hückel law at a temperature.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    law : ActivityLaw
        A and B

    Source: phreeqc_data for the form; permittivity of water by Malmberg and Maryott (1956), density by iapws95.
    """
    t = temperature_kelvin - 273.15
    permittivity = 87.740 - 0.40008 * t + 9.398e-4 * t * t - 1.410e-6 * t**3
    root_density = sqrt(water.density_kg_per_m3(temperature_kelvin) / 1000.0)
    product = permittivity * temperature_kelvin
    return ActivityLaw(1.82483e6 * root_density / product**1.5, 50.2916 * root_density / sqrt(product))


def log_activity_coefficient(species: Species, ionic_strength_mol_per_kg: float, law: ActivityLaw) -> float:
    """log10 of the activity coefficient: WATEQ's Debye-Hückel where an ion size is known, else Davies.

    Parameters
    ----------
    species : Species
        From ``SPECIES``
    ionic_strength_mol_per_kg : float
        Ionic strength, >= 0 [mol/kg]
    law : ActivityLaw
        From ``activity_law``

    Returns
    -------
    log_gamma : float
        log10 γ [-]
    """
    if species.charge == 0:
        return 0.1 * ionic_strength_mol_per_kg
    square_root = sqrt(ionic_strength_mol_per_kg)
    square_charge = species.charge * species.charge
    if species.size_angstrom is None:
        davies = square_root / (1.0 + square_root) - 0.3 * ionic_strength_mol_per_kg
        return -law.a * square_charge * davies
    limiting = square_root / (1.0 + law.b * species.size_angstrom * square_root)
    return -law.a * square_charge * limiting + species.b * ionic_strength_mol_per_kg


# --- limiting conductances ------------------------------------------------------------------------------------------
_CHLORIDE_SHARE = 76.31 / (76.31 + 73.48)
"""Share of Cl⁻ in KCl at 25 °C; both ions follow temperature alike, so one share serves 0 to 60 °C."""

_SILICATE_S_CM2_PER_EQ = 35.0
"""H₃SiO₄⁻, from memory, ±20 %; it counts only above about pH 9.5."""


def _of_salts(temperature_kelvin: float) -> dict[str, float]:
    """Ionic conductances as McCleskey's salts give them, the ions told apart by KCl [S·cm²/eq]."""

    def salt(name: str) -> float:
        return pure_water.limiting_conductance_s_m2_per_mol(name, temperature_kelvin) * 1e4

    chloride = salt("KCl") * _CHLORIDE_SHARE
    potassium = salt("KCl") - chloride
    sodium = salt("NaCl") - chloride
    return {
        "Cl-": chloride, "K+": potassium, "Na+": sodium, "H+": salt("HCl") - chloride, "OH-": salt("NaOH") - sodium,
        "NH4+": salt("NH4Cl") - chloride, "Ca++": salt("CaCl2") - chloride, "Mg++": salt("MgCl2") - chloride,
        "SO4--": salt("Na2SO4") - sodium, "HCO3-": salt("KHCO3") - potassium, "CO3--": salt("K2CO3") - potassium,
        "NO3-": salt("KNO3") - potassium,
    }  # fmt: skip


@lru_cache(maxsize=64)
def limiting_molar_conductances(temperature_kelvin: float) -> dict[str, float]:
    """Limiting molar conductance of every conducting species at a temperature.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    conductances : dict
        By species; molar, that is equivalent times charge [S m^2/mol]

    Source: crc_ions at 25 °C, moved with temperature as mccleskey's salts move; H⁺ and OH⁻ together are set to pure
    water (18.18 MΩ·cm at 25 °C); pairs by Nernst and Einstein, moved as the viscosity of water moves.
    """
    here, reference = _of_salts(temperature_kelvin), _of_salts(water.REFERENCE_KELVIN)
    table = conductivity_tables.LIMITING_IONIC_S_CM2_PER_EQ
    found = {ion: table[ion] * here[ion] / reference[ion] for ion in here}
    to_water = pure_water.water_ions_s_m2_per_mol(temperature_kelvin) * 1e4 / (found["H+"] + found["OH-"])
    found["H+"], found["OH-"] = found["H+"] * to_water, found["OH-"] * to_water
    fluidity = water.viscosity_pascal_s(water.REFERENCE_KELVIN) / water.viscosity_pascal_s(temperature_kelvin)
    found["HSO4-"] = table["HSO4-"] * fluidity
    found["H3SiO4-"] = _SILICATE_S_CM2_PER_EQ * fluidity
    molar = {name: value * abs(SPECIES[name].charge) * 1e-4 for name, value in found.items()}
    einstein = _FARADAY**2 / (_GAS_KJ * 1000.0 * water.REFERENCE_KELVIN)
    for species in FORMED:
        if species.diffusion_m2_per_s:
            molar[species.name] = einstein * species.charge**2 * species.diffusion_m2_per_s * fluidity
    return molar
