"""Packets of readings from a meter: a logger's file, a pasted log, an in-line meter. Kept as received, for good."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from regenplant.audit import limits
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason, reason_of
from regenplant.audit.use_case import Outcome, is_device, use_case
from regenplant.audit.wording import say
from regenplant.batches.log_models import MeterLog, MeterLogSetAside
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.batches.moves import locked, touch
from regenplant.batches.packets import (
    MOST_READINGS,
    LeftOut,
    Packet,
    Raw,
    cell_of,
    columns_of,
    series_of_raw,
    what_is_new,
)
from regenplant.batches.points import digest_of, packed
from regenplant.batches.reopened import is_reopened
from regenplant.batches.rinse import specification_of
from regenplant.batches.services._deviations import deviation_once
from regenplant.batches.services._standing import renew
from regenplant.batches.services._subject import batch_subject
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.series import WAYS
from regenplant.core.process.sifting import sifted
from regenplant.plant.models import Instrument, MeterFeed
from regenplant.plant.selectors import is_instrument_valid, plant_day

OPEN = (BatchState.RINSING, BatchState.AWAITING_QC, BatchState.HELD)
"""States in which a log may still come in or be set aside."""
WHILE_IT_RINSES = (BatchState.RINSING, BatchState.HELD)
"""What a meter sends every few seconds then must not make each page old before it is pressed. Later a packet is rare, and whoever signs
must see it first."""
LEAST_BY_A_PERSON = 10
"""A person's file or paste holds at least so many. Fewer are written by hand, where the one that decides is typed twice."""
BY_A_PERSON = (MeterLog.Source.FILE, MeterLog.Source.PASTE)


@use_case("reading.log_taken_in", permission="reading.record", by_device=True)
def take_in(*, by: By, batch_id: int, packet: Packet, late: Reason | None = None) -> Outcome:
    """Keep a packet of readings. One row and one act, however many readings it holds.

    Readings of this instrument at a moment that is kept already are left out and counted, and so are those outside the judged
    rinses: ``Outcome.facts`` says ``kept``, ``known_already`` (of them with another figure: ``same_moment``) and ``outside``. So a packet may be sent again without counting twice;
    where nothing of it is new, it is refused with the code "nothing_new", and ``context`` holds the same figures.

    A meter's own packet ("http", "mqtt") comes from a device account, for the cell and the vessel of its meter feed; a file or a paste from a person. Nobody types a
    reading of a meter. A log is written while it happens, by the logger, so that it needs no reason where it is handed in late;
    that it came late is kept.

    Raises: NotAllowed, UnitNotUnderstood, RecordRefused.
    """
    batch = locked(batch_id)
    _refuse_other_hands(by, packet)
    _refuse_other_meters(by, batch, packet)
    if BatchState(batch.state) not in OPEN and not is_reopened(batch.pk):
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; readings are taken in from its final rinse until it is judged.",
            code="not_rinsing",
        )
    instrument = cell_of(packet.instrument_id)
    raw = columns_of(packet)
    step, columns, counted = what_is_new(by, batch, instrument, raw)
    row = _keep(by, batch, step, instrument, packet, columns, counted, late)
    _deviations_of(by, batch, step, row)
    if not row.is_of_a_meter or BatchState(batch.state) not in WHILE_IT_RINSES:
        touch(batch)
    renew(batch, by.at)
    return Outcome(
        subject=batch_subject(batch),
        facts={
            "log": row.pk,
            "kept": row.count,
            "known_already": row.known_already,
            "same_moment": counted.same_moment,
            "outside": row.outside,
            "check_count": row.check_count,
            "source": MeterLog.Source(row.source).label,
            "name": row.name,
            "instrument": instrument.code,
            "from": row.first_at.isoformat(),
            "to": row.last_at.isoformat(),
            "digest": row.digest,
            "reason_category": row.reason_category,
        },
        reason=late.sentence if late else "",
        related=(("instrument", instrument.code),),
        result=row,
    )


@use_case("reading.log_set_aside", permission="reading.record")
def set_aside(
    *,
    by: By,
    log_id: int,
    category: str,
    reason: str,
    from_at: datetime | None = None,
    until_at: datetime | None = None,
) -> Outcome:
    """Say that a packet, or a stretch of it, counts no more, and why. It stays readable.

    Raises: RecordRefused.
    """
    log = MeterLog.objects.select_related("instrument").get(pk=log_id)
    batch = locked(log.batch_id)
    if BatchState(batch.state) not in OPEN and not is_reopened(batch.pk):
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its readings are closed.", code="closed"
        )
    why = reason_of(category, reason, "why these readings do not count")
    from_at, until_at = _stretch(log, from_at, until_at)
    row = MeterLogSetAside.objects.create(
        log=log,
        from_at=from_at,
        until_at=until_at,
        set_aside_at=by.at,
        set_aside_by=by.user,
        reason_category=why.category,
        reason=why.words,
    )
    touch(batch)
    renew(batch, by.at)
    return Outcome(
        subject=batch_subject(batch),
        facts={
            "log": log.pk,
            "set_aside": row.pk,
            "instrument": log.instrument.code,
            "name": log.name,
            "count": log.count,
            "from": (from_at or log.first_at).isoformat(),
            "to": (until_at or log.last_at).isoformat(),
            "reason_category": why.category,
        },
        reason=why.sentence,
        related=(("instrument", log.instrument.code),),
        result=row,
    )


def _stretch(
    log: MeterLog, from_at: datetime | None, until_at: datetime | None
) -> tuple[datetime | None, datetime | None]:
    """The stretch that is set aside; (None, None) for the whole packet."""
    if from_at is None and until_at is None:
        return None, None
    first, last = from_at or log.first_at, until_at or log.last_at
    if first > last:
        raise RecordRefused(
            "The stretch ends before it begins. Write its first and its last moment.",
            field="until_at",
            code="upside_down",
        )
    if last < log.first_at or first > log.last_at:
        raise RecordRefused(
            "No reading of this log lies in that stretch. Write moments between its first and its last reading.",
            field="from_at",
            code="empty_stretch",
        )
    return first, last


