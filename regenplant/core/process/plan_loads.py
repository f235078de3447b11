"""What a batch sends to the sewer by ion, for the permit's budget: regenerant, neutralizer, and the resin's own ions.

The resin's ions are counted only where the feed is known; otherwise they are left out and the figure says so.
"""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.engineering import ions, neutralization
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.held_ions import held_ions
from regenplant.core.engineering.neutralization import Neutralizer
from regenplant.core.engineering.substances import substance
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_spent import LegBalance
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import Chemical

_BRINGS: dict[Chemical, dict[str, float]] = {
    Chemical.HYDROCHLORIC_ACID: {"chloride": 1.0},
    Chemical.SULFURIC_ACID: {"sulfate": 2.0},
    Chemical.SODIUM_HYDROXIDE: {"sodium": 1.0},
    Chemical.SODIUM_CARBONATE: {"sodium": 2.0},
    Chemical.AMMONIA: {"ammonium": 1.0},
    Chemical.SODIUM_CHLORIDE: {"sodium": 1.0, "chloride": 1.0},
    Chemical.SODIUM_DITHIONITE: {"sodium": 2.0, "sulfate": 4.0},
    Chemical.SODIUM_HYPOCHLORITE: {"sodium": 1.0, "chloride": 1.0},
    Chemical.PERACETIC_ACID: {},
}
"""Equivalents of ions that one mole leaves in the sewer; dithionite ends as sulfate, hypochlorite as chloride."""

_IONS = {
    "chloride": ("Cl", "Cl-"),
    "sodium": ("Na", "Na+"),
    "sulfate": ("SO4", "SO4--"),
    "calcium": ("Ca", "Ca++"),
    "magnesium": ("Mg", "Mg++"),
    "nitrate": ("NO3", "NO3-"),
    "ammonium": ("NH4", "NH4+"),
}
_ALWAYS = ("chloride", "sodium")


def load_totals(
    basis: PlanBasis, steps: Sequence[PlannedStep], balances: Sequence[LegBalance], reagent: Neutralizer
) -> dict[str, Estimate]:
    """Mass of each ion to the sewer; chloride and sodium always, others where there is any."""
    counted = dict.fromkeys(_IONS, 0.0)
    _add_chemicals(counted, steps)
    for balance in balances:
        _add_resin(basis, counted, balance)
    given = reagent.first_eq.value + reagent.second_eq.value
    counted["sodium" if reagent.chemical == Chemical.SODIUM_HYDROXIDE.value else "chloride"] += given
    known = basis.request.feed is not None
    words = "regenerant, neutralizer and resin" if known else "regenerant and neutralizer"
    return {
        f"{name}_kg": neutralization.ion_load(
            name, symbol, max(counted[name], 0.0), ions.equivalent_weight_kg_per_eq(species), words
        )
        for name, (symbol, species) in _IONS.items()
        if name in _ALWAYS or counted[name] > 0.0
    }


def _add_chemicals(counted: dict[str, float], steps: Sequence[PlannedStep]) -> None:
    for step in steps:
        if step.kind not in CHEMICAL_STEPS or step.chemical is None:
            continue
        moles = step.value("chemical_kg_100") / substance(step.chemical.value).molar_mass_kg_per_mol
        for ion, eq_per_mol in _BRINGS[step.chemical].items():
            counted[ion] += moles * eq_per_mol


def _add_resin(basis: PlanBasis, counted: dict[str, float], balance: LegBalance) -> None:
    """What comes off the resin, and for brine what the resin keeps of its sodium."""
    off = min(balance.bed.load.value, balance.applied.value)
    if any(step.chemical is Chemical.SODIUM_CHLORIDE for step in balance.steps):
        counted["sodium"] -= off
    if basis.request.feed is None:
        return
    held = held_ions(balance.bed.resin.family.value, basis.request.feed)
    if held.is_assumed:
        return
    for ion in ("calcium", "magnesium", "sodium", "chloride", "sulfate", "nitrate"):
        counted[ion] += off * getattr(held, f"{ion}_frac")
