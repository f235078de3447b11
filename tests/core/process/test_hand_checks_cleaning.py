"""Sheets of cleaning, sanitizing and conditioning worked out by hand, as those of the families are in ``test_hand_checks``.

The numbers are those of the recipes and of the invented plant, written down again. A cleaning ends with a regeneration, so
each sheet holds two kinds of injection: what only cleans, and what is held against the load of the resin.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from regenplant.core.process.batch_plan import plan_batch
from tests.core.process import paper
from tests.core.process.paper import (
    CHLORIDE,
    KG_PER_EQ,
    SODIUM,
    SULFATE,
    TOTAL,
    Paper,
    sampled,
    stock_density,
)
from tests.core.process.plan_requests import ALL_RECIPES, request_for

D, V, RATED = 1.07, 0.85, 1.0
WATER, STOCK = 288.15, 291.15
BED = {"volume": V, "diameter": D}
STRENGTH = {"HCl": 0.32, "NaOH": 0.50, "NaCl": 0.26}
SULFUR, OXYGEN, CARBON, HYDROGEN = 0.03206, 0.015999, 0.012011, 0.001008
"""IUPAC-type atomic weights [kg/mol]."""
DITHIONITE_KG_PER_MOL = 2 * SODIUM + 2 * SULFUR + 4 * OXYGEN
HYPOCHLORITE_KG_PER_MOL = SODIUM + OXYGEN + CHLORIDE
PERACETIC_KG_PER_MOL = 2 * CARBON + 4 * HYDROGEN + 3 * OXYGEN


@dataclass(frozen=True)
class Resin:
    """What the recipe's family brings: load held [eq/m³], bead [m], expansion and minutes of the backwash, its water."""

    held: float
    bead: float
    backwash: tuple[float, float]
    backwash_water: str


CATION = Resin(1150.0, 6.5e-4, (0.50, 12.0), "raw")
SOFTENER = Resin(1250.0, 6.5e-4, (0.50, 12.0), "raw")
ANION = Resin(550.0, 6.0e-4, (0.60, 15.0), "softened")


def _begun(code: str, resin: Resin) -> Paper:
    """Load, backwash, bed."""
    sheet = Paper(plan_batch(request_for(ALL_RECIPES[code])))
    paper.load(sheet, 1, **BED)
    expansion, minutes = resin.backwash
    paper.backwash(sheet, 2, **BED, expansion=expansion, minutes=minutes, bead=resin.bead)
    paper.bed(sheet, **BED, rated=RATED)
    return sheet


def _inject(
    sheet: Paper, step: int, formula: str, dose: float, strength: float, flow: float, *, load_eq: float | None, heated_to: float | None = None
) -> None:  # fmt: skip
    paper.inject(
        sheet, step, **BED, formula=formula, dose=dose, strength=strength, stock=STRENGTH[formula], flow_bv=flow,
        load_eq=load_eq, heated_to=heated_to,
    )  # fmt: skip
    paper.caustic_solids(sheet, step)


def _rinses(sheet: Paper, resin: Resin, rinses: dict[int, tuple[float, float]]) -> float:
    """Flow [BV/h] and bed volumes by step; returns all water of them."""
    for step, (flow, bed_volumes) in rinses.items():
        paper.rinse(sheet, step, **BED, flow_bv=flow, bed_volumes=bed_volumes, bead=resin.bead)
    return sum(sheet[step, "volume_m3"] for step in rinses)


def _to_waste(sheet: Paper, fed: dict[int, float | None], rinses: tuple[float, ...]) -> float:
    """What was fed, as warm as it was or as set, the rinses before the last, and three bed volumes of the last [BV]."""
    warm = [(sheet[step, "volume_m3"], sheet[step, "temperature_kelvin"] if kelvin is None else kelvin) for step, kelvin in fed.items()]  # fmt: skip
    return paper.waste(sheet, *warm, *((bed_volumes * V, WATER) for bed_volumes in rinses), (3.0 * V, WATER))


def _water(sheet: Paper, resin: Resin, kind: str, amount: float) -> None:
    kinds = {f"water_m3:{kind}": amount}
    key = f"water_m3:{resin.backwash_water}"
    kinds[key] = kinds.get(key, 0.0) + sheet[2, "volume_m3"]
    sheet.write(TOTAL, **kinds)


def _load_and_dose(sheet: Paper, resin: Resin, *steps: int) -> tuple[float, float]:
    load = V * resin.held
    applied = sum(sheet[step, "applied_eq"] for step in steps)
    sheet.write(TOTAL, eluted_eq=load, applied_eq=applied, regenerant_ratio_frac=applied / load)
    return load, applied


def _dilution(sheet: Paper, *steps: int) -> float:
    return sum(sheet[step, "dilution_water_m3"] for step in steps)


