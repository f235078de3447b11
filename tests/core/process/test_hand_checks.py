"""One sheet of each family worked out by hand, as a person with the sheet, paper and a calculator would.

The numbers below are those of the recipes and of the invented plant, written down again; ``paper`` does the arithmetic
with constants of its own and insists that no figure that can be worked out was left out.
"""

from __future__ import annotations

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.vocabulary import ResinFamily
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
from tests.core.process.plan_requests import ALL_RECIPES, request, request_for

D, V, RATED = 1.07, 0.85, 1.0
WATER = 288.15
BED = {"volume": V, "diameter": D}


def _single(
    sheet: Paper,
    *,
    formula: str,
    dose: float,
    strength: float,
    stock: float,
    flow: float,
    load_eq: float,
    backwash: tuple[float, float],
    displace: tuple[float, float],
    fast: tuple[float, float],
    bead: float,
    heated_to: float | None = None,
) -> None:
    """Load, backwash, settle, injection, displacement, fast rinse, sample: the steps of every single bed."""
    paper.load(sheet, 1, **BED)
    paper.backwash(sheet, 2, **BED, expansion=backwash[0], minutes=backwash[1], bead=bead)
    paper.inject(
        sheet, 4, **BED, formula=formula, dose=dose, strength=strength, stock=stock, flow_bv=flow, load_eq=load_eq,
        heated_to=heated_to,
    )  # fmt: skip
    paper.caustic_solids(sheet, 4)
    paper.rinse(sheet, 5, **BED, flow_bv=displace[0], bed_volumes=displace[1], bead=bead)
    paper.rinse(sheet, 6, **BED, flow_bv=fast[0], bed_volumes=fast[1], bead=bead)
    paper.bed(sheet, **BED, rated=RATED)
    paper.one_chemical(sheet, formula.lower(), 4)
    # load 30 min, backwash, settle 5 min, sample 15 min
    sheet.write(TOTAL, duration_s=sampled(sheet, 30 + backwash[1] + 5 + 15, 4, 5, 6))
    sheet.write(
        TOTAL,
        eluted_eq=load_eq,
        applied_eq=sheet[4, "applied_eq"],
        regenerant_ratio_frac=sheet[4, "applied_eq"] / load_eq,
    )


def _spent(sheet: Paper, *, sign: float, load_eq: float, stock: float, warm: float | None = None) -> float:
    """Injection, displacement and the first three bed volumes of the fast rinse; nine tenths of the neutralizer first."""
    hot = sheet[4, "temperature_kelvin"] if warm is None else warm
    whole = paper.waste(
        sheet,
        (sheet[4, "volume_m3"], hot),
        (sheet[5, "volume_m3"], WATER),
        (3.0 * V, WATER),
    )
    excess = sign * (sheet[4, "applied_eq"] - load_eq)
    paper.neutralizer(sheet, excess=excess, waste_m3=whole, stock=(stock, stock_density(sheet)))
    return abs(excess)


def test_strong_acid_cation_by_hydrochloric_acid() -> None:
    """100 g/L of HCl at 5 % from 32 % on 850 L that hold 1.15 eq/L."""
    sheet = Paper(plan_batch(request(ResinFamily.SAC_HYDROGEN)))
    load_eq = 0.85 * 1150.0
    _single(
        sheet, formula="HCl", dose=100.0, strength=0.05, stock=0.32, flow=3.5, load_eq=load_eq, backwash=(0.50, 12.0),
        displace=(3.5, 2.0), fast=(12.0, 6.0), bead=6.5e-4,
    )  # fmt: skip
    given = _spent(sheet, sign=1.0, load_eq=load_eq, stock=0.50)
    sheet.write(
        TOTAL,
        **{
            "water_m3:raw": sheet[2, "volume_m3"],
            "water_m3:deionized": sheet[4, "dilution_water_m3"] + 0.85 * 2.0 + 0.85 * 6.0,
        },
        chloride_kg=sheet[4, "applied_eq"] * CHLORIDE,
        sodium_kg=given * SODIUM,
    )
    paper.outlook(sheet, dose=100.0, formula="HCl")
    assert sheet.compare() >= 50


