"""What brings the waste that stands in a tank to the permit's pH: two stages with a measured pH between (core plan), and whether a
treatment may be given now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant.chemicals.selectors import stock_data
from regenplant.core.engineering import solutions, spent
from regenplant.core.engineering.equilibria import REAGENTS
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.neutralization_plan import (
    NeutralizationPlan,
    ReagentStock,
    plan_neutralization,
)
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import StockData
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.waste_held import WasteHeld, can_be_modelled
from regenplant.core.process.wording import say
from regenplant.plant.limits import limits_in_force
from regenplant.plant.models import WasteTank
from regenplant.plant.permit import permit_in_force
from regenplant.waste.held import TankStanding, standing
from regenplant.waste.models import WasteMovement
from regenplant.waste.selectors import last_ph

ASSUMED_KELVIN = 293.15
"""20 °C, where nobody measured the tank; a pH moves little with it."""
MORE_THAN_PLANNED = 1.05
"""A treatment of up to this share of what the plan gives is the plan: a bucket is not a burette (common practice)."""
NOT_PREDICTED = (
    "Too much of what stands in the tank is of unknown composition, so no amount is predicted. Mix, measure the pH, give small "
    "portions and measure after each."
)


@dataclass(frozen=True, slots=True)
class Treatment:
    """What the tank needs now."""

    standing: TankStanding
    plan: NeutralizationPlan | None
    """None where nothing can be predicted, or nothing stands in the tank."""
    words: str
    """Why there is no plan; "" where there is one."""
    measured: WasteMovement | None
    """The pH that counts: read after everything came in; None where none was."""
    is_second: bool
    """A treatment was given since something else came in."""


def neutralizers(now: datetime) -> dict[str, StockData]:
    """Stocks that neutralize, by chemical, as the plant checked them."""
    return {chemical: stock for chemical, stock in stock_data(now).items() if chemical in REAGENTS}


def density_of(stock: StockData) -> Estimate:
    """Density of a stock: as measured, else by its strength. Raises: OutOfRange for a chemical without a table."""
    if stock.density_kg_per_m3 is not None:
        return Estimate(
            "rho", f"density of lot {stock.lot_code}", stock.density_kg_per_m3, "kg/m^3", "density",
            "on record", (), "record", "plant_record",
        )  # fmt: skip
    return solutions.solution_density(stock.chemical.value, stock.strength_frac, stock.temperature_kelvin)


def treatment_of(tank: WasteTank, now: datetime) -> Treatment:
    """What stands in the tank and what neutralizes it."""
    stands = standing(tank)
    measured = last_ph(tank)
    second = stands.last is not None and _was_treated(tank)
    if stands.held.is_empty:
        return Treatment(stands, None, "The tank is empty by the books.", measured, second)
    if not can_be_modelled(stands.held):
        return Treatment(stands, None, NOT_PREDICTED, measured, second)
    try:
        plan = _planned(tank, stands.held, now)
    except OutOfRange as refused:
        return Treatment(stands, None, refused.message, measured, second)
    return Treatment(stands, plan, "", measured, second)


def _was_treated(tank: WasteTank) -> bool:
    kinds = (WasteMovement.Kind.DRAIN, WasteMovement.Kind.TREATMENT)
    last = WasteMovement.objects.filter(tank=tank, kind__in=kinds).order_by("-number").first()
    return last is not None and last.kind == WasteMovement.Kind.TREATMENT


def _planned(tank: WasteTank, held: WasteHeld, now: datetime) -> NeutralizationPlan:
    volume = Estimate(
        "V_x", f"waste in {tank.code}", held.volume_m3, "m^3", "liquid_volume", "by the books", (), "record", "plant_record",
    )  # fmt: skip
    kelvin = held.temperature_kelvin or ASSUMED_KELVIN
    stream = spent.known_stream(f"waste in {tank.code}", held.composition, volume, kelvin)
    stocks = []
    for stock in neutralizers(now).values():
        stocks.append(ReagentStock(stock.chemical.value, stock.strength_frac, density_of(stock)))
    names = {stock.chemical for stock in stocks}
    acid = "hcl" if "hcl" in names or "h2so4" not in names else "h2so4"
    return plan_neutralization(
        stream,
        stocks=tuple(stocks),
        first_share_frac=limits_in_force(now).neutralizer_first_share_frac,
        acid=acid,
    )


def kilograms_100(stock: StockData, volume_m3: float) -> float:
    """Mass as 100 % in a volume of stock [kg]."""
    return volume_m3 * density_of(stock).value * stock.strength_frac


def equivalents_of(chemical: str, kg_100: float) -> float:
    """Acid or base in a mass as 100 %, >= 0 [eq]."""
    return kg_100 / substance(chemical).equivalent_weight_kg_per_eq


def brings_mol(chemical: str, kg_100: float) -> dict[str, float]:
    """Ions that a neutralizer brings [mol]."""
    eq = equivalents_of(chemical, kg_100)
    return {name: eq * per_eq for name, per_eq in spent.brings_mol_per_eq(chemical).items()}


def against(needs: Treatment, chemical: Chemical, kg_100: float, now: datetime) -> str:
    """Why this must not be given now, as a sentence; "" where it may."""
    permit = permit_in_force(now).content
    is_base = chemical is Chemical.SODIUM_HYDROXIDE
    if needs.is_second and needs.measured is None:
        return (
            "A treatment was given since the pH was measured last. Mix and recirculate 15 to 30 min, measure the pH with a meter in "
            "calibration and write it down; then give what is still missing."
        )
    if needs.measured is not None and needs.measured.ph is not None:
        ph = needs.measured.ph
        if (is_base and ph >= permit.ph_high) or (not is_base and ph <= permit.ph_low):
            return f"The tank measured pH {say(ph, 'ph')}; {chemical.label.lower()} takes it further out of the permit’s window."
    elif needs.plan is None:
        return f"{needs.words} Measure the pH first and write it down with the level."
    if needs.plan is None:
        return ""
    return _against_plan(needs, needs.plan, chemical, equivalents_of(chemical.value, kg_100))


def _against_plan(needs: Treatment, plan: NeutralizationPlan, chemical: Chemical, eq: float) -> str:
    stages = plan.stages
    wrong = stages is not None and (stages.chemical == "naoh") != (chemical is Chemical.SODIUM_HYDROXIDE)
    if needs.measured is None:
        if stages is None:
            return "By the books the tank needs nothing, or it cannot be said what. Measure the pH first and write it down with the level."
        if wrong:
            return (
                f"By the books the tank needs {substance(stages.chemical).name}, not {chemical.label.lower()}. "
                "If a meter says otherwise, write its pH down with the level first."
            )
        if eq > stages.first_eq.value * MORE_THAN_PLANNED:
            return (
                f"This is {say(eq, 'equivalents')}; the first stage is at most {say(stages.first_eq.value, 'equivalents')}. "
                "Give the first stage, mix, measure, then the rest."
            )
        return ""
    most = 0.0
    if stages is not None and not wrong:
        most = stages.first_eq.value + stages.second_eq.value
        if eq > most * MORE_THAN_PLANNED:
            return (
                f"This is {say(eq, 'equivalents')}; by the books at most {say(most, 'equivalents')} are missing. Give less, mix and "
                "measure. If the meter is right and the books are not, find out why first."
            )
    return ""
