"""Batch: from the plan to the released tanks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.lifecycle.table import Blocker, Lifecycle, Rule, unchecked


class BatchState(StrEnum):
    PLANNED = "planned"
    READY = "ready"
    RUNNING = "running"
    RINSING = "rinsing"
    AWAITING_QC = "awaiting_qc"
    PASSED = "passed"
    FAILED = "failed"
    FILLED = "filled"
    RELEASED = "released"
    HELD = "held"
    ABORTED = "aborted"
    SCRAPPED = "scrapped"


ACTIVE_STATES = (BatchState.RUNNING, BatchState.RINSING, BatchState.AWAITING_QC)
"""Something of this batch stands in a vessel and nobody has judged it."""

IN_VESSEL_STATES = (BatchState.READY, *ACTIVE_STATES, BatchState.PASSED, BatchState.FAILED, BatchState.HELD)
"""The vessel belongs to this batch."""

OPEN_STATES = (BatchState.PLANNED, *IN_VESSEL_STATES, BatchState.FILLED)
"""Somebody still has something to do."""


AFTER_A_PASS = (BatchState.PASSED, BatchState.FILLED, BatchState.RELEASED)
"""A signed decision passed it, and stands."""


class BatchAction(StrEnum):
    MAKE_READY = "make_ready"
    START = "start"
    BEGIN_RINSE = "begin_rinse"
    HAND_TO_QC = "hand_to_qc"
    HOLD = "hold"
    INTERRUPT = "interrupt"
    RESUME = "resume"
    ABORT = "abort"
    CONTINUE_RINSE = "continue_rinse"
    PASS = "pass"
    FAIL = "fail"
    REWORK = "rework"
    SCRAP = "scrap"
    FILL = "fill"
    RELEASE = "release"


@dataclass(frozen=True, slots=True)
class BatchSnapshot:
    """What the guards of a batch look at, taken under the lock."""

    blocking_checks: tuple[str, ...] = ()
    """Sentences of plan checks that block the start now."""
    chemical_in_bed: str = ""
    """Name of the chemical that stands in the bed (of carbon, in the tanks), "" if none."""
    stands_in: str = "the bed"
    """What a chemical stands in, in words (``ResinFamily.stands_in``)."""
    may_stop_here: bool = True
    checks_missing: tuple[str, ...] = ()
    """Critical entries whose accuracy check (typed twice, or a second person) does not stand yet."""
    steps_before_qc_open: tuple[str, ...] = ()
    """Names of steps that are neither done nor skipped, up to the sample."""
    next_safe_point: str = ""
    qc_verdict: str = ""
    """"pass", "fail" or "incomplete" from the acceptance rules; "" where nothing was judged."""
    qc_reasons: tuple[str, ...] = ()
    against_going_on: tuple[str, ...] = ()
    """Sentences: why the rinse does not go on (its water is used up, nothing is missing from its end point)."""
    open_deviations: int = 0
    tanks_not_filled: int = 0
    tanks_filled: int = 0
    actor_name: str = ""
    actor_took_part: tuple[str, ...] = ()
    """What the acting person did in this batch ("performed Backwash", "recorded readings")."""
    actor_performed: tuple[str, ...] = ()
    """The part of it that was work on the bed."""
    has_live_child: bool = False
    is_resin_gone: bool = False
    """Every tank of it is shipped or emptied: nothing of its resin is here."""
    is_started: bool = False
    is_reopened: bool = False
    """The signed record stands open for correction."""
    stands_as: str = ""
    """Verdict of the decision that stands, "" while none is signed."""
    is_reviewed: bool = False
    """A review covers the record as it stands."""
    review_missing: str = "Nobody who took no part has reviewed the record yet."
    """Why ``is_reviewed`` is not so, as a sentence."""
    open_elsewhere: tuple[str, ...] = ()
    """What rooms above say is not finished about this batch (a paper form that nobody confirmed), as sentences."""


def _checks_met(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.blocking_checks:
        return None
    return Blocker("plan_blocked", " ".join(snapshot.blocking_checks))


def _safe_to_stop(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.may_stop_here:
        return None
    where = f" Go on to {snapshot.next_safe_point}, then hold." if snapshot.next_safe_point else ""
    what = (
        f"{snapshot.chemical_in_bed} stands in {snapshot.stands_in}."
        if snapshot.chemical_in_bed
        else "This is no safe point."
    )
    return Blocker("not_a_safe_hold_point", f"Do not stop here: {what}{where}")


def _steps_done(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.steps_before_qc_open:
        return None
    return Blocker("steps_open", f"Not done yet: {', '.join(snapshot.steps_before_qc_open)}.")


def _checks_made(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.checks_missing:
        return None
    return Blocker("checks_missing", unchecked(snapshot.checks_missing))


def _verdict_is_pass(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.qc_verdict == "pass":
        return None
    reasons = " ".join(snapshot.qc_reasons) or "No QC result is written down."
    return Blocker("qc_not_met", f"Pass is not met. {reasons}")


def _may_rinse_on(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.against_going_on:
        return None
    return Blocker("rinse_over", " ".join(snapshot.against_going_on))


def _all_tanks_filled(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.tanks_filled == 0:
        return Blocker("nothing_filled", "No tank is filled from this batch yet.")
    if snapshot.tanks_not_filled:
        return Blocker(
            "tanks_not_filled",
            f"{snapshot.tanks_not_filled} tanks of this batch are neither filled nor set aside.",
        )
    return None


def _no_open_deviation(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.open_deviations:
        return None
    noun = "deviation is" if snapshot.open_deviations == 1 else "deviations are"
    return Blocker(
        "open_deviation",
        f"{snapshot.open_deviations} {noun} open. Each needs a decision by a supervisor first.",
    )


def _not_reopened(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.is_reopened:
        return None
    return Blocker("reopened", "The record stands open for correction. Its decision is signed anew first.")


def _reopened(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.is_reopened:
        return None
    return Blocker(
        "not_reopened",
        "It passed, and its record is signed. Only a record that was reopened is judged again.",
    )


def _passed_as_it_stands(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.stands_as != "fail":
        return None
    return Blocker("stands_failed", "The decision was amended to fail, so nothing of this batch is released.")


def _reviewed(snapshot: BatchSnapshot) -> Blocker | None:
    return None if snapshot.is_reviewed else Blocker("not_reviewed", snapshot.review_missing)


def _independent(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.actor_took_part:
        return None
    return Blocker(
        "own_work",
        f"{snapshot.actor_name} {' and '.join(snapshot.actor_took_part)} in this batch, so another person must release it.",
    )


def _did_not_perform(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.actor_performed:
        return None
    return Blocker(
        "own_work",
        f"{snapshot.actor_name} {' and '.join(snapshot.actor_performed)} in this batch, so another person must judge it.",
    )


def _no_live_child(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.has_live_child:
        return None
    return Blocker("rework_running", "A rework of this batch is already under way.")


def _resin_is_here(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.is_resin_gone:
        return None
    return Blocker(
        "resin_gone",
        "No tank of this batch is here any more: nothing is left to rework or to scrap. What was shipped is called back.",
    )


def _was_started(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.is_started:
        return None
    return Blocker(
        "never_started",
        "This batch was never started: its tanks are back on the waiting list, nothing is left to rework.",
    )


def _nothing_open_elsewhere(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.open_elsewhere:
        return None
    return Blocker("open_elsewhere", " ".join(snapshot.open_elsewhere))


RELEASE_GUARDS = (
    _not_reopened,
    _passed_as_it_stands,
    _no_open_deviation,
    _nothing_open_elsewhere,
    _all_tanks_filled,
    _reviewed,
    _independent,
)
"""What must hold for a release, and for one signed anew."""


def release_blockers(snapshot: BatchSnapshot) -> tuple[Blocker, ...]:
    """Why a batch that is released already is not released anew, once its record was amended; empty when it may be."""
    found = (guard(snapshot) for guard in RELEASE_GUARDS)
    return tuple(blocker for blocker in found if blocker is not None)


def _moves() -> dict[tuple[BatchState, BatchAction], Rule[BatchState, BatchSnapshot]]:
    state, action = BatchState, BatchAction
    moves: dict[tuple[BatchState, BatchAction], Rule[BatchState, BatchSnapshot]] = {
        (state.PLANNED, action.MAKE_READY): Rule(state.READY, "batch.plan", (_checks_met,)),
        (state.PLANNED, action.ABORT): Rule(state.ABORTED, "batch.abort"),
        (state.READY, action.START): Rule(state.RUNNING, "batch.run", (_checks_met,)),
        (state.READY, action.ABORT): Rule(state.ABORTED, "batch.abort"),
        (state.RUNNING, action.BEGIN_RINSE): Rule(state.RINSING, "batch.run"),
        (state.RINSING, action.HAND_TO_QC): Rule(state.AWAITING_QC, "batch.run", (_steps_done, _checks_made)),
        (state.AWAITING_QC, action.CONTINUE_RINSE): Rule(state.RINSING, "qc.judge", (_may_rinse_on,)),
        (state.AWAITING_QC, action.PASS): Rule(
            state.PASSED, "qc.judge", (_did_not_perform, _verdict_is_pass)
        ),
        (state.AWAITING_QC, action.FAIL): Rule(state.FAILED, "qc.judge"),
        (state.PASSED, action.FAIL): Rule(state.FAILED, "qc.judge", (_did_not_perform, _reopened)),
        (state.FILLED, action.FAIL): Rule(state.FAILED, "qc.judge", (_did_not_perform, _reopened)),
        (state.RELEASED, action.FAIL): Rule(state.FAILED, "qc.judge", (_did_not_perform, _reopened)),
        (state.PASSED, action.FILL): Rule(state.FILLED, "batch.run", (_not_reopened, _all_tanks_filled)),
        (state.FILLED, action.RELEASE): Rule(state.RELEASED, "batch.release", RELEASE_GUARDS),
        (state.FAILED, action.REWORK): Rule(state.FAILED, "batch.rework", (_no_live_child, _resin_is_here)),
        (state.ABORTED, action.REWORK): Rule(state.ABORTED, "batch.rework", (_no_live_child, _was_started)),
        (state.ABORTED, action.SCRAP): Rule(state.SCRAPPED, "batch.scrap", (_no_live_child, _was_started)),
        (state.FAILED, action.SCRAP): Rule(state.SCRAPPED, "batch.scrap", (_no_live_child, _resin_is_here)),
        (state.HELD, action.RESUME): Rule(None, "batch.run"),
        (state.HELD, action.ABORT): Rule(state.ABORTED, "batch.abort", (_safe_to_stop,)),
    }
    for active in ACTIVE_STATES:
        moves[active, action.HOLD] = Rule(state.HELD, "batch.hold", (_safe_to_stop,))
        moves[active, action.INTERRUPT] = Rule(state.HELD, "batch.hold")
    return moves


BATCH: Lifecycle[BatchState, BatchAction, BatchSnapshot] = Lifecycle("batch", BatchState.PLANNED, _moves())
