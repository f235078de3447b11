"""The separation record of a mixed bed: how it parted, as people wrote it down at the cut, beside what was predicted.

It is required: the entries of the cut must stand before the cut can be done, and both legs wait for the cut. Reads only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry
from regenplant.batches.moves import current_entries
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.vocabulary import StepKind


@dataclass(frozen=True, slots=True)
class SeparationLine:
    """One thing of the record; ``entry`` None: not written yet."""

    key: str
    name: str
    kind: str
    """Quantity kind, or "confirm", "choice", "text"."""
    target: float | None
    low: float | None
    high: float | None
    is_required: bool
    entry: StepEntry | None

    @property
    def as_typed(self) -> str:
        return f"{self.entry.value_as_typed} {self.entry.unit_as_typed}".strip() if self.entry else ""

    @property
    def value(self) -> float | None:
        """SI; None for what is not written or is no number."""
        return self.entry.value if self.entry else None


@dataclass(frozen=True, slots=True)
class SeparationRecord:
    """What was seen and measured when the bed was cut."""

    step_number: int
    lines: tuple[SeparationLine, ...]
    predicted: Mapping[str, Estimate]
    """Figures of the separation and of the cut by key, with their working: interface height, overlap, cross-contamination."""
    is_done: bool
    """The cut is done, so the record is closed but for corrections."""
    done_at: datetime | None
    done_by: str

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of required entries that are not written yet."""
        return tuple(line.name for line in self.lines if line.is_required and line.entry is None)

    @property
    def heights(self) -> tuple[SeparationLine, ...]:
        return self._of("length")

    @property
    def volumes(self) -> tuple[SeparationLine, ...]:
        return self._of("resin_volume")

    @property
    def fractions(self) -> tuple[SeparationLine, ...]:
        return self._of("fraction")

    @property
    def outside(self) -> tuple[SeparationLine, ...]:
        """What lies outside its limits."""
        return tuple(line for line in self.lines if line.entry is not None and line.entry.is_within is False)

    def line(self, key: str) -> SeparationLine | None:
        return next((line for line in self.lines if line.key == key), None)

    def _of(self, kind: str) -> tuple[SeparationLine, ...]:
        return tuple(line for line in self.lines if line.kind == kind)


def separation_record(batch: Batch) -> SeparationRecord | None:
    """The separation record of a mixed bed as it stands; None for a batch that is not cut. Two queries."""
    plan = plan_of(batch)
    cut = next((step for step in plan.steps if step.kind is StepKind.CUT), None)
    if cut is None:
        return None
    run = batch.steps.select_related("finished_by").get(number=cut.number)
    written = current_entries(run)
    predicted: dict[str, Estimate] = {}
    for step in plan.steps[: cut.number]:
        if step.kind in (StepKind.SEPARATE, StepKind.FLOAT, StepKind.CUT):
            predicted.update({key: figure for key, figure in step.figures.items() if key != "duration_s"})
        if step.kind is StepKind.FLOAT:
            predicted.pop("separation_velocity_ratio", None)  # the solution parts them, not the flow
    return SeparationRecord(
        step_number=cut.number,
        lines=tuple(
            SeparationLine(
                spec.key,
                spec.name,
                spec.kind,
                spec.target,
                spec.low,
                spec.high,
                spec.is_required,
                written.get(spec.key),
            )
            for spec in cut.entries
        ),
        predicted=predicted,
        is_done=run.state == StepState.DONE,
        done_at=run.finished_at,
        done_by=run.finished_by.full_name if run.finished_by else "",
    )
