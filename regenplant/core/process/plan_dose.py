"""The dose against the load: ratio, stoichiometric dose, and the target of a weak-acid resin."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.engineering import regenerants
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.substances import substance
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.vocabulary import Chemical, ResinFamily

WEAK_ACID_RATIO = 1.08
"""Ratio to aim at on weak-acid cation, which takes its acid almost whole: 1.05 to 1.10, common practice."""
WEAK_BASE_RATIO = {
    Chemical.SODIUM_HYDROXIDE: 1.3,
    Chemical.SODIUM_CARBONATE: 1.6,
    Chemical.AMMONIA: 1.6,
}
"""The same for weak-base anion: caustic 1.1 to 1.4, soda ash and ammonia to 2.0, common practice and from memory."""


def dose_figures(bed: Bed, chemical: Chemical, applied: Estimate, *, is_only: bool) -> dict[str, Estimate]:
    """Ratio of a regenerating injection to the load, and for weak resins the dose that would be enough.

    Parameters
    ----------
    bed : Bed
        The resin that is regenerated
    chemical : Chemical
        What regenerates it
    applied : Estimate
        Equivalents of this injection [eq]
    is_only : bool
        Whether no other injection regenerates the same resin; a step of several says nothing about too little
    """
    ratio = regenerants.regenerant_ratio(applied, bed.load)
    figures = {"regenerant_ratio_frac": ratio if is_only else replace(ratio, warnings=())}
    target = _ratio_to_aim_at(bed.resin.family, chemical)
    if target is not None:
        figures["stoichiometric_dose_kg_per_m3"] = _dose(bed, chemical)
        figures["recommended_dose_kg_per_m3"] = _aimed(figures["stoichiometric_dose_kg_per_m3"], target)
    return figures


def _ratio_to_aim_at(family: ResinFamily, chemical: Chemical) -> float | None:
    """None for strong resins, whose dose follows from the leakage wanted and not from the load."""
    if family is ResinFamily.WAC_HYDROGEN:
        return WEAK_ACID_RATIO
    return WEAK_BASE_RATIO.get(chemical) if family is ResinFamily.WBA else None


def _dose(bed: Bed, chemical: Chemical) -> Estimate:
    weight = substance(chemical.value).equivalent_weight_kg_per_eq
    volume = bed.reference_volume
    return Estimate(
        symbol="q_1",
        name=f"dose of {chemical.formula} that equals the load",
        value=bed.load.value * weight / volume.value,
        unit="kg/m^3",
        kind="dose",
        formula=f"{bed.load.symbol} · EW / {volume.symbol}",
        inputs=(
            bed.load.as_input(),
            Input("EW", f"equivalent weight of {chemical.formula}", weight, "kg/eq"),
            volume.as_input(),
        ),
        method="charge balance",
        source="equivalents",
        valid="100 % of stoichiometric",
    )


def _aimed(stoichiometric: Estimate, ratio: float) -> Estimate:
    return Estimate(
        symbol="q_2",
        name="dose to aim at for this resin",
        value=stoichiometric.value * ratio,
        unit="kg/m^3",
        kind="dose",
        formula=f"{stoichiometric.symbol} · R",
        inputs=(
            stoichiometric.as_input(),
            Input("R", "ratio to aim at", ratio, "dimensionless", "ratio"),
        ),
        method="near stoichiometric, because the resin takes its regenerant almost whole",
        source="trade_practice",
        valid="weak-acid cation 1.05 to 1.10, weak-base anion 1.1 to 2.0 by chemical; the data sheet decides",
    )
