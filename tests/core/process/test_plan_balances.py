"""Balances of whole plans, of every recipe: what goes in comes out, by charge, by ion, by mass and by heat."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering.equilibria import mixture_ph, with_reagent
from regenplant.core.engineering.held_ions import held_ions
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, PlanRequest
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_neutralizer import is_buffered
from regenplant.core.process.plan_spent import LegBalance, SpentStreams, leg_balances, spent_streams
from regenplant.core.process.plan_waste import waste_shares
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import Chemical, StepKind
from tests.core.process.plan_requests import FEED
from tests.core.process.recipe_plants import FITTING, SOFT_FEED

WITH_EQUIVALENTS = tuple(
    code
    for code, plain in FITTING.items()
    if any("applied_eq" in step.figures for step in plan_batch(plain).steps)
)
SODIUM_BRINGING = (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE, Chemical.SODIUM_CHLORIDE)
ANION_BRINGING = (Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID, Chemical.SODIUM_CHLORIDE)


@st.composite
def plants(draw: st.DrawFn) -> PlanRequest:
    """Any recipe that exchanges ions, with or without a feed, cold or warm, on more or less resin."""
    plain = FITTING[draw(st.sampled_from(WITH_EQUIVALENTS))]
    kelvin = draw(st.floats(278.15, 303.15))
    return replace(
        plain,
        feed=draw(st.sampled_from([None, FEED, SOFT_FEED])),
        resin_volume_m3=plain.resin_volume_m3 * draw(st.floats(0.8, 1.1)),
        waters={key: replace(water, temperature_kelvin=kelvin) for key, water in plain.waters.items()},
    )


def _spent(case: PlanRequest) -> tuple[BatchPlan, tuple[LegBalance, ...], SpentStreams]:
    plan, basis = plan_batch(case), PlanBasis(case)
    balances = leg_balances(basis, plan.steps)
    return plan, balances, spent_streams(basis, balances, waste_shares(basis, plan.steps))


def _brought(plan: BatchPlan, chemicals: tuple[Chemical, ...]) -> float:
    return sum(
        step.value("applied_eq")
        for step in plan.steps
        if step.chemical in chemicals and "applied_eq" in step.figures
    )


def _eluted(balance: LegBalance) -> float:
    return min(balance.bed.load.value, balance.applied.value)


@given(plants())
@settings(max_examples=40, deadline=None)
def test_every_ion_brought_or_eluted_stands_in_the_waste(case: PlanRequest) -> None:
    """Strong cations: sodium brought, and what acid takes off. Strong anions: brought, and what base takes off.

    Brine leaves as much sodium on the resin as it takes hardness off: its equivalents pass through.
    """
    plan, balances, streams = _spent(case)
    assert streams.together is not None
    inside, volume = streams.together.composition, streams.together.volume_m3
    cations = (
        inside.sodium_mol_per_m3 + 2.0 * (inside.calcium_mol_per_m3 + inside.magnesium_mol_per_m3)
    ) * volume
    anions = (
        inside.chloride_mol_per_m3 + inside.nitrate_mol_per_m3 + 2.0 * inside.sulfate_mol_per_m3
    ) * volume
    by_acid = sum(
        _eluted(entry) for entry in balances if entry.bed.resin.family.is_cation and not _salt(entry)
    )
    assert cations == pytest.approx(_brought(plan, SODIUM_BRINGING) + by_acid, rel=1e-9)
    strong = 0.0
    for entry in balances:
        if entry.bed.resin.family.is_anion:
            held = held_ions(entry.bed.resin.family.value, case.feed)
            strong += _eluted(entry) * (held.chloride_frac + held.sulfate_frac + held.nitrate_frac)
    assert anions == pytest.approx(_brought(plan, ANION_BRINGING) + strong, rel=1e-9)


def _salt(balance: LegBalance) -> bool:
    return balance.steps[-1].chemical is Chemical.SODIUM_CHLORIDE


@given(plants())
@settings(max_examples=40, deadline=None)
def test_the_excess_is_the_charge_of_the_waste(case: PlanRequest) -> None:
    """Strong ions of the waste differ by the excess; ammonia, and weak acids that came off the resin, take their part of it."""
    plan, _, streams = _spent(case)
    assert streams.together is not None
    inside, volume = streams.together.composition, streams.together.volume_m3
    soda = sum(
        step.value("applied_eq") / 2.0 for step in plan.steps if step.chemical is Chemical.SODIUM_CARBONATE
    )
    weak = (inside.carbonate_mol_per_m3 + inside.silica_mol_per_m3) * volume - soda
    found = inside.excess_eq_per_m3 * volume + weak - inside.ammonia_mol_per_m3 * volume
    assert found == pytest.approx(plan.totals["excess_eq"].value, rel=1e-6, abs=1e-6 * volume)


@given(plants())
@settings(max_examples=40, deadline=None)
def test_the_neutralizer_brings_the_waste_to_neutral(case: PlanRequest) -> None:
    """Both stages given: no strong acid or base left, or pH 7 where weak ones buffer. Without any planned, the waste is inside the permit as it comes."""
    plan, _, streams = _spent(case)
    assert streams.together is not None
    stages = [plan.totals[f"neutralizer_{name}_eq"].value for name in ("first", "second")]
    ph = plan.totals["waste_ph"].value
    if sum(stages) == 0.0:
        assert case.waste.ph_low <= ph <= case.waste.ph_high
        return
    given_eq = math.copysign(sum(stages), 7.0 - ph)  # base to an acid waste, acid to an alkaline one
    treated = with_reagent(streams.together.composition, given_eq / streams.together.volume_m3)
    if is_buffered(streams.together):
        assert mixture_ph(treated, streams.together.temperature_kelvin) == pytest.approx(7.0, abs=0.02)
    else:  # no strong acid or base is left; the neutral point itself moves with temperature, 7.4 at 5 °C
        assert treated.excess_eq_per_m3 == pytest.approx(0.0, abs=1e-6)
    assert stages[0] > stages[1] > 0.0


@given(plants())
@settings(max_examples=40, deadline=None)
def test_water_and_stock_that_go_in_come_out(case: PlanRequest) -> None:
    """By mass where a solution is made, for volumes do not add; by volume where only water flows."""
    plan = plan_batch(case)
    taken = sum(figure.value for key, figure in plan.totals.items() if key.startswith("water_m3:"))
    for step in plan.steps:
        if step.kind in CHEMICAL_STEPS:
            made = step.value("volume_m3") * step.value("density_kg_per_m3")
            assert step.value("stock_kg") + step.value("dilution_water_kg") == pytest.approx(made, rel=1e-9)
            taken -= step.value("dilution_water_m3")
        elif step.kind is StepKind.RECIRCULATE:
            taken -= step.value("loop_fill_m3")
        elif "volume_m3" in step.figures:
            taken -= step.value("volume_m3")
    assert taken == pytest.approx(0.0, abs=1e-9)
    out = sum(
        step.value("volume_m3")
        for step in plan.steps
        if "volume_m3" in step.figures and step.kind is not StepKind.RECIRCULATE
    )
    assert 0.0 < plan.totals["waste_m3"].value <= out


@given(plants())
@settings(max_examples=40, deadline=None)
def test_the_waste_is_as_warm_as_what_flows_into_it_and_the_heat_it_gives(case: PlanRequest) -> None:
    plan = plan_batch(case)
    shares = waste_shares(PlanBasis(case), plan.steps)
    kelvins = [share.temperature_kelvin for share in shares]
    rise = plan.totals["waste_rise_kelvin"].value if "waste_rise_kelvin" in plan.totals else 0.0
    found = plan.totals["waste_temperature_kelvin"].value - rise
    assert min(kelvins) - 1e-9 <= found <= max(kelvins) + 1e-9
    whole = sum(share.volume_m3 for share in shares)
    carried = sum(share.volume_m3 * share.temperature_kelvin for share in shares)
    assert found * whole == pytest.approx(carried, rel=1e-5)
