"""The forecast in words: sentence, chance, what it rests on, suggestions; from made forecasts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from regenplant.batches.models import Batch
from regenplant.web.presenters.rinse_forecast import (
    Cause,
    ForecastSeen,
    drawn_end,
    expected_end,
    forecast_panel,
    made_rows,
    percent,
    seen_in,
)

AT = datetime(2026, 3, 11, 14, 5, tzinfo=UTC)
FLOW = 0.8 / 3600.0 * 8.0
"""8 BV/h of a bed of 0.8 m³ [m³/s]."""
SEEN = ForecastSeen(
    at=AT, rinsed_bv=5.6, early_bv=6.1, middle_bv=6.6, late_bv=7.4, never_frac=0.03, has_enough=True, readings=12, model="m1"
)  # fmt: skip


@pytest.fixture
def batch() -> Batch:
    return Batch(number="B-1", resin_volume_m3=0.8)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_one_sentence_says_volume_time_and_water(batch: Batch) -> None:
    panel = forecast_panel(batch, SEEN, FLOW, "metric")
    # (6.6 - 5.6) BV at 8 BV/h: 7.5 min after 14:05; (6.1 - 5.6): 3.75 min; (7.4 - 5.6): 13.5 min; water 1 BV of 0.8 m³
    assert plain(panel.sentence) == (
        "End point expected after 6.10 to 7.40 BV, most likely 6.60: about 14:12 (14:08 to 14:18), 800.0 L more."
    )
    assert plain(panel.never) == "Chance that it is never reached: 3 %, very likely reached."
    assert not panel.is_doubtful


def test_without_a_flow_no_time_is_given(batch: Batch) -> None:
    panel = forecast_panel(batch, SEEN, None, "metric")
    assert "14:" not in panel.sentence and "800.0" in plain(panel.sentence)
    assert ("Flow", "not known, so no time is given") in panel.rests_on


def test_what_cannot_be_said_is_said_with_why(batch: Batch) -> None:
    open_yet = replace(
        SEEN, early_bv=None, middle_bv=None, late_bv=None, has_enough=False, why_not="The end point may lie anywhere from 4 to 40 BV."
    )  # fmt: skip
    panel = forecast_panel(batch, open_yet, FLOW, "metric")
    assert panel.sentence == "Not enough readings to say yet. The end point may lie anywhere from 4 to 40 BV."
    assert expected_end(batch, open_yet, FLOW, AT) is None
    assert "nothing to forecast from" in forecast_panel(batch, None, FLOW, "metric").sentence


def test_a_rinse_that_may_never_end_is_doubtful_and_says_if(batch: Batch) -> None:
    panel = forecast_panel(batch, replace(SEEN, never_frac=0.7), FLOW, "metric")
    assert panel.is_doubtful and panel.sentence.startswith(
        "If it is reached at all: end point expected after 6.10"
    )
    assert plain(panel.never) == "Chance that it is never reached: 70 %, probably never reached."


def test_readings_inside_the_limit_are_not_an_end_point_yet(batch: Batch) -> None:
    panel = forecast_panel(batch, replace(SEEN, is_below_limit=True), FLOW, "metric")
    assert panel.sentence.endswith("counts once the limit is held as the specification says.")
    assert expected_end(batch, replace(SEEN, is_below_limit=True), FLOW, AT) is None


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "under 1 %"), (0.004, "under 1 %"), (0.02, "2 %"), (0.499, "50 %"), (0.99, "99 %"), (0.999, "over 99 %"),
    ],
)  # fmt: skip
def test_a_chance_is_never_said_to_be_nothing_or_all(chance: float, words: str) -> None:
    assert plain(percent(chance)) == words


def test_the_drawing_has_it_on_both_axes(batch: Batch) -> None:
    expected = expected_end(batch, SEEN, FLOW, AT - timedelta(minutes=40))
    assert expected is not None
    assert expected.middle.rinsed_bv == 6.6
    assert expected.middle.elapsed_s == pytest.approx(40 * 60 + 7.5 * 60)
    assert expected.early.elapsed_s < expected.middle.elapsed_s < expected.late.elapsed_s


@pytest.mark.parametrize(("never", "is_drawn"), [(None, True), (0.84, True), (0.85, False), (0.97, False)])
def test_an_end_that_very_probably_never_comes_is_not_drawn(
    batch: Batch, never: float | None, is_drawn: bool
) -> None:
    seen = replace(SEEN, never_frac=never)
    drawn = drawn_end(batch, seen, FLOW, AT)
    assert (drawn is not None) is is_drawn
    if drawn is not None:
        assert drawn.is_doubtful is (never is not None)
    sentence = forecast_panel(batch, seen, FLOW, "metric").sentence
    assert sentence.startswith("If it is reached at all") is (never is not None)


def test_it_is_read_from_what_a_standing_keeps(batch: Batch) -> None:
    kept = {
        "at_s": AT.timestamp(), "rinsed_bv": 5.6, "p05_bv": 6.1, "p50_bv": 6.6, "p95_bv": 7.4, "p_never": 0.03, "enough_data": True,
        "reason": "", "taken": 12, "notes": ["The rinse water was not noted."], "is_below_limit": False, "model": "m1",
        "causes": [{"code": "meter", "name": "meter", "weight": 1.0, "because": ["It froze."], "next_test": "Hold a second meter.", "what_helps": "Clean it.", "caution": ""}],
    }  # fmt: skip
    seen = seen_in(kept)
    assert seen is not None and (seen.at, seen.middle_bv, seen.notes) == (
        AT,
        6.6,
        ("The rinse water was not noted.",),
    )
    assert seen.causes == (Cause("meter", "meter", ("It froze.",), "Hold a second meter.", "Clean it.", ""),)
    assert seen_in({}) is None and seen_in({**kept, "at_s": None}) is None


def test_the_history_stands_newest_first() -> None:
    later = replace(SEEN, at=AT + timedelta(minutes=4), middle_bv=None, never_frac=None)
    rows = made_rows([SEEN, later], "metric")
    assert [row.at for row in rows] == [later.at, AT]
    assert (rows[0].middle, rows[0].never, rows[1].middle) == ("–", "–", "6.60")
