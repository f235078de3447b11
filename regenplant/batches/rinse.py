"""The rinse-down of a batch: readings as the core judges them, the end point, and what is odd about a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from regenplant import units
from regenplant.batches.frozen import all_judged_rinses, plan_of
from regenplant.batches.models import Batch, RinseReading, StepEntry, StepRun
from regenplant.batches.points import Points, points_of
from regenplant.batches.worked_out import worked_of
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.errors import OutOfRange
from regenplant.core.process.acceptance import Outcome, Verdict, judge
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.sifting import Sifted, instrument_doubt, not_counted, sifted
from regenplant.core.process.specification import CONDUCTIVITY, LabResult, Limit, Specification
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.core.process.vocabulary import StepKind
from regenplant.recipes.selectors import specification_definition

PASSED = "volume"
"""Entry key of the volume that passed in a step; see ``core.process.plan_entries``."""
RINSE_REASONS = (CONDUCTIVITY, "rinse_volume")
"""Measurements of a verdict that belong to the rinse, not to the sample."""


def specification_of(batch: Batch) -> Specification:
    """The specification this batch was frozen with: its version's, or the strictest of several customers'."""
    worked = worked_of(batch)
    return worked.specification if worked else specification_definition(batch.specification_version)


def current_readings(batch: Batch) -> QuerySet[RinseReading]:
    """Readings that no later one replaces, in order of time."""
    return (
        RinseReading.objects.filter(batch=batch, replaced_by__isnull=True)
        .select_related("instrument", "entered_by")
        .order_by("occurred_at", "id")
    )


@dataclass(frozen=True, slots=True)
class EndPoint:
    """How far the rinse is from its end point, from what is written down: time alone proves nothing, only readings do."""

    is_met: bool
    reasons: tuple[str, ...]
    """What is still missing, as sentences; empty when it is met."""
    limit: Limit | None
    """The conductivity limit; None for a specification that judges the rinse by its volume alone."""
    latest_siemens_per_m: float | None
    """Newest reading that counts, as the limit looks at it."""
    held_s: float
    held_from_s: float | None
    """When the limit was first held in this run, seconds since the epoch; None while it is not held."""
    hold_needed_s: float
    held_readings: int
    readings_needed: int
    rinsed_bv: float
    """Bed volumes that passed the bed, fresh or recirculated."""
    recirculated_bv: float
    """How many of them a pump drove round."""
    minimum_rinse_bv: float
    maximum_rinse_bv: float | None
    instrument_checks: tuple[str, ...]
    not_counted: tuple[str, ...]


def end_point(
    batch: Batch, points: Points | None = None, specification: Specification | None = None
) -> EndPoint:
    """Judge the rinse of a batch so far. ``points`` where they are read already; another ``specification`` is that of a downgrade."""
    against = specification if specification is not None else specification_of(batch)
    return end_point_of(rinse_verdict(batch, points, specification=against), against)


def rinse_verdict(
    batch: Batch,
    points: Points | None = None,
    results: Sequence[LabResult] = (),
    tanks: Sequence[str] = (),
    specification: Specification | None = None,
    found: Sifted | None = None,
) -> Verdict:
    """The verdict over every reading that stands, by hand and from meters, against the specification version the batch was
    frozen with: what a specification says today changes nothing. ``tanks`` are the serials of those that hold the resin now.
    Another ``specification`` is that of a downgrade. ``found``: what its readings are good for by that specification, where it was
    asked already."""
    against = specification if specification is not None else specification_of(batch)
    found = found if found is not None else rinse_sifted(batch, points, against)
    passed_bv = float(found.series.volume_bv.max()) if len(found.series) else 0.0
    return judge(
        found,
        against,
        results,
        rinsed_bv=rinsed_so_far(batch),
        recirculated_bv=recirculated_so_far(batch, passed_bv),
        tanks=tanks,
    )


def rinse_sifted(
    batch: Batch, points: Points | None = None, specification: Specification | None = None
) -> Sifted:
    """What each reading that stands is good for."""
    points = points if points is not None else points_of(batch)
    return sifted(points.series, specification if specification is not None else specification_of(batch))


def end_point_of(verdict: Verdict, specification: Specification) -> EndPoint:
    """The rinse part of a verdict."""
    own = [reason for reason in verdict.reasons if reason.measurement in RINSE_REASONS]
    limit = specification.limit(CONDUCTIVITY)
    seen = next((reason.seen for reason in own if reason.measurement == CONDUCTIVITY), None)
    return EndPoint(
        is_met=all(reason.outcome is Outcome.PASS for reason in own),
        reasons=tuple(reason.sentence for reason in own if reason.outcome is not Outcome.PASS),
        limit=limit,
        latest_siemens_per_m=seen,
        held_s=verdict.held_s,
        held_from_s=verdict.held_from_s,
        hold_needed_s=specification.hold_time_s if limit else 0.0,
        held_readings=verdict.held_readings,
        readings_needed=specification.consecutive_readings if limit else 0,
        rinsed_bv=verdict.rinsed_bv,
        recirculated_bv=verdict.recirculated_bv,
        minimum_rinse_bv=specification.least_rinse_bv,
        maximum_rinse_bv=specification.maximum_rinse_bv,
        instrument_checks=verdict.instrument_checks,
        not_counted=verdict.not_counted,
    )


def rinsed_so_far(batch: Batch) -> float | None:
    """Bed volumes by the volumes people wrote down, over all rinses that are judged; None where none is written."""
    written = written_bed_volumes(batch)
    return sum(written.values()) if written else None


def recirculated_so_far(batch: Batch, passed_bv: float) -> float:
    """Bed volumes that a pump drove round, of all that passed: as written down, and while it runs by what the readings say has
    passed."""
    if not any(step.kind is StepKind.RECIRCULATE for step in plan_of(batch).steps):
        return 0.0  # nothing to look up
    written = written_bed_volumes(batch)
    begun = [step for step in judged_steps(batch) if step.state in (StepState.RUNNING, StepState.DONE)]
    loops = {step.number for step in begun if step.kind == StepKind.RECIRCULATE}
    found = sum(bv for number, bv in written.items() if number in loops)
    if begun and begun[-1].number in loops:
        found += max(0.0, passed_bv - sum(written.values()))
    return found


def written_bed_volumes(batch: Batch) -> dict[int, float]:
    """By step number: bed volumes passed as last written down, of the rinses that are judged."""
    rows = (
        StepEntry.objects.filter(
            step__batch=batch,
            step__number__in=all_judged_rinses(plan_of(batch)),
            key=PASSED,
            replaced_by__isnull=True,
            value__isnull=False,
        )
        .order_by("occurred_at", "id")
        .values_list("step__number", "value")
    )
    return {number: value / batch.resin_volume_m3 for number, value in rows if value is not None}


def judged_steps(batch: Batch) -> list[StepRun]:
    """The rinses whose readings are held against the specification, in order; empty for a batch that has none."""
    wanted = all_judged_rinses(plan_of(batch))
    return sorted((step for step in batch.steps.all() if step.number in wanted), key=lambda step: step.number)


def running_rinse(batch: Batch) -> StepRun | None:
    """The judged rinse that runs now."""
    return next((step for step in judged_steps(batch) if step.state == StepState.RUNNING), None)


def shows_resistivity(limit: Limit | None) -> bool:
    """Whether people of this trade read such pure water as resistivity: from 1 MΩ·cm (1 µS/cm) on; common practice."""
    return limit is not None and limit.high is not None and limit.high <= 1e-4


def at_25(
    conductivity_siemens_per_m: float, temperature_kelvin: float, meter: Compensation, batch: Batch
) -> float:
    """Conductivity at 25 °C [S/m] by the kind of water at this stage; what the meter compensated is taken as it is."""
    probe = CoreReading(0.0, 0.0, conductivity_siemens_per_m, temperature_kelvin, meter, "", True)
    return probe.at_25_celsius(specification_of(batch).compensation)


def what_is_odd(batch: Batch, reading: CoreReading) -> str:
    """Why a reading points to the instrument, "" if it does not (WQ-04)."""
    return instrument_doubt(reading, specification_of(batch))


def core_reading_of(row: RinseReading) -> CoreReading:
    """A reading that a person wrote, as the core judges it. Its ``instrument`` is at hand."""
    return CoreReading(
        row.occurred_at.timestamp(),
        row.rinsed_bv,
        row.conductivity_siemens_per_m,
        row.temperature_kelvin,
        Compensation(row.meter_compensation),
        row.instrument.code,
        row.instrument_was_valid,
    )


def informs_only(row: RinseReading, limit: Limit | None) -> str:
    """Why a reading decides nothing, as a sentence: calibration, or a compensation that its limit does not take; "" if it may."""
    return not_counted(core_reading_of(row), limit)


def rinsed_bed_volumes(
    batch: Batch, step: StepRun, at: datetime, rinsed_text: str, system: units.UnitSystem
) -> float:
    """Bed volumes of rinse passed at this moment, earlier judged rinses included: of this step from the totalizer since it
    began if that is written, else from time and flow."""
    earlier = sum(bv for number, bv in written_bed_volumes(batch).items() if number < step.number)
    if rinsed_text.strip():
        passed = units.understand(rinsed_text, "liquid_volume", system=system).value
        return earlier + passed / batch.resin_volume_m3
    if step.started_at is None or at < step.started_at:
        raise OutOfRange("The rinse had not started at that time.", field="occurred_at")
    elapsed = (at - step.started_at).total_seconds()
    for hold in batch.holds.all():
        low, high = max(step.started_at, hold.held_at), min(at, hold.resumed_at or at)
        elapsed -= max(0.0, (high - low).total_seconds())
    return earlier + rinse_flow_m3_per_s(batch, step) * elapsed / batch.resin_volume_m3


def passed_bed_volumes(batch: Batch, step: StepRun, at_s: Any, totalizer_m3: Any) -> Any:
    """The same for a whole log: columns of moments [s since the epoch] and of water passed since this step began [m^3], NaN
    where the meter counts none. None of the moments lies before the step began."""
    np = array_library()
    earlier = sum(bv for number, bv in written_bed_volumes(batch).items() if number < step.number)
    assert step.started_at is not None
    began = step.started_at.timestamp()
    elapsed = np.maximum(at_s - began, 0.0)
    for hold in batch.holds.all():
        low = max(began, hold.held_at.timestamp())
        high = np.minimum(at_s, hold.resumed_at.timestamp()) if hold.resumed_at else at_s
        elapsed = elapsed - np.maximum(high - low, 0.0)
    by_time = rinse_flow_m3_per_s(batch, step) * elapsed
    return earlier + np.where(np.isnan(totalizer_m3), by_time, totalizer_m3) / batch.resin_volume_m3


def rinse_flow_m3_per_s(batch: Batch, step: StepRun) -> float:
    """Flow of a rinse: as last written down, else as planned."""
    written = (
        StepEntry.objects.filter(step=step, key="flow", replaced_by__isnull=True, value__isnull=False)
        .order_by("-occurred_at")
        .first()
    )
    if written is not None and written.value is not None:
        return written.value
    return plan_of(batch).step(step.number).value("flow_m3_per_s")
