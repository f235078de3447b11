"""Heat of dilution and heating: balances, worked formulas, limits, refusals."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import heat
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out
from tests.core.reference_rows import Row, rows

STOCKS = {"hcl": (0.28, 0.37), "naoh": (0.25, 0.50), "h2so4": (0.90, 0.97), "nacl": (0.20, 0.26), "na2co3": (0.10, 0.15),
          "nh3": (0.20, 0.29)}  # fmt: skip


@st.composite
def dilution(draw: st.DrawFn) -> tuple[str, float, float, float, float]:
    chemical = draw(st.sampled_from(sorted(STOCKS)))
    low, high = STOCKS[chemical]
    return (
        chemical,
        draw(st.floats(low, high)),
        draw(st.floats(278.15, 313.15)),
        draw(st.floats(0.005, 0.09)),
        draw(st.floats(274.15, 323.15)),
    )


@given(dilution())
@settings(max_examples=150, deadline=None)
def test_the_heat_balance_closes(case: tuple[str, float, float, float, float]) -> None:
    """What the stock, the water and the dilution bring is what the blend holds, from 25 °C, per kilogram of blend."""
    chemical, stock, stock_kelvin, strength, water_kelvin = case
    blend = heat.blend_temperature(chemical, stock, stock_kelvin, strength, water_kelvin).value
    share = strength / stock
    moles = strength / {"hcl": 0.036461, "naoh": 0.039997, "h2so4": 0.098079}.get(chemical, 1.0)
    released = moles * (
        heat.heat_released_j_per_mol(chemical, strength) - heat.heat_released_j_per_mol(chemical, stock)
    )
    brought = share * heat.heat_capacity_j_per_kg_k(chemical, stock) * (stock_kelvin - 298.15)
    brought += (1.0 - share) * heat.WATER_HEAT_CAPACITY_J_PER_KG_K * (water_kelvin - 298.15)
    held = heat.heat_capacity_j_per_kg_k(chemical, strength) * (blend - 298.15)
    assert held == pytest.approx(brought + released, rel=1e-9, abs=1e-6)


@given(dilution())
@settings(max_examples=100, deadline=None)
def test_water_of_the_temperature_needed_gives_the_blend_wanted(
    case: tuple[str, float, float, float, float],
) -> None:
    chemical, stock, stock_kelvin, strength, _ = case
    needed = heat.water_temperature_needed(chemical, stock, stock_kelvin, strength, 318.15).value
    blend = heat.blend_temperature(chemical, stock, stock_kelvin, strength, needed)
    assert blend.value == pytest.approx(318.15, abs=1e-6)


@given(dilution())
@settings(max_examples=100, deadline=None)
def test_a_stock_that_is_not_diluted_keeps_its_temperature(
    case: tuple[str, float, float, float, float],
) -> None:
    """A blend of a solution with nothing, or of two equal solutions, is itself."""
    chemical, stock, stock_kelvin, _, water_kelvin = case
    same = heat.blend_temperature(chemical, stock, stock_kelvin, stock, water_kelvin)
    assert same.value == pytest.approx(stock_kelvin, abs=1e-9)


@given(
    st.sampled_from(["hcl", "naoh", "h2so4"]),
    st.floats(0.01, 0.10),
    st.floats(0.12, 0.20),
    st.floats(0.22, 0.30),
)
@settings(max_examples=100, deadline=None)
def test_diluting_in_two_steps_releases_what_one_step_does(
    chemical: str, end: float, middle: float, start: float
) -> None:
    at = heat.heat_of_dilution
    whole = at(chemical, start, end).value
    steps = at(chemical, start, middle).value + at(chemical, middle, end).value
    assert steps == pytest.approx(whole, abs=1e-6)


def test_heat_released_is_worked_out_from_its_formula() -> None:
    found = heat.heat_released("naoh", 0.50, 0.04, 100.0)
    assert is_closed(found)
    assert worked_out(found) == pytest.approx(found.value, rel=1e-12)
    # hand: 20.93 kJ/mol (reference notes) x 100 kg / 39.997 g/mol = 52.3 MJ
    assert found.value == pytest.approx(52.3e6, rel=0.02)
    assert heat.heat_of_dilution("naoh", 0.50, 0.04).uncertainty_frac == 0.08


@pytest.mark.parametrize("row", rows("isothermal_heat"))
def test_isothermal_heat_behind_each_final_temperature(row: Row) -> None:
    """Heats printed beside the final temperatures of the reference rows, which state no tolerance for them: it is set here.

    8 % where the stock is stronger than any row of the table (50 % NaOH, 93 % H2SO4 and up), so both extrapolate; 2 % inside,
    as the rows that were read. The 96 % acid of row 052 is left out of both tests: see ``EXTRAPOLATED`` in
    ``test_reference_waste``.
    """
    name, stock, target = row.numbers(r"(\w+): ([\d.]+) wt%.*diluted to ([\d.]+) wt%")
    found = heat.heat_of_dilution(name.lower(), float(stock) / 100.0, float(target) / 100.0)
    row.check(found.value / 1000.0)


def test_the_blend_that_boils_is_refused_with_its_temperature() -> None:
    blend = heat.blend_temperature("h2so4", 0.96, 298.15, 0.50, 298.15)
    assert any("boils" in sentence for sentence in blend.warnings)
    with pytest.raises(OutOfRange, match=f"{blend.value - 273.15:.0f} °C") as refusal:
        heat.require_safe_blend(blend)
    assert refusal.value.code == "blend_boils"
    usual = heat.blend_temperature("h2so4", 0.96, 298.15, 0.04, 288.15)
    assert heat.require_safe_blend(usual) is usual


@pytest.mark.parametrize(
    ("chemical", "stock", "strength", "word"),
    [
        ("h2so4", 0.93, 0.02, "acid into the water"),
        ("naoh", 0.50, 0.04, "caustic into the water"),
        ("naoh", 0.50, 0.25, "needs cooling"),
    ],
)
def test_the_order_of_mixing_is_said_for_strong_stock(
    chemical: str, stock: float, strength: float, word: str
) -> None:
    blend = heat.blend_temperature(chemical, stock, 293.15, strength, 293.15)
    assert any(word in sentence for sentence in blend.warnings)


def test_mild_stock_is_not_warned_of() -> None:
    assert heat.blend_temperature("nacl", 0.26, 293.15, 0.10, 293.15).warnings == ()
    assert heat.blend_temperature("hcl", 0.32, 293.15, 0.05, 293.15).warnings == ()
    assert heat.blend_temperature("naoh", 0.25, 293.15, 0.04, 293.15).warnings == ()


def test_heating_a_tank_of_water_by_hand() -> None:
    """Hand: 1000 kg from 15 to 49 °C: 1000 x 4.181 x 34 = 142.2 MJ; with 36 kW 65.8 min."""
    needed = heat.heat_to_warm(1000.0, 288.15, 322.15)
    time = heat.heater_time(needed.value, 36_000.0)
    assert needed.value == pytest.approx(142.154e6, rel=1e-6)
    assert time.value / 60.0 == pytest.approx(65.8, abs=0.05)
    for found in (needed, time):
        assert is_closed(found) and worked_out(found) == pytest.approx(found.value, rel=1e-12)


@given(st.floats(0.01, 20.0), st.floats(274.15, 300.0), st.floats(0.0, 50_000.0))
@settings(max_examples=100, deadline=None)
def test_running_water_takes_up_what_the_heater_gives(flow: float, before: float, power: float) -> None:
    try:
        reached = heat.temperature_reached(flow, before, power)
    except OutOfRange as refusal:
        assert refusal.code == "water_boils"
        assert before + power / (flow * 4181.0) >= 373.15
        return
    assert heat.heating_duty(flow, before, reached.value).value == pytest.approx(power, abs=1e-3)
    assert worked_out(reached) == pytest.approx(reached.value, rel=1e-12)


def _calls() -> list[object]:
    return [
        lambda: heat.heat_of_dilution("nacl", 0.26, 0.10),
        lambda: heat.heat_of_dilution("naoh", 0.10, 0.20),
        lambda: heat.heat_released("naoh", 0.5, 0.04, 0.0),
        lambda: heat.heat_to_warm(100.0, 300.0, 290.0),
        lambda: heat.heat_to_warm(100.0, 300.0, 380.0),
        lambda: heat.heat_to_warm(-1.0, 290.0, 300.0),
        lambda: heat.heater_time(-1.0, 1000.0),
        lambda: heat.heater_time(float("inf"), 1000.0),
        lambda: heat.heater_time(1000.0, 0.0),
        lambda: heat.heater_time(1000.0, 10.0, 2.0),
        lambda: heat.temperature_reached(0.0, 290.0, 1000.0),
        lambda: heat.heating_duty(-1.0, 290.0, 300.0),
        lambda: heat.heat_capacity_j_per_kg_k("naocl", 0.12),
        lambda: heat.blend_temperature("naoh", 0.10, 293.15, 0.20, 293.15),
    ]


@pytest.mark.parametrize("number", range(14))
def test_what_cannot_be_is_refused(number: int) -> None:
    call = _calls()[number]
    assert callable(call)
    with pytest.raises(OutOfRange):
        call()


def test_every_heat_names_its_source_and_range() -> None:
    found: list[Estimate] = [
        heat.heat_of_dilution("hcl", 0.32, 0.05),
        heat.heat_to_warm(1.0, 290.0, 300.0, "naoh", 0.04),
        heat.heater_time(1.0, 1.0),
        heat.temperature_reached(1.0, 290.0, 1.0),
    ]
    from regenplant.core.engineering.sources import source

    for estimate in found:
        assert source(estimate.source).title and estimate.valid and estimate.method
