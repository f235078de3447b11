"""Lifecycles: states, actions, one transition table each, and the guards.

``offers`` lists every action that leaves the present state, each with its blockers, so that a screen can show a
greyed button with the reason. ``transition`` gives the new state or raises ``TransitionRefused``. Both read the
same table; nothing else in the program knows which move is legal.

A guard is a small function of a frozen snapshot that returns None or a ``Blocker``. Two-person rules are guards.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from regenplant.core.errors import TransitionRefused


@dataclass(frozen=True, slots=True)
class Blocker:
    """Why an action may not be taken now; the sentence is for people."""

    code: str
    sentence: str


S = TypeVar("S", bound=StrEnum)
A = TypeVar("A", bound=StrEnum)
Snapshot = TypeVar("Snapshot")
Guard = Callable[[Snapshot], "Blocker | None"]


@dataclass(frozen=True, slots=True)
class Rule(Generic[S, Snapshot]):
    """One legal move: where to, which permission, which guards. ``to`` None: back to where it was held from."""

    to: S | None
    permission: str
    guards: tuple[Guard[Snapshot], ...] = ()


@dataclass(frozen=True, slots=True)
class Offer(Generic[A]):
    action: A
    permission: str
    blockers: tuple[Blocker, ...]

    @property
    def is_open(self) -> bool:
        return not self.blockers


@dataclass(frozen=True)
class Lifecycle(Generic[S, A, Snapshot]):
    """A named table of moves."""

    name: str
    start: S
    table: Mapping[tuple[S, A], Rule[S, Snapshot]]

    def offers(self, state: S, snapshot: Snapshot) -> tuple[Offer[A], ...]:
        """Every action of the table that leaves ``state``, in table order, with its blockers."""
        return tuple(
            Offer(action, rule.permission, _blockers(rule, snapshot))
            for (source, action), rule in self.table.items()
            if source == state
        )

    def rule(self, state: S, action: A) -> Rule[S, Snapshot]:
        """The rule for this move. Raises TransitionRefused when there is none."""
        rule = self.table.get((state, action))
        if rule is None:
            allowed = ", ".join(str(a).replace("_", " ") for (s, a) in self.table if s == state) or "nothing"
            raise TransitionRefused(
                f"A {self.name} that is {label(state)} cannot {str(action).replace('_', ' ')}. Possible now: {allowed}.",
                code="no_such_move",
                state=str(state),
                action=str(action),
            )
        return rule

    def transition(self, state: S, action: A, snapshot: Snapshot, *, held_from: S | None = None) -> S:
        """The state after the action. Raises TransitionRefused with every blocker."""
        rule = self.rule(state, action)
        blockers = _blockers(rule, snapshot)
        if blockers:
            raise TransitionRefused(
                " ".join(blocker.sentence for blocker in blockers),
                blockers=blockers,
                code=blockers[0].code,
                state=str(state),
                action=str(action),
            )
        target = rule.to or held_from
        if target is None:
            raise TransitionRefused(
                f"It is not known from where this {self.name} was held.", code="held_from_unknown"
            )
        return target


def _blockers(rule: Rule[S, Snapshot], snapshot: Snapshot) -> tuple[Blocker, ...]:
    found = (guard(snapshot) for guard in rule.guards)
    return tuple(blocker for blocker in found if blocker is not None)


def label(state: StrEnum) -> str:
    """The state in words: "awaiting QC"."""
    return _LABELS.get(str(state), str(state).replace("_", " "))


_LABELS = {"awaiting_qc": "awaiting QC"}


# --- tank visit: one round trip of one tank ---------------------------------------------------------------------------
class VisitState(StrEnum):
    RECEIVED = "received"
    ACCEPTED = "accepted"
    HELD = "held"
    REFUSED = "refused"
    EMPTIED = "emptied"
    REFILLED = "refilled"
    RELEASED = "released"
    SHIPPED = "shipped"


class VisitAction(StrEnum):
    ACCEPT = "accept"
    HOLD = "hold"
    REFUSE = "refuse"
    EMPTY = "empty"
    REFILL = "refill"
    RELEASE = "release"
    SHIP = "ship"


@dataclass(frozen=True, slots=True)
class VisitSnapshot:
    """What the guards of a tank visit look at."""

    is_inspected: bool = False
    findings_that_stop: tuple[str, ...] = ()
    """Sentences of the intake findings that forbid acceptance."""
    is_shell_sound: bool | None = None
    is_class_known: bool = False
    class_may_be_regenerated: bool = False
    is_in_batch: bool = False
    batch_has_passed: bool = False
    batch_is_released: bool = False


def _inspected(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.is_inspected:
        return None
    return Blocker("not_inspected", "The intake inspection is not written down yet.")


def _nothing_stops(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.findings_that_stop:
        return None
    return Blocker(
        "finding_stops", " ".join(snapshot.findings_that_stop) + " Hold the tank and call the safety lead."
    )


def _class_fits(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.is_class_known:
        return Blocker("class_unknown", "No segregation class is chosen. It is never guessed.")
    if not snapshot.class_may_be_regenerated:
        return Blocker(
            "class_not_regenerated", "This class is not regenerated without a written disposition."
        )
    return None


def _in_batch(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.is_in_batch:
        return None
    return Blocker("not_in_batch", "This tank belongs to no batch. A tank is emptied into a batch.")


def _shell_sound(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.is_shell_sound is None:
        return Blocker("shell_not_inspected", "The empty shell is not inspected yet.")
    if not snapshot.is_shell_sound:
        return Blocker("shell_unsound", "The shell is not sound. It is not filled again.")
    return None


def _batch_passed(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.batch_has_passed:
        return None
    return Blocker("batch_not_passed", "The batch that fills this tank has not passed QC.")


def _batch_released(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.batch_is_released:
        return None
    return Blocker(
        "batch_not_released",
        "The batch in this tank is not released. Only the release of the batch releases it.",
    )


VISIT: Lifecycle[VisitState, VisitAction, VisitSnapshot] = Lifecycle(
    "tank",
    VisitState.RECEIVED,
    {
        (VisitState.RECEIVED, VisitAction.ACCEPT): Rule(
            VisitState.ACCEPTED, "tank.judge", (_inspected, _nothing_stops, _class_fits)
        ),
        (VisitState.RECEIVED, VisitAction.HOLD): Rule(VisitState.HELD, "tank.hold"),
        (VisitState.RECEIVED, VisitAction.REFUSE): Rule(VisitState.REFUSED, "tank.judge"),
        (VisitState.HELD, VisitAction.ACCEPT): Rule(
            VisitState.ACCEPTED, "tank.lift_hold", (_inspected, _nothing_stops, _class_fits)
        ),
        (VisitState.HELD, VisitAction.REFUSE): Rule(VisitState.REFUSED, "tank.judge"),
        (VisitState.ACCEPTED, VisitAction.HOLD): Rule(VisitState.HELD, "tank.hold"),
        (VisitState.ACCEPTED, VisitAction.EMPTY): Rule(VisitState.EMPTIED, "batch.run", (_in_batch,)),
        (VisitState.EMPTIED, VisitAction.REFILL): Rule(
            VisitState.REFILLED, "batch.run", (_batch_passed, _shell_sound)
        ),
        (VisitState.REFILLED, VisitAction.RELEASE): Rule(
            VisitState.RELEASED, "batch.release", (_batch_released,)
        ),
        (VisitState.RELEASED, VisitAction.SHIP): Rule(VisitState.SHIPPED, "tank.ship"),
    },
)


# --- batch --------------------------------------------------------------------------------------------------------------
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


class BatchAction(StrEnum):
    MAKE_READY = "make_ready"
    START = "start"
    BEGIN_RINSE = "begin_rinse"
    HAND_TO_QC = "hand_to_qc"
    HOLD = "hold"
    INTERRUPT = "interrupt"
    RESUME = "resume"
    ABORT = "abort"
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
    """Name of the chemical that stands in the bed, "" if none."""
    may_stop_here: bool = True
    steps_before_qc_open: tuple[str, ...] = ()
    """Names of steps that are neither done nor skipped, up to the sample."""
    next_safe_point: str = ""
    qc_verdict: str = ""
    """"pass", "fail" or "incomplete" from the acceptance rules; "" where nothing was judged."""
    qc_reasons: tuple[str, ...] = ()
    open_deviations: int = 0
    tanks_not_filled: int = 0
    tanks_filled: int = 0
    actor_name: str = ""
    actor_took_part: tuple[str, ...] = ()
    """What the acting person did in this batch ("performed Backwash", "recorded readings")."""
    actor_performed: tuple[str, ...] = ()
    """The part of it that was work on the bed."""
    has_live_child: bool = False
    is_started: bool = False


def _checks_met(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.blocking_checks:
        return None
    return Blocker("plan_blocked", " ".join(snapshot.blocking_checks))


def _safe_to_stop(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.may_stop_here:
        return None
    where = f" Go on to {snapshot.next_safe_point}, then hold." if snapshot.next_safe_point else ""
    what = (
        f"{snapshot.chemical_in_bed} stands in the bed."
        if snapshot.chemical_in_bed
        else "This is no safe point."
    )
    return Blocker("not_a_safe_hold_point", f"Do not stop here: {what}{where}")


def _steps_done(snapshot: BatchSnapshot) -> Blocker | None:
    if not snapshot.steps_before_qc_open:
        return None
    return Blocker("steps_open", f"Not done yet: {', '.join(snapshot.steps_before_qc_open)}.")


def _verdict_is_pass(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.qc_verdict == "pass":
        return None
    reasons = " ".join(snapshot.qc_reasons) or "No QC result is written down."
    return Blocker("qc_not_met", f"Pass is not met. {reasons}")


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


def _was_started(snapshot: BatchSnapshot) -> Blocker | None:
    if snapshot.is_started:
        return None
    return Blocker(
        "never_started",
        "This batch was never started: its tanks are back on the waiting list, nothing is left to rework.",
    )


def _moves() -> dict[tuple[BatchState, BatchAction], Rule[BatchState, BatchSnapshot]]:
    state, action = BatchState, BatchAction
    moves: dict[tuple[BatchState, BatchAction], Rule[BatchState, BatchSnapshot]] = {
        (state.PLANNED, action.MAKE_READY): Rule(state.READY, "batch.plan", (_checks_met,)),
        (state.PLANNED, action.ABORT): Rule(state.ABORTED, "batch.abort"),
        (state.READY, action.START): Rule(state.RUNNING, "batch.run", (_checks_met,)),
        (state.READY, action.ABORT): Rule(state.ABORTED, "batch.abort"),
        (state.RUNNING, action.BEGIN_RINSE): Rule(state.RINSING, "batch.run"),
        (state.RINSING, action.HAND_TO_QC): Rule(state.AWAITING_QC, "batch.run", (_steps_done,)),
        (state.AWAITING_QC, action.PASS): Rule(
            state.PASSED, "qc.judge", (_did_not_perform, _verdict_is_pass)
        ),
        (state.AWAITING_QC, action.FAIL): Rule(state.FAILED, "qc.judge"),
        (state.PASSED, action.FILL): Rule(state.FILLED, "batch.run", (_all_tanks_filled,)),
        (state.FILLED, action.RELEASE): Rule(
            state.RELEASED, "batch.release", (_no_open_deviation, _all_tanks_filled, _independent)
        ),
        (state.FAILED, action.REWORK): Rule(state.FAILED, "batch.rework", (_no_live_child,)),
        (state.ABORTED, action.REWORK): Rule(state.ABORTED, "batch.rework", (_no_live_child, _was_started)),
        (state.ABORTED, action.SCRAP): Rule(state.SCRAPPED, "batch.scrap", (_no_live_child, _was_started)),
        (state.FAILED, action.SCRAP): Rule(state.SCRAPPED, "batch.scrap", (_no_live_child,)),
        (state.HELD, action.RESUME): Rule(None, "batch.run"),
        (state.HELD, action.ABORT): Rule(state.ABORTED, "batch.abort", (_safe_to_stop,)),
    }
    for active in ACTIVE_STATES:
        moves[active, action.HOLD] = Rule(state.HELD, "batch.hold", (_safe_to_stop,))
        moves[active, action.INTERRUPT] = Rule(state.HELD, "batch.hold")
    return moves


BATCH: Lifecycle[BatchState, BatchAction, BatchSnapshot] = Lifecycle("batch", BatchState.PLANNED, _moves())


# --- step ---------------------------------------------------------------------------------------------------------------
class StepState(StrEnum):
    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    SKIPPED = "skipped"


class StepAction(StrEnum):
    START = "start"
    FINISH = "finish"
    SKIP = "skip"


@dataclass(frozen=True, slots=True)
class StepSnapshot:
    """What the guards of a step look at."""

    batch_is_held: bool = False
    batch_state_label: str = ""
    batch_may_run: bool = True
    safety_blocks: tuple[str, ...] = ()
    """Sentences: why it is not safe to start now (vessel locked out, eyewash test overdue)."""
    predecessors_open: tuple[str, ...] = ()
    entries_missing_before: tuple[str, ...] = ()
    entries_missing: tuple[str, ...] = ()
    end_not_reached: tuple[str, ...] = ()
    """Sentences: what must still be true before the step may end (volume still to feed, end point not met)."""
    may_be_skipped: bool = False
    name: str = ""


def _batch_runs(snapshot: StepSnapshot) -> Blocker | None:
    if snapshot.batch_is_held:
        return Blocker("batch_held", "The batch is held. Resume it first.")
    if not snapshot.batch_may_run:
        return Blocker(
            "batch_not_running", f"The batch is {snapshot.batch_state_label}; its steps cannot be worked now."
        )
    return None


def _safe_to_start(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.safety_blocks:
        return None
    return Blocker("not_safe", " ".join(snapshot.safety_blocks))


def _in_sequence(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.predecessors_open:
        return None
    return Blocker("out_of_sequence", f"First: {', '.join(snapshot.predecessors_open)}.")


def _before_entries(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.entries_missing_before:
        return None
    return Blocker(
        "entries_missing_before",
        f"Before the start, write down: {', '.join(snapshot.entries_missing_before)}.",
    )


def _entries_complete(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.entries_missing:
        return None
    return Blocker("entries_missing", f"Not written yet: {', '.join(snapshot.entries_missing)}.")


def _end_reached(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.end_not_reached:
        return None
    return Blocker("end_not_reached", " ".join(snapshot.end_not_reached))


def _skippable(snapshot: StepSnapshot) -> Blocker | None:
    if snapshot.may_be_skipped:
        return None
    return Blocker(
        "not_skippable", f"{snapshot.name} is never skipped: the bed would be left unsafe or unproven."
    )


STEP: Lifecycle[StepState, StepAction, StepSnapshot] = Lifecycle(
    "step",
    StepState.WAITING,
    {
        (StepState.WAITING, StepAction.START): Rule(
            StepState.RUNNING, "batch.run", (_batch_runs, _safe_to_start, _in_sequence, _before_entries)
        ),
        (StepState.RUNNING, StepAction.FINISH): Rule(
            StepState.DONE, "batch.run", (_batch_runs, _entries_complete, _end_reached)
        ),
        (StepState.WAITING, StepAction.SKIP): Rule(
            StepState.SKIPPED, "step.skip", (_batch_runs, _in_sequence, _skippable)
        ),
    },
)

LIFECYCLES: tuple[Lifecycle, ...] = (VISIT, BATCH, STEP)


def diagram(lifecycle: Lifecycle) -> str:
    """The table as text for DEVELOPERS.md, one line per move, in table order."""
    lines = [f"{lifecycle.name}: starts as {label(lifecycle.start)}"]
    for (source, action), rule in lifecycle.table.items():
        target = label(rule.to) if rule.to else "where it was held from"
        lines.append(
            f"  {label(source):<12} -- {str(action).replace('_', ' '):<12} --> {target:<22} [{rule.permission}]"
        )
    return "\n".join(lines)
