"""Forecasts of what nobody thought of: faults no weight was trained on, odd numbers, very long logs."""

from __future__ import annotations

import math
import time
import warnings
from dataclasses import replace

import numpy as np
import pytest

from regenplant.core.process.forecasting.curve_files import as_entry
from regenplant.core.process.forecasting.diagnosis import diagnose
from regenplant.core.process.forecasting.forecast import forecast
from regenplant.core.process.forecasting.rinse_so_far import (
    METER_TOPS_SIEMENS_PER_M,
    PastRinse,
    ReadingSoFar,
    RinsedBed,
    RinseSoFar,
    checked,
)
from regenplant.core.process.forecasting.thinning import MOST_KEPT, Columns, in_order
from tests.rinse.columns import FORMS
from tests.rinse.faults import STRANGE
from tests.rinse.generator import rinse_set
from tests.rinse.scoring import summary
from tests.rinse_report import grouped, judge

LIMIT = 20e-4

# --- faults never trained on ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def strangers():
    pairs = [
        pair
        for number, form in enumerate(FORMS)
        for pair in rinse_set(50_010 + number, 25, form, "quarters", kinds="strange")
    ]
    return judge(pairs)[0]


def test_bands_hold_on_faults_no_weight_was_trained_on(strangers) -> None:
    """Recontamination that swings, a channel that opens midway, a meter changed for one that reads otherwise."""
    found = summary([row for _, row in strangers])
    assert found.count > 700
    assert found.score <= 0.30
    assert 0.85 <= found.coverage <= 0.97
    assert found.brier <= 0.115
    assert found.silent_share <= 0.05


MISSED = pytest.mark.xfail(
    strict=True,
    reason="The aim of 0.80 is missed: 0.78 where a channel opens, 0.77 a quarter of the way, before most of these faults begin.",
)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=MISSED) if name == "channel_opens" else name for name in STRANGE]
)
def test_none_of_them_breaks_the_band(strangers, name: str) -> None:
    assert grouped(strangers, "mechanism")[name].coverage >= 0.80


@pytest.mark.parametrize("cut", [pytest.param("25", marks=MISSED), "50", "75"])
def test_at_each_cut_the_band_holds_on_them(strangers, cut: str) -> None:
    assert grouped(strangers, "cut")[cut].coverage >= 0.80


# --- odd numbers ----------------------------------------------------------------------------------------------------


def _odd_rinse(random: np.random.Generator) -> RinseSoFar:
    """Anything that is allowed: single readings, absurd limits, equal moments, jumps over ten decades, the ends of every range."""
    count = int(random.choice((1, 2, 3, 4, 7, 30, 299, 300, 301, 900)))
    scale = float(np.exp(random.uniform(math.log(1e-3), math.log(300.0))))
    bv = np.sort(random.uniform(0.0, scale, count)) * (random.random() > 0.1)
    at = np.sort(random.uniform(0.0, 1e5, count)) * (random.random() > 0.1)
    values = np.exp(random.uniform(math.log(1e-9), math.log(1e3), count))
    if random.random() < 0.4:
        values = np.sort(values)[::-1]
    if random.random() < 0.2:
        values[:] = random.choice((1e-9, 1.0, *METER_TOPS_SIEMENS_PER_M))
    readings = tuple(
        ReadingSoFar(float(b), float(s), float(v), None if random.random() < 0.3 else float(random.uniform(200.0, 500.0)))
        for b, s, v in zip(bv, at, values, strict=True)
    )  # fmt: skip
    past = tuple(
        PastRinse(
            None if random.random() < 0.3 else float(np.exp(random.uniform(-13.0, 9.0))),
            None if random.random() < 0.3 else float(np.exp(random.uniform(-13.0, 9.0))),
        )
        for _ in range(int(random.choice((0, 1, 2, 10, 200))))
    )
    return RinseSoFar(
        list(RinsedBed)[int(random.integers(4))],
        float(np.exp(random.uniform(-13.0, 6.0))),
        1.0,
        float(random.choice((0.0, 1e-4, 100.0))),
        float(np.exp(random.uniform(math.log(1e-8), math.log(100.0)))),
        readings,
        past,
    )


