"""Spent regenerant: balances of mass and charge, what is refused, and the working of every figure."""

import math
from dataclasses import dataclass, fields

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import equilibria, neutralization_heat
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.held_ions import HeldIons, held_ions
from regenplant.core.engineering.spent import (
    IONS_ASSUMED,
    RESIN_KEEPS_THE_REST,
    SpentStream,
    known_stream,
    pour_together,
    spent_stream,
)
from regenplant.core.engineering.waste_figures import AMMONIA_GAS, CARBON_DIOXIDE_GAS
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out


def _figure(symbol: str, value: float, unit: str, kind: str) -> Estimate:
    return Estimate(symbol, "given", value, unit, kind, "on record", (), "given", "plant_record")


def _eq(symbol: str, value: float) -> Estimate:
    return _figure(symbol, value, "eq", "equivalents")


def _volume(value: float) -> Estimate:
    return _figure("V_x", value, "m^3", "liquid_volume")


@dataclass(frozen=True)
class Feed:
    calcium_eq_per_m3: float = 3.0
    magnesium_eq_per_m3: float = 1.2
    sodium_eq_per_m3: float = 1.5
    chloride_eq_per_m3: float = 1.5
    sulfate_eq_per_m3: float = 1.0
    nitrate_eq_per_m3: float = 0.1
    alkalinity_eq_per_m3: float = 3.1
    carbon_dioxide_mol_per_m3: float = 0.2
    silica_mol_per_m3: float = 0.2


amounts = st.floats(0.0, 12.0)
feeds = st.builds(Feed, *([amounts] * 9))
BEDS = [
    ("hcl", "sac_h"), ("h2so4", "sac_h"), ("hcl", "wac_h"), ("h2so4", "wac_h"), ("nacl", "sac_na"), ("naoh", "sba_1"),
    ("naoh", "sba_2"), ("naoh", "sba_a"), ("naoh", "wba"), ("na2co3", "wba"), ("nh3", "wba"),
]  # fmt: skip
beds = st.sampled_from(BEDS)


def _stream(
    chemical: str = "hcl",
    family: str = "sac_h",
    applied: float = 2200.0,
    eluted: float = 1200.0,
    feed: Feed | None = Feed(),
    volume: float = 3.0,
    kelvin: float = 293.15,
) -> SpentStream:
    held = held_ions(family, feed)
    return spent_stream(chemical, _eq("n_a", applied), _eq("n_e", eluted), held, _volume(volume), kelvin)


# --- which ions -----------------------------------------------------------------------------------------------------
@given(st.sampled_from([family for _, family in BEDS]), feeds)
def test_the_shares_add_to_one_and_are_of_one_sign(family: str, feed: Feed) -> None:
    held = held_ions(family, feed)
    assert sum(
        getattr(held, entry.name) for entry in fields(held) if entry.name.endswith("_frac")
    ) == pytest.approx(1.0)
    assert held.cations_frac == pytest.approx(1.0 if family in ("sac_h", "sac_na", "wac_h") else 0.0)


def test_shares_of_a_hand_worked_feed() -> None:
    """Ca 3, Mg 1.2, Na 1.5 eq/m³; Cl 1.5, SO4 1, NO3 0.1, HCO3 3.1, CO2 0.2, SiO2 0.2: sums 5.7, 4.2 and 6.1."""
    assert held_ions("sac_h", Feed()).sodium_frac == pytest.approx(1.5 / 5.7)
    assert held_ions("sac_na", Feed()).calcium_frac == pytest.approx(3.0 / 4.2)
    assert held_ions("wac_h", Feed()).magnesium_frac == pytest.approx(1.2 / 4.2)
    assert held_ions("sba_1", Feed()).carbonate_frac == pytest.approx(3.3 / 6.1)
    assert held_ions("sba_1", Feed()).silica_frac == pytest.approx(0.2 / 6.1)
    # a weak base lets carbonic acid and silica pass
    weak = held_ions("wba", Feed())
    assert (weak.sulfate_frac, weak.carbonate_frac, weak.silica_frac) == (pytest.approx(1.0 / 2.6), 0.0, 0.0)


