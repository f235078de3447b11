"""What a curve's shape and the chemistry point to: each failure shape of the trade brings its causes, a good rinse none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.forecasting.causes import CAUSES
from regenplant.core.process.forecasting.diagnosis import MOST_SUGGESTIONS, diagnose
from regenplant.core.process.forecasting.rinse_so_far import PastRinse, ReadingSoFar, RinsedBed, RinseSoFar
from regenplant.core.process.forecasting.signs import Chemistry, Sign, seen

LIMIT = 20e-4
USUAL = tuple(PastRinse(end, 2.0) for end in (5.0, 5.1, 4.9, 5.2, 5.0))


def rinse(
    volumes: np.ndarray, values: np.ndarray, bed: RinsedBed = RinsedBed.ANION_AFTER_CAUSTIC, minutes: np.ndarray | None = None, kelvin: float = 288.15
) -> RinseSoFar:  # fmt: skip
    times = volumes * 5.0 if minutes is None else minutes
    readings = tuple(
        ReadingSoFar(float(bv), float(minute) * 60.0, float(value), kelvin)
        for bv, minute, value in zip(volumes, times, values, strict=True)
    )
    return RinseSoFar(bed, 0.5, 12.0 * 0.5 / 3600.0, 2e-4, LIMIT, readings, USUAL)


VOLUMES = np.linspace(1.0, 6.0, 26)
FALL = 0.5 * 10.0 ** (-(VOLUMES - 1.0) / 1.6)
STEEP = 0.5 * 10.0 ** (-(VOLUMES - 1.0) / 1.0)


def codes(made: RinseSoFar, chemistry: Chemistry | None = None) -> list[str]:
    return [each.code for each in diagnose(made, chemistry).suggestions]


def signs(made: RinseSoFar, chemistry: Chemistry | None = None) -> set[Sign]:
    return {each.sign for each in seen(made, chemistry)}


def test_a_good_rinse_suggests_nothing() -> None:
    found = diagnose(rinse(VOLUMES[:18], FALL[:18]))
    assert found.suggestions == () and found.sentence == "Nothing unusual in the curve so far."


def test_a_plateau_asks_for_water_valves_and_meter_before_resin() -> None:
    made = rinse(VOLUMES, STEEP + 90e-4)
    assert Sign.PLATEAU in signs(made)
    found = codes(made)
    assert found[0] in ("valve_leak", "rinse_water") and {"valve_leak", "rinse_water", "meter"} <= set(found)


def test_rinse_water_that_rose_comes_first_when_it_was_measured() -> None:
    assert (
        codes(rinse(VOLUMES, STEEP + 90e-4), Chemistry(rinse_water_siemens_per_m=80e-4))[0] == "rinse_water"
    )


def test_a_mixed_bed_that_stands_above_its_limit_brings_mixing_separation_and_air() -> None:
    made = replace(
        rinse(VOLUMES, (STEEP + 90e-4) * 0.01, RinsedBed.MIXED_BED),
        limit_siemens_per_m=0.1e-4,
        rinse_water_siemens_per_m=0.5e-4,
    )
    found = diagnose(made).suggestions
    assert {"not_mixed", "mixed_cross"} & {each.code for each in found}
    assert all(each.because for each in found)


def test_a_slow_tail_of_an_anion_pool_points_to_organic_matter() -> None:
    slow = 0.02 * 10.0 ** (-(VOLUMES - 1.0) / 6.0)
    made = rinse(VOLUMES, slow)
    assert Sign.SLOW in signs(made)
    assert codes(made)[0] == "organics"


def test_readings_that_swing_in_turn_point_to_air_or_a_pump() -> None:
    swing = FALL * np.exp(0.2 * (-1.0) ** np.arange(len(FALL)))
    made = rinse(VOLUMES[:18], swing[:18])
    assert Sign.SAW_TOOTH in signs(made) and codes(made)[0] == "air"


def test_a_step_when_the_flow_rises_points_to_channels_or_a_dead_leg() -> None:
    minutes = np.concatenate([VOLUMES[:13] * 8.0, VOLUMES[12] * 8.0 + (VOLUMES[13:] - VOLUMES[12]) * 4.0])
    made = rinse(VOLUMES, np.where(np.arange(len(FALL)) >= 13, FALL * 2.5, FALL), minutes=minutes)
    assert Sign.STEP_ON_FLOW in signs(made)
    assert {"channelling", "dead_leg"} <= set(codes(made)[:3])


def test_a_late_rise_points_to_the_rinse_water_a_valve_or_used_capacity() -> None:
    made = rinse(VOLUMES, STEEP + np.where(VOLUMES > 3.9, 60e-4 * (VOLUMES - 3.9), 0.0))
    assert Sign.RISE in signs(made)
    assert {"rinse_water", "valve_leak", "capacity_used"} & set(codes(made)[:3])


def test_a_frozen_meter_comes_first() -> None:
    values = FALL.copy()
    values[-8:] = values[-8]
    assert codes(rinse(VOLUMES, values))[0] == "meter"


def test_cold_water_a_standstill_and_low_flow_are_seen() -> None:
    minutes = VOLUMES * 14.0
    minutes[10:] += 45.0
    volumes = VOLUMES.copy()
    volumes[10] = volumes[9]
    found = signs(rinse(volumes, FALL, minutes=minutes, kelvin=278.15))
    assert {Sign.COLD, Sign.AFTER_STANDSTILL, Sign.LOW_FLOW} <= found


@pytest.mark.parametrize(
    ("bed", "chemistry", "code"),
    [
        (RinsedBed.ANION_AFTER_CAUSTIC, Chemistry(ph=10.2), "cation_in_anion"),
        (RinsedBed.ANION_AFTER_CAUSTIC, Chemistry(ph=4.5), "anion_weak"),
        (
            RinsedBed.ANION_AFTER_CAUSTIC,
            Chemistry(silica_kg_per_m3=2e-4, silica_limit_kg_per_m3=2e-5),
            "silica",
        ),
        (RinsedBed.SOFTENER_AFTER_BRINE, Chemistry(hardness_kg_per_m3=8e-3), "under_regenerated"),
        (RinsedBed.MIXED_BED, Chemistry(ph=9.5), "cation_in_anion"),
    ],
)
def test_chemistry_speaks_where_the_curve_is_good(bed: RinsedBed, chemistry: Chemistry, code: str) -> None:
    """Good conductivity with a bad pH, and what silica and hardness mean."""
    found = codes(replace(rinse(VOLUMES[:18], FALL[:18], bed)), chemistry)
    assert code in found[:2]


def test_a_pool_that_ages_is_named() -> None:
    past = tuple(PastRinse(end, 2.0) for end in (4.0, 4.1, 4.0, 4.1, 6.2, 6.4, 6.5, 6.3))
    made = replace(rinse(VOLUMES[:10], FALL[:10]), history=past)
    assert Sign.POOL_AGES in signs(made) and "pool_old" in codes(made)


def test_no_suggestion_without_a_sign_and_never_more_than_a_handful() -> None:
    worst = rinse(VOLUMES, STEEP + 90e-4)
    found = diagnose(
        worst,
        Chemistry(ph=10.0, hardness_kg_per_m3=0.05, silica_kg_per_m3=1e-3, rinse_water_siemens_per_m=90e-4),
    ).suggestions
    assert len(found) == MOST_SUGGESTIONS
    assert [each.weight for each in found] == sorted((each.weight for each in found), reverse=True)
    assert all(each.because for each in found)


def test_a_ph_that_cannot_be_is_refused() -> None:
    with pytest.raises(OutOfRange, match="pH"):
        diagnose(rinse(VOLUMES, FALL), Chemistry(ph=15.0))


def test_suggestions_judge_nothing() -> None:
    """Suggestions, never verdicts: no cause speaks of passing, failing, releasing or scrapping."""
    for cause in CAUSES:
        text = f"{cause.name} {cause.next_test} {cause.what_helps}".lower()
        for word in (" pass ", "fails", "released", "scrap", "certainly"):
            assert word not in text.replace("pass one more", "")
        assert cause.needs <= set(cause.speaks)


def test_where_acid_or_caustic_is_handled_a_caution_stands() -> None:
    for cause in CAUSES:
        if any(
            word in cause.next_test + cause.what_helps
            for word in ("Hot", "hydrochloric", "warm alkaline", "regenerant and raw-water")
        ):
            assert "safety data sheet" in cause.caution
