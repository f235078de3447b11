"""Results of the laboratory against one limit: once for the batch, or on every tank.

The latest results by instruments in calibration decide, so many in a row and over such a time as the limit asks for. A limit
that is measured on each tank is met when every tank has results of its own inside; another tank's are no proof.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.specification import LabResult, Limit, keeps_within, reaches
from regenplant.core.process.wording import listed, say, say_so_far


class Standing(StrEnum):
    """How results stand against a limit."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    MISSING = "missing"
    LATER = "after_filling"
    """Measured on each tank, and no tank holds the resin yet."""


@dataclass(frozen=True, slots=True)
class Found:
    """How one limit stands, in words."""

    standing: Standing
    sentence: str
    seen: float | None = None
    """The newest result that counts, in SI; of several tanks the one furthest from what is wanted."""
    tank: str = ""


def of_batch(limit: Limit, results: Sequence[LabResult], rinsed_bv: float) -> Found:
    """The batch's own results against a limit.

    Parameters
    ----------
    limit : Limit
        What is asked
    results : Sequence
        Of any measurement and any tank, in any order
    rinsed_bv : float
        Rinse water that passed [-]
    """
    return _held(limit, [result for result in results if not result.tank], rinsed_bv, limit.name)


def of_tank(limit: Limit, results: Sequence[LabResult], tank: str, rinsed_bv: float) -> Found:
    """One tank's results against a limit that is measured on each tank."""
    own = [result for result in results if result.tank == tank]
    found = _held(limit, own, rinsed_bv, f"{limit.name} of {tank}")
    return Found(found.standing, found.sentence, found.seen, tank)


def of_all_tanks(limit: Limit, results: Sequence[LabResult], tanks: Sequence[str], rinsed_bv: float) -> Found:
    """Every tank against a limit that is measured on each tank. ``tanks``: serials of those that hold the resin now."""
    if not tanks:
        return Found(
            Standing.LATER,
            f"{limit.name} is measured on each tank once it is filled; allowed is {limit.allowed()}.",
        )
    found = [of_tank(limit, results, tank, rinsed_bv) for tank in tanks]
    outside = [one for one in found if one.standing is Standing.OUTSIDE]
    missing = [one for one in found if one.standing is Standing.MISSING]
    wrong = outside or missing
    if wrong:
        return Found(wrong[0].standing, " ".join(one.sentence for one in (*outside, *missing)), wrong[0].seen)
    worst = max(found, key=lambda one: _nearness(limit, one.seen))
    number = "1 tank" if len(found) == 1 else f"each of {len(found)} tanks"
    return Found(
        Standing.INSIDE,
        f"{limit.name} is inside on {number}, {limit.allowed()}; nearest is {worst.tank} with {say(worst.seen or 0.0, limit.kind)}.",
        worst.seen,
    )


def _nearness(limit: Limit, seen: float | None) -> float:
    """The larger, the nearer to a bound."""
    value = seen or 0.0
    gaps = [
        gap
        for gap in (
            None if limit.high is None else limit.high - value,
            None if limit.low is None else value - limit.low,
        )
        if gap is not None
    ]
    return -min(gaps, default=0.0)


def _held(limit: Limit, results: Sequence[LabResult], rinsed_bv: float, name: str) -> Found:
    own = sorted(
        (result for result in results if result.measurement == limit.measurement),
        key=lambda result: result.at_s,
    )
    valid = [result for result in own if result.instrument_is_valid]
    if not valid:
        why = " The result on record comes from an instrument out of calibration." if own else ""
        return Found(Standing.MISSING, f"{name} is not measured yet; allowed is {limit.allowed()}.{why}")
    last = valid[-1]
    run: list[LabResult] = []
    for result in reversed(valid):
        if not _meets(limit, result):
            break
        run.append(result)
    earlier = sum(1 for result in valid[:-1] if not _meets(limit, result))
    repeated = (
        f" {earlier} earlier {'result was' if earlier == 1 else 'results were'} outside." if earlier else ""
    )
    sentence = f"{name} is {say(last.value, limit.kind)}; allowed is {limit.allowed()}.{repeated}"
    if not run:
        return Found(Standing.OUTSIDE, sentence, last.value)
    short = _short(limit, run, rinsed_bv)
    if short:
        return Found(
            Standing.MISSING,
            f"{name} is {say(last.value, limit.kind)}, inside, but not yet held: {listed(short)}.",
            last.value,
        )
    return Found(Standing.INSIDE, sentence, last.value)


def _meets(limit: Limit, result: LabResult) -> bool:
    """A limit by temperature is met by no result whose temperature was not written down."""
    if not limit.table:
        return limit.holds(result.value)
    if result.temperature_kelvin is None:
        return False
    rows = [most for kelvin, most in limit.table if kelvin <= result.temperature_kelvin + 1e-3]
    return bool(rows) and bool(keeps_within(result.value, rows[-1]))


def _short(limit: Limit, run: Sequence[LabResult], rinsed_bv: float) -> list[str]:
    """What a run of results inside, newest first, still lacks."""
    held_s = run[0].at_s - run[-1].at_s
    short: list[str] = []
    if len(run) < limit.readings_in_row:
        short.append(f"{len(run)} of {limit.readings_in_row} results in a row")
    if held_s < limit.hold_time_s:
        short.append(
            f"held {say_so_far(held_s, limit.hold_time_s, 'duration')} of {say(limit.hold_time_s, 'duration')}"
        )
    if not reaches(rinsed_bv, limit.minimum_rinse_bv):
        short.append(
            f"rinsed {say_so_far(rinsed_bv, limit.minimum_rinse_bv, 'bed_volumes')} of {say(limit.minimum_rinse_bv, 'bed_volumes')}"
        )
    return short
