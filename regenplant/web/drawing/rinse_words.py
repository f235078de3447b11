"""A rinse-down as data, and as a person reads it: in their units, with clock times, in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.web.drawing.curves import crossing
from regenplant.web.drawing.scales import Axis, moment, tick_text


@dataclass(frozen=True, slots=True)
class RinseReading:
    """One reading: seconds since the rinse began, SI value, whether a person wrote it."""

    elapsed_s: float
    value: float
    is_by_hand: bool = True


@dataclass(frozen=True, slots=True)
class ForecastPoint:
    """The forecast at one moment: middle and the band of 9 in 10, SI."""

    elapsed_s: float
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class RinseDown:
    """Everything the chart shows. Values are SI of ``kind``; times are seconds since the rinse began.

    ``started_at`` is in the plant's time zone (clock times at the axis); without it the axis counts minutes.
    ``is_at_least`` says which side of the limit passes. ``earlier`` are finished batches of the same kind.
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


@dataclass(frozen=True, slots=True)
class RinseRow:
    """One row of the table that says the same as the chart."""

    at: str
    value: str
    other: str
    is_by_hand: bool


class ShownRinse:
    """The rinse-down in the units a person reads, and its words."""

    def __init__(self, rinse: RinseDown, system: str):
        self.rinse = rinse
        self.system = system
        self.unit = units.unit_text(rinse.kind, system)
        self.readings = [(r.elapsed_s, self.value(r.value)) for r in rinse.readings]
        self.limit = None if rinse.limit is None else self.value(rinse.limit)
        self.forecast = [
            (f.elapsed_s, self.value(f.value), self.value(f.low), self.value(f.high)) for f in rinse.forecast
        ]
        self.earlier = [[(t, self.value(v)) for t, v in batch] for batch in rinse.earlier]

    def value(self, si_value: float) -> float:
        return units.shown_value(si_value, self.rinse.kind, self.system)

    def text(self, si_value: float, with_unit: bool = False) -> str:
        return units.format_quantity(si_value, self.rinse.kind, self.system, with_unit=with_unit)

    def caption(self) -> str:
        """What the axes count: "MΩ·cm at 25 °C, log scale"."""
        at = " at 25 °C" if self.rinse.kind in ("resistivity", "conductivity") else ""
        across = "" if self.rinse.started_at else "; minutes since the rinse began"
        return f"{self.unit or units.kind_named(self.rinse.kind).name}{at}, log scale{across}"

    def limit_words(self) -> str:
        if self.limit is None:
            return ""
        sign = "≥" if self.rinse.is_at_least else "≤"
        return f"limit {sign} {tick_text(self.limit)}{units.NO_BREAK_SPACE}{self.unit}".rstrip()

    def moment(self, elapsed_s: float) -> str:
        """ "14:05", or "38 min" without a clock."""
        if self.rinse.started_at is None:
            return f"{elapsed_s / 60:.0f}{units.NO_BREAK_SPACE}min"
        return f"{moment(self.rinse.started_at, elapsed_s):%H:%M}"

    def pass_times(self) -> tuple[float | None, float | None, float | None]:
        """When the forecast meets the limit: middle, earliest, latest; None where it does not."""
        if self.limit is None or not self.forecast:
            return None, None, None
        times = [crossing([(f[0], f[n]) for f in self.forecast], self.limit) for n in (1, 2, 3)]
        known = sorted(t for t in times[1:] if t is not None)
        return times[0], known[0] if known else None, known[-1] if len(known) == 2 else None

    def hold_from(self) -> float | None:
        """Where the hold window begins: where it has begun, else where the forecast lets it begin."""
        if self.rinse.hold_s <= 0 or self.limit is None:
            return None
        return self.rinse.held_from_s if self.rinse.held_from_s is not None else self.pass_times()[0]

    def sentence(self) -> str:
        rinse = self.rinse
        if not rinse.readings:
            return f"{rinse.title}. No reading is written yet. {self._limit_sentence()}".strip()
        first, last = rinse.readings[0], rinse.readings[-1]
        name = units.kind_named(rinse.kind).name
        said = f"{rinse.title}. {name[0].upper()}{name[1:]} on a log scale: {self.text(last.value, True)} at {self.moment(last.elapsed_s)}"
        if len(rinse.readings) > 1:
            said += f", from {self.text(first.value, True)} at {self.moment(first.elapsed_s)}"
        return " ".join(filter(None, (f"{said}.", self._limit_sentence(), self._forecast_sentence())))

    def near_sentence(self, start_s: float, end_s: float, axis: Axis) -> str:
        ends = f"{tick_text(axis.low)} to {tick_text(axis.high)} {self.unit}".strip()
        times = f"{self.moment(start_s)} to {self.moment(end_s)}"
        return " ".join(
            filter(
                None,
                (f"Close view near the limit, even scale from {ends}, {times}.", self._forecast_sentence()),
            )
        )

    def _limit_sentence(self) -> str:
        if self.limit is None:
            return "No limit is set."
        side = "at least" if self.rinse.is_at_least else "at most"
        return f"Limit {side} {tick_text(self.limit)}."

    def _forecast_sentence(self) -> str:
        middle, early, late = self.pass_times()
        if middle is None:
            return "The forecast does not reach the limit." if self.forecast else ""
        between = f", between {self.moment(early)} and {self.moment(late)}" if early and late else ""
        hold = f", then hold {self.rinse.hold_s / 60:.0f} minutes" if self.rinse.hold_s else ""
        return f"Forecast to pass at {self.moment(middle)}{between}{hold}."

    def row(self, reading: RinseReading) -> RinseRow:
        return RinseRow(
            self.moment(reading.elapsed_s),
            self.text(reading.value),
            units.other_system(reading.value, self.rinse.kind, self.system),
            reading.is_by_hand,
        )

    def other_unit(self) -> str:
        kind = {"resistivity": "conductivity", "conductivity": "resistivity"}.get(self.rinse.kind)
        if kind:
            return units.unit_text(kind, self.system)
        other = units.unit_text(self.rinse.kind, "metric" if self.system == "us" else "us")
        return other if other != self.unit else ""