def test_iron_by_acid_and_soak() -> None:
    """160 g/L of HCl at 8 % clean, 100 g/L at 5 % regenerate: both are acid on a cation resin, so both meet the load."""
    sheet, load = _begun("CL-FE-H", CATION), V * 1150.0
    _inject(sheet, 4, "HCl", 160.0, 0.08, 3.0, load_eq=load)
    _inject(sheet, 8, "HCl", 100.0, 0.05, 3.5, load_eq=load)
    rinsed = _rinses(sheet, CATION, {6: (2.5, 2.0), 7: (10.0, 4.0), 9: (3.5, 2.0), 10: (12.0, 7.0)})
    paper.one_chemical(sheet, "hcl", 4, 8)
    # load 30, backwash 12, settle 5, soak 60, sample 15 min
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + 12 + 5 + 60 + 15, 4, 6, 7, 8, 9, 10))
    load, applied = _load_and_dose(sheet, CATION, 4, 8)
    waste_m3 = _to_waste(sheet, {4: None, 8: None}, (2.0, 4.0, 2.0))
    excess = applied - load
    paper.neutralizer(sheet, excess=excess, waste_m3=waste_m3, stock=(0.50, stock_density(sheet)))
    _water(sheet, CATION, "deionized", _dilution(sheet, 4, 8) + rinsed)
    sheet.write(TOTAL, chloride_kg=applied * CHLORIDE, sodium_kg=excess * SODIUM)
    assert sheet.compare() >= 85
    assert applied == pytest.approx((136.0 + 85.0) / 0.036461)


def test_iron_by_dithionite_and_soak() -> None:
    """20 g/L of dithionite at 2 % from 15 %: no equivalents; its density is water's, its heat of dilution not known."""
    sheet, load = _begun("CL-FE-NA", SOFTENER), V * 1250.0
    _dithionite(sheet, 4)
    _inject(sheet, 8, "NaCl", 160.0, 0.10, 2.8, load_eq=load)
    rinsed = _rinses(sheet, SOFTENER, {6: (2.5, 2.0), 7: (10.0, 4.0), 9: (2.8, 2.0), 10: (13.0, 6.0)})
    paper.one_chemical(sheet, "nacl", 8)
    paper.one_chemical(sheet, "na2s2o4", 4)
    # load 30, backwash 12, settle 5, soak 45, sample 15 min
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + 12 + 5 + 45 + 15, 4, 6, 7, 8, 9, 10))
    load, applied = _load_and_dose(sheet, SOFTENER, 8)
    waste_m3 = _to_waste(sheet, {4: None, 8: None}, (2.0, 4.0, 2.0))
    paper.neutralizer(sheet, excess=0.0, waste_m3=waste_m3, stock=(1.0, 1.0))
    _water(sheet, SOFTENER, "softened", _dilution(sheet, 4, 8) + rinsed)
    moles = 17.0 / DITHIONITE_KG_PER_MOL
    sheet.write(
        TOTAL,
        chloride_kg=applied * CHLORIDE,
        sodium_kg=(applied + 2.0 * moles - load) * SODIUM,
        sulfate_kg=4.0 * moles * SULFATE,  # two sulfates of two charges, once it is spent
    )
    paper.outlook(sheet, dose=160.0, formula="NaCl")
    assert sheet.compare() >= 70


def _dithionite(sheet: Paper, step: int) -> None:
    mass, strength, stock = 20.0 * V, 0.02, 0.15
    stock_kg, diluted_kg = mass / stock, mass / strength
    water_kg = diluted_kg - stock_kg
    diluted = diluted_kg / sheet.table(step, "density_kg_per_m3")
    flow = V * 2.0 / 3600.0
    time = diluted / flow
    blend = strength / stock * STOCK + (1.0 - strength / stock) * WATER
    stock_m3, water_m3 = stock_kg / 1130.0, water_kg / sheet.read(step, "dilution_water_m3", "ρ_w")
    sheet.write(
        step, chemical_kg_100=mass, stock_kg=stock_kg, stock_m3=stock_m3, dilution_water_kg=water_kg, dilution_water_m3=water_m3,
        volume_m3=diluted, volume_bv=diluted / V, flow_m3_per_s=flow, linear_velocity_m_per_s=flow / paper.area(D),
        contact_time_s=time, duration_s=time, dilution_water_flow_m3_per_s=water_m3 / time, stock_flow_m3_per_s=stock_m3 / time,
        unheated_temperature_kelvin=blend, temperature_kelvin=blend,
    )  # fmt: skip


