"""Laboratory limits with conditions, limits that are measured on each tank, and texts written before there were any."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.acceptance import LabResult, Limit, Outcome, Specification, judge
from regenplant.core.process.canonical import canonical_text, digest, from_plain
from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.measurements import MEASUREMENTS, below_the_lowest
from tests.core.process.test_acceptance import GOOD, LIMIT, SPECIFICATION

SILICA = Limit("silica", "Silica", "concentration", high=1e-4)
TANKS = ("T-1", "T-2")


def silica(milligram: float, minute: float = 0.0, tank: str = "", valid: bool = True) -> LabResult:
    return LabResult("silica", milligram * 1e-3, minute * 60.0, "KIT", valid, tank)


def judged(limit: Limit, *results: LabResult, tanks: tuple[str, ...] = TANKS) -> tuple[Outcome, str]:
    verdict = judge(GOOD, replace(SPECIFICATION, limits=(LIMIT, limit)), results, tanks=tanks)
    reason = next(one for one in verdict.reasons if one.measurement == "silica")
    return verdict.outcome, reason.sentence


EACH = replace(SILICA, each_tank=True)


def test_each_tank_needs_a_result_of_its_own() -> None:
    assert judged(EACH, silica(0.05, tank="T-1"))[0] is Outcome.INCOMPLETE
    outcome, words = judged(EACH, silica(0.05, tank="T-1"), silica(0.05, tank="T-1", minute=3))
    assert outcome is Outcome.INCOMPLETE and "Silica of T-2 is not measured yet" in words
    outcome, words = judged(EACH, silica(0.05, tank="T-1"), silica(0.09, tank="T-2"))
    assert outcome is Outcome.PASS
    assert "inside on each of 2 tanks" in words and "nearest is T-2" in words


def test_a_result_of_the_batch_stands_for_no_tank() -> None:
    assert judged(EACH, silica(0.05))[0] is Outcome.INCOMPLETE
    assert judged(SILICA, silica(0.05, tank="T-1"))[0] is Outcome.INCOMPLETE


def test_one_tank_outside_fails() -> None:
    outcome, words = judged(EACH, silica(0.05, tank="T-1"), silica(0.2, tank="T-2"))
    assert outcome is Outcome.FAIL and "Silica of T-2 is 0.2" in words and "T-1" not in words


def test_a_tank_measured_again_goes_by_its_latest_valid_result() -> None:
    first = silica(0.2, tank="T-2")
    others = silica(0.05, tank="T-1")
    assert judged(EACH, others, first, silica(0.05, 9, "T-2"))[0] is Outcome.PASS
    assert judged(EACH, others, first, silica(0.05, 9, "T-2", valid=False))[0] is Outcome.FAIL


def test_before_tanks_are_filled_it_waits_and_does_not_hold_the_bed_back() -> None:
    verdict = judge(GOOD, replace(SPECIFICATION, limits=(LIMIT, EACH)))
    assert verdict.outcome is Outcome.PASS
    reason = next(one for one in verdict.reasons if one.measurement == "silica")
    assert reason.outcome is Outcome.LATER and reason.outcome.label == "after filling"
    assert verdict.open_reasons == ()


def test_results_in_a_row_over_a_time() -> None:
    limit = replace(SILICA, readings_in_row=2, hold_time_s=900.0)
    assert judged(limit, silica(0.05))[0] is Outcome.INCOMPLETE
    outcome, words = judged(limit, silica(0.05), silica(0.05, 5))
    assert outcome is Outcome.INCOMPLETE and "held 5\u00a0min of 15\u00a0min" in words
    assert judged(limit, silica(0.05), silica(0.05, 15))[0] is Outcome.PASS
    assert judged(limit, silica(0.05), silica(0.2, 15))[0] is Outcome.FAIL
    assert judged(limit, silica(0.05), silica(0.2, 5), silica(0.05, 15))[0] is Outcome.INCOMPLETE


def test_a_limit_may_ask_for_more_rinse_than_the_rest() -> None:
    rinsed = max(reading.volume_bv for reading in GOOD)
    assert judged(replace(SILICA, minimum_rinse_bv=rinsed + 1.0), silica(0.05))[0] is Outcome.INCOMPLETE
    assert judged(replace(SILICA, minimum_rinse_bv=rinsed), silica(0.05))[0] is Outcome.PASS
    more = replace(SPECIFICATION, limits=(replace(LIMIT, minimum_rinse_bv=rinsed + 1.0),))
    verdict = judge(GOOD, more)
    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.open_reasons[0].measurement == "rinse_volume"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"readings_in_row": 0}, "At least 1 result"),
        ({"hold_time_s": 60.0}, "at least 2 in a row"),
        ({"minimum_rinse_bv": -1.0}, "nothing below zero"),
    ],
)
def test_conditions_that_cannot_be_are_refused(change: dict[str, float], words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        replace(SILICA, **change)  # type: ignore[arg-type]


def test_the_rinse_is_judged_for_the_batch() -> None:
    with pytest.raises(OutOfRange, match="conductivity of the filled tank"):
        replace(LIMIT, each_tank=True)


# --- texts of older programs ----------------------------------------------------------------------------------------
OLD_TEXT = (
    '{"code":"Q-H","compensation":"acid","consecutive_readings":3,"family":"sac_h","hold_time_s":900.0,"limits":[{"basis":"at_25_c",'
    '"high":0.005,"kind":"conductivity","low":null,"measurement":"conductivity","name":"Conductivity at 25 °C","source":"trade_practice",'
    '"table":[]},{"basis":"at_25_c","high":0.001,"kind":"hardness","low":null,"measurement":"hardness","name":"Hardness","source":'
    '"ufc_softener","table":[]}],"longest_gap_s":600.0,"maximum_rinse_bv":16.0,"meter_uncertainty_frac":0.01,"minimum_rinse_bv":4.0,'
    '"name":"Cation, hydrogen form, rinsed with deionized water","notes":"as stored before limits had conditions"}'
)
"""As a program of before stored it: change alarm, not to be rewritten from what this one writes."""
OLD_DIGEST = "0f95be4bfb6006d78b95fd3642676e2e1a94bd4005bf9fb9c88b78b7685cdebe"


def test_a_version_of_an_older_program_reads_and_digests_as_before() -> None:
    assert digest(OLD_TEXT) == OLD_DIGEST
    read = from_plain(Specification, json.loads(OLD_TEXT))
    assert canonical_text(read) == OLD_TEXT
    assert not read.is_measured_on_each_tank and read.limits[0].method == ""


def test_what_was_added_stands_in_the_text_once_it_says_something() -> None:
    read = from_plain(Specification, json.loads(OLD_TEXT))
    more = replace(read, limits=(read.limits[0], replace(read.limits[1], each_tank=True, method="titration")))
    text = canonical_text(more)
    assert '"each_tank":true' in text and '"method":"titration"' in text and "readings_in_row" not in text
    assert from_plain(Specification, json.loads(text)) == more


# --- the registry ---------------------------------------------------------------------------------------------------
def test_the_defaults_measure_what_the_registry_knows_under_the_same_name() -> None:
    for specification in default_specifications():
        for limit in specification.limits:
            entry = MEASUREMENTS[limit.measurement]
            assert entry.kind == limit.kind, limit
            assert limit.name == entry.name


def test_no_water_conducts_less_than_water() -> None:
    """18.28 MΩ·cm is the highest resistivity of water at 25 °C (Otten 1981, read): 0.0547 µS/cm."""
    assert below_the_lowest("conductivity", 1e-4 / 18.0) == ""
    assert "18.28" in below_the_lowest("conductivity", 1e-4 / 20.0)
    assert below_the_lowest("ph", -0.5) == "" and below_the_lowest("no test of ours", -1.0) == ""
