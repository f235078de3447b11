"""Air mix: flows by hand in both systems, gas law, levels."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant import units
from regenplant.core.engineering import air_mix
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out

FOOT = 0.3048


@pytest.mark.parametrize(("scfm_per_ft2", "metres_per_hour"), [(6.0, 110.0), (10.0, 180.0)])
def test_the_usual_range_is_the_same_in_both_systems(scfm_per_ft2: float, metres_per_hour: float) -> None:
    """Common practice 6 to 10 scfm/ft²; 1 scfm/ft² = 0.3048 m/min = 18.288 m/h."""
    assert scfm_per_ft2 * FOOT * 60.0 == pytest.approx(metres_per_hour, rel=0.02)
    assert not air_mix.air_flow(scfm_per_ft2 * FOOT / 60.0, 1.0).warnings
    assert not air_mix.air_flow(metres_per_hour / 3600.0, 1.0).warnings


def test_air_flow_of_a_three_foot_vessel_by_hand() -> None:
    """8 scfm/ft² on a 3 ft vessel, 7.069 ft²: 56.5 scfm; 1 ft³/min = 4.7195e-4 m³/s."""
    flow = air_mix.air_flow(8.0 * FOOT / 60.0, 3.0 * FOOT)
    assert flow.value / 4.719474e-4 == pytest.approx(56.55, rel=1e-3)


def test_air_outside_common_practice_is_said() -> None:
    for metres_per_hour in (60.0, 300.0):
        assert "110 to 180 m/h" in air_mix.air_flow(metres_per_hour / 3600.0, 1.0).warnings[0]


def test_air_in_the_vessel_by_the_gas_law() -> None:
    """One standard cubic metre per second at 60 °F, then at 35 °C and two atmospheres: 308.15/288.706/2 = 0.5337."""
    flow = air_mix.air_flow(0.04, 1.0)
    inside = air_mix.air_flow_in_vessel(flow, 308.15, 101325.0)
    assert inside.value / flow.value == pytest.approx(0.5337, abs=1e-4)
    assert air_mix.air_flow_in_vessel(flow, 288.70555555555556, 0.0).value == pytest.approx(flow.value)


@given(st.floats(274.0, 330.0), st.floats(0.0, 2e5), st.floats(1.0, 1e5))
def test_pressure_takes_room_from_the_air(kelvin: float, gauge: float, more: float) -> None:
    flow = air_mix.air_flow(0.04, 1.0)
    low, high = (air_mix.air_flow_in_vessel(flow, kelvin, p).value for p in (gauge, gauge + more))
    assert high < low
    moles = [air * (101325.0 + p) for air, p in ((low, gauge), (high, gauge + more))]
    assert moles[0] == pytest.approx(moles[1])


def test_levels_volumes_and_pressure_by_hand() -> None:
    """1.2 m of bed and 0.15 m of water: drain 2.0 − 1.35 = 0.65 m of a 1 m vessel, 0.5105 m³; 1.35 m weigh 13.2 kPa."""
    level = air_mix.drain_down_level(1.2, 0.15, 2.2)
    assert level.value == pytest.approx(1.35)
    assert air_mix.drain_volume(level, 2.0, 1.0).value == pytest.approx(0.5105, abs=1e-4)
    assert air_mix.air_pressure(level, 293.15).value == pytest.approx(13_215.0, rel=1e-3)
    assert air_mix.air_volume(air_mix.air_flow(0.04, 1.0), 600.0).value == pytest.approx(
        0.04 * 0.785398 * 600.0
    )


@pytest.mark.parametrize(("cover", "is_usual"), [(0.05, False), (0.10, True), (0.25, True), (0.40, False)])
def test_water_above_the_bed_outside_common_practice_is_said(cover: float, is_usual: bool) -> None:
    assert (air_mix.drain_down_level(1.0, cover, 2.0).warnings == ()) is is_usual


def test_what_cannot_be_is_refused() -> None:
    level = air_mix.drain_down_level(1.2, 0.15, 2.2)
    with pytest.raises(OutOfRange, match="The vessel ends there"):
        air_mix.drain_down_level(1.9, 0.2, 2.0)
    with pytest.raises(OutOfRange, match="water level before draining"):
        air_mix.drain_volume(level, 1.0, 1.0)
    with pytest.raises(OutOfRange, match="air flow on the bed"):
        air_mix.air_flow(0.0, 1.0)
    with pytest.raises(OutOfRange, match="time of the air mix"):
        air_mix.air_volume(air_mix.air_flow(0.04, 1.0), 0.0)
    with pytest.raises(OutOfRange, match="pressure in the vessel"):
        air_mix.air_flow_in_vessel(air_mix.air_flow(0.04, 1.0), 293.15, -1.0)


def test_the_printed_formulas_give_the_values() -> None:
    level, flow = air_mix.drain_down_level(1.2, 0.15, 2.2), air_mix.air_flow(0.04, 1.0)
    for estimate in (
        level,
        flow,
        air_mix.air_flow_in_vessel(flow, 300.0, 2e4),
        air_mix.air_volume(flow, 600.0),
        air_mix.drain_volume(level, 2.0, 1.0),
        air_mix.air_pressure(level, 293.15),
    ):
        assert is_closed(estimate)
        assert worked_out(estimate) == pytest.approx(estimate.value, rel=1e-9)


def test_air_is_never_shown_as_a_flow_of_water() -> None:
    """Gallons per minute are a measure of liquid: air has its own kinds, in cubic feet."""
    flow = air_mix.air_flow(0.04, 1.0)
    inside = air_mix.air_flow_in_vessel(flow, 300.0, 2e4)
    assert [flow.kind, inside.kind, flow.inputs[0].kind] == ["air_flow", "air_flow", "air_velocity"]
    assert air_mix.air_volume(flow, 600.0).kind == "air_volume"
    assert units.other_system(flow.value, flow.kind) == "66.6\u00a0ft³/min"
    assert "60 °F (15.56 °C) and 101 325 Pa" in flow.name
    # a normal cubic metre is counted at 0 °C and the same pressure: 288.7056 / 273.15
    assert pytest.approx(1.057, abs=5e-4) == 288.70555555555556 / 273.15
