"""The rinse-down page in words and drawings: head, curve, end point, verdict. Its readings: rinse_readings.py."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from operator import attrgetter

from django.utils import timezone

from regenplant import units
from regenplant.batches.models import RinseReading
from regenplant.batches.rinse import EndPoint, informs_only
from regenplant.batches.selectors.rinse import KELVIN, MINUTES, PASSED, Ghost, RinsePage
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.errors import OutOfRange
from regenplant.core.process.lifecycle import BatchState, label
from regenplant.core.process.specification import Limit
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.drawing.rinse import Across, Counts, RinseDown
from regenplant.drawing.rinse import RinseReading as DrawnReading
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar
from regenplant.web.presenters.bed import lower_first
from regenplant.web.presenters.rinse_forecast import ForecastSeen, drawn_end
from regenplant.web.presenters.words import (
    both,
    clock,
    counted,
    joined,
    sentence_case,
)


def kind_of(page: RinsePage) -> str:
    """The quantity the page speaks in: very clean water as resistivity, else conductivity."""
    return "resistivity" if page.is_resistivity else "conductivity"


def in_kind(conductivity_siemens_per_m: float, kind: str) -> float:
    """A conductivity as the quantity the page speaks in."""
    return 1.0 / conductivity_siemens_per_m if kind == "resistivity" else conductivity_siemens_per_m


def limit_in_kind(limit: Limit | None, kind: str) -> float | None:
    """The conductivity limit as the quantity the page speaks in; None for none, or for a table by temperature."""
    if limit is None or limit.high is None:
        return None
    return in_kind(limit.high, kind)


def basis_of(page: RinsePage) -> str:
    return "as read" if page.limit is not None and page.limit.table else "at 25 °C"


# --- the head -------------------------------------------------------------------------------------------------------
def title_sentence(page: RinsePage, system: str) -> str:
    """What rinses where, since when, and whether its end point is met."""
    return f"{_what_rinses(page, system)} {end_sentence(page)}"


def _what_rinses(page: RinsePage, system: str) -> str:
    batch = page.batch
    bed = f"{ResinFamily(batch.resin_type.family).label}, {both(batch.resin_volume_m3, 'resin_volume', system)} in {batch.vessel.code}"
    if page.rinse_started_at is None:
        name = lower_first(page.step.name) if page.step else "rinse"
        return f"{bed}. The {name} has not started."
    if page.is_rinsing and page.flow_m3_per_s is not None:
        flow = both(page.flow_m3_per_s, "flow", system)
        name = f", {lower_first(page.step.name)}" if page.step and len(page.steps) > 1 else ""
        return f"{bed}{name}, rinsing at {flow} since {clock(page.rinse_started_at)}."
    return f"{bed}, rinsed from {clock(page.rinse_started_at)}. The batch is {label(BatchState(batch.state))} now."


def is_read(page: RinsePage) -> bool:
    """Whether a conductivity says anything about this rinse: carbon takes no salt, so there it does not."""
    return page.limit is not None or not ResinFamily(page.batch.resin_type.family).is_exchanged


def rinse_words(page: RinsePage) -> str:
    """The rinses whose readings are judged, for the middle of a sentence: "fast rinse and recirculating rinse"."""
    return joined(lower_first(step.name) for step in page.steps) or "rinse"


def end_sentence(page: RinsePage) -> str:
    """Whether the end point is met, in one sentence."""
    if page.end_point.is_met:
        return "The end point is met."
    return "Not at its end point yet." if page.is_rinsing else "The end point is not met."


def newest(page: RinsePage) -> RinseReading | None:
    """The newest reading that stands."""
    return next((row for row in page.readings if not is_replaced(row)), None)


def is_replaced(row: RinseReading) -> bool:
    return hasattr(row, "replaced_by")


def believable(page: RinsePage) -> list[RinseReading]:
    """The readings that stand and do not point to their instrument, newest first: what a curve and a head may show."""
    return [row for row in page.readings if not is_replaced(row) and not row.instrument_check]


@dataclass(frozen=True, slots=True)
class Head:
    """The large value on top: in the quantity the page speaks in, and what it is."""

    value: float
    basis: str


def head_of(page: RinsePage) -> Head | None:
    """The newest value that can be believed: what a person wrote, or what a meter sent since; None before the first."""
    row = next(iter(believable(page)), None)
    written = Head(shown_value(page, row), head_basis(page, row)) if row is not None else None
    if not page.logs or not page.points or page.rinse_started_at is None:
        return written
    minutes, value = page.points[-1]
    at = page.rinse_started_at + timedelta(minutes=minutes)
    if row is not None and at <= row.occurred_at + timedelta(milliseconds=1):
        return written
    return Head(value, f"{basis_of(page)}, by meter at {clock(at)}")


def head_basis(page: RinsePage, row: RinseReading) -> str:
    """What the large value is: "at 25 °C", and what to know about it."""
    words = [basis_of(page)]
    if informs_only(row, page.limit):
        words.append("informs only")
    if row != newest(page):
        words.append(f"read {clock(row.occurred_at)}; a newer reading points to its cell")
    return ", ".join(words)


def shown_value(page: RinsePage, row: RinseReading) -> float:
    """The value of a reading as the limit looks at it, in the quantity the page speaks in."""
    is_raw = page.limit is not None and bool(page.limit.table)
    return in_kind(
        row.conductivity_siemens_per_m if is_raw else row.conductivity_25_siemens_per_m, kind_of(page)
    )


# --- the drawings ---------------------------------------------------------------------------------------------------
def rinse_down(
    page: RinsePage, now: datetime, across: Across = Across.TIME, forecast: ForecastSeen | None = None
) -> RinseDown:
    """The curve of the readings that stand, with the limit, the hold window, what is expected and earlier rinses of the pool."""
    kind, start = kind_of(page), page.rinse_started_at
    held_from = page.end_point.held_from_s
    flow = page.flow_m3_per_s
    return RinseDown(
        title=f"Rinse-down of {page.batch.number}",
        kind=kind,
        readings=_drawn(page, start),
        limit=limit_in_kind(page.limit, kind),
        is_at_least=kind == "resistivity",
        hold_s=page.end_point.hold_needed_s,
        held_from_s=held_from - start.timestamp() if held_from is not None and start is not None else None,
        started_at=timezone.localtime(start) if start is not None else None,
        now_s=(now - start).total_seconds() if page.is_rinsing and start is not None else None,
        earlier=tuple(_earlier(ghost, across) for ghost in page.ghosts),
        expected=drawn_end(page.batch, forecast, flow, start) if start is not None else None,
        across=across,
        bv_per_s=flow / page.batch.resin_volume_m3 if flow else 0.0,
        basis=basis_of(page),
    )


def _earlier(ghost: Ghost, across: Across) -> tuple[tuple[float, float], ...]:
    if across is Across.BED_VOLUMES:
        return ghost.volumes
    return tuple((minutes * 60.0, value) for minutes, value in ghost.points)


def _drawn(page: RinsePage, start: datetime | None) -> tuple[DrawnReading, ...]:
    """Oldest first, each with what it is worth; one that points to its instrument has a mark and is in no curve."""
    if start is None:
        return ()
    by_hand = [
        DrawnReading(
            (row.occurred_at - start).total_seconds(),
            shown_value(page, row),
            rinsed_bv=row.rinsed_bv,
            counts=_counts(row, page.limit),
            limit=_limit_at(page.limit, row.temperature_kelvin),
        )
        for row in reversed(page.readings)
        if not is_replaced(row)
    ]
    if not page.logs or page.standing is None:
        return tuple(by_hand)
    moments = {round(reading.elapsed_s, 3) for reading in by_hand}
    logged = [
        DrawnReading(
            60.0 * row[MINUTES],
            value,
            is_by_hand=False,
            rinsed_bv=row[PASSED],
            limit=_limit_at(page.limit, row[KELVIN]),
        )
        for row, (_, value) in zip(page.standing.curve, page.points, strict=True)
        if round(60.0 * row[MINUTES], 3) not in moments
    ]
    return tuple(sorted((*by_hand, *logged), key=attrgetter("elapsed_s")))


def _counts(row: RinseReading, limit: Limit | None) -> Counts:
    if row.instrument_check:
        return Counts.CHECK
    return Counts.INFORMS if informs_only(row, limit) else Counts.YES


def _limit_at(limit: Limit | None, temperature_kelvin: float) -> float | None:
    """The limit of a table at this temperature [S/m]; None where no table limits it, or the table does not reach there."""
    if limit is None or not limit.table:
        return None
    try:
        return table_limit_siemens_per_m(tuple((row[0], row[1]) for row in limit.table), temperature_kelvin)
    except OutOfRange:
        return None


def end_point_bars(page: RinsePage, system: str) -> tuple[LimitBar, ...]:
    """The three that must be met together, none alone: value, held, rinsed."""
    end, bars = page.end_point, []
    if page.limit is not None:
        bars.append(value_bar(page.limit, end.latest_siemens_per_m, kind_of(page), system))
        bars.append(
            limit_bar(
                caption=held_caption(page),
                value=end.held_s,
                kind="duration",
                low=end.hold_needed_s,
                expects="reach",
                system=system,
            )
        )
    bars.append(
        limit_bar(
            caption=rinsed_caption(end, system),
            value=end.rinsed_bv,
            kind="bed_volumes",
            low=end.minimum_rinse_bv,
            expects="reach",
            system=system,
        )
    )
    return tuple(bars)


def rinsed_caption(end: EndPoint, system: str) -> str:
    """ "Rinsed", or "Rinsed, of which 18.0 BV recirculated": water that a pump drives round washes nothing out of the loop."""
    if end.recirculated_bv <= 0.0:
        return "Rinsed"
    return (
        f"Rinsed, of which {units.format_quantity(end.recirculated_bv, 'bed_volumes', system)} recirculated"
    )


FAR_BELOW, FAR_ABOVE, JUST_ABOVE = 0.1, 100.0, 2.0
"""How far the scale of an "at most" bar reaches from the limit: a rinse comes from far above it."""


def value_bar(
    limit: Limit,
    seen_siemens_per_m: float | None,
    kind: str,
    system: str,
    *,
    caption: str = "",
    is_judged: bool = False,
) -> LimitBar:
    """A conductivity against its limit: on its way there, or (``is_judged``) as the verdict sees it."""
    bound = limit_in_kind(limit, kind)
    value = None if seen_siemens_per_m is None else in_kind(seen_siemens_per_m, kind)
    is_resistivity = kind == "resistivity"
    scale: dict[str, float] = {}
    if bound is not None and not is_resistivity:
        scale["scale_low"] = min(FAR_BELOW * bound, 0.8 * value if value is not None else bound)
        scale["scale_high"] = max((JUST_ABOVE if is_judged else FAR_ABOVE) * bound, 1.3 * (value or 0.0))
    return limit_bar(
        caption=caption or ("Resistivity" if is_resistivity else "Conductivity"),
        value=value,
        kind=kind,
        low=bound if is_resistivity else None,
        high=None if is_resistivity else bound,
        expects="keep" if is_judged else "reach",
        system=system,
        scale_low=scale.get("scale_low"),
        scale_high=scale.get("scale_high"),
    )


def held_caption(page: RinsePage) -> str:
    """ "Held, 2 of 3 readings", or "Held, 11 readings" once there are enough."""
    end = page.end_point
    if end.held_readings > end.readings_needed:
        return f"Held, {end.held_readings} readings"
    return f"Held, {end.held_readings} of {end.readings_needed} readings"


# --- the verdict ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Word:
    """A state with its word and one sentence."""

    state: str
    word: str
    sentence: str


def verdict_word(page: RinsePage) -> Word:
    """Where the batch stands between rinse and verdict."""
    state = BatchState(page.batch.state)
    if state is BatchState.RINSING:
        if page.end_point.is_met:
            return Word(
                "rinsing",
                "Rinsing: end point met",
                f"End the {lower_first(page.step.name) if page.step else 'rinse'} on the batch page and go on to the sample.",
            )
        return Word("rinsing", "Rinsing: no verdict yet", " ".join(page.end_point.reasons))
    if state is BatchState.AWAITING_QC:
        return Word("awaiting_qc", "Awaiting QC", "Measure the sample and judge the batch.")
    return Word(state.value, sentence_case(label(state)), "")


def who_sentence(page: RinsePage, may_judge: Sequence[str], may_release: Sequence[str]) -> str:
    """Who may judge and who may release, and why not others."""
    parts = []
    if page.took_readings:
        tail = {1: "another person must", 2: "neither can"}.get(len(page.took_readings), "none of them can")
        parts.append(f"{joined(page.took_readings)} took these readings, so {tail} release this batch.")
    parts.append(
        f"May judge: {joined(may_judge, 'or')}."
        if may_judge
        else "Nobody here may judge it: everybody with the right worked on this batch. Call in another person."
    )
    parts.append(
        f"May release: {joined(may_release, 'or')}."
        if may_release
        else "Nobody is left who may release it. Call in another person."
    )
    return " ".join(parts)


def ghost_sentence(page: RinsePage) -> str:
    """Which earlier batches the thin lines are, and which of them rinsed the same lot."""
    if not page.ghosts:
        return ""
    same = joined(ghost.batch_number for ghost in page.ghosts if ghost.is_same_lot)
    lot = f" Of the same lot: {same}." if same else ""
    return f"Thin lines: {counted(len(page.ghosts), 'earlier batch', 'earlier batches')} of the same pool, {joined(ghost.batch_number for ghost in page.ghosts)}.{lot}"
