"""The sheet of each kind of mixed bed worked out by hand: two resins, two legs at once, one bed again.

As ``test_hand_checks``: numbers of the recipes written down again, arithmetic of ``paper``, nothing left out.
"""

from __future__ import annotations

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.vocabulary import ResinFamily
from tests.core.process import paper
from tests.core.process.paper import CHLORIDE, MINUTE, SODIUM, TOTAL, Paper, area, sampled, stock_density
from tests.core.process.plan_requests import request

WATER = 288.15

MIXED = [
    # family, dose of both legs, flows and rinses in bed volumes, brine, expansion, cut, whole-bed rinses
    (ResinFamily.MIXED_BED, 110.0, 100.0, 0.75, 0.03, 2.0, 5.0, 10.0, 6.0, 4.0, 12.0),
    (ResinFamily.MIXED_BED_POLISHING, 160.0, 120.0, 0.80, 0.05, 2.5, 8.0, 12.0, 8.0, 6.0, 25.0),
]


@pytest.mark.parametrize("case", MIXED, ids=[row[0].value for row in MIXED])
def test_mixed_bed_in_two_legs(case: tuple[ResinFamily, float, float, float, float, float, float, float, float, float, float]) -> None:  # fmt: skip
    """2000 L, 40 % cation: 800 L get acid in one vessel while 1200 L get warm caustic in the other."""
    family, dose, brine, expansion, cut, displaced, rinsed_c, rinse_flow, rinsed_a, drained, circulated = case
    sheet = Paper(plan_batch(request(family)))
    d, height, whole, cation, anion = 1.30, 3.60, 2.0, 0.8, 1.2
    beads = {"cation": 6.5e-4, "anion": 6.0e-4, "both": 1.0 / (0.4 / 6.5e-4 + 0.6 / 6.0e-4)}
    bed = {"volume": whole, "diameter": d}
    cation_bed, anion_bed = {"volume": cation, "diameter": d}, {"volume": anion, "diameter": d}
    load_c, load_a = 0.8 * 1150.0, 1.2 * 550.0

    paper.load(sheet, 1, **bed)
    paper.inject(sheet, 2, **bed, formula="NaCl", dose=brine, strength=0.10, stock=0.26, flow_bv=2.5)
    paper.rinse(sheet, 3, **bed, flow_bv=2.5, bed_volumes=1.5, bead=beads["both"])
    paper.rinse(sheet, 4, **bed, flow_bv=8.0, bed_volumes=2.0, bead=beads["both"])
    _parted(sheet, expansion, cut)
    paper.inject(
        sheet, 8, **cation_bed, formula="HCl", dose=dose, strength=0.05, stock=0.32, flow_bv=3.5, load_eq=load_c
    )  # fmt: skip
    paper.rinse(sheet, 9, **cation_bed, flow_bv=3.5, bed_volumes=displaced, bead=beads["cation"])
    paper.rinse(sheet, 10, **cation_bed, flow_bv=rinse_flow, bed_volumes=rinsed_c, bead=beads["cation"])
    paper.inject(
        sheet, 11, **anion_bed, formula="NaOH", dose=dose, strength=0.04, stock=0.50, flow_bv=2.3, load_eq=load_a,
        heated_to=315.15,
    )  # fmt: skip
    paper.caustic_solids(sheet, 11)
    paper.rinse(sheet, 12, **anion_bed, flow_bv=2.3, bed_volumes=displaced, bead=beads["anion"])
    paper.rinse(sheet, 13, **anion_bed, flow_bv=rinse_flow, bed_volumes=rinsed_a, bead=beads["anion"])
    joined = _joined_and_mixed(sheet, cut, d, height)
    paper.rinse(sheet, 16, **bed, flow_bv=12.0, bed_volumes=drained, bead=beads["both"])
    paper.rinse(sheet, 17, **bed, flow_bv=16.0, bed_volumes=circulated, bead=beads["both"])
    sheet.write(17, loop_fill_m3=area(d) * height - 0.62 * joined)

    _mixed_totals(sheet, dose, load_c, load_a, drained)
    assert sheet.compare() >= 130


