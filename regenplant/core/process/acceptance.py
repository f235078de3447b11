"""Readings against a specification: pass, fail or not yet, with a reason for each limit.

The endpoint of a rinse is a limit held for a hold time, by at least so many readings in a row, after at least so much
rinse water, by instruments in calibration. One lucky reading never passes, an extrapolation never passes, and a
reading better than water can be is an instrument to check, not a better tank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.process import laboratory
from regenplant.core.process.series import Series, series_of
from regenplant.core.process.sifting import Sifted, instrument_doubt, sifted
from regenplant.core.process.specification import (
    CONDUCTIVITY,
    LabResult,
    Limit,
    LimitBasis,
    RinseReading,
    Specification,
    reaches,
)
from regenplant.core.process.wording import listed, say, say_so_far

__all__ = [
    "CONDUCTIVITY",
    "Compensation",
    "LabResult",
    "Limit",
    "LimitBasis",
    "Outcome",
    "Reason",
    "RinseReading",
    "Series",
    "Specification",
    "Verdict",
    "instrument_doubt",
    "judge",
]


class Outcome(StrEnum):
    """What a verdict may be, of one thing or of all of them."""

    PASS = "pass"
    FAIL = "fail"
    INCOMPLETE = "incomplete"
    LATER = "later"
    """Measured on each tank once it is filled: it holds back the release, not the judgement of the bed."""

    @property
    def label(self) -> str:
        """In a table."""
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
    """How long the limit has been held until the last reading that counts, less ``CLOCKS_APART_S`` where two clocks tell it."""
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
        """What still stands against it now: outside, or not measured yet."""
        return tuple(reason for reason in self.reasons if reason.outcome not in (Outcome.PASS, Outcome.LATER))


CLOCKS_APART_S = 120.0
"""So far the clock of a meter may be ahead of the plant's (what lies further ahead is not taken in); assumed of every meter. Where a
limit was held by readings of more than one clock, hand and meter or two meters, so much is taken off the time it was held: the
first of them may have been read so much later than it says. Common practice, from memory [s]."""


# --- the judgement --------------------------------------------------------------------------------------------------
def judge(
    readings: Sequence[RinseReading] | Series | Sifted,
    specification: Specification,
    results: Sequence[LabResult] = (),
    rinsed_bv: float | None = None,
    recirculated_bv: float = 0.0,
    tanks: Sequence[str] = (),
) -> Verdict:
    """Judge a rinse and its laboratory results against a specification.

    Parameters
    ----------
    readings : Sequence | Series | Sifted
        Conductivity readings in any order, one by one or as columns; they are put in order of time. Or as ``sifted`` found them by this
        specification, where that was asked already
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
    if not isinstance(readings, Series | Sifted):
        readings = series_of(readings)
    found = readings if isinstance(readings, Sifted) else sifted(readings, specification)
    volumes = found.series.volume_bv[found.counts]
    rinsed = max(rinsed_bv or 0.0, float(volumes.max()) if len(volumes) else 0.0)
    reasons: list[Reason] = []
    run = _NO_RUN
    for limit in specification.limits:
        if limit.measurement == CONDUCTIVITY:
            run = _run(found, specification)
            reasons.append(_endpoint(limit, found, run, specification, rinsed))
        else:
            reasons.append(_laboratory(limit, results, rinsed, tanks))
    reasons.append(_minimum_rinse(specification, rinsed, min(recirculated_bv, rinsed)))
    doubtful = _doubt_in_window(found, run, specification)
    if doubtful:
        reasons.append(Reason("instrument_check", Outcome.INCOMPLETE, doubtful, CONDUCTIVITY))
    return Verdict(
        outcome=_overall(reasons),
        reasons=tuple(reasons),
        held_s=run.held_s,
        held_readings=run.count,
        held_from_s=run.from_s if run.count else None,
        rinsed_bv=rinsed,
        recirculated_bv=min(recirculated_bv, rinsed),
        instrument_checks=found.checks,
        not_counted=found.left_out,
    )


def _overall(reasons: Sequence[Reason]) -> Outcome:
    outcomes = {reason.outcome for reason in reasons}
    if Outcome.FAIL in outcomes:
        return Outcome.FAIL
    return Outcome.INCOMPLETE if Outcome.INCOMPLETE in outcomes else Outcome.PASS