def test_softening_resin_by_brine() -> None:
    """160 g/L of salt at 10 % from 26 % brine on 850 L that hold 1.25 eq/L; nothing to neutralize."""
    sheet = Paper(plan_batch(request(ResinFamily.SAC_SODIUM)))
    load_eq = 0.85 * 1250.0
    _single(
        sheet, formula="NaCl", dose=160.0, strength=0.10, stock=0.26, flow=2.8, load_eq=load_eq, backwash=(0.50, 12.0),
        displace=(2.8, 2.0), fast=(13.0, 5.0), bead=6.5e-4,
    )  # fmt: skip
    whole = paper.waste(
        sheet, (sheet[4, "volume_m3"], sheet[4, "temperature_kelvin"]), (1.7, WATER), (3.0 * V, WATER)
    )
    paper.neutralizer(sheet, excess=0.0, waste_m3=whole, stock=(0.5, 1525.0))
    salt = sheet[4, "applied_eq"]
    sheet.write(
        TOTAL,
        **{
            "water_m3:raw": sheet[2, "volume_m3"],
            "water_m3:softened": sheet[4, "dilution_water_m3"] + 1.7 + 4.25,
        },
        chloride_kg=salt * CHLORIDE,
        sodium_kg=(salt - load_eq) * SODIUM,  # the resin keeps the rest
    )
    paper.outlook(sheet, dose=160.0, formula="NaCl")
    assert sheet.compare() >= 45


def test_weak_acid_cation_near_stoichiometric() -> None:
    """78 g/L of HCl on 1.9 eq/L: 2139 eq/m³ brought, a ratio of 1.126; 1.08 times the load would be 74.8 g/L."""
    sheet = Paper(plan_batch(request(ResinFamily.WAC_HYDROGEN)))
    load_eq = 0.85 * 1900.0
    _single(
        sheet, formula="HCl", dose=78.0, strength=0.04, stock=0.32, flow=3.7, load_eq=load_eq, backwash=(0.50, 12.0),
        displace=(3.7, 2.0), fast=(12.0, 6.0), bead=7.0e-4,
    )  # fmt: skip
    enough = 1900.0 * KG_PER_EQ["HCl"]
    sheet.write(4, stoichiometric_dose_kg_per_m3=enough, recommended_dose_kg_per_m3=1.08 * enough)
    given = _spent(sheet, sign=1.0, load_eq=load_eq, stock=0.50)
    sheet.write(
        TOTAL,
        **{
            "water_m3:raw": sheet[2, "volume_m3"],
            "water_m3:deionized": sheet[4, "dilution_water_m3"] + 1.7 + 5.1,
        },
        chloride_kg=sheet[4, "applied_eq"] * CHLORIDE,
        sodium_kg=given * SODIUM,
    )
    applied = 78.0 / KG_PER_EQ["HCl"]
    ratio = sheet.read(TOTAL, "expected_capacity_eq_per_m3", "R")
    sheet.write(TOTAL, expected_capacity_eq_per_m3=applied / ratio, expected_efficiency_frac=1.0 / ratio)
    assert sheet.compare() >= 50
    assert sheet[4, "regenerant_ratio_frac"] == pytest.approx(1.126, abs=0.001)


