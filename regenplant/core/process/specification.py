"""What a batch must show, and what was read: limits, specifications, readings, results. Frozen data only.

``acceptance.judge`` holds the one against the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, ClassVar

from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.process.wording import number, say, say_range

CONDUCTIVITY = "conductivity"
"""The measurement that is read again and again during a rinse; all others are single results of the laboratory."""


ROUNDING = 1e-9
"""Share of a bound that the arithmetic of units may cost: 1 MΩ·cm is 1 µS/cm, and their floats differ in the last digit. A figure on
its bound is inside."""


def reaches(value: Any, least: Any) -> Any:
    """Whether a figure is at least so much, but for the rounding of units. Also for columns."""
    return value >= least - ROUNDING * abs(least)


def keeps_within(value: Any, most: Any) -> Any:
    """Whether a figure is at most so much, but for the rounding of units. Also for columns."""
    return value <= most + ROUNDING * abs(most)


class LimitBasis(StrEnum):
    """What a conductivity limit refers to."""

    AT_25_CELSIUS = "at_25_c"
    UNCOMPENSATED_TABLE = "uncompensated_table"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit. ``measurement`` is a key ("conductivity", "hardness", "silica", "ph" ...), ``kind`` a quantity kind.

    ``table`` serves only ``UNCOMPENSATED_TABLE``: rows of (temperature [K], highest conductivity [S/m]).
    """

    measurement: str
    name: str
    kind: str
    low: float | None = None
    high: float | None = None
    basis: LimitBasis = LimitBasis.AT_25_CELSIUS
    table: tuple[tuple[float, ...], ...] = ()
    source: str = ""
    """Key of ``core.engineering.sources.SOURCES``."""
    method: str = ""
    """How it is measured, in words; "" leaves it to the laboratory."""
    each_tank: bool = False
    """Measured on every filled tank instead of once for the batch."""
    readings_in_row: int = 1
    """How many results one after the other must lie inside; the rinse counts its own (``Specification.consecutive_readings``)."""
    hold_time_s: float = 0.0
    """Least time from the first to the last of those results."""
    minimum_rinse_bv: float = 0.0
    """Rinse this limit asks for where it is more than the specification's own."""
    grade: str = ""
    """Name of the published grade it was copied from."""

    ADDED_LATER: ClassVar[tuple[str, ...]] = (
        "method", "each_tank", "readings_in_row", "hold_time_s", "minimum_rinse_bv", "grade",
    )  # fmt: skip
    """Not in the canonical text while they say nothing, so that versions written before them keep their text (``canonical``)."""

    def __post_init__(self) -> None:
        if self.readings_in_row < 1 or self.hold_time_s < 0.0 or self.minimum_rinse_bv < 0.0:
            raise OutOfRange(
                f"The limit for {self.name} asks for {self.readings_in_row} results over "
                f"{number(self.hold_time_s, decimals=0, digits=6)} s after {number(self.minimum_rinse_bv, decimals=2, digits=4)} BV. "
                "At least 1 result, and nothing below zero.",
                code="limit_conditions",
            )
        if self.hold_time_s > 0.0 and self.readings_in_row < 2:
            raise OutOfRange(
                f"The limit for {self.name} has a hold time of {say(self.hold_time_s, 'duration')} and asks for one result. "
                "A time is held between two results: ask for at least 2 in a row, or for no hold time.",
                code="hold_on_one_result",
            )
        if self.measurement == CONDUCTIVITY and (
            self.each_tank or self.readings_in_row > 1 or self.hold_time_s
        ):
            raise OutOfRange(
                f"The limit for {self.name} is judged in the rinse, for the batch: its hold time and its readings in a row stand "
                "under Rinse. For each tank choose the conductivity of the filled tank.",
                code="rinse_limit_conditions",
            )
        if self.low is None and self.high is None and not self.table:
            raise OutOfRange(f"The limit for {self.name} has neither a low nor a high.", code="empty_limit")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise OutOfRange(
                f"The limit for {self.name} runs from {say(self.low, self.kind)} down to {say(self.high, self.kind)}.",
                code="limit_upside_down",
            )
        if (self.basis is LimitBasis.UNCOMPENSATED_TABLE) != bool(self.table):
            raise OutOfRange(
                f"The limit for {self.name}: a table belongs to uncompensated readings.", code="limit_table"
            )

    def allowed(self) -> str:
        """The limit in words: "at most 10 µS/cm"."""
        if self.table:
            return "the table for uncompensated readings"
        if self.low is None:
            return f"at most {say(self.high or 0.0, self.kind)}"
        if self.high is None:
            return f"at least {say(self.low, self.kind)}"
        return say_range(self.low, self.high, self.kind)

    def holds(self, value: float) -> bool:
        """Whether ``value``, in SI of the limit's kind, lies inside; on the limit is inside. A table says nothing here."""
        return (self.low is None or bool(reaches(value, self.low))) and (
            self.high is None or bool(keeps_within(value, self.high))
        )


