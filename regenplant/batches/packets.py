"""Packets of a meter before they are kept: their readings in SI, which rinse they belong to, and what of them is new."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.use_case import is_device
from regenplant.batches.models import Batch, MeterLog, RinseReading, StepRun
from regenplant.batches.points import unpacked
from regenplant.batches.rinse import judged_steps, passed_bed_volumes, specification_of
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.errors import RecordRefused
from regenplant.core.process.acceptance import CLOCKS_APART_S
from regenplant.core.process.series import WAYS, Series
from regenplant.core.process.wording import listed
from regenplant.plant.models import Instrument

MOST_READINGS = 250_000
"""In one packet: three days, one each second."""
MOST_WATER_M3 = 1e9
"""No counter of rinse water stands higher; beyond it arithmetic ends before water does."""
AHEAD_S = 5.0
"""The clocks of a meter and of the server never agree to the second; what lies further ahead has not happened yet [s]."""
TO_THE_MS = 1e-3
"""Moments of a meter are kept to the millisecond; a step knows its start more finely [s]."""
METER_AHEAD_S = CLOCKS_APART_S
"""The same for an in-line meter that sends by itself: some set their clock once a day. The judgement counts on it [s]."""


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """One reading as a meter gave it. ``totalizer_m3``: water passed since this rinse began, where the meter counts it [m^3]."""

    at: datetime
    value_text: str
    unit_text: str
    temperature_kelvin: float
    totalizer_m3: float | None = None


@dataclass(frozen=True, slots=True)
class Packet:
    """Readings of one instrument with the text they came in. ``source``: "file", "paste", "http" or "mqtt"."""

    instrument_id: int
    source: str
    name: str
    received_text: str
    readings: tuple[LoggedReading, ...]
    time_zone: str = ""
    """Zone of the clocks that showed the times in the text, where they come without an offset."""
    counted_from_at: datetime | None = None
    """When the log began, where its times are counted from there."""
    counter_at_start_m3: float = 0.0
    """What its counter of water showed when the rinse began [m^3]."""


def cell_of(pk: int) -> Instrument:
    """The conductivity cell of a packet. Raises: RecordRefused for anything else."""
    instrument = Instrument.objects.filter(pk=pk).first()
    if instrument is None or instrument.kind != Instrument.Kind.CONDUCTIVITY or not instrument.is_active:
        raise RecordRefused(
            "Choose the conductivity cell that was logged.", field="instrument", code="no_cell"
        )
    return instrument


@dataclass(frozen=True, slots=True)
class Raw:
    """Columns of a packet in order of time: [s since the epoch], [S/m], [K], [m^3] (NaN where the meter counts no water)."""

    at_s: Any
    conductivity_siemens_per_m: Any
    temperature_kelvin: Any
    totalizer_m3: Any

    def where(self, keep: Any) -> Raw:
        """The rows of a mask or of indices, as numpy takes them."""
        return Raw(
            self.at_s[keep],
            self.conductivity_siemens_per_m[keep],
            self.temperature_kelvin[keep],
            self.totalizer_m3[keep],
        )


def columns_of(packet: Packet) -> Raw:
    """The readings in SI, in order of time. Raises: UnitNotUnderstood, RecordRefused."""
    np = array_library()
    spellings = {reading.unit_text for reading in packet.readings}
    if len(spellings) > 1:
        raise RecordRefused(
            f"The readings are in different units ({', '.join(sorted(spellings)[:3])}). Send each unit by itself.",
            code="mixed_units",
        )
    scale = units.scale_of(spellings.pop(), "conductivity")
    values = np.array([_number(reading.value_text) for reading in packet.readings], dtype=float)
    kelvin = np.array([reading.temperature_kelvin for reading in packet.readings], dtype=float)
    counted = np.array(
        [np.nan if reading.totalizer_m3 is None else reading.totalizer_m3 for reading in packet.readings],
        dtype=float,
    )
    if scale.is_reciprocal and bool((values == 0.0).any()):
        raise RecordRefused(
            "A resistivity of 0 is in it; a resistivity is above or below zero.", code="no_resistivity"
        )
    shown = scale.to_si(values)
    if not bool(np.isfinite(shown).all()):
        raise RecordRefused("A figure in it is beyond every meter.", code="no_number")
    if (
        not bool(np.isfinite(kelvin).all())
        or bool((counted > MOST_WATER_M3).any())
        or bool((counted < 0.0).any())
    ):
        raise RecordRefused(
            "A temperature or a volume in it is no number that can be. Water passed since the rinse began is zero or more.",
            code="no_number",
        )
    found = Raw(
        np.array([reading.at.timestamp() for reading in packet.readings], dtype=float).round(3),
        shown,
        kelvin,
        counted,
    )
    return found.where(np.argsort(found.at_s, kind="stable"))


def _number(text: str) -> float:
    """A logger's number; a decimal comma is understood."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if value != value or value in (float("inf"), float("-inf")):
        raise RecordRefused(f"“{text[:20]}” is no number.", code="no_number")
    return value


# --- what of it is new ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class LeftOut:
    """How many readings are not taken in: of a moment kept already or twice in the packet, and before or after the rinse.

    ``same_moment`` of ``known_already`` show another figure than what is kept of that moment: a log without seconds writes several
    readings of one minute.
    """

    known_already: int
    outside: int
    same_moment: int = 0


