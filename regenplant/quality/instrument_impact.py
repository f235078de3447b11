"""What rests on an instrument: every result of a batch since its last good calibration, those nearest to a limit first.

After a calibration that found it outside, each result is told again with the error found taken off (``told_again``). Nothing is
rewritten: the rows keep what was known when they were written, and people decide what follows for each batch.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from regenplant.batches.log_models import MeterLog
from regenplant.batches.models import Batch, RinseReading, StepEntry
from regenplant.core.process.calibration import margin_frac
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.plant.calibrations import good_before, standing_calibrations
from regenplant.plant.days import start_of_day
from regenplant.plant.models import Calibration, Instrument
from regenplant.quality.models import QcMeasurement, decision_of, release_of
from regenplant.quality.told_again import ErrorFound, error_found, of_entries, of_rinse, of_samples

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
    error = error_found(failure)
    numbers = _touched(instrument, period)
    batches = list(
        Batch.objects.filter(pk__in=numbers)
        .select_related("specification_version", "downgrade__to_version")
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


# --- results of one batch ---------------------------------------------------------------------------------------------
def _results(
    batch: Batch,
    instrument: Instrument,
    period: Period,
    error: ErrorFound,
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
        *of_rinse(batch, instrument.code, period.since, period.until, error),
        *of_samples(batch, samples, error),
        *of_entries(entries, error),
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