@dataclass(frozen=True, slots=True)
class Specification:
    """What a batch must show before it passes; the content of one immutable version."""

    code: str
    name: str
    family: ResinFamily
    limits: tuple[Limit, ...]
    minimum_rinse_bv: float
    hold_time_s: float = 900.0
    consecutive_readings: int = 3
    longest_gap_s: float = 600.0
    """Readings further apart than this do not prove that the limit was held between them."""
    maximum_rinse_bv: float | None = None
    """Rinse volume at which a batch that has not reached its endpoint has failed; None leaves it to a person."""
    compensation: Compensation = Compensation.NEUTRAL
    """What the trace in this water is: how an uncompensated reading is brought to 25 °C."""
    meter_uncertainty_frac: float = 0.01
    jump_factor: float = 10.0
    """How far apart two readings of one cell may lie within a minute, besides what the water between them explains; a reading
    further off is a look at the instrument and no result. Common practice, from memory."""
    notes: str = ""

    ADDED_LATER: ClassVar[tuple[str, ...]] = ("jump_factor",)
    """As with ``Limit``."""

    def __post_init__(self) -> None:
        if not self.limits:
            raise OutOfRange(f"Specification {self.code} has no limit.", code="no_limits")
        if self.consecutive_readings < 2 or self.hold_time_s <= 0.0:
            raise OutOfRange(
                f"Specification {self.code} would pass on one reading: it asks for {self.consecutive_readings} in a row "
                f"over {number(self.hold_time_s, decimals=0, digits=6)} s. At least 2 readings and a hold time are needed.",
                code="single_reading",
            )
        if self.minimum_rinse_bv <= 0.0:
            raise OutOfRange(
                f"Specification {self.code} has no minimum rinse volume.", code="no_minimum_rinse"
            )
        if self.longest_gap_s <= 0.0:
            raise OutOfRange(
                f"Specification {self.code}: the longest gap between readings is above zero.", code="no_gap"
            )
        if self.jump_factor <= 1.0:
            raise OutOfRange(
                f"Specification {self.code}: readings of one cell may lie {number(self.jump_factor, decimals=2, digits=4)} times apart; "
                "that is above 1.",
                code="jump_factor",
            )
        if self.compensation not in conductivity.STREAM_KINDS:
            raise OutOfRange(
                f"Specification {self.code}: say whether the trace is neutral, acid or caustic.",
                code="not_a_stream_kind",
            )
        if len({limit.measurement for limit in self.limits}) != len(self.limits):
            raise OutOfRange(f"Specification {self.code} names a measurement twice.", code="limit_twice")

    @property
    def least_rinse_bv(self) -> float:
        """The most that the specification and its rinse limit ask for [-]."""
        limit = self.limit(CONDUCTIVITY)
        return max(self.minimum_rinse_bv, limit.minimum_rinse_bv if limit else 0.0)

    @property
    def is_measured_on_each_tank(self) -> bool:
        """Whether some limit is measured on every filled tank."""
        return any(limit.each_tank for limit in self.limits)

    def limit(self, measurement: str) -> Limit | None:
        """The limit for a measurement, None if there is none."""
        return next((limit for limit in self.limits if limit.measurement == measurement), None)


@dataclass(frozen=True, slots=True)
class RinseReading:
    """One conductivity reading of a rinse, as it was read."""

    at_s: float
    """Time of the reading, seconds from any one zero (the start of the rinse, or the epoch)."""
    volume_bv: float
    """Rinse water passed until then, bed volumes."""
    conductivity_siemens_per_m: float
    temperature_kelvin: float
    compensation: Compensation
    instrument_code: str
    instrument_is_valid: bool
    """In calibration at the time of reading."""

    @property
    def is_compensated(self) -> bool:
        """Whether the meter brought it to 25 °C itself, by whatever way."""
        return self.compensation is not Compensation.NONE

    def at_25_celsius(self, stream: Compensation) -> float:
        """Conductivity at 25 °C [S/m]: as the meter gave it, or brought there by the kind of water.

        Raises: OutOfRange for a reading that is not above zero or a temperature outside liquid water.
        """
        if self.is_compensated:
            return self.conductivity_siemens_per_m
        return conductivity.at_25_celsius(
            self.conductivity_siemens_per_m, self.temperature_kelvin, stream
        ).value


@dataclass(frozen=True, slots=True)
class LabResult:
    """One result of the laboratory, in SI."""

    measurement: str
    value: float
    at_s: float
    instrument_code: str
    instrument_is_valid: bool
    tank: str = ""
    """Serial of the tank it was measured on; "" for the sample of the batch."""
    temperature_kelvin: float | None = None
    """Of the sample, where it was written down [K]."""