def test_without_an_analysis_the_answer_says_what_it_assumed() -> None:
    stream = _stream(feed=None)
    assert IONS_ASSUMED.format(ion="sodium") in stream.ph.warnings
    assert stream.composition.sodium_mol_per_m3 == pytest.approx(400.0)
    assert held_ions("sba_1", Feed(*([0.0] * 9))).is_assumed


@pytest.mark.parametrize("family", ["gac", "mb", "mb_p", "nonsense"])
def test_a_family_that_holds_no_counted_ions_is_refused(family: str) -> None:
    with pytest.raises(OutOfRange, match="holds no ions"):
        held_ions(family, Feed())


def test_shares_that_do_not_add_up_or_mix_signs_are_refused() -> None:
    with pytest.raises(OutOfRange, match="sum of the shares"):
        HeldIons(calcium_frac=0.5)
    with pytest.raises(OutOfRange, match="each leg"):
        HeldIons(calcium_frac=0.5, chloride_frac=0.5)
    with pytest.raises(OutOfRange, match="share of calcium"):
        HeldIons(calcium_frac=-0.5, sodium_frac=1.5)


# --- balances -------------------------------------------------------------------------------------------------------
@given(beds, st.floats(50.0, 5000.0), st.floats(0.0, 1.5), feeds, st.floats(2.0, 60.0))
@settings(max_examples=150, deadline=None)
def test_charge_balances_exactly(
    bed: tuple[str, str], applied: float, share: float, feed: Feed, volume: float
) -> None:
    """Strong acid or base left over, counted from the composition, is what was applied less what was taken up."""
    chemical, family = bed
    stream = _stream(chemical, family, applied, applied * share, feed, volume)
    eluted = applied * min(share, 1.0)
    held = held_ions(family, feed)
    found = stream.composition.excess_eq_per_m3 * volume
    weak = eluted * (held.carbonate_frac + held.silica_frac)  # these count as neither acid nor base
    expected = {
        "hcl": applied - eluted, "h2so4": applied - eluted, "nacl": 0.0, "naoh": -(applied - eluted + weak),
        "na2co3": -(applied - eluted), "nh3": eluted,  # as free ammonia is counted as neither, its salts count as acid
    }[chemical]  # fmt: skip
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9 * applied)


@given(beds, st.floats(50.0, 5000.0), st.floats(0.0, 1.0), feeds, st.floats(2.0, 60.0))
@settings(max_examples=150, deadline=None)
def test_mass_balances_exactly(
    bed: tuple[str, str], applied: float, share: float, feed: Feed, volume: float
) -> None:
    """Every ion: in with the regenerant plus off the resin is out with the waste, in moles and in kilograms."""
    chemical, family = bed
    eluted = applied * share
    stream, held = _stream(chemical, family, applied, eluted, feed, volume), held_ions(family, feed)
    brought = {
        "hcl": {"chloride": 1.0}, "h2so4": {"sulfate": 0.5}, "naoh": {"sodium": 1.0}, "nh3": {"ammonia": 1.0},
        "na2co3": {"sodium": 1.0, "carbonate": 0.5}, "nacl": {"sodium": 1.0 - share, "chloride": 1.0},
    }[chemical]  # fmt: skip
    charges = {"calcium": 2.0, "magnesium": 2.0, "sulfate": 2.0}
    for entry in fields(Composition):
        name = entry.name.removesuffix("_mol_per_m3")
        off = eluted * getattr(held, f"{name}_frac", 0.0) / charges.get(name, 1.0)
        moles = getattr(stream.composition, entry.name) * volume
        assert moles == pytest.approx(applied * brought.get(name, 0.0) + off, rel=1e-9, abs=1e-9 * applied)
    whole = sum(value.value for key, value in stream.estimates.items() if key.endswith("_kg"))
    assert stream.estimates["dissolved_kg_per_m3"].value * volume == pytest.approx(whole)


