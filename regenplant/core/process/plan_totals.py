"""The totals of a plan: time, chemicals, waters, waste and what neutralizes it, and what the resin will do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from regenplant.core.engineering import neutralization
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_legs import balance_totals, duration_totals
from regenplant.core.process.plan_loads import load_totals
from regenplant.core.process.plan_neutralizer import neutralizer_totals
from regenplant.core.process.plan_outlook import outlook_totals
from regenplant.core.process.plan_spent import (
    LegBalance,
    SpentStreams,
    balance_figures,
    leg_balances,
    net_excess,
    spent_streams,
)
from regenplant.core.process.plan_sums import summed
from regenplant.core.process.plan_waste import WasteShare, waste_shares, waste_temperature, waste_volume
from regenplant.core.process.plan_waste_solids import solids_totals
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind, WaterKind


def build_totals(basis: PlanBasis, steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    """Every total by its key, as listed in ``BatchPlan``."""
    totals: dict[str, Estimate] = {
        **duration_totals(steps),
        "resin_volume_m3": basis.reference_volume,
        "bed_depth_m": basis.depth,
        "bed_fill_frac": _fill(basis),
        **_chemicals(steps),
        **_waters(steps),
    }
    shares = waste_shares(basis, steps)
    totals["waste_m3"] = waste_volume(basis, shares)
    if not basis.request.resin.family.is_exchanged:
        totals["eluted_eq"] = basis.load
    if shares:
        totals["waste_temperature_kelvin"] = waste_temperature(shares)
    balances = leg_balances(basis, steps)
    totals.update(balance_figures(balances))
    totals.update(_leg_totals(balances))
    totals.update(_spent(basis, steps, balances, shares, totals["waste_m3"]))
    totals.update(outlook_totals(basis, steps, balances))
    return totals


def _fill(basis: PlanBasis) -> Estimate:
    rated = basis.request.vessel.bed_volume_max_m3
    return Estimate(
        symbol="x",
        name="fill of the rated bed volume",
        value=basis.volume_m3 / rated,
        unit="dimensionless",
        kind="fraction",
        formula="V_r / V_max",
        inputs=(
            basis.reference_volume.as_input(),
            Input("V_max", f"largest rated bed volume of vessel {basis.request.vessel.code}", rated, "m^3", "resin_volume"),
        ),
        method="share of the rated volume",
        source="geometry",
    )  # fmt: skip


def _chemicals(steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    found: dict[str, Estimate] = {}
    for chemical in Chemical:
        own = [step for step in steps if step.kind in CHEMICAL_STEPS and step.chemical is chemical]
        if own:
            found.update(_chemical(chemical, own))
    return found


def _chemical(chemical: Chemical, steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    found = {
        f"chemical_kg_100:{chemical.value}": summed(
            "m",
            f"{chemical.formula} as 100 %",
            [(step.name, step.figures["chemical_kg_100"]) for step in steps],
        )
    }
    for key, symbol, words in (("stock_kg", "m_s", "stock by mass"), ("stock_m3", "V_s", "stock by volume")):
        parts = [(step.name, step.figures[key]) for step in steps if key in step.figures]
        if len(parts) == len(steps):
            found[f"{key}:{chemical.value}"] = summed(symbol, f"{chemical.formula} {words}", parts)
    return found


def _waters(steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    found: dict[str, Estimate] = {}
    for kind in WaterKind:
        parts = [(step.name, figure) for step in steps if step.water is kind for figure in _taken(step)]
        if parts:
            found[f"water_m3:{kind.value}"] = summed("V_w", f"{kind.label} used", parts)
    return found


def _taken(step: PlannedStep) -> list[Estimate]:
    """Water a step takes: of a blend only what is added, of a loop only what fills it."""
    key = {StepKind.RECIRCULATE: "loop_fill_m3"}.get(step.kind, "volume_m3")
    key = "dilution_water_m3" if step.kind in CHEMICAL_STEPS else key
    return [step.figures[key]] if key in step.figures else []


def _leg_totals(balances: Sequence[LegBalance]) -> dict[str, Estimate]:
    """Whether acid and caustic of the two legs balance; nothing for a single bed."""
    return balance_totals(
        {balance.leg: balance.steps for balance in balances},
        {balance.leg: balance.applied for balance in balances},
    )


def _spent(
    basis: PlanBasis,
    steps: Sequence[PlannedStep],
    balances: Sequence[LegBalance],
    shares: Sequence[WasteShare],
    waste: Estimate,
) -> dict[str, Estimate]:
    """Excess, pH, solids, neutralizer and sewer loads of everything that was brought."""
    excess = net_excess(balances, steps)
    if excess is None:
        return {}
    streams = spent_streams(basis, balances, shares)
    if streams.refusal:
        excess = replace(excess, warnings=(*excess.warnings, streams.refusal))
    found = {"excess_eq": excess, **_reactions(waste, excess, streams)}
    reagent_figures, reagent = neutralizer_totals(basis, excess, waste, streams)
    return found | reagent_figures | load_totals(basis, steps, balances, reagent)


def _reactions(waste: Estimate, excess: Estimate, streams: SpentStreams) -> dict[str, Estimate]:
    """pH and solids of the waste; of two legs also of each, and the temperature they reach together."""
    found: dict[str, Estimate] = {}
    together = streams.together
    if together is not None:
        found["waste_ph"] = together.ph.named("pH", "pH of the mixed waste, predicted")
        found.update(solids_totals(together))
    elif waste.value > 0.0 and abs(excess.value / waste.value) <= neutralization.MOST_EXCESS_EQ_PER_M3:
        found["waste_ph"] = neutralization.waste_ph(excess, waste)
    if together is not None and {Leg.CATION, Leg.ANION} <= streams.by_leg.keys():
        for leg in (Leg.CATION, Leg.ANION):
            name = f"pH of the waste of the {leg.label}, predicted"
            found[f"waste_ph:{leg.value}"] = streams.by_leg[leg].ph.named("pH", name)
        found["waste_temperature_kelvin"] = together.estimates["temperature_kelvin"].named(
            "T_x", "temperature of the mixed waste, with the heat of neutralization"
        )
        found["waste_rise_kelvin"] = together.estimates["rise_kelvin"]
    return found
