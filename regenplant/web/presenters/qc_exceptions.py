"""What was unusual in a batch, in words; "none" in words too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.batches.models import Deviation, Hold, StepEntry
from regenplant.quality.selectors import QcPage
from regenplant.web.drawing.limit_bar import limit_text
from regenplant.web.presenters.words import (
    clock,
    counted,
    day_and_clock,
    joined,
    sentence_case,
)


@dataclass(frozen=True, slots=True)
class Exceptions:
    """What was unusual: sentences, "none" in words where there is none."""

    open_deviations: tuple[Deviation, ...]
    decided_deviations: tuple[Deviation, ...]
    sentences: tuple[str, ...]
    none: str
    """What there was none of, as one sentence; "" when something of everything was."""


def exceptions_of(page: QcPage) -> Exceptions:
    """Deviations, holds, entries outside their limits, late entries, corrections, readings that do not count."""
    found: list[str] = []
    missing: list[str] = []
    _either(found, missing, [_hold_sentence(hold) for hold in page.holds], "hold")
    _either(
        found, missing, [_outside_sentence(row) for row in page.outside_entries], "entry outside its limits"
    )
    _either(found, missing, _late(page), "late entry")
    _either(found, missing, _corrected(page), "correction")
    _either(
        found, missing, [*page.end_point.instrument_checks, *page.end_point.not_counted], "reading left out"
    )
    if not page.open_deviations and not page.decided_deviations:
        missing.insert(0, "deviation")
    none = f"No {joined(missing, 'or')}." if missing else ""
    return Exceptions(page.open_deviations, page.decided_deviations, tuple(found), none)


def _either(found: list[str], missing: list[str], sentences: Sequence[str], what: str) -> None:
    found.extend(sentences) if sentences else missing.append(what)


def _hold_sentence(hold: Hold) -> str:
    end = f"to {day_and_clock(hold.resumed_at)}" if hold.resumed_at else "and not resumed"
    kind = "Interrupted" if hold.is_interruption else "Held"
    return f"{kind} from {day_and_clock(hold.held_at)} {end} by {hold.held_by.full_name}: {hold.reason}"


def _outside_sentence(row: StepEntry) -> str:
    limits = limit_text(row.low, row.high, kind=row.kind)
    return f"{row.step.name}: {row.name} {row.value_as_typed} {row.unit_as_typed}, allowed {limits} ({row.entered_by.full_name}, {clock(row.occurred_at)})."


def _late(page: QcPage) -> list[str]:
    if not page.late_entries:
        return []
    verb = "was" if page.late_entries == 1 else "were"
    return [
        f"{sentence_case(counted(page.late_entries, 'entry', 'entries'))} {verb} written more than 15 min after it happened."
    ]


def _corrected(page: QcPage) -> list[str]:
    if not page.corrections:
        return []
    verb = "was" if page.corrections == 1 else "were"
    return [
        f"{sentence_case(counted(page.corrections, 'value'))} {verb} corrected; what stood before stays readable."
    ]
