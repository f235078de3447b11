"""Whether a published grade may be claimed for what was measured: every test it asks for done, and every one inside.

Nothing is inferred: no grade follows from another, no test from a similar one, and a figure from memory proves nothing.
Certificates ask here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from regenplant.core.engineering.conductivity import (
    FLAT_VALID_FROM_SIEMENS_PER_M,
    Compensation,
)
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.errors import OutOfRange
from regenplant.core.process.measurements import MEASUREMENTS, name_of
from regenplant.core.process.published_grades import (
    BY_KEY,
    PUBLISHED,
    Grade,
    GradeTest,
    HowObtained,
)
from regenplant.core.process.specification import LabResult, Limit, LimitBasis, RinseReading, Specification
from regenplant.core.process.wording import listed, say, say_range

__all__ = [
    "BY_KEY",
    "PUBLISHED",
    "Claim",
    "Grade",
    "GradeTest",
    "HowObtained",
    "Standing",
    "allowed",
    "begun_with",
    "claimable",
    "claims",
    "limits_of",
    "not_copied",
    "results_of_rinse",
]

CLOSE = 1e-9
"""Relative; a limit met to the last digit of a float is met."""
UNCOMPENSATED = "conductivity_uncompensated"
PH_OF_STAGE_3 = "ph_potassium_chloride"


class Standing(StrEnum):
    """How one test of a grade stands."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    MISSING = "missing"
    UNPROVEN = "unproven"
    """Its figure is from memory, so no result proves it."""


@dataclass(frozen=True, slots=True)
class HeldTest:
    """One test of a grade against what was measured."""

    test: GradeTest
    standing: Standing
    seen: float | None = None
    """The result furthest from what is asked, in SI."""

    @property
    def name(self) -> str:
        """The measurement, as people call it."""
        return name_of(self.test.measurement)


@dataclass(frozen=True, slots=True)
class Claim:
    """How a grade stands for what was measured. Only ``is_claimed`` lets it stand on a certificate."""

    grade: Grade
    held: tuple[HeldTest, ...]

    def names(self, standing: Standing) -> tuple[str, ...]:
        """Names of the tests that stand so."""
        return tuple(one.name for one in self.held if one.standing is standing)

    @property
    def missing(self) -> tuple[str, ...]:
        """Tests that were not done."""
        return self.names(Standing.MISSING)

    @property
    def outside(self) -> tuple[str, ...]:
        """Tests whose result lies outside."""
        return self.names(Standing.OUTSIDE)

    @property
    def unproven(self) -> tuple[str, ...]:
        """Tests whose figure is from memory, so that nothing proves them."""
        return self.names(Standing.UNPROVEN)

    @property
    def is_claimed(self) -> bool:
        """Every test of the grade was done and lies inside, and nothing bars the claim."""
        return not self.grade.barred and all(one.standing is Standing.INSIDE for one in self.held)

    @property
    def sentence(self) -> str:
        """Why, in words."""
        name, number = self.grade.name, len(self.held)
        if self.is_claimed:
            return f"{name}: {'its one test was' if number == 1 else f'all {number} tests were'} done, and inside."
        why: list[str] = []
        if self.outside:
            why.append(f"outside: {listed(self.outside)}")
        if self.missing:
            why.append(f"not measured: {listed(self.missing)}")
        if self.unproven:
            why.append(f"figure from memory only: {listed(self.unproven)}")
        said = f"{name} is not claimed; {'; '.join(why)}." if why else f"{name} is not claimed."
        return f"{said} {self.grade.barred}".strip()


def claims(grade: Grade, results: Sequence[LabResult], tanks: Sequence[str] = ()) -> Claim:
    """How a grade stands for these results.

    Parameters
    ----------
    grade : Grade
        Of ``PUBLISHED``
    results : Sequence
        Results in SI, of the batch and of one tank or of all that the claim is for; of each measurement on each of them the
        latest by an instrument in calibration counts, and all must lie inside
    tanks : Sequence
        Serials of the tanks the claim is for; a test that was not done on the batch was done on each of them, or is missing

    Returns
    -------
    claim : Claim
        Every test with how it stands
    """
    latest = _latest(results)
    return Claim(grade, tuple(_held(test, latest, tanks) for test in grade.tests))


def claimable(results: Sequence[LabResult], tanks: Sequence[str] = ()) -> tuple[Claim, ...]:
    """The grades that a certificate may name for these results, in the order of ``PUBLISHED``; none for none."""
    found = (claims(grade, results, tanks) for grade in PUBLISHED)
    return tuple(claim for claim in found if claim.is_claimed)


def _latest(results: Sequence[LabResult]) -> dict[str, dict[str, LabResult]]:
    """By measurement and tank ("" for the batch): the latest result that counts."""
    found: dict[str, dict[str, LabResult]] = {}
    for result in sorted(results, key=lambda one: one.at_s):
        if result.instrument_is_valid:
            found.setdefault(result.measurement, {})[result.tank] = result
    return found


def _held(test: GradeTest, latest: dict[str, dict[str, LabResult]], tanks: Sequence[str]) -> HeldTest:
    by_tank = latest.get(test.measurement, {})
    own = list(by_tank.values())
    if test.is_from_memory:
        return HeldTest(test, Standing.UNPROVEN, own[-1].value if own else None)
    if not own or ("" not in by_tank and any(tank not in by_tank for tank in tanks)):
        return HeldTest(test, Standing.MISSING)
    bounds = [(result, _bounds(test, result, latest)) for result in own]
    if any(bound is None for _, bound in bounds):
        return HeldTest(test, Standing.MISSING, own[-1].value)
    wrong = [result for result, bound in bounds if bound is not None and not _inside(result.value, *bound)]
    if wrong:
        return HeldTest(test, Standing.OUTSIDE, wrong[0].value)
    worst = max if test.high is not None or test.table or test.by_ph else min
    return HeldTest(test, Standing.INSIDE, worst(result.value for result in own))


