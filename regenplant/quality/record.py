"""The whole record of one batch as rows, read once: what a review looks at, and the digest that says whether it changed since.

Nothing is decided or changed here. Fifteen queries, whatever the batch holds; one more where its rinse went on, one where it went down.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Model

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import (
    Batch,
    BatchTank,
    Deviation,
    EntryCheck,
    Hold,
    MeterLog,
    MeterLogSetAside,
    RinseReading,
    StepEntry,
    StepRun,
)
from regenplant.batches.selectors.rinse import logs_of
from regenplant.chemicals.models import Movement
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.quality.models import (
    Downgrade,
    QcDecision,
    QcMeasurement,
    RecordReopening,
    Release,
    RetainedSample,
    RinseContinuation,
)

NOT_OF_THE_RECORD: dict[str, tuple[str, ...]] = {
    "batches.BatchTank": ("is_current",),
    "batches.Deviation": ("version",),
    "batches.MeterLog": ("received_text", "columns"),
}
"""Columns that say nothing about what was done: they change when tanks go on, or count writings; or their digest stands beside them."""
ADDED_LATER: dict[str, tuple[str, ...]] = {
    "quality.QcMeasurement": ("tank",),
    "batches.RinseReading": ("cell_constant_per_cm",),
    "batches.BatchTank": ("filled_at", "filled_volume_m3", "withdrawn_at", "withdrawn_reason"),
}
"""Columns that rows of an older program have empty: left out while they are, so that a review made with it still covers its record."""


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """Every row of one batch that a review covers; each list oldest first."""

    batch: Batch
    steps: tuple[StepRun, ...]
    entries: tuple[StepEntry, ...]
    """All of them, those that were corrected too; so with readings and measurements."""
    readings: tuple[RinseReading, ...]
    measurements: tuple[QcMeasurement, ...]
    checks: tuple[EntryCheck, ...]
    deviations: tuple[Deviation, ...]
    holds: tuple[Hold, ...]
    tanks: tuple[BatchTank, ...]
    decisions: tuple[QcDecision, ...]
    reopenings: tuple[RecordReopening, ...]
    releases: tuple[Release, ...]
    movements: tuple[Movement, ...]
    continuations: tuple[RinseContinuation, ...] = ()
    downgrades: tuple[Downgrade, ...] = ()
    """One at most."""
    samples: tuple[RetainedSample, ...] = ()
    """Those that are kept; discarding one later is not a part of the record that a review covers."""
    logs: tuple[MeterLog, ...] = ()
    """Without the text and the columns they hold; their digest stands for both."""
    set_aside_logs: tuple[MeterLogSetAside, ...] = ()

    @property
    def decision(self) -> QcDecision | None:
        """The one that stands."""
        return self.decisions[-1] if self.decisions else None

    @property
    def release(self) -> Release | None:
        """The newest; None while there is none."""
        return self.releases[-1] if self.releases else None

    @property
    def reopening(self) -> RecordReopening | None:
        """The reopening that no decision answers yet; None while the record is closed."""
        answered = {row.reopening_id for row in self.decisions}
        return next((row for row in reversed(self.reopenings) if row.pk not in answered), None)

    @property
    def digest(self) -> str:
        """SHA-256 over every row a review covers. Signing, reviewing and releasing it leave it as it is but for a new decision."""
        covered: tuple[Iterable[Model], ...] = (
            self.steps, self.entries, self.readings, self.measurements, self.checks, self.deviations, self.holds, self.tanks,
            self.decisions, self.reopenings, self.movements, self.logs, self.set_aside_logs, self.continuations, self.downgrades,
            self.samples,
        )  # fmt: skip
        rows = [plain_row(row) for group in covered for row in group]
        return digest(
            canonical_text({"batch": self.batch.number, "plan": self.batch.plan_digest, "rows": rows})
        )


def record_of(batch: Batch) -> BatchRecord:
    """The record as it stands now."""
    entries = StepEntry.objects.filter(step__batch=batch).select_related("step", "entered_by", "instrument")
    readings = RinseReading.objects.filter(batch=batch).select_related("step", "entered_by", "instrument")
    measurements = QcMeasurement.objects.filter(batch=batch).select_related("entered_by", "instrument")
    of_entries = EntryCheck.objects.filter(entry__step__batch=batch)
    of_readings = EntryCheck.objects.filter(reading__batch=batch)
    decisions = QcDecision.objects.filter(batch=batch).select_related(
        "decided_by", "signature", "reopening__reopened_by"
    )
    steps, signed = tuple(batch.steps.order_by("number")), tuple(decisions.order_by("version"))
    is_continued = len(steps) > len(plan_of(batch).steps)
    is_down = any('"downgrade":{' in row.content for row in signed)
    return BatchRecord(
        batch=batch,
        steps=steps,
        entries=tuple(entries.order_by("entered_at", "pk")),
        readings=tuple(readings.order_by("entered_at", "pk")),
        measurements=tuple(measurements.order_by("entered_at", "pk")),
        checks=(*of_entries.order_by("pk"), *of_readings.order_by("pk")),
        deviations=tuple(batch.deviations.select_related("step", "decided_by", "opened_by").order_by("pk")),
        holds=tuple(batch.holds.select_related("held_by").order_by("held_at", "pk")),
        tanks=tuple(batch.tank_links.select_related("visit__tank").order_by("position")),
        decisions=signed,
        reopenings=tuple(batch.reopenings.select_related("reopened_by").order_by("pk")),
        releases=tuple(batch.releases.select_related("released_by", "signature").order_by("version")),
        movements=tuple(
            Movement.objects.filter(reference=batch.number)
            .select_related("lot", "from_place", "to_place")
            .order_by("number")
        ),
        continuations=tuple(
            batch.rinse_continuations.select_related("continued_by").order_by("round") if is_continued else ()
        ),
        downgrades=tuple(_downgrades(batch) if is_down else ()),
        samples=tuple(batch.retained_samples.select_related("taken_by").order_by("pk")),
        logs=tuple(logs_of(batch).order_by("entered_at", "pk")),
        set_aside_logs=tuple(
            MeterLogSetAside.objects.filter(log__batch=batch)
            .select_related("log__instrument", "set_aside_by")
            .defer("log__received_text", "log__columns")
            .order_by("pk")
        ),
    )


def _downgrades(batch: Batch) -> Iterable[Downgrade]:
    return Downgrade.objects.filter(batch=batch).select_related(
        "agreed_by", "signature", "to_version__specification"
    )


def plain_row(row: Model) -> dict[str, Any]:
    """The columns of a row as plain data, with the table it stands in."""
    left_out, later = (kept.get(row._meta.label, ()) for kept in (NOT_OF_THE_RECORD, ADDED_LATER))
    values = {
        field.name: (field.attname, getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.name not in left_out
    }
    columns = {
        column: _value(value)
        for name, (column, value) in values.items()
        if not (name in later and value in (None, ""))
    }
    return {"table": row._meta.db_table, **columns}


def _value(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date | datetime) else value
