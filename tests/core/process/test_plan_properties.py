"""Properties of plans over random requests: balances close, plans scale, colder water lifts, nothing is NaN."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.canonical import canonical_text, from_plain
from regenplant.core.process.plan import BatchPlan, PlannedStep, PlanRequest
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind, WaterKind
from tests.core.process.plan_requests import (
    ALL_RECIPES,
    FEED,
    MIXED,
    SINGLE,
    request,
    request_for,
    with_setting,
)

_STOCK = {"hcl": (0.20, 0.37), "naoh": (0.25, 0.50), "nacl": (0.20, 0.26)}
_KEY = {
    ResinFamily.SAC_HYDROGEN: "hcl",
    ResinFamily.SAC_SODIUM: "nacl",
    ResinFamily.WAC_HYDROGEN: "hcl",
    ResinFamily.SBA_TYPE_1: "naoh",
    ResinFamily.SBA_TYPE_2: "naoh",
    ResinFamily.SBA_ACRYLIC: "naoh",
    ResinFamily.WBA: "naoh",
}
_GROWS = ("mass", "liquid_volume", "resin_volume", "flow", "equivalents", "power", "energy")
"""Kinds of figures that grow with the resin volume."""


@st.composite
def requests(draw: st.DrawFn) -> PlanRequest:
    """Any request a plant might make, sound or not: volumes, vessels, strengths, temperatures, doses."""
    family = draw(st.sampled_from(SINGLE))
    key = _KEY[family]
    volume = draw(st.floats(0.05, 4.0))
    plain = request(family, resin_volume_m3=volume)
    low, high = _STOCK[key]
    stock = replace(
        plain.stock[key],
        strength_frac=draw(st.floats(low, high)),
        temperature_kelvin=draw(st.floats(283.15, 303.15)),
    )
    waters = {
        name: replace(water, temperature_kelvin=draw(st.floats(276.15, 303.15)))
        for name, water in plain.waters.items()
    }
    dose = draw(st.floats(40.0, 300.0))
    recipe = with_setting(
        plain.recipe, StepKind.INJECT,
        dose_kg_per_m3=SetPoint(dose, 0.9 * dose, 1.1 * dose),
        strength_frac=SetPoint(draw(st.floats(0.02, 0.15)), 0.01, 0.20),
    )  # fmt: skip
    vessel = replace(
        plain.vessel,
        internal_diameter_m=draw(st.floats(0.4, 2.4)),
        straight_height_m=draw(st.floats(0.8, 4.0)),
    )
    return replace(plain, recipe=recipe, stock={**plain.stock, key: stock}, waters=waters, vessel=vessel)


def _inject(plan: BatchPlan) -> PlannedStep:
    return next(step for step in plan.steps if step.kind is StepKind.INJECT)


@given(requests())
@settings(max_examples=60, deadline=None)
def test_mass_and_charge_balances_close(case: PlanRequest) -> None:
    plan = plan_batch(case)
    step = _inject(plan)
    chemical = step.chemical
    assert chemical is not None
    assert step.value("stock_kg") * case.stock[chemical.value].strength_frac == pytest.approx(
        step.value("chemical_kg_100"), rel=1e-9
    )
    diluted_kg = step.value("volume_m3") * step.value("density_kg_per_m3")
    assert diluted_kg == pytest.approx(step.value("stock_kg") + step.value("dilution_water_kg"), rel=1e-9)
    assert diluted_kg * step.value("strength_frac") == pytest.approx(step.value("chemical_kg_100"), rel=1e-9)
    totals = plan.totals
    spent = max(totals["applied_eq"].value - totals["eluted_eq"].value, 0.0)
    sign = {Chemical.HYDROCHLORIC_ACID: 1.0, Chemical.SODIUM_HYDROXIDE: -1.0, Chemical.SODIUM_CHLORIDE: 0.0}[
        chemical
    ]
    assert totals["excess_eq"].value == pytest.approx(sign * spent, rel=1e-9, abs=1e-9)
    given_eq = totals["neutralizer_first_eq"].value + totals["neutralizer_second_eq"].value
    assert given_eq == pytest.approx(abs(sign * spent), rel=1e-9, abs=1e-9)
    assert totals["duration_s"].value == pytest.approx(sum(entry.value("duration_s") for entry in plan.steps))


@given(requests())
@settings(max_examples=60, deadline=None)
def test_nothing_in_a_plan_is_nan_or_infinite_and_it_can_be_stored(case: PlanRequest) -> None:
    plan = plan_batch(case)
    for step in plan.steps:
        assert all(math.isfinite(figure.value) for figure in step.figures.values())
    assert from_plain(BatchPlan, json.loads(canonical_text(plan))) == plan  # allow_nan is off


@given(requests(), st.floats(1.05, 3.0))
@settings(max_examples=60, deadline=None)
def test_a_plan_scales_with_the_resin_volume(case: PlanRequest, factor: float) -> None:
    """The same bed depth in a wider vessel: quantities grow with the volume, times and velocities stay."""
    wider = replace(case.vessel, internal_diameter_m=case.vessel.internal_diameter_m * math.sqrt(factor))
    small = plan_batch(case)
    large = plan_batch(replace(case, resin_volume_m3=case.resin_volume_m3 * factor, vessel=wider))
    for own, other in zip(small.steps, large.steps, strict=True):
        for key, figure in own.figures.items():
            grows = factor if figure.kind in _GROWS else 1.0
            assert other.figures[key].value == pytest.approx(figure.value * grows, rel=1e-9), (own.name, key)
    for key, figure in small.totals.items():
        grows = factor if figure.kind in _GROWS else 1.0
        grows = (
            factor if key == "bed_fill_frac" else grows
        )  # the rated volume of the vessel was not widened with it
        assert large.totals[key].value == pytest.approx(figure.value * grows, rel=1e-6, abs=1e-9), key


@given(requests(), st.floats(1.01, 2.0))
@settings(max_examples=60, deadline=None)
def test_more_dose_takes_more_chemical_more_time_and_leaves_more_excess(
    case: PlanRequest, factor: float
) -> None:
    dose = next(step for step in case.recipe.steps if step.kind is StepKind.INJECT).settings["dose_kg_per_m3"]
    more = with_setting(
        case.recipe, StepKind.INJECT, dose_kg_per_m3=SetPoint(dose.target * factor, 0.0, dose.target * factor)
    )
    own, other = plan_batch(case), plan_batch(replace(case, recipe=more))
    for key in (
        "chemical_kg_100",
        "stock_m3",
        "volume_m3",
        "duration_s",
        "applied_eq",
        "regenerant_ratio_frac",
    ):
        assert _inject(other).value(key) == pytest.approx(_inject(own).value(key) * factor, rel=1e-9)
    assert other.totals["waste_m3"].value > own.totals["waste_m3"].value


@given(st.sampled_from(SINGLE), st.floats(276.15, 303.15), st.floats(1.0, 10.0))
@settings(max_examples=60, deadline=None)
def test_colder_backwash_water_needs_less_flow_for_the_same_expansion(
    family: ResinFamily, temperature: float, colder: float
) -> None:
    def flow(kelvin: float) -> float:
        plain = request(family)
        waters = {key: replace(water, temperature_kelvin=kelvin) for key, water in plain.waters.items()}
        plan = plan_batch(replace(plain, waters=waters))
        return next(step for step in plan.steps if step.kind is StepKind.BACKWASH).value("flow_m3_per_s")

    assert flow(max(temperature - colder, 274.15)) < flow(temperature)


@given(requests())
@settings(max_examples=40, deadline=None)
def test_the_same_request_gives_the_same_plan_byte_for_byte(case: PlanRequest) -> None:
    assert canonical_text(plan_batch(case)) == canonical_text(plan_batch(case))


@given(st.sampled_from(SINGLE), st.floats(0.6, 1.0), st.floats(1.0, 20.0))
@settings(max_examples=60, deadline=None)
def test_the_expanded_bed_of_a_startable_plan_stays_in_its_vessel(
    family: ResinFamily, volume: float, height: float
) -> None:
    plain = request(family, resin_volume_m3=volume)
    plan = plan_batch(replace(plain, vessel=replace(plain.vessel, straight_height_m=0.2 * height)))
    if not plan.blockers:
        backwash = next(step for step in plan.steps if step.kind is StepKind.BACKWASH)
        assert backwash.value("expanded_height_m") <= plan.request.vessel.straight_height_m


@given(st.floats(0.0, 40.0))
@settings(max_examples=40, deadline=None)
def test_a_startable_plan_never_fills_the_emergency_reserve(level: float) -> None:
    plain = request(ResinFamily.SAC_HYDROGEN)
    plan = plan_batch(replace(plain, waste=replace(plain.waste, level_m3=level)))
    if not plan.blockers:
        waste = plan.request.waste
        assert level + plan.totals["waste_m3"].value <= waste.capacity_m3 - waste.reserve_m3


# --- mixed beds -----------------------------------------------------------------------------------------------------
@st.composite
def mixed_requests(draw: st.DrawFn) -> PlanRequest:
    """Any mixed bed: shares, sizes of the resins, doses of each leg, waters, with or without a feed."""
    plain = request(draw(st.sampled_from(MIXED)), resin_volume_m3=draw(st.floats(0.3, 2.4)))
    assert plain.mixed is not None
    spread = {"bead_diameter_spread_frac": draw(st.floats(0.0, 0.25))}
    mixed = replace(
        plain.mixed,
        cation=replace(plain.mixed.cation, **spread),
        anion=replace(plain.mixed.anion, **spread),
        cation_frac=draw(st.floats(0.3, 0.6)),
    )
    doses = {
        Chemical.HYDROCHLORIC_ACID: draw(st.floats(60.0, 200.0)),
        Chemical.SODIUM_HYDROXIDE: draw(st.floats(60.0, 200.0)),
    }
    steps = tuple(
        replace(
            step, settings={**step.settings, "dose_kg_per_m3": SetPoint(doses[step.chemical], 0.0, 400.0)}
        )
        if step.chemical in doses and step.kind is StepKind.INJECT
        else step
        for step in plain.recipe.steps
    )
    kelvin = draw(st.floats(277.15, 303.15))
    waters = {key: replace(water, temperature_kelvin=kelvin) for key, water in plain.waters.items()}
    known = draw(st.booleans())
    return replace(
        plain,
        recipe=replace(plain.recipe, steps=steps),
        mixed=mixed,
        waters=waters,
        feed=FEED if known else None,
        throughput_m3=draw(st.floats(20.0, 300.0)) if known else None,
    )  # fmt: skip


@given(mixed_requests())
@settings(max_examples=40, deadline=None)
def test_every_leg_of_a_mixed_bed_balances(case: PlanRequest) -> None:
    """Mass, charge and resin: what is injected, what is left over, and the two resins in the three layers."""
    plan = plan_batch(case)
    totals, mixed = plan.totals, case.mixed
    assert mixed is not None
    for leg, sign in ((Leg.CATION, 1.0), (Leg.ANION, -1.0)):
        step = next(entry for entry in plan.steps if entry.kind is StepKind.INJECT and entry.leg is leg)
        share = mixed.cation_frac if leg is Leg.CATION else 1.0 - mixed.cation_frac
        bed_m3 = totals["resin_volume_m3"].value * share
        assert step.value("chemical_kg_100") == pytest.approx(bed_m3 * step.value("dose_kg_per_m3"), rel=1e-9)
        left = max(totals[f"applied_eq:{leg.value}"].value - totals[f"eluted_eq:{leg.value}"].value, 0.0)
        assert totals[f"excess_eq:{leg.value}"].value == pytest.approx(sign * left, rel=1e-9, abs=1e-9)
    net = totals["excess_eq:cation"].value + totals["excess_eq:anion"].value
    assert totals["excess_eq"].value == pytest.approx(net, rel=1e-9, abs=1e-9)
    cut = next(step for step in plan.steps if step.kind is StepKind.CUT)
    layers = sum(cut.value(key) for key in ("lower_layer_m3", "cut_m3", "upper_layer_m3"))
    assert layers == pytest.approx(totals["resin_volume_m3"].value, rel=1e-9)


@given(mixed_requests())
@settings(max_examples=40, deadline=None)
def test_a_mixed_bed_is_whole_finite_and_can_be_stored(case: PlanRequest) -> None:
    plan = plan_batch(case)
    for step in plan.steps:
        assert all(math.isfinite(figure.value) for figure in step.figures.values())
    for key in ("cation_in_anion_frac", "anion_in_cation_frac", "overlap_frac"):
        cut = next(step for step in plan.steps if step.kind is StepKind.CUT)
        assert 0.0 <= cut.value(key) <= 1.0
    assert 0.0 <= plan.totals["leg_balance_frac"].value < 1.0
    assert from_plain(BatchPlan, json.loads(canonical_text(plan))) == plan


@given(mixed_requests())
@settings(max_examples=30, deadline=None)
def test_the_legs_take_as_long_as_the_longer_one(case: PlanRequest) -> None:
    plan = plan_batch(case)
    seconds = {leg: sum(step.value("duration_s") for step in plan.steps if step.leg is leg) for leg in Leg}
    longer = max(seconds[Leg.CATION], seconds[Leg.ANION])
    assert plan.totals["duration_s"].value == pytest.approx(seconds[Leg.WHOLE] + longer, rel=1e-9)


@given(st.floats(0.5, 40.0), st.floats(0.0, 1.0), st.floats(100.0, 4000.0))
@settings(max_examples=40, deadline=None)
def test_calcium_in_spent_sulfuric_acid_is_never_more_than_on_the_resin(
    hardness: float, calcium_share: float, load: float
) -> None:
    feed = replace(
        FEED, calcium_eq_per_m3=hardness * calcium_share, magnesium_eq_per_m3=hardness * (1.0 - calcium_share)
    )
    plan = plan_batch(request_for(ALL_RECIPES["H-H2SO4-120"], feed=feed, eluted_equivalents=load))
    for step in plan.steps:
        if step.kind is StepKind.INJECT:
            assert 0.0 <= step.value("calcium_frac") <= feed.calcium_frac * (1.0 + 1e-12)
            assert step.value("exchanged_frac") <= 1.0


# --- speed ----------------------------------------------------------------------------------------------------------
def test_a_plan_takes_a_few_milliseconds(benchmark) -> None:  # type: ignore[no-untyped-def]
    """Aim: 20 ms warm. Temperatures and strengths differ from round to round, so that caches help only as in use."""
    warm = request(ResinFamily.SBA_TYPE_1)
    plan_batch(warm)
    steps = iter(range(10_000_000))

    def fresh() -> BatchPlan:
        shift = 1e-4 * next(steps)
        stock = replace(
            warm.stock["naoh"], strength_frac=0.40 + shift % 0.1, temperature_kelvin=291.15 + shift % 5.0
        )
        softened = replace(warm.waters["softened"], temperature_kelvin=285.15 + shift % 7.0)
        waters = {**warm.waters, WaterKind.SOFTENED.value: softened}
        return plan_batch(replace(warm, stock={**warm.stock, "naoh": stock}, waters=waters))

    plan = benchmark(fresh)
    assert plan.blockers == ()
    if benchmark.stats is not None:  # switched off by --benchmark-disable
        assert benchmark.stats.stats.median < 0.020


def _shifted(plain: PlanRequest, shift: float) -> PlanRequest:
    """The same plant a little later: other strengths, other waters, another volume."""
    stock = {
        key: replace(lot, temperature_kelvin=lot.temperature_kelvin + shift % 5.0)
        for key, lot in plain.stock.items()
    }
    waters = {
        key: replace(water, temperature_kelvin=water.temperature_kelvin + shift % 3.0)
        for key, water in plain.waters.items()
    }
    return replace(plain, stock=stock, waters=waters, resin_volume_m3=plain.resin_volume_m3 - shift % 0.1)


WITH_EQUILIBRIUM = {
    "mixed bed with a feed": lambda: request(ResinFamily.MIXED_BED, feed=FEED, throughput_m3=200.0),
    "sulfuric acid in three steps": lambda: request_for(ALL_RECIPES["H-H2SO4-120"], feed=FEED),
    "anion with a feed": lambda: request(ResinFamily.SBA_TYPE_1, feed=FEED, throughput_m3=100.0),
    "organic fouling": lambda: request_for(ALL_RECIPES["CL-ORG-OH1"], feed=FEED, throughput_m3=100.0),
}


@pytest.mark.parametrize("name", WITH_EQUILIBRIUM)
def test_a_plan_with_equilibrium_chemistry_takes_at_most_fifty_milliseconds(name: str, benchmark) -> None:  # type: ignore[no-untyped-def]
    plain = WITH_EQUILIBRIUM[name]()
    plan_batch(plain)
    shifts = iter(range(1, 10_000_000))
    plan = benchmark(lambda: plan_batch(_shifted(plain, 1e-3 * next(shifts))))
    assert plan.steps
    if benchmark.stats is not None:  # switched off by --benchmark-disable
        assert benchmark.stats.stats.median < 0.050
