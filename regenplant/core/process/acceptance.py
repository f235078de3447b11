"""Readings against a specification: pass, fail or not yet, with a reason for each limit.

The endpoint of a rinse is a limit held for a hold time, by at least so many readings in a row, after at least so much
rinse water, by instruments in calibration. One lucky reading never passes, an extrapolation never passes, and a
reading better than water can be is an instrument to check, not a better tank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.process import laboratory
from regenplant.core.process.specification import (
    CONDUCTIVITY,
    LabResult,
    Limit,
    LimitBasis,
    RinseReading,
    Specification,
)
from regenplant.core.process.wording import listed, number, say

__all__ = [
    "CONDUCTIVITY",
    "Compensation",
    "LabResult",
    "Limit",
    "LimitBasis",
    "Outcome",
    "Reason",
    "RinseReading",
    "Specification",
    "Verdict",
    "judge",
]

DEAD_CELL_SIEMENS_PER_M = 1e-9
"""A thousandth of what ice-cold pure water shows: whatever reads this or less is not in water [S/m]."""
FLAT_LINE_READINGS = 6
"""So many equal readings in a row, to the last digit and at one temperature, ask for a look at the instrument."""


class Outcome(StrEnum):
    PASS = "pass"
    FAIL = "fail"
    INCOMPLETE = "incomplete"
    LATER = "later"
    """Measured on each tank once it is filled: it holds back the release, not the judgement of the bed."""

    @property
    def label(self) -> str:
        return {"pass": "passed", "fail": "failed", "incomplete": "not yet", "later": "after filling"}[self]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a verdict is what it is, one for each thing looked at."""

    code: str
    outcome: Outcome
    sentence: str
    measurement: str = ""
    seen: float | None = None
    allowed_low: float | None = None
    allowed_high: float | None = None
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The judgement of all readings so far. Only ``PASS`` opens the way to a person's signature."""

    outcome: Outcome
    reasons: tuple[Reason, ...]
    held_s: float = 0.0
    """How long the limit has been held until the last reading that counts."""
    held_readings: int = 0
    held_from_s: float | None = None
    """Time of the first reading of that run, from the zero of the readings; None while nothing is held."""
    rinsed_bv: float = 0.0
    recirculated_bv: float = 0.0
    """How much of it a pump drove round; the rest is fresh water."""
    instrument_checks: tuple[str, ...] = ()
    """Sentences that ask for a look at an instrument."""
    not_counted: tuple[str, ...] = ()
    """Why single readings were left out."""

    @property
    def open_reasons(self) -> tuple[Reason, ...]:
        return tuple(reason for reason in self.reasons if reason.outcome not in (Outcome.PASS, Outcome.LATER))


# --- the judgement --------------------------------------------------------------------------------------------------
def judge(
    readings: Sequence[RinseReading],
    specification: Specification,
    results: Sequence[LabResult] = (),
    rinsed_bv: float | None = None,
    recirculated_bv: float = 0.0,
    tanks: Sequence[str] = (),
) -> Verdict:
    """Judge a rinse and its laboratory results against a specification.

    Parameters
    ----------
    readings : Sequence
        Conductivity readings in any order; they are put in order of time
    specification : Specification
        The version frozen with the batch
    results : Sequence
        Results of the laboratory; of each measurement the latest valid one decides
    rinsed_bv : float | None
        Rinse water passed so far, if it is known beside the readings [-]
    recirculated_bv : float
        How much of the water that passed a pump drove round, 0 to all of it [-]
    tanks : Sequence
        Serials of the tanks that hold the resin now; what is measured on each tank waits while there are none

    Returns
    -------
    verdict : Verdict
        PASS only when every limit is met in its own way

    Raises: nothing for odd readings: they are left out and the verdict says why.
    """
    ordered = sorted(readings, key=lambda reading: reading.at_s)
    checks, left_out, counted = _sift(ordered, specification)
    volumes = [reading.volume_bv for reading, _ in counted]
    rinsed = max([rinsed_bv or 0.0, *volumes])
    reasons: list[Reason] = []
    run: list[RinseReading] = []
    for limit in specification.limits:
        if limit.measurement == CONDUCTIVITY:
            run = _run(counted, specification)
            reasons.append(_endpoint(limit, counted, run, specification, rinsed))
        else:
            reasons.append(_laboratory(limit, results, rinsed, tanks))
    reasons.append(_minimum_rinse(specification, rinsed, min(recirculated_bv, rinsed)))
    doubtful = _doubt_in_window(ordered, run, specification)
    if doubtful:
        reasons.append(Reason("instrument_check", Outcome.INCOMPLETE, doubtful, CONDUCTIVITY))
    return Verdict(
        outcome=_overall(reasons),
        reasons=tuple(reasons),
        held_s=run[-1].at_s - run[0].at_s if run else 0.0,
        held_readings=len(run),
        held_from_s=run[0].at_s if run else None,
        rinsed_bv=rinsed,
        recirculated_bv=min(recirculated_bv, rinsed),
        instrument_checks=checks,
        not_counted=left_out,
    )


