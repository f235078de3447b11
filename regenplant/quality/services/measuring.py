"""What the QC technician measures on the sample, kept as typed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason, reason_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.moves import locked, touch
from regenplant.batches.reopened import is_reopened
from regenplant.batches.services import SENT_TWICE_S
from regenplant.batches.services._as_typed import why_late
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.measurements import below_the_lowest
from regenplant.core.process.specification import Limit
from regenplant.core.process.wording import listed
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day
from regenplant.quality.models import QcMeasurement
from regenplant.quality.specification import TANKS_ARE_TESTED, sample_limits, tanks_with_resin


@dataclass(frozen=True, slots=True)
class MeasurementAsTyped:
    """One measurement the way a person writes it; ``temperature_text`` may be empty where it does not matter."""

    key: str
    value_text: str
    instrument_id: int | None = None
    temperature_text: str = ""
    method: str = ""
    tank_id: int | None = None
    """The batch's link to the tank it was measured on; None for the sample of the batch."""


@use_case("qc.measured", permission="qc.record")
def record_measurement(
    *,
    by: By,
    batch_id: int,
    measurement: MeasurementAsTyped,
    system: units.UnitSystem = "metric",
    late: Reason | None = None,
) -> Outcome:
    """Write down one measured value of the sample. ``late`` says why it is written longer after it was measured than the plant
    allows.

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    batch = locked(batch_id)
    _refuse_closed(batch, measurement)
    reason = why_late(by, late)
    row = _make(by, batch, measurement, system, reason=reason, is_late=reason is not None)
    _not_twice(by, row)
    touch(batch)
    return _outcome(batch, row, reason=reason)


@use_case("qc.corrected", permission="qc.record")
def correct_measurement(
    *,
    by: By,
    measurement_id: int,
    measurement: MeasurementAsTyped,
    category: str,
    reason: str,
    system: units.UnitSystem = "metric",
) -> Outcome:
    """Correct a wrong value by a new one with a reason. The old one stays readable. Once the batch is judged this takes a record
    that was reopened.

    Raises: UnitNotUnderstood, OutOfRange, RecordRefused.
    """
    old = QcMeasurement.objects.get(pk=measurement_id)
    batch = locked(old.batch_id)
    if not _is_open(batch, is_of_tank=old.tank_id is not None) and not is_reopened(batch.pk):
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; its QC results are closed.",
            code="not_awaiting_qc",
        )
    if hasattr(old, "replaced_by"):
        raise RecordRefused(
            "This value was already corrected. Correct the newest one.", code="already_corrected"
        )
    why = reason_of(category, reason)
    if measurement.key != old.key:
        raise RecordRefused(
            f"This corrects {old.name}; another measurement is written down on its own.", code="other_key"
        )
    if measurement.tank_id != old.tank_id:
        raise RecordRefused(
            f"This corrects {old.name} of {_whose(old)}; another tank’s is written down on its own.",
            code="other_tank",
        )
    then = by.happening_at(old.occurred_at)
    row = _make(then, batch, measurement, system, replaces=old, reason=why, is_late=old.is_late)
    touch(batch)
    return _outcome(batch, row, before=f"{old.value_as_typed} {old.unit_as_typed}".strip(), reason=why)


def _is_open(batch: Batch, *, is_of_tank: bool) -> bool:
    return batch.state == BatchState.AWAITING_QC or (is_of_tank and batch.state in TANKS_ARE_TESTED)


def _refuse_closed(batch: Batch, typed: MeasurementAsTyped) -> None:
    if _is_open(batch, is_of_tank=typed.tank_id is not None):
        return
    when = "until it is released" if typed.tank_id is not None else "while it awaits QC"
    raise RecordRefused(
        f"Batch {batch.number} is {batch.get_state_display()}; QC results are written {when}.",
        code="not_awaiting_qc",
    )


def _whose(row: QcMeasurement) -> str:
    return row.tank.visit.tank.serial if row.tank else "the sample"


def _tank(batch: Batch, limit: Limit, tank_id: int | None) -> BatchTank | None:
    """The tank a result belongs to. Raises RecordRefused where the limit wants one and there is none, or the other way round."""
    if not limit.each_tank:
        if tank_id is None:
            return None
        raise RecordRefused(
            f"{limit.name} is measured on the sample of the batch, once, not on a tank.", code="not_of_a_tank"
        )
    links = {link.pk: link for link in tanks_with_resin(batch)}
    if not links:
        raise RecordRefused(
            f"{limit.name} is measured on each tank once it is filled. No tank of {batch.number} is filled yet.",
            code="no_tank_filled",
        )
    if tank_id is None:
        raise RecordRefused(
            f"{limit.name} is measured on each tank. Say on which: {listed(link.visit.tank.serial for link in links.values())}.",
            code="no_tank",
            field="tank",
        )
    if tank_id not in links:
        raise RecordRefused(
            f"This tank holds no resin of {batch.number} that is to leave. Measured are "
            f"{listed(link.visit.tank.serial for link in links.values())}.",
            code="not_its_tank",
            field="tank",
        )
    return links[tank_id]


def _make(
    by: By,
    batch: Batch,
    typed: MeasurementAsTyped,
    system: units.UnitSystem,
    *,
    replaces: QcMeasurement | None = None,
    reason: Reason | None = None,
    is_late: bool = False,
) -> QcMeasurement:
    limit = _limit(batch, typed.key)
    value = units.understand(typed.value_text, limit.kind, system=system)
    temperature = (
        units.understand(typed.temperature_text, "temperature", system=system)
        if typed.temperature_text.strip()
        else None
    )
    if limit.table and temperature is None:
        raise RecordRefused(
            f"{limit.name} is judged by its temperature. Write the temperature of the reading.",
            field="temperature",
            code="no_temperature",
        )
    impossible = below_the_lowest(limit.measurement, value.value)
    if impossible:
        raise RecordRefused(
            f"{limit.name} cannot be {value.sentence()}: {impossible}. Look at the instrument, and measure again.",
            field="value",
            code="below_the_lowest",
        )
    instrument = (
        Instrument.objects.filter(pk=typed.instrument_id, is_active=True).first()
        if typed.instrument_id
        else None
    )
    if instrument is None:
        raise RecordRefused(
            "Choose the instrument or test kit it was measured with.",
            field="instrument",
            code="no_instrument",
        )
    tank = _tank(batch, limit, typed.tank_id)
    return QcMeasurement.objects.create(
        batch=batch,
        tank=tank,
        key=limit.measurement,
        name=f"{limit.name}, {tank.visit.tank.serial}"[:80] if tank else limit.name,
        kind=limit.kind,
        value_as_typed=value.value_as_typed,
        unit_as_typed=value.unit_as_typed,
        value=value.value,
        temperature_kelvin=temperature.value if temperature else None,
        method=typed.method.strip()[:120],
        instrument=instrument,
        instrument_was_valid=is_instrument_valid(instrument, plant_day(by.happened_at), by.happened_at),
        occurred_at=by.happened_at,
        entered_at=by.at,
        entered_by=by.user,
        is_late=is_late,
        replaces=replaces,
        reason_category=reason.category if reason else "",
        reason=reason.words if reason else "",
    )


def _not_twice(by: By, row: QcMeasurement) -> None:
    """Refuse a page that was sent twice: it would read as a second measurement."""
    twins = QcMeasurement.objects.filter(
        batch=row.batch,
        key=row.key,
        tank=row.tank,
        entered_by=by.user,
        instrument=row.instrument,
        value_as_typed=row.value_as_typed,
        unit_as_typed=row.unit_as_typed,
        entered_at__gte=by.at - timedelta(seconds=SENT_TWICE_S),
    )
    if twins.exclude(pk=row.pk).exists():
        raise RecordRefused(
            f"{row.name} is already written; it was sent twice. Measure again for a second result.",
            code="already_written",
        )


def _limit(batch: Batch, key: str) -> Limit:
    for limit in sample_limits(batch):
        if limit.measurement == key:
            return limit
    raise RecordRefused(
        "The specification of this batch does not name this measurement.", code="unknown_measurement"
    )


def _outcome(batch: Batch, row: QcMeasurement, *, before: str = "", reason: Reason | None = None) -> Outcome:
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        before={"value": before} if before else {},
        after={"value": f"{row.value_as_typed} {row.unit_as_typed}".strip()},
        facts={
            "name": row.name,
            "measurement": row.pk,
            "instrument": row.instrument.code if row.instrument else "",
            "reason_category": reason.category if reason else "",
        },
        reason=reason.sentence if reason else "",
        related=(
            *((("instrument", row.instrument.code),) if row.instrument else ()),
            *((("tank", row.tank.visit.tank.serial),) if row.tank else ()),
        ),
        result=row,
    )


say("qc.measured", "{subject}: {name} measured, {value}")
say("qc.corrected", "{subject}: {name} was corrected from {before_value} to {value}")