_Bounds = tuple[float | None, float | None]


def _bounds(test: GradeTest, result: LabResult, latest: dict[str, dict[str, LabResult]]) -> _Bounds | None:
    """Least and most for this result; None where what the limit goes by was not measured with it."""
    if test.table:
        if result.temperature_kelvin is None:
            return None
        try:
            return None, table_limit_siemens_per_m(test.table, result.temperature_kelvin)
        except OutOfRange:
            return None
    if test.by_ph:
        ph = latest.get(PH_OF_STAGE_3, {}).get(result.tank)
        if ph is None:
            return None
        # outside the table the sample fails whatever its conductivity; its pH is a test of its own, and is outside there
        return None, dict(test.by_ph).get(round(ph.value + CLOSE, 1), 0.0)
    return test.low, test.high


def _inside(value: float, low: float | None, high: float | None) -> bool:
    slack = CLOSE * abs(value)
    return (low is None or value >= low - slack) and (high is None or value <= high + slack)


# --- what was read in the rinse -------------------------------------------------------------------------------------
def results_of_rinse(
    held: Sequence[RinseReading], stream: Compensation, tank: str = ""
) -> tuple[LabResult, ...]:
    """The readings over which a limit was held, as results a grade can be held against: the worst of them counts.

    Parameters
    ----------
    held : Sequence
        Readings of the hold window, none of them doubtful
    stream : Compensation
        What the trace in this water is (``Specification.compensation``)
    tank : str
        Serial, for a window that was read behind one tank

    Returns
    -------
    results : tuple
        At most two: the highest conductivity at 25 °C, and, where the meter did not compensate, the reading nearest to (or
        furthest above) the table for uncompensated ones
    """
    valid = [reading for reading in held if reading.instrument_is_valid and not _is_flat_and_pure(reading)]
    if not valid:
        return ()
    at_25 = max(valid, key=lambda reading: reading.at_25_celsius(stream))
    found = [_result("conductivity", at_25.at_25_celsius(stream), at_25, tank)]
    plain = [reading for reading in valid if not reading.is_compensated]
    if plain:
        table = next(test.table for grade in PUBLISHED for test in grade.tests if test.table)
        worst = max(
            plain,
            key=lambda reading: (
                reading.conductivity_siemens_per_m
                / table_limit_siemens_per_m(table, reading.temperature_kelvin)
            ),
        )
        found.append(_result(UNCOMPENSATED, worst.conductivity_siemens_per_m, worst, tank))
    return tuple(found)


def _is_flat_and_pure(reading: RinseReading) -> bool:
    """A flat 2 %/K is not valid in such pure water, so the reading proves nothing."""
    return (
        reading.compensation is Compensation.FLAT
        and reading.conductivity_siemens_per_m < FLAT_VALID_FROM_SIEMENS_PER_M
    )


def _result(key: str, value: float, reading: RinseReading, tank: str) -> LabResult:
    return LabResult(
        key, value, reading.at_s, reading.instrument_code, True, tank, reading.temperature_kelvin
    )


# --- a specification begun with a grade -----------------------------------------------------------------------------
def limits_of(grade: Grade) -> tuple[Limit, ...]:
    """The grade's tests as limits of a specification, with their source; what is known from memory only is left out.

    A limit by pH is left out too: no specification holds one, and stage 3 is judged by ``claims``.
    """
    found = []
    for test in grade.tests:
        if test.is_from_memory or test.by_ph:
            continue
        entry = MEASUREMENTS[test.measurement]
        found.append(
            Limit(
                test.measurement,
                entry.name,
                entry.kind,
                test.low,
                test.high,
                LimitBasis.UNCOMPENSATED_TABLE if test.table else LimitBasis.AT_25_CELSIUS,
                test.table,
                grade.source,
                method=entry.methods[0].name if entry.methods else "",
                grade=grade.name,
            )
        )
    return tuple(found)


def begun_with(specification: Specification, grade: Grade) -> Specification:
    """A specification with the grade's limits in place of its own for the same tests; all others stay."""
    copied = limits_of(grade)
    keys = {limit.measurement for limit in copied}
    kept = tuple(limit for limit in specification.limits if limit.measurement not in keys)
    return replace(specification, limits=(*copied, *kept))


def not_copied(grade: Grade) -> tuple[str, ...]:
    """Why figures of a grade are not among ``limits_of``, one sentence each."""
    sentences = [
        f"{name_of(test.measurement)} {allowed(test)}: from memory, so it is no limit here. Write it yourself from the standard."
        for test in grade.tests
        if test.is_from_memory
    ]
    if any(test.by_ph for test in grade.tests):
        sentences.append(
            "The limit that goes by pH is judged for a certificate, and is no limit of a specification."
        )
    return tuple(sentences)


def allowed(test: GradeTest) -> str:
    """What a test of a grade allows, in words."""
    kind = MEASUREMENTS[test.measurement].kind
    if test.table:
        return (
            f"by temperature, {say(test.table[0][1], kind)} at {say(test.table[0][0], 'temperature')} and up"
        )
    if test.by_ph:
        return f"by pH, {say(test.by_ph[0][1], kind)} at pH {test.by_ph[0][0]:g}"
    if test.low is None:
        return f"at most {say(test.high or 0.0, kind)}"
    if test.high is None:
        return f"at least {say(test.low, kind)}"
    return say_range(test.low, test.high, kind)