def test_every_rinse_that_is_allowed_gets_finite_numbers_in_order_and_no_warning() -> None:
    random = np.random.default_rng(17)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for _ in range(300):
            made = _odd_rinse(random)
            made = replace(
                made, flow_m3_per_s=made.bed_volume_m3 * float(random.choice((0.01, 12.0, 1000.0))) / 3600.0
            )
            said = forecast(made)
            assert 0.0 <= said.never_frac <= 1.0 and said.sentence
            if said.has_enough:
                entry = as_entry("x", said)
                values = [entry["p05_bv"], entry["p50_bv"], entry["p95_bv"]]
                assert all(math.isfinite(value) and value > 0.0 for value in values) and values == sorted(
                    values
                )
                assert said.late is not None and math.isfinite(said.late.left_s) and said.late.left_s >= 0.0
            assert diagnose(made, None, said.never_frac).sentence


# --- very long logs -------------------------------------------------------------------------------------------------


def _long(count: int, seed: int = 3) -> RinseSoFar:
    random = np.random.default_rng(seed)
    volumes = np.linspace(0.5, 4.4, count)
    values = (0.5 * 10.0 ** (-(volumes - 1.0) / 1.6) + 2e-4) * np.exp(random.normal(0.0, 0.02, count))
    readings = tuple(
        ReadingSoFar(float(bv), float(bv) * 300.0, float(value), 288.15)
        for bv, value in zip(volumes, values, strict=True)
    )
    past = tuple(PastRinse(end, 1.7) for end in (5.0, 5.1, 4.9))
    return RinseSoFar(RinsedBed.ANION_AFTER_CAUSTIC, 0.5, 12.0 * 0.5 / 3600.0, 2e-4, LIMIT, readings, past)


def test_a_log_of_a_hundred_thousand_says_what_a_hand_s_hundred_readings_say_as_quickly() -> None:
    """The aim is 100 ms; the bound leaves room for a busy machine, figures of a quiet one stand in DEVELOPERS.md."""
    long, short = _long(100_000), _long(100)
    forecast(short)
    began = time.process_time()
    said = forecast(long)
    assert time.process_time() - began < 0.5
    of_short = forecast(short)
    assert said.middle is not None and of_short.middle is not None
    assert said.middle.bed_volumes_bv == pytest.approx(of_short.middle.bed_volumes_bv, rel=0.05)
    assert said.middle.left_s == pytest.approx(said.middle.left_bv * 300.0, rel=0.05)


def test_a_long_log_keeps_its_last_moment_and_its_first_level() -> None:
    long = _long(5_000)
    short = checked(long)
    assert len(short.readings) <= MOST_KEPT
    assert short.readings[-1].bed_volumes_bv == long.readings[-1].bed_volumes_bv
    assert short.readings[-1].at_s == long.readings[-1].at_s
    assert short.readings[0].conductivity_siemens_per_m == pytest.approx(
        long.readings[0].conductivity_siemens_per_m, rel=0.1
    )
    assert checked(short) == short


def test_what_is_short_stands_as_it_is() -> None:
    assert checked(_long(MOST_KEPT)).readings == _long(MOST_KEPT).readings


def _rows(volumes: list[float]) -> Columns:
    values = np.array(volumes)
    count = len(values)
    return Columns(
        values, np.arange(count, dtype=float), values + 1.0, values * 0.0 + 288.0, np.zeros(count, bool)
    )


def test_a_volume_typed_too_high_costs_one_reading() -> None:
    kept, left_out = in_order(_rows([1.0, 2.0, 30.0, 4.0, 5.0, 5.0, 6.0]))
    assert kept.bed_volumes_bv.tolist() == [1.0, 2.0, 4.0, 5.0, 5.0, 6.0] and left_out == 1


def test_a_volume_typed_too_low_costs_one_reading() -> None:
    kept, left_out = in_order(_rows([1.0, 2.0, 0.3, 4.0, 5.0]))
    assert kept.bed_volumes_bv.tolist() == [1.0, 2.0, 4.0, 5.0] and left_out == 1
