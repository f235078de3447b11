"""The float separation of a mixed bed worked out by hand: what the sheet adds to that of the same bed without it.

As ``test_hand_checks``: numbers of the recipe written down again, arithmetic of ``paper``; densities, the strength of the
standing solution and settling velocities are read off the sheet.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, PlannedStep, PlanRequest
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind
from tests.core.formula import is_closed
from tests.core.process import paper
from tests.core.process.paper import CHLORIDE, KG_PER_EQ, MINUTE, SODIUM, TOTAL, Paper, area
from tests.core.process.plan_requests import with_setting
from tests.core.process.recipe_plants import FITTING

FLOATED, PLAIN = FITTING["MB-FLOAT-110"], FITTING["MB-APART-110"]
FLOAT, DOWN, FLUSH, CUT = 7, 8, 9, 10
D, WHOLE, CATION, ANION, VOID = 1.30, 2.0, 0.8, 1.2, 0.38
BEAD = 1.0 / (0.4 / 6.5e-4 + 0.6 / 6.0e-4)


def _float(plan: BatchPlan) -> PlannedStep:
    return next(step for step in plan.steps if step.kind is StepKind.FLOAT)


def _by_hand(sheet: Paper) -> None:
    """1.2 BV of 24 % brine from 26 %: 2400 L at 2 BV/h, then an hour of standing."""
    density = sheet.table(FLOAT, "density_kg_per_m3")
    volume = 1.2 * WHOLE
    mass = volume * density * 0.24
    stock_kg, water_kg = mass / 0.26, mass / 0.24 - mass / 0.26
    feed = volume / (2.0 * WHOLE / 3600.0)
    stock_m3 = stock_kg / sheet.read(FLOAT, "stock_m3", "ρ_s")
    water_m3 = water_kg / sheet.read(FLOAT, "dilution_water_m3", "ρ_w")
    blend = paper.blended(sheet, FLOAT, 0.24 / 0.26, 288.15)
    h_s = (volume + (1.0 - VOID) * WHOLE) / area(D)
    lift = sheet.read(FLOAT, "lifted_cation_height_m", "E_c")
    u_s, n = (sheet.read(FLOAT, "parting_time_s", symbol) for symbol in ("u_s", "n"))
    sheet.write(
        FLOAT,
        dose_kg_per_m3=mass / WHOLE,
        chemical_kg_100=mass,
        unheated_temperature_kelvin=blend,
        temperature_kelvin=blend,
        applied_eq=mass / KG_PER_EQ["NaCl"],
        stock_kg=stock_kg,
        stock_m3=stock_m3,
        dilution_water_kg=water_kg,
        dilution_water_m3=water_m3,
        volume_m3=volume,
        flow_m3_per_s=2.0 * WHOLE / 3600.0,
        linear_velocity_m_per_s=2.0 * WHOLE / 3600.0 / area(D),
        feed_time_s=feed,
        duration_s=feed + 60.0 * MINUTE,
        dilution_water_flow_m3_per_s=water_m3 / feed,
        stock_flow_m3_per_s=stock_m3 / feed,
        solution_height_m=h_s,
        clear_height_m=h_s - WHOLE / area(D),
        lifted_cation_height_m=CATION / area(D) * (1.0 + lift),
        # the slower beads cross the bed through a cloud of 70 % void
        parting_time_s=WHOLE / area(D) / (u_s * 0.70**n),
    )
    for which, rho_b, moisture in (("anion", 1080.0, 0.50), ("cation", 1280.0, 0.45)):
        key = f"soaked_{which}_density_kg_per_m3"
        rho_w, rho_i = (sheet.read(FLOAT, key, symbol) for symbol in ("ρ_w", "ρ_i"))
        sheet.write(FLOAT, **{key: rho_b + moisture * rho_b / rho_w * (rho_i - rho_w)})


def _layers(sheet: Paper) -> None:
    """What both resins look like at the float and at the cut behind it: 3 % cut, half from each side."""
    h_c, h_a, half = CATION / area(D), ANION / area(D), 0.03 * WHOLE / area(D) / 2.0
    for step in (FLOAT, CUT):
        z, mixing = (sheet.read(step, "overlap_frac", symbol) for symbol in ("z", "ℓ"))
        sheet.write(
            step,
            interface_height_m=h_c,
            overlap_frac=(z + 2.0 * mixing * 2.302585092994046) / (h_c + h_a),
        )
        for key, depth in (("cation_in_anion_frac", h_a), ("anion_in_cation_frac", h_c)):
            a, length, reach = (sheet.read(step, key, symbol) for symbol in ("a", "ℓ", "r"))
            tail = 2.718281828459045 ** (-half / length) - 2.718281828459045 ** (-reach / length)
            sheet.write(step, **{key: (a + length / 2.0 * tail) / (depth - half)})


def test_the_float_and_its_rinses_by_hand() -> None:
    sheet = Paper(plan_batch(FLOATED))
    bed = {"volume": WHOLE, "diameter": D}
    _by_hand(sheet)
    _layers(sheet)
    paper.rinse(sheet, DOWN, **bed, flow_bv=2.0, bed_volumes=2.0, bead=BEAD)
    paper.rinse(sheet, FLUSH, **bed, flow_bv=6.0, bed_volumes=3.0, bead=BEAD)
    figures = {(step, key) for step in (FLOAT, DOWN, FLUSH) for key, f in sheet.plan.step(step).figures.items() if is_closed(f)}  # fmt: skip
    assert figures <= sheet.found.keys(), figures - sheet.found.keys()
    for (step, key), value in sheet.found.items():
        assert sheet.plan.step(step).value(key) == pytest.approx(value, rel=1e-6, abs=1e-9), (step, key)
    # the two shares by a table of the normal distribution, and the balance of salt that was solved
    assert sheet.plan.step(FLOAT).value("anion_floats_frac") == pytest.approx(
        1.0, abs=1e-12
    )  # (1182 - 1080) / 3
    lift = (
        sheet.plan.step(FLOAT).value("standing_density_kg_per_m3")
        - sheet[FLOAT, "soaked_anion_density_kg_per_m3"]
    )
    assert 4.0 < lift / 3.0 < 4.6  # more than four spreads: 0.001 % sink
    assert sheet.plan.step(FLOAT).value("soaked_anion_floats_frac") == pytest.approx(1.0, abs=5e-5)


def test_the_totals_grow_by_the_float_and_by_nothing_else() -> None:
    """Salt, stock, water, waste and time of the whole batch beside those of the same bed without the float."""
    plain, floated = plan_batch(PLAIN).totals, plan_batch(FLOATED).totals
    step = _float(plan_batch(FLOATED))
    salt = step.value("chemical_kg_100")
    more = {
        "chemical_kg_100:nacl": salt,
        "stock_kg:nacl": step.value("stock_kg"),
        "stock_m3:nacl": step.value("stock_m3"),
        "water_m3:deionized": step.value("dilution_water_m3") + 4.0 + 6.0,
        "waste_m3": 2.4 + 4.0 + 6.0,
        "chloride_kg": salt / KG_PER_EQ["NaCl"] * CHLORIDE,
        "sodium_kg": salt / KG_PER_EQ["NaCl"] * SODIUM,
        "duration_s": step.value("duration_s") + 3600.0 + 1800.0,
        "excess_eq": 0.0,
        "applied_eq:cation": 0.0,
        "eluted_eq:anion": 0.0,
    }
    for key, value in more.items():
        assert floated[key].value - plain[key].value == pytest.approx(value, rel=1e-9, abs=1e-9), key
    assert TOTAL == 0


def test_the_float_parts_better_than_water_and_the_finished_bed_gains() -> None:
    coarse = {"bead_diameter_spread_frac": 0.18}
    plans = []
    for case in (PLAIN, FLOATED):
        both = case.mixed
        assert both is not None
        spread = replace(both, cation=replace(both.cation, **coarse), anion=replace(both.anion, **coarse))
        plans.append(plan_batch(replace(case, mixed=spread)))
    water, brine = (next(step for step in plan.steps if step.kind is StepKind.CUT) for plan in plans)
    for key in ("cation_in_anion_frac", "anion_in_cation_frac"):
        assert brine.value(key) < 0.5 * water.value(key)
    key = "expected_sodium_leakage_kg_per_m3"
    assert plans[1].totals[key].value < plans[0].totals[key].value


# --- caustic ----------------------------------------------------------------------------------------------------------
def _in_caustic() -> PlanRequest:
    recipe = with_setting(
        FLOATED.recipe,
        StepKind.FLOAT,
        strength_frac=SetPoint(0.15, 0.14, 0.16),
        temperature_kelvin=SetPoint(308.15, 283.15, 322.15),
    )
    steps = tuple(
        replace(step, chemical=Chemical.SODIUM_HYDROXIDE) if step.kind is StepKind.FLOAT else step
        for step in recipe.steps
    )
    return replace(FLOATED, recipe=replace(recipe, steps=steps))


def test_a_float_in_caustic_swells_the_anion_resin_and_counts_as_alkali() -> None:
    plan = plan_batch(_in_caustic())
    cut = next(step for step in plan.steps if step.kind is StepKind.CUT)
    assert cut.value("upper_layer_m3") == pytest.approx((1.2 - 0.03) * 1.2)  # grows by 20 % to hydroxide form
    assert cut.value("lower_layer_m3") == pytest.approx(0.8 - 0.03)
    entry = next(entry for entry in cut.entries if entry.key == "anion_volume")
    assert entry.help == "Settled, hydroxide form." and entry.target == pytest.approx(1.17 * 1.2)
    step = _float(plan)
    caustic = step.value("chemical_kg_100") / KG_PER_EQ["NaOH"]
    plain = plan_batch(PLAIN).totals["excess_eq"].value
    assert plan.totals["excess_eq"].value == pytest.approx(plain - caustic)
    assert plan.totals["chemical_kg_100:naoh"].value == pytest.approx(132.0 + step.value("chemical_kg_100"))
    assert {"ph_before", "soft_water"} <= {entry.key for entry in step.entries if entry.is_before}
    assert step.cautions[0].signal.value == "danger"
    assert {"caustic_concentrate", "caustic_in_line"} <= {caution.code for caution in step.cautions}


def test_a_float_in_caustic_says_that_the_dose_of_a_leg_is_unchanged() -> None:
    plan = plan_batch(_in_caustic())
    for leg in (Leg.CATION, Leg.ANION):
        own = next(step for step in plan.steps if step.kind is StepKind.INJECT and step.leg is leg)
        assert own.value("dose_kg_per_m3") == 110.0
        assert plan.totals[f"applied_eq:{leg.value}"].value == pytest.approx(own.value("applied_eq"))


# --- properties -------------------------------------------------------------------------------------------------------
def _at(strength: float, volume: float = 1.2) -> BatchPlan:
    settings_ = {"strength_frac": SetPoint(strength, 0.01, 0.26), "volume_bv": SetPoint(volume, 0.1, 5.0)}
    return plan_batch(replace(FLOATED, recipe=with_setting(FLOATED.recipe, StepKind.FLOAT, **settings_)))


@given(st.floats(0.08, 0.245), st.floats(0.08, 0.245))
@settings(max_examples=20, deadline=None)
def test_a_denser_solution_floats_more_anion_and_sinks_no_more_cation(first: float, second: float) -> None:
    thin, dense = (_float(_at(strength)) for strength in sorted((first, second)))
    assert dense.value("density_kg_per_m3") >= thin.value("density_kg_per_m3")
    assert dense.value("anion_floats_frac") >= thin.value("anion_floats_frac")
    assert dense.value("cation_sinks_frac") <= thin.value("cation_sinks_frac")
    assert dense.value("standing_density_kg_per_m3") >= thin.value("standing_density_kg_per_m3") - 1e-9
    assert dense.value("chemical_kg_100") >= thin.value("chemical_kg_100")


@given(st.floats(0.05, 0.25), st.floats(0.3, 3.0), st.floats(278.15, 303.15))
@settings(max_examples=20, deadline=None)
def test_any_float_can_be_planned_and_salt_is_neither_made_nor_lost(
    strength: float, volume: float, kelvin: float
) -> None:
    waters = {key: replace(water, temperature_kelvin=kelvin) for key, water in FLOATED.waters.items()}
    recipe = with_setting(
        FLOATED.recipe, StepKind.FLOAT, strength_frac=SetPoint(strength, 0.01, 0.26), volume_bv=SetPoint(volume, 0.1, 5.0)
    )  # fmt: skip
    step = _float(plan_batch(replace(FLOATED, recipe=recipe, waters=waters)))
    fed = step.value("volume_m3") * step.value("density_kg_per_m3") * strength
    assert step.value("chemical_kg_100") == pytest.approx(fed)
    assert step.value("stock_kg") * 0.26 == pytest.approx(fed)
    assert step.value("standing_strength_frac") < strength
    assert ("parting_time_s" in step.figures) == (
        step.value("soaked_anion_density_kg_per_m3") < step.value("standing_density_kg_per_m3")
    )
