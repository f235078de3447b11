"""Readings against a specification: what passes, what does not yet, what never does."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import USP_645_STAGE_1
from regenplant.core.errors import OutOfRange
from regenplant.core.process.acceptance import (
    LabResult,
    Limit,
    LimitBasis,
    Outcome,
    RinseReading,
    Specification,
    judge,
)
from regenplant.core.process.canonical import canonical_text, from_plain
from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.vocabulary import ResinFamily

MICROSIEMENS = 1e-4
LIMIT = Limit("conductivity", "Conductivity at 25 °C", "conductivity", high=10.0 * MICROSIEMENS)
SPECIFICATION = Specification(
    "Q-1", "Anion", ResinFamily.SBA_TYPE_1, (LIMIT,), minimum_rinse_bv=4.0, hold_time_s=900.0, consecutive_readings=3,
    longest_gap_s=600.0, maximum_rinse_bv=20.0, compensation=Compensation.BASE,
)  # fmt: skip


def reading(minute: float, microsiemens: float, **changes: object) -> RinseReading:
    """A compensated reading; 2 BV at the start, 0.2 BV a minute."""
    plain = RinseReading(
        minute * 60.0, 2.0 + 0.2 * minute, microsiemens * MICROSIEMENS, 298.15, Compensation.BASE, "C-3", True
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def falling(*values: float, every: float = 5.0, **changes: object) -> list[RinseReading]:
    return [reading(index * every, value, **changes) for index, value in enumerate(values)]


GOOD = falling(400.0, 60.0, 15.0, 9.0, 8.0, 7.5, 7.2)


def test_a_limit_held_for_its_time_after_enough_rinse_passes() -> None:
    verdict = judge(GOOD, SPECIFICATION)
    assert verdict.outcome is Outcome.PASS
    assert verdict.held_readings == 4
    assert verdict.held_s == 900.0
    assert verdict.open_reasons == ()
    assert "held 15\u00a0min by 4 readings" in verdict.reasons[0].sentence


def test_one_lucky_reading_is_not_yet() -> None:
    verdict = judge(falling(400.0, 60.0, 5.0), SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "1 of 3 readings in a row" in verdict.reasons[0].sentence


def test_a_spike_inside_the_limit_between_readings_outside_never_passes() -> None:
    verdict = judge(falling(60.0, 50.0, 5.0, 50.0, 5.0, 50.0, 5.0), SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.held_readings == 1


def test_a_reading_outside_starts_the_hold_again() -> None:
    verdict = judge([*GOOD, reading(35.0, 12.0), reading(40.0, 9.0)], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.held_readings == 1


def test_readings_too_quick_after_one_another_do_not_make_a_hold_time() -> None:
    verdict = judge(
        [*falling(400.0, 60.0), *(reading(20.0 + 0.1 * index, 5.0) for index in range(10))], SPECIFICATION
    )
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "held 54\u00a0s of 15\u00a0min" in verdict.reasons[0].sentence


def test_a_hold_that_is_a_little_short_is_not_said_to_be_whole() -> None:
    times = (15.0, 20.0, 25.0, 29.8)
    verdict = judge([*falling(400.0, 60.0, 15.0), *(reading(at, 8.0) for at in times)], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "held 14.8\u00a0min of 15\u00a0min" in verdict.reasons[0].sentence
    almost = judge([], SPECIFICATION, rinsed_bv=3.9996)
    assert "Rinsed 3.99\u00a0BV, at least 4\u00a0BV." in [reason.sentence for reason in almost.reasons]


def test_a_gap_in_the_readings_breaks_the_hold() -> None:
    verdict = judge([reading(0, 50.0), reading(10, 9.0), reading(15, 9.0), reading(40, 8.0)], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.held_readings == 1


def test_too_little_rinse_is_not_yet_though_the_limit_is_held() -> None:
    early = [replace(entry, volume_bv=0.5 + 0.001 * entry.at_s / 60.0) for entry in GOOD]
    verdict = judge(early, SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert any(
        reason.code == "minimum_rinse" and "at least 4\u00a0BV" in reason.sentence
        for reason in verdict.open_reasons
    )


def test_a_rinse_that_never_comes_in_fails_at_its_longest() -> None:
    verdict = judge(falling(400.0, 60.0, 30.0, 30.0, every=40.0), SPECIFICATION)
    assert verdict.outcome is Outcome.FAIL
    assert verdict.open_reasons[0].code == "rinse_exhausted"
    without_end = judge(
        falling(400.0, 60.0, 30.0, 30.0, every=40.0), replace(SPECIFICATION, maximum_rinse_bv=None)
    )
    assert without_end.outcome is Outcome.INCOMPLETE


def test_no_readings_is_not_yet() -> None:
    verdict = judge([], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert {reason.code for reason in verdict.reasons} == {"no_readings", "minimum_rinse"}


def test_the_hold_begins_with_the_first_reading_of_the_unbroken_run() -> None:
    assert judge(GOOD, SPECIFICATION).held_from_s == 15 * 60.0
    assert judge([*GOOD, reading(35.0, 12.0), reading(40.0, 9.0)], SPECIFICATION).held_from_s == 40 * 60.0
    assert judge(GOOD[:3], SPECIFICATION).held_from_s is None


def test_readings_are_put_in_order_of_time() -> None:
    assert judge(list(reversed(GOOD)), SPECIFICATION) == judge(GOOD, SPECIFICATION)


# --- instruments ----------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-20")
def test_readings_of_an_instrument_out_of_calibration_never_count() -> None:
    """ER-20."""
    verdict = judge([replace(entry, instrument_is_valid=False) for entry in GOOD], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.not_counted == ("Readings of C-3 are for information: it was out of calibration.",)


def test_an_overdue_instrument_neither_makes_nor_breaks_a_hold() -> None:
    stray = reading(22.0, 90.0, instrument_is_valid=False, instrument_code="C-9")
    assert judge([*GOOD, stray], SPECIFICATION).outcome is Outcome.PASS


def test_better_than_water_can_be_asks_for_the_instrument_and_does_not_pass() -> None:
    """WQ-04: 18.9 MΩ·cm cannot be; the ceiling is 18.28 and 18.46 with a meter good to 1 %."""
    mixed = replace(
        SPECIFICATION, limits=(replace(LIMIT, high=0.1 * MICROSIEMENS),), compensation=Compensation.NEUTRAL
    )
    verdict = judge(falling(*(100.0 / 18.9 / 100.0,) * 8, compensation=Compensation.NEUTRAL), mixed)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert any(
        "18.9\u00a0MΩ·cm cannot be" in sentence and "18.28" in sentence and "18.46" in sentence
        for sentence in verdict.instrument_checks
    )


def test_one_impossible_reading_in_the_hold_window_keeps_it_from_deciding() -> None:
    impossible = reading(22.0, 0.04)
    verdict = judge([*GOOD, impossible], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert any(reason.code == "instrument_check" for reason in verdict.open_reasons)


def test_an_impossible_reading_before_the_window_is_only_reported() -> None:
    verdict = judge([reading(-5.0, 0.04), *GOOD], SPECIFICATION)
    assert verdict.outcome is Outcome.PASS
    assert verdict.instrument_checks


@pytest.mark.parametrize("bad", [0.0, -3.0])
def test_zero_and_negative_readings_ask_for_the_instrument(bad: float) -> None:
    verdict = judge([*GOOD, reading(22.0, bad)], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "water is above zero" in verdict.instrument_checks[0]


def test_a_flat_line_asks_whether_the_cell_is_alive() -> None:
    """WQ-04."""
    verdict = judge(falling(*(8.0,) * 8), SPECIFICATION)
    assert any("6 times" in sentence for sentence in verdict.instrument_checks)


# --- compensation ---------------------------------------------------------------------------------------------------
def test_an_uncompensated_reading_is_brought_to_25_degrees_by_the_kind_of_water() -> None:
    """9 µS/cm of caustic water shows 5.97 at 5 °C; judged as it stands 13 µS/cm would pass for 8.7."""
    at_5 = conductivity.from_25_celsius(13.0 * MICROSIEMENS, 278.15, Compensation.BASE).value
    assert at_5 < 10.0 * MICROSIEMENS
    cold = falling(*(at_5 / MICROSIEMENS,) * 5, compensation=Compensation.NONE, temperature_kelvin=278.15)
    verdict = judge(cold, SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.reasons[0].seen == pytest.approx(13.0 * MICROSIEMENS, rel=1e-6)


def test_a_flat_correction_below_10_microsiemens_does_not_count() -> None:
    verdict = judge([replace(entry, compensation=Compensation.FLAT) for entry in GOOD], SPECIFICATION)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert any("flat 2 %/K" in sentence for sentence in verdict.not_counted)


TABLE = Limit(
    "conductivity", "Conductivity, not compensated", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, table=USP_645_STAGE_1
)  # fmt: skip
BY_TABLE = replace(SPECIFICATION, limits=(TABLE,), compensation=Compensation.NEUTRAL)


def test_a_compensated_reading_is_refused_by_a_table_for_uncompensated_ones() -> None:
    """WQ-02: compensated 1.2 µS/cm against the stage 1 table."""
    verdict = judge(falling(*(1.2,) * 6, compensation=Compensation.NEUTRAL), BY_TABLE)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "a table for uncompensated readings" in verdict.not_counted[0]


def test_an_uncompensated_reading_is_judged_by_the_row_below_its_temperature() -> None:
    inside = falling(1.25, 1.26, 1.27, 1.28, 1.29, compensation=Compensation.NONE, temperature_kelvin=302.15)
    assert judge([replace(entry, volume_bv=9.0) for entry in inside], BY_TABLE).outcome is Outcome.PASS
    outside = falling(1.35, 1.36, 1.37, 1.38, 1.39, compensation=Compensation.NONE, temperature_kelvin=302.15)
    assert judge([replace(entry, volume_bv=9.0) for entry in outside], BY_TABLE).outcome is Outcome.INCOMPLETE


# --- laboratory results ---------------------------------------------------------------------------------------------
SILICA = Limit("silica", "Silica", "concentration", high=1.5e-4)
WITH_SILICA = replace(SPECIFICATION, limits=(LIMIT, SILICA))


def result(value: float, at: float = 0.0, is_valid: bool = True) -> LabResult:
    return LabResult("silica", value, at, "P-2", is_valid)


def test_a_missing_result_is_not_yet_and_a_bad_one_fails() -> None:
    assert judge(GOOD, WITH_SILICA).outcome is Outcome.INCOMPLETE
    assert judge(GOOD, WITH_SILICA, [result(1.0e-4)]).outcome is Outcome.PASS
    failed = judge(GOOD, WITH_SILICA, [result(4.0e-4)])
    assert failed.outcome is Outcome.FAIL
    assert "Silica is 0.4\u00a0mg/L; allowed is at most 0.15\u00a0mg/L" in failed.open_reasons[0].sentence


def test_a_result_from_an_overdue_instrument_is_no_result() -> None:
    verdict = judge(GOOD, WITH_SILICA, [result(1.0e-4, is_valid=False)])
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "out of calibration" in verdict.open_reasons[0].sentence


def test_the_latest_result_decides_and_the_earlier_one_is_told() -> None:
    verdict = judge(GOOD, WITH_SILICA, [result(1.0e-4, at=900.0), result(4.0e-4, at=0.0)])
    assert verdict.outcome is Outcome.PASS
    assert "1 earlier result was outside" in verdict.reasons[1].sentence


def test_a_failed_result_outweighs_a_rinse_that_is_not_yet_there() -> None:
    assert judge(GOOD[:2], WITH_SILICA, [result(4.0e-4)]).outcome is Outcome.FAIL


# --- specifications -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "change",
    [
        {"consecutive_readings": 1}, {"hold_time_s": 0.0}, {"minimum_rinse_bv": 0.0}, {"limits": ()}, {"longest_gap_s": 0.0}, {"jump_factor": 1.0},
        {"limits": (LIMIT, LIMIT)}, {"compensation": Compensation.NONE}, {"compensation": Compensation.FLAT},
    ],
)  # fmt: skip
def test_a_specification_that_would_pass_anything_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(OutOfRange):
        replace(SPECIFICATION, **change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "make",
    [
        lambda: Limit("ph", "pH", "ph"),
        lambda: Limit("ph", "pH", "ph", low=9.0, high=7.0),
        lambda: Limit("conductivity", "Conductivity", "conductivity", high=1.0, table=USP_645_STAGE_1),
        lambda: Limit(
            "conductivity", "Conductivity", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, high=1.0
        ),
    ],
)
def test_a_limit_that_says_nothing_or_two_things_is_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(OutOfRange):
        make()


@pytest.mark.parametrize("specification", [*default_specifications(), BY_TABLE], ids=lambda entry: entry.code)
def test_a_specification_survives_storage(specification: Specification) -> None:
    assert from_plain(Specification, json.loads(canonical_text(specification))) == specification


def test_a_verdict_can_be_stored() -> None:
    verdict = judge(GOOD, WITH_SILICA, [result(1.0e-4)])
    assert from_plain(type(verdict), json.loads(canonical_text(verdict))) == verdict


# --- properties -----------------------------------------------------------------------------------------------------
readings = st.lists(
    st.builds(
        RinseReading, st.floats(0.0, 20_000.0), st.floats(0.0, 30.0), st.floats(-1e-3, 0.1), st.floats(270.0, 340.0),
        st.sampled_from(list(Compensation)), st.sampled_from(["C-3", "C-4"]), st.booleans(),
    ),
    max_size=40,
)  # fmt: skip


@given(readings)
@settings(max_examples=200, deadline=None)
def test_whatever_is_read_a_pass_means_held_long_enough_by_valid_readings_after_enough_rinse(
    entries: list[RinseReading],
) -> None:
    verdict = judge(entries, SPECIFICATION)
    if verdict.outcome is Outcome.PASS:
        assert verdict.held_readings >= SPECIFICATION.consecutive_readings
        assert verdict.held_s >= SPECIFICATION.hold_time_s
        assert verdict.rinsed_bv >= SPECIFICATION.minimum_rinse_bv
    assert all(reason.sentence.endswith(".") and "!" not in reason.sentence for reason in verdict.reasons)


@pytest.mark.requirement("ER-20")
@given(readings)
@settings(max_examples=100, deadline=None)
def test_without_a_valid_instrument_nothing_passes(entries: list[RinseReading]) -> None:
    invalid = [replace(entry, instrument_is_valid=False) for entry in entries]
    assert judge(invalid, SPECIFICATION).outcome is not Outcome.PASS


@given(st.lists(st.floats(5.0, 60.0), min_size=1, max_size=30), st.floats(5.0, 200.0))
@settings(max_examples=100, deadline=None)
def test_a_last_reading_outside_never_passes(values: list[float], last: float) -> None:
    outside = max(last, 10.001)
    assert judge(falling(*values, outside, every=3.0), SPECIFICATION).outcome is not Outcome.PASS


def test_recirculated_water_is_said_and_counts_no_more_than_what_passed() -> None:
    verdict = judge([], SPECIFICATION, rinsed_bv=12.0, recirculated_bv=8.0)
    sentence = verdict.reasons[-1].sentence
    assert sentence.startswith("Rinsed 12\u00a0BV, of which 8\u00a0BV recirculated, at least ")
    assert (verdict.rinsed_bv, verdict.recirculated_bv) == (12.0, 8.0)
    assert judge([], SPECIFICATION, rinsed_bv=5.0, recirculated_bv=9.0).recirculated_bv == 5.0
    assert "recirculated" not in judge([], SPECIFICATION, rinsed_bv=12.0).reasons[-1].sentence
