"""The forecast of a rinse: what must hold for every rinse, and honesty on made-up rinses that no weight was fitted to."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from regenplant.core.engineering.rinse import rinse_to_endpoint
from regenplant.core.errors import OutOfRange
from regenplant.core.process.forecasting import history, network, particles, tracks
from regenplant.core.process.forecasting.curve_files import as_entry, curve_of
from regenplant.core.process.forecasting.forecast import RinseForecast, forecast
from regenplant.core.process.forecasting.rinse_so_far import (
    PastRinse,
    ReadingSoFar,
    RinsedBed,
    RinseSoFar,
    checked,
)
from tests.rinse.scoring import summary
from tests.rinse_report import grouped, judge, kept_set

LIMIT = 20e-4
KEPT = kept_set()
SOME = [curve_of(curve, 1)[1] for curve, _ in KEPT[::7]]


def rinse(
    volumes: np.ndarray,
    conductivities: np.ndarray,
    ends: tuple[float | None, ...] = (),
    flow_bv_per_h: float = 12.0,
) -> RinseSoFar:
    readings = tuple(
        ReadingSoFar(float(bv), float(bv) / flow_bv_per_h * 3600.0, float(value), 288.15)
        for bv, value in zip(volumes, conductivities, strict=True)
    )
    past = tuple(PastRinse(end) for end in ends)
    return RinseSoFar(
        RinsedBed.ANION_AFTER_CAUSTIC, 0.5, flow_bv_per_h * 0.5 / 3600.0, 2e-4, LIMIT, readings, past
    )


def tail(volumes: np.ndarray, floor: float, decade_bv: float, start: float = 5000e-4) -> np.ndarray:
    """A plain tail after displacement, from 1 BV on."""
    return (start - floor) * 10.0 ** (-(volumes - 1.0) / decade_bv) + floor


def volumes_of(said: RinseForecast) -> tuple[float, float, float]:
    assert said.early is not None and said.middle is not None and said.late is not None
    return said.early.bed_volumes_bv, said.middle.bed_volumes_bv, said.late.bed_volumes_bv


# --- for every rinse ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(len(SOME)))
def test_points_are_in_order_not_before_what_has_passed_and_within_the_horizon(number: int) -> None:
    said = forecast(SOME[number])
    assert 0.0 <= said.never_frac <= 1.0
    if said.has_enough and not said.is_below_limit:
        early, middle, late = volumes_of(said)
        passed = SOME[number].readings[-1].bed_volumes_bv
        assert passed - 1e-9 <= early <= middle <= late <= max(60.0, passed)
    assert said.has_enough == (said.middle is not None)


def test_every_reading_of_a_rinse_can_be_the_last() -> None:
    longest = max(SOME, key=lambda each: len(each.readings) if len(each.readings) < 60 else 0)
    for count in range(1, len(longest.readings) + 1):
        said = forecast(replace(longest, readings=longest.readings[:count]))
        assert math.isfinite(said.never_frac) and said.sentence


def test_a_twice_as_large_bed_takes_twice_the_water_and_the_same_bed_volumes_and_time() -> None:
    for each in SOME[:10]:
        large = forecast(
            replace(each, bed_volume_m3=2.0 * each.bed_volume_m3, flow_m3_per_s=2.0 * each.flow_m3_per_s)
        )
        small = forecast(each)
        assert small.middle is not None and large.middle is not None
        assert large.middle.bed_volumes_bv == pytest.approx(small.middle.bed_volumes_bv, rel=1e-9)
        assert large.middle.water_m3 == pytest.approx(2.0 * small.middle.water_m3, rel=1e-9)
        assert large.middle.left_s == pytest.approx(small.middle.left_s, rel=1e-9)


def test_the_same_rinse_always_gets_the_same_forecast() -> None:
    assert [forecast(each) for each in SOME[:5]] == [forecast(each) for each in SOME[:5]]


def test_a_lower_limit_is_not_reached_earlier() -> None:
    volumes = np.arange(1.0, 4.0, 0.2)
    curve = tail(volumes, 1e-4, 1.6)
    ends = [
        volumes_of(forecast(replace(rinse(volumes, curve), limit_siemens_per_m=limit)))[1]
        for limit in (40e-4, 20e-4, 10e-4, 5e-4)
    ]
    assert ends == sorted(ends)


def test_odd_rinses_get_an_answer() -> None:
    """One reading; all clipped; all equal; below the limit from the start; a standstill only; far too long."""
    many = np.arange(1.0, 80.0, 0.05)
    for volumes, values in (
        (np.array([0.0]), np.array([1.0])),
        (np.linspace(0.1, 1.0, 9), np.full(9, 2.0)),
        (np.linspace(1.0, 9.0, 30), np.full(30, 31e-4)),
        (np.linspace(0.1, 3.0, 9), np.full(9, 5e-4)),
        (np.full(12, 1.5), np.full(12, 300e-4) * np.linspace(1.0, 1.1, 12)),
        (many, tail(many, 30e-4, 2.0)),
    ):
        said = forecast(rinse(volumes, values))
        assert 0.0 <= said.never_frac <= 1.0 and said.sentence


def test_past_the_horizon_it_is_never_and_a_first_reading_below_the_limit_is_no_lack_of_data() -> None:
    many = np.arange(1.0, 62.0, 0.5)
    assert forecast(rinse(many, tail(many, 30e-4, 2.0))).never_frac == 1.0
    below = forecast(rinse(np.linspace(0.1, 3.0, 9), np.full(9, 5e-4)))
    assert below.has_enough and below.is_below_limit


def test_two_beds_that_nothing_is_known_of_get_a_wider_band_than_a_known_pool() -> None:
    volumes, curve = np.array([0.5, 1.0]), np.array([12.0, 2.1])
    unknown = volumes_of(forecast(rinse(volumes, curve)))
    known = volumes_of(forecast(rinse(volumes, curve, (6.1, 5.9, 6.0, 6.2, 5.8, 6.1, 6.0, 6.0))))
    assert math.log(unknown[2] / unknown[0]) > 1.5 * math.log(known[2] / known[0])
    assert known[0] < 6.0 < known[2]


# --- against the closed form ----------------------------------------------------------------------------------------


def test_clean_tails_lead_where_the_closed_form_says() -> None:
    """Single exponentials with a floor, 2 % noise, read down to 3 times the limit: ``rinse.rinse_to_endpoint`` is the outside word."""
    random = np.random.default_rng(5)
    held, errors, nevers = [], [], []
    for decade_bv in np.linspace(0.8, 4.0, 40):
        floor = LIMIT * float(random.uniform(0.02, 0.5))
        end = rinse_to_endpoint(5000e-4, floor, LIMIT, float(decade_bv)).bed_volumes
        assert end is not None
        truth = 1.0 + end.value
        volumes = np.linspace(1.0, truth - 0.5 * decade_bv, 20)
        curve = tail(volumes, floor, float(decade_bv)) * np.exp(random.normal(0.0, 0.02, 20))
        past = tuple(float(truth * np.exp(random.normal(0.0, 0.12))) for _ in range(6))
        said = forecast(rinse(volumes, curve, past))
        early, middle, late = volumes_of(said)
        held.append(early <= truth <= late)
        errors.append(abs(middle / truth - 1.0))
        nevers.append(said.never_frac)
    assert np.mean(held) >= 0.80
    assert np.median(errors) <= 0.06
    assert np.median(nevers) < 0.10


def test_particles_alone_follow_the_closed_form_too() -> None:
    volumes = np.linspace(1.0, 4.4, 18)
    made = checked(rinse(volumes, tail(volumes, 2e-4, 1.6), (5.0, 5.2, 4.9)))
    track = tracks.track(made, tracks.raw(made))
    said = particles.posterior(made.bed, track, history.of_pool(made.bed, made.history), LIMIT)
    assert track.last_bv * math.exp(said.end_logarithms[2]) == pytest.approx(
        1.0 + 1.6 * math.log10(4998 / 18), rel=0.06
    )


def test_a_plateau_far_above_the_limit_is_called_never_and_a_falling_tail_is_not() -> None:
    volumes = np.linspace(1.0, 9.0, 40)
    stuck = forecast(rinse(volumes, tail(volumes, 70e-4, 0.9), (4.0, 4.2, 3.9, 4.1)))
    falling = forecast(rinse(volumes[:16], tail(volumes[:16], 2e-4, 1.6), (5.0, 4.8, 5.1)))
    assert stuck.never_frac > 0.8 and "Most likely never" in stuck.sentence
    assert falling.never_frac < 0.15


def test_a_pool_that_was_often_given_up_raises_the_chance_of_never() -> None:
    volumes, curve = np.array([0.6, 1.2]), np.array([12.0, 1.1])
    good = forecast(rinse(volumes, curve, (6.0, 6.1, 5.9, 6.0, 6.2, 6.0)))
    bad = forecast(rinse(volumes, curve, (6.0, None, 5.9, None, 6.2, None)))
    assert bad.never_frac > good.never_frac


# --- readings that say less than they show --------------------------------------------------------------------------


def test_a_reading_at_the_top_of_the_meter_counts_as_at_least() -> None:
    volumes = np.linspace(0.2, 5.2, 26)
    curve = tail(volumes, 2e-4, 1.6, 12.0)
    shown = np.minimum(curve, 0.2)
    made = checked(rinse(volumes, shown))
    assert [each.is_clipped for each in made.readings] == [bool(value >= 0.2) for value in curve]
    with_top = volumes_of(forecast(rinse(volumes, shown)))[1]
    without = volumes_of(forecast(rinse(volumes, curve)))[1]
    assert with_top == pytest.approx(without, rel=0.05)


def test_one_wild_reading_moves_the_forecast_little() -> None:
    volumes = np.linspace(1.0, 4.4, 20)
    curve = tail(volumes, 2e-4, 1.6)
    wild = curve.copy()
    wild[12] *= 6.0
    plain, disturbed = (
        volumes_of(forecast(rinse(volumes, each, (5.0, 5.1, 4.9))))[1] for each in (curve, wild)
    )
    assert disturbed == pytest.approx(plain, rel=0.08)


def test_time_left_goes_by_the_flow_of_the_last_readings_not_by_a_standstill() -> None:
    volumes = np.array([1.0, 1.5, 2.0, 2.0, 2.5, 3.0])
    minutes = np.array([5.0, 10.0, 15.0, 60.0, 65.0, 70.0])
    made = rinse(volumes, tail(volumes, 2e-4, 1.6), (5.0, 5.1))
    readings = tuple(
        replace(each, at_s=float(m) * 60.0) for each, m in zip(made.readings, minutes, strict=True)
    )
    middle = forecast(replace(made, readings=readings)).middle
    assert middle is not None
    assert middle.left_s == pytest.approx(middle.left_bv / (0.5 / 300.0), rel=1e-9)
    assert middle.at_s == pytest.approx(70.0 * 60.0 + middle.left_s)


def test_below_the_limit_the_forecast_leaves_the_word_to_the_judgement() -> None:
    volumes = np.linspace(1.0, 7.0, 25)
    said = forecast(rinse(volumes, tail(volumes, 2e-4, 1.6), (5.0, 5.1)))
    assert said.is_below_limit and "once it is held" in said.sentence
    assert said.middle is not None and said.middle.bed_volumes_bv < 7.0


# --- refusals -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"readings": ()}, "No readings"),
        ({"limit_siemens_per_m": 0.0}, "end point"),
        ({"bed_volume_m3": -1.0}, "resin volume"),
        (
            {"readings": (ReadingSoFar(2.0, 60.0, 1.0), ReadingSoFar(1.0, 120.0, 1.0))},
            "Reading 2 lies before",
        ),
        ({"readings": (ReadingSoFar(2.0, 60.0, -1.0),)}, "reading 1"),
        ({"readings": (ReadingSoFar(2.0, 60.0, math.inf),)}, "reading 1, conductivity"),
        ({"readings": (ReadingSoFar(2.0, 60.0, 1.0, 20.0),)}, "reading 1, temperature"),
        ({"history": (PastRinse(0.0),)}, "earlier rinse 1"),
    ],
)
def test_what_cannot_be_a_rinse_is_refused_in_words(change: dict[str, object], words: str) -> None:
    made = replace(rinse(np.array([1.0]), np.array([1.0])), **change)  # type: ignore[arg-type]
    with pytest.raises(OutOfRange) as refusal:
        forecast(made)
    assert words.lower() in refusal.value.message.lower()


def test_weights_belong_to_the_features() -> None:
    with pytest.raises(RuntimeError, match="other features"):
        network.answer({"level": 1.0}, 0.0)


# --- honesty, on rinses that no weight was fitted to ------------------------------------------------------------------


@pytest.fixture(scope="module")
def judgement():
    return judge(KEPT)


def test_forecasts_are_good_and_honest_on_rinses_never_seen(judgement) -> None:
    """Score and coverage as asked. The Brier score hangs on how many rinses never end here, 19 %: it is held against the base rate."""
    rows, _ = judgement
    found = summary([row for _, row in rows])
    assert found.score <= 0.30
    assert 0.85 <= found.coverage <= 0.96
    assert found.brier <= 0.83 * found.base_brier
    assert found.silent_share <= 0.05


@pytest.mark.parametrize(("cut", "error"), [("25", 0.15), ("50", 0.115), ("75", 0.09)])
def test_at_each_cut_the_band_holds_and_the_median_is_near(judgement, cut: str, error: float) -> None:
    found = grouped(judgement[0], "cut")[cut]
    assert found.coverage >= 0.80
    assert found.median_error <= error


def test_later_cuts_are_better(judgement) -> None:
    found = grouped(judgement[0], "cut")
    assert found["75"].score < found["50"].score < found["25"].score
    # 360 rinses: the aim of 0.09 is met on the third set of DEVELOPERS.md, here chance moves it by 0.01 either way
    assert found["75"].brier <= 0.70 * found["75"].base_brier


def test_one_forecast_takes_a_moment(judgement) -> None:
    _, seconds = judgement
    assert float(np.median(seconds)) < 0.1


def test_a_logger_s_hundred_thousand_readings_are_taken_too() -> None:
    """Within a few seconds on any machine; figures of one moment stand in DEVELOPERS.md."""
    volumes = np.linspace(0.5, 4.4, 100_000)
    began = time.process_time()
    said = forecast(rinse(volumes, tail(volumes, 2e-4, 1.6), (5.0, 5.1, 4.9)))
    assert time.process_time() - began < 3.0
    assert volumes_of(said)[1] == pytest.approx(1.0 + 1.6 * math.log10(4998 / 18), rel=0.08)


def test_an_entry_of_the_forecast_file_has_what_the_format_asks() -> None:
    for each in SOME[:5]:
        entry = as_entry("x", forecast(each))
        assert list(entry) == ["id", "p05_bv", "p50_bv", "p95_bv", "p_never", "enough_data"]
        assert 0.0 < entry["p05_bv"] <= entry["p50_bv"] <= entry["p95_bv"]
