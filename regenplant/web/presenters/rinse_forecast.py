"""When a rinse is expected to end, and what may be wrong with it, in sentences: suggestions and chances, never verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from regenplant import units
from regenplant.batches.log_models import ForecastMade
from regenplant.batches.models import Batch
from regenplant.drawing.rinse import Expected, ExpectedEnd
from regenplant.web.presenters.words import clock, counted, sentence_case

NEVER_WORDS = (
    (0.02, "almost certainly reached"),
    (0.10, "very likely reached"),
    (0.30, "likely reached"),
    (0.60, "open whether it is reached"),
    (0.85, "probably never reached"),
)
"""A chance of "never" below the figure, in words; above all of them it is very probably never reached. Our wording."""
NOT_DRAWN_FROM = NEVER_WORDS[-1][0]
"""From so high a chance of "never" on no end is drawn: a chart that names a time reads as if it came."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One suggestion: what may be behind it, what was seen, the test that decides, what helps, and a caution."""

    code: str
    name: str
    because: tuple[str, ...]
    next_test: str
    what_helps: str
    caution: str


@dataclass(frozen=True, slots=True)
class ForecastSeen:
    """A forecast as it was made at the newest reading. Volumes are bed volumes since the rinse began; None where nothing can be said."""

    at: datetime
    rinsed_bv: float
    early_bv: float | None
    middle_bv: float | None
    late_bv: float | None
    never_frac: float | None
    has_enough: bool
    readings: int
    model: str
    why_not: str = ""
    """Why nothing can be said yet, as a sentence; "" where something can."""
    notes: tuple[str, ...] = ()
    """What was assumed or left out."""
    causes: tuple[Cause, ...] = ()
    is_below_limit: bool = False

    @property
    def is_doubtful(self) -> bool:
        """More likely than not the end point is never reached."""
        return self.never_frac is not None and self.never_frac >= 0.5


def seen_in(plain: Mapping[str, Any]) -> ForecastSeen | None:
    """The forecast that a standing keeps, as data; None where none was made or no reading was taken."""
    if not plain or plain.get("at_s") is None or plain.get("rinsed_bv") is None:
        return None
    return ForecastSeen(
        at=datetime.fromtimestamp(plain["at_s"], tz=UTC),
        rinsed_bv=plain["rinsed_bv"],
        early_bv=plain["p05_bv"],
        middle_bv=plain["p50_bv"],
        late_bv=plain["p95_bv"],
        never_frac=plain["p_never"],
        has_enough=plain["enough_data"],
        readings=plain["taken"],
        model=plain["model"],
        why_not=plain["reason"],
        notes=tuple(plain["notes"]),
        causes=tuple(
            Cause(
                one["code"],
                one["name"],
                tuple(one["because"]),
                one["next_test"],
                one["what_helps"],
                one["caution"],
            )
            for one in plain["causes"]
        ),
        is_below_limit=plain["is_below_limit"],
    )


def seen_of(made: ForecastMade) -> ForecastSeen:
    """A forecast out of the history."""
    return ForecastSeen(
        at=made.at,
        rinsed_bv=made.rinsed_bv,
        early_bv=made.p05_bv,
        middle_bv=made.p50_bv,
        late_bv=made.p95_bv,
        never_frac=made.p_never,
        has_enough=made.enough_data,
        readings=0,
        model=made.model,
    )


@dataclass(frozen=True, slots=True)
class ForecastPanel:
    """What the page says about the end: one sentence, the chance that it never comes, and what that rests on."""

    sentence: str
    never: str
    rests_on: tuple[tuple[str, str], ...]
    is_doubtful: bool
    causes: tuple[Cause, ...] = ()


def forecast_panel(
    batch: Batch, seen: ForecastSeen | None, flow_m3_per_s: float | None, system: str
) -> ForecastPanel:
    """The panel for one rinse that runs."""
    if seen is None:
        return ForecastPanel(
            "No reading counts yet, so there is nothing to forecast from. The first one starts it.",
            "",
            (),
            False,
        )
    return ForecastPanel(
        sentence=_sentence(batch, seen, flow_m3_per_s, system),
        never=_never(seen),
        rests_on=_rests_on(batch, seen, flow_m3_per_s, system),
        is_doubtful=seen.is_doubtful,
        causes=seen.causes,
    )


def _sentence(batch: Batch, seen: ForecastSeen, flow_m3_per_s: float | None, system: str) -> str:
    if seen.is_below_limit:
        return "The newest readings are inside the limit. The end point counts once the limit is held as the specification says."
    if not seen.has_enough or seen.early_bv is None or seen.middle_bv is None or seen.late_bv is None:
        return f"Not enough readings to say yet. {seen.why_not or _few(seen)}"
    low, middle = _number(seen.early_bv, system), _number(seen.middle_bv, system)
    between = f"{low} to {_bv(seen.late_bv, system)}"
    left_bv = max(0.0, seen.middle_bv - seen.rinsed_bv)
    more = f"{units.format_quantity(left_bv * batch.resin_volume_m3, 'liquid_volume', system)} more"
    when = _when(batch, seen, flow_m3_per_s)
    after = f"about {when[0]} ({when[1]} to {when[2]}), {more}" if when else more
    said = f"End point expected after {between}, most likely {middle}: {after}."
    return f"If it is reached at all: {said[0].lower()}{said[1:]}" if seen.is_doubtful else said


