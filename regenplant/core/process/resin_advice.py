"""What may be done with a lot that ages: go on, test, clean, top up or replace, each with its reason and figures. Advice, never a promise.

Levels are common practice of the trade or the source named beside them. A person decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.resin_ageing import Belief, Curve
from regenplant.core.process.resin_fouling import Suspect
from regenplant.core.process.resin_losses import LossRate, reasons_to_top_up
from regenplant.core.process.resin_tests import DUE_DAYS, WHOLE_BEADS_LOW

REPLACE_BELOW = 0.75
"""Capacity down by 25 % and cleaning does not bring it back: replace (UFC 3-240-13FN, 2005, read)."""
USUAL_LIFE_YEARS = {Curve.TYPE_1: 6.0, Curve.TYPE_2: 4.0}
"""Usual age of replacement (Gottlieb 1997, read in an excerpt); of cation resin the source names 5 to 25 years and no usual one."""
CATION_FAST_PER_YEAR = 0.05
"""Loss beyond which a cause is looked for (UFC 3-240-13FN)."""
WIDE_BAND = 0.25
"""A band wider than so much from 5 to 95 % says that a test is worth its price; this program's choice."""
PROMISE = "Advice from the figures on record. It promises nothing, and a person decides."


class Step(StrEnum):
    """What is advised, the most urgent first."""

    REPLACE = "replace"
    CLEAN = "clean"
    TEST = "test"
    TOP_UP = "top_up"
    GO_ON = "go_on"

    @property
    def label(self) -> str:
        return _LABELS[self]


_LABELS = {
    Step.REPLACE: "Think of replacing it",
    Step.CLEAN: "Clean it",
    Step.TEST: "Test it",
    Step.TOP_UP: "Top it up",
    Step.GO_ON: "Go on",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of a lot when advice is asked for."""

    curve: Curve
    now: Belief
    age_years: float | None
    """Mean age over its parts of known age [a]; None where none is known."""
    suspects: Sequence[Suspect] = ()
    days_since_test: int | None = None
    """Since the newest laboratory test of its pool; None where there is none."""
    days_since_cleaning: int | None = None
    """Since a cleaning batch made it, or what it was made of; None where none is known."""
    whole_beads_frac: float | None = None
    losses: LossRate | None = None
    """What its cycles lost; None where no cycle is on record."""
    disagreeing: Sequence[str] = ()
    """Evidence that lies apart from what was expected, each as a sentence."""


@dataclass(frozen=True, slots=True)
class Advice:
    step: Step
    reason: str
    """A sentence, with the figures."""


def advise(standing: Standing) -> tuple[Advice, ...]:
    """Everything to be said of a lot, the most urgent first; "go on" stands alone.

    Parameters
    ----------
    standing : Standing
        What is known

    Returns
    -------
    advice : tuple[Advice, ...]
        At least one
    """
    found = [*_replace(standing), *_clean(standing), *_test(standing), *_top_up(standing)]
    if found:
        return tuple(sorted(found, key=lambda one: list(Step).index(one.step)))
    return (
        Advice(
            Step.GO_ON,
            f"The capacity left is believed to be {_band(standing.now)} of new, and no sign speaks against it.",
        ),
    )


def _band(belief: Belief) -> str:
    return f"{100 * belief.mean:.0f} % ({100 * belief.low:.0f} to {100 * belief.high:.0f} %)"


def _replace(standing: Standing) -> list[Advice]:
    found = []
    hopeless = [one for one in standing.suspects if one.is_confirmed and not one.foulant.can_be_cleaned]
    for one in hopeless:
        found.append(Advice(Step.REPLACE, f"The quick test says {one.foulant.name}. {one.foulant.treatment}"))
    is_down = standing.now.mean < REPLACE_BELOW
    cleaned = standing.days_since_cleaning is not None and standing.days_since_cleaning <= DUE_DAYS
    if standing.curve is Curve.CATION and is_down and cleaned:
        found.append(
            Advice(
                Step.REPLACE,
                f"The capacity left is {_band(standing.now)} of new, below 75 %, although it was cleaned "
                f"{standing.days_since_cleaning} days ago.",
            )
        )
    usual = USUAL_LIFE_YEARS.get(standing.curve)
    if usual is not None and standing.age_years is not None and standing.age_years >= usual:
        found.append(
            Advice(
                Step.REPLACE,
                f"It is {standing.age_years:.1f} years old on the average; such anion resin is usually replaced at {usual:.0f} years.",
            )
        )
    if standing.whole_beads_frac is not None and standing.whole_beads_frac < WHOLE_BEADS_LOW:
        found.append(
            Advice(
                Step.REPLACE,
                f"Only {100 * standing.whole_beads_frac:.0f} % of its beads are whole; 90 % is the least usual.",
            )
        )
    return found


def _clean(standing: Standing) -> list[Advice]:
    return [
        Advice(Step.CLEAN, f"The quick test says {one.foulant.name}. {one.foulant.treatment}")
        for one in standing.suspects
        if one.is_confirmed and one.foulant.can_be_cleaned
    ]


def _test(standing: Standing) -> list[Advice]:
    found = []
    open_ones = [one for one in standing.suspects if one.answer is None]
    if open_ones:
        first = open_ones[0]
        found.append(Advice(Step.TEST, f"Signs speak for {first.foulant.name}. {first.foulant.quick_test}"))
    found += [
        Advice(Step.TEST, f"{words} Look at the sample, and test again before it is believed.")
        for words in standing.disagreeing
    ]
    if standing.days_since_test is None:
        # a new lot waits for its first year, as every pool does
        if standing.age_years is None or standing.age_years * 365.25 > DUE_DAYS:
            found.append(
                Advice(
                    Step.TEST,
                    "No laboratory test of its pool is on record. Each pool is sampled once a year, over the full depth.",
                )
            )
    elif standing.days_since_test > DUE_DAYS:
        found.append(
            Advice(
                Step.TEST,
                f"The last laboratory test of its pool is {standing.days_since_test} days old. Each pool is sampled once a year.",
            )
        )
    width = standing.now.high - standing.now.low
    if width > WIDE_BAND and not found:
        found.append(
            Advice(
                Step.TEST,
                f"The capacity left is known no better than {_band(standing.now)}; a capacity test narrows it.",
            )
        )
    fast = _fast_loss(standing)
    if fast:
        found.append(fast)
    return found


def _fast_loss(standing: Standing) -> Advice | None:
    """Cation resin that loses more a year than its source calls normal."""
    if standing.curve is not Curve.CATION or standing.age_years is None or standing.age_years < 1.0:
        return None
    rate = (1.0 - standing.now.mean) / standing.age_years
    if rate <= CATION_FAST_PER_YEAR:
        return None
    return Advice(
        Step.TEST,
        f"It lost {100 * rate:.1f} % of its capacity a year; beyond 5 % a year a cause is looked for: chlorine, iron, breakage.",
    )


def _top_up(standing: Standing) -> list[Advice]:
    return [
        Advice(Step.TOP_UP, f"{reason} Top up with the same resin, conditioned, and look where it went.")
        for reason in reasons_to_top_up(standing.losses)
    ]
