"""Sentences and drawings of the QC and supervisor pages, from plain data: no database, no request."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from regenplant.audit.verifying.registry import Finding, Looked, Report, Step
from regenplant.core.process.acceptance import Limit
from regenplant.core.process.lifecycle import BatchState, Blocker, Offer
from regenplant.core.process.use_audit import Sums, compared_sums, variance_step
from regenplant.core.process.vocabulary import Chemical
from regenplant.quality.selectors import ReviewBoard
from regenplant.use.models import UseRow
from regenplant.use.selectors import Audit, Group, Question, UseLine
from regenplant.use.watching import Watch
from regenplant.web.drawing.limit_bar import Standing
from regenplant.web.moments import moment_of
from regenplant.web.presenters import chemical_use as use_words
from regenplant.web.presenters import qc as qc_words
from regenplant.web.presenters import qc_limits, qc_queue, rinse_readings, words
from regenplant.web.presenters import record as record_words
from regenplant.web.presenters import review as review_words
from regenplant.web.presenters import rinse as rinse_words
from regenplant.web.presenters.bed import planned_time
from regenplant.web.presenters.chemical_use import Period, PeriodName, period_named

NOON = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
MICROSIEMENS = 1e-4


# --- small words --------------------------------------------------------------------------------------------------------
def test_numbers_in_sentences_are_words_for_none_and_one() -> None:
    assert [words.counted(n, "batch", "batches") for n in (0, 1, 2)] == ["no batch", "one batch", "2 batches"]


def test_names_are_joined_by_and_or_by_or() -> None:
    assert words.joined(["A", "B", "C"]) == "A, B and C"
    assert words.joined(["A", "B", "C"], "or") == "A, B or C"
    assert words.joined(["A"], "or") == "A"


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (0, "0\u00a0min"),
        (59, "59\u00a0min"),
        (61, "1\u00a0h"),
        (60 * 47, "47\u00a0h"),
        (60 * 72, "3\u00a0days"),
    ],
)
def test_how_long_ago_is_said_in_one_unit(minutes: int, said: str) -> None:
    assert words.ago(NOON - timedelta(minutes=minutes), NOON) == said


@pytest.mark.parametrize(
    ("due", "is_valid", "said"),
    [
        (date(2026, 6, 1), True, "calibrated to 2026-06-01"),
        (date(2026, 3, 1), False, "was due 2026-03-01"),
        (None, False, "never calibrated"),
    ],
)
def test_what_a_calibration_says(due: date | None, is_valid: bool, said: str) -> None:
    cell = SimpleNamespace(calibration_due_on=due, out_of_service_at=None)
    assert words.calibration_words(cell, is_valid) == said  # type: ignore[arg-type]


# --- when something happened ----------------------------------------------------------------------------------------------
def test_a_bare_time_is_todays_and_a_day_may_stand_before_it() -> None:
    assert moment_of("11:58", NOON) == NOON.replace(hour=11, minute=58)
    assert moment_of("1158", NOON) == NOON.replace(hour=11, minute=58)
    assert moment_of("2026-03-10 23:58", NOON) == datetime(2026, 3, 10, 23, 58, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "12:01",
            "12:01 is still to come; it is 2026-03-11 12:00 now. If it was another day, write the day too",
        ),
        ("2026-03-11 12:01", "is still to come"),
        ("24:00", "is no time"),
        ("0999-03-11 12:01", "is no time"),
        ("last night", "is no time. Write 14:02"),
    ],
)
def test_a_time_that_cannot_be_is_refused_with_what_to_write(text: str, message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        moment_of(text, NOON)


# --- rinse ----------------------------------------------------------------------------------------------------------------
def test_the_reciprocal_keeps_three_digits_however_small() -> None:
    # 1 643 µS/cm is 1/0.1643 ohm·m = 6.086 ohm·m, and 1 MΩ·cm is 10 000 ohm·m
    assert rinse_readings.reciprocal_text(1643 * MICROSIEMENS, "conductivity", "metric") == "0.000609"
    assert rinse_readings.reciprocal_text(8.42e4, "resistivity", "metric") == "0.119"


LIMIT = Limit("conductivity", "Conductivity at 25 °C", "conductivity", high=10 * MICROSIEMENS)


def test_a_value_on_its_way_is_not_yet_and_a_judged_one_is_above() -> None:
    on_its_way = rinse_words.value_bar(LIMIT, 37.7 * MICROSIEMENS, "conductivity", "metric")
    judged = rinse_words.value_bar(LIMIT, 37.7 * MICROSIEMENS, "conductivity", "metric", is_judged=True)
    assert (on_its_way.standing, judged.standing) == (Standing.NOT_YET, Standing.ABOVE)
    assert not on_its_way.is_off_scale and not judged.is_off_scale


@pytest.mark.parametrize("microsiemens", [0.06, 0.9, 3.0, 9.99, 10.0, 11.0, 999.0])
def test_no_believable_value_is_off_the_scale_of_its_bar(microsiemens: float) -> None:
    for is_judged in (False, True):
        bar = rinse_words.value_bar(
            LIMIT, microsiemens * MICROSIEMENS, "conductivity", "metric", is_judged=is_judged
        )
        assert not bar.is_off_scale


def test_very_clean_water_is_judged_as_resistivity_with_its_limit_turned_round() -> None:
    clean = Limit("conductivity", "Conductivity at 25 °C", "conductivity", high=0.1 * MICROSIEMENS)
    bar = rinse_words.value_bar(clean, MICROSIEMENS / 8.42, "resistivity", "metric")
    assert (bar.caption, bar.value_text, bar.unit) == ("Resistivity", "8.42", "MΩ·cm")
    assert "at least 10" in bar.scene.label and bar.standing is Standing.NOT_YET


def page_with(**changes: Any) -> Any:
    plain = {"took_readings": (), "ghosts": ()}
    return SimpleNamespace(**{**plain, **changes})


@pytest.mark.parametrize(
    ("readers", "said"),
    [
        (("L. Brae",), "L. Brae took these readings, so another person must release this batch."),
        (
            ("L. Brae", "M. Tarn"),
            "L. Brae and M. Tarn took these readings, so neither can release this batch.",
        ),
        (("A", "B", "C"), "A, B and C took these readings, so none of them can release this batch."),
    ],
)
def test_who_took_readings_is_told_why_not(readers: tuple[str, ...], said: str) -> None:
    assert rinse_words.who_sentence(page_with(took_readings=readers), ["J. Fenn"], ["J. Fenn"]).startswith(
        said
    )


def test_when_nobody_is_left_to_release_the_page_says_so() -> None:
    said = rinse_words.who_sentence(page_with(), [], [])
    assert (
        "Nobody here may judge it" in said
        and "Nobody is left who may release it. Call in another person." in said
    )


# --- QC -------------------------------------------------------------------------------------------------------------------
def lines(*states: BatchState) -> Any:
    return [SimpleNamespace(batch=SimpleNamespace(state=state.value)) for state in states]


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ((), "Nothing rinses, nothing waits for QC."),
        ((BatchState.RINSING,), "One rinses."),
        ((BatchState.RINSING, BatchState.RINSING, BatchState.AWAITING_QC), "Two rinse, one awaits QC."),
        (
            (BatchState.FILLED, BatchState.FAILED),
            "One waits for its release. One failed batch needs a supervisor.",
        ),
    ],
)
def test_the_queue_in_one_sentence(states: tuple[BatchState, ...], said: str) -> None:
    assert qc_queue.queue_sentence(lines(*states)) == said


def test_a_refusal_names_who_may_only_where_the_person_is_the_reason() -> None:
    own = Offer("pass", "qc.judge", (Blocker("own_work", "You did it."),))
    unmet = Offer("pass", "qc.judge", (Blocker("qc_not_met", "Not met."),))
    assert qc_words.refusal(own, ["J. Fenn"], "judge") == "You did it. May judge: J. Fenn."  # type: ignore[arg-type]
    assert (
        qc_words.refusal(own, [], "judge") == "You did it. Nobody here may judge it. Call in another person."
    )  # type: ignore[arg-type]
    assert qc_words.refusal(unmet, ["J. Fenn"], "judge") == "Not met."  # type: ignore[arg-type]
    assert qc_words.refusal(Offer("pass", "qc.judge", ()), [], "judge") == ""  # type: ignore[arg-type]


@dataclass(frozen=True)
class Result:
    """As much of a measurement as deciding looks at."""

    pk: int
    key: str
    occurred_at: datetime
    instrument_was_valid: bool = True


def test_the_newest_result_of_a_valid_instrument_decides() -> None:
    old, new = Result(1, "silica", NOON), Result(2, "silica", NOON + timedelta(minutes=5))
    overdue = Result(3, "silica", NOON + timedelta(minutes=9), instrument_was_valid=False)
    other = Result(4, "ph", NOON + timedelta(minutes=9))
    assert qc_limits.deciding_measurement([old, new, overdue, other], "silica") == new  # type: ignore[arg-type,comparison-overlap]
    assert qc_limits.deciding_measurement([overdue], "silica") == overdue  # type: ignore[arg-type,comparison-overlap]
    assert qc_limits.deciding_measurement([other], "silica") is None  # type: ignore[arg-type]


# --- review ---------------------------------------------------------------------------------------------------------------
def test_the_review_in_one_sentence() -> None:
    def board(
        deviations: int = 0,
        failed: int = 0,
        held: int = 0,
        waiting: int = 0,
        to_review: int = 0,
        amended: int = 0,
    ) -> ReviewBoard:
        counts = (deviations, failed, held, to_review, waiting, amended)
        return ReviewBoard(*(tuple(range(n)) for n in counts), ())  # type: ignore[arg-type]

    assert review_words.board_sentence(board()) == "Nothing is open. Nothing waits for a decision."
    assert (
        review_words.board_sentence(board(1, 0, 0, 1))
        == "One deviation is open, one batch waits for release."
    )
    assert (
        review_words.board_sentence(board(2, 1, 2, 3))
        == "2 deviations are open, one batch failed or aborted, 2 batches are held, 3 batches wait for release."
    )
    assert (
        review_words.board_sentence(board(to_review=2, amended=1))
        == "One signed record is amended or open, 2 records wait for review."
    )


REPORT = Report(
    checks=tuple(
        Looked(kind, "", "", seen, 0.1, 0)
        for kind, seen in (("chain", 4988), ("row", 5120), ("signature", 61), ("plan", 36))
    ),
    findings=(),
    notices=(),
    seconds=2.34,
    number=4988,
    head="37d05d7f" + "0" * 56,
)


def test_the_result_of_a_look_is_one_sentence_and_never_a_claim() -> None:
    good = record_words.verified_sentence(REPORT)
    assert good == (
        "All records hold: 4\u202f988 acts, 5\u202f120 rows, 61 signatures and 36 batch plans are as they were written, nothing is "
        "missing, every lock stands. It took 2.3 s."
    )
    bad = record_words.verified_sentence(replace(REPORT, findings=(Finding("chain", "x"),) * 2))
    assert bad.startswith("2 records do not hold. Call the administrator")
    assert "compliant" not in f"{good}{bad}".lower()


def test_missing_locks_are_one_sentence_after_the_records() -> None:
    found = [
        Finding("lock", "The lock a is missing in the database."),
        Finding("lock", "The lock b is missing in the database."),
        Finding("lock", "The lock c was altered in the database."),
        Finding("chain", "Event 7 was altered."),
    ]
    assert record_words.finding_sentences(found) == [
        "The lock c was altered in the database.",
        "Event 7 was altered.",
        "2 locks are missing in the database. The command migrate makes them anew.",
    ]


def test_a_look_tells_how_far_it_is_and_what_each_check_saw() -> None:
    under_way = record_words.looked_line(Step("Chain of acts", 40_000, 1_000_000))
    assert (under_way.text, under_way.is_done) == (
        "Chain of acts: 40\u202f000 of 1\u202f000\u202f000 …",
        False,
    )
    done = record_words.looked_line(
        Step("Chain of acts", looked=Looked("chain", "Chain of acts", "acts", 4988, 0.42, 1))
    )
    assert (done.text, done.holds) == ("Chain of acts: 4\u202f988 acts, 0.4 s; one finding", False)


# --- chemical use -----------------------------------------------------------------------------------------------------------
def test_a_week_runs_from_monday_to_today_and_last_week_to_its_sunday() -> None:
    wednesday = date(2026, 3, 11)
    this, last = period_named(PeriodName.THIS_WEEK, wednesday), period_named(PeriodName.LAST_WEEK, wednesday)
    assert (this.first, this.last) == (date(2026, 3, 9), wednesday)
    assert (last.first, last.last) == (date(2026, 3, 2), date(2026, 3, 8))
    month = period_named(PeriodName.LAST_30_DAYS, wednesday)
    assert (month.last - month.first).days + 1 == 30


def test_a_period_begins_and_ends_at_midnight_of_the_plant_also_when_clocks_change() -> None:
    zone = ZoneInfo("Europe/Berlin")  # summer time began there on Sunday 2026-03-29 at 02:00
    start, end = Period(PeriodName.DATES, date(2026, 3, 29), date(2026, 3, 29)).bounds(zone)
    assert (start.utcoffset(), end.utcoffset()) == (timedelta(hours=1), timedelta(hours=2))
    assert (end.astimezone(UTC) - start.astimezone(UTC)) == timedelta(hours=23)


def sums(used: int, planned: int = 100_000) -> Sums:
    count, total, squares = compared_sums(variance_step(used, planned))
    return Sums(1, 1000, 40_000, planned, used, used, count, total, squares)


def audited(*used: int, batch_frac: float = 0.05) -> Audit:
    watch = Watch(batch_frac, 0.02, ("06:00",), is_own=False)
    chemicals = (Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE)
    totals = tuple(Group("", chemical, sums(one)) for chemical, one in zip(chemicals, used, strict=False))
    return Audit(Question(date(2026, 3, 9), date(2026, 3, 11)), watch, totals, totals)


THIS_WEEK = period_named(PeriodName.THIS_WEEK, date(2026, 3, 11))


def test_the_opening_sentence_says_use_against_plan_and_how_many_are_outside() -> None:
    assert (
        use_words.opening_sentence(audited(103_200), 1, THIS_WEEK)
        == "Acid 3.2\u00a0% over plan this week; one batch is outside ±5\u00a0%."
    )


def test_several_chemicals_are_told_in_one_sentence() -> None:
    assert (
        use_words.opening_sentence(audited(100_020, 99_000, batch_frac=0.04), 0, THIS_WEEK)
        == "Acid as planned and caustic 1.0\u00a0% under plan this week; every batch is inside ±4\u00a0%."
    )


def test_nothing_used_is_said_with_its_period() -> None:
    days = Period(PeriodName.DATES, date(2026, 3, 2), date(2026, 3, 8))
    assert (
        use_words.opening_sentence(audited(), 0, days)
        == "No batch took a chemical from 2026-03-02 to 2026-03-08."
    )


def test_last_month_is_whole_and_a_year_begins_with_a_month() -> None:
    month = period_named(PeriodName.LAST_MONTH, date(2026, 3, 31))
    assert (month.first, month.last) == (date(2026, 2, 1), date(2026, 2, 28))
    assert period_named(PeriodName.YEAR, date(2024, 2, 29)).first == date(2023, 2, 1)


def test_five_per_cent_is_inside_and_a_hair_more_is_outside() -> None:
    watch = audited().watch
    off = [UseLine(UseRow(), sums(used)).is_outside(watch) for used in (105_000, 105_010, 94_900)]
    assert off == [False, True, True]


def test_a_total_is_watched_from_two_per_cent_on() -> None:
    watch = audited().watch
    assert not use_words.is_off(sums(102_000), watch) and use_words.is_off(sums(102_100), watch)


def test_a_short_planned_time_is_shown_to_the_second_and_a_long_one_by_the_minute() -> None:
    shown = [planned_time(seconds) for seconds in (40.0, 150.0, 180.0, 1080.0, 4620.0)]
    assert shown == ["40\u00a0s", "2\u00a0min\u00a030\u00a0s", "0:03", "0:18", "1:17"]
