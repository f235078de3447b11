"""Acts on calibrations: write one, correct one, take an instrument out of service."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason, reason_of
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.calibration import found_within, left_within
from regenplant.plant.calibrations import found_words, interval_days, standing_calibrations
from regenplant.plant.days import plant_day, start_of_day
from regenplant.plant.models import Calibration, CalibrationPoint, Instrument, OutOfService
from regenplant.plant.services._calibration_points import PointAsTyped, understood_points
from regenplant.plant.services._standing import write_standing

LONGEST_CALIBRATION = timedelta(days=3 * 366)
"""A bound against slips of the year; the plant's own interval is shorter."""


@dataclass(frozen=True, slots=True)
class CalibrationEvidence:
    """How a calibration was done. ``laboratory`` "" means that the acting person did it; ``done_at`` None: only the day is known."""

    done_at: datetime | None = None
    laboratory: str = ""
    reference_kind: str = ""
    reference: str = ""
    certificate: str = ""
    reference_expires_on: date | None = None
    points: tuple[PointAsTyped, ...] = ()
    is_without_points: bool = False
    """Said on purpose: an outside laboratory calibrated it, and its certificate gives no points."""
    system: units.UnitSystem = "metric"


NOTHING_ON_RECORD = CalibrationEvidence()
"""Nothing was said of how it was done; no calibration is written so."""


@use_case("instrument.calibrated", permission="instrument.calibrate")
def record_calibration(
    *,
    by: By,
    instrument_id: int,
    calibrated_on: date,
    due_on: date | None = None,
    note: str = "",
    version: int | None = None,
    evidence: CalibrationEvidence = NOTHING_ON_RECORD,
) -> Outcome:
    """Write down a calibration and the day the next one is due (None: by the instrument's interval). ``result`` is the instrument.

    Left outside a tolerance, the instrument is out of service from then on. Found outside, what it measured since the last good
    calibration waits for a look. An instrument that is out of service comes back only by points that are left within. Without
    points it is only written where that is said, with the laboratory and the number of its certificate.

    Raises: RecordRefused (a day to come, older than the last one, due before it was made, an expired reference, no points where
    they are needed, no laboratory or certificate in their place), OutOfRange or UnitNotUnderstood for a point, StaleRecord.
    """
    record = _instrument(instrument_id)
    _refuse_stale(record, version)
    newest = standing_calibrations(record.pk).first()
    if record.calibrated_on is not None and calibrated_on < record.calibrated_on:
        raise RecordRefused(
            f"A newer calibration, of {record.calibrated_on}, is written.", field="calibrated_on"
        )
    done_at = _done_at(by, calibrated_on, evidence.done_at)
    if newest is not None and evidence.done_at is not None and done_at < newest.done_at:
        raise RecordRefused(
            "A later calibration is written. Correct that one if it is wrong.", field="calibrated_on"
        )
    if record.out_of_service_at is not None and not evidence.points:
        raise RecordRefused(
            f"{record.code} is out of service. It comes back by the points of a calibration, left within their tolerance; "
            "no point is written.",
            field="reference_1",
            code="no_points",
        )
    _refuse_no_evidence(evidence)
    if newest is None:
        _take_over(by, record)
    row = _write(by, record, calibrated_on, done_at, due_on, note, evidence)
    before, after = write_standing(record)
    return Outcome(
        subject=("instrument", str(record.pk), record.code),
        before=before,
        after=after,
        facts=_facts(row),
        reason=row.note,
        result=record,
    )


@use_case("instrument.calibration_corrected", permission="instrument.calibrate")
def correct_calibration(
    *,
    by: By,
    calibration_id: int,
    calibrated_on: date,
    category: str,
    reason: str,
    due_on: date | None = None,
    note: str = "",
    version: int | None = None,
    evidence: CalibrationEvidence = NOTHING_ON_RECORD,
) -> Outcome:
    """Replace a calibration that was written wrongly by a new row; the old one stays readable. ``result`` is the instrument.

    Raises: as ``record_calibration``; StaleRecord where it is corrected already.
    """
    old = Calibration.objects.filter(pk=calibration_id).first()
    if old is None:
        raise RecordRefused("This calibration is not known here.", code="unknown")
    record = _instrument(old.instrument_id)
    _refuse_stale(record, version)
    if Calibration.objects.filter(replaces=old).exists():
        raise StaleRecord("This calibration is corrected already. Correct the newer one.", code="corrected")
    if old.points.exists() and not evidence.points:
        raise RecordRefused(
            "The calibration has points, so its correction needs them too; no point is written.",
            field="reference_1",
            code="no_points",
        )
    _refuse_no_evidence(evidence)
    said = reason_of(category, reason)
    done_at = _done_at(by, calibrated_on, evidence.done_at)
    row = _write(by, record, calibrated_on, done_at, due_on, note, evidence, replaces=old, said=said)
    before, after = write_standing(record)
    return Outcome(
        subject=("instrument", str(record.pk), record.code),
        before=before,
        after=after,
        facts={**_facts(row), "corrected_of": old.done_on.isoformat()},
        reason=said.sentence,
        result=record,
    )


