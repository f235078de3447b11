"""A rinse-down as data, and as a person reads it: in their units, with clock times or bed volumes, in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import pairwise

from regenplant import units
from regenplant.drawing.curves import crossing, thinned
from regenplant.drawing.scales import Axis, moment, tick_text

MOST_POINTS = 600
"""So many points of one rinse are drawn; of a longer log the lowest and highest of each stretch."""
MOST_ROWS = 60
"""So many rows has the table that says the same as the drawing."""


class Across(StrEnum):
    """What the axis along the bottom counts."""

    TIME = "time"
    BED_VOLUMES = "bv"


class Counts(StrEnum):
    """What a reading is worth: the shape of its mark."""

    YES = "yes"
    INFORMS = "informs"
    """Its instrument was out of calibration, or its limit does not take what the meter compensates."""
    CHECK = "check"
    """It points to its instrument, not to the water."""


@dataclass(frozen=True, slots=True)
class RinseReading:
    """One reading: seconds since the rinse began, SI value, whether a person wrote it, bed volumes passed, what it is worth, and
    the limit at its temperature where a table limits it (SI of the same quantity)."""

    elapsed_s: float
    value: float
    is_by_hand: bool = True
    rinsed_bv: float | None = None
    counts: Counts = Counts.YES
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class ForecastPoint:
    """The course expected at one moment: middle and the band of 9 in 10, SI."""

    elapsed_s: float
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Expected:
    """When one quantile of the end point is expected: seconds since the rinse began, and bed volumes."""

    elapsed_s: float
    rinsed_bv: float


@dataclass(frozen=True, slots=True)
class ExpectedEnd:
    """When the end point is expected: 5, 50 and 95 %, given that it is reached. ``is_doubtful``: more likely than not it never is."""

    early: Expected
    middle: Expected
    late: Expected
    is_doubtful: bool = False


@dataclass(frozen=True, slots=True)
class RinseDown:
    """Everything the chart shows. Values are SI of ``kind``; times are seconds since the rinse began.

    ``started_at`` is in the plant's time zone (clock times at the axis); without it the axis counts minutes.
    ``is_at_least`` says which side of the limit passes. ``earlier`` are finished batches of the same kind, each as points (seconds
    since its own rinse began, or bed volumes where the axis counts those; SI value). ``bv_per_s`` is the flow, for what is to come.
    """

    title: str
    kind: str
    readings: tuple[RinseReading, ...]
    limit: float | None = None
    is_at_least: bool = True
    hold_s: float = 0.0
    held_from_s: float | None = None
    started_at: datetime | None = None
    now_s: float | None = None
    forecast: tuple[ForecastPoint, ...] = ()
    earlier: tuple[tuple[tuple[float, float], ...], ...] = ()
    expected: ExpectedEnd | None = None
    across: Across = Across.TIME
    bv_per_s: float = 0.0
    basis: str = "at 25 °C"
    """What conductivity and resistivity refer to; "as read" where a table limits uncompensated readings."""


@dataclass(frozen=True, slots=True)
class RinseRow:
    """One row of the table that says the same as the chart."""

    at: str
    value: str
    other: str
    is_by_hand: bool
    rinsed: str = ""
    note: str = ""


COUNTS_WORDS = {
    Counts.YES: "",
    Counts.INFORMS: "informs only: not counted",
    Counts.CHECK: "instrument check: not counted",
}


class ShownRinse:
    """The rinse-down in the units a person reads, and its words. ``x`` is what the axis along the bottom counts."""

    def __init__(self, rinse: RinseDown, system: str):
        self.rinse = rinse
        self.system = system
        self.unit = units.unit_text(rinse.kind, system)
        self._passed = self._ways()
        self.believed = [r for r in rinse.readings if r.counts is not Counts.CHECK]
        counted = [r for r in self.believed if r.counts is Counts.YES] or self.believed
        self.readings = thinned(
            list(zip(self.xs_of(counted), self.values(r.value for r in counted), strict=True)), MOST_POINTS
        )
        self.limit = None if rinse.limit is None else self.value(rinse.limit)
        self.limit_steps = self._limit_steps()
        self.forecast = [
            (self.x(f.elapsed_s), self.value(f.value), self.value(f.low), self.value(f.high))
            for f in rinse.forecast
        ]
        self.earlier = [
            thinned(
                [(x, value) for (x, _), value in zip(batch, self.values(v for _, v in batch), strict=True)],
                MOST_POINTS,
            )
            for batch in rinse.earlier
        ]

    # --- values -----------------------------------------------------------------------------------------------------
    def value(self, si_value: float) -> float:
        """A value in the unit shown."""
        return units.shown_value(si_value, self.rinse.kind, self.system)

    def values(self, si_values: Iterable[float]) -> list[float]:
        """Values in the unit shown, all at once."""
        return units.shown_values(si_values, self.rinse.kind, self.system)

    def text(self, si_value: float, with_unit: bool = False) -> str:
        """A value as people read it, rounded as its unit's digits allow."""
        return units.format_quantity(si_value, self.rinse.kind, self.system, with_unit=with_unit)

    def _limit_steps(self) -> list[tuple[float, float]]:
        """Where a limit by temperature begins to hold, and its value; one step for each change."""
        steps: list[tuple[float, float]] = []
        for reading in self.rinse.readings:
            if reading.limit is None or reading.counts is Counts.CHECK:
                continue
            limit = self.value(reading.limit)
            if not steps or steps[-1][1] != limit:
                steps.append((self.x_of(reading), limit))
        return steps

    @property
    def last_limit(self) -> float | None:
        """The limit at the last reading: the one there is, or the table's at its temperature."""
        return self.limit if self.limit is not None else self.limit_steps[-1][1] if self.limit_steps else None

    # --- along the bottom -------------------------------------------------------------------------------------------
    @property
    def is_by_volume(self) -> bool:
        """Whether bed volumes stand along the bottom instead of time."""
        return self.rinse.across is Across.BED_VOLUMES

    def _ways(self) -> list[tuple[float, float]]:
        """(seconds, bed volumes) as read, from nothing; never backward."""
        ways = [(0.0, 0.0)]
        for reading in self.rinse.readings:
            if reading.rinsed_bv is not None and reading.elapsed_s > ways[-1][0]:
                ways.append((reading.elapsed_s, max(reading.rinsed_bv, ways[-1][1])))
        return ways

    def x(self, elapsed_s: float) -> float:
        """A moment on the axis: itself, or the bed volumes passed by then, between readings in proportion, after them by the flow."""
        if not self.is_by_volume:
            return elapsed_s
        last_s, last_bv = self._passed[-1]
        if elapsed_s >= last_s:
            return last_bv + (elapsed_s - last_s) * self.rinse.bv_per_s
        for (t0, v0), (t1, v1) in pairwise(self._passed):
            if elapsed_s <= t1:
                return v0 + (v1 - v0) * max(0.0, elapsed_s - t0) / (t1 - t0)
        return last_bv

    def x_of(self, reading: RinseReading) -> float:
        """Where a reading stands on the axis: [s] since the start, or bed volumes [-]."""
        if self.is_by_volume and reading.rinsed_bv is not None:
            return reading.rinsed_bv
        return self.x(reading.elapsed_s)

    def xs_of(self, readings: Sequence[RinseReading]) -> list[float]:
        """Where readings stand on the axis, all at once."""
        if self.is_by_volume:
            return [self.x_of(reading) for reading in readings]
        return [reading.elapsed_s for reading in readings]

    def at(self, x: float) -> str:
        """A place on the axis: "14:05", "38 min" without a clock, "6.6 BV"."""
        if self.is_by_volume:
            return units.format_quantity(x, "bed_volumes", self.system)
        return self.moment(x)

    def between(self, early: float, late: float) -> str:
        """ "14:20 to 14:50", "6.1 to 7.4 BV"."""
        if self.is_by_volume:
            low = units.format_quantity(early, "bed_volumes", self.system, with_unit=False)
            return f"{low} to {self.at(late)}"
        return f"{self.at(early)} to {self.at(late)}"

    def moment(self, elapsed_s: float) -> str:
        """ "14:05", or "38 min" without a clock."""
        if self.rinse.started_at is None:
            return f"{elapsed_s / 60:.0f}{units.NO_BREAK_SPACE}min"
        return f"{moment(self.rinse.started_at, elapsed_s):%H:%M}"

    # --- what is to come --------------------------------------------------------------------------------------------
    def pass_times(self) -> tuple[float | None, float | None, float | None]:
        """Where on the axis the end point is expected: middle, earliest, latest; None where it is not."""
        expected = self.rinse.expected
        if expected is not None:
            places = [expected.middle, expected.early, expected.late]
            middle, early, late = (p.rinsed_bv if self.is_by_volume else p.elapsed_s for p in places)
            return middle, early, late
        if self.limit is None or not self.forecast:
            return None, None, None
        times = [crossing([(f[0], f[n]) for f in self.forecast], self.limit) for n in (1, 2, 3)]
        known = sorted(t for t in times[1:] if t is not None)
        return times[0], known[0] if known else None, known[-1] if len(known) == 2 else None

    @property
    def is_doubtful(self) -> bool:
        """Whether the end point that is expected is more likely than not never reached."""
        return self.rinse.expected is not None and self.rinse.expected.is_doubtful

    def hold_window(self) -> tuple[float, float] | None:
        """Where the hold window stands on the axis: from where it has begun, else from where the end point is expected."""
        if self.rinse.hold_s <= 0 or self.last_limit is None:
            return None
        start = self.rinse.held_from_s
        if start is not None:
            return self.x(start), self.x(start + self.rinse.hold_s)
        middle = self.pass_times()[0]
        if middle is None:
            return None
        length = self.rinse.hold_s * (self.rinse.bv_per_s if self.is_by_volume else 1.0)
        return middle, middle + length

    # --- words ------------------------------------------------------------------------------------------------------
    def caption(self) -> str:
        """What the axes count: "MΩ·cm at 25 °C, log scale"."""
        basis = f" {self.rinse.basis}" if self.rinse.kind in ("resistivity", "conductivity") else ""
        if self.is_by_volume:
            across = "; bed volumes of rinse water"
        else:
            across = "" if self.rinse.started_at else "; minutes since the rinse began"
        return f"{self.unit or units.kind_named(self.rinse.kind).name}{basis}, log scale{across}"

    def limit_words(self) -> str:
        """ "limit ≤ 10 µS/cm"; "" where none is set."""
        if self.limit is None:
            return "limit by temperature, as read" if self.limit_steps else ""
        sign = "≥" if self.rinse.is_at_least else "≤"
        return f"limit {sign} {tick_text(self.limit)}{units.NO_BREAK_SPACE}{self.unit}".rstrip()

    def sentence(self) -> str:
        """The whole drawing in words, for who does not see it."""
        rinse, counted = self.rinse, self.believed
        if not counted:
            return f"{rinse.title}. No reading is written yet. {self._limit_sentence()}".strip()
        first, last = counted[0], counted[-1]
        name = units.kind_named(rinse.kind).name
        said = f"{rinse.title}. {name[0].upper()}{name[1:]} on a log scale: {self.text(last.value, True)} at {self.at(self.x_of(last))}"
        if len(counted) > 1:
            said += f", from {self.text(first.value, True)} at {self.at(self.x_of(first))}"
        parts = (f"{said}.", self._checks(), self._limit_sentence(), self._forecast_sentence())
        return " ".join(filter(None, parts))

    def _checks(self) -> str:
        count = sum(r.counts is Counts.CHECK for r in self.rinse.readings)
        if not count:
            return ""
        return (
            "One reading points to its instrument."
            if count == 1
            else f"{count} readings point to their instrument."
        )

    def near_sentence(self, start: float, end: float, axis: Axis) -> str:
        """The close view in words: ``start`` to ``end`` on the axis."""
        ends = f"{tick_text(axis.low)} to {tick_text(axis.high)} {self.unit}".strip()
        said = f"Close view near the limit, even scale from {ends}, {self.at(start)} to {self.at(end)}."
        return " ".join(filter(None, (said, self._forecast_sentence())))

    def _limit_sentence(self) -> str:
        side = "at least" if self.rinse.is_at_least else "at most"
        if self.limit is not None:
            return f"Limit {side} {tick_text(self.limit)}."
        if self.limit_steps:
            return f"Limit by temperature, {side} {tick_text(self.limit_steps[-1][1])} at the last reading."
        return "No limit is set."

    def _forecast_sentence(self) -> str:
        middle, early, late = self.pass_times()
        if middle is None:
            return "The forecast does not reach the limit." if self.forecast else ""
        between = (
            f", between {self.at(early)} and {self.at(late)}"
            if early is not None and late is not None
            else ""
        )
        hold = f", then hold {self.rinse.hold_s / 60:.0f} minutes" if self.rinse.hold_s else ""
        if self.is_doubtful:
            return f"If it passes at all, forecast at {self.at(middle)}{between}{hold}."
        return f"Forecast to pass at {self.at(middle)}{between}{hold}."

    # --- the table --------------------------------------------------------------------------------------------------
    def rows(self) -> tuple[RinseRow, ...]:
        """Newest first; of many the lowest and highest of each stretch."""
        readings = self.rinse.readings
        if len(readings) > MOST_ROWS:
            numbers = thinned([(float(n), r.value) for n, r in enumerate(readings)], MOST_ROWS)
            kept = {int(n) for n, _ in numbers}
            readings = tuple(r for n, r in enumerate(readings) if n in kept)
        return tuple(self.row(reading) for reading in reversed(readings))

    def row(self, reading: RinseReading) -> RinseRow:
        """One reading in the table."""
        return RinseRow(
            self.moment(reading.elapsed_s),
            self.text(reading.value),
            units.other_system(reading.value, self.rinse.kind, self.system),
            reading.is_by_hand,
            ""
            if reading.rinsed_bv is None
            else units.format_quantity(reading.rinsed_bv, "bed_volumes", self.system, with_unit=False),
            COUNTS_WORDS[reading.counts],
        )

    def other_unit(self) -> str:
        """Unit of the second column: of the reciprocal, or of the other system; "" where they are the same."""
        kind = {"resistivity": "conductivity", "conductivity": "resistivity"}.get(self.rinse.kind)
        if kind:
            return units.unit_text(kind, self.system)
        other = units.unit_text(self.rinse.kind, "metric" if self.system == "us" else "us")
        return other if other != self.unit else ""
