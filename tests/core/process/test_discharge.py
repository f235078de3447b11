"""When a waste tank may go to the sewer: two good readings, no average, nothing from before (EV-04). Worked by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from regenplant.core.errors import OutOfRange
from regenplant.core.process.discharge import (
    LOWEST_PH,
    PermitContent,
    TankReading,
    fault_of,
    judge,
    refuse_permit,
    why_not_in_force,
)

PERMIT = PermitContent(number="Demo 1", expires_on="2027-06-30", ph_low=5.5, ph_high=9.0)
MINUTE, COOL = 60.0, 298.15


def at(minute: float, ph: float, **more: float | bool) -> TankReading:
    return TankReading(minute * MINUTE, ph, **{"temperature_kelvin": COOL, **more})  # type: ignore[arg-type]


def judged(
    *readings: TankReading, now: float = 60.0, mixing: float | None = 0.0, changed: float | None = None
):  # type: ignore[no-untyped-def]
    return judge(
        PERMIT,
        readings,
        mixing_since_s=None if mixing is None else mixing * MINUTE,
        changed_at_s=None if changed is None else changed * MINUTE,
        now_s=now * MINUTE,
    )


@pytest.mark.requirement("EV-04")
def test_4_9_then_6_1_is_not_enough_until_two_good_readings_stand() -> None:
    """The mean of 4.9 and 6.1 is 5.5, just inside: it proves nothing."""
    found = judged(at(20, 4.9), at(31, 6.1), now=31)
    assert not found.is_proven and found.standing == ("outside", "good")
    assert found.missing == (
        "A second good reading after the last one outside is missing, at least 10\u00a0min after the first one.",
    )
    assert not judged(at(20, 4.9), at(31, 6.1), at(40.9, 6.1), now=41).is_proven
    assert judged(at(20, 4.9), at(31, 6.1), at(41, 6.1), now=41).is_proven


@pytest.mark.requirement("EV-04")
def test_a_reading_outside_undoes_the_good_ones_before_it() -> None:
    found = judged(at(20, 6.5), at(30, 6.6), at(35, 9.4), at(46, 8.9), now=46)
    assert found.standing == ("before", "before", "outside", "good") and not found.is_proven
    assert judged(at(20, 6.5), at(30, 6.6), at(35, 9.4), at(46, 8.9), at(56, 8.8), now=56).is_proven


def test_what_flows_in_makes_earlier_readings_another_water_and_mixing_begins_anew() -> None:
    assert judged(at(20, 6.5), at(30, 6.6), now=31).is_proven
    found = judged(at(20, 6.5), at(30, 6.6), now=32, changed=31)
    assert found.standing == ("before", "before")
    assert found.missing[0] == "Mixing needs 14\u00a0min more."
    assert not judged(
        at(40, 6.5), at(50, 6.5), now=50, changed=31
    ).is_proven  # the first one at 9 min of mixing
    assert judged(at(46, 6.5), at(56, 6.5), now=56, changed=31).is_proven


def test_readings_of_a_tank_that_is_not_mixed_long_enough_do_not_count() -> None:
    assert judged(at(5, 7.0), at(16, 7.0), now=16).standing == ("unmixed", "good")
    assert (
        judged(at(20, 7.0), at(31, 7.0), now=31, mixing=None)
        .missing[0]
        .startswith("The tank is not being mixed")
    )


@pytest.mark.requirement("EV-04")
def test_an_instrument_out_of_calibration_proves_nothing_and_still_stops() -> None:
    blind = {"instrument_is_valid": False}
    assert judged(at(20, 7.0, **blind), at(31, 7.0), now=31).standing == ("instrument", "good")
    found = judged(at(20, 7.0), at(31, 7.0), at(33, 4.0, **blind), now=34)
    assert not found.is_proven and found.standing[-1] == "outside"


def test_warm_water_is_outside_and_the_edges_are_inside() -> None:
    assert fault_of(PERMIT, at(0, 5.5)) == fault_of(PERMIT, at(0, 9.0, temperature_kelvin=313.15)) == ""
    assert "is above" in fault_of(PERMIT, at(0, 7.0, temperature_kelvin=313.65))
    assert fault_of(PERMIT, at(0, 5.49, temperature_kelvin=320.0)).count(";") == 1


def test_readings_grow_old() -> None:
    assert judged(at(20, 7.0), at(30, 7.0), now=90).is_proven
    assert judged(at(20, 7.0), at(30, 7.0), now=91).missing == (
        "The last good reading is 61\u00a0min old. Read once more.",
    )


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.integers(15, 200), st.integers(30, 110)), max_size=6), st.integers(0, 5))
def test_no_order_of_entry_and_no_mean_ever_lets_an_outside_reading_pass(
    pairs: list[tuple[int, int]], turn: int
) -> None:
    """Whatever the readings: proven means two inside, 10 min apart, and none outside from the first of them on."""
    readings = [at(minute, tenths / 10) for minute, tenths in pairs]
    turned = readings[turn:] + readings[:turn]
    found, again = judged(*readings, now=200), judged(*turned, now=200)
    assert found.missing == again.missing
    if found.is_proven:
        since = found.good_from_s or 0.0
        assert all(5.5 <= one.ph <= 9.0 for one in readings if one.at_s >= since)
        assert (found.good_to_s or 0.0) - since >= 600.0


def test_a_permit_below_ph_5_or_with_an_empty_window_cannot_be() -> None:
    """40 CFR 403.5(b)(2): nothing below pH 5.0 goes to a sewer."""
    refuse_permit(replace(PERMIT, ph_low=LOWEST_PH))
    for change, field in (
        ({"ph_low": 4.99}, "ph_low"),
        ({"ph_high": 12.5}, "ph_high"),
        ({"ph_low": 9.0}, "ph_low"),
        ({"readings_apart_s": 599.0}, "readings_apart_s"),
        ({"temperature_max_kelvin": 343.15}, "temperature_max_kelvin"),
        ({"chloride_kg_per_day": 0.0}, "chloride_kg_per_day"),
        ({"expires_on": "30.6.2027"}, "expires_on"),
    ):
        with pytest.raises(OutOfRange) as refused:
            refuse_permit(replace(PERMIT, **change))
        assert refused.value.field == field


def test_a_permit_holds_through_its_last_day_and_needs_number_and_day() -> None:
    assert why_not_in_force(PERMIT, date(2027, 6, 30)) == ""
    assert "ended on 2027-06-30" in why_not_in_force(PERMIT, date(2027, 7, 1))
    assert "missing: number and last day." in why_not_in_force(PermitContent(), date(2027, 1, 1))
