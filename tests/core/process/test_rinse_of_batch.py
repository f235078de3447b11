"""From a batch's own readings to the forecast: the right kind of water, in order, without what cannot be."""

from __future__ import annotations

import json
import math
import time
from dataclasses import replace

import numpy as np
import pytest

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.process.forecasting import network
from regenplant.core.process.forecasting.of_batch import (
    Chemistry,
    ReadingColumns,
    SetPoints,
    bed_of,
    columns_of_readings,
    forecast_of_batch,
    readings_of,
)
from regenplant.core.process.forecasting.rinse_so_far import RinsedBed
from regenplant.core.process.specification import RinseReading
from regenplant.core.process.vocabulary import ResinFamily


def reading(
    at_s: float, volume_bv: float, siemens_per_m: float, compensation: Compensation = Compensation.NEUTRAL
) -> RinseReading:
    return RinseReading(at_s, volume_bv, siemens_per_m, 288.15, compensation, "C-1", True)


def test_every_family_but_carbon_has_a_rinse() -> None:
    assert [family for family in ResinFamily if bed_of(family) is None] == [
        family for family in ResinFamily if family is ResinFamily.CARBON or family.value in ("sel",)
    ]


def test_readings_come_in_order_from_the_first_one() -> None:
    found = readings_of([reading(1000.0, 2.0, 1e-3), reading(700.0, 1.0, 5e-3)], RinsedBed.MIXED_BED)
    assert [(each.at_s, each.bed_volumes_bv) for each in found] == [(0.0, 1.0), (300.0, 2.0)]


def test_a_raw_reading_is_brought_to_25_celsius_by_the_kind_of_water() -> None:
    """At 15 °C acid water rises by about 16 % to 25 °C, caustic and salt water by more (limiting conductances)."""
    raw = [reading(0.0, 1.0, 1e-2, Compensation.NONE)]
    acid = readings_of(raw, RinsedBed.CATION_AFTER_ACID)[0].conductivity_siemens_per_m
    salt = readings_of(raw, RinsedBed.SOFTENER_AFTER_BRINE)[0].conductivity_siemens_per_m
    assert 1.10 < acid / 1e-2 < 1.20 < salt / 1e-2 < 1.30
    assert readings_of([reading(0.0, 1.0, 1e-2)], RinsedBed.MIXED_BED)[
        0
    ].conductivity_siemens_per_m == pytest.approx(1e-2)


def test_better_than_water_is_left_out() -> None:
    raw = [reading(0.0, 1.0, 2e-6, Compensation.NONE), reading(60.0, 1.5, 1e-3, Compensation.NONE)]
    assert len(readings_of(raw, RinsedBed.MIXED_BED)) == 1


# --- the door of the room: plain values in, plain values out ----------------------------------------------------------


VOLUMES = np.linspace(1.0, 3.8, 15)
FALL = 0.5 * 10.0 ** (-(VOLUMES - 1.0) / 1.6) + 2e-4
EPOCH_S = 1.78e9
HISTORY = [(5.0, 1.6), (5.2, 1.7), (4.9, None), (5.1, 1.6)]
SET_POINTS = SetPoints(ResinFamily.SBA_TYPE_1, 0.5, 12.0 * 0.5 / 3600.0, 20e-4, 2e-4)


def columns(
    volumes: np.ndarray = VOLUMES, values: np.ndarray = FALL, minutes_per_bv: float = 5.0
) -> ReadingColumns:
    return ReadingColumns(
        EPOCH_S + volumes * 60.0 * minutes_per_bv, volumes, values, np.full(len(volumes), 288.15)
    )


def test_a_batch_gets_volumes_water_minutes_and_a_chance() -> None:
    said = forecast_of_batch(columns(), SET_POINTS, HISTORY)
    assert said.enough_data and said.reason == "" and said.reason_code == "" and said.p_never is not None
    assert said.p05 is not None and said.p50 is not None and said.p95 is not None
    assert 3.8 <= said.p05.bed_volumes_bv < said.p50.bed_volumes_bv < said.p95.bed_volumes_bv
    assert said.p50.bed_volumes_bv == pytest.approx(1.0 + 1.6 * math.log10(4998 / 18), rel=0.08)
    assert said.p50.water_litres == pytest.approx(500.0 * said.p50.bed_volumes_bv)
    assert said.p50.left_bv == pytest.approx(said.p50.bed_volumes_bv - 3.8)
    assert said.p50.left_litres == pytest.approx(500.0 * said.p50.left_bv)
    assert said.p50.left_min == pytest.approx(5.0 * said.p50.left_bv, rel=1e-3)
    assert said.p50.minutes_from_now == said.p50.left_min
    assert said.rinsed_bv == 3.8 and said.taken == 15 and said.left_out == 0
    assert said.at_s == pytest.approx(EPOCH_S + 3.8 * 300.0)
    assert said.model.startswith("rinse ")


