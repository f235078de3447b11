"""What the decision rests on: every limit with what was seen, by whom, with what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.batches.models import RinseReading
from regenplant.batches.rinse import shows_resistivity
from regenplant.core.process.acceptance import Outcome, Reason
from regenplant.core.process.laboratory import Standing
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.specification import CONDUCTIVITY, Limit
from regenplant.quality.bench import BenchInstrument
from regenplant.quality.models import QcMeasurement
from regenplant.quality.selectors import QcPage
from regenplant.quality.specification import TANKS_ARE_TESTED, TankTest
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar, limit_text
from regenplant.web.presenters.rinse import limit_in_kind, rinsed_caption, value_bar
from regenplant.web.presenters.words import (
    both,
    calibration_words,
    clock,
    day_and_clock,
    sentence_case,
    together,
)


def conductivity_limit_text(limit: Limit | None, kind: str, system: str) -> str:
    """The limit of the rinse in the quantity that is spoken in: "at least 10 MΩ·cm"; "" for none."""
    value = limit_in_kind(limit, kind)
    if value is None:
        return ""
    low, high = (value, None) if kind == "resistivity" else (None, value)
    return limit_text(low, high, kind=kind, system=system)


# --- the tests against their limits -------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class LimitRow:
    """One test: what was asked, what was seen, by whom, with what."""

    key: str
    name: str
    allowed: str
    outcome: Outcome
    state: str
    word: str
    """How it stands: mark and word."""
    bar: LimitBar | None
    facts: tuple[tuple[str, str], ...]
    """Pairs: when, who and with what, calibrated to when, as typed."""
    notes: tuple[str, ...]
    correct_id: int | None
    """The measurement that may be corrected; None for readings of the rinse."""


def limit_rows(page: QcPage, system: str) -> tuple[LimitRow, ...]:
    """Every limit of the specification, in its order, then the rinse volume."""
    by_measurement = {reason.measurement: reason for reason in page.verdict.reasons}
    rows: list[LimitRow] = []
    for limit in page.specification.limits:
        if limit.measurement == CONDUCTIVITY:
            rows.append(_rinse_row(page, limit, by_measurement[CONDUCTIVITY], system))
        elif limit.each_tank:
            rows.extend(_tank_rows(page, limit, by_measurement[limit.measurement], system))
        else:
            rows.append(_sample_row(page, limit, by_measurement[limit.measurement], system))
    return (*rows, _volume_row(page, by_measurement["rinse_volume"], system))


def _rinse_row(page: QcPage, limit: Limit, reason: Reason, system: str) -> LimitRow:
    end, kind = page.end_point, "resistivity" if shows_resistivity(limit) else "conductivity"
    last = next(
        (row for row in reversed(page.readings) if row.instrument_was_valid and not row.instrument_check),
        None,
    )
    bar = None
    if end.latest_siemens_per_m is not None:
        bar = value_bar(
            limit, end.latest_siemens_per_m, kind, system, caption="Newest of the rinse", is_judged=True
        )
    held = f"held {units.format_so_far(end.held_s, end.hold_needed_s, 'duration', system)}, needs {units.format_quantity(end.hold_needed_s, 'duration', system)}; {_readings_in_a_row(end.held_readings, end.readings_needed)}"
    facts = [("held", held)]
    if last is not None:
        raw = f"{last.value_as_typed} {last.unit_as_typed} at {last.temperature_as_typed}"
        facts = [*_source_facts(last), ("raw", raw), *facts]
    return LimitRow(
        limit.measurement,
        limit.name,
        conductivity_limit_text(limit, kind, system) or limit.allowed(),
        reason.outcome,
        *_standing(reason, _open_rinse(page)),
        bar,
        tuple(facts),
        _open_note(reason),
        None,
    )


def _readings_in_a_row(held: int, needed: int) -> str:
    return f"{held} readings" if held >= needed else f"{held} of {needed} readings"


def _source_facts(row: RinseReading | QcMeasurement) -> list[tuple[str, str]]:
    """When it was read, by whom and with what, and to when that was calibrated."""
    code = row.instrument.code if row.instrument else "not written"
    calibration = calibration_words(row.instrument, row.instrument_was_valid) if row.instrument else ""
    facts = [
        ("when", day_and_clock(row.occurred_at)),
        ("who and with", f"{together(row.entered_by.full_name)}, {code}"),
        ("calibration", calibration),
    ]
    return [(term, value) for term, value in facts if value]


def _standing(reason: Reason, still: tuple[str, str]) -> tuple[str, str]:
    """Mark and word of an outcome; ``still`` for what is neither met nor outside."""
    return {Outcome.PASS: ("met", "Inside"), Outcome.FAIL: ("outside", "Outside")}.get(reason.outcome, still)


def _open_rinse(page: QcPage) -> tuple[str, str]:
    """A rinse limit that is not met: not yet while it rinses, not met once it is over."""
    is_over = page.batch.state not in (BatchState.RINSING, BatchState.RUNNING, BatchState.HELD)
    return ("outside", "Not met") if is_over else ("not_yet", "Not yet")


def _open_note(reason: Reason) -> tuple[str, ...]:
    return () if reason.outcome is Outcome.PASS else (reason.sentence,)


def _sample_row(page: QcPage, limit: Limit, reason: Reason, system: str) -> LimitRow:
    deciding = deciding_measurement(
        [row for row in page.measurements if row.tank_id is None], limit.measurement
    )
    if deciding is None:
        return _not_measured(limit, reason, system)
    bar = _sample_bar(limit, deciding, "Of the sample", system)
    return LimitRow(
        limit.measurement,
        limit.name,
        _allowed(limit, system),
        reason.outcome,
        *_standing(reason, _undecided(deciding)),
        bar,
        tuple(_measurement_facts(deciding, system)),
        (*_open_note(reason), *_doubt_notes(deciding)),
        deciding.pk if page.batch.state == BatchState.AWAITING_QC else None,
    )


def _undecided(row: QcMeasurement) -> tuple[str, str]:
    """Neither met nor outside: measured with what proves nothing, or inside and not yet as often as the limit asks."""
    return ("not_yet", "Not yet") if row.instrument_was_valid else ("check", "Does not count")


def _allowed(limit: Limit, system: str) -> str:
    if limit.table:
        return limit.allowed()
    return limit_text(limit.low, limit.high, kind=limit.kind, system=system)


def _sample_bar(limit: Limit, row: QcMeasurement, caption: str, system: str) -> LimitBar | None:
    if limit.table:
        return None  # its bound goes by the temperature of each reading; the sentence says how it stands
    return limit_bar(
        caption=caption, value=row.value, kind=limit.kind, low=limit.low, high=limit.high, system=system
    )


def _not_measured(limit: Limit, reason: Reason, system: str) -> LimitRow:
    word = "After filling" if reason.outcome is Outcome.LATER else "Not measured"
    return LimitRow(
        limit.measurement, limit.name, _allowed(limit, system), reason.outcome, "not_yet", word, None, (), (reason.sentence,), None
    )  # fmt: skip


_TANK_OUTCOMES = {
    Standing.INSIDE: (Outcome.PASS, "met", "Inside"),
    Standing.OUTSIDE: (Outcome.FAIL, "outside", "Outside"),
    Standing.MISSING: (Outcome.INCOMPLETE, "not_yet", "Not measured"),
}


def _tank_rows(page: QcPage, limit: Limit, reason: Reason, system: str) -> list[LimitRow]:
    """What is measured on each tank, tank by tank; one row that says so while none is filled."""
    tests = [test for test in page.tank_tests if test.limit == limit]
    if not tests:
        return [_not_measured(limit, reason, system)]
    return [_tank_row(page, test, system) for test in tests]


def _tank_row(page: QcPage, test: TankTest, system: str) -> LimitRow:
    limit, serial = test.limit, test.link.visit.tank.serial
    own = [row for row in page.measurements if row.tank_id == test.link.pk]
    deciding = deciding_measurement(own, limit.measurement)
    outcome, mark, word = _TANK_OUTCOMES[test.found.standing]
    if outcome is Outcome.INCOMPLETE and deciding is not None:
        mark, word = _undecided(deciding)
    note = () if outcome is Outcome.PASS else (test.found.sentence,)
    is_open = page.batch.state in (BatchState.AWAITING_QC, *TANKS_ARE_TESTED)
    return LimitRow(
        f"{limit.measurement}-{serial}",
        f"{limit.name}, {serial}",
        _allowed(limit, system),
        outcome,
        mark,
        word,
        _sample_bar(limit, deciding, f"Of {serial}", system) if deciding else None,
        tuple(_measurement_facts(deciding, system)) if deciding else (),
        (*note, *(_doubt_notes(deciding) if deciding else ())),
        deciding.pk if deciding is not None and is_open else None,
    )


def deciding_measurement(rows: Sequence[QcMeasurement], key: str) -> QcMeasurement | None:
    """The measurement that decides: the newest by an instrument in calibration, else the newest."""
    own = [row for row in rows if row.key == key]
    return max(own, key=lambda row: (row.instrument_was_valid, row.occurred_at, row.pk), default=None)


def _measurement_facts(row: QcMeasurement, system: str) -> list[tuple[str, str]]:
    raw = f"{row.value_as_typed} {row.unit_as_typed}".strip()
    if row.temperature_kelvin is not None:
        raw += f" at {units.format_quantity(row.temperature_kelvin, 'temperature', system)}"
    facts = [*_source_facts(row), ("raw", raw)]
    return [*facts, ("method", row.method)] if row.method else facts


def _doubt_notes(row: QcMeasurement) -> tuple[str, ...]:
    notes = []
    if not row.instrument_was_valid:
        notes.append("Informs only: the instrument was out of calibration.")
    if row.replaces_id is not None:
        notes.append(f"Corrected {clock(row.entered_at)}: {row.reason}")
    return tuple(notes)


def _volume_row(page: QcPage, reason: Reason, system: str) -> LimitRow:
    end = page.end_point
    bar = limit_bar(
        caption=rinsed_caption(end, system),
        value=end.rinsed_bv,
        kind="bed_volumes",
        low=end.minimum_rinse_bv,
        expects="reach",
        system=system,
    )
    allowed = limit_text(end.minimum_rinse_bv, None, kind="bed_volumes", system=system)
    litres = both(end.rinsed_bv * page.batch.resin_volume_m3, "liquid_volume", system)
    return LimitRow(
        "rinse_volume",
        "Rinse volume",
        allowed,
        reason.outcome,
        *_standing(reason, _open_rinse(page)),
        bar,
        (("water", litres),),
        _open_note(reason),
        None,
    )


def bench_choices(instruments: Sequence[BenchInstrument]) -> list[tuple[str, str]]:
    """The instruments of one test; one whose results prove nothing says why. The words stay short enough for a tablet."""
    return [
        (
            str(item.instrument.pk),
            f"{item.instrument.code}, {item.instrument.name}"
            + ("" if item.is_valid else f": {calibration_words(item.instrument, False)}, informs only"),
        )
        for item in instruments
    ]


def measurement_receipt(row: QcMeasurement, system: str) -> str:
    """What was measured, as a receipt."""
    value = units.twin(row.value, row.kind, "us" if system == "us" else "metric")
    said = f"Written: {row.name} {value}, {clock(row.occurred_at)}."
    return (
        said
        if row.instrument_was_valid
        else f"{said} The instrument is out of calibration, so it informs only."
    )


def measurement_before(row: QcMeasurement, system: str) -> list[tuple[str, str]]:
    """The measurement as it stands before its correction."""
    return [
        ("Test", row.name),
        *((sentence_case(term), value) for term, value in _measurement_facts(row, system)),
    ]
