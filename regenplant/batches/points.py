"""All readings of a rinse together, by hand and from meters, as columns: what judgement, forecast and curve are made from."""

from __future__ import annotations

import base64
import hashlib
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from regenplant.batches.log_models import MeterLog, MeterLogSetAside
from regenplant.batches.models import Batch, RinseReading
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.series import WAYS, Series
from regenplant.core.process.specification import RinseReading as CoreReading

COLUMNS = (
    "at_s",
    "rinsed_bv",
    "conductivity_siemens_per_m",
    "temperature_kelvin",
    "conductivity_25_siemens_per_m",
)
"""What ``MeterLog.columns`` holds, in this order."""


@dataclass(frozen=True, slots=True)
class Points:
    """Readings that stand, in order of time, as columns of equal length; what was replaced or set aside is not in it.

    ``at_s`` since the epoch [s], ``rinsed_bv`` [-], ``conductivity_siemens_per_m`` as shown [S/m], ``temperature_kelvin`` [K],
    ``conductivity_25_siemens_per_m`` [S/m] (NaN where it cannot be), ``compensation`` (place in ``core.process.series.WAYS``),
    ``instrument_id``, ``is_valid``, ``is_by_hand``.
    """

    at_s: Any
    rinsed_bv: Any
    conductivity_siemens_per_m: Any
    temperature_kelvin: Any
    conductivity_25_siemens_per_m: Any
    compensation: Any
    instrument_id: Any
    is_valid: Any
    is_by_hand: Any
    instrument_codes: dict[int, str]

    def __len__(self) -> int:
        return len(self.at_s)

    @property
    def series(self) -> Series:
        """As the core judges them: from what the meter showed, never from a derived value."""
        np = array_library()
        ids = sorted(self.instrument_codes)
        return Series(
            self.at_s, self.rinsed_bv, self.conductivity_siemens_per_m, self.temperature_kelvin, self.compensation,
            np.searchsorted(np.array(ids, dtype=np.int64), self.instrument_id), self.is_valid,
            tuple(self.instrument_codes[pk] for pk in ids), self.is_by_hand,
        )  # fmt: skip

    def where(self, keep: Any) -> Points:
        """The rows of a mask or of indices."""
        return Points(
            self.at_s[keep], self.rinsed_bv[keep], self.conductivity_siemens_per_m[keep], self.temperature_kelvin[keep],
            self.conductivity_25_siemens_per_m[keep], self.compensation[keep], self.instrument_id[keep], self.is_valid[keep],
            self.is_by_hand[keep], self.instrument_codes,
        )  # fmt: skip


def points_of(batch: Batch) -> Points:
    """Every reading of the rinse that stands; three queries, whatever the batch holds."""
    np = array_library()
    by_hand = list(
        RinseReading.objects.filter(batch=batch, replaced_by__isnull=True)
        .select_related("instrument")
        .order_by("occurred_at", "id")
    )
    logs = list(
        MeterLog.objects.filter(batch=batch)
        .select_related("instrument")
        .defer("received_text")
        .prefetch_related("set_asides")
    )
    parts = [_of_hand(by_hand)] if by_hand else []
    parts += [part for log in logs if (part := _of_log(log)) is not None]
    codes = {row.instrument_id: row.instrument.code for row in by_hand}
    codes |= {log.instrument_id: log.instrument.code for log in logs}
    joined = [np.concatenate(columns) for columns in zip(*parts, strict=True)] if parts else _nothing()
    at_s, rinsed, shown, kelvin, at_25, way, cell, is_valid, by_hand_column = joined
    found = Points(at_s, rinsed, shown, kelvin, at_25, way, cell, is_valid, by_hand_column, codes)
    return (
        found
        if bool((np.diff(found.at_s) >= 0.0).all())
        else found.where(np.argsort(found.at_s, kind="stable"))
    )


def core_readings(points: Points) -> list[CoreReading]:
    """The points one by one, as the core takes them."""
    series = points.series
    return [series.reading(place) for place in range(len(series))]


def _nothing() -> list[Any]:
    np = array_library()
    kinds = (float, float, float, float, float, np.int8, np.int64, bool, bool)
    return [np.empty(0, dtype=kind) for kind in kinds]


def _of_hand(rows: Sequence[RinseReading]) -> tuple[Any, ...]:
    np = array_library()
    return (
        np.array([row.occurred_at.timestamp() for row in rows], dtype=float),
        np.array([row.rinsed_bv for row in rows], dtype=float),
        np.array([row.conductivity_siemens_per_m for row in rows], dtype=float),
        np.array([row.temperature_kelvin for row in rows], dtype=float),
        np.array([row.conductivity_25_siemens_per_m for row in rows], dtype=float),
        np.array([WAYS.index(Compensation(row.meter_compensation)) for row in rows], dtype=np.int8),
        np.array([row.instrument_id for row in rows], dtype=np.int64),
        np.array([row.instrument_was_valid for row in rows], dtype=bool),
        np.ones(len(rows), dtype=bool),
    )


def _of_log(log: MeterLog) -> tuple[Any, ...] | None:
    """The rows of a packet that stand; None where none does."""
    np = array_library()
    columns = unpacked(log)
    keep = standing_rows(columns[0], log.set_asides.all())
    if not keep.all():
        if not keep.any():
            return None
        columns = columns[:, keep]
    count = columns.shape[1]
    return (
        *columns,
        np.full(count, WAYS.index(Compensation(log.meter_compensation)), dtype=np.int8),
        np.full(count, log.instrument_id, dtype=np.int64),
        np.full(count, log.instrument_was_valid, dtype=bool),
        np.zeros(count, dtype=bool),
    )


def standing_rows(at_s: Any, set_asides: Iterable[MeterLogSetAside]) -> Any:
    """Which readings of a packet were not set aside."""
    np = array_library()
    keep = np.ones(len(at_s), dtype=bool)
    for row in set_asides:
        if row.from_at is None or row.until_at is None:
            keep[:] = False
        else:
            keep &= (at_s < row.from_at.timestamp()) | (at_s > row.until_at.timestamp())
    return keep


# --- how a packet is kept -------------------------------------------------------------------------------------------
def packed(columns: Sequence[Any]) -> str:
    """Columns as the text that a packet keeps."""
    np = array_library()
    whole = np.ascontiguousarray(np.stack([np.asarray(column, dtype="<f8") for column in columns]))
    return base64.b64encode(zlib.compress(whole.tobytes(), 6)).decode("ascii")


def unpacked(log: MeterLog) -> Any:
    """The columns of a packet, one row for each of ``COLUMNS``."""
    np = array_library()
    return np.frombuffer(zlib.decompress(base64.b64decode(log.columns)), dtype="<f8").reshape(
        len(COLUMNS), -1
    )


def digest_of(received_text: str, columns: str) -> str:
    """What a packet is known by."""
    whole = hashlib.sha256(received_text.encode("utf-8", "surrogatepass"))
    whole.update(b"\x00" + columns.encode("ascii"))
    return whole.hexdigest()
