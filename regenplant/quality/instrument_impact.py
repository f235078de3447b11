"""What rests on an instrument: every result of a batch since its last good calibration, those nearest to a limit first.

After a calibration that found it outside, each result is told again with the error found taken off. Nothing is rewritten: the
rows keep what was known when they were written, and people decide what follows for each batch.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import inf
from typing import Any

from django.db.models import QuerySet

from regenplant.batches.log_models import MeterLog
from regenplant.batches.models import Batch, RinseReading, StepEntry
from regenplant.batches.points import points_of
from regenplant.batches.rinse import end_point, rinse_sifted, specification_of
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.errors import OutOfRange
from regenplant.core.process.calibration import Point, corrected, margin_frac
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.sifting import Sifted
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.plant.calibrations import core_points, good_before, standing_calibrations
from regenplant.plant.days import start_of_day
from regenplant.plant.models import Calibration, Instrument
from regenplant.quality.models import QcMeasurement, decision_of, release_of
from regenplant.quality.specification import sample_limits

MOST_BATCHES = 300
"""Newest first; how many are left out is said."""


@dataclass(frozen=True, slots=True)
class Period:
    """The time in doubt: after the last good calibration, up to the one that failed (None: up to now)."""

    since: datetime | None
    """None where no good calibration is on record: then everything counts."""
    until: datetime | None
    failure: Calibration | None
    """The calibration that found it outside; None for the time since the last good one."""


@dataclass(frozen=True, slots=True)
class TankWent:
    """A tank that holds or waits for resin of the batch, and where it is; not one that went on to a rework."""

    serial: str
    customer: str
    shipped_at: datetime | None


@dataclass(frozen=True, slots=True)
class Result:
    """One result that rests on the instrument. ``value`` and limits in the SI unit of ``kind``.

    ``with_error`` is the value with the error found taken off; None where no as-found says how far off it was.
    """

    batch: Batch
    what: str
    kind: str
    value: float
    low: float | None
    high: float | None
    at: datetime
    margin: float | None
    with_error: float | None
    margin_with_error: float | None
    verdict: str
    decided_at: datetime | None
    released_at: datetime | None
    tanks: tuple[TankWent, ...]

    @property
    def holds_no_longer(self) -> bool:
        """It held, and with the error found it would not."""
        is_beyond = self.margin_with_error is not None and self.margin_with_error < 0.0
        return is_beyond and self.margin is not None and self.margin >= 0.0

    @property
    def nearness(self) -> float:
        """For the order: the margin that counts, the nearest first."""
        known = [margin for margin in (self.margin_with_error, self.margin) if margin is not None]
        return min(known, default=float("inf"))

    @property
    def is_shipped(self) -> bool:
        """Whether a tank of the batch is with a customer."""
        return any(tank.shipped_at for tank in self.tanks)


@dataclass(frozen=True, slots=True)
class Impact:
    """Everything that rests on the instrument in the period, those nearest to a limit first."""

    instrument: Instrument
    period: Period
    results: tuple[Result, ...]
    left_out: int
    """Older batches that are not in it."""

    @property
    def no_longer(self) -> int:
        """How many results held, and with the error found would not."""
        return sum(result.holds_no_longer for result in self.results)

    @property
    def batches(self) -> int:
        """How many batches the results are of."""
        return len({result.batch.pk for result in self.results})

    @property
    def digest(self) -> str:
        """Of what it says, so that what was looked at is known."""
        lines = [
            [one.batch.number, one.what, one.value, one.with_error, one.verdict, one.released_at is not None]
            for one in self.results
        ]
        return digest(canonical_text(lines))


def period_of(instrument: Instrument, failure: Calibration | None = None) -> Period:
    """The time since the last good calibration: before ``failure``, or before now."""
    if failure is not None:
        good = good_before(failure)
        return Period(good.done_at if good else None, failure.done_at, failure)
    newest = next((row for row in standing_calibrations(instrument.pk) if row.is_good), None)
    if newest is not None:
        return Period(newest.done_at, None, None)
    since = start_of_day(instrument.calibrated_on) if instrument.calibrated_on else None
    return Period(since, None, None)


def impact_of(instrument: Instrument, failure: Calibration | None = None) -> Impact:
    """What rests on the instrument since its last good calibration, told with the error that ``failure`` found."""
    period = period_of(instrument, failure)
    error = _found(failure)
    numbers = _touched(instrument, period)
    batches = list(
        Batch.objects.filter(pk__in=numbers)
        .select_related("specification_version")
        .prefetch_related(
            "qc_decisions",
            "releases",
            "tank_links__visit__tank",
            "tank_links__visit__customer",
            "steps",
            "holds",
        )
        .order_by("-planned_at", "-pk")[:MOST_BATCHES]
    )
    samples, entries = _by_batch(_samples(instrument, period), _entries(instrument, period), batches)
    results = [
        result
        for batch in batches
        for result in _results(
            batch, instrument, period, error, samples.get(batch.pk, []), entries.get(batch.pk, [])
        )
    ]
    results.sort(key=lambda one: (one.nearness, one.batch.number, one.what))
    return Impact(instrument, period, tuple(results), max(0, len(numbers) - len(batches)))


# --- what was measured ------------------------------------------------------------------------------------------------
def _in(period: Period) -> dict[str, datetime]:
    found = {}
    if period.since is not None:
        found["occurred_at__gte"] = period.since
    if period.until is not None:
        found["occurred_at__lt"] = period.until
    return found


def _readings(instrument: Instrument, period: Period) -> QuerySet[RinseReading]:
    return RinseReading.objects.filter(
        instrument=instrument, instrument_was_valid=True, instrument_check="", replaced_by__isnull=True, **_in(period)
    )  # fmt: skip


def _logs(instrument: Instrument, period: Period) -> QuerySet[MeterLog]:
    """Packets of its readings that reach into the period."""
    rows = MeterLog.objects.filter(instrument=instrument, instrument_was_valid=True)
    if period.since is not None:
        rows = rows.filter(last_at__gte=period.since)
    return rows.filter(first_at__lt=period.until) if period.until is not None else rows


def _samples(instrument: Instrument, period: Period) -> QuerySet[QcMeasurement]:
    return QcMeasurement.objects.filter(
        instrument=instrument, instrument_was_valid=True, replaced_by__isnull=True, **_in(period)
    ).order_by("occurred_at", "id")


def _entries(instrument: Instrument, period: Period) -> QuerySet[StepEntry]:
    return (
        StepEntry.objects.filter(
            instrument=instrument, instrument_was_valid=True, replaced_by__isnull=True, value__isnull=False, **_in(period)
        )
        .select_related("step")
        .order_by("occurred_at", "id")
    )  # fmt: skip


def _touched(instrument: Instrument, period: Period) -> set[int]:
    """Keys of the batches that were measured with the instrument in the period; four queries."""
    return {
        *_readings(instrument, period).values_list("batch_id", flat=True),
        *_logs(instrument, period).values_list("batch_id", flat=True),
        *_samples(instrument, period).values_list("batch_id", flat=True),
        *_entries(instrument, period).values_list("step__batch_id", flat=True),
    }


def _by_batch(
    samples: Iterable[QcMeasurement], entries: Iterable[StepEntry], batches: Sequence[Batch]
) -> tuple[dict[int, list[QcMeasurement]], dict[int, list[StepEntry]]]:
    wanted = {batch.pk for batch in batches}
    own_samples: dict[int, list[QcMeasurement]] = {}
    own_entries: dict[int, list[StepEntry]] = {}
    for sample in samples:
        if sample.batch_id in wanted:
            own_samples.setdefault(sample.batch_id, []).append(sample)
    for entry in entries:
        if entry.step.batch_id in wanted:
            own_entries.setdefault(entry.step.batch_id, []).append(entry)
    return own_samples, own_entries


# --- the error found --------------------------------------------------------------------------------------------------
_ALIKE = ({"concentration", "trace_concentration", "hardness"},)
"""Kinds with one unit, so that a share found at one holds for the other."""


@dataclass(frozen=True, slots=True)
class _Found:
    """The error that a calibration found, at points of one kind."""

    kind: str
    points: tuple[Point, ...]

    def off(self, value: float, kind: str) -> float | None:
        """The value with the error taken off; None where the points say nothing about values of this kind."""
        if kind == "resistivity" and self.kind == "conductivity" and value > 0.0:
            inverse = corrected(1.0 / value, self.points)
            return 1.0 / inverse if inverse else None
        if kind != self.kind and not any({kind, self.kind} <= group for group in _ALIKE):
            return None
        return corrected(value, self.points)


def _found(failure: Calibration | None) -> _Found:
    rows = list(failure.points.all()) if failure else []
    return _Found(rows[0].kind if rows else "", core_points(rows))


# --- results of one batch ---------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Told:
    """A value with its limits and with the error found taken off."""

    what: str
    kind: str
    value: float
    low: float | None
    high: float | None
    at: datetime
    with_error: float | None
    high_with_error: float | None = None


def _results(
    batch: Batch,
    instrument: Instrument,
    period: Period,
    error: _Found,
    samples: Sequence[QcMeasurement],
    entries: Sequence[StepEntry],
) -> Iterator[Result]:
    decision, release = decision_of(batch), release_of(batch)
    tanks = tuple(
        TankWent(link.visit.tank.serial, link.visit.customer.name, link.visit.shipped_at)
        for link in sorted(batch.tank_links.all(), key=lambda link: link.position)
        if link.is_current or (link.is_filled and link.withdrawn_at is None)
    )
    told = [
        *_of_rinse(batch, instrument, period, error),
        *_of_samples(batch, samples, error),
        *_of_entries(entries, error),
    ]
    for one in told:
        yield Result(
            batch=batch,
            what=one.what,
            kind=one.kind,
            value=one.value,
            low=one.low,
            high=one.high,
            at=one.at,
            margin=margin_frac(one.value, one.low, one.high),
            with_error=one.with_error,
            margin_with_error=None
            if one.with_error is None
            else margin_frac(one.with_error, one.low, one.high_with_error or one.high),
            verdict=decision.verdict if decision else "",
            decided_at=decision.decided_at if decision else None,
            released_at=release.released_at if release else None,
            tanks=tanks,
        )


def _of_rinse(batch: Batch, instrument: Instrument, period: Period, error: _Found) -> Iterator[_Told]:
    """The reading nearest to the limit among those by which the end point holds; where it does not, the newest.

    Readings by hand and of meters alike, those that count.
    """
    specification = specification_of(batch)
    limit = specification.limit(CONDUCTIVITY)
    points = points_of(batch)
    if limit is None or instrument.code not in points.instrument_codes.values():
        return
    found = rinse_sifted(batch, points)
    own = found.counts & (found.series.instrument == found.series.instrument_codes.index(instrument.code))
    if period.since is not None:
        own &= found.series.at_s >= period.since.timestamp()
    if period.until is not None:
        own &= found.series.at_s < period.until.timestamp()
    reached = end_point(batch, points)
    held = own & (found.series.at_s >= (reached.held_from_s if reached.held_from_s is not None else inf))
    told = []
    for place in _extremes(found, held) if held.any() else own.nonzero()[0][-1:].tolist():
        reading = found.series.reading(place)
        at = datetime.fromtimestamp(reading.at_s, tz=UTC)
        told.append(_told(at, reading, limit, specification, error))
    known = [one for one in told if one is not None]
    if known:
        name = "End point of the rinse" if held.any() and reached.is_met else "Newest reading of the rinse"
        nearest = min(known, key=lambda one: margin_frac(one.value, one.low, one.high) or 0.0)
        yield replace(nearest, what=name)


def _extremes(found: Sifted, held: Any) -> list[int]:
    """Places among which the nearest to a limit is: the highest and the lowest value at each whole kelvin, as a limit can be a
    table over temperature. A log of a hundred thousand readings leaves a handful."""
    places = held.nonzero()[0]
    kelvin = found.series.temperature_kelvin[places].astype(int)
    wanted: set[int] = set()
    for one in set(kelvin.tolist()):
        here = places[kelvin == one]
        wanted |= {int(here[found.value[here].argmax()]), int(here[found.value[here].argmin()])}
    return sorted(wanted)


def _told(
    at: datetime, reading: CoreReading, limit: Limit, specification: Specification, error: _Found
) -> _Told | None:
    """A reading as its limit looks at it; None where the correction to 25 °C does not reach."""
    shown = error.off(reading.conductivity_siemens_per_m, "conductivity")
    try:
        value, high = _looked_at(reading, limit, specification)
        told = _Told("", limit.kind, value, limit.low, high, at, None)
        if shown is None:
            return told
        own, own_high = _looked_at(replace(reading, conductivity_siemens_per_m=shown), limit, specification)
    except OutOfRange:
        return None
    return replace(told, with_error=own, high_with_error=own_high)


def _looked_at(
    reading: CoreReading, limit: Limit, specification: Specification
) -> tuple[float, float | None]:
    """The value the limit looks at, and the highest it allows at this temperature [S/m]."""
    if limit.table:
        rows = tuple((row[0], row[1]) for row in limit.table)
        return reading.conductivity_siemens_per_m, table_limit_siemens_per_m(rows, reading.temperature_kelvin)
    return reading.at_25_celsius(specification.compensation), limit.high


def _of_samples(batch: Batch, samples: Sequence[QcMeasurement], error: _Found) -> Iterator[_Told]:
    """The measurement of each key that decides: the newest."""
    limits = {limit.measurement: limit for limit in sample_limits(batch)}
    newest = {row.key: row for row in samples}
    for key, row in newest.items():
        limit = limits.get(key)
        if limit is not None:
            yield _Told(
                f"{row.name}, sample", row.kind, row.value, limit.low, limit.high, row.occurred_at, error.off(row.value, row.kind)
            )  # fmt: skip


def _of_entries(entries: Sequence[StepEntry], error: _Found) -> Iterator[_Told]:
    for row in entries:
        if row.value is not None and (row.low is not None or row.high is not None):
            what = f"{row.name}, step {row.step.number}, {row.step.name}"
            yield _Told(
                what, row.kind, row.value, row.low, row.high, row.occurred_at, error.off(row.value, row.kind)
            )
