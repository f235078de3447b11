"""Results told again: each value as its limit looks at it, and with the error taken off that a calibration found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import inf
from typing import Any

from regenplant.batches.models import Batch, StepEntry
from regenplant.batches.points import points_of
from regenplant.batches.rinse import end_point, rinse_sifted
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.errors import OutOfRange
from regenplant.core.process.calibration import Point, corrected, margin_frac
from regenplant.core.process.sifting import Sifted
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.plant.calibrations import core_points
from regenplant.plant.models import Calibration
from regenplant.quality.models import QcMeasurement
from regenplant.quality.specification import applied_specification, sample_limits

_ALIKE = ({"concentration", "trace_concentration", "hardness"},)
"""Kinds with one unit, so that a share found at one holds for the other."""


@dataclass(frozen=True, slots=True)
class ErrorFound:
    """The error that a calibration found, at points of one kind; without points nothing is known of it."""

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


def error_found(failure: Calibration | None) -> ErrorFound:
    """What this calibration found; nothing where there is none. One query."""
    rows = list(failure.points.all()) if failure else []
    return ErrorFound(rows[0].kind if rows else "", core_points(rows))


@dataclass(frozen=True, slots=True)
class Told:
    """A value with its limits and with the error found taken off, all in the SI unit of ``kind``.

    ``with_error`` and ``high_with_error`` (the highest a table allows then) are None where the error says nothing of it.
    """

    what: str
    kind: str
    value: float
    low: float | None
    high: float | None
    at: datetime
    with_error: float | None
    high_with_error: float | None = None


def of_rinse(
    batch: Batch, code: str, since: datetime | None, until: datetime | None, error: ErrorFound
) -> Iterator[Told]:
    """The reading nearest to the limit among those by which the end point holds; where it does not, the newest.

    Readings of the instrument ``code`` by hand and of meters alike, those that count, from ``since`` up to, not including, ``until``.
    The limit is the one the batch was passed by: that of the lower product where it went down.
    """
    specification = applied_specification(batch)
    limit = specification.limit(CONDUCTIVITY)
    points = points_of(batch)
    if limit is None or code not in points.instrument_codes.values():
        return
    found = rinse_sifted(batch, points, specification)
    own = found.counts & (found.series.instrument == found.series.instrument_codes.index(code))
    if since is not None:
        own &= found.series.at_s >= since.timestamp()
    if until is not None:
        own &= found.series.at_s < until.timestamp()
    reached = end_point(batch, points, specification)
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
    at: datetime, reading: CoreReading, limit: Limit, specification: Specification, error: ErrorFound
) -> Told | None:
    """A reading as its limit looks at it; None where the correction to 25 °C does not reach."""
    shown = error.off(reading.conductivity_siemens_per_m, "conductivity")
    try:
        value, high = _looked_at(reading, limit, specification)
        told = Told("", limit.kind, value, limit.low, high, at, None)
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


def of_samples(batch: Batch, samples: Sequence[QcMeasurement], error: ErrorFound) -> Iterator[Told]:
    """The measurement of each key that decides: the newest."""
    limits = {limit.measurement: limit for limit in sample_limits(batch)}
    newest = {row.key: row for row in samples}
    for key, row in newest.items():
        limit = limits.get(key)
        if limit is not None:
            yield Told(
                f"{row.name}, sample", row.kind, row.value, limit.low, limit.high, row.occurred_at, error.off(row.value, row.kind)
            )  # fmt: skip


def of_entries(entries: Sequence[StepEntry], error: ErrorFound) -> Iterator[Told]:
    """Every entry of a step that has a limit."""
    for row in entries:
        if row.value is not None and (row.low is not None or row.high is not None):
            what = f"{row.name}, step {row.step.number}, {row.step.name}"
            yield Told(
                what, row.kind, row.value, row.low, row.high, row.occurred_at, error.off(row.value, row.kind)
            )
