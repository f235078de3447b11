"""What a batch sheet says, as frozen data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.specification import Specification
from regenplant.documents.issue import Issue


@dataclass(frozen=True, slots=True)
class SheetTank:
    """One tank of the batch as the sheet lists it."""

    position: int
    serial: str
    visit_number: str
    size: str
    customer: str
    resin_volume_m3: float
    lot_code: str = ""


@dataclass(frozen=True, slots=True)
class StepProgress:
    """What the record says of a step when the sheet is printed: a sheet printed under way repeats no step."""

    number: int
    words: str
    """One sentence: done, skipped or running, when and by whom."""
    is_over: bool
    """Done or skipped: not to be carried out again."""


@dataclass(frozen=True, slots=True)
class SheetDeviation:
    """A deviation that is already in the record."""

    number: str
    step: str
    what: str
    decision: str
    """What a supervisor decided, "" while it is open."""


@dataclass(frozen=True, slots=True)
class BatchSheetContent:
    """Everything that a batch sheet says."""

    plant: str
    hall: str
    emergency: tuple[str, ...]
    batch_number: str
    state: str
    """One sentence: where the batch stands now."""
    rework_of: str
    rework_cause: str
    vessel: str
    resin_type: str
    resin_description: str
    segregation_class: str
    class_label: str
    dedicated_to: str
    tanks: tuple[SheetTank, ...]
    recipe_name: str
    recipe_digest: str
    specification: Specification
    specification_version: int
    specification_digest: str
    plan: BatchPlan
    plan_digest: str
    checked_at: Mapping[str, str]
    """When the strength of each stock was checked at the plant, by ``Chemical`` value, as papers print a moment."""
    planned_by: str
    planned_at: str
    issue: Issue
    progress: tuple[StepProgress, ...] = ()
    """Steps that are not waiting any more, in order."""
    deviations: tuple[SheetDeviation, ...] = ()
    is_closed: bool = False
    """Nobody works on the batch any more: the sheet is a copy for the file."""


def content_digest(content: BatchSheetContent) -> str:
    """Digest of what the sheet says; the plan goes in by its own digest, which covers it."""
    light = replace(content.plan, steps=(), totals={}, checks=(), notes=())
    return digest(canonical_text((replace(content, plan=light), content.plan_digest)))
