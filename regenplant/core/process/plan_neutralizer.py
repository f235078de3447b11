"""What neutralizes the waste of a batch, in two stages with a measured pH between, and how little an error takes.

Strong acid or alkali alone is a plain charge balance. Where carbonate, silica or ammonia buffer the waste, the amount is
solved to pH 7 instead.
"""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.engineering import equilibria, neutralization, neutralization_heat, sensitivity, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.neutralization import Neutralizer
from regenplant.core.engineering.spent import SpentStream
from regenplant.core.process.plan import WasteData
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_spent import SpentStreams
from regenplant.core.process.vocabulary import Chemical, Leg

NEUTRAL_PH = 7.0
ERROR_FRAC = 0.01
"""Volume error shown beside every neutralization: a good level gauge (common practice)."""


def neutralizer_totals(
    basis: PlanBasis, excess: Estimate, waste: Estimate, streams: SpentStreams
) -> tuple[dict[str, Estimate], Neutralizer]:
    """Neutralizer of both stages, its heat, its volume from stock, and the pH at one percent more and less."""
    needed = _needed(excess, streams.together, basis.request.waste)
    reagent = neutralization.neutralizer(needed, basis.request.limits.neutralizer_first_share_frac)
    found = {
        "neutralizer_first_eq": reagent.first_eq,
        "neutralizer_second_eq": reagent.second_eq,
        "neutralizer_first_kg_100": reagent.first_kg_100,
        "neutralizer_second_kg_100": reagent.second_kg_100,
    }
    if waste.value > 0.0:
        found["neutralization_rise_kelvin"] = neutralization_heat.temperature_rise(
            reagent.first_eq.value + reagent.second_eq.value, waste.value * water.density_kg_per_m3(293.15)
        )
    found.update(_from_stock(basis, reagent))
    if streams.together is not None and abs(needed.value) > 1e-6:
        found.update(_sensitivity(streams, streams.together, needed))
    return found, reagent


def is_buffered(stream: SpentStream) -> bool:
    """Whether something weak in the waste takes up acid or base beside the strong ones."""
    totals = stream.composition
    weak = totals.carbonate_mol_per_m3 + totals.silica_mol_per_m3 + totals.ammonia_mol_per_m3
    return weak > 1e-6


def _needed(excess: Estimate, together: SpentStream | None, permit: WasteData) -> Estimate:
    """Base (+) or acid (−) to give: the excess itself, or solved where the waste is buffered."""
    if together is None or not is_buffered(together):
        return excess
    if permit.ph_low <= together.ph.value <= permit.ph_high:
        return _nothing(excess, together)
    per_m3 = equilibria.reagent_to_ph_eq_per_m3(together.composition, NEUTRAL_PH, together.temperature_kelvin)
    return Estimate(
        symbol="n_r",
        name=f"base (+) or acid (−) to pH {NEUTRAL_PH:g}",
        value=per_m3 * together.volume_m3,
        unit="eq",
        kind="equivalents",
        formula="solve charge balance at pH 7, times the volume",
        inputs=(
            Input("V_x", "volume of the waste", together.volume_m3, "m^3", "liquid_volume"),
            *together.ph.inputs,
        ),
        method="charge balance with ion pairs; the volume of the reagent is neglected",
        source="phreeqc_constants",
        valid="closed to the air, nothing precipitated",
        warnings=excess.warnings,
    )


def _nothing(excess: Estimate, together: SpentStream) -> Estimate:
    """A buffered waste that is inside the permit as it comes."""
    return Estimate(
        symbol="n_r",
        name="base (+) or acid (−) to give",
        value=0.0,
        unit="eq",
        kind="equivalents",
        formula=f"0 · {excess.symbol}",
        inputs=(excess.as_input(), together.ph.as_input()),
        method="the predicted pH lies inside the permit: nothing is planned",
        source="charge_balance",
        valid="closed to the air; the measured pH decides",
        warnings=excess.warnings,
    )


def _from_stock(basis: PlanBasis, reagent: Neutralizer) -> dict[str, Estimate]:
    stock = basis.stock(Chemical(reagent.chemical))
    if stock is None or not 0.0 < stock.strength_frac < 1.0 or reagent.first_eq.value == 0.0:
        return {}
    density = basis.stock_density(stock)
    if density is None:
        return {}  # no density on record and none known here: the mass as 100 % still stands
    return {
        f"neutralizer_{stage}_stock_m3": neutralization.stock_volume(mass, stock.strength_frac, density)
        for stage, mass in (("first", reagent.first_kg_100), ("second", reagent.second_kg_100))
    }


def _sensitivity(streams: SpentStreams, together: SpentStream, needed: Estimate) -> dict[str, Estimate]:
    """pH of the neutralized waste at one percent less and more: of the acid leg's waste, or of the neutralizer."""
    errors = (-ERROR_FRAC, ERROR_FRAC)
    acid, other = streams.by_leg.get(Leg.CATION), streams.by_leg.get(Leg.ANION)
    if acid is not None and other is not None:
        per_m3 = needed.value / other.volume_m3
        trimmed = replace(
            other,
            name="spent caustic with the neutralizer",
            composition=equilibria.with_reagent(other.composition, per_m3),
        )
        table = sensitivity.of_pair(acid, trimmed, errors)
    else:
        table = sensitivity.of_reagent(together, needed.value, errors)
    less, more = table.rows
    return {
        "sensitivity_less_ph": less.ph.named("pH_1", f"pH with 1 % less {table.varied}"),
        "sensitivity_more_ph": more.ph.named("pH_2", f"pH with 1 % more {table.varied}"),
    }
