"""How far a batch is: its steps with planned and real times, without the minutes it stood still."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.legs import is_before, now_at_work
from regenplant.batches.models import Batch, Hold, StepRun
from regenplant.batches.timing import worked_s
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.vocabulary import Leg


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
    leg: str = Leg.WHOLE.value
    """Which resin of a mixed bed it works on."""

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
    def at_work(self) -> tuple[StepLine, ...]:
        """What a person can work on now: the running step or the next one; while two legs run side by side, one of each."""
        return tuple(now_at_work(self.steps))

    @property
    def current(self) -> StepLine | None:
        """The running step, else the next waiting one; of two legs the one that runs, and of two that run the first."""
        running = next((step for step in self.steps if step.state == StepState.RUNNING), None)
        return running or next(iter(self.at_work), None)

    @property
    def following(self) -> StepLine | None:
        return self.after(self.current) if self.current is not None else None

    def after(self, line: StepLine) -> StepLine | None:
        """The next waiting step behind this one, in its own leg or of the whole bed."""
        return next(
            (
                step
                for step in self.steps
                if is_before(line, step)
                and step.state == StepState.WAITING
                and (line.leg == Leg.WHOLE or step.leg in (line.leg, Leg.WHOLE))
            ),
            None,
        )

    @property
    def has_legs(self) -> bool:
        return any(step.leg != Leg.WHOLE for step in self.steps)

    @property
    def left_s(self) -> float:
        """Planned time left over all steps, legs side by side; a late step counts as nothing left."""
        return self._over_legs(
            {
                step.number: max(0.0, step.left_s) if step.state == StepState.RUNNING else step.planned_s
                for step in self.steps
                if step.state in (StepState.RUNNING, StepState.WAITING)
            }
        )

    @property
    def planned_s(self) -> float:
        """Planned time of the whole batch, legs side by side."""
        return self._over_legs({step.number: step.planned_s for step in self.steps})

    def _over_legs(self, seconds: Mapping[int, float]) -> float:
        """Times of the whole bed one after the other, and of the legs the longer one."""
        by_leg = dict.fromkeys((leg.value for leg in Leg), 0.0)
        for step in self.steps:
            by_leg[step.leg] += seconds.get(step.number, 0.0)
        whole = by_leg.pop(Leg.WHOLE.value)
        return whole + max(by_leg.values())


def progress_of(batch: Batch, now: datetime) -> Progress:
    """Progress of one batch. Uses prefetched ``steps`` and ``holds`` where there are any."""
    holds = list(batch.holds.all())
    is_held = batch.state == BatchState.HELD
    return Progress(
        tuple(_line(step, holds, now, is_held) for step in sorted(batch.steps.all(), key=lambda s: s.number))
    )


def _line(step: StepRun, holds: Iterable[Hold], now: datetime, is_held: bool) -> StepLine:
    elapsed = worked_s(step, holds, step.finished_at or now)
    person = step.finished_by or step.started_by
    return StepLine(
        id=step.pk,
        number=step.number,
        kind=step.kind,
        name=step.name,
        state=step.state,
        planned_s=step.planned_duration_s,
        elapsed_s=max(0.0, elapsed),
        started_at=step.started_at,
        finished_at=step.finished_at,
        by=person.initials if person else "",
        skip_reason=step.skip_reason,
        is_safe_hold_after=step.is_safe_hold_after,
        leg=step.leg,
    )