@use_case("instrument.taken_out", permission="instrument.take_out")
def take_out_of_service(
    *,
    by: By,
    instrument_id: int,
    cause: str,
    reason: str,
    from_at: datetime | None = None,
    version: int | None = None,
) -> Outcome:
    """From ``from_at`` on (None: now) the instrument proves nothing, until a calibration made after it. ``result`` is the instrument.

    Readings from after that moment that are already written keep what was known when they were written; the impact list names
    them.

    Raises: RecordRefused (a moment to come, a cause nobody chooses, too few words), StaleRecord.
    """
    record = _instrument(instrument_id)
    _refuse_stale(record, version)
    chosen = [value for value in OutOfService.Cause.values if value not in ("changed", "left_outside")]
    one_of(cause, chosen, "The cause", field="cause")
    words = words_of(reason, "What happened", field="reason", most=300, least=10)
    moment = from_at or by.happened_at
    if moment > by.at:
        raise RecordRefused("The moment is still to come. Write since when it is so.", field="from_at")
    row = OutOfService.objects.create(
        instrument=record, cause=cause, reason=words, from_at=moment, entered_at=by.at, entered_by=by.user
    )
    before, after = write_standing(record)
    return Outcome(
        subject=("instrument", str(record.pk), record.code),
        before=before,
        after=after,
        facts={"cause": str(row), "from_at": moment.isoformat()},
        reason=words,
        result=record,
    )


# --- parts ----------------------------------------------------------------------------------------------------------
def _instrument(instrument_id: int) -> Instrument:
    record = Instrument.objects.select_for_update().filter(pk=instrument_id).first()
    if record is None:
        raise RecordRefused("This instrument is not known here.", code="unknown")
    return record


def _refuse_stale(record: Instrument, version: int | None) -> None:
    if version is not None and version != record.version:
        raise StaleRecord(
            f"Instrument {record.code} was changed since you opened it: it is at version {record.version}, you had version "
            f"{version}. What you typed still stands here. Look at the present state, then write again.",
            seen=version,
            present=record.version,
            table=record._meta.db_table,
            key=str(record.pk),
        )


def _done_at(by: By, calibrated_on: date, done_at: datetime | None) -> datetime:
    """The moment it was finished. Raises: RecordRefused for one to come, or on another day than was written."""
    today = plant_day(by.at)
    if calibrated_on > today:
        raise RecordRefused(f"{calibrated_on} is still to come; today is {today}.", field="calibrated_on")
    if done_at is None:
        return by.at if calibrated_on == today else start_of_day(calibrated_on)
    if done_at > by.at:
        raise RecordRefused("This time of day is still to come.", field="done_time")
    if plant_day(done_at) != calibrated_on:
        raise RecordRefused("The time is of another day than the calibration.", field="done_time")
    return done_at


def _write(
    by: By,
    record: Instrument,
    calibrated_on: date,
    done_at: datetime,
    due_on: date | None,
    note: str,
    evidence: CalibrationEvidence,
    replaces: Calibration | None = None,
    said: Reason | None = None,
) -> Calibration:
    due = due_on or calibrated_on + timedelta(days=interval_days(record))
    _refuse_due(calibrated_on, due)
    points = understood_points(record, evidence.points, evidence.system)
    _refuse_reference(evidence, calibrated_on)
    core = [point for point, _ in points]
    laboratory = words_of(evidence.laboratory, "The laboratory", field="laboratory", most=120)
    row = Calibration.objects.create(
        instrument=record,
        done_at=done_at,
        done_on=calibrated_on,
        due_on=due,
        done_by=None if laboratory else by.user,
        laboratory=laboratory,
        reference_kind=evidence.reference_kind,
        reference=words_of(evidence.reference, "The reference", field="reference", most=120),
        certificate=words_of(evidence.certificate, "The certificate", field="certificate", most=60),
        reference_expires_on=evidence.reference_expires_on,
        found_within=found_within(core),
        left_within=left_within(core),
        note=words_of(note, "The note", field="note", most=200),
        entered_at=by.at,
        entered_by=by.user,
        replaces=replaces,
        reason_category=said.category if said else "",
        reason=said.words if said else "",
    )
    CalibrationPoint.objects.bulk_create(
        CalibrationPoint(calibration=row, position=position, **typed)
        for position, (_, typed) in enumerate(points, start=1)
    )
    if not row.is_good:
        words = "Left outside its tolerance, so it proves nothing until a calibration leaves it within."
        OutOfService.objects.create(
            instrument=record, cause=OutOfService.Cause.LEFT_OUTSIDE, reason=words, from_at=done_at, calibration=row,
            entered_at=by.at, entered_by=by.user,
        )  # fmt: skip
    return row


