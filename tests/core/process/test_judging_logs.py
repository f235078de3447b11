"""Judging over columns: the very same verdict as reading by reading, and what asks for the instrument in a log."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import STREAM_KINDS, Compensation
from regenplant.core.engineering.conductivity_columns import at_25_celsius_of
from regenplant.core.engineering.conductivity_tables import USP_645_STAGE_1
from regenplant.core.process.acceptance import (
    Limit,
    LimitBasis,
    Outcome,
    RinseReading,
    Specification,
    Verdict,
    judge,
)
from regenplant.core.process.series import series_of
from regenplant.core.process.sifting import FLAT_LINE_READINGS, FROZEN_S, instrument_doubt, not_counted
from regenplant.core.process.vocabulary import ResinFamily

LIMIT = Limit("conductivity", "Conductivity at 25 °C", "conductivity", high=10e-4)
TABLE = Limit(
    "conductivity",
    "Conductivity",
    "conductivity",
    basis=LimitBasis.UNCOMPENSATED_TABLE,
    table=USP_645_STAGE_1,
)
SPECIFICATION = Specification(
    "Q-1", "Anion", ResinFamily.SBA_TYPE_1, (LIMIT,), minimum_rinse_bv=4.0, hold_time_s=900.0, consecutive_readings=3,
    longest_gap_s=600.0, maximum_rinse_bv=40.0, compensation=Compensation.BASE,
)  # fmt: skip


def plain_judgement(readings: list[RinseReading], specification: Specification) -> tuple[object, ...]:
    """(end point met, held s, readings held, rinsed BV, the rules' sentences on what is left out), one reading at a time.

    Written once more, as plainly as the rules are told, to hold the columns against it. Without jumps and without figures that stand
    still: the series it is given have none.
    """
    limit = specification.limit("conductivity")
    assert limit is not None
    ordered = sorted(readings, key=lambda reading: reading.at_s)
    counted, left_out, doubts = [], set(), []
    for reading in ordered:
        if instrument_doubt(reading, specification):
            doubts.append(reading)
        elif why := not_counted(reading, limit):
            left_out.add(why)
        else:
            is_table = limit.basis is LimitBasis.UNCOMPENSATED_TABLE
            value = (
                reading.conductivity_siemens_per_m
                if is_table
                else reading.at_25_celsius(specification.compensation)
            )
            allowed = limit.high if not limit.table else max(
                row[1] for row in limit.table if row[0] <= reading.temperature_kelvin + 1e-3
            )  # fmt: skip
            counted.append((reading, value <= (allowed or 0.0)))
    run: list[RinseReading] = []
    for reading, is_inside in reversed(counted):
        if not is_inside or (run and run[-1].at_s - reading.at_s > specification.longest_gap_s):
            break
        run.append(reading)
    held_s = run[0].at_s - run[-1].at_s if run else 0.0
    rinsed_bv = max([0.0, *(reading.volume_bv for reading, _ in counted)])
    doubted = bool(run) and any(r.instrument_is_valid and r.at_s >= run[-1].at_s for r in doubts)
    met = (
        len(run) >= specification.consecutive_readings
        and held_s >= specification.hold_time_s
        and rinsed_bv >= specification.minimum_rinse_bv
        and not doubted
    )
    return met, held_s, len(run), rinsed_bv, left_out


def in_short(verdict: Verdict) -> tuple[object, ...]:
    return (
        verdict.outcome is Outcome.PASS,
        verdict.held_s,
        verdict.held_readings,
        verdict.rinsed_bv,
        set(verdict.not_counted),
    )


readings = st.lists(
    st.builds(
        RinseReading,
        st.integers(0, 60).map(lambda minutes: 61.0 * minutes),
        st.floats(2.0, 12.0),
        st.sampled_from([-1e-4, 0.0, 4e-6, 6e-6, 1e-5, 1.2e-4, 5e-4, 8e-4, 9.99e-4, 1.001e-3, 2e-3, 0.04]),
        st.sampled_from([260.0, 273.15, 291.15, 298.15, 300.0, 373.15]),
        st.sampled_from(list(Compensation)), st.sampled_from(["C-3", "C-4"]), st.booleans(),
    ),
    max_size=25, unique_by=lambda reading: reading.at_s,
)  # fmt: skip


@given(readings, st.sampled_from([LIMIT, TABLE]))
@settings(max_examples=400, deadline=None)
def test_columns_are_judged_as_one_reading_after_another(entries: list[RinseReading], limit: Limit) -> None:
    specification = replace(SPECIFICATION, limits=(limit,))
    verdict = judge(series_of(entries), specification)
    assert in_short(verdict) == plain_judgement(entries, specification)
    assert verdict == judge(entries, specification)


@given(
    st.lists(st.tuples(st.floats(5e-6, 0.5), st.floats(273.15, 373.15)), min_size=1, max_size=30),
    st.sampled_from(STREAM_KINDS),
)
@settings(max_examples=200, deadline=None)
def test_columns_come_to_25_degrees_as_each_reading_does(
    rows: list[tuple[float, float]], kind: Compensation
) -> None:
    found = at_25_celsius_of([value for value, _ in rows], [kelvin for _, kelvin in rows], kind)
    assert found.tolist() == [conductivity.at_25_celsius(value, kelvin, kind).value for value, kelvin in rows]


def test_very_many_temperatures_are_taken_to_the_millikelvin() -> None:
    kelvin = [280.0 + index / 731.0 for index in range(8000)]
    found = at_25_celsius_of([2e-4] * 8000, kelvin, Compensation.NEUTRAL)
    assert found[::400].tolist() == pytest.approx(
        [conductivity.at_25_celsius(2e-4, one, Compensation.NEUTRAL).value for one in kelvin[::400]], rel=3e-5
    )


def logged(values: list[float], every_s: float = 1.0, flow_bv_per_h: float = 15.0) -> list[RinseReading]:
    """A meter's log from 5 BV on, in µS/cm."""
    return [
        RinseReading(every_s * i, 5.0 + flow_bv_per_h / 3600.0 * every_s * i, value * 1e-4, 298.15, Compensation.BASE, "C-3", True)
        for i, value in enumerate(values)
    ]  # fmt: skip


FALLING = [9.0 - 0.0005 * second for second in range(1200)]


def test_a_log_that_holds_the_limit_passes() -> None:
    verdict = judge(logged(FALLING), SPECIFICATION)
    assert verdict.outcome is Outcome.PASS and verdict.held_readings == 1200


def test_a_jump_that_water_cannot_make_is_not_counted_and_the_hold_begins_anew() -> None:
    """A spike to a hundredth in the middle: it and the return are jumps; only 600 s are held since."""
    spiked = [*FALLING[:600], 0.07, *FALLING[601:]]
    verdict = judge(logged(spiked), SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE and verdict.held_s == 597.0
    assert "water cannot" in verdict.instrument_checks[0] and "1 more reading" in verdict.instrument_checks[0]
    longer = [*spiked, *(8.4 - 0.0005 * second for second in range(400))]
    assert judge(logged(longer), SPECIFICATION).outcome is Outcome.PASS


def test_what_water_can_do_between_two_readings_is_no_jump() -> None:
    """A sharp front, a decade in a third of a bed volume, read every second and every five minutes."""
    per_bv = math.log(10.0) / 0.33
    for every_s in (1.0, 10.0, 300.0):
        count = int(2000 / every_s)
        values = [5000.0 * math.exp(-per_bv * 15.0 / 3600.0 * every_s * i) + 8.0 for i in range(count)]
        assert not any(
            "water cannot" in one for one in judge(logged(values, every_s), SPECIFICATION).instrument_checks
        )


def test_a_plant_may_set_how_far_a_jump_goes() -> None:
    spiked = [*FALLING[:600], 9.0 * 3.0, *FALLING[601:]]
    assert not judge(logged(spiked), SPECIFICATION).instrument_checks
    assert (
        "water cannot" in judge(logged(spiked), replace(SPECIFICATION, jump_factor=2.0)).instrument_checks[0]
    )


def test_a_figure_that_stands_still_anywhere_in_the_hold_window_is_no_result() -> None:
    still = [*FALLING[:300], *[8.85] * (int(FROZEN_S) + 1), *(8.8 - 0.0005 * s for s in range(300))]
    verdict = judge(logged(still), SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE and verdict.held_s == 299.0
    assert any("same figure to the last digit for 10" in one for one in verdict.instrument_checks)
    alive = [value + (0.001 if second % 7 == 0 else 0.0) for second, value in enumerate(still)]
    assert judge(logged(alive), SPECIFICATION).outcome is Outcome.PASS


def test_a_meter_at_the_top_of_its_range_is_not_called_frozen() -> None:
    """Above the limit a figure may stand still for long: the meter shows its end of range."""
    verdict = judge(logged([2000.0] * 900 + [1990.0, 1980.0]), SPECIFICATION)
    assert not any("to the last digit" in one for one in verdict.instrument_checks)


def test_thousands_of_odd_readings_are_one_sentence() -> None:
    verdict = judge(logged([*FALLING, *(-0.1 - 0.001 * i for i in range(5000))]), SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE and len(verdict.instrument_checks) == 1
    assert "The same with 4999 more readings." in verdict.instrument_checks[0]


def test_frozen_needs_so_many_readings() -> None:
    few = logged([8.0] * (FLAT_LINE_READINGS - 1), every_s=300.0)
    assert judge(few, SPECIFICATION).instrument_checks == ()


def test_a_hundred_thousand_readings_are_judged_at_once() -> None:
    chance = random.Random(7)
    series = series_of(
        [
            replace(one, temperature_kelvin=290.0 + round(chance.random(), 2), compensation=Compensation.NONE)
            for one in logged(
                [400.0 * math.exp(-i / 15_000.0) + 5.0 + 0.01 * chance.random() for i in range(100_000)]
            )
        ]
    )
    judge(series, SPECIFICATION)
    began = perf_counter()
    judge(series, SPECIFICATION)
    assert perf_counter() - began < 1.0