def test_weak_acid_cation_by_thin_sulfuric_acid() -> None:
    """104 g/L of H2SO4 at 0.7 %, fast: 2120 eq/m³ brought on 1.9 eq/L, so thin that gypsum leaves with it."""
    sheet = Paper(plan_batch(request_for(ALL_RECIPES["WH-H2SO4-104"])))
    load_eq = 0.85 * 1900.0
    _single(
        sheet, formula="H2SO4", dose=104.0, strength=0.007, stock=0.93, flow=12.0, load_eq=load_eq, backwash=(0.50, 12.0),
        displace=(12.0, 2.0), fast=(12.0, 6.0), bead=7.0e-4,
    )  # fmt: skip
    enough = 1900.0 * KG_PER_EQ["H2SO4"]
    exchanged = load_eq / sheet[4, "applied_eq"]
    # no feed is known: all that the resin holds is counted as calcium
    sheet.write(
        4, stoichiometric_dose_kg_per_m3=enough, recommended_dose_kg_per_m3=1.08 * enough,
        exchanged_frac=exchanged, calcium_frac=exchanged,
    )  # fmt: skip
    given = _spent(sheet, sign=1.0, load_eq=load_eq, stock=0.50)
    sheet.write(
        TOTAL,
        **{
            "water_m3:raw": sheet[2, "volume_m3"],
            "water_m3:deionized": sheet[4, "dilution_water_m3"] + 1.7 + 5.1,
        },
        chloride_kg=0.0,
        sulfate_kg=sheet[4, "applied_eq"] * SULFATE,
        sodium_kg=given * SODIUM,
    )
    ratio = sheet.read(TOTAL, "expected_capacity_eq_per_m3", "R")
    applied = 104.0 / KG_PER_EQ["H2SO4"]
    sheet.write(TOTAL, expected_capacity_eq_per_m3=applied / ratio, expected_efficiency_frac=1.0 / ratio)
    assert sheet.compare() >= 50


ANIONS = [
    # family, load, dose, flow, heated to, volume and minutes of fast rinse
    (ResinFamily.SBA_TYPE_1, 550.0, 96.0, 2.0, 318.15),
    (ResinFamily.SBA_TYPE_2, 600.0, 80.0, 80.0 / 48.0, 303.15),
    (ResinFamily.SBA_ACRYLIC, 650.0, 96.0, 2.0, 298.15),
]


@pytest.mark.parametrize(
    ("family", "held", "dose", "flow", "warm"), ANIONS, ids=[row[0].value for row in ANIONS]
)
def test_strong_base_anion_by_warm_caustic(
    family: ResinFamily, held: float, dose: float, flow: float, warm: float
) -> None:
    """Caustic at 4 % from 50 %, the dilution water warmed so far that the blend reaches its temperature."""
    sheet = Paper(plan_batch(request(family)))
    load_eq = 0.85 * held
    _single(
        sheet, formula="NaOH", dose=dose, strength=0.04, stock=0.50, flow=flow, load_eq=load_eq, backwash=(0.60, 15.0),
        displace=(2.0, 2.0), fast=(12.0, 7.0), bead=6.0e-4, heated_to=warm,
    )  # fmt: skip
    given = _spent(sheet, sign=-1.0, load_eq=load_eq, stock=0.32, warm=warm)
    sheet.write(
        TOTAL,
        **{
            "water_m3:softened": sheet[2, "volume_m3"],
            "water_m3:deionized": sheet[4, "dilution_water_m3"] + 1.7 + 5.95,
        },
        chloride_kg=given * CHLORIDE,
        sodium_kg=sheet[4, "applied_eq"] * SODIUM,
    )
    paper.outlook(sheet, dose=dose, formula="NaOH")
    assert sheet.compare() >= 50


def test_weak_base_anion_by_caustic() -> None:
    """50 g/L of caustic at 3 % on 1.0 eq/L, warmed to 22 °C: a ratio of 1.25."""
    sheet = Paper(plan_batch(request(ResinFamily.WBA)))
    load_eq = 0.85 * 1000.0
    _single(
        sheet, formula="NaOH", dose=50.0, strength=0.03, stock=0.50, flow=3.0, load_eq=load_eq, backwash=(0.60, 15.0),
        displace=(3.0, 2.0), fast=(12.0, 6.0), bead=6.0e-4, heated_to=295.15,
    )  # fmt: skip
    enough = 1000.0 * KG_PER_EQ["NaOH"]
    sheet.write(4, stoichiometric_dose_kg_per_m3=enough, recommended_dose_kg_per_m3=1.3 * enough)
    given = _spent(sheet, sign=-1.0, load_eq=load_eq, stock=0.32, warm=295.15)
    sheet.write(
        TOTAL,
        **{
            "water_m3:softened": sheet[2, "volume_m3"],
            "water_m3:deionized": sheet[4, "dilution_water_m3"] + 1.7 + 5.1,
        },
        chloride_kg=given * CHLORIDE,
        sodium_kg=sheet[4, "applied_eq"] * SODIUM,
    )
    applied = 50.0 / KG_PER_EQ["NaOH"]
    ratio = sheet.read(TOTAL, "expected_capacity_eq_per_m3", "R")
    sheet.write(TOTAL, expected_capacity_eq_per_m3=applied / ratio, expected_efficiency_frac=1.0 / ratio)
    assert sheet.compare() >= 50