def _overall(reasons: Sequence[Reason]) -> Outcome:
    outcomes = {reason.outcome for reason in reasons}
    if Outcome.FAIL in outcomes:
        return Outcome.FAIL
    return Outcome.INCOMPLETE if Outcome.INCOMPLETE in outcomes else Outcome.PASS


_Counted = list[tuple[RinseReading, float]]


def _sift(
    ordered: Sequence[RinseReading], specification: Specification
) -> tuple[tuple[str, ...], tuple[str, ...], _Counted]:
    """(instrument checks, why readings were left out, readings that count with the value the limit looks at)."""
    checks: dict[str, None] = {}
    left_out: dict[str, None] = {}
    counted: _Counted = []
    limit = specification.limit(CONDUCTIVITY)
    for reading in ordered:
        doubt = instrument_doubt(reading, specification)
        reason = _not_counted(reading, limit)
        if doubt:
            checks[doubt] = None
        elif reason:
            left_out[reason] = None
        else:
            counted.append((reading, _looked_at(reading, limit, specification)))
    flat = _flat_line(ordered)
    if flat:
        checks[flat] = None
    return tuple(checks), tuple(left_out), counted


def instrument_doubt(reading: RinseReading, specification: Specification) -> str:
    """Why a reading points at its instrument instead of the water; "" if it does not."""
    name = reading.instrument_code
    if not reading.conductivity_siemens_per_m > DEAD_CELL_SIEMENS_PER_M:
        return f"Cell {name} shows {number(reading.conductivity_siemens_per_m * 1e4, decimals=4, digits=4)} µS/cm; water is above zero. Check it."
    if not 273.15 <= reading.temperature_kelvin <= 373.15:
        return f"Cell {name} shows {say(reading.temperature_kelvin, 'temperature')}; that is not liquid water. Check its thermometer."
    if reading.compensation is Compensation.FLAT:
        return ""
    value = reading.at_25_celsius(specification.compensation)
    lowest = conductivity.lowest_believable_siemens_per_m(specification.meter_uncertainty_frac)
    if value < lowest:
        return (
            f"{say(1.0 / value, 'resistivity')} cannot be: at 25 °C water ends at "
            f"{say(conductivity.HIGHEST_RESISTIVITY_OHM_M, 'resistivity')} "
            f"({say(1.0 / lowest, 'resistivity')} with this meter). Check cell {name}."
        )
    return ""


def _not_counted(reading: RinseReading, limit: Limit | None) -> str:
    name = reading.instrument_code
    if not reading.instrument_is_valid:
        return f"Readings of {name} are for information: it was out of calibration."
    if limit is not None and limit.basis is LimitBasis.UNCOMPENSATED_TABLE and reading.is_compensated:
        return f"Readings of {name} are compensated; this limit is a table for uncompensated readings."
    below_flat = reading.conductivity_siemens_per_m < conductivity.FLAT_VALID_FROM_SIEMENS_PER_M
    if reading.compensation is Compensation.FLAT and below_flat:
        return f"Readings of {name} below 10 µS/cm are compensated by a flat 2 %/K, which is not valid there."
    return ""


def _looked_at(reading: RinseReading, limit: Limit | None, specification: Specification) -> float:
    if limit is not None and limit.basis is LimitBasis.UNCOMPENSATED_TABLE:
        return reading.conductivity_siemens_per_m
    return reading.at_25_celsius(specification.compensation)


def _flat_line(ordered: Sequence[RinseReading]) -> str:
    tail = ordered[-FLAT_LINE_READINGS:]
    if len(tail) < FLAT_LINE_READINGS:
        return ""
    first = tail[0]
    same = all(
        reading.conductivity_siemens_per_m == first.conductivity_siemens_per_m
        and reading.temperature_kelvin == first.temperature_kelvin
        and reading.instrument_code == first.instrument_code
        for reading in tail
    )
    if not same:
        return ""
    return f"Cell {first.instrument_code} has shown the same figure {FLAT_LINE_READINGS} times. See whether it is alive."


def _meets(limit: Limit, reading: RinseReading, value: float) -> bool:
    if limit.table:
        rows = tuple((row[0], row[1]) for row in limit.table)
        return value <= table_limit_siemens_per_m(rows, reading.temperature_kelvin)
    return limit.holds(value)