def _parted(sheet: Paper, expansion: float, cut: float) -> None:
    """Step 5 lifts the anion resin, step 7 cuts; what overlaps is read off and divided as printed."""
    d, whole, cation, anion = 1.30, 2.0, 0.8, 1.2
    u_t, n = (sheet.read(5, "linear_velocity_m_per_s", symbol) for symbol in ("u_t", "n"))
    velocity = u_t * (1.0 - 0.62 / (1.0 + expansion)) ** n
    flow, h_c, h_a = velocity * area(d), cation / area(d), anion / area(d)
    e_c, e_a = (sheet.read(5, "expanded_height_m", symbol) for symbol in ("E_c", "E_a"))
    sheet.write(
        5,
        linear_velocity_m_per_s=velocity,
        flow_m3_per_s=flow,
        flow_bv_per_h=flow * 3600.0 / whole,
        volume_m3=flow * 20.0 * MINUTE,
        volume_bv=flow * 20.0 * MINUTE / whole,
        expanded_height_m=h_c * (1.0 + e_c) + h_a * (1.0 + e_a),
        settling_time_s=(h_c * e_c + h_a * e_a) / velocity,
    )
    for step in (5, 7):
        u_c, u_a = (sheet.read(step, "separation_velocity_ratio", symbol) for symbol in ("u_c", "u_a"))
        z, mixing = (sheet.read(step, "overlap_frac", symbol) for symbol in ("z", "ℓ"))
        sheet.write(
            step,
            separation_velocity_ratio=u_c / u_a,
            interface_height_m=h_c,
            overlap_frac=(z + 2.0 * mixing * 2.302585092994046) / (h_c + h_a),
        )
        half = cut / 2.0 * whole / area(d)
        for key, depth in (("cation_in_anion_frac", h_a), ("anion_in_cation_frac", h_c)):
            a, length, reach = (sheet.read(step, key, symbol) for symbol in ("a", "ℓ", "r"))
            tail = 2.718281828459045 ** (-half / length) - 2.718281828459045 ** (-reach / length)
            sheet.write(step, **{key: (a + length / 2.0 * tail) / (depth - half)})
    sheet.write(
        7,
        cut_m3=cut * whole,
        lower_layer_m3=cation - cut * whole / 2.0,
        upper_layer_m3=anion - cut * whole / 2.0,
        interface_offset_m=0.0,
    )


def _joined_and_mixed(sheet: Paper, cut: float, d: float, height: float) -> float:
    """Cation grows by 7 %, anion by 20 %, half of the cut is missing from each; air at 144 m/h, water 15 cm above."""
    half = cut * 2.0 / 2.0
    joined = (0.8 - half) * 1.07 + (1.2 - half) * 1.20
    depth = joined / area(d)
    level = depth + 0.15
    rho = sheet.read(15, "air_pressure_pascal", "ρ_w")
    pressure = rho * paper.GRAVITY * level
    standard = 0.040 * area(d)
    sheet.write(14, joined_m3=joined, bed_depth_m=depth)
    sheet.write(
        15,
        air_standard_flow_m3_per_s=standard,
        air_pressure_pascal=pressure,
        air_flow_m3_per_s=standard * WATER / 288.7055555555556 * 101325.0 / (101325.0 + pressure),
        air_m3=standard * 12.0 * MINUTE,
        water_level_m=level,
        water_drained_m3=(height - level) * area(d),
    )
    return joined


def _mixed_totals(sheet: Paper, dose: float, load_c: float, load_a: float, drained: float) -> None:
    paper.bed(sheet, volume=2.0, diameter=1.30, rated=2.5)
    for key, step in (("nacl", 2), ("hcl", 8), ("naoh", 11)):
        paper.one_chemical(sheet, key, step)
    acid, caustic = sheet[8, "applied_eq"], sheet[11, "applied_eq"]
    cation_leg = sum(sheet[step, "duration_s"] for step in (8, 9, 10))
    anion_leg = sum(sheet[step, "duration_s"] for step in (11, 12, 13))
    # load 30, separate 20, settle 8, cut 20, join 30, air 12, sample 15 min; the longer leg counts
    whole_bed = sampled(sheet, 30 + 20 + 8 + 20 + 30 + 12 + 15, 2, 3, 4, 16, 17)
    rate_c, rate_a = acid / sheet[8, "duration_s"], caustic / sheet[11, "duration_s"]
    sheet.write(
        TOTAL,
        **{
            "duration_s:cation": cation_leg,
            "duration_s:anion": anion_leg,
            "duration_s": whole_bed + max(cation_leg, anion_leg),
            "eluted_eq:cation": load_c,
            "eluted_eq:anion": load_a,
            "eluted_eq": load_c + load_a,
            "applied_eq:cation": acid,
            "applied_eq:anion": caustic,
            "regenerant_ratio_frac:cation": acid / load_c,
            "regenerant_ratio_frac:anion": caustic / load_a,
            "excess_eq:cation": acid - load_c,
            "excess_eq:anion": load_a - caustic,
            "regenerant_rate_eq_per_s:cation": rate_c,
            "regenerant_rate_eq_per_s:anion": rate_a,
            "leg_balance_frac": abs(rate_c - rate_a) / max(rate_c, rate_a),
        },
    )
    _meeting(sheet, acid, caustic)
    _mixed_waste(sheet, acid - load_c + load_a - caustic, drained)
    for end, chemical in ((":cation", "HCl"), (":anion", "NaOH")):
        paper.outlook(sheet, dose=dose, formula=chemical, end=end)
    _mixed_outlook(sheet)


