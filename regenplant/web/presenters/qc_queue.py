"""The QC queue in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.batches.rinse import shows_resistivity
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.selectors import QueueLine
from regenplant.web.presenters.bed import spelled
from regenplant.web.presenters.qc_limits import conductivity_limit_text
from regenplant.web.presenters.rinse import in_kind
from regenplant.web.presenters.words import (
    ago,
    both,
    clock,
    day_and_clock,
    sentence_case,
)


@dataclass(frozen=True, slots=True)
class QueueRow:
    """One batch of the queue."""

    number: str
    state: str
    what: str
    says: str
    waits: str


@dataclass(frozen=True, slots=True)
class QueueGroup:
    """The batches of one state, with the page that goes on with them."""

    title: str
    note: str
    rows: tuple[QueueRow, ...]
    empty: str
    page: str
    """Name of the address."""
    button: str
    is_main: bool
    """The group that waits for the QC technician."""


_GROUPS = (
    (BatchState.FAILED, "Failed", "needs a supervisor", "No batch has failed.", "qc-decision", "See why"),
    (BatchState.AWAITING_QC, "To judge", "oldest first", "No batch awaits QC. The next one comes from the rinse.", "qc-decision", "Measure and judge"),
    (BatchState.RINSING, "Rinsing", "readings due", "No batch rinses.", "rinse", "Read and write"),
    (BatchState.PASSED, "To fill", "by the operator", "No batch waits to be filled.", "qc-decision", "Look"),
    (BatchState.FILLED, "To release", "by a second person", "No batch waits for its release.", "qc-release", "Release"),
)  # fmt: skip


def queue_groups(lines: Iterable[QueueLine], now: datetime, system: str) -> tuple[QueueGroup, ...]:
    """The queue by state; what failed first, and only if there is any."""
    by_state: dict[str, list[QueueLine]] = {}
    for line in lines:
        by_state.setdefault(line.batch.state, []).append(line)
    return tuple(
        QueueGroup(
            title,
            note,
            tuple(_queue_row(line, now, system) for line in by_state.get(state.value, ())),
            empty,
            page,
            button,
            state is BatchState.AWAITING_QC,
        )
        for state, title, note, empty, page, button in _GROUPS
        if state is not BatchState.FAILED or state.value in by_state
    )


def queue_sentence(lines: Sequence[QueueLine]) -> str:
    """ "Two rinse, one awaits QC, one waits to be filled, none waits for release."."""
    count = {state: sum(1 for line in lines if line.batch.state == state.value) for state, *_ in _GROUPS}
    parts = [
        _how_many(count[BatchState.RINSING], "rinses", "rinse"),
        _how_many(count[BatchState.AWAITING_QC], "awaits QC", "await QC"),
        _how_many(count[BatchState.PASSED], "waits to be filled", "wait to be filled"),
        _how_many(count[BatchState.FILLED], "waits for its release", "wait for their release"),
    ]
    failed = count[BatchState.FAILED]
    said = ", ".join(part for part in parts if part) or "nothing rinses, nothing waits for QC"
    tail = (
        f" {sentence_case(_how_many(failed, 'failed batch needs', 'failed batches need'))} a supervisor."
        if failed
        else ""
    )
    return f"{sentence_case(said)}.{tail}"


def _how_many(number: int, one: str, many: str) -> str:
    return "" if number == 0 else f"one {one}" if number == 1 else f"{spelled(number)} {many}"


def _queue_row(line: QueueLine, now: datetime, system: str) -> QueueRow:
    batch = line.batch
    what = f"{ResinFamily(batch.resin_type.family).label}, class {batch.segregation_class}, {both(batch.resin_volume_m3, 'resin_volume', system)} in {batch.vessel.code}"
    since = line.waits_since
    is_rinsing = batch.state == BatchState.RINSING
    waits = f"since {day_and_clock(since)}, {ago(since, now)}" if since and not is_rinsing else ""
    return QueueRow(batch.number, batch.state, what, _says(line, system), waits)


def _says(line: QueueLine, system: str) -> str:
    state = BatchState(line.batch.state)
    if state is BatchState.AWAITING_QC:
        if line.measured >= line.to_measure:
            return "Everything is measured."
        return f"Measured on the sample: {line.measured} of {line.to_measure}."
    if state is BatchState.RINSING:
        newest = line.newest
        if newest is None:
            return "No reading yet." if line.limit else "Rinses by volume."
        kind = "resistivity" if shows_resistivity(line.limit) else "conductivity"
        value = units.format_quantity(in_kind(newest.conductivity_25_siemens_per_m, kind), kind, system)
        limit = conductivity_limit_text(line.limit, kind, system)
        return f"{value} at {clock(newest.at)}{f', {limit}' if limit else ''}."
    if state is BatchState.FAILED:
        return "Rework it or scrap it."
    return (
        "Passed: fill the tanks."
        if state is BatchState.PASSED
        else "Filled: a person who took no part releases it."
    )
