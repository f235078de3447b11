"""Separation of a mixed bed at rest in a solution between the two wet densities: the anion resin floats, the cation resin sinks.

What decides is the solution as it stands with the beads in it, not as it was fed:

1. Beads are half water. Salt or caustic goes into them (Donnan: less than stands outside, because their own ions hold it
   back), so the solution weakens and the beads grow heavier, within minutes for beads of half a millimetre.
2. The water of the bed that mixes in weakens it further.
3. In the solution that is left, a share of the anion beads still floats and a share of the cation beads sinks.

Both shares are given twice: for the beads as they are in water (sure, by their recorded density) and as they stand in the
solution (an estimate, good to about 15 kg/m³). The hydrometer in the standing solution decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from regenplant.core.engineering import solutions, water
from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.beds import cross_section_m2
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import root
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.separation import sink_or_float
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

SOLUTES = ("nacl", "naoh")
"""Salts of one charge whose density is known up to where resins part."""
ANION_MOISTURE_FRAC = 0.50
"""Water in strong-base anion beads, chloride form, by mass: 0.45 to 0.55 on data sheets (from memory)."""
CATION_MOISTURE_FRAC = 0.45
"""Water in strong-acid cation beads, sodium form, by mass: 0.43 to 0.50 on data sheets (from memory)."""
MIXED_IN_BV = 0.10
"""Water of the drained-down bed that mixes into a solution fed slowly from below, in bed volumes: an assumption. The rest
of the water between the beads rises on top of it."""
SOAKED_UNCERTAINTY_KG_PER_M3 = 15.0
"""Of the density of a soaked bead: 0.05 of moisture makes 8, the shrinking that is left out the rest."""


@dataclass(frozen=True, slots=True)
class Soaking:
    """One resin in the solution. Volume settled [m^3], total capacity per settled volume [eq/m^3], water share by mass [-]."""

    beads: BeadPopulation
    volume_m3: float
    total_capacity_eq_per_m3: float
    moisture_frac: float

    def __post_init__(self) -> None:
        require_positive(self.volume_m3, "resin volume", "m³")
        require_positive(self.total_capacity_eq_per_m3, "total capacity", "eq/m³")
        require_within(self.moisture_frac, 0.2, 0.8, "share of water in the beads")

    @property
    def water_kg(self) -> float:
        """Water inside all beads [kg]."""
        beads = self.beads
        return self.volume_m3 * (1.0 - beads.settled_void_frac) * beads.density_kg_per_m3 * self.moisture_frac

    @property
    def fixed_mol_per_kg(self) -> float:
        """Fixed ions per water inside the beads [mol/kg]."""
        return self.total_capacity_eq_per_m3 * self.volume_m3 / self.water_kg

    def taken_up_mol_per_kg(self, outside_mol_per_kg: float) -> float:
        """Solute inside the beads at this molality outside: m_i (m_i + m_f) = m², ideal Donnan [mol/kg]."""
        half = self.fixed_mol_per_kg / 2.0
        return math.sqrt(half * half + outside_mol_per_kg**2) - half


@dataclass(frozen=True, slots=True)
class FloatCase:
    """A mixed bed in a dense solution. ``volume_m3`` is what is fed of it [m^3], at ``strength_frac`` [-]."""

    chemical: str
    strength_frac: float
    temperature_kelvin: float
    volume_m3: float
    cation: Soaking
    anion: Soaking

    def __post_init__(self) -> None:
        if self.chemical not in SOLUTES:
            raise OutOfRange(
                f"{substance(self.chemical).name.capitalize()} floats no resin here; brine or caustic does.",
                code="float_chemical",
            )
        require_positive(self.volume_m3, "volume of the solution", "m³")
        require_within(self.strength_frac, 1e-6, 0.5, "strength of the solution")

    @property
    def resin_m3(self) -> float:
        return self.cation.volume_m3 + self.anion.volume_m3


def _strength_frac(molality: float, molar_mass: float) -> float:
    return molality * molar_mass / (1.0 + molality * molar_mass)


def standing_molality(case: FloatCase) -> float:
    """Molality outside the beads once they took up their share.

    Parameters
    ----------
    case : FloatCase
        Solution and both resins

    Returns
    -------
    molality : float
        Solute per water in the standing solution [mol/kg]

    Raises: OutOfRange outside the density table of the solution.
    Source: donnan, mass_balance.
    """
    rho = solutions.density_kg_per_m3(case.chemical, case.strength_frac, case.temperature_kelvin)
    molar_mass = substance(case.chemical).molar_mass_kg_per_mol
    fed_mol = case.volume_m3 * rho * case.strength_frac / molar_mass
    outside_kg = case.volume_m3 * rho * (1.0 - case.strength_frac) + MIXED_IN_BV * case.resin_m3 * (
        water.density_kg_per_m3(case.temperature_kelvin)
    )

    def too_much(molality: float) -> float:
        held = sum(
            resin.water_kg * resin.taken_up_mol_per_kg(molality) for resin in (case.cation, case.anion)
        )
        return outside_kg * molality + held - fed_mol

    return root(too_much, 0.0, fed_mol / outside_kg)


def standing_strength(case: FloatCase) -> Estimate:
    """Strength of the solution once the beads took up their share and the water of the bed mixed in.

    Parameters
    ----------
    case : FloatCase
        Solution and both resins

    Returns
    -------
    strength : Estimate
        Weight of pure substance per weight of solution, outside the beads [-]

    Raises: OutOfRange outside the density table of the solution.
    Source: donnan, mass_balance.
    """
    material = substance(case.chemical)
    resins = (("c", "cation", case.cation), ("a", "anion", case.anion))
    parts: list[Input] = []
    for index, which, resin in resins:
        parts += [
            Input(f"m_w{index}", f"water inside the {which} beads", resin.water_kg, "kg", "mass"),
            Input(f"m_f{index}", f"fixed ions per water inside the {which} beads", resin.fixed_mol_per_kg, "mol/kg"),
        ]  # fmt: skip
    return Estimate(
        symbol="w_st",
        name=f"strength of the standing {material.formula}, beads soaked",
        value=_strength_frac(standing_molality(case), material.molar_mass_kg_per_mol),
        unit="dimensionless",
        kind="strength",
        formula="solve salt fed = salt outside + salt inside the beads, with m_i · (m_i + m_f) = m^2",
        inputs=(
            Input("w_d", f"strength of the {material.formula} as fed", case.strength_frac, "dimensionless", "strength"),
            Input("V", "volume fed", case.volume_m3, "m^3", "liquid_volume"),
            Input("V_m", "water of the bed that mixes in (assumed)", MIXED_IN_BV * case.resin_m3, "m^3", "liquid_volume"),
            *parts,
        ),
        method="mass balance of the solute with ideal Donnan equilibrium",
        source="donnan",
        valid="beads soaked through, no shrinking; moisture of the beads from memory of data sheets",
        uncertainty_frac=0.06,
    )  # fmt: skip


def standing_density(case: FloatCase, strength: Estimate) -> Estimate:
    """Density of the solution as it stands with the beads in it.

    Parameters
    ----------
    case : FloatCase
        Solution and both resins
    strength : Estimate
        ``standing_strength`` of the same case [-]

    Returns
    -------
    density : Estimate
        Density of the standing solution [kg/m^3]

    Raises: OutOfRange outside the density table of the solution.
    Source: as ``solutions.solution_density``.
    """
    return Estimate(
        symbol="ρ_st",
        name="density of the standing solution, beads soaked",
        value=solutions.density_kg_per_m3(case.chemical, strength.value, case.temperature_kelvin),
        unit="kg/m^3",
        kind="density",
        formula="table ρ(w_st, T)",
        inputs=(
            strength.as_input(),
            Input("T", "temperature of the solution", case.temperature_kelvin, "kelvin", "temperature"),
        ),
        method="density of the solution at its standing strength",
        source="donnan",
        valid="the hydrometer in the standing solution decides",
        uncertainty_abs=10.0,
    )


def soaked_density(case: FloatCase, resin: Soaking, which: str) -> Estimate:
    """Wet density of a bead that has taken up its share of the solution.

    Parameters
    ----------
    case : FloatCase
        Solution and both resins
    resin : Soaking
        One of the two resins of the case
    which : str
        "cation" or "anion", for the words

    Returns
    -------
    density : Estimate
        Mean wet density of the soaked beads [kg/m^3]

    Raises: OutOfRange outside the density table of the solution.
    Source: donnan, mass_balance; the water in the bead is replaced by the solution in it, at the same volume.
    """
    material = substance(case.chemical)
    inside = _strength_frac(
        resin.taken_up_mol_per_kg(standing_molality(case)), material.molar_mass_kg_per_mol
    )
    rho_w = water.density_kg_per_m3(case.temperature_kelvin)
    rho_i = solutions.density_kg_per_m3(case.chemical, inside, case.temperature_kelvin)
    beads, index = resin.beads, which[0]
    return Estimate(
        symbol=f"ρ_s{index}",
        name=f"density of the {which} beads, soaked",
        value=beads.density_kg_per_m3
        + resin.moisture_frac * beads.density_kg_per_m3 / rho_w * (rho_i - rho_w),
        unit="kg/m^3",
        kind="density",
        formula="ρ_b + x_w · ρ_b / ρ_w · (ρ_i − ρ_w)",
        inputs=(
            Input("ρ_b", f"density of the {which} beads in water, exhausted form", beads.density_kg_per_m3, "kg/m^3", "density"),
            Input("x_w", "water in the bead by mass (assumed)", resin.moisture_frac, "dimensionless", "fraction"),
            Input("ρ_w", "density of water", rho_w, "kg/m^3", "density"),
            Input("ρ_i", f"density of the solution inside the bead, {inside * 100:.3g} wt%", rho_i, "kg/m^3", "density"),
        ),
        method="the water in the bead is replaced by what goes in",
        source="donnan",
        valid="exhausted form; an anion bead in hydroxide form is lighter, so this is the safe side in caustic",
        uncertainty_abs=SOAKED_UNCERTAINTY_KG_PER_M3,
    )  # fmt: skip


def floating(beads: BeadPopulation, fluid: Estimate, which: str) -> Estimate:
    """Share of the beads of a resin that float in a fluid.

    Parameters
    ----------
    beads : BeadPopulation
        The beads, with the density they have there
    fluid : Estimate
        Density of the fluid [kg/m^3]
    which : str
        "cation" or "anion", for the words

    Returns
    -------
    share : Estimate
        Share of the bead volume lighter than the fluid [-]

    Raises: OutOfRange for a density no fluid here has.
    Source: as ``separation.sink_or_float``.
    """
    return _share(beads, fluid, f"x_f{which[0]}", f"share of the {which} beads that float", is_floating=True)


def sinking(beads: BeadPopulation, fluid: Estimate, which: str) -> Estimate:
    """Share of the beads of a resin that sink in a fluid: what does not float.

    Parameters
    ----------
    beads : BeadPopulation
        The beads, with the density they have there
    fluid : Estimate
        Density of the fluid [kg/m^3]
    which : str
        "cation" or "anion", for the words

    Returns
    -------
    share : Estimate
        Share of the bead volume heavier than the fluid [-]

    Raises: OutOfRange for a density no fluid here has.
    Source: as ``separation.sink_or_float``.
    """
    return _share(beads, fluid, f"x_s{which[0]}", f"share of the {which} beads that sink", is_floating=False)


def _share(beads: BeadPopulation, fluid: Estimate, symbol: str, name: str, *, is_floating: bool) -> Estimate:
    lighter = sink_or_float(beads, fluid.value)
    place = "(ρ_f − ρ_b) / σ" if is_floating else "(ρ_b − ρ_f) / σ"
    return Estimate(
        symbol=symbol,
        name=name,
        value=lighter if is_floating else 1.0 - lighter,
        unit="dimensionless",
        kind="fraction",
        formula=f"table of the normal distribution at {place}",
        inputs=(
            Input("ρ_f", fluid.name, fluid.value, "kg/m^3", "density"),
            Input("ρ_b", "mean wet density of the beads", beads.density_kg_per_m3, "kg/m^3", "density"),
            Input("σ", "spread of the density", beads.density_spread_kg_per_m3, "kg/m^3", "density_difference"),
        ),
        method="normal distribution of bead densities",
        source="lognormal_beads",
        valid="beads at rest, clean, without air bubbles",
    )  # fmt: skip


def solution_height(case: FloatCase, internal_diameter_m: float) -> Estimate:
    """Height to which the solution stands with all beads in it; the water it pushed up lies above.

    Parameters
    ----------
    case : FloatCase
        Solution and both resins
    internal_diameter_m : float
        Internal diameter of the vessel [m]

    Returns
    -------
    height : Estimate
        Height above the bed support [m]

    Raises: OutOfRange for a diameter that is not above zero.
    Source: geometry.
    """
    solids = _bead_volume(case)
    return Estimate(
        symbol="h_s",
        name="height of the solution with the beads in it",
        value=(case.volume_m3 + solids.value) / cross_section_m2(internal_diameter_m),
        unit="m",
        kind="length",
        formula="4 · (V + V_b) / (π · D^2)",
        inputs=(
            Input("V", "volume of solution fed", case.volume_m3, "m^3", "liquid_volume"),
            solids,
            Input("D", "internal diameter of the vessel", internal_diameter_m, "m", "length"),
        ),
        method="geometry of a cylinder",
        source="geometry",
        valid="fed from below in plug flow; counted from the bed support",
        uncertainty_frac=0.05,
    )


def clear_height(case: FloatCase, height: Estimate, internal_diameter_m: float) -> Estimate:
    """Clear solution between the sunken cation and the floating anion resin.

    Parameters
    ----------
    case : FloatCase
        Solution and both resins
    height : Estimate
        ``solution_height`` of the same case [m]
    internal_diameter_m : float
        Internal diameter of the vessel [m]

    Returns
    -------
    height : Estimate
        Height of the clear zone; below zero where the layers touch [m]

    Raises: OutOfRange for a diameter that is not above zero.
    Source: geometry.
    """
    depth = case.resin_m3 / cross_section_m2(internal_diameter_m)
    return Estimate(
        symbol="h_z",
        name="clear solution between the two resins",
        value=height.value - depth,
        unit="m",
        kind="length",
        formula=f"{height.symbol} − h_0",
        inputs=(
            height.as_input(),
            Input("h_0", "depth of both resins, packed", depth, "m", "length"),
        ),
        method="the floating layer packs as the settled one does",
        source="geometry",
        valid="all anion afloat, all cation settled",
        uncertainty_abs=0.05 * height.value,
    )


def _bead_volume(case: FloatCase) -> Input:
    solids = sum(
        resin.volume_m3 * (1.0 - resin.beads.settled_void_frac) for resin in (case.cation, case.anion)
    )
    return Input("V_b", "volume of the beads alone", solids, "m^3", "resin_volume")