def what_is_new(
    by: By, batch: Batch, instrument: Instrument, raw: Raw
) -> tuple[StepRun, tuple[Any, ...], LeftOut]:
    """The rinse the packet belongs to, its columns as they are kept, and how many were left out."""
    np = array_library()
    kept = _kept(batch, instrument)
    is_unknown = ~np.isin(raw.at_s, kept.real)
    step = _step_of(batch, raw.where(is_unknown) if is_unknown.any() else raw)
    began = step.started_at.timestamp() if step.started_at else np.inf
    ahead_s = METER_AHEAD_S if is_device(by) else AHEAD_S
    ended = min(step.finished_at.timestamp() if step.finished_at else np.inf, by.at.timestamp() + ahead_s)
    inside = (raw.at_s >= began - TO_THE_MS) & (raw.at_s <= ended + TO_THE_MS)
    within = raw.where(inside)
    _, firsts = np.unique(within.at_s, return_index=True)
    is_new = np.zeros(len(within.at_s), dtype=bool)
    is_new[firsts] = True
    is_new &= is_unknown[inside]
    others = _others(within.where(~is_new), np.concatenate([kept, _told(within.where(is_new))]))
    counted = LeftOut(int((~is_new).sum()), int((~inside).sum()), others)
    if not is_new.any():
        raise _nothing_new(batch, counted)
    new = within.where(is_new)
    rinsed = passed_bed_volumes(batch, step, new.at_s, new.totalizer_m3)
    water = specification_of(batch).compensation
    way = WAYS.index(Compensation(instrument.compensation or Compensation.NONE))
    series = series_of_raw(new, rinsed, way, instrument.code, True)
    at_25 = series.at_25_celsius(water)
    return step, (new.at_s, rinsed, new.conductivity_siemens_per_m, new.temperature_kelvin, at_25), counted


def _step_of(batch: Batch, raw: Raw) -> StepRun:
    """The judged rinse that holds most of the readings; the newest of two that hold as many. A log over two of them comes in by being
    handed in twice: what is kept already is not asked."""
    begun = [step for step in judged_steps(batch) if step.started_at is not None]
    if not begun:
        raise RecordRefused(f"The final rinse of batch {batch.number} has not started.", code="not_rinsing")

    def held(step: StepRun) -> int:
        assert step.started_at is not None
        after = raw.at_s >= step.started_at.timestamp() - TO_THE_MS
        if step.finished_at is not None:
            after &= raw.at_s <= step.finished_at.timestamp()
        return int(after.sum())

    return max(reversed(begun), key=held)


def _kept(batch: Batch, instrument: Instrument) -> Any:
    """All readings of an instrument in a batch, set aside or not, as ``_told``."""
    np = array_library()
    logs = MeterLog.objects.filter(batch=batch, instrument=instrument).only("columns")
    by_hand = RinseReading.objects.filter(batch=batch, instrument=instrument, replaced_by__isnull=True)
    rows = [
        (at.timestamp(), shown)
        for at, shown in by_hand.values_list("occurred_at", "conductivity_siemens_per_m")
    ]
    hand = np.array(rows, dtype=float).reshape(-1, 2)
    parts = [_pairs(columns[0], columns[2]) for columns in map(unpacked, logs)]
    return np.concatenate([*parts, _pairs(hand[:, 0].round(3), hand[:, 1])])


def _told(raw: Raw) -> Any:
    return _pairs(raw.at_s, raw.conductivity_siemens_per_m)


def _pairs(at_s: Any, shown: Any) -> Any:
    """Moment [s since the epoch] and figure [S/m] as one complex number each, so that both are looked up at once. The figure as a
    short float: sent again in another unit it is the same one."""
    return at_s + 1j * shown.astype("float32")


def _others(left_out: Raw, kept: Any) -> int:
    """How many of the readings left out show another figure than what is kept of their moment."""
    np = array_library()
    return int((~np.isin(_told(left_out), kept)).sum())


def _nothing_new(batch: Batch, counted: LeftOut) -> RecordRefused:
    parts = []
    if counted.known_already > counted.same_moment:
        parts.append(f"{counted.known_already - counted.same_moment:,} are kept already")
    if counted.same_moment:
        parts.append(f"{counted.same_moment:,} show another figure for a moment that is kept already")
    if counted.outside:
        parts.append(f"{counted.outside:,} lie outside the rinse, or in time to come")
    return RecordRefused(
        f"Nothing of it is new to batch {batch.number}: {listed(parts)}.",
        code="nothing_new",
        kept=0,
        known_already=counted.known_already,
        outside=counted.outside,
    )


def series_of_raw(new: Raw, rinsed: Any, way: int, code: str, is_valid: bool) -> Series:
    """Columns for judging: read by one cell, ``way`` its compensation (place in ``WAYS``), ``rinsed`` the bed volumes passed [-]."""
    np = array_library()
    count = len(new.at_s)
    return Series(
        new.at_s,
        rinsed,
        new.conductivity_siemens_per_m,
        new.temperature_kelvin,
        np.full(count, way, dtype=np.int8),
        np.zeros(count, dtype=np.int32),
        np.full(count, is_valid, dtype=bool),
        (code,),
    )