def _refuse_due(calibrated_on: date, due_on: date) -> None:
    if due_on <= calibrated_on:
        raise RecordRefused(
            f"The next one would be due on {due_on}, not after {calibrated_on}.", field="due_on"
        )
    if due_on - calibrated_on > LONGEST_CALIBRATION:
        raise RecordRefused(
            f"From {calibrated_on} to {due_on} is more than three years. Look at the year, and at the certificate.",
            field="due_on",
        )


def _refuse_no_evidence(evidence: CalibrationEvidence) -> None:
    """A calibration says what was found and left, or whose certificate stands for it. Rows of an older program say neither."""
    if evidence.points and evidence.is_without_points:
        raise RecordRefused(
            "Points are written, and it is said that there are none. Take off one of the two.",
            field="without_points",
            code="points_and_none",
        )
    if evidence.points:
        return
    if not evidence.is_without_points:
        raise RecordRefused(
            "No point is written. Write what the instrument showed as found and as left, or say that an outside laboratory calibrated "
            "it and its certificate gives no points.",
            field="reference_1",
            code="no_points",
        )
    words_of(evidence.laboratory, "The laboratory", field="laboratory", most=120, least=2)
    words_of(evidence.certificate, "The certificate’s number", field="certificate", most=60, least=2)


def _refuse_reference(evidence: CalibrationEvidence, calibrated_on: date) -> None:
    """With points the reference is named, with its certificate, and was not past its expiry on the day."""
    if not evidence.points:
        return
    one_of(
        evidence.reference_kind, Calibration.Reference.values, "The kind of reference", field="reference_kind"
    )
    words_of(evidence.reference, "The reference", field="reference", most=120, least=2)
    words_of(evidence.certificate, "The certificate’s number", field="certificate", most=60, least=2)
    expires = evidence.reference_expires_on
    if expires is None:
        raise RecordRefused(
            "The reference’s last day is not written. It stands on its label or certificate.",
            field="reference_expires_on",
        )
    if expires < calibrated_on:
        raise RecordRefused(
            f"The reference was good until {expires}, the calibration is of {calibrated_on}. An expired reference proves nothing: "
            "take a fresh one and calibrate again.",
            field="reference_expires_on",
            code="reference_expired",
        )


def _take_over(by: By, record: Instrument) -> None:
    """The calibration an instrument had before calibrations were rows becomes one, so that its days stay on record."""
    if record.calibrated_on is None or record.calibration_due_on is None:
        return
    Calibration.objects.create(
        instrument=record,
        done_at=start_of_day(record.calibrated_on),
        done_on=record.calibrated_on,
        due_on=record.calibration_due_on,
        is_taken_over=True,
        entered_at=by.at,
        entered_by=by.user,
    )


def _facts(row: Calibration) -> dict[str, Any]:
    return {
        "calibrated_on": row.done_on.isoformat(),
        "due_on": row.due_on.isoformat(),
        "by": row.laboratory,
        "found": row.found_within,
        "left": row.left_within,
    }


def _outcome_words(facts: dict[str, Any]) -> Iterable[str]:
    yield found_words(facts.get("found"))
    if facts.get("left") is not None:
        yield f"as left {'within' if facts['left'] else 'outside: it is out of service'}"


def _calibrated(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts") or {}
    by = f" by {facts['by']}" if facts.get("by") else ""
    return (
        f"Instrument {subject} was calibrated on {facts.get('calibrated_on')}{by}, {', '.join(_outcome_words(facts))}; "
        f"the next one is due on {facts.get('due_on')}"
    )


def _corrected(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts") or {}
    return f"The calibration of {facts.get('corrected_of')} was corrected. {_calibrated(subject, stored)}"


say("instrument.calibrated", _calibrated)
say("instrument.calibration_corrected", _corrected)
say("instrument.taken_out", "Instrument {subject} was taken out of service: {cause}")
