"""Step of a batch: one at a time in each leg, in order."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.lifecycle.table import Blocker, Lifecycle, Rule, unchecked


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
    checks_missing: tuple[str, ...] = ()
    """Critical entries of the batch without their accuracy check; asked at its last step only."""
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
        f"Before the start, write down: {_listed(snapshot.entries_missing_before)}.",
    )


def _listed(names: tuple[str, ...]) -> str:
    """Names one after the other; where one holds a comma itself, a semicolon keeps them apart."""
    return ("; " if any(", " in name for name in names) else ", ").join(names)


def _entries_complete(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.entries_missing:
        return None
    return Blocker("entries_missing", f"First write down {_listed(snapshot.entries_missing)}.")


def _checks_made(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.checks_missing:
        return None
    return Blocker("checks_missing", unchecked(snapshot.checks_missing))


def _end_reached(snapshot: StepSnapshot) -> Blocker | None:
    if not snapshot.end_not_reached:
        return None
    return Blocker("end_not_reached", " ".join(snapshot.end_not_reached))


def _skippable(snapshot: StepSnapshot) -> Blocker | None:
    if snapshot.may_be_skipped:
        return None
    return Blocker(
        "not_skippable", f"{snapshot.name} is never skipped: what follows would be unsafe or unproven."
    )


STEP: Lifecycle[StepState, StepAction, StepSnapshot] = Lifecycle(
    "step",
    StepState.WAITING,
    {
        (StepState.WAITING, StepAction.START): Rule(
            StepState.RUNNING, "batch.run", (_batch_runs, _safe_to_start, _in_sequence, _before_entries)
        ),
        (StepState.RUNNING, StepAction.FINISH): Rule(
            StepState.DONE, "batch.run", (_batch_runs, _entries_complete, _end_reached, _checks_made)
        ),
        (StepState.WAITING, StepAction.SKIP): Rule(
            StepState.SKIPPED, "step.skip", (_batch_runs, _in_sequence, _skippable)
        ),
    },
)
