"""What meters send and what they are answered, as types: the contract that ``/api/openapi.json`` shows."""

from __future__ import annotations

import math
import re
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any

from ninja import Schema
from pydantic import AwareDatetime, BeforeValidator, ConfigDict, Field

MOST_READINGS = 10_000
"""Readings in one call or message."""
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,9})?(?:[Zz]|[+-][0-9]{2}:?[0-9]{2})"
)
FIRST_YEAR = 2000
"""A clock that never was set says 1970; nothing was measured here before this year."""


def _moment(value: Any) -> Any:
    """Only text: a bare number could be seconds or milliseconds, of any epoch."""
    if not isinstance(value, str) or not _MOMENT.fullmatch(value):
        raise ValueError("write the time as ISO 8601 with its offset, such as 2026-03-11T14:05:30+01:00")
    if int(value[:4]) < FIRST_YEAR:
        raise ValueError(f"the time lies before {FIRST_YEAR}; set the clock of the meter")
    return value


def _value(value: Any) -> str:
    """The number as it was sent: text stays as it is, a JSON number keeps its digits."""
    if isinstance(value, bool) or not isinstance(value, (str, int, float, Decimal)):
        raise ValueError("write the value as a number or as text, such as 0.42")
    text = str(value).strip()
    if len(text) > 40 or not _NUMBER.fullmatch(text) or not math.isfinite(float(text)):
        raise ValueError("the value is no number; a meter that has none to show sends no reading")
    return text


def _no_truth(value: Any) -> Any:
    if isinstance(value, (bool, str)):
        raise ValueError("write a number")
    return value


Finite = Annotated[float, BeforeValidator(_no_truth), Field(allow_inf_nan=False)]


class ReadingIn(Schema):
    """One reading of the meter."""

    model_config = ConfigDict(extra="forbid")

    at: Annotated[
        AwareDatetime,
        BeforeValidator(_moment),
        Field(
            description="When the meter showed it: ISO 8601 with the offset from UTC.",
            examples=["2026-03-11T14:05:30+01:00"],
        ),
    ]
    value: Annotated[
        str,
        BeforeValidator(_value),
        Field(
            description="The number the meter showed, as a number or as text; its digits are kept.",
            examples=["0.420"],
            json_schema_extra={"type": ["string", "number"]},
        ),
    ]
    unit: Annotated[
        str,
        Field(
            min_length=1,
            max_length=20,
            description="Its unit: of conductivity or of resistivity.",
            examples=["uS/cm", "Mohm cm"],
        ),
    ]
    temperature_c: Annotated[
        Finite, Field(ge=-100, le=500, description="Temperature of the water at the cell [°C].")
    ]
    totalizer_l: Annotated[
        Finite | None,
        Field(
            ge=0,
            le=1e12,
            description="Rinse water passed since this rinse step began [L]; left out: by time and flow.",
        ),
    ] = None


class ReadingsIn(Schema):
    """One call, or one MQTT message: readings of one meter."""

    model_config = ConfigDict(extra="forbid")

    readings: Annotated[list[ReadingIn], Field(min_length=1, max_length=MOST_READINGS)]
    message_id: Annotated[
        str | None,
        Field(
            max_length=64,
            pattern=r"^[A-Za-z0-9._:\-]+$",
            description="The sender’s own name for this call; answered back. What counts a reading once is its time, not this.",
        ),
    ] = None


class NotKeptOut(Schema):
    """Readings that were understood and not kept, for one reason."""

    code: str = Field(description="For programs.", examples=["no_rinse"])
    why: str = Field(description="For people.")
    count: int = Field(ge=1)
    first_at: datetime
    last_at: datetime


class TakenOut(Schema):
    """What became of a call. Every reading of it is counted in exactly one of the three."""

    batch: str | None = Field(description="The batch whose rinse they belong to; null where none was kept.")
    kept: int = Field(ge=0, description="New readings, safe in the record.")
    known_already: int = Field(
        ge=0,
        description="Of the same meter at the same time as one that is kept: counted once, also where it shows another figure.",
    )
    not_kept: list[NotKeptOut] = Field(
        description="The rest, by reason, each with code, why, count, first_at and last_at."
    )
    message_id: str | None = Field(None, description="As it was sent.")


class FlawOut(Schema):
    """One thing that cannot be read."""

    where: str = Field(examples=["readings.3.value"])
    what: str


class ProblemOut(Schema):
    """A refusal."""

    code: str = Field(description="For programs.")
    message: str = Field(description="For people: what is, what is allowed, what to do.")
    flaws: list[FlawOut] = []


class ErrorOut(Schema):
    """Nothing was written; why."""

    error: ProblemOut


class NewestOut(Schema):
    """The newest reading that is believable."""

    minutes: float = Field(description="Since the rinse began [min].")
    rinsed_bv: float = Field(description="Bed volumes passed until then [-].")
    conductivity_25_siemens_per_m: float = Field(description="Brought to 25 °C by the kind of water [S/m].")
    conductivity_siemens_per_m: float = Field(description="As the meter showed it [S/m].")
    temperature_kelvin: float = Field(description="Of the water [K].")


class EndPointOut(Schema):
    """How far the rinse is from its end point, by readings that count."""

    is_met: bool
    reasons: list[str] = Field(description="What is still missing, as sentences; empty when it is met.")
    held_s: float = Field(description="For how long the limit is held in this run [s].")
    hold_needed_s: float
    held_readings: int
    readings_needed: int
    rinsed_bv: float
    minimum_rinse_bv: float
    instrument_checks: list[str] = Field(
        description="Readings that point to their instrument instead of the water: no results, and why."
    )
    not_counted: list[str] = Field(description="Readings that inform and prove nothing, and why.")


class ForecastOut(Schema):
    """What is expected. Null figures: the readings cannot say."""

    minutes: float | None = Field(description="Since the rinse began, of the newest reading [min].")
    rinsed_bv: float | None
    p05_bv: float | None = Field(description="Bed volumes at the end point, 5 % [-].")
    p50_bv: float | None
    p95_bv: float | None
    p_never: float | None = Field(ge=0, le=1, description="How likely the end point is never reached [-].")
    enough_data: bool


class RinseOut(Schema):
    """How a rinse stands: derived from its readings, to look at and not to decide by."""

    batch: str
    vessel: str
    state: str
    is_rinsing: bool
    readings: int = Field(ge=0, description="Readings that stand.")
    newest_at: datetime | None
    newest: NewestOut | None
    end_point: EndPointOut
    forecast: ForecastOut | None