def test_loads_worked_by_hand() -> None:
    """2200 eq HCl on a resin holding 1200 eq of Ca 3 : Mg 1.2 : Na 1.5, in 3 m³; atomic weights of the periodic table."""
    stream = _stream()
    assert stream.estimates["chloride_kg"].value == pytest.approx(2200 * 0.03545, rel=1e-3)
    assert stream.estimates["calcium_kg"].value == pytest.approx(1200 * 3.0 / 5.7 * 0.04008 / 2, rel=1e-3)
    assert stream.estimates["magnesium_kg"].value == pytest.approx(1200 * 1.2 / 5.7 * 0.024305 / 2, rel=1e-3)
    assert stream.estimates["sodium_kg"].value == pytest.approx(1200 * 1.5 / 5.7 * 0.02299, rel=1e-3)
    assert stream.estimates["excess_eq"].value == pytest.approx(1000.0)
    assert stream.free_acid_eq == pytest.approx(1000.0)
    assert stream.free_base_eq == 0.0


def test_brine_leaves_the_sodium_that_the_resin_did_not_take_up() -> None:
    stream = _stream("nacl", "sac_na", applied=3000.0, eluted=1000.0)
    assert stream.estimates["sodium_kg"].value == pytest.approx(2000.0 * 0.02299, rel=1e-3)
    assert 6.5 < stream.ph.value < 7.5
    # brine on an anion resin: the resin keeps chloride for what it gives
    held = HeldIons(sulfate_frac=1.0)
    anion = spent_stream("nacl", _eq("n_a", 3000.0), _eq("n_e", 1000.0), held, _volume(5.0), 313.15)
    assert anion.composition.chloride_mol_per_m3 == pytest.approx(400.0)
    assert anion.composition.sulfate_mol_per_m3 == pytest.approx(100.0)
    assert anion.composition.sodium_mol_per_m3 == pytest.approx(600.0)


def test_a_resin_gives_up_no_more_than_was_applied() -> None:
    stream = _stream(applied=800.0, eluted=1200.0)
    assert RESIN_KEEPS_THE_REST in stream.ph.warnings
    assert stream.composition.excess_eq_per_m3 == pytest.approx(0.0, abs=1e-9)
    assert stream.estimates["excess_eq"].value == 0.0
    assert 5.0 < stream.ph.value < 8.0


def test_gases_are_warned_of() -> None:
    assert AMMONIA_GAS in _stream("nh3", "wba", 1200.0, 1000.0).ph.warnings
    assert CARBON_DIOXIDE_GAS in _stream("na2co3", "wba", 1200.0, 1000.0).ph.warnings
    assert AMMONIA_GAS not in _stream().ph.warnings


def test_each_leftover_has_the_ph_of_its_kind() -> None:
    """Strong caustic above 12, soda ash and ammonia around 9 to 11.5, acid below 2."""
    assert _stream("naoh", "wba", 1500.0, 1000.0).ph.value > 12.0
    assert 9.0 < _stream("na2co3", "wba", 3000.0, 1000.0).ph.value < 11.5
    assert 9.0 < _stream("nh3", "wba", 3000.0, 1000.0).ph.value < 11.5
    assert _stream("h2so4", "sac_h").ph.value < 2.0