def _meeting(sheet: Paper, acid: float, caustic: float) -> None:
    """Both regenerants in one pot, unspent."""
    v_acid, v_caustic = sheet[8, "volume_m3"], sheet[11, "volume_m3"]
    mass = v_acid * sheet.table(8, "density_kg_per_m3") + v_caustic * sheet.table(11, "density_kg_per_m3")
    rise = min(acid, caustic) * paper.HEAT_OF_NEUTRALIZATION_J_PER_EQ / (mass * 4050.0)
    mean = (v_acid * sheet[8, "temperature_kelvin"] + v_caustic * 315.15) / (v_acid + v_caustic)
    sheet.write(TOTAL, legs_meet_rise_kelvin=rise, legs_meet_temperature_kelvin=mean + rise)


def _mixed_waste(sheet: Paper, excess: float, drained: float) -> None:
    """Brine with its rinse, both legs with theirs, three bed volumes of the last fast rinse."""
    last = min(3.0, drained) * 2.0
    warm = {2: sheet[2, "temperature_kelvin"], 8: sheet[8, "temperature_kelvin"], 11: 315.15}
    parts = [(sheet[step, "volume_m3"], warm.get(step, WATER)) for step in (2, 3, 4, 8, 9, 10, 11, 12, 13)]
    whole = paper.waste(sheet, *parts, (last, WATER))
    met = sheet.read(TOTAL, "waste_rise_kelvin", "n")
    rise = met * paper.HEAT_OF_NEUTRALIZATION_J_PER_EQ / (whole * 1000.0 * 4050.0)
    mean = sum(volume * kelvin for volume, kelvin in (*parts, (last, WATER))) / whole
    sheet.write(TOTAL, waste_rise_kelvin=rise, waste_temperature_kelvin=mean + rise)
    paper.neutralizer(sheet, excess=excess, waste_m3=whole, stock=(0.32, stock_density(sheet)))
    acid, caustic, salt = (sheet[step, "applied_eq"] for step in (8, 11, 2))
    water = sum(sheet[step, "dilution_water_m3"] for step in (2, 8, 11))
    passed = sum(sheet[step, "volume_m3"] for step in (3, 4, 5, 9, 10, 12, 13, 16))
    sheet.write(
        TOTAL,
        **{"water_m3:deionized": water + passed + sheet[17, "loop_fill_m3"]},
        chloride_kg=(salt + acid - excess) * CHLORIDE,  # the excess is caustic: acid is given
        sodium_kg=(salt + caustic) * SODIUM,
    )


def _mixed_outlook(sheet: Paper) -> None:
    """Beads that met the wrong regenerant, then the two exchanges with the charge balance of water."""
    wrong_c = sheet[7, "cation_in_anion_frac"] * 1.2 / 0.8
    wrong_a = sheet[7, "anion_in_cation_frac"] * 0.8 / 1.2
    sheet.write(
        TOTAL,
        sodium_form_frac=wrong_c + 0.02 * (1.0 - wrong_c),
        chloride_form_frac=wrong_a + 0.05 * (1.0 - wrong_a),
    )
    a, b, root = (
        sheet.read(TOTAL, "expected_sodium_leakage_kg_per_m3", symbol) for symbol in ("a", "b", "N")
    )
    forms = wrong_c + 0.02 * (1.0 - wrong_c), wrong_a + 0.05 * (1.0 - wrong_a)
    clean_a = a * (0.02 / 0.98) / (forms[0] / (1.0 - forms[0]))
    clean_b = b * (0.05 / 0.95) / (forms[1] / (1.0 - forms[1]))
    sheet.write(
        TOTAL,
        expected_sodium_leakage_kg_per_m3=SODIUM * a * root * ((1.0 + b) / (1.0 + a)) ** 0.5,
        expected_chloride_leakage_kg_per_m3=CHLORIDE * b * root * ((1.0 + a) / (1.0 + b)) ** 0.5,
        # against beads that all met the right regenerant: 2 % sodium, 5 % chloride left by the regeneration
        expected_sodium_rise=a
        / clean_a
        * ((1.0 + b) * (1.0 + clean_a) / ((1.0 + a) * (1.0 + clean_b))) ** 0.5,
        expected_chloride_rise=b
        / clean_b
        * ((1.0 + a) * (1.0 + clean_b) / ((1.0 + b) * (1.0 + clean_a))) ** 0.5,
        expected_resistivity_ohm_m=1.0 / sheet.table(TOTAL, "expected_conductivity_siemens_per_m"),
    )
