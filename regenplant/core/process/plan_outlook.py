"""What the resin is expected to do after this regeneration: capacity, leakage, quality of the water.

From the dose alone, by published or remembered curves with their own range and uncertainty; the resin's data sheet and
the plant's history go before. Outside the range of a curve nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from regenplant.core.engineering import capacity, leakage
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.silica import CausticTreatment, silica_advice
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import FeedData, PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_spent import LegBalance
from regenplant.core.process.vocabulary import Leg, StepKind


def outlook_totals(
    basis: PlanBasis, steps: Sequence[PlannedStep], balances: Sequence[LegBalance]
) -> dict[str, Estimate]:
    """Expected capacity and leakage of each regenerated bed, and what cross-contamination does to a mixed bed."""
    found: dict[str, Estimate] = {}
    for balance in balances:
        end = "" if balance.leg is Leg.WHOLE else f":{balance.leg.value}"
        found.update({f"{key}{end}": figure for key, figure in _level(basis, balance).items()})
    parted = next((step for step in reversed(steps) if step.kind is StepKind.CUT), None)
    if parted is not None and "cation_in_anion_frac" in parted.figures:
        found.update(_mixed(basis, parted.figures))
    return found


def _level(basis: PlanBasis, balance: LegBalance) -> dict[str, Estimate]:
    chemical = balance.steps[-1].chemical
    assert chemical is not None
    feed, resin = basis.request.feed, balance.bed.resin
    try:
        level = capacity.regeneration_level(
            resin.family.value,
            chemical.value,
            sum(step.value("dose_kg_per_m3") for step in balance.steps),
            total_capacity_eq_per_m3=resin.total_capacity_eq_per_m3,
            strong_anions_eq_per_m3=feed.strong_anions_eq_per_m3 if feed is not None else None,
            alkalinity_eq_per_m3=feed.alkalinity_eq_per_m3 if feed is not None else 0.0,
            cations_eq_per_m3=feed.cations_eq_per_m3 if feed is not None else None,
        )
    except OutOfRange:
        return {}  # outside the range of every curve known here: no figure, the ratio to the load still stands
    advised = replace(level.capacity, warnings=(*level.capacity.warnings, *_silica(basis, balance)))
    found = {"expected_capacity_eq_per_m3": advised, "expected_efficiency_frac": level.efficiency}
    if level.leakage is not None and balance.leg is Leg.WHOLE:
        found[f"expected_{level.leakage_of}_leakage_kg_per_m3"] = level.leakage
    return found


def _silica(basis: PlanBasis, balance: LegBalance) -> tuple[str, ...]:
    """What this regeneration leaves to be wished for where silica matters; nothing where the feed has none."""
    resin, feed = balance.bed.resin, basis.request.feed
    if not resin.family.is_anion or (feed is not None and feed.silica_mol_per_m3 == 0.0):
        return ()
    last = balance.steps[-1]
    return silica_advice(
        CausticTreatment(
            resin.family.value,
            sum(step.value("dose_kg_per_m3") for step in balance.steps),
            last.value("strength_frac"),
            last.value("temperature_kelvin"),
            sum(step.value("contact_time_s") for step in balance.steps),
            _silica_frac(feed),
        )
    )


def _silica_frac(feed: FeedData | None) -> float:
    """Share of silica in what an anion resin behind a cation resin takes up."""
    if feed is None:
        return 0.0
    weak = feed.alkalinity_eq_per_m3 + feed.carbon_dioxide_mol_per_m3 + feed.silica_mol_per_m3
    return feed.silica_mol_per_m3 / (feed.strong_anions_eq_per_m3 + weak)


def _mixed(basis: PlanBasis, parted: Mapping[str, Estimate]) -> dict[str, Estimate]:
    """Leakage of the mixed bed after this separation, from the beads that met the wrong regenerant."""
    shares = [min(parted[key].value, 0.5) for key in ("cation_in_anion_frac", "anion_in_cation_frac")]
    found = leakage.mixed_bed_leakage(
        shares[0],
        shares[1],
        cation_m3=basis.bed(Leg.CATION).volume_m3,
        anion_m3=basis.bed(Leg.ANION).volume_m3,
    )
    return {
        "sodium_form_frac": found.sodium_frac,
        "chloride_form_frac": found.chloride_frac,
        "expected_sodium_leakage_kg_per_m3": found.sodium,
        "expected_chloride_leakage_kg_per_m3": found.chloride,
        "expected_sodium_rise": found.sodium_rise,
        "expected_chloride_rise": found.chloride_rise,
        "expected_ph": found.ph,
        "expected_conductivity_siemens_per_m": found.conductivity,
        "expected_resistivity_ohm_m": found.resistivity,
    }