def test_silica_by_warm_caustic_and_soak() -> None:
    """96 g/L twice at 4 % and 48 °C, two hours of soak between."""
    sheet, load, warm = _begun("CL-SI-OH1", ANION), V * 550.0, 321.15
    for step in (4, 7):
        _inject(sheet, step, "NaOH", 96.0, 0.04, 2.0, load_eq=load, heated_to=warm)
    rinsed = _rinses(sheet, ANION, {6: (2.0, 1.5), 8: (2.0, 2.0), 9: (12.0, 9.0)})
    paper.one_chemical(sheet, "naoh", 4, 7)
    # load 30, backwash 15, settle 5, soak 120, sample 15 min
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + 15 + 5 + 120 + 15, 4, 6, 7, 8, 9))
    load, applied = _load_and_dose(sheet, ANION, 4, 7)
    waste_m3 = _to_waste(sheet, {4: warm, 7: warm}, (1.5, 2.0))
    excess = -(applied - load)
    paper.neutralizer(sheet, excess=excess, waste_m3=waste_m3, stock=(0.32, stock_density(sheet)))
    _water(sheet, ANION, "deionized", _dilution(sheet, 4, 7) + rinsed)
    sheet.write(TOTAL, chloride_kg=-excess * CHLORIDE, sodium_kg=applied * SODIUM)
    paper.outlook(sheet, dose=192.0, formula="NaOH")
    assert sheet.compare() >= 90


def test_organics_by_warm_alkaline_brine_and_a_double_regeneration() -> None:
    """Brine and a little caustic clean and pass through; only the two injections after the rinse meet the load."""
    sheet, load, warm = _begun("CL-ORG-OH1", ANION), V * 550.0, 318.15
    _inject(sheet, 4, "NaCl", 160.0, 0.10, 2.0, load_eq=None)
    _inject(sheet, 5, "NaOH", 16.0, 0.03, 2.0, load_eq=None, heated_to=warm)
    for step in (9, 11):
        _inject(sheet, step, "NaOH", 96.0, 0.04, 2.0, load_eq=load, heated_to=warm)
    rinsed = _rinses(
        sheet, ANION, {7: (2.5, 2.0), 8: (10.0, 4.0), 10: (2.0, 1.5), 12: (2.0, 2.0), 13: (12.0, 9.0)}
    )
    paper.one_chemical(sheet, "nacl", 4)
    paper.one_chemical(sheet, "naoh", 5, 9, 11)
    # load 30, backwash 15, settle 5, soak 240, sample 15 min
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + 15 + 5 + 240 + 15, 4, 5, 7, 8, 9, 10, 11, 12, 13))
    load, applied = _load_and_dose(sheet, ANION, 9, 11)
    waste_m3 = _to_waste(sheet, {4: None, 5: warm, 9: warm, 11: warm}, (2.0, 4.0, 1.5, 2.0))
    passed = sheet[5, "applied_eq"]
    excess = -(applied - load) - passed
    paper.neutralizer(sheet, excess=excess, waste_m3=waste_m3, stock=(0.32, stock_density(sheet)))
    brine = 136.0 / KG_PER_EQ["NaCl"]
    waters = {"softened": sheet[2, "volume_m3"], "deionized": 0.0}
    for step in (4, 5, 9, 11):
        waters[_water_of(sheet, step)] += sheet[step, "dilution_water_m3"]
    for step in (7, 8, 10, 12, 13):
        waters[_water_of(sheet, step)] += sheet[step, "volume_m3"]
    assert sum(waters.values()) == pytest.approx(
        _dilution(sheet, 4, 5, 9, 11) + rinsed + sheet[2, "volume_m3"]
    )
    sheet.write(TOTAL, **{f"water_m3:{kind}": amount for kind, amount in waters.items()})
    sheet.write(
        TOTAL,
        chloride_kg=(-excess + brine) * CHLORIDE,
        sodium_kg=(applied + passed + brine) * SODIUM,
    )
    paper.outlook(sheet, dose=192.0, formula="NaOH")
    assert sheet.compare() >= 130


def _water_of(sheet: Paper, step: int) -> str:
    water = sheet.plan.step(step).water
    assert water is not None
    return water.value


SANITIZERS = [
    # recipe, key, strength, stock, density, minutes, sodium and chloride of a mole
    ("SAN-NA-NAOCL", "naocl", 0.0003, 0.125, 1190.0, 20, HYPOCHLORITE_KG_PER_MOL, 1.0, 1.0),
    ("SAN-NA-PAA", "paa", 0.001, 0.15, 1120.0, 30, PERACETIC_KG_PER_MOL, 0.0, 0.0),
]