def _few(seen: ForecastSeen) -> str:
    return f"{sentence_case(counted(seen.readings, 'reading'))} so far; write on."


def _when(batch: Batch, seen: ForecastSeen, flow_m3_per_s: float | None) -> tuple[str, str, str] | None:
    """Clock times at 50, 5 and 95 %, at the flow of now; None without a flow."""
    expected = expected_end(batch, seen, flow_m3_per_s, seen.at)
    if expected is None or not flow_m3_per_s:
        return None
    moments = [
        clock(seen.at + timedelta(seconds=place.elapsed_s))
        for place in (expected.middle, expected.early, expected.late)
    ]
    return moments[0], moments[1], moments[2]


def expected_end(
    batch: Batch, seen: ForecastSeen | None, flow_m3_per_s: float | None, zero: datetime
) -> ExpectedEnd | None:
    """When the end point is expected, if it is reached: seconds since ``zero`` at the flow of now, and bed volumes. None where
    nothing can be said, or the limit is met already."""
    if seen is None or not seen.has_enough or seen.is_below_limit:
        return None
    if seen.early_bv is None or seen.middle_bv is None or seen.late_bv is None:
        return None
    since = (seen.at - zero).total_seconds()

    def place(bed_volumes: float) -> Expected:
        left_m3 = max(0.0, bed_volumes - seen.rinsed_bv) * batch.resin_volume_m3
        return Expected(since + (left_m3 / flow_m3_per_s if flow_m3_per_s else 0.0), bed_volumes)

    return ExpectedEnd(place(seen.early_bv), place(seen.middle_bv), place(seen.late_bv), seen.is_doubtful)


def drawn_end(
    batch: Batch, seen: ForecastSeen | None, flow_m3_per_s: float | None, zero: datetime
) -> ExpectedEnd | None:
    """``expected_end`` as far as a chart shows it: none where it is very probably never reached."""
    if seen is not None and seen.never_frac is not None and seen.never_frac >= NOT_DRAWN_FROM:
        return None
    return expected_end(batch, seen, flow_m3_per_s, zero)


def _never(seen: ForecastSeen) -> str:
    """The chance that the limit is never reached, in words and as a figure."""
    if seen.never_frac is None:
        return ""
    chance = seen.never_frac
    words = next((words for below, words in NEVER_WORDS if chance < below), "very probably never reached")
    return f"Chance that it is never reached: {percent(chance)}, {words}."


def percent(fraction: float) -> str:
    """ "3 %", "under 1 %", "over 99 %"."""
    if fraction < 0.005:
        return f"under 1{units.NO_BREAK_SPACE}%"
    if fraction > 0.995:
        return f"over 99{units.NO_BREAK_SPACE}%"
    return f"{fraction * 100:.0f}{units.NO_BREAK_SPACE}%"


def _rests_on(
    batch: Batch, seen: ForecastSeen, flow_m3_per_s: float | None, system: str
) -> tuple[tuple[str, str], ...]:
    """What the forecast rests on, as terms and values."""
    rows = [
        ("Readings", f"{counted(seen.readings, 'reading')}, the newest at {clock(seen.at)} after {_bv(seen.rinsed_bv, system)}"),
        ("Pool", "up to ten earlier rinses of the same resin, grade and class, those of the same lot first; without any, the usual course of such a bed"),
        ("Bed", units.twin(batch.resin_volume_m3, "resin_volume", "us" if system == "us" else "metric")),
        ("Flow", units.twin(flow_m3_per_s, "flow", "us" if system == "us" else "metric") if flow_m3_per_s else "not known, so no time is given"),
        (
            "How",
            "the water in front of the tail is displaced, the tail falls to a floor; both are fitted to these readings at 25 °C and "
            "weighed against the pool, the noise of the readings included",
        ),
        ("What it means", "of ten such rinses nine end between the first and the last figure, if nothing new goes wrong"),
        ("What it is not", "no part of the verdict: only readings that hold the limit pass a rinse"),
        *(("Assumed", note) for note in seen.notes),
        ("Version", seen.model),
    ]  # fmt: skip
    return tuple((term, value) for term, value in rows if value)


def _bv(bed_volumes: float, system: str) -> str:
    return units.format_quantity(bed_volumes, "bed_volumes", system)


def _number(bed_volumes: float, system: str) -> str:
    return units.format_quantity(bed_volumes, "bed_volumes", system, with_unit=False)


# --- history ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class MadeRow:
    """One forecast that was made: at which moment, after how much water, what it said."""

    at: datetime
    rinsed: str
    early: str
    middle: str
    late: str
    never: str


def made_rows(made: Sequence[ForecastSeen], system: str) -> tuple[MadeRow, ...]:
    """The forecasts made so far, newest first."""
    return tuple(_made(seen, system) for seen in reversed(made))


def _made(seen: ForecastSeen, system: str) -> MadeRow:
    early, middle, late = (
        "–" if bv is None else _number(bv, system) for bv in (seen.early_bv, seen.middle_bv, seen.late_bv)
    )
    never = "–" if seen.never_frac is None else percent(seen.never_frac)
    return MadeRow(seen.at, _number(seen.rinsed_bv, system), early, middle, late, never)
