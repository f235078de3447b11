"""What a reviewer is shown first: each kind of unusual thing is found, nothing usual is, and nothing at all is said in words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.process.review_facts import (
    ActFact,
    DecisionFact,
    DeviationFact,
    HoldFact,
    ReviewFacts,
    StepFact,
    TankFact,
    UseFact,
    ValueFact,
)
from regenplant.core.process.review_rules import NONE_OF, TITLES, Unusual, exceptions

FLOW = ValueFact(
    "Backwash",
    "Flow",
    "66 L/min",
    "M. Tarn",
    "2026-03-11 14:05",
    step=2,
    limits="60 to 72 L/min",
    is_within=True,
)
READING = ValueFact(
    "rinse", "reading", "0.8 µS/cm", "M. Tarn", "2026-03-11 16:05", step=6, instrument="CELL-1"
)
SAMPLE = ValueFact(
    "sample", "Silica", "8 µg/L", "L. Brae", "2026-03-11 16:40", limits="at most 10 µg/L", is_within=True
)
USUAL = ReviewFacts(
    values=(FLOW, READING, SAMPLE),
    steps=(StepFact(2, "Backwash", "done", 900.0, 870.0), StepFact(3, "Acid injection", "done", 1800.0, 2000.0)),
    uses=(UseFact("Hydrochloric acid", 100.0, 103.0, "HCL-1", ("HCL-1",), 2.0, 7.0),),
    tanks=(TankFact("T-1", True), TankFact("T-2", True)),
    decisions=(DecisionFact(1, "pass", "L. Brae", "2026-03-11 17:00"),),
    planned_vessel="C1",
    vessel="C1",
)  # fmt: skip


@pytest.mark.requirement("ER-17")
def test_a_usual_batch_says_that_nothing_was_unusual_and_what_was_looked_at() -> None:
    found = exceptions(USUAL)
    assert found.findings == () and found.kinds == ()
    assert found.sentence == (
        "Nothing unusual. Looked at: 2 steps, 1 entry, 1 rinse reading, 1 measurement, 0 deviations, 0 holds, 1 chemical and "
        "2 tanks."
    )
    assert found.none_of == tuple(NONE_OF.values())


def test_of_a_log_its_readings_are_counted_not_the_log() -> None:
    log = replace(READING, name="log", words="of 900 readings, in-line meter", logged=900)
    aside = replace(log, words="set aside", replaces="it counted", logged=0)
    looked = exceptions(
        replace(USUAL, values=(FLOW, READING, log, replace(log, logged=300), aside))
    ).looked_at
    assert "1,201 rinse readings (1,200 of them logged, in 2 logs)" in looked
    one = exceptions(replace(USUAL, values=(READING, log))).looked_at
    assert "901 rinse readings (900 of them logged, in 1 log)" in one


CASES: dict[str, tuple[ReviewFacts, Unusual, str]] = {
    "plan altered": (replace(USUAL, is_plan_untouched=False), Unusual.PLAN, "does not fit its digest"),
    "reopened": (replace(USUAL, reopened="Opened for correction by D. Osk."), Unusual.REOPENED, "Opened for correction by D. Osk."),
    "amended": (
        replace(USUAL, decisions=(*USUAL.decisions, DecisionFact(2, "fail", "L. Brae", "today", "Reopened by D. Osk: wrong unit."))),
        Unusual.AMENDED, "Version 2 of the decision, fail, by L. Brae, today. Reopened by D. Osk: wrong unit.",
    ),
    "open deviation": (
        replace(USUAL, deviations=(DeviationFact("D-1001", "major", "the valve stuck", True),)),
        Unusual.DEVIATION, "D-1001, major: the valve stuck. It is open.",
    ),
    "decided deviation": (
        replace(USUAL, deviations=(DeviationFact("D-1001", "minor", "torn label", False, "No effect.", "J. Vale"),)),
        Unusual.DEVIATION, "J. Vale: No effect.",
    ),
    "outside": (
        replace(USUAL, values=(replace(FLOW, words="90 L/min", is_within=False),)),
        Unusual.OUTSIDE, "Backwash, flow 90 L/min, allowed 60 to 72 L/min (M. Tarn, 2026-03-11 14:05).",
    ),
    "measured outside": (replace(USUAL, values=(replace(SAMPLE, is_within=False),)), Unusual.OUTSIDE, "Sample, silica 8 µg/L"),
    "no second check": (
        replace(USUAL, values=(replace(FLOW, needs_check=True),)), Unusual.UNCHECKED, "was not checked a second time",
    ),
    "typed differently": (
        replace(USUAL, acts=(ActFact("typing", "Volume fed was typed as 4 and then as 5", "M. Tarn", "today"),)),
        Unusual.TYPED, "today, M. Tarn: Volume fed was typed as 4 and then as 5.",
    ),
    "corrected": (
        replace(USUAL, values=(replace(FLOW, replaces="6.6 L/min", replaced_who="M. Tarn", reason="slip: a point too much"),)),
        Unusual.CORRECTED, "66 L/min; before: 6.6 L/min, by M. Tarn. slip: a point too much.",
    ),
    "late": (
        replace(USUAL, values=(replace(FLOW, behind_s=3900.0, is_late=True, reason="no power"),)),
        Unusual.LATE, "written 1 h 5 min after it happened. no power.",
    ),
    "back-dated": (
        replace(USUAL, values=(replace(FLOW, behind_s=300.0),)), Unusual.BACK_DATED, "time typed by hand, 5 min before it was written",
    ),
    "not done": (
        replace(USUAL, values=(replace(FLOW, words="not done", standing="not_done", reason="meter broken"),)),
        Unusual.NOTHING, "Backwash, flow: not done. meter broken.",
    ),
    "not applicable": (
        replace(USUAL, values=(replace(FLOW, words="not applicable", standing="not_applicable", reason="no heater"),)),
        Unusual.NOTHING, "not applicable. no heater.",
    ),
    "skipped": (
        replace(USUAL, steps=(StepFact(2, "Backwash", "skipped", 900.0, None, "bed was lifted already"),)),
        Unusual.SKIPPED, "Backwash was skipped. bed was lifted already.",
    ),
    "too short": (
        replace(USUAL, steps=(StepFact(2, "Backwash", "done", 900.0, 440.0),)), Unusual.TIME, "took 7 min; 15 min were planned.",
    ),
    "too long": (replace(USUAL, steps=(StepFact(2, "Backwash", "done", 900.0, 1400.0),)), Unusual.TIME, "took 23 min"),
    "held": (
        replace(USUAL, holds=(HoldFact(False, "pump sounds wrong", "M. Tarn", "today", 1200.0),)),
        Unusual.HELD, "Held today for 20 min, M. Tarn: pump sounds wrong.",
    ),
    "interrupted": (
        replace(USUAL, holds=(HoldFact(True, "power dip", "M. Tarn", "today", None),)), Unusual.HELD, "Interrupted today and not resumed",
    ),
    "overdue": (
        replace(USUAL, values=(replace(READING, instrument_was_valid=False),)), Unusual.OVERDUE, "by CELL-1, out of calibration",
    ),
    "doubt": (replace(USUAL, values=(replace(READING, doubt="above the ceiling"),)), Unusual.DOUBT, "by CELL-1: above the ceiling."),
    "chemical": (
        replace(USUAL, uses=(replace(USUAL.uses[0], used_kg=94.0),)), Unusual.CHEMICAL, "94 kg as 100 % drawn, 100 kg planned, 6 % less.",
    ),
    "taken back": (replace(USUAL, uses=(replace(USUAL.uses[0], taken_back=("Movement 7 takes back 2 kg.",)),)), Unusual.CHEMICAL, "Movement 7"),
    "other lot": (replace(USUAL, uses=(replace(USUAL.uses[0], lots=("HCL-2",)),)), Unusual.STRENGTH, "drawn from HCL-2; planned with HCL-1"),
    "never checked": (replace(USUAL, uses=(replace(USUAL.uses[0], check_age_days=None),)), Unusual.STRENGTH, "never checked here"),
    "check near its end": (
        replace(USUAL, uses=(replace(USUAL.uses[0], check_age_days=6.0),)), Unusual.STRENGTH, "was 6 days old when it was planned, at most 7",
    ),
    "separation": (replace(USUAL, separation=("Interface 0.61 m, predicted 0.60 m.",)), Unusual.SEPARATION, "Interface 0.61 m"),
    "other vessel": (replace(USUAL, vessel="C2"), Unusual.PLACE, "Run in C2; planned for C1."),
    "set aside": (
        replace(USUAL, tanks=(TankFact("T-1", False, "crack at the neck"),)), Unusual.TANK, "T-1 was set aside: crack at the neck.",
    ),
    "rework": (replace(USUAL, reworks="B-10001", rework_cause="too little acid"), Unusual.REWORK, "It reworks B-10001. too little acid."),
    "signature": (
        replace(USUAL, acts=(ActFact("signature", "a signature was refused", "J. Fenn", "today"),)), Unusual.SIGNATURE, "J. Fenn: a signature",
    ),
    "rinsed on": (
        replace(USUAL, rinsed_on=("The rinse went on after QC, by L. Brae.",)), Unusual.RINSED_ON, "The rinse went on after QC",
    ),
    "downgraded": (
        replace(USUAL, downgraded="Went down from class C to class D."), Unusual.DOWNGRADED, "Went down from class C to class D.",
    ),
    "warning": (replace(USUAL, plan_warnings=("The bed is shallow.",)), Unusual.WARNED, "The bed is shallow."),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_each_unusual_thing_is_found_and_said(case: str) -> None:
    facts, kind, words = CASES[case]
    found = exceptions(facts)
    assert found.kinds == (kind,)
    assert any(
        words.replace(" ", " ") in finding.sentence.replace("\u00a0", " ") for finding in found.of(kind)
    ), found.findings
    assert found.sentence.startswith("One thing was unusual.")
    assert NONE_OF.get(kind) not in found.none_of


def test_every_kind_of_unusual_thing_has_a_case_and_a_heading() -> None:
    assert {kind for _, kind, _ in CASES.values()} == set(Unusual) == set(TITLES)


def test_what_stops_the_release_is_marked_and_comes_first() -> None:
    facts = replace(
        USUAL,
        deviations=(
            DeviationFact("D-1001", "minor", "torn label", False, "No effect.", "J. Vale"),
            DeviationFact("D-1002", "major", "valve stuck", True),
        ),
        values=(replace(FLOW, behind_s=300.0),),
    )
    found = exceptions(facts)
    assert [(finding.ref, finding.is_grave) for finding in found.of(Unusual.DEVIATION)] == [
        ("D-1002", True),
        ("D-1001", False),
    ]
    assert found.kinds == (Unusual.DEVIATION, Unusual.BACK_DATED)


def test_of_a_corrected_value_only_the_newest_is_judged_and_the_correction_is_shown() -> None:
    wrong = replace(
        FLOW,
        words="660 L/min",
        is_within=False,
        is_replaced=True,
        instrument="F-1",
        instrument_was_valid=False,
    )
    right = replace(FLOW, replaces="660 L/min", reason="a nought too much")
    assert exceptions(replace(USUAL, values=(wrong, right))).kinds == (Unusual.CORRECTED,)


@given(
    planned=st.floats(1.0, 100_000.0),
    share=st.floats(0.0, 4.0),
)  # fmt: skip
def test_a_step_is_shown_exactly_outside_half_to_one_and_a_half_and_five_minutes(
    planned: float, share: float
) -> None:
    facts = ReviewFacts(steps=(StepFact(1, "Settle", "done", planned, planned * share),))
    shown = bool(exceptions(facts).findings)
    worked = planned * share
    assert shown is (worked < 0.5 * planned or worked > max(1.5 * planned, planned + 300.0))


@given(st.lists(st.sampled_from(list(CASES)), max_size=6))
def test_findings_come_worst_first_whatever_was_found(cases: list[str]) -> None:
    facts = USUAL
    for case in cases:
        changed, *_ = CASES[case]
        fields = {
            name: getattr(changed, name)
            for name in ReviewFacts.__dataclass_fields__
            if getattr(changed, name) != getattr(USUAL, name)
        }
        facts = replace(facts, **fields)
    order = list(Unusual)
    places = [order.index(finding.kind) for finding in exceptions(facts).findings]
    assert places == sorted(places)
