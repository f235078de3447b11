"""The ways to decide in words: rinse on, rework, lower product, scrap; instruments then and now; forecasts and how they came out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from regenplant import units
from regenplant.batches.log_models import MeterLog
from regenplant.batches.models import Batch, Deviation, RinseReading
from regenplant.core.process.rework_options import ReworkOption
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid
from regenplant.quality.forecast_history import ForecastLine
from regenplant.quality.models import Downgrade, QcMeasurement, RetainedSample
from regenplant.quality.ways import LowerProduct, RinseOn
from regenplant.web.presenters.words import both, calibration_words, counted, day_and_clock, joined


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """One instrument: what it read, whether it counted then, how it stands now."""

    code: str
    what: str
    then: str
    is_then_valid: bool
    now: str
    is_now_valid: bool


def instrument_rows(
    readings: Sequence[RinseReading],
    measurements: Sequence[QcMeasurement],
    logs: Sequence[MeterLog],
    today: date,
) -> tuple[InstrumentRow, ...]:
    """Every instrument the decision rests on, in the order of its first use."""
    used: dict[Instrument, dict[str, list[bool]]] = {}
    for reading in readings:
        used.setdefault(reading.instrument, {}).setdefault("rinse", []).append(reading.instrument_was_valid)
    for log in logs:
        used.setdefault(log.instrument, {}).setdefault("logged", []).extend(
            [log.instrument_was_valid] * log.count
        )
    for row in measurements:
        if row.instrument is not None:
            used.setdefault(row.instrument, {}).setdefault(_inside(row.name), []).append(
                row.instrument_was_valid
            )
    return tuple(_instrument_row(instrument, what, today) for instrument, what in used.items())


def _inside(name: str) -> str:
    """A name inside a sentence: "silica", and "pH" as it is."""
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


def _instrument_row(instrument: Instrument, what: dict[str, list[bool]], today: date) -> InstrumentRow:
    flags = [flag for flags in what.values() for flag in flags]
    bad = flags.count(False)
    is_valid = is_instrument_valid(instrument, today)
    return InstrumentRow(
        code=instrument.code,
        what=f"{joined(list(what))}, {counted(len(flags), 'value')}",
        then="in calibration" if not bad else f"{bad} of {len(flags)} out of calibration",
        is_then_valid=not bad,
        now=calibration_words(instrument, is_valid),
        is_now_valid=is_valid,
    )


# --- forecasts --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class ForecastRow:
    """One quarter of the way in words."""

    share: str
    middle: str
    band: str
    never: str
    came_out: str


_CAME_OUT = {
    "inside": "inside the band",
    "sooner": "sooner than the band",
    "later": "later than the band",
    "never": "not met",
    "": "–",
}


def forecast_rows(lines: Sequence[ForecastLine], system: str) -> tuple[ForecastRow, ...]:
    """The table of forecasts."""
    return tuple(_forecast_row(line, system) for line in lines)


def came_out_words(end_point_bv: float | None, system: str) -> str:
    """Where the end point came, for whoever compares."""
    if end_point_bv is None:
        return "It was not met."
    return f"It came after {units.format_quantity(end_point_bv, 'bed_volumes', 'us' if system == 'us' else 'metric')}."


def _forecast_row(line: ForecastLine, system: str) -> ForecastRow:
    share, made = f"{line.share:.0%}".replace("%", " %"), line.forecast
    if made is None:
        return ForecastRow(share, "none was made yet", "", "", "–")
    if not made.enough_data or made.p50_bv is None or made.p05_bv is None or made.p95_bv is None:
        return ForecastRow(share, "too little data to say", "", "", "–")

    def volume(value: float) -> str:
        said = units.format_quantity(value, "bed_volumes", "us" if system == "us" else "metric")
        return said.removesuffix("BV").strip()

    never = f"{made.p_never:.0%}".replace("%", " %") if made.p_never is not None else "–"
    return ForecastRow(
        share,
        volume(made.p50_bv),
        f"{volume(made.p05_bv)} to {volume(made.p95_bv)}",
        never,
        _CAME_OUT[line.came_out],
    )


# --- the ways ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class WayRow:
    """One way: what it is called, when it makes sense, what it takes, and what to test before it."""

    key: str
    title: str
    why: str
    cost: str
    test: str
    is_open: bool


def rework_rows(options: Sequence[ReworkOption], system: str) -> tuple[WayRow, ...]:
    """The reworks that are offered, each with its estimate."""
    return tuple(
        WayRow(one.kind.value, one.kind.label, one.why, cost_words(one, system), one.next_test, True)
        for one in options
    )


def cost_words(option: ReworkOption, system: str) -> str:
    """ "about 12 kg HCl as 100 %, 1.2 m³ of water, 2 h 10 min"."""
    cost, shown = option.cost, "us" if system == "us" else "metric"
    parts = [
        f"{both(kilograms, 'mass', system)} {chemical.label} as 100 %"
        for chemical, kilograms in cost.chemicals
    ]
    parts.append(f"{both(cost.water_m3, 'liquid_volume', system)} of water")
    parts.append(units.format_quantity(cost.duration_s, "duration", shown))
    beside = f", and {cost.is_beside}" if cost.is_beside else ""
    return f"By the plan about {', '.join(parts)}{beside}."


def rinse_on_words(stands: RinseOn, batch: Batch, system: str) -> str:
    """How much has passed, how much is left, how often it went on."""
    shown = "us" if system == "us" else "metric"
    passed = units.format_quantity(stands.rinsed_bv, "bed_volumes", shown)
    if stands.left_bv is None:
        said = f"{passed} have passed; its specification names no longest rinse."
    else:
        left = units.format_quantity(stands.left_bv, "bed_volumes", shown)
        litres = both(stands.left_bv * batch.resin_volume_m3, "liquid_volume", system)
        said = f"{passed} have passed; {left} are left by its specification, {litres}."
    times = len(stands.rounds)
    return f"{said} It went on {counted(times, 'time')} already." if times else said


def rounds_words(stands: RinseOn) -> list[tuple[str, str]]:
    """Each round with its reason."""
    return [
        (
            f"Round {row.round}",
            f"{row.reason} {row.continued_by.full_name}, {day_and_clock(row.continued_at)}; at most "
            f"{units.format_quantity(row.allowance_bv, 'bed_volumes')} more.",
        )
        for row in stands.rounds
    ]


def lower_words(lower: Sequence[LowerProduct], twice: str) -> str:
    """Which lower products there are, and which of them the values meet."""
    if twice:
        return twice
    if not lower:
        return "No lower product is in force for this resin and class."
    met = [one.version.specification.code for one in lower if one.is_met]
    if met:
        return f"The measured values meet {joined(met)}. It takes a customer’s order and a second signature."
    names = joined([one.version.specification.code for one in lower])
    return f"The measured values do not meet {names} either."


def downgrade_words(down: Downgrade) -> list[tuple[str, str]]:
    """The downgrade as it was signed."""
    before, after = down.from_version, down.to_version
    return [
        ("From", f"{before.specification.code} version {before.number}, class {down.from_class}"),
        ("To", f"{after.specification.code} version {after.number}, class {down.to_class}"),
        ("Why", down.reason),
        *(
            (
                f"Order of {row.customer.name}",
                f"{row.order_number}, accepted by {row.accepted_by}, {row.accepted_on.isoformat()}",
            )
            for row in down.orders.select_related("customer")
        ),
        (
            "Agreed by",
            f"{down.signature.printed_name}, {down.signature.roles}, {day_and_clock(down.signature.signed_at)}",
        ),
    ]


# --- deviations and samples ----------------------------------------------------------------------------------------------
def deviation_words(rows: Sequence[Deviation]) -> list[tuple[str, str, str]]:
    """Number, what it is, how it stands."""
    return [
        (
            row.number,
            row.what,
            "open" if row.is_open else f"decided: {row.get_decision_kind_display() or row.decision}",
        )
        for row in rows
    ]


def sample_words(row: RetainedSample, system: str) -> str:
    """ "0.5 L, shelf 3, kept until 2026-08-01"."""
    volume = units.format_quantity(row.volume_m3, "liquid_volume", "us" if system == "us" else "metric")
    return f"{volume}, {row.place}, kept until {row.keep_until.isoformat()}"