# --- who and what -----------------------------------------------------------------------------------------------------
def _refuse_other_hands(by: By, packet: Packet) -> None:
    """A meter's packet comes from a device, a file or a paste from a person."""
    if packet.source not in MeterLog.Source.values:
        raise RecordRefused(
            f"“{packet.source[:20]}” is no way for readings to come in. Allowed are {', '.join(MeterLog.Source.values)}.",
            code="no_source",
        )
    of_device = is_device(by)
    if of_device and packet.source in BY_A_PERSON:
        raise NotAllowed(f"{by.user.full_name} is a device; a file or a paste is handed in by a person.")
    if not of_device and packet.source not in BY_A_PERSON:
        raise NotAllowed(
            f"{by.user.full_name} is a person; readings of an in-line meter come from the meter's own account. "
            "Hand in its log as a file, or write the reading down by hand."
        )
    if not packet.readings:
        raise RecordRefused("There is no reading in it.", code="no_readings")
    if len(packet.readings) > MOST_READINGS:
        raise RecordRefused(
            f"{len(packet.readings):,} readings; at most {MOST_READINGS:,} are taken in at once. Split the log.",
            code="too_many",
            seen=len(packet.readings),
            allowed_high=MOST_READINGS,
        )
    if packet.source in BY_A_PERSON and len(packet.readings) < LEAST_BY_A_PERSON:
        raise RecordRefused(
            f"{len(packet.readings)} readings; a log holds at least {LEAST_BY_A_PERSON}. Write fewer down by hand: there the one that "
            "decides is typed twice.",
            code="too_few",
            seen=len(packet.readings),
            allowed_low=LEAST_BY_A_PERSON,
        )


def _refuse_other_meters(by: By, batch: Batch, packet: Packet) -> None:
    """A device sends for the cell and the vessel of its own open feed, and for no other."""
    if not is_device(by):
        return
    feed = (
        MeterFeed.objects.select_related("instrument", "vessel")
        .filter(account=by.user, is_active=True)
        .first()
    )
    if feed is None:
        raise NotAllowed(f"{by.user.full_name} has no open meter feed, so nothing is taken from it.")
    if (feed.instrument_id, feed.vessel_id) != (packet.instrument_id, batch.vessel_id):
        raise NotAllowed(
            f"{by.user.full_name} sends for {feed.instrument.code} at vessel {feed.vessel.code}; this is about batch {batch.number} "
            f"in vessel {batch.vessel.code}, or about another cell."
        )


# --- keeping it -------------------------------------------------------------------------------------------------------
def _keep(
    by: By,
    batch: Batch,
    step: StepRun,
    instrument: Instrument,
    packet: Packet,
    columns: tuple[Any, ...],
    counted: LeftOut,
    late: Reason | None,
) -> MeterLog:
    np = array_library()
    at_s, rinsed, shown, kelvin, at_25 = columns
    specification = specification_of(batch)
    meter = Compensation(instrument.compensation or Compensation.NONE)
    first, last = (datetime.fromtimestamp(float(moment), tz=UTC) for moment in (at_s[0], at_s[-1]))
    valid = all(is_instrument_valid(instrument, plant_day(moment), moment) for moment in (first, last))
    raw = Raw(at_s, shown, kelvin, np.full(len(at_s), np.nan))
    seen = sifted(series_of_raw(raw, rinsed, WAYS.index(meter), instrument.code, valid), specification)
    text = packed((at_s, rinsed, shown, kelvin, at_25))
    behind_s = (by.at - last).total_seconds()
    return MeterLog.objects.create(
        batch=batch,
        step=step,
        instrument=instrument,
        source=packet.source,
        name=packet.name.strip()[:120],
        received_text=packet.received_text,
        time_zone=packet.time_zone,
        counted_from_at=packet.counted_from_at,
        counter_at_start_m3=packet.counter_at_start_m3,
        unit_as_typed=packet.readings[0].unit_text[:20],
        meter_compensation=meter.value,
        water_kind=specification.compensation.value,
        cell_constant_per_cm=instrument.cell_constant_per_cm,
        instrument_was_valid=valid,
        first_at=first,
        last_at=last,
        count=len(at_s),
        check_count=int((seen.is_doubted | seen.is_jump | seen.is_frozen).sum()),
        known_already=counted.known_already,
        outside=counted.outside,
        columns=text,
        digest=digest_of(packet.received_text, text),
        entered_at=by.at,
        entered_by=by.user,
        is_late=behind_s > limits.current().late_after_s,
        reason_category=late.category if late else "",
        reason=late.words if late else "",
    )


def _deviations_of(by: By, batch: Batch, step: StepRun, row: MeterLog) -> None:
    """A packet that proves nothing, or holds readings that point to the cell, is a deviation, once for each instrument and rinse."""
    if not row.instrument_was_valid:
        what = f"not in calibration when the rinse was logged at {step.name}; its readings prove nothing"
        source = Deviation.Source.INSTRUMENT
    elif row.check_count:
        what = f"{row.check_count:,} of {row.count:,} logged readings point to the cell instead of the water; they are not counted"
        source = Deviation.Source.READING
    else:
        return
    deviation_once(by=by, batch=batch, step=step, source=source, instrument=row.instrument, what=what)


say("reading.log_taken_in", "{subject}: {kept} readings of {instrument} were taken in, {source}")
say("reading.log_set_aside", "{subject}: a log of {instrument} was set aside, {from} to {to}")
