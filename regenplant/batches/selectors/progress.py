"""How far a batch is: its steps with planned and real times, without the minutes it stood still."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.batches.models import Batch, Hold, StepRun
from regenplant.core.process.lifecycle import BatchState, StepState


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step of the plan with what really happened."""

    id: int
    number: int
    kind: str
    name: str
    state: str
    planned_s: float
    elapsed_s: float
    started_at: datetime | None
    finished_at: datetime | None
    by: str
    """Initials of who worked it."""
    skip_reason: str
    is_safe_hold_after: bool

    @property
    def fraction_done(self) -> float:
        if self.state in (StepState.DONE, StepState.SKIPPED):
            return 1.0
        return (
            min(1.0, self.elapsed_s / self.planned_s)
            if self.state == StepState.RUNNING and self.planned_s > 0
            else 0.0
        )

    @property
    def left_s(self) -> float:
        """Planned time still to go; below zero when it is late."""
        return self.planned_s - self.elapsed_s

    @property
    def is_late(self) -> bool:
        """More than a quarter (at least five minutes) over its planned time."""
        return self.state == StepState.RUNNING and -self.left_s > max(300.0, 0.25 * self.planned_s)


@dataclass(frozen=True, slots=True)
class Progress:
    steps: tuple[StepLine, ...]

    @property
    def current(self) -> StepLine | None:
        """The running step, else the next waiting one."""
        running = next((step for step in self.steps if step.state == StepState.RUNNING), None)
        return running or next((step for step in self.steps if step.state == StepState.WAITING), None)

    @property
    def following(self) -> StepLine | None:
        current = self.current
        if current is None:
            return None
        return next(
            (s for s in self.steps if s.number > current.number and s.state == StepState.WAITING), None
        )

    @property
    def left_s(self) -> float:
        """Planned time left over all steps; a late step counts as nothing left."""
        return sum(
            max(0.0, step.left_s) if step.state == StepState.RUNNING else step.planned_s
            for step in self.steps
            if step.state in (StepState.RUNNING, StepState.WAITING)
        )

    @property
    def planned_s(self) -> float:
        return sum(step.planned_s for step in self.steps)


def progress_of(batch: Batch, now: datetime) -> Progress:
    """Progress of one batch. Uses prefetched ``steps`` and ``holds`` where there are any."""
    holds = list(batch.holds.all())
    is_held = batch.state == BatchState.HELD
    return Progress(
        tuple(_line(step, holds, now, is_held) for step in sorted(batch.steps.all(), key=lambda s: s.number))
    )


def _line(step: StepRun, holds: Iterable[Hold], now: datetime, is_held: bool) -> StepLine:
    start, end = step.started_at, step.finished_at or now
    elapsed = (end - start - _stood_still(holds, start, end)).total_seconds() if start else 0.0
    person = step.finished_by or step.started_by
    return StepLine(
        id=step.pk,
        number=step.number,
        kind=step.kind,
        name=step.name,
        state=step.state,
        planned_s=step.planned_duration_s,
        elapsed_s=max(0.0, elapsed),
        started_at=start,
        finished_at=step.finished_at,
        by=person.initials if person else "",
        skip_reason=step.skip_reason,
        is_safe_hold_after=step.is_safe_hold_after,
    )


def _stood_still(holds: Iterable[Hold], start: datetime, end: datetime) -> timedelta:
    still = timedelta(0)
    for hold in holds:
        low, high = max(start, hold.held_at), min(end, hold.resumed_at or end)
        still += max(timedelta(0), high - low)
    return still