@dataclass(frozen=True, slots=True)
class _Run:
    """The unbroken run inside the limit that ends with the last reading that counts."""

    count: int
    from_s: float
    held_s: float
    """From the first to the last, less what two clocks may differ by."""
    is_by_two_clocks: bool = False


_NO_RUN = _Run(0, 0.0, 0.0)


def _run(found: Sifted, specification: Specification) -> _Run:
    """A reading outside breaks it, a gap too long does, and so does a jump or a figure that stood still: what was held before
    is then not held any more."""
    np = array_library()
    places = np.flatnonzero(found.counts)
    if not len(places):
        return _NO_RUN
    times = found.series.at_s[places]
    first = _after_last(np, ~found.meets[places])
    first = max(first, _after_last(np, np.diff(times) > specification.longest_gap_s))
    broken = np.flatnonzero((found.is_jump | found.is_frozen) & found.series.is_valid)
    before_the_last = broken[broken < places[-1]]
    if len(before_the_last):
        first = max(first, int(np.searchsorted(places, before_the_last[-1], side="right")))
    if first >= len(places):
        return _NO_RUN
    held_s = float(times[-1] - times[first])
    is_by_two_clocks = not found.series.has_one_clock(places[first:])
    if is_by_two_clocks:
        held_s = max(0.0, held_s - CLOCKS_APART_S)
    return _Run(len(places) - first, float(times[first]), held_s, is_by_two_clocks)


def _after_last(np: Any, mask: Any) -> int:
    """The place after the last one that is set; 0 where none is."""
    places = np.flatnonzero(mask)
    return int(places[-1]) + 1 if len(places) else 0


def _doubt_in_window(found: Sifted, run: _Run, specification: Specification) -> str:
    """A doubtful reading inside or after the hold window keeps the window from deciding."""
    if not run.count:
        return ""
    np = array_library()
    since = found.series.is_valid & (found.series.at_s >= run.from_s)
    doubted = np.flatnonzero(since & found.is_doubted)
    if len(doubted):
        return instrument_doubt(found.series.reading(int(doubted[0])), specification)
    odd = np.flatnonzero(since & (found.is_jump | found.is_frozen))
    return found.words(int(odd[0])) if len(odd) else ""


def _endpoint(
    limit: Limit,
    found: Sifted,
    run: _Run,
    specification: Specification,
    rinsed_bv: float,
) -> Reason:
    def reason(code: str, outcome: Outcome, sentence: str, seen: float | None = None) -> Reason:
        return Reason(code, outcome, sentence, limit.measurement, seen, limit.low, limit.high, limit.kind)

    if not found.counts.any():
        return reason(
            "no_readings",
            Outcome.INCOMPLETE,
            f"No reading of {limit.name} counts yet; allowed is {limit.allowed()}.",
        )
    last = float(found.value[found.counts][-1])
    too_long = specification.maximum_rinse_bv is not None and rinsed_bv >= specification.maximum_rinse_bv
    if not run.count:
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
    held = run.held_s
    short: list[str] = []
    if run.count < specification.consecutive_readings:
        short.append(f"{run.count} of {specification.consecutive_readings} readings in a row")
    if held < specification.hold_time_s:
        clocks = (
            f" (less {say(CLOCKS_APART_S, 'duration')}, as two clocks tell it)"
            if run.is_by_two_clocks
            else ""
        )
        wanted = specification.hold_time_s
        short.append(f"held {say_so_far(held, wanted, 'duration')} of {say(wanted, 'duration')}{clocks}")
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
        f"{limit.name} is {say(last, limit.kind)}, {limit.allowed()}, held {say(held, 'duration')} by {run.count} readings.",
        last,
    )  # fmt: skip


def _minimum_rinse(specification: Specification, rinsed_bv: float, recirculated_bv: float) -> Reason:
    least = specification.least_rinse_bv
    pumped = f", of which {say(recirculated_bv, 'bed_volumes')} recirculated" if recirculated_bv > 0.0 else ""
    enough = bool(reaches(rinsed_bv, least))
    rinsed = say(rinsed_bv, "bed_volumes") if enough else say_so_far(rinsed_bv, least, "bed_volumes")
    return Reason(
        "minimum_rinse",
        Outcome.PASS if enough else Outcome.INCOMPLETE,
        f"Rinsed {rinsed}{pumped}, at least {say(least, 'bed_volumes')}.",
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