def test_minutes_from_now_run_down_while_nobody_reads() -> None:
    now_s = EPOCH_S + 3.8 * 300.0 + 120.0
    said = forecast_of_batch(columns(), SET_POINTS, HISTORY, now_s=now_s)
    assert said.p50 is not None and said.p05 is not None
    assert said.p50.minutes_from_now == pytest.approx(said.p50.left_min - 2.0)
    later = forecast_of_batch(columns(), SET_POINTS, HISTORY, now_s=now_s + 36_000.0)
    assert later.p50 is not None and later.p50.minutes_from_now == 0.0


def test_the_zero_of_time_does_not_matter_when_the_flow_was_as_set() -> None:
    """Worked back from the first reading by the flow set, or told: the same."""
    told = forecast_of_batch(columns(), SET_POINTS, HISTORY, began_s=EPOCH_S)
    worked_back = forecast_of_batch(columns(), SET_POINTS, HISTORY)
    assert told.p50 is not None and worked_back.p50 is not None
    assert worked_back.p50.bed_volumes_bv == pytest.approx(told.p50.bed_volumes_bv, rel=1e-6)


def test_readings_in_any_order_say_the_same() -> None:
    backwards = columns()
    backwards = ReadingColumns(
        backwards.at_s[::-1], backwards.rinsed_bv[::-1], backwards.conductivity_25_siemens_per_m[::-1]
    )
    forwards = ReadingColumns(columns().at_s, VOLUMES.tolist(), FALL.tolist())
    assert forecast_of_batch(backwards, SET_POINTS, HISTORY) == forecast_of_batch(
        forwards, SET_POINTS, HISTORY
    )


def test_what_cannot_be_is_left_out_counted_and_said() -> None:
    values, volumes = FALL.copy(), VOLUMES.copy()
    values[2], values[4], values[6] = -1.0, math.nan, 1e-9
    volumes[8] = 38.0
    said = forecast_of_batch(ReadingColumns(columns().at_s, volumes, values), SET_POINTS, HISTORY)
    good = forecast_of_batch(columns(), SET_POINTS, HISTORY)
    assert said.left_out == 4 and said.taken == 11 and "4 readings cannot be right" in said.notes[0]
    assert said.p50 is not None and good.p50 is not None
    assert said.p50.bed_volumes_bv == pytest.approx(good.p50.bed_volumes_bv, rel=0.08)


@pytest.mark.parametrize(
    ("readings", "set_points", "code", "words"),
    [
        (
            columns(VOLUMES[:0], FALL[:0]),
            SET_POINTS,
            "no_readings",
            "usually ends at about 5 BV (4 earlier rinses)",
        ),
        (columns(VOLUMES[:2], FALL[:2] * -1.0), SET_POINTS, "no_readings", "None of 2 readings can be right"),
        (
            columns(),
            replace(SET_POINTS, family=ResinFamily.CARBON),
            "not_forecast",
            "No rinse-down is forecast",
        ),
        (columns(), replace(SET_POINTS, limit_siemens_per_m=0.0), "set_points", "end point"),
        (columns(), replace(SET_POINTS, limit_siemens_per_m=math.nan), "set_points", "end point"),
        (columns(), replace(SET_POINTS, bed_volume_m3=0.0), "set_points", "resin volume"),
        (columns(), replace(SET_POINTS, flow_m3_per_s=0.0), "set_points", "flow set"),
        (columns(), replace(SET_POINTS, rinse_water_siemens_per_m=-1.0), "set_points", "rinse water"),
    ],
)
def test_what_stands_in_the_way_is_a_reason_and_no_error(
    readings: ReadingColumns, set_points: SetPoints, code: str, words: str
) -> None:
    said = forecast_of_batch(readings, set_points, HISTORY)
    assert not said.enough_data and said.reason_code == code and words in said.reason
    assert said.p05 is said.p50 is said.p95 is None and said.sentence == said.reason


