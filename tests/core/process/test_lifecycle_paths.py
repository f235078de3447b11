"""No way round QC and the independent person, proven on the table itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.errors import TransitionRefused
from regenplant.core.process.lifecycle import (
    BATCH,
    STEP,
    VISIT,
    BatchAction,
    BatchSnapshot,
    BatchState,
    Lifecycle,
    StepAction,
    StepState,
    VisitAction,
    VisitState,
)


def reachable(lifecycle: Lifecycle, *, without: tuple) -> set:
    """States reachable from the start when some actions are never taken. A move back to where it was held from leads to
    states that were reached before and can be held."""
    moves = [(s, rule.to) for (s, action), rule in lifecycle.table.items() if action not in without]
    may_be_held = {source for source, target in moves if target == "held"}
    found = {lifecycle.start}
    while True:
        targets = {
            t for s, target in moves if s in found for t in ([target] if target else found & may_be_held)
        }
        if targets <= found:
            return found
        found |= targets


@pytest.mark.parametrize(
    "never", [BatchAction.PASS, BatchAction.HAND_TO_QC, BatchAction.FILL, BatchAction.RELEASE]
)
def test_released_is_out_of_reach_without_each_of_these_acts(never: BatchAction) -> None:
    assert BatchState.RELEASED in reachable(BATCH, without=())
    assert BatchState.RELEASED not in reachable(BATCH, without=(never,))


@pytest.mark.parametrize(
    "never", [VisitAction.ACCEPT, VisitAction.EMPTY, VisitAction.REFILL, VisitAction.RELEASE]
)
def test_a_tank_is_not_shipped_without_each_of_these_acts(never: VisitAction) -> None:
    assert VisitState.SHIPPED in reachable(VISIT, without=())
    assert VisitState.SHIPPED not in reachable(VISIT, without=(never,))


def test_refused_tanks_go_nowhere() -> None:
    assert [action for (state, action) in VISIT.table if state is VisitState.REFUSED] == []


SNAPSHOTS = st.builds(
    BatchSnapshot,
    blocking_checks=st.lists(st.just("blocked."), max_size=1).map(tuple),
    chemical_in_bed=st.sampled_from(["", "Hydrochloric acid"]),
    may_stop_here=st.booleans(),
    steps_before_qc_open=st.lists(st.just("Settle"), max_size=1).map(tuple),
    qc_verdict=st.sampled_from(["", "pass", "fail", "incomplete"]),
    open_deviations=st.integers(0, 2),
    tanks_not_filled=st.integers(0, 2),
    tanks_filled=st.integers(0, 2),
    actor_took_part=st.lists(st.just("performed settle"), max_size=1).map(tuple),
    actor_performed=st.lists(st.just("performed settle"), max_size=1).map(tuple),
    is_reopened=st.booleans(),
    stands_as=st.sampled_from(["", "pass", "fail"]),
    is_reviewed=st.booleans(),
    has_live_child=st.booleans(),
    is_started=st.booleans(),
)


@pytest.mark.requirement("ER-15", "ER-17")
@given(SNAPSHOTS)
def test_release_is_open_only_to_an_independent_person_with_nothing_open(snapshot: BatchSnapshot) -> None:
    try:
        state = BATCH.transition(BatchState.FILLED, BatchAction.RELEASE, snapshot)
    except TransitionRefused as refusal:
        assert refusal.blockers
        return
    assert state is BatchState.RELEASED
    assert not snapshot.actor_took_part
    assert snapshot.open_deviations == 0
    assert snapshot.tanks_filled > 0 and snapshot.tanks_not_filled == 0
    assert snapshot.is_reviewed and not snapshot.is_reopened and snapshot.stands_as != "fail"


@given(SNAPSHOTS)
def test_pass_is_open_only_when_the_verdict_is_pass(snapshot: BatchSnapshot) -> None:
    try:
        BATCH.transition(BatchState.AWAITING_QC, BatchAction.PASS, snapshot)
    except TransitionRefused:
        return
    assert snapshot.qc_verdict == "pass"
    assert not snapshot.actor_performed


@given(SNAPSHOTS, st.sampled_from([BatchState.RUNNING, BatchState.RINSING, BatchState.AWAITING_QC]))
def test_hold_is_open_only_where_the_bed_may_stand(snapshot: BatchSnapshot, state: BatchState) -> None:
    try:
        BATCH.transition(state, BatchAction.HOLD, snapshot)
    except TransitionRefused as refusal:
        assert "Do not stop here" in refusal.message
        return
    assert snapshot.may_stop_here


def test_offers_name_every_move_and_agree_with_the_transition() -> None:
    good = BatchSnapshot(qc_verdict="pass", tanks_filled=1, is_started=True, is_reviewed=True)
    reopened = replace(good, is_reopened=True)
    for state in BatchState:
        for offer in BATCH.offers(state, good):
            fails_later = offer.action is BatchAction.FAIL and state is not BatchState.AWAITING_QC
            assert offer.is_open is not fails_later  # only a record that was reopened is judged again
            way = reopened if fails_later else good
            BATCH.transition(state, offer.action, way, held_from=BatchState.RUNNING)
    blocked = replace(good, open_deviations=1)
    (release,) = [
        offer for offer in BATCH.offers(BatchState.FILLED, blocked) if offer.action is BatchAction.RELEASE
    ]
    assert [blocker.code for blocker in release.blockers] == ["open_deviation"]


@pytest.mark.parametrize(
    ("lifecycle", "states", "actions"),
    [(BATCH, BatchState, BatchAction), (VISIT, VisitState, VisitAction), (STEP, StepState, StepAction)],
)
def test_every_move_that_is_not_in_the_table_is_refused_with_a_sentence(lifecycle, states, actions) -> None:
    for state in states:
        for action in actions:
            if (state, action) in lifecycle.table:
                continue
            with pytest.raises(TransitionRefused, match=r"cannot .*Possible now: "):
                lifecycle.rule(state, action)