def _run(counted: _Counted, specification: Specification) -> list[RinseReading]:
    """The unbroken run inside the limit that ends with the last reading that counts."""
    limit = specification.limit(CONDUCTIVITY)
    assert limit is not None
    run: list[RinseReading] = []
    for reading, value in reversed(counted):
        if not _meets(limit, reading, value):
            break
        if run and run[-1].at_s - reading.at_s > specification.longest_gap_s:
            break
        run.append(reading)
    run.reverse()
    return run


def _doubt_in_window(
    ordered: Sequence[RinseReading], run: Sequence[RinseReading], specification: Specification
) -> str:
    """A doubtful reading inside or after the hold window keeps the window from deciding."""
    if not run:
        return ""
    for reading in ordered:
        if reading.instrument_is_valid and reading.at_s >= run[0].at_s:
            doubt = instrument_doubt(reading, specification)
            if doubt:
                return doubt
    return ""


def _endpoint(
    limit: Limit,
    counted: _Counted,
    run: Sequence[RinseReading],
    specification: Specification,
    rinsed_bv: float,
) -> Reason:
    def reason(code: str, outcome: Outcome, sentence: str, seen: float | None = None) -> Reason:
        return Reason(code, outcome, sentence, limit.measurement, seen, limit.low, limit.high, limit.kind)

    if not counted:
        return reason(
            "no_readings",
            Outcome.INCOMPLETE,
            f"No reading of {limit.name} counts yet; allowed is {limit.allowed()}.",
        )
    last = counted[-1][1]
    too_long = specification.maximum_rinse_bv is not None and rinsed_bv >= specification.maximum_rinse_bv
    if not run:
        if too_long:
            sentence = (
                f"{limit.name} is {say(last, limit.kind)} after {say(rinsed_bv, 'bed_volumes')}; allowed is "
                f"{limit.allowed()}, within {say(specification.maximum_rinse_bv or 0.0, 'bed_volumes')}."
            )
            return reason("rinse_exhausted", Outcome.FAIL, sentence, last)
        return reason(
            "outside",
            Outcome.INCOMPLETE,
            f"{limit.name} is {say(last, limit.kind)}; allowed is {limit.allowed()}.",
            last,
        )
    held = run[-1].at_s - run[0].at_s
    short: list[str] = []
    if len(run) < specification.consecutive_readings:
        short.append(f"{len(run)} of {specification.consecutive_readings} readings in a row")
    if held < specification.hold_time_s:
        short.append(f"held {say(held, 'duration')} of {say(specification.hold_time_s, 'duration')}")
    if short:
        return reason(
            "not_held",
            Outcome.INCOMPLETE,
            f"{limit.name} is inside, {limit.allowed()}, but not yet held: {listed(short)}.",
            last,
        )
    return reason(
        "held",
        Outcome.PASS,
        f"{limit.name} is {say(last, limit.kind)}, {limit.allowed()}, held {say(held, 'duration')} by {len(run)} readings.",
        last,
    )  # fmt: skip


def _minimum_rinse(specification: Specification, rinsed_bv: float, recirculated_bv: float) -> Reason:
    least = specification.least_rinse_bv
    pumped = f", of which {say(recirculated_bv, 'bed_volumes')} recirculated" if recirculated_bv > 0.0 else ""
    enough = rinsed_bv >= least
    return Reason(
        "minimum_rinse",
        Outcome.PASS if enough else Outcome.INCOMPLETE,
        f"Rinsed {say(rinsed_bv, 'bed_volumes')}{pumped}, at least {say(least, 'bed_volumes')}.",
        "rinse_volume", rinsed_bv, least, None, "bed_volumes",
    )  # fmt: skip


_OUTCOMES = {
    laboratory.Standing.INSIDE: ("inside", Outcome.PASS),
    laboratory.Standing.OUTSIDE: ("outside", Outcome.FAIL),
    laboratory.Standing.MISSING: ("missing", Outcome.INCOMPLETE),
    laboratory.Standing.LATER: ("after_filling", Outcome.LATER),
}


def _laboratory(limit: Limit, results: Sequence[LabResult], rinsed_bv: float, tanks: Sequence[str]) -> Reason:
    found = (
        laboratory.of_all_tanks(limit, results, tanks, rinsed_bv)
        if limit.each_tank
        else laboratory.of_batch(limit, results, rinsed_bv)
    )
    code, outcome = _OUTCOMES[found.standing]
    return Reason(
        code, outcome, found.sentence, limit.measurement, found.seen, limit.low, limit.high, limit.kind
    )
