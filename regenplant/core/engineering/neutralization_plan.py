"""Neutralizing a waste: one stage, a measured pH, and at most a second stage.

The plan says how much; it never says that the waste may go. A discharge needs two good readings inside the permit's
window, and the permit, local codes and the SDS of each chemical decide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from regenplant.core.engineering import equilibria, neutralization, neutralization_heat, sensitivity
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.neutralization import (
    FIRST_STAGE_SHARE,
    Neutralizer,
    reagent_mass,
    stock_volume,
)
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.sensitivity import Sensitivity
from regenplant.core.engineering.spent import SpentStream, pour_together
from regenplant.core.engineering.substances import substance
from regenplant.core.engineering.waste_figures import (
    AMMONIA_GAS,
    CARBON_DIOXIDE_GAS,
    CARBONATE_THAT_FOAMS_MOL_PER_M3,
    ph_estimate,
)
from regenplant.core.errors import OutOfRange

NEUTRAL_PH = 7.0
LOWEST_TARGET_PH, HIGHEST_TARGET_PH = 5.0, 10.0
"""Target pH a plan may aim at; the permit's window is narrower (EV-04)."""
NOTHING_TO_GIVE_EQ_PER_M3 = 1e-3
MIX_FIRST = "Mix and recirculate 15 to 30 min, then measure the pH with a meter in calibration."
NEVER_HERE = "Metals, oxidizers or wastes of unknown origin never enter this tank."
AT_TARGET = "The pH is at its target as predicted; measure it before anything is given."
CARBONATE_STAYS_PH = 8.0
"""Above this pH carbonate does not leave as carbon dioxide."""
CARBONATE_DECIDES = (
    "Carbon dioxide that leaves decides whether acid or base is wanted. Aerate, measure again until the pH stands still, "
    "then give small portions and measure after each."
)
STRONG_REAGENT = (
    "Give it slowly into moving waste, never the waste into the stock; it heats and may spatter. Gloves, face shield, apron; "
    "the SDS, local codes and licensed practice decide."
)


@dataclass(frozen=True, slots=True)
class ReagentStock:
    """The stock a neutralizer is taken from."""

    chemical: str
    strength_frac: float
    density_kg_per_m3: Estimate


@dataclass(frozen=True, slots=True)
class NeutralizationPlan:
    """Two stages with a measurement between.

    ``needed_eq`` holds for a closed tank, ``needed_open_eq`` where all carbonate has left as carbon dioxide; the truth
    lies between. The first stage is a share of the smaller one, so it overshoots in neither; the second is the most that
    may follow, and how much of it follows, the measured pH says. ``chemical`` is the key of the neutralizer, "" where
    nothing is to be given or the two disagree on whether acid or base is wanted; ``stages`` is None then.
    ``..._stock_m3`` are None where no stock of it was named.
    """

    chemical: str
    target_ph: float
    stream: SpentStream
    needed_eq: Estimate
    needed_open_eq: Estimate
    stages: Neutralizer | None
    first_stock_m3: Estimate | None
    second_stock_m3: Estimate | None
    ph_after_first: Estimate
    rise_kelvin: Estimate
    sensitivity: Sensitivity
    """Of a pair: to the volume of the spent acid. Of one waste: to the neutralizer."""
    reagent_sensitivity: Sensitivity | None
    """To the whole neutralizer in a closed tank; None where none is given."""
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


def plan_neutralization(
    stream: SpentStream,
    target_ph: float = NEUTRAL_PH,
    stocks: tuple[ReagentStock, ...] = (),
    *,
    first_share_frac: float = FIRST_STAGE_SHARE,
    acid: str = "hcl",
) -> NeutralizationPlan:
    """How to bring one waste to a pH.

    Parameters
    ----------
    stream : SpentStream
        The waste, or wastes poured together
    target_ph : float
        pH wanted, 5 to 10 [-]
    stocks : tuple[ReagentStock, ...]
        Stocks on the plant; the one of the neutralizer is used
    first_share_frac : float
        Share given before the pH is measured, 0.5 to 0.95 [-]
    acid : str
        "hcl" or "h2so4", given to an alkaline waste [-]

    Returns
    -------
    plan : NeutralizationPlan
        Amounts, steps, sensitivity

    Raises: OutOfRange for a target, a share or an acid outside what is possible.
    Source: phreeqc_constants; the two stages are common practice.
    """
    needed = _needed(stream, target_ph, acid)
    return _plan(stream, target_ph, needed, stocks, first_share_frac, acid, None)