@pytest.mark.parametrize("case", SANITIZERS, ids=[row[1] for row in SANITIZERS])
def test_softening_resin_is_sanitized_between_two_brines(
    case: tuple[str, str, float, float, float, int, float, float, float],
) -> None:
    """80 g/L of brine to the salt form, one bed volume of sanitizer, 160 g/L of brine; no equivalents of the sanitizer."""
    code, key, strength, stock, density, minutes, weight, sodium, chloride = case
    sheet, load = _begun(code, SOFTENER), V * 1250.0
    _inject(sheet, 4, "NaCl", 80.0, 0.10, 2.5, load_eq=load)
    _sanitizer(sheet, 6, strength, stock, density)
    _inject(sheet, 9, "NaCl", 160.0, 0.10, 2.8, load_eq=load)
    rinsed = _rinses(
        sheet, SOFTENER, {5: (2.5, 2.0), 7: (2.5, 2.0), 8: (10.0, 4.0), 10: (2.8, 2.0), 11: (13.0, 6.0)}
    )
    paper.one_chemical(sheet, "nacl", 4, 9)
    paper.one_chemical(sheet, key, 6)
    # load 30, backwash 12, settle 5, sample 15 min, and the time the sanitizer stands
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + 12 + 5 + minutes + 15, 4, 5, 7, 8, 9, 10, 11))
    load, applied = _load_and_dose(sheet, SOFTENER, 4, 9)
    waste_m3 = _to_waste(sheet, {4: None, 6: None, 9: None}, (2.0, 2.0, 4.0, 2.0))
    paper.neutralizer(sheet, excess=0.0, waste_m3=waste_m3, stock=(1.0, 1.0))
    _water(sheet, SOFTENER, "softened", _dilution(sheet, 4, 6, 9) + rinsed)
    moles = sheet[6, "chemical_kg_100"] / weight
    sheet.write(
        TOTAL,
        chloride_kg=(applied + chloride * moles) * CHLORIDE,
        sodium_kg=(applied - load + sodium * moles) * SODIUM,
    )
    paper.outlook(sheet, dose=240.0, formula="NaCl")
    assert sheet.compare() >= 85


def _sanitizer(sheet: Paper, step: int, strength: float, stock: float, density: float) -> None:
    """One bed volume, thin as water."""
    mass = V * strength * sheet.table(step, "density_kg_per_m3")
    stock_kg, water_kg = mass / stock, mass / strength - mass / stock
    sheet.write(
        step, volume_m3=V, chemical_kg_100=mass, dose_kg_per_m3=mass / V, stock_kg=stock_kg, stock_m3=stock_kg / density,
        temperature_kelvin=strength / stock * STOCK + (1.0 - strength / stock) * WATER,
        dilution_water_kg=water_kg, dilution_water_m3=water_kg / sheet.read(step, "dilution_water_m3", "ρ_w"),
    )  # fmt: skip


CONDITIONED = [
    # recipe, resin, formula, dose, strength, flow, heated to, bed volumes of the last rinse, neutralizer
    ("CO-H", Resin(1150.0, 6.5e-4, (0.50, 12.0), "softened"), "HCl", 200.0, 0.05, 3.5, None, 12.0, 0.50),
    ("CO-OH1", ANION, "NaOH", 192.0, 0.04, 2.0, 313.15, 14.0, 0.32),
]


@pytest.mark.parametrize("case", CONDITIONED, ids=[row[0] for row in CONDITIONED])
def test_new_resin_is_conditioned_by_a_double_dose(
    case: tuple[str, Resin, str, float, float, float, float | None, float, float],
) -> None:
    code, resin, formula, dose, strength, flow, warm, last, neutralizer = case
    sheet = _begun(code, resin)
    _inject(sheet, 4, formula, dose, strength, flow, load_eq=V * resin.held, heated_to=warm)
    rinsed = _rinses(sheet, resin, {5: (flow, 2.0), 6: (12.0, last)})
    paper.one_chemical(sheet, formula.lower(), 4)
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + resin.backwash[1] + 5 + 15, 4, 5, 6))
    load, applied = _load_and_dose(sheet, resin, 4)
    waste_m3 = _to_waste(sheet, {4: warm}, (2.0,))
    left = applied - load
    excess = left if formula == "HCl" else -left
    paper.neutralizer(sheet, excess=excess, waste_m3=waste_m3, stock=(neutralizer, stock_density(sheet)))
    _water(sheet, resin, "deionized", _dilution(sheet, 4) + rinsed)
    is_acid = formula == "HCl"
    sheet.write(
        TOTAL,
        chloride_kg=(applied if is_acid else left) * CHLORIDE,
        sodium_kg=(left if is_acid else applied) * SODIUM,
    )
    paper.outlook(sheet, dose=dose, formula=formula)
    assert sheet.compare() >= 50


def test_every_recipe_to_begin_with_that_cleans_or_conditions_has_its_hand_check() -> None:
    checked = {
        "CL-FE-H",
        "CL-FE-NA",
        "CL-SI-OH1",
        "CL-ORG-OH1",
        "SAN-NA-NAOCL",
        "SAN-NA-PAA",
        "CO-H",
        "CO-OH1",
    }
    assert {code for code in ALL_RECIPES if code.startswith(("CL-", "SAN-", "CO-"))} == checked
