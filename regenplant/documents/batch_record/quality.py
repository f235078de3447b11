"""Rinse readings, measurements, QC decisions and deviations, as a batch record says them. Reads only."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime

from regenplant.batches.causes import cause_words
from regenplant.batches.models import MeterLog, RinseReading
from regenplant.batches.rinse import judged_steps, shows_resistivity, specification_of
from regenplant.batches.selectors.rinse import logs_of, shown_points
from regenplant.batches.standing import curve_of_batch
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.specification import CONDUCTIVITY, Limit
from regenplant.documents.batch_record.content import (
    Range,
    RecordDecision,
    RecordDeviation,
    RecordLog,
    RecordMeasurement,
    RecordReading,
    RecordReopened,
    RecordReviewed,
    Rinse,
    Written,
)
from regenplant.documents.batch_record.here import Here, line_of, reason_of, unbroken
from regenplant.keeping.nothing import Nothing
from regenplant.quality.models import QcDecision, QcMeasurement, RecordReopening, RecordReview
from regenplant.quality.specification import sample_limits

COMPENSATION_WORDS = {
    "none": "no",
    "neutral": "yes, neutral",
    "acid": "yes, acid",
    "base": "yes, caustic",
    "flat_2": "yes, 2 %/K",
}
OUT_OF_CALIBRATION = "calibration overdue"


# --- rinse ------------------------------------------------------------------------------------------------------
def rinse_of(here: Here) -> Rinse:
    """The rinse-down: the readings that stand, what was changed, and the limit."""
    limit = specification_of(here.batch).limit(CONDUCTIVITY)
    steps = judged_steps(here.batch)
    begun = next((step.started_at for step in steps if step.started_at is not None), None)
    rows = list(
        here.batch.readings.select_related("instrument", "entered_by", "step").order_by("entered_at", "pk")
    )
    replaced = {row.replaces_id for row in rows}
    changes = here.changes("reading", rows, written_reading)
    marks = {row.pk: change.mark for change, row in zip(changes, (r for r in rows if r.replaces_id), strict=True)}  # fmt: skip
    standing = sorted(
        (row for row in rows if row.pk not in replaced), key=lambda row: (row.occurred_at, row.pk)
    )
    is_resistivity = shows_resistivity(limit)
    low, high = (limit.low, limit.high) if limit is not None and not limit.table else (None, None)
    edge = high if high is not None else low
    logs = tuple(_log(here, row) for row in reversed(logs_of(here.batch)))
    return Rinse(
        kind="resistivity" if is_resistivity else "conductivity",
        limit=_turned(edge, is_resistivity),
        is_at_least=(high is None) != is_resistivity,
        limit_name=limit.name if limit else "",
        range=Range(limit.kind, limit.low, limit.high) if limit else None,
        readings=tuple(_reading(here, row, begun, limit, marks) for row in standing),
        changes=changes,
        logs=logs,
        logged=_logged(here, limit) if logs else (),
        nothing=None
        if standing or logs
        else _why_no_reading(here, [StepState(step.state) for step in steps], limit),
    )


def _log(here: Here, row: MeterLog) -> RecordLog:
    doubts = [] if row.instrument_was_valid else [OUT_OF_CALIBRATION]
    if row.check_count:
        doubts.append(f"{row.check_count:,} readings point to the cell")
    return RecordLog(
        first=here.at(row.first_at),
        last=here.at(row.last_at),
        step=row.step.number,
        count=row.count,
        source=row.get_source_display(),
        name=row.name,
        unit=row.unit_as_typed,
        compensation=COMPENSATION_WORDS.get(row.meter_compensation, row.meter_compensation),
        instrument=here.seen(row.instrument),
        doubts="; ".join(doubts),
        by=unbroken(row.entered_by.full_name),
        entered=here.at(row.entered_at),
        digest=row.digest,
        set_aside=tuple(
            f"Set aside {here.at(one.from_at or row.first_at)} to {here.at(one.until_at or row.last_at)}, by "
            f"{unbroken(one.set_aside_by.full_name)}, {here.at(one.set_aside_at)}: {reason_of(one)}"
            for one in row.set_asides.all()
        ),
    )


def _logged(here: Here, limit: Limit | None) -> tuple[tuple[float, float], ...]:
    """What meters logged, from the readings themselves."""
    return shown_points(curve_of_batch(here.batch), limit)


def _turned(value: float | None, is_resistivity: bool) -> float | None:
    return None if value is None else 1.0 / value if is_resistivity else value


def _why_no_reading(here: Here, states: list[StepState], limit: Limit | None) -> Nothing:
    if limit is None or not states or all(state is StepState.SKIPPED for state in states):
        return Nothing.NOT_APPLICABLE
    is_over = here.is_over or all(state in (StepState.DONE, StepState.SKIPPED) for state in states)
    return Nothing.NOT_DONE if is_over else Nothing.NOT_YET


def _reading(
    here: Here, row: RinseReading, begun: datetime | None, limit: Limit | None, marks: dict[int, int]
) -> RecordReading:
    is_raw = limit is not None and bool(limit.table)
    value = row.conductivity_siemens_per_m if is_raw else row.conductivity_25_siemens_per_m
    doubts = [*([] if row.instrument_was_valid else [OUT_OF_CALIBRATION]), row.instrument_check]
    return RecordReading(
        at=here.at(row.occurred_at),
        step=row.step.number,
        minutes=(row.occurred_at - begun).total_seconds() / 60.0 if begun else None,
        rinsed_bv=row.rinsed_bv,
        as_typed=f"{row.value_as_typed} {row.unit_as_typed}".strip(),
        temperature=row.temperature_as_typed,
        compensation=COMPENSATION_WORDS.get(row.meter_compensation, row.meter_compensation),
        value=1.0 / value if shows_resistivity(limit) else value,
        instrument=here.seen(row.instrument),
        doubts="; ".join(filter(None, doubts)),
        by=unbroken(row.entered_by.full_name),
        entered=here.at(row.entered_at),
        is_late=here.is_late(row),
        checked=here.checked(row),
        mark=marks.get(row.pk),
    )


def written_reading(here: Here, row: RinseReading) -> Written:
    words = f"{row.value_as_typed} {row.unit_as_typed} at {row.temperature_as_typed}"
    return here.written(row, words, row.conductivity_siemens_per_m, None)


# --- sample -----------------------------------------------------------------------------------------------------
def measurements_of(here: Here) -> tuple[RecordMeasurement, ...]:
    """One line for each limit on the sample, and for what was measured beside them."""
    rows = list(
        QcMeasurement.objects.filter(batch=here.batch)
        .select_related("instrument", "entered_by")
        .order_by("entered_at", "pk")
    )
    limits = {limit.measurement: limit for limit in sample_limits(here.batch)}
    by_key: dict[str, list[QcMeasurement]] = {key: [] for key in limits}
    for row in rows:
        by_key.setdefault(row.key, []).append(row)
    return tuple(line for key, lines in by_key.items() for line in _measurement(here, limits.get(key), lines))


def _measurement(here: Here, limit: Limit | None, rows: list[QcMeasurement]) -> list[RecordMeasurement]:
    """Every value that stands, each on a line; a limit without one says why nothing stands there."""
    replaced = {row.replaces_id for row in rows}
    standing = [row for row in rows if row.pk not in replaced]
    name = limit.name if limit else rows[0].name
    shown = Range(limit.kind, limit.low, limit.high) if limit else Range(rows[0].kind)
    if not standing:
        return [RecordMeasurement(name, shown, None, "", "", _why_not_measured(here))]
    return [
        RecordMeasurement(
            name=name,
            range=shown,
            current=_judged(written_measurement(here, row), limit),
            doubts="" if row.instrument_was_valid else OUT_OF_CALIBRATION,
            method=row.method,
            nothing=None,
            changes=here.changes(name, line_of(row, rows), written_measurement),
        )
        for row in standing
    ]


def _why_not_measured(here: Here) -> Nothing:
    if here.state in (BatchState.SCRAPPED, BatchState.ABORTED, BatchState.FAILED):
        return Nothing.NOT_DONE
    return Nothing.NOT_DONE if here.batch.judged_at else Nothing.NOT_YET


def written_measurement(here: Here, row: QcMeasurement) -> Written:
    return here.written(row, f"{row.value_as_typed} {row.unit_as_typed}", row.value, None)


def _judged(written: Written, limit: Limit | None) -> Written:
    if limit is None or written.value is None:
        return written
    return replace(written, is_within=limit.holds(written.value))


# --- decisions --------------------------------------------------------------------------------------------------
def decisions_of(here: Here) -> tuple[RecordDecision, ...]:
    """Every QC decision as it was signed, oldest first; the findings come from what was signed."""
    rows = QcDecision.objects.filter(batch=here.batch).select_related("decided_by").order_by("pk")
    return tuple(
        RecordDecision(
            version=row.version,
            verdict=row.verdict,
            decided=here.by(row.decided_at, row.decided_by),
            reason=row.reason,
            findings=tuple(
                (found["sentence"], found["outcome"])
                for found in json.loads(row.content)["judgement"]["reasons"]
            ),
        )
        for row in rows
    )


def reopenings_of(here: Here) -> tuple[RecordReopened, ...]:
    rows = RecordReopening.objects.filter(batch=here.batch).select_related("reopened_by").order_by("pk")
    return tuple(RecordReopened(here.by(row.reopened_at, row.reopened_by), reason_of(row)) for row in rows)


def reviews_of(here: Here) -> tuple[RecordReviewed, ...]:
    rows = RecordReview.objects.filter(batch=here.batch).select_related("reviewed_by").order_by("pk")
    return tuple(
        RecordReviewed(row.version, here.by(row.reviewed_at, row.reviewed_by), row.unusual, row.remarks)
        for row in rows
    )


def deviations_of(here: Here) -> tuple[RecordDeviation, ...]:
    rows = here.batch.deviations.select_related("step", "opened_by", "decided_by", "owner").order_by(
        "opened_at", "pk"
    )
    return tuple(
        RecordDeviation(
            number=row.number,
            severity=row.severity,
            step=f"step {row.step.number}, {row.step.name}" if row.step else "",
            what=row.what,
            opened=here.by(row.opened_at, row.opened_by),
            owner=row.owner.full_name if row.owner else "",
            measure=row.measure,
            cause=cause_words(row.cause_category, row.cause),
            decision=": ".join(filter(None, (row.get_decision_kind_display(), row.decision))),
            is_signed=row.signature_id is not None,
            decided=here.by(row.decided_at, row.decided_by),
        )
        for row in rows
    )
