"""Why a rinse may not do as it should: causes in order, each with what speaks for it and the next test.

Suggestions, never verdicts: nothing here passes, fails or holds a batch.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.process.forecasting.causes import CAUSES, Cause
from regenplant.core.process.forecasting.rinse_so_far import RinseSoFar
from regenplant.core.process.forecasting.signs import Chemistry, Seen, Sign, seen, strength_of

MOST_SUGGESTIONS = 5
_LEAST_WEIGHT = 0.35


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One cause to look into. ``weight`` puts suggestions in order and means nothing else."""

    code: str
    name: str
    weight: float
    because: tuple[str, ...]
    """What was seen that speaks for it."""
    next_test: str
    what_helps: str
    caution: str


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """``suggestions`` in order; empty when nothing unusual is seen."""

    signs: tuple[Seen, ...]
    suggestions: tuple[Suggestion, ...]
    sentence: str


def diagnose(
    rinse: RinseSoFar, chemistry: Chemistry | None = None, never_frac: float | None = None
) -> Diagnosis:
    """Causes that would explain the curve and the chemistry, the likeliest first.

    Parameters
    ----------
    rinse : RinseSoFar
        Readings so far
    chemistry : Chemistry | None
        What else has been measured
    never_frac : float | None
        Chance that the limit is never reached, from the forecast, 0 to 1 [-]

    Returns
    -------
    diagnosis : Diagnosis
        Signs, suggestions and a sentence

    Raises: OutOfRange as ``signs.seen``.
    """
    signs = seen(rinse, chemistry)
    weighed = [(cause, _weight(cause, signs)) for cause in CAUSES if rinse.bed in cause.beds]
    kept = sorted(
        ((cause, weight) for cause, weight in weighed if weight >= _LEAST_WEIGHT),
        key=lambda each: (-each[1], each[0].code),
    )
    suggestions = tuple(_suggestion(cause, weight, signs) for cause, weight in kept[:MOST_SUGGESTIONS])
    return Diagnosis(signs, suggestions, _sentence(suggestions, never_frac))


def _weight(cause: Cause, signs: tuple[Seen, ...]) -> float:
    if not any(strength_of(signs, sign) > 0.0 for sign in cause.needs):
        return 0.0
    return sum(weight * strength_of(signs, sign) for sign, weight in cause.speaks.items())


def _suggestion(cause: Cause, weight: float, signs: tuple[Seen, ...]) -> Suggestion:
    speaking: list[Sign] = [sign for sign, value in cause.speaks.items() if value > 0.0]
    because = tuple(each.sentence for each in signs if each.sign in speaking)
    return Suggestion(
        cause.code, cause.name, weight, because, cause.next_test, cause.what_helps, cause.caution
    )


def _sentence(suggestions: tuple[Suggestion, ...], never_frac: float | None) -> str:
    if suggestions:
        first = suggestions[0]
        return f"Look first at: {first.name}. {first.next_test}"
    if never_frac is not None and never_frac >= 0.5:
        return "The forecast expects no end point, but the curve shows no known sign. Check the meter and the rinse water first."
    return "Nothing unusual in the curve so far."
