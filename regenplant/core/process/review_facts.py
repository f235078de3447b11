"""What a review looks at, as plain facts: the rules in ``review_rules`` read nothing else.

Words (values as typed, limits, moments, names) are handed in ready to read; times are durations, so that no rule asks a clock.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ValueFact:
    """One thing written down: an entry, a rinse reading, a measurement; corrected rows are facts of their own."""

    place: str
    """Where it belongs: "Acid injection", "rinse", "sample"."""
    name: str
    words: str
    """As typed, with unit; for nothing, which kind of nothing."""
    who: str
    when: str
    """When it happened, in words."""
    step: int = 0
    limits: str = ""
    is_within: bool | None = None
    standing: str = "written"
    """ "written", "not_done" or "not_applicable"."""
    behind_s: float = 0.0
    """Written down so long after it happened [s]."""
    is_late: bool = False
    reason: str = ""
    """Why it was corrected, written late or not written."""
    replaces: str = ""
    """The words that stood before, for a correction."""
    replaced_who: str = ""
    is_replaced: bool = False
    """A later row corrects it; only the newest is judged, all are shown."""
    instrument: str = ""
    instrument_was_valid: bool = True
    doubt: str = ""
    """Why a reading points to its instrument instead of the water."""
    needs_check: bool = False
    is_checked: bool = False
    logged: int | None = None
    """How many readings a log of a meter holds; 0 where something is said of a log; None for what a person wrote."""


@dataclass(frozen=True, slots=True)
class StepFact:
    """One step as run. ``planned_s`` and ``worked_s`` in seconds, without the time it was held; None where it never ended."""

    number: int
    name: str
    state: str
    planned_s: float
    worked_s: float | None
    skip_reason: str = ""


@dataclass(frozen=True, slots=True)
class HoldFact:
    """A time the batch stood still; ``lasted_s`` None while it still does."""

    is_interruption: bool
    reason: str
    who: str
    when: str
    lasted_s: float | None


@dataclass(frozen=True, slots=True)
class DeviationFact:
    number: str
    severity: str
    what: str
    is_open: bool
    decision: str = ""
    decided_by: str = ""
    step: int = 0


@dataclass(frozen=True, slots=True)
class UseFact:
    """Mass of one chemical as 100 % [kg], planned and drawn; ``taken_back`` counts movements that were taken back."""

    chemical: str
    planned_kg: float
    used_kg: float
    planned_lot: str = ""
    lots: tuple[str, ...] = ()
    check_age_days: float | None = None
    """Age of the strength check the plan was made with [days]; None where the lot was never checked."""
    max_age_days: float = 0.0
    taken_back: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TankFact:
    serial: str
    is_filled: bool
    set_aside_reason: str = ""
    withdrawn_reason: str = ""


@dataclass(frozen=True, slots=True)
class DecisionFact:
    """One version of the decision. ``why`` says why there is a version after the first."""

    version: int
    verdict: str
    who: str
    when: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class ActFact:
    """Something the log of acts holds and no row does: a refused signature, two typings that differed."""

    kind: str
    """ "signature" or "typing"."""
    sentence: str
    who: str
    when: str


@dataclass(frozen=True, slots=True)
class ReviewFacts:
    """Everything of one batch that a review rests on."""

    values: tuple[ValueFact, ...] = ()
    steps: tuple[StepFact, ...] = ()
    holds: tuple[HoldFact, ...] = ()
    deviations: tuple[DeviationFact, ...] = ()
    uses: tuple[UseFact, ...] = ()
    tanks: tuple[TankFact, ...] = ()
    decisions: tuple[DecisionFact, ...] = ()
    acts: tuple[ActFact, ...] = ()
    separation: tuple[str, ...] = ()
    """How a mixed bed parted, line by line, beside what was predicted; empty for any other batch."""
    planned_vessel: str = ""
    vessel: str = ""
    reworks: str = ""
    """Number of the batch that this one reworks, "" for none."""
    rework_cause: str = ""
    downgraded: str = ""
    """To which lower product it went down, by whom and why; "" for none."""
    rinsed_on: tuple[str, ...] = ()
    """Each round for which the rinse went on, as a sentence."""
    plan_warnings: tuple[str, ...] = ()
    is_plan_untouched: bool = True
    reopened: str = ""
    """Why the signed record stands open for correction now; "" when it does not."""
