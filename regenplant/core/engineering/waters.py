"""A water as a person has it from the laboratory: totals of ions, and what follows from them.

Amounts are totals in mol/m³ (that is mmol/L), whatever form they are in. Alkalinity, hardness and electroneutrality are
arithmetic; pH and carbon come from the equilibria of ``water_speciation``. Closed to the air, nothing precipitates: a
sample that stood open took up carbon dioxide, a hard alkaline one may drop chalk.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Protocol

from regenplant.core.engineering import ions
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.water_speciation import Speciation, speciate
from regenplant.core.engineering.water_species import SPECIES

HIGHEST_TOTAL_MOL_PER_M3 = 500.0
PH_UNCERTAINTY = 0.1
"""What a computed pH of a clean analysis may be off by; an open sample drifts further."""

_SYMBOLS = ("Ca", "Mg", "Na", "K", "NH4", "Cl", "SO4", "NO3", "TIC", "Si")


@dataclass(frozen=True, slots=True)
class Water:
    """Totals of a water, each 0 to 500 mol/m³, and its measured pH if there is one.

    ``ammonium`` is ammonium with ammonia, ``total_inorganic_carbon`` is carbon dioxide with bicarbonate and carbonate,
    ``silica`` all dissolved silica as SiO2.
    """

    calcium_mol_per_m3: float = 0.0
    magnesium_mol_per_m3: float = 0.0
    sodium_mol_per_m3: float = 0.0
    potassium_mol_per_m3: float = 0.0
    ammonium_mol_per_m3: float = 0.0
    chloride_mol_per_m3: float = 0.0
    sulfate_mol_per_m3: float = 0.0
    nitrate_mol_per_m3: float = 0.0
    total_inorganic_carbon_mol_per_m3: float = 0.0
    silica_mol_per_m3: float = 0.0
    ph: float | None = None

    def __post_init__(self) -> None:
        for entry in fields(self)[:-1]:
            name = entry.name.removesuffix("_mol_per_m3").replace("_", " ")
            require_within(getattr(self, entry.name), 0.0, HIGHEST_TOTAL_MOL_PER_M3, name, "mol/m³")
        if self.ph is not None:
            require_within(self.ph, 0.0, 14.0, "measured pH")

    @property
    def totals_mol_per_m3(self) -> tuple[float, ...]:
        """Totals in the order of the fields."""
        return tuple(getattr(self, entry.name) for entry in fields(self)[:-1])

    @property
    def hardness_eq_per_m3(self) -> float:
        return 2.0 * (self.calcium_mol_per_m3 + self.magnesium_mol_per_m3)

    @property
    def cations_eq_per_m3(self) -> float:
        """All cations but H⁺; ammonia counts as ammonium [eq/m³]."""
        single = self.sodium_mol_per_m3 + self.potassium_mol_per_m3 + self.ammonium_mol_per_m3
        return self.hardness_eq_per_m3 + single

    @property
    def strong_anions_eq_per_m3(self) -> float:
        """Chloride, sulfate and nitrate: with hydrogen for cations they are the free mineral acidity [eq/m³]."""
        return self.chloride_mol_per_m3 + 2.0 * self.sulfate_mol_per_m3 + self.nitrate_mol_per_m3

    @property
    def alkalinity_eq_per_m3(self) -> float:
        """Cations less strong anions: what an acid titration finds; below zero it is free mineral acidity [eq/m³]."""
        return self.cations_eq_per_m3 - self.strong_anions_eq_per_m3


class FeedAnalysis(Protocol):
    """An analysis in equivalents, as a plan keeps it; chloride stands for chloride and what is like it."""

    @property
    def calcium_eq_per_m3(self) -> float: ...
    @property
    def magnesium_eq_per_m3(self) -> float: ...
    @property
    def sodium_eq_per_m3(self) -> float: ...
    @property
    def chloride_eq_per_m3(self) -> float: ...
    @property
    def sulfate_eq_per_m3(self) -> float: ...
    @property
    def nitrate_eq_per_m3(self) -> float: ...
    @property
    def alkalinity_eq_per_m3(self) -> float: ...
    @property
    def carbon_dioxide_mol_per_m3(self) -> float: ...
    @property
    def silica_mol_per_m3(self) -> float: ...


def from_equivalents(feed: FeedAnalysis) -> Water:
    """A water from an analysis in equivalents.

    Parameters
    ----------
    feed : FeedAnalysis
        Equivalents per volume; carbon is alkalinity with free carbon dioxide, true below about pH 8.5

    Returns
    -------
    water : Water
        Totals; charges are as the analysis gives them
    """
    return Water(
        calcium_mol_per_m3=feed.calcium_eq_per_m3 / 2.0,
        magnesium_mol_per_m3=feed.magnesium_eq_per_m3 / 2.0,
        sodium_mol_per_m3=feed.sodium_eq_per_m3,
        chloride_mol_per_m3=feed.chloride_eq_per_m3,
        sulfate_mol_per_m3=feed.sulfate_eq_per_m3 / 2.0,
        nitrate_mol_per_m3=feed.nitrate_eq_per_m3,
        total_inorganic_carbon_mol_per_m3=feed.alkalinity_eq_per_m3 + feed.carbon_dioxide_mol_per_m3,
        silica_mol_per_m3=feed.silica_mol_per_m3,
    )


def species_of(analysis: Water, temperature_kelvin: float) -> Speciation:
    """Ions and pairs of a water: at its measured pH if it has one, else at the pH of charge balance.

    Parameters
    ----------
    analysis : Water
        Totals
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    speciation : Speciation
        Molalities by species

    Raises: OutOfRange outside 0 to 60 °C or above an ionic strength of 1 mol/kg.
    Source: phreeqc_data.
    """
    return speciate(analysis.totals_mol_per_m3, temperature_kelvin, analysis.ph)


def inputs_of(analysis: Water, temperature_kelvin: float) -> tuple[Input, ...]:
    """The totals that are there, and the temperature, as inputs of a working.

    Parameters
    ----------
    analysis : Water
        Totals
    temperature_kelvin : float
        Temperature of the water [K]

    Returns
    -------
    inputs : tuple
        Of ``Input``
    """
    named = zip(_SYMBOLS, fields(Water), analysis.totals_mol_per_m3, strict=False)
    found = tuple(
        Input(
            f"c_{symbol}",
            f"{entry.name.removesuffix('_mol_per_m3').replace('_', ' ')}, total",
            total,
            "mol/m^3",
            "amount_concentration",
        )
        for symbol, entry, total in named
        if total > 0.0
    )
    return (*found, Input("T", "temperature of the water", temperature_kelvin, "kelvin", "temperature"))


_SHOWN_FRAC = 1e-3


def _charged_inputs(found: Speciation) -> tuple[Input, ...]:
    """The ions that carry the charge at this pH, so that a person can add them up."""
    carried = {name: abs(SPECIES[name].charge) * m for name, m in found.molalities.items()}
    least = _SHOWN_FRAC * sum(carried.values())
    return tuple(
        Input(
            f"m_{name.rstrip('+-')}",
            f"{name} at this pH, charge {SPECIES[name].charge:+d}",
            molality,
            "mol/kg",
        )
        for name, molality in found.molalities.items()
        if carried[name] > least
    )


def ph_of(analysis: Water, temperature_kelvin: float) -> Estimate:
    """pH of a water by charge balance; a measured pH is not looked at.

    Parameters
    ----------
    analysis : Water
        Totals
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    ph : Estimate
        pH, activity scale [-]

    Raises: OutOfRange outside 0 to 60 °C or above an ionic strength of 1 mol/kg.
    Source: phreeqc_data with iapws_kw; within 0.05 of PHREEQC for waters of a plant, held in the tests.
    """
    found = speciate(analysis.totals_mol_per_m3, temperature_kelvin)
    warnings = []
    if analysis.ph is not None and abs(analysis.ph - found.ph) > 0.3:
        warnings.append(
            f"Measured pH {analysis.ph:.2f}, from the analysis {found.ph:.2f}: an ion is missing or wrong, or carbon "
            "dioxide escaped. Check the analysis."
        )
    if 6.0 < found.ph < 8.0 and found.ionic_strength_mol_per_kg < 1e-4:
        warnings.append(
            "Hardly buffered: a trace of carbon dioxide from air moves this pH by more than one unit."
        )
    if found.ionic_strength_mol_per_kg > 0.5:
        warnings.append(
            "Above an ionic strength of 0.5 mol/kg the activity model is good to about 0.2 in pH."
        )
    return Estimate(
        symbol="pH",
        name="pH, by charge balance",
        value=found.ph,
        unit="dimensionless",
        kind="ph",
        formula="solve for pH: sum of charges of all ions and pairs = 0",
        inputs=(*inputs_of(analysis, temperature_kelvin), *_charged_inputs(found)),
        method="charge balance with 20 pairs and acids, WATEQ activity coefficients, ion product of water by IAPWS",
        source="phreeqc_data",
        valid="0 to 60 °C, ionic strength to 0.5 mol/kg, closed to the air, nothing precipitated",
        warnings=tuple(warnings),
        uncertainty_frac=PH_UNCERTAINTY / max(abs(found.ph), 1.0),
    )


def alkalinity(analysis: Water) -> Estimate:
    """Total alkalinity from the ions, as an acid titration to about pH 4.5 finds it.

    Parameters
    ----------
    analysis : Water
        Totals

    Returns
    -------
    alkalinity : Estimate
        Below zero: free mineral acidity [eq/m^3]

    Source: charge_balance.
    """
    symbols = dict(zip(_SYMBOLS, analysis.totals_mol_per_m3, strict=True))
    names = dict(zip(_SYMBOLS, fields(Water), strict=False))
    used = ("Na", "K", "NH4", "Ca", "Mg", "Cl", "SO4", "NO3")
    return Estimate(
        symbol="Alk",
        name="total alkalinity",
        value=analysis.alkalinity_eq_per_m3,
        unit="eq/m^3",
        kind="normality",
        formula="c_Na + c_K + c_NH4 + 2 · c_Ca + 2 · c_Mg − c_Cl − 2 · c_SO4 − c_NO3",
        inputs=tuple(
            Input(
                f"c_{key}",
                f"{names[key].name.removesuffix('_mol_per_m3')}, total",
                symbols[key],
                "mol/m^3",
                "amount_concentration",
            )
            for key in used
        ),
        method="electroneutrality: what strong ions leave over is carried by bicarbonate, carbonate and hydroxide",
        source="charge_balance",
        valid="an analysis that holds all major ions",
    )


def hardness(analysis: Water) -> Estimate:
    """Total hardness as CaCO3.

    Parameters
    ----------
    analysis : Water
        Totals

    Returns
    -------
    hardness : Estimate
        As CaCO3 [kg/m^3]

    Source: equivalents.
    """
    calcium, magnesium = analysis.calcium_mol_per_m3, analysis.magnesium_mol_per_m3
    weight = ions.CALCIUM_CARBONATE_KG_PER_EQ
    return Estimate(
        symbol="H",
        name="total hardness, as CaCO3",
        value=2.0 * (calcium + magnesium) * weight,
        unit="kg/m^3",
        kind="hardness",
        formula="2 · (c_Ca + c_Mg) · EW",
        inputs=(
            Input("c_Ca", "calcium", calcium, "mol/m^3", "amount_concentration"),
            Input("c_Mg", "magnesium", magnesium, "mol/m^3", "amount_concentration"),
            Input("EW", "equivalent weight of CaCO3", weight, "kg/eq"),
        ),
        method="definition of hardness as CaCO3",
        source="equivalents",
    )


def mixed(first: Water, first_m3: float, second: Water, second_m3: float) -> Water:
    """Two waters poured together.

    Parameters
    ----------
    first : Water
        One water
    first_m3 : float
        Its volume, > 0 [m^3]
    second : Water
        The other water
    second_m3 : float
        Its volume, > 0 [m^3]

    Returns
    -------
    mixture : Water
        Totals of the mixture; no measured pH, for pH does not mix

    Raises: OutOfRange for volumes that are not above zero.
    Source: mass_balance; volumes of dilute waters add.
    """
    require_positive(first_m3, "volume of the first water", "m³")
    require_positive(second_m3, "volume of the second water", "m³")
    share = first_m3 / (first_m3 + second_m3)
    pairs = zip(first.totals_mol_per_m3, second.totals_mol_per_m3, strict=True)
    return Water(*(share * one + (1.0 - share) * other for one, other in pairs))
