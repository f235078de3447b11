"""What all parts of one batch record share while it is gathered: batch, plan, zone, instruments seen, number of changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q

from regenplant.audit.reasons import reason_sentence
from regenplant.audit.selectors import LATE_AFTER_S
from regenplant.batches.models import Batch, EntryCheck, RinseReading, StepEntry
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.plan import BatchPlan
from regenplant.documents.batch_record.content import Change, Figure, Written
from regenplant.documents.texts import moment
from regenplant.keeping.nothing import NOTHING_MORE_RUNS, Nothing, why_nothing
from regenplant.plant.models import Instrument, PlantProfile
from regenplant.units import NO_BREAK_SPACE


@dataclass
class Here:
    """One paper while it is gathered."""

    batch: Batch
    plan: BatchPlan
    plant: PlantProfile
    instruments: dict[int, Instrument] = field(default_factory=dict)
    """Everything that was measured with."""
    _marks: count[int] = field(default_factory=lambda: count(1))

    @property
    def state(self) -> BatchState:
        return BatchState(self.batch.state)

    @property
    def is_over(self) -> bool:
        """Whether no further step will run."""
        return self.state in NOTHING_MORE_RUNS

    def at(self, when: datetime | None) -> str:
        """A moment in the plant's zone with its offset, "" for none."""
        return moment(when.astimezone(ZoneInfo(self.plant.time_zone))) if when else ""

    def by(self, when: datetime | None, person: Any) -> str:
        """ "2026-03-11 14:05-06:00 by A. Name", "" for what did not happen."""
        return f"{self.at(when)} by {unbroken(person.full_name)}" if when and person else self.at(when)

    def seen(self, instrument: Instrument | None) -> str:
        """The code of an instrument, which is remembered."""
        if instrument is None:
            return ""
        self.instruments[instrument.pk] = instrument
        return instrument.code

    def written(self, row: Any, as_typed: str, value: float | None, is_within: bool | None) -> Written:
        """One row of entries, readings or measurements, as a person wrote it."""
        return Written(
            as_typed=as_typed.strip(),
            value=value,
            is_within=is_within,
            at=self.at(row.occurred_at),
            by=unbroken(row.entered_by.full_name),
            entered=self.at(row.entered_at),
            is_late=self.is_late(row),
            instrument=self.seen(row.instrument),
            checked=self.checked(row),
            reason="" if row.replaces_id else reason_of(row),
        )

    def is_late(self, row: Any) -> bool:
        """Whether it was entered longer after it happened than the plant allowed; a measurement has no such mark of its own."""
        if isinstance(row, (StepEntry, RinseReading)):
            return row.is_late
        return bool((row.entered_at - row.occurred_at).total_seconds() > LATE_AFTER_S)

    def checked(self, row: Any) -> str:
        """How a critical value was checked, by whom."""
        if not isinstance(row, (StepEntry, RinseReading)):
            return ""
        check = self.checks.get((type(row), row.pk))
        if check is None:
            return ""
        how = str(EntryCheck.Method(check.method).label)
        is_own = check.checked_by_id == row.entered_by_id
        return how if is_own else f"{how}, {self.by(check.checked_at, check.checked_by)}"

    @cached_property
    def checks(self) -> dict[tuple[type, int], EntryCheck]:
        """The checks of critical values by what they are of. One query."""
        own = Q(entry__step__batch=self.batch) | Q(reading__batch=self.batch)
        found: dict[tuple[type, int], EntryCheck] = {}
        for check in EntryCheck.objects.filter(own).select_related("checked_by"):
            of: tuple[type, int] = (
                (StepEntry, check.entry_id)
                if check.entry_id is not None
                else (RinseReading, check.reading_id or 0)
            )
            found[of] = check
        return found

    def why_nothing(self, step: StepState) -> Nothing:
        """Why an entry of a step in this state does not stand."""
        return why_nothing(step, self.state)

    def changes(
        self, name: str, rows: Iterable[Any], written: Callable[[Here, Any], Written]
    ) -> tuple[Change, ...]:
        """Each later row beside the one it replaces, numbered in order of writing."""
        by_key = {row.pk: row for row in rows}
        return tuple(
            Change(
                next(self._marks),
                name,
                written(self, by_key[row.replaces_id]),
                written(self, row),
                reason_of(row),
            )
            for row in by_key.values()
            if row.replaces_id in by_key
        )


def line_of(row: Any, rows: Iterable[Any]) -> list[Any]:
    """A row with every row it replaced, oldest first."""
    by_key, line = {one.pk: one for one in rows}, [row]
    while line[-1].replaces_id in by_key:
        line.append(by_key[line[-1].replaces_id])
    return line[::-1]


def reason_of(row: Any) -> str:
    """The reason with its category, where one is kept."""
    return reason_sentence(getattr(row, "reason_category", ""), row.reason)


def unbroken(text: str) -> str:
    """A name that no line ends in."""
    return text.replace(" ", NO_BREAK_SPACE)


def figure_of(estimate: Estimate) -> Figure:
    return Figure(estimate.name, estimate.value, estimate.kind, estimate.unit)