def plan_pair(
    acid_waste: SpentStream,
    caustic_waste: SpentStream,
    target_ph: float = NEUTRAL_PH,
    stocks: tuple[ReagentStock, ...] = (),
    *,
    first_share_frac: float = FIRST_STAGE_SHARE,
    acid: str = "hcl",
) -> NeutralizationPlan:
    """How to pour spent acid and spent caustic together and trim the rest.

    Parameters
    ----------
    acid_waste : SpentStream
        Spent acid; the table shows what one percent of its volume does
    caustic_waste : SpentStream
        Spent caustic
    target_ph : float
        pH wanted, 5 to 10 [-]
    stocks : tuple[ReagentStock, ...]
        Stocks on the plant
    first_share_frac : float
        Share given before the pH is measured, 0.5 to 0.95 [-]
    acid : str
        "hcl" or "h2so4" [-]

    Returns
    -------
    plan : NeutralizationPlan
        Amounts, steps, sensitivity to the volume of the spent acid before anything is trimmed

    Raises: OutOfRange as ``plan_neutralization`` and ``spent.pour_together``.
    Source: phreeqc_constants, neutralization_heat; the two stages are common practice.
    """
    mixture = pour_together((acid_waste, caustic_waste))
    needed = _needed(mixture, target_ph, acid)
    table = sensitivity.of_pair(acid_waste, caustic_waste)
    return _plan(mixture, target_ph, needed, stocks, first_share_frac, acid, table)


def _needed(stream: SpentStream, target_ph: float, acid: str) -> tuple[Estimate, Estimate]:
    """Reagent in a closed tank, and where carbonate has left; the same where it stays, above pH 8."""
    if acid not in ("hcl", "h2so4"):
        raise OutOfRange(
            f"{acid!r} is no acid to neutralize with here; known are hcl and h2so4.", code="unknown_acid"
        )
    require_within(target_ph, LOWEST_TARGET_PH, HIGHEST_TARGET_PH, "pH wanted")
    closed = _needed_of(stream, stream.composition, target_ph, acid, "n_c", "closed to the air")
    if target_ph > CARBONATE_STAYS_PH or stream.composition.carbonate_mol_per_m3 == 0.0:
        return closed, closed
    degassed = replace(stream.composition, carbonate_mol_per_m3=0.0)
    return closed, _needed_of(
        stream, degassed, target_ph, acid, "n_o", "all carbonate gone as carbon dioxide"
    )


def _needed_of(
    stream: SpentStream, composition: Composition, target_ph: float, acid: str, symbol: str, words: str
) -> Estimate:
    per_m3 = equilibria.reagent_to_ph_eq_per_m3(composition, target_ph, stream.temperature_kelvin, acid)
    return Estimate(
        symbol=symbol,
        name=f"base (+) or acid (−) to pH {target_ph:g}, {words}",
        value=per_m3 * stream.volume_m3,
        unit="eq",
        kind="equivalents",
        formula="solve charge balance at the pH wanted, times the volume",
        inputs=(
            Input("pH_t", "pH wanted", target_ph, "dimensionless", "ph"),
            Input("V_x", "volume of the waste", stream.volume_m3, "m^3", "liquid_volume"),
            *stream.ph.inputs,
        ),
        method="charge balance with ion pairs; the volume of the reagent is neglected",
        source="phreeqc_constants",
        valid=f"{words}, nothing precipitated",
        warnings=(neutralization.MEASURED_PH_DECIDES,),
    )


def _stages(closed: Estimate, opened: Estimate, first_share_frac: float, acid: str) -> Neutralizer:
    """First a share of the smaller need, then at most what is missing to the larger; both of one sign."""
    require_within(first_share_frac, 0.5, 0.95, "share of the first stage")
    small, large = sorted((closed, opened), key=lambda needed: abs(needed.value))
    chemical, sign = ("naoh", "") if closed.value >= 0.0 else (acid, "−")
    formula = substance(chemical).formula
    share = Input("f", "share given before the pH is measured", first_share_frac, "dimensionless", "fraction")
    first = Estimate(
        symbol="n_1",
        name=f"{formula} for neutralization, first stage, before measuring the pH",
        value=abs(small.value) * first_share_frac,
        unit="eq",
        kind="equivalents",
        formula=f"{sign}{small.symbol} · f",
        inputs=(small.as_input(), share),
        method="a share of the smaller need, closed or open tank",
        source="trade_practice",
        warnings=(neutralization.MEASURED_PH_DECIDES,),
    )
    second = Estimate(
        symbol="n_2",
        name=f"{formula} for neutralization, second stage, at most, after measuring the pH",
        value=abs(large.value) - first.value,
        unit="eq",
        kind="equivalents",
        formula=f"{sign}{large.symbol} − n_1",
        inputs=(large.as_input(), first.as_input()),
        method="what is missing to the larger need",
        source="trade_practice",
        warnings=(neutralization.MEASURED_PH_DECIDES,),
    )
    return Neutralizer(
        chemical, first, second, reagent_mass(chemical, first, "m_1"), reagent_mass(chemical, second, "m_2")
    )


