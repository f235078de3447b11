"""The totals of a plan: time, chemicals, waters, waste and what neutralizes it."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.engineering import ions, neutralization, regenerants, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.substances import substance
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.vocabulary import Chemical, StepKind, WaterKind


def build_totals(basis: PlanBasis, steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    """Every total by its key, as listed in ``BatchPlan``."""
    injections = [step for step in steps if step.kind is StepKind.INJECT]
    totals: dict[str, Estimate] = {
        "duration_s": _sum(
            "t", "time of all steps", [(step.name, step.figures["duration_s"]) for step in steps]
        ),
        "resin_volume_m3": basis.reference_volume,
        "bed_depth_m": basis.depth,
        "bed_fill_frac": _fill(basis),
    }
    for chemical in Chemical:
        own = [step for step in injections if step.chemical is chemical]
        if own:
            totals.update(_chemical(chemical, own))
    for kind in WaterKind:
        parts = _water_parts(steps, kind)
        if parts:
            totals[f"water_m3:{kind.value}"] = _sum("V_w", f"{kind.label} used", parts)
    totals["waste_m3"] = _waste(basis, steps)
    totals["eluted_eq"] = basis.load
    if totals["waste_m3"].value > 0.0:
        totals["waste_temperature_kelvin"] = _waste_temperature(basis, steps)
    if injections:
        totals.update(_spent(basis, injections, totals["waste_m3"]))
    return totals


def _sum(symbol: str, name: str, parts: Sequence[tuple[str, Estimate]]) -> Estimate:
    first = parts[0][1]
    inputs = tuple(
        Input(f"{symbol}_{index}", f"{label}: {part.name}", part.value, part.unit, part.kind)
        for index, (label, part) in enumerate(parts, start=1)
    )
    return Estimate(
        symbol=symbol,
        name=name,
        value=sum(part.value for _, part in parts),
        unit=first.unit,
        kind=first.kind,
        formula=" + ".join(entry.symbol for entry in inputs),
        inputs=inputs,
        method="sum over the steps",
        source="mass_balance",
        warnings=tuple(dict.fromkeys(warning for _, part in parts for warning in part.warnings)),
    )


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


def _chemical(chemical: Chemical, steps: Sequence[PlannedStep]) -> dict[str, Estimate]:
    found = {
        f"chemical_kg_100:{chemical.value}": _sum(
            "m",
            f"{chemical.formula} as 100 %",
            [(step.name, step.figures["chemical_kg_100"]) for step in steps],
        )
    }
    for key, symbol, words in (("stock_kg", "m_s", "stock by mass"), ("stock_m3", "V_s", "stock by volume")):
        parts = [(step.name, step.figures[key]) for step in steps if key in step.figures]
        if len(parts) == len(steps):
            found[f"{key}:{chemical.value}"] = _sum(symbol, f"{chemical.formula} {words}", parts)
    return found


def _water_parts(steps: Sequence[PlannedStep], kind: WaterKind) -> list[tuple[str, Estimate]]:
    parts: list[tuple[str, Estimate]] = []
    for step in steps:
        if step.water is not kind:
            continue
        key = "dilution_water_m3" if step.kind is StepKind.INJECT else "volume_m3"
        if key in step.figures:
            parts.append((step.name, step.figures[key]))
    return parts


def waste_share_m3(basis: PlanBasis, step: PlannedStep) -> float:
    """What a step sends to the waste tank: injections and displacements whole, of a fast rinse the first part."""
    if step.kind in (StepKind.INJECT, StepKind.DISPLACE):
        return step.value("volume_m3")
    if step.kind is StepKind.FAST_RINSE:
        return min(step.value("volume_bv"), basis.request.limits.rinse_to_waste_bv) * basis.volume_m3
    return 0.0


def _waste(basis: PlanBasis, steps: Sequence[PlannedStep]) -> Estimate:
    parts = [(step, waste_share_m3(basis, step)) for step in steps]
    inputs = tuple(
        Input(f"V_{index}", f"{step.name}: to the waste tank", volume, "m^3", "liquid_volume")
        for index, (step, volume) in enumerate(((s, v) for s, v in parts if v > 0.0), start=1)
    )
    return Estimate(
        symbol="V_x",
        name="volume to the waste tank",
        value=sum(entry.value for entry in inputs),
        unit="m^3",
        kind="liquid_volume",
        formula=" + ".join(entry.symbol for entry in inputs) or "nothing goes to the waste tank",
        inputs=inputs,
        method="injection, displacement and the first part of the fast rinse",
        source="trade_practice",
        valid=f"the first {basis.request.limits.rinse_to_waste_bv:g} BV of the fast rinse; more if its pH is not yet inside",
    )


def _waste_temperature(basis: PlanBasis, steps: Sequence[PlannedStep]) -> Estimate:
    """Temperature of the mixed waste, by volume: warm caustic with the water that follows it."""
    inputs: list[Input] = []
    for step in steps:
        volume = waste_share_m3(basis, step)
        if volume > 0.0:
            warm = step.figures.get("temperature_kelvin")
            kelvin = warm.value if warm is not None else basis.water_kelvin(step.water)
            index = len(inputs) // 2 + 1
            inputs.append(
                Input(f"V_{index}", f"{step.name}: to the waste tank", volume, "m^3", "liquid_volume")
            )
            inputs.append(Input(f"T_{index}", f"{step.name}: temperature", kelvin, "kelvin", "temperature"))
    volumes, kelvins = inputs[0::2], inputs[1::2]
    weighted = " + ".join(f"{v.symbol} · {t.symbol}" for v, t in zip(volumes, kelvins, strict=True))
    whole = " + ".join(entry.symbol for entry in volumes)
    return Estimate(
        symbol="T_x",
        name="temperature of the mixed waste",
        value=sum(v.value * t.value for v, t in zip(volumes, kelvins, strict=True))
        / sum(v.value for v in volumes),
        unit="kelvin",
        kind="temperature",
        formula=f"({weighted}) / ({whole})",
        inputs=tuple(inputs),
        method="mixing by volume",
        source="mass_balance",
        valid="equal heat capacity per volume, no loss; what stands in the tank is not counted",
    )


def _spent(basis: PlanBasis, injections: Sequence[PlannedStep], waste: Estimate) -> dict[str, Estimate]:
    applied = _sum(
        "n_a", "equivalents applied", [(step.name, step.figures["applied_eq"]) for step in injections]
    )
    chemical = injections[-1].chemical
    assert chemical is not None
    excess = neutralization.excess(applied, basis.load, substance(chemical.value).character)
    found = {
        "applied_eq": applied,
        "regenerant_ratio_frac": regenerants.regenerant_ratio(applied, basis.load),
        "excess_eq": excess,
    }
    if waste.value > 0.0 and abs(excess.value / waste.value) <= neutralization.MOST_EXCESS_EQ_PER_M3:
        found["waste_ph"] = neutralization.waste_ph(excess, waste)
    reagent = neutralization.neutralizer(excess, basis.request.limits.neutralizer_first_share_frac)
    found["neutralizer_first_eq"], found["neutralizer_second_eq"] = reagent.first_eq, reagent.second_eq
    found["neutralizer_first_kg_100"], found["neutralizer_second_kg_100"] = (
        reagent.first_kg_100,
        reagent.second_kg_100,
    )
    if waste.value > 0.0:
        found["neutralization_rise_kelvin"] = neutralization.temperature_rise(
            reagent.first_eq.value + reagent.second_eq.value, waste.value * water.density_kg_per_m3(293.15)
        )
    found.update(_neutralizer_stock(basis, reagent))
    found.update(_ion_loads(basis, injections, reagent))
    return found


def _neutralizer_stock(basis: PlanBasis, reagent: neutralization.Neutralizer) -> dict[str, Estimate]:
    stock = basis.stock(Chemical(reagent.chemical))
    if stock is None or not 0.0 < stock.strength_frac < 1.0 or reagent.first_eq.value == 0.0:
        return {}
    density = basis.stock_density(stock)
    if density is None:
        return {}  # no density on record and none known here: the mass as 100 % still stands
    return {
        "neutralizer_first_stock_m3": neutralization.stock_volume(
            reagent.first_kg_100, stock.strength_frac, density
        ),
        "neutralizer_second_stock_m3": neutralization.stock_volume(
            reagent.second_kg_100, stock.strength_frac, density
        ),
    }


def _ion_loads(
    basis: PlanBasis, injections: Sequence[PlannedStep], reagent: neutralization.Neutralizer
) -> dict[str, Estimate]:
    """Chloride and sodium to the sewer, from regenerant and neutralizer; what the resin held is not known by ion."""
    chloride = sodium = 0.0
    for step in injections:
        applied = step.value("applied_eq")
        if step.chemical in (Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_CHLORIDE):
            chloride += applied
        if step.chemical in (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CHLORIDE):
            sodium += applied
    if any(step.chemical is Chemical.SODIUM_CHLORIDE for step in injections):
        sodium = max(sodium - basis.load.value, 0.0)  # the resin keeps what it exchanged
    given = reagent.first_eq.value + reagent.second_eq.value
    if reagent.chemical == "naoh":
        sodium += given
    else:
        chloride += given
    sulfate = sum(step.value("applied_eq") for step in injections if step.chemical is Chemical.SULFURIC_ACID)
    basis_words = "regenerant and neutralizer"
    found: dict[str, Estimate] = {}
    if sulfate > 0.0:
        found["sulfate_kg"] = neutralization.ion_load(
            "sulfate", "SO4", sulfate, ions.SULFATE_KG_PER_EQ, basis_words
        )
    return found | {
        "chloride_kg": neutralization.ion_load(
            "chloride", "Cl", chloride, ions.CHLORIDE_KG_PER_EQ, basis_words
        ),
        "sodium_kg": neutralization.ion_load("sodium", "Na", sodium, ions.SODIUM_KG_PER_EQ, basis_words),
    }