WEAK_BASES = [
    # recipe, formula, dose, strength, stock, flow, ratio to aim at, the ion it leaves
    ("FB-NA2CO3-85", "Na2CO3", 85.0, 0.05, 0.12, 3.0, 1.6, "sodium_kg", SODIUM),
    ("FB-NH3-27", "NH3", 27.0, 0.02, 0.24, 2.6, 1.6, "ammonium_kg", 0.018039),
]


@pytest.mark.parametrize("case", WEAK_BASES, ids=[row[1] for row in WEAK_BASES])
def test_weak_base_anion_by_soda_ash_and_by_ammonia(
    case: tuple[str, str, float, float, float, float, float, str, float],
) -> None:
    """The same bed; what neutralizes the buffered waste is solved, nine tenths of it go first."""
    code, formula, dose, strength, stock, flow, aim, ion, weight = case
    sheet = Paper(plan_batch(request_for(ALL_RECIPES[code])))
    load_eq = 0.85 * 1000.0
    _single(
        sheet, formula=formula, dose=dose, strength=strength, stock=stock, flow=flow, load_eq=load_eq,
        backwash=(0.60, 15.0), displace=(3.0, 2.0), fast=(12.0, 6.0), bead=6.0e-4,
    )  # fmt: skip
    enough = 1000.0 * KG_PER_EQ[formula]
    sheet.write(4, stoichiometric_dose_kg_per_m3=enough, recommended_dose_kg_per_m3=aim * enough)
    whole = paper.waste(
        sheet, (sheet[4, "volume_m3"], sheet[4, "temperature_kelvin"]), (1.7, WATER), (3.0 * V, WATER)
    )
    solved = sheet.read(TOTAL, "neutralizer_first_eq", "n_r")
    density = stock_density(sheet) if solved else 1.0
    paper.neutralizer(sheet, excess=solved, waste_m3=whole, stock=(0.32, density))
    applied = sheet[4, "applied_eq"]
    loads = {"chloride_kg": -solved * CHLORIDE, "sodium_kg": 0.0, ion: applied * weight}
    sheet.write(
        TOTAL,
        **{
            "excess_eq": load_eq - applied,
            "water_m3:softened": sheet[2, "volume_m3"],
            "water_m3:deionized": sheet[4, "dilution_water_m3"] + 1.7 + 5.1,
            **loads,
        },
    )
    per_bed = dose / KG_PER_EQ[formula]
    ratio = sheet.read(TOTAL, "expected_capacity_eq_per_m3", "R")
    sheet.write(TOTAL, expected_capacity_eq_per_m3=per_bed / ratio, expected_efficiency_frac=1.0 / ratio)
    assert sheet.compare() >= 50
    if formula == "NH3":
        assert 0.0 < -solved < applied - load_eq, "ammonium takes less acid than its equivalents"
    else:
        assert solved == 0.0, "bicarbonate and carbonic acid: inside the permit as it comes"