# --- refusals -------------------------------------------------------------------------------------------------------
def test_what_cannot_be_is_refused_with_its_reason() -> None:
    cations, anions = held_ions("sac_h", Feed()), held_ions("sba_1", Feed())
    good = (_eq("n_a", 10.0), _eq("n_e", 5.0))
    with pytest.raises(OutOfRange, match="takes off cations"):
        spent_stream("hcl", *good, anions, _volume(1.0), 293.15)
    with pytest.raises(OutOfRange, match="takes off anions"):
        spent_stream("naoh", *good, cations, _volume(1.0), 293.15)
    with pytest.raises(OutOfRange, match="known are"):
        spent_stream("naocl", *good, anions, _volume(1.0), 293.15)
    for volume in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(OutOfRange, match="volume of the waste"):
            spent_stream("hcl", *good, cations, _volume(volume), 293.15)
        with pytest.raises(OutOfRange, match="volume of the waste"):
            known_stream("a waste", Composition(), _volume(volume), 293.15)
    with pytest.raises(OutOfRange, match="equivalents applied"):
        spent_stream("hcl", _eq("n_a", 0.0), _eq("n_e", 5.0), cations, _volume(1.0), 293.15)
    with pytest.raises(OutOfRange, match="load on the resin"):
        spent_stream("hcl", _eq("n_a", 5.0), _eq("n_e", -5.0), cations, _volume(1.0), 293.15)
    with pytest.raises(OutOfRange, match="temperature of the waste"):
        spent_stream("hcl", *good, cations, _volume(1.0), 343.15)
    with pytest.raises(OutOfRange, match="chloride"):
        spent_stream("hcl", _eq("n_a", 9000.0), _eq("n_e", 0.0), cations, _volume(1.0), 293.15)
    with pytest.raises(OutOfRange, match="No waste"):
        pour_together(())


# --- wastes together ------------------------------------------------------------------------------------------------
acids = st.builds(lambda a, s, f, v: _stream("hcl", "sac_h", a, a * s, f, v, 288.15), st.floats(50.0, 3000.0), st.floats(0.0, 1.0), feeds, st.floats(2.0, 20.0))  # fmt: skip
caustics = st.builds(lambda a, s, f, v: _stream("naoh", "sba_1", a, a * s, f, v, 308.15), st.floats(50.0, 3000.0), st.floats(0.0, 1.0), feeds, st.floats(2.0, 20.0))  # fmt: skip


@given(acids, caustics)
@settings(max_examples=60, deadline=None)
def test_pouring_together_keeps_mass_volume_and_charge(acid: SpentStream, caustic: SpentStream) -> None:
    mixture = pour_together((acid, caustic))
    assert mixture.volume_m3 == pytest.approx(acid.volume_m3 + caustic.volume_m3)
    for entry in fields(Composition):
        before = sum(getattr(s.composition, entry.name) * s.volume_m3 for s in (acid, caustic))
        after = getattr(mixture.composition, entry.name) * mixture.volume_m3
        assert after == pytest.approx(before, rel=1e-9, abs=1e-9)
    for key in ("chloride_kg", "sodium_kg"):
        before = sum(s.estimates[key].value for s in (acid, caustic) if key in s.estimates)
        assert mixture.estimates[key].value == pytest.approx(before, rel=1e-9)


@given(acids, caustics)
@settings(max_examples=60, deadline=None)
def test_heat_balances_and_order_does_not_matter(acid: SpentStream, caustic: SpentStream) -> None:
    one, other = pour_together((acid, caustic)), pour_together((caustic, acid))
    assert one.temperature_kelvin == pytest.approx(other.temperature_kelvin)
    assert one.ph.value == pytest.approx(other.ph.value, abs=1e-5)
    per_kelvin = neutralization_heat.MIX_HEAT_CAPACITY_J_PER_KG_K * neutralization_heat.MIX_DENSITY_KG_PER_M3
    gained = per_kelvin * sum(
        s.volume_m3 * (one.temperature_kelvin - s.temperature_kelvin) for s in (acid, caustic)
    )
    met = min(acid.free_acid_eq, caustic.free_base_eq)
    assert gained == pytest.approx(met * neutralization_heat.HEAT_J_PER_EQ, rel=1e-6, abs=10.0)
    assert one.estimates["neutralized_eq"].value == pytest.approx(met)