def _plan(
    stream: SpentStream,
    target_ph: float,
    needed: tuple[Estimate, Estimate],
    stocks: tuple[ReagentStock, ...],
    first_share_frac: float,
    acid: str,
    of_volume: Sensitivity | None,
) -> NeutralizationPlan:
    closed, opened = needed
    of_reagent = sensitivity.of_reagent(stream, closed.value, acid=acid)
    table = of_volume if of_volume is not None else of_reagent
    nothing = NOTHING_TO_GIVE_EQ_PER_M3 * stream.volume_m3
    stages = None
    if max(abs(closed.value), abs(opened.value)) > nothing and closed.value * opened.value > 0.0:
        stages = _stages(closed, opened, first_share_frac, acid)
    stock = next((entry for entry in stocks if stages and entry.chemical == stages.chemical), None)
    after = _ph_after_first(stream, stages, acid) if stages else stream.ph
    return NeutralizationPlan(
        chemical=stages.chemical if stages else "",
        target_ph=target_ph,
        stream=stream,
        needed_eq=closed,
        needed_open_eq=opened,
        stages=stages,
        first_stock_m3=_stock_of(stages.first_kg_100, stock) if stages else None,
        second_stock_m3=_stock_of(stages.second_kg_100, stock) if stages else None,
        ph_after_first=after,
        rise_kelvin=neutralization_heat.temperature_rise(
            _strong_met(stream, closed.value), stream.volume_m3 * neutralization_heat.MIX_DENSITY_KG_PER_M3
        ),
        sensitivity=table,
        reagent_sensitivity=of_reagent if stages else None,
        steps=_steps(stages, after, target_ph, of_reagent)
        if stages
        else _steps_without(closed, opened, nothing),
        cautions=_cautions(stream, stages, target_ph),
    )


def _strong_met(stream: SpentStream, needed_eq: float) -> float:
    """Equivalents of the reagent that meet free acid or free hydroxide."""
    return min(abs(needed_eq), stream.free_acid_eq if needed_eq >= 0.0 else stream.free_base_eq)


def _stock_of(mass: Estimate, stock: ReagentStock | None) -> Estimate | None:
    return stock_volume(mass, stock.strength_frac, stock.density_kg_per_m3) if stock is not None else None


def _ph_after_first(stream: SpentStream, stages: Neutralizer, acid: str) -> Estimate:
    given = stages.first_eq.value if stages.chemical == "naoh" else -stages.first_eq.value
    treated = equilibria.with_reagent(stream.composition, given / stream.volume_m3, acid)
    found = equilibria.mixture_ph(treated, stream.temperature_kelvin)
    return ph_estimate(found, (*stream.ph.inputs, stages.first_eq.as_input())).named(
        "pH_1", "pH after the first stage, predicted"
    )


def _steps(stages: Neutralizer, after: Estimate, target_ph: float, table: Sensitivity) -> tuple[str, ...]:
    name = substance(stages.chemical).name
    return (
        f"First stage: {stages.first_kg_100.value:.4g} kg of {name} as 100 % ({stages.first_eq.value:.4g} eq). "
        f"Predicted then: pH {after.value:.1f}.",
        MIX_FIRST,
        f"Second stage: in small portions to pH {target_ph:g}, at most {stages.second_kg_100.value:.4g} kg as 100 %; "
        "mix and measure after each. If that does not reach it, stop and find out why.",
        table.sentence,
    )


def _steps_without(closed: Estimate, opened: Estimate, nothing_eq: float) -> tuple[str, ...]:
    if max(abs(closed.value), abs(opened.value)) <= nothing_eq:
        return (AT_TARGET,)
    return (MIX_FIRST, CARBONATE_DECIDES)


def _cautions(stream: SpentStream, stages: Neutralizer | None, target_ph: float) -> tuple[str, ...]:
    found = [STRONG_REAGENT, NEVER_HERE] if stages else [NEVER_HERE]
    totals = stream.composition
    meets_acid = stages is None or stages.chemical != "naoh"
    if totals.carbonate_mol_per_m3 > CARBONATE_THAT_FOAMS_MOL_PER_M3 and (
        meets_acid or stream.ph.value < 7.5
    ):
        found.append(CARBON_DIOXIDE_GAS)
    if totals.ammonia_mol_per_m3 > 1.0 and max(target_ph, stream.ph.value) > 8.0:
        found.append(AMMONIA_GAS)
    return tuple(found)
