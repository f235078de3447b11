"""Every (state, action) pair is either in the table or refused with a sentence; every guard can stop its move."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import Any

import pytest

from regenplant.core.errors import TransitionRefused
from regenplant.core.process import lifecycle
from regenplant.core.process.lifecycle import (
    BATCH,
    LIFECYCLES,
    STEP,
    VISIT,
    BatchAction,
    BatchSnapshot,
    BatchState,
    Lifecycle,
    StepAction,
    StepSnapshot,
    StepState,
    VisitAction,
    VisitSnapshot,
    VisitState,
)
from regenplant.web.management.commands import lifecycle_diagram
from tests.house.tree import ROOT

STATES: dict[str, tuple[type[StrEnum], type[StrEnum]]] = {
    VISIT.name: (VisitState, VisitAction),
    BATCH.name: (BatchState, BatchAction),
    STEP.name: (StepState, StepAction),
}
OPEN: dict[str, Any] = {
    VISIT.name: VisitSnapshot(
        is_inspected=True,
        is_shell_sound=True,
        is_class_known=True,
        class_may_be_regenerated=True,
        is_in_batch=True,
        batch_has_passed=True,
        batch_is_released=True,
    ),
    BATCH.name: BatchSnapshot(
        qc_verdict="pass", tanks_filled=3, is_started=True, actor_name="Operator 1", is_reviewed=True
    ),
    STEP.name: StepSnapshot(may_be_skipped=True, name="Backwash"),
}
"""For each lifecycle a snapshot that stops nothing."""

STOPPED: dict[str, tuple[dict[str, Any], ...]] = {
    VISIT.name: (
        {"is_inspected": False},
        {"findings_that_stop": ("The drain was orange.",)},
        {"is_shell_sound": None},
        {"is_shell_sound": False},
        {"is_class_known": False},
        {"class_may_be_regenerated": False},
        {"is_in_batch": False},
        {"batch_has_passed": False},
        {"batch_is_released": False},
        {"batch_has_failed": False},
        {"batch_has_failed": True},
        {"was_left_out": True},
        {"is_put_back_by_part": True},
        {"shipping_stops": ("Batch B-10001: its record stands open for correction.",)},
    ),
    BATCH.name: (
        {"blocking_checks": ("The bed is too high.",)},
        {
            "may_stop_here": False,
            "chemical_in_bed": "Hydrochloric acid",
            "next_safe_point": "the end of displacement",
        },
        {"may_stop_here": False},
        {"steps_before_qc_open": ("Fast rinse",)},
        {"checks_missing": ("strength of acid injection",)},
        {"qc_verdict": "incomplete", "qc_reasons": ("Silica is not measured.",)},
        {"qc_verdict": ""},
        {"against_going_on": ("The water of the specification is used up.",)},
        {"open_deviations": 1},
        {"open_deviations": 2},
        {"open_elsewhere": ("Paper form P-10012 is being entered.",)},
        {"tanks_filled": 0},
        {"tanks_not_filled": 2},
        {"actor_took_part": ("performed backwash",)},
        {"actor_performed": ("performed backwash",)},
        {"is_reopened": True},
        {"is_reopened": False},
        {"stands_as": "fail"},
        {"is_reviewed": False},
        {"has_live_child": True},
        {"is_resin_gone": True},
        {"is_started": False},
    ),
    STEP.name: (
        {"batch_is_held": True},
        {"batch_may_run": False, "batch_state_label": "awaiting QC"},
        {"safety_blocks": ("The eyewash test is overdue.",)},
        {"predecessors_open": ("Backwash",)},
        {"entries_missing_before": ("drain connected",)},
        {"entries_missing": ("flow",)},
        {"end_not_reached": ("120 L are still to be fed.",)},
        {"checks_missing": ("strength of acid injection",)},
        {"may_be_skipped": False},
    ),
}
"""For each lifecycle the changes that stop something, one at a time."""

ONLY_THEN: dict[tuple[str, Any, Any], dict[str, Any]] = {
    (BATCH.name, BatchState.PASSED, BatchAction.FAIL): {"is_reopened": True},
    (BATCH.name, BatchState.FILLED, BatchAction.FAIL): {"is_reopened": True},
    (BATCH.name, BatchState.RELEASED, BatchAction.FAIL): {"is_reopened": True},
    (VISIT.name, VisitState.REFILLED, VisitAction.FAIL): {"batch_has_failed": True},
    (VISIT.name, VisitState.RELEASED, VisitAction.FAIL): {"batch_has_failed": True},
}
"""Moves that are open only where the others of their state are shut: what passed fails once its signed record was reopened, and
its tanks with it."""


def open_to(life: Lifecycle[Any, Any, Any], state: Any, action: Any) -> Any:
    """The snapshot in which this move is open."""
    return replace(OPEN[life.name], **ONLY_THEN.get((life.name, state, action), {}))


PAIRS = [
    pytest.param(life, state, action, id=f"{life.name}: {state} {action}")
    for life in LIFECYCLES
    for state in STATES[life.name][0]
    for action in STATES[life.name][1]
]


def test_every_lifecycle_is_walked() -> None:
    assert {life.name for life in LIFECYCLES} == set(STATES) == set(OPEN) == set(STOPPED)


@pytest.mark.parametrize(("life", "state", "action"), PAIRS)
def test_a_pair_is_in_the_table_or_refused_with_a_sentence(
    life: Lifecycle[Any, Any, Any], state: Any, action: Any
) -> None:
    snapshot = open_to(life, state, action)
    if (state, action) in life.table:
        target = life.transition(state, action, snapshot, held_from=state)
        assert target in STATES[life.name][0]
        return
    with pytest.raises(TransitionRefused) as refused:
        life.transition(state, action, snapshot)
    assert refused.value.code == "no_such_move"
    assert refused.value.message.startswith(f"A {life.name} that is {lifecycle.label(state)} cannot ")
    assert "Possible now: " in refused.value.message and refused.value.message.endswith(".")


@pytest.mark.parametrize("life", LIFECYCLES, ids=lambda life: life.name)
def test_offers_name_exactly_the_moves_of_the_table_and_are_open(life: Lifecycle[Any, Any, Any]) -> None:
    for state in STATES[life.name][0]:
        offers = life.offers(state, OPEN[life.name])
        assert [offer.action for offer in offers] == [
            action for (source, action) in life.table if source == state
        ]
        for offer in offers:
            (own,) = [
                one
                for one in life.offers(state, open_to(life, state, offer.action))
                if one.action == offer.action
            ]
            assert own.is_open, (state, offer.action)


@pytest.mark.parametrize("life", LIFECYCLES, ids=lambda life: life.name)
def test_every_guard_stops_its_move_with_a_sentence(life: Lifecycle[Any, Any, Any]) -> None:
    fired: set[Any] = set()
    for change in STOPPED[life.name]:
        snapshot = replace(OPEN[life.name], **change)
        stopped_here = set()
        for (state, action), rule in life.table.items():
            stopping = [guard for guard in rule.guards if guard(snapshot)]
            stopped_here.update(stopping)
            if not stopping:
                continue
            with pytest.raises(TransitionRefused) as refused:
                life.transition(state, action, snapshot, held_from=state)
            assert {blocker.code for blocker in refused.value.blockers} == {
                guard(snapshot).code for guard in stopping
            }
            for blocker in refused.value.blockers:
                assert not blocker.sentence[0].islower() and blocker.sentence.endswith("."), blocker.sentence
        assert stopped_here, f"{change} stops nothing"
        fired |= stopped_here
    assert fired == {guard for rule in life.table.values() for guard in rule.guards}


def reachable(life: Lifecycle[Any, Any, Any], without: set[Any]) -> set[Any]:
    """States that can be reached when some actions are never taken; a hold leads back to where it came from."""
    seen, waiting = set(), {life.start}
    while waiting:
        state = waiting.pop()
        seen.add(state)
        for (source, action), rule in life.table.items():
            if source == state and action not in without and rule.to is not None and rule.to not in seen:
                waiting.add(rule.to)
    return seen


@pytest.mark.parametrize("life", LIFECYCLES, ids=lambda life: life.name)
def test_every_state_can_be_reached(life: Lifecycle[Any, Any, Any]) -> None:
    assert reachable(life, set()) == set(STATES[life.name][0])


@pytest.mark.requirement("ER-17")
def test_no_batch_is_released_without_qc() -> None:
    assert BatchState.RELEASED not in reachable(BATCH, {BatchAction.PASS})
    assert BatchState.RELEASED not in reachable(BATCH, {BatchAction.RELEASE})
    assert BATCH.rule(BatchState.AWAITING_QC, BatchAction.PASS).permission == "qc.judge"


@pytest.mark.requirement("ER-15")
def test_every_way_into_released_asks_for_an_independent_person() -> None:
    ways = [(key, rule) for key, rule in BATCH.table.items() if rule.to is BatchState.RELEASED]
    assert ways
    took_part = replace(OPEN[BATCH.name], actor_took_part=("took rinse readings",))
    for (state, action), _ in ways:
        with pytest.raises(TransitionRefused, match="another person must release it"):
            BATCH.transition(state, action, took_part)


def test_no_tank_is_released_that_no_released_batch_filled() -> None:
    for key, rule in VISIT.table.items():
        if rule.to is VisitState.RELEASED:
            with pytest.raises(TransitionRefused):
                VISIT.transition(*key, replace(OPEN[VISIT.name], batch_is_released=False))
    assert VisitState.SHIPPED not in reachable(VISIT, {VisitAction.RELEASE})


def test_a_refused_tank_goes_nowhere() -> None:
    assert [action for (state, action) in VISIT.table if state is VisitState.REFUSED] == []


def test_a_hold_of_unknown_origin_is_refused_not_guessed() -> None:
    with pytest.raises(TransitionRefused) as refused:
        BATCH.transition(BatchState.HELD, BatchAction.RESUME, OPEN[BATCH.name])
    assert refused.value.code == "held_from_unknown"


def test_the_guide_for_developers_shows_the_lifecycles_as_they_are() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    shown = guide.partition(lifecycle_diagram.BEGIN)[2].partition(lifecycle_diagram.END)[0]
    assert lifecycle_diagram.text() in shown, "Run: python manage.py lifecycle_diagram --write"