def test_a_band_that_is_open_is_not_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = network.Answer(0.1, 1.5, 3.0, 0.2)
    monkeypatch.setattr(network, "answer", lambda described, anchor: answer)
    said = forecast_of_batch(columns(), SET_POINTS)
    assert not said.enough_data and said.reason_code == "band_too_wide" and said.p_never == 0.2
    assert "Not enough data" in said.reason and "Read on" in said.reason


def test_rinse_water_nobody_noted_is_assumed_and_said_so() -> None:
    said = forecast_of_batch(columns(), replace(SET_POINTS, rinse_water_siemens_per_m=None), HISTORY)
    assert said.enough_data and "2 µS/cm is assumed" in said.notes[0]


def test_history_that_is_no_volume_is_left_out_and_only_the_newest_ten_count() -> None:
    good = forecast_of_batch(columns(), SET_POINTS, HISTORY)
    odd = [(math.nan, 1.0), (-3.0, None), (math.inf, None), *HISTORY[:2], (4.9, math.nan), *HISTORY[3:]]
    assert forecast_of_batch(columns(), SET_POINTS, odd) == good
    long = [(50.0, 20.0)] * 30 + [(5.0, 1.6)] * 10
    assert forecast_of_batch(columns(), SET_POINTS, long) == forecast_of_batch(
        columns(), SET_POINTS, long[-10:]
    )


def test_causes_come_in_order_with_the_next_test() -> None:
    volumes = np.linspace(1.0, 6.0, 26)
    stuck = 0.5 * 10.0 ** -(volumes - 1.0) + 90e-4
    said = forecast_of_batch(
        columns(volumes, stuck), SET_POINTS, HISTORY, Chemistry(rinse_water_siemens_per_m=80e-4)
    )
    assert said.causes[0].code == "rinse_water" and said.causes[0].next_test and said.causes[0].because
    assert [each.weight for each in said.causes] == sorted(
        (each.weight for each in said.causes), reverse=True
    )
    assert said.causes[0].next_test in said.diagnosis
    refused = forecast_of_batch(columns(volumes, stuck), SET_POINTS, HISTORY, Chemistry(ph=15.0))
    assert refused.enough_data and refused.causes == () and "pH" in refused.diagnosis


def test_a_batch_s_own_readings_give_columns() -> None:
    raw = [reading(1000.0, 2.0, 1e-3), reading(700.0, 1.0, 5e-3)]
    found = columns_of_readings(raw, ResinFamily.MIXED_BED)
    assert list(found.at_s) == [700.0, 1000.0] and list(found.rinsed_bv) == [1.0, 2.0]
    assert columns_of_readings(raw, ResinFamily.CARBON).at_s == []
    assert columns_of_readings([], ResinFamily.MIXED_BED).at_s == []


def test_it_goes_into_a_column_of_json_and_comes_back() -> None:
    for made in (columns(), columns(VOLUMES[:0], FALL[:0])):
        said = forecast_of_batch(made, SET_POINTS, HISTORY)
        kept = said.as_json()
        assert json.loads(json.dumps(kept, allow_nan=False)) == kept
        assert kept["p50_bv"] == (said.p50.bed_volumes_bv if said.p50 else None)
        assert kept["enough_data"] is said.enough_data


def test_a_million_readings_are_as_quick_to_forecast() -> None:
    """The aim is 100 ms on a quiet machine; the bound leaves room for a busy one."""
    volumes = np.linspace(1.0, 4.4, 1_000_000)
    many = columns(volumes, 0.5 * 10.0 ** (-(volumes - 1.0) / 1.6) + 2e-4)
    forecast_of_batch(columns(), SET_POINTS, HISTORY)
    began = time.process_time()
    said = forecast_of_batch(many, SET_POINTS, HISTORY)
    assert time.process_time() - began < 1.0
    assert said.taken == 1_000_000 and said.p50 is not None
    assert said.p50.bed_volumes_bv == pytest.approx(1.0 + 1.6 * math.log10(4998 / 18), rel=0.05)