def test_sulfuric_acid_in_three_steps() -> None:
    """40 g/L each at 1.5, 4 and 6 %: 693 eq a step. The first is wholly exchanged, the others 977.5 of 2080 eq."""
    sheet = Paper(plan_batch(request_for(ALL_RECIPES["H-H2SO4-120"])))
    load_eq = 0.85 * 1150.0
    paper.load(sheet, 1, **BED)
    paper.backwash(sheet, 2, **BED, expansion=0.50, minutes=12.0, bead=6.5e-4)
    for step, strength, flow in ((4, 0.015, 10.0), (5, 0.04, 5.0), (6, 0.06, 3.0)):
        paper.inject(
            sheet, step, **BED, formula="H2SO4", dose=40.0, strength=strength, stock=0.93, flow_bv=flow, load_eq=load_eq
        )  # fmt: skip
    paper.rinse(sheet, 7, **BED, flow_bv=6.0, bed_volumes=2.0, bead=6.5e-4)
    paper.rinse(sheet, 8, **BED, flow_bv=12.0, bed_volumes=6.0, bead=6.5e-4)
    applied = 3.0 * 40.0 * 0.85 / KG_PER_EQ["H2SO4"]
    for step, exchanged in ((4, 1.0), (5, load_eq / applied), (6, load_eq / applied)):
        sheet.write(
            step, exchanged_frac=exchanged, calcium_frac=0.5 * exchanged
        )  # no feed known: half is calcium
    paper.bed(sheet, **BED, rated=RATED)
    paper.one_chemical(sheet, "h2so4", 4, 5, 6)
    sheet.write(
        TOTAL,
        duration_s=sampled(sheet, 30 + 12 + 5 + 15, 4, 5, 6, 7, 8),
        eluted_eq=load_eq,
        applied_eq=applied,
        regenerant_ratio_frac=applied / load_eq,
    )
    whole = paper.waste(
        sheet,
        *((sheet[step, "volume_m3"], sheet[step, "temperature_kelvin"]) for step in (4, 5, 6)),
        (1.7, WATER),
        (3.0 * V, WATER),
    )
    excess = applied - load_eq
    paper.neutralizer(sheet, excess=excess, waste_m3=whole, stock=(0.50, stock_density(sheet)))
    water = sum(sheet[step, "dilution_water_m3"] for step in (4, 5, 6))
    sheet.write(
        TOTAL,
        **{"water_m3:raw": sheet[2, "volume_m3"], "water_m3:deionized": water + 1.7 + 5.1},
        chloride_kg=0.0,
        sulfate_kg=applied * SULFATE,
        sodium_kg=excess * SODIUM,
    )
    paper.outlook(sheet, dose=120.0, formula="H2SO4")
    assert sheet.compare() >= 75


def test_carbon_is_emptied_sanitized_and_filled() -> None:
    """850 L of carbon: one bed volume of 200 mg/L hypochlorite from a 12.5 % lot of 1190 kg/m³, no equivalents at all."""
    sheet = Paper(plan_batch(request(ResinFamily.CARBON)))
    sheet.write(1, emptied_m3=V)
    paper.rinse(sheet, 2, **BED, flow_bv=8.0, bed_volumes=1.0, bead=None)  # emptied
    _sanitizer(sheet)
    paper.rinse(sheet, 4, **BED, flow_bv=8.0, bed_volumes=3.0, bead=None)
    sheet.write(5, filled_m3=V)
    paper.rinse(sheet, 6, **BED, flow_bv=8.0, bed_volumes=8.0, bead=1.0e-3)
    paper.bed(sheet, **BED, rated=RATED)
    paper.one_chemical(sheet, "naocl", 3)
    # empty 60, sanitize 30, fill 45, sample 15 min
    sheet.write(TOTAL, duration_s=sampled(sheet, 60 + 30 + 45 + 15, 2, 4, 6))
    taken = 0.85 + sheet[3, "dilution_water_m3"] + 3.0 * V + 8.0 * V
    sheet.write(TOTAL, **{"water_m3:raw": taken})
    paper.waste(sheet, (V, sheet[3, "temperature_kelvin"]), (3.0 * V, WATER), (3.0 * V, WATER))
    assert sheet.compare() >= 25
    assert not any(key.startswith(("applied_eq", "regenerant_ratio")) for key in sheet.plan.totals)


def _sanitizer(sheet: Paper) -> None:
    strength, stock, density = 0.0002, 0.125, 1190.0
    water = sheet.table(3, "density_kg_per_m3")
    mass = V * strength * water
    stock_kg, water_kg = mass / stock, mass / strength - mass / stock
    share = strength / stock
    sheet.write(
        3,
        volume_m3=V,
        chemical_kg_100=mass,
        dose_kg_per_m3=mass / V,
        temperature_kelvin=share * 291.15 + (1.0 - share) * WATER,
        stock_kg=stock_kg,
        stock_m3=stock_kg / density,
        dilution_water_kg=water_kg,
        dilution_water_m3=water_kg / sheet.read(3, "dilution_water_m3", "ρ_w"),
    )