def test_three_wastes_are_the_same_in_two_pours_or_one() -> None:
    parts = (_stream(), _stream("naoh", "sba_1", 1900.0, 900.0), _stream("nacl", "sac_na", 1000.0, 400.0))
    at_once = pour_together(parts)
    in_turn = pour_together((pour_together(parts[:2]), parts[2]))
    assert at_once.volume_m3 == pytest.approx(in_turn.volume_m3)
    assert at_once.composition.excess_eq_per_m3 == pytest.approx(
        in_turn.composition.excess_eq_per_m3, abs=1e-9
    )
    assert at_once.temperature_kelvin == pytest.approx(in_turn.temperature_kelvin, abs=1e-6)


def test_a_waste_alone_is_itself() -> None:
    alone = pour_together((_stream(),))
    assert alone.temperature_kelvin == pytest.approx(293.15)
    assert alone.ph.value == pytest.approx(_stream().ph.value)
    assert alone.estimates["rise_kelvin"].value == 0.0


def test_where_weak_species_change_the_rise_both_methods_are_named() -> None:
    """Ammonia that meets acid gives 52 kJ/mol by the same data file, and is no free hydroxide."""
    ammonia = known_stream("ammonia water", Composition(ammonia_mol_per_m3=500.0), _volume(1.0), 293.15)
    acid = known_stream("acid", Composition(chloride_mol_per_m3=500.0), _volume(1.0), 293.15)
    rise = pour_together((ammonia, acid)).estimates["rise_kelvin"]
    assert rise.value == pytest.approx(0.0, abs=0.05)
    # 500 eq · 52.2 kJ / (2000 kg · 4.05 kJ/(kg K)) = 3.2 K
    assert any("the rise is 3.2 K" in warning for warning in rise.warnings)


def test_heat_by_species_agrees_with_the_heat_of_strong_acid_and_base() -> None:
    """Nothing but HCl and NaOH, from the slope of the ion product: 56.6 kJ/eq measured (read), 55.8 by formation enthalpies."""
    acid = Composition(chloride_mol_per_m3=500.0)
    base = Composition(sodium_mol_per_m3=500.0)
    both = Composition(chloride_mol_per_m3=250.0, sodium_mol_per_m3=250.0)
    heat = (
        equilibria.enthalpy_j_per_m3(acid)
        + equilibria.enthalpy_j_per_m3(base)
        - 2.0 * equilibria.enthalpy_j_per_m3(both)
    )
    assert heat / 500.0 == pytest.approx(56_600.0, rel=0.006)
    assert heat / 500.0 == pytest.approx(55_800.0, rel=0.012)
    assert heat / 500.0 == pytest.approx(neutralization_heat.HEAT_J_PER_EQ, rel=0.03)


# --- workings -------------------------------------------------------------------------------------------------------
def _workings() -> list[Estimate]:
    found: list[Estimate] = []
    streams = [_stream(chemical, family, 2000.0, 900.0) for chemical, family in BEDS]
    streams += [
        _stream(applied=800.0, eluted=1200.0),
        _stream(feed=None),
        pour_together(streams[:1] + streams[5:6]),
    ]
    streams.append(known_stream("a waste", Composition(*([5.0] * 10)), _volume(2.0), 298.15))
    for stream in streams:
        found += stream.estimates.values()
    return found


def test_printed_formulas_give_their_values() -> None:
    checked = [estimate for estimate in _workings() if is_closed(estimate)]
    assert len(checked) > 60
    for estimate in checked:
        assert worked_out(estimate) == pytest.approx(estimate.value, rel=1e-9, abs=1e-12), estimate.name


def test_every_predicted_ph_says_what_two_models_disagree_by() -> None:
    for estimate in _workings():
        if estimate.kind == "ph":
            assert any("Two public models" in warning for warning in estimate.warnings)
            assume_known = estimate.uncertainty_frac is not None or estimate.value <= 1.0
            assert assume_known


@given(st.floats(-1.0, 15.0))
def test_the_stated_disagreement_has_no_jumps(ph: float) -> None:
    assert 0.08 - 1e-12 <= equilibria.ph_disagreement(ph) <= 0.55 + 1e-12
    assert abs(equilibria.ph_disagreement(ph + 1e-6) - equilibria.ph_disagreement(ph)) < 1e-5
