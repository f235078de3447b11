"""Review by exception: what was unusual in a batch, worst first, and what was looked at where nothing was.

A reviewer reads this before the record itself. The rules decide nothing about the batch; they only never leave out what a
careful reader of the whole record would stop at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.review_facts import (
    HoldFact,
    ReviewFacts,
    StepFact,
    UseFact,
    ValueFact,
)
from regenplant.core.process.wording import listed, say

SHORT_FRAC, LONG_FRAC, OVER_S = 0.5, 1.5, 300.0
"""A step that took less than half its planned time, or half as long again and five minutes more, is shown. This program's own
choice: it asks for a look and judges nothing."""
BACK_DATED_S = 60.0
"""A time of happening that lies more than this before the writing was typed by hand [s]. Own choice."""
CHEMICAL_FRAC = 0.05
"""Share of the planned mass by which a chemical may be off before it is shown; common practice, not a limit of the process."""
NEAR_FRAC = 0.8
"""Share of the longest age at which a strength check counts as near its end. Own choice."""


class Unusual(StrEnum):
    """What can be unusual, worst first: the order of the page."""

    PLAN = "plan"
    REOPENED = "reopened"
    AMENDED = "amended"
    DOWNGRADED = "downgraded"
    DEVIATION = "deviation"
    OUTSIDE = "outside"
    UNCHECKED = "unchecked"
    TYPED = "typed"
    CORRECTED = "corrected"
    LATE = "late"
    BACK_DATED = "back_dated"
    NOTHING = "nothing"
    SKIPPED = "skipped"
    TIME = "time"
    HELD = "held"
    RINSED_ON = "rinsed_on"
    OVERDUE = "overdue"
    DOUBT = "doubt"
    CHEMICAL = "chemical"
    STRENGTH = "strength"
    SEPARATION = "separation"
    PLACE = "place"
    TANK = "tank"
    REWORK = "rework"
    SIGNATURE = "signature"
    WARNED = "warned"

    @property
    def heading(self) -> str:
        """As a heading: "Values corrected"."""
        return TITLES[self]


TITLES: dict[Unusual, str] = {
    Unusual.PLAN: "The frozen plan",
    Unusual.REOPENED: "Open for correction",
    Unusual.AMENDED: "Decision amended",
    Unusual.DOWNGRADED: "Down to a lower product",
    Unusual.DEVIATION: "Deviations",
    Unusual.OUTSIDE: "Outside limits",
    Unusual.UNCHECKED: "Second check missing",
    Unusual.TYPED: "Two typings differed",
    Unusual.CORRECTED: "Values corrected",
    Unusual.LATE: "Written late",
    Unusual.BACK_DATED: "Time typed by hand",
    Unusual.NOTHING: "Not done, or not applicable",
    Unusual.SKIPPED: "Steps skipped",
    Unusual.TIME: "Much shorter or longer than planned",
    Unusual.HELD: "Holds and interruptions",
    Unusual.RINSED_ON: "The rinse went on",
    Unusual.OVERDUE: "Instrument out of calibration",
    Unusual.DOUBT: "Readings that point to the instrument",
    Unusual.CHEMICAL: "Chemical off plan",
    Unusual.STRENGTH: "Strength check and lot",
    Unusual.SEPARATION: "How the mixed bed parted",
    Unusual.PLACE: "Another vessel than planned",
    Unusual.TANK: "Tanks not filled",
    Unusual.REWORK: "A rework",
    Unusual.SIGNATURE: "Signatures refused",
    Unusual.WARNED: "Warnings the plan was frozen with",
}
NONE_OF: dict[Unusual, str] = {
    Unusual.DEVIATION: "deviation",
    Unusual.OUTSIDE: "value outside its limits",
    Unusual.UNCHECKED: "missing second check",
    Unusual.TYPED: "two typings that differed",
    Unusual.CORRECTED: "correction",
    Unusual.LATE: "late entry",
    Unusual.BACK_DATED: "time typed by hand",
    Unusual.NOTHING: "entry left without a value",
    Unusual.SKIPPED: "skipped step",
    Unusual.TIME: "step much shorter or longer than planned",
    Unusual.HELD: "hold",
    Unusual.OVERDUE: "overdue instrument",
    Unusual.DOUBT: "doubtful reading",
    Unusual.CHEMICAL: "chemical off plan",
    Unusual.STRENGTH: "old strength check or other lot",
    Unusual.TANK: "tank set aside",
    Unusual.SIGNATURE: "refused signature",
}
"""How "none of it" reads; the kinds that are missing here are spoken of only where they are."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to look at. ``ref`` names what it is about, where that has a page: a deviation's number, else ""."""

    kind: Unusual
    sentence: str
    step: int = 0
    ref: str = ""
    is_grave: bool = False
    """It stops the release, or would if it were not decided."""


@dataclass(frozen=True, slots=True)
class Exceptions:
    """What was unusual, worst first, and what was looked at."""

    findings: tuple[Finding, ...]
    looked_at: tuple[str, ...]
    """What was gone through, each with its number: "41 entries"."""
    none_of: tuple[str, ...]
    """What there was none of."""

    def of(self, kind: Unusual) -> tuple[Finding, ...]:
        return tuple(found for found in self.findings if found.kind is kind)

    @property
    def kinds(self) -> tuple[Unusual, ...]:
        """The kinds that were found, worst first."""
        present = {found.kind for found in self.findings}
        return tuple(kind for kind in Unusual if kind in present)

    @property
    def sentence(self) -> str:
        """ "3 things were unusual" or "Nothing unusual", with what was looked at."""
        looked = f"Looked at: {listed(self.looked_at)}." if self.looked_at else ""
        number = len(self.findings)
        said = (
            f"{number} things were unusual."
            if number > 1
            else "One thing was unusual."
            if number
            else "Nothing unusual."
        )
        return " ".join(filter(None, (said, looked)))


def exceptions(facts: ReviewFacts) -> Exceptions:
    """Everything unusual in these facts."""
    found = [finding for rule in _RULES for finding in rule(facts)]
    order = list(Unusual)
    found.sort(key=lambda finding: (order.index(finding.kind), not finding.is_grave, finding.step))
    present = {finding.kind for finding in found}
    none_of = tuple(words for kind, words in NONE_OF.items() if kind not in present)
    return Exceptions(tuple(found), _looked_at(facts), none_of)


def _looked_at(facts: ReviewFacts) -> tuple[str, ...]:
    values = dict.fromkeys(("entries", "readings", "measurements"), 0)
    for value in facts.values:
        values[_sort(value)] += 1 if value.logged is None else value.logged
    counts = [
        (len(facts.steps), "step", "steps"),
        (values["entries"], "entry", "entries"),
        (values["readings"], "rinse reading", "rinse readings"),
        (values["measurements"], "measurement", "measurements"),
        (len(facts.deviations), "deviation", "deviations"),
        (len(facts.holds), "hold", "holds"),
        (len(facts.uses), "chemical", "chemicals"),
        (len(facts.tanks), "tank", "tanks"),
    ]
    return tuple(
        f"{number:,} {one if number == 1 else many}{_logged(facts) if one == 'rinse reading' else ''}"
        for number, one, many in counts
    )


def _logged(facts: ReviewFacts) -> str:
    """ " (190 of them logged, in 10 logs)"; "" where a person wrote them all."""
    logs = [value.logged for value in facts.values if value.logged]
    many = "log" if len(logs) == 1 else "logs"
    return f" ({sum(logs):,} of them logged, in {len(logs)} {many})" if logs else ""


def _sort(value: ValueFact) -> str:
    return {"rinse": "readings", "sample": "measurements"}.get(value.place, "entries")


# --- the record as such -----------------------------------------------------------------------------------------------
def _plan(facts: ReviewFacts) -> Iterator[Finding]:
    if not facts.is_plan_untouched:
        yield Finding(Unusual.PLAN, "The frozen plan does not fit its digest: it was altered.", is_grave=True)


def _reopened(facts: ReviewFacts) -> Iterator[Finding]:
    if facts.reopened:
        yield Finding(Unusual.REOPENED, facts.reopened, is_grave=True)


def _amended(facts: ReviewFacts) -> Iterator[Finding]:
    for decision in facts.decisions:
        if decision.version > 1:
            yield Finding(
                Unusual.AMENDED,
                f"Version {decision.version} of the decision, {decision.verdict}, by {decision.who}, {decision.when}. {decision.why}",
            )


def _deviations(facts: ReviewFacts) -> Iterator[Finding]:
    for one in facts.deviations:
        end = "It is open." if one.is_open else f"{one.decided_by}: {one.decision}"
        yield Finding(
            Unusual.DEVIATION,
            f"{one.number}, {one.severity}: {_stopped(one.what)} {end}",
            one.step,
            one.number,
            is_grave=one.is_open,
        )


def _acts(facts: ReviewFacts) -> Iterator[Finding]:
    for act in facts.acts:
        kind = Unusual.TYPED if act.kind == "typing" else Unusual.SIGNATURE
        yield Finding(kind, f"{act.when}, {act.who}: {_stopped(act.sentence)}")


def _warnings(facts: ReviewFacts) -> Iterator[Finding]:
    for sentence in facts.plan_warnings:
        yield Finding(Unusual.WARNED, sentence)


def _rework(facts: ReviewFacts) -> Iterator[Finding]:
    if facts.reworks:
        yield Finding(Unusual.REWORK, f"It reworks {facts.reworks}. {_stopped(facts.rework_cause)}")


def _ways(facts: ReviewFacts) -> Iterator[Finding]:
    if facts.downgraded:
        yield Finding(Unusual.DOWNGRADED, facts.downgraded)
    for sentence in facts.rinsed_on:
        yield Finding(Unusual.RINSED_ON, sentence)


# --- what was written down --------------------------------------------------------------------------------------------
def _values(facts: ReviewFacts) -> Iterator[Finding]:
    for value in facts.values:
        for kind, tail in _of_value(value):
            yield Finding(kind, f"{_named(value)}{tail}", value.step)


def _of_value(value: ValueFact) -> Iterator[tuple[Unusual, str]]:
    here = f" ({value.who}, {value.when})."
    if value.replaces:
        before = f", by {value.replaced_who}" if value.replaced_who else ""
        yield (
            Unusual.CORRECTED,
            f" {value.words}; before: {value.replaces}{before}. {_stopped(value.reason)} {here.strip()}",
        )
    if value.is_within is False and not value.is_replaced:
        yield Unusual.OUTSIDE, f" {value.words}, allowed {value.limits}{here}"
    if value.standing != "written" and not value.is_replaced:
        yield Unusual.NOTHING, f": {value.words}. {_stopped(value.reason)} {here.strip()}"
    if value.is_late and not value.replaces:
        yield (
            Unusual.LATE,
            f" {value.words}: written {_span(value.behind_s)} after it happened. {_stopped(value.reason)} {here.strip()}",
        )
    elif value.behind_s > BACK_DATED_S and not value.replaces:
        yield (
            Unusual.BACK_DATED,
            f" {value.words}: time typed by hand, {_span(value.behind_s)} before it was written{here}",
        )
    if value.instrument and not value.instrument_was_valid and not value.is_replaced:
        yield (
            Unusual.OVERDUE,
            f" {value.words} by {value.instrument}, out of calibration: it proves nothing{here}",
        )
    if value.doubt and not value.is_replaced:
        yield Unusual.DOUBT, f" {value.words} by {value.instrument}: {_stopped(value.doubt)} {here.strip()}"
    if value.needs_check and not value.is_checked and not value.is_replaced:
        yield Unusual.UNCHECKED, f" {value.words} is critical and was not checked a second time{here}"


def _named(value: ValueFact) -> str:
    return (
        f"{value.place[:1].upper()}{value.place[1:]}, {value.name[:1].lower()}{value.name[1:]}"
        if value.name
        else value.place
    )


# --- how it went ------------------------------------------------------------------------------------------------------
def _steps(facts: ReviewFacts) -> Iterator[Finding]:
    for step in facts.steps:
        if step.state == "skipped":
            yield Finding(
                Unusual.SKIPPED, f"{step.name} was skipped. {_stopped(step.skip_reason)}", step.number
            )
        elif step.worked_s is not None and _is_off(step):
            worked = _span(step.worked_s)
            yield Finding(
                Unusual.TIME, f"{step.name} took {worked}; {_span(step.planned_s)} were planned.", step.number
            )


def _is_off(step: StepFact) -> bool:
    if step.planned_s <= 0.0 or step.worked_s is None:
        return False
    longest = max(LONG_FRAC * step.planned_s, step.planned_s + OVER_S)
    return step.worked_s < SHORT_FRAC * step.planned_s or step.worked_s > longest


def _holds(facts: ReviewFacts) -> Iterator[Finding]:
    for hold in facts.holds:
        yield Finding(Unusual.HELD, _hold_sentence(hold), is_grave=hold.is_interruption)


def _hold_sentence(hold: HoldFact) -> str:
    kind = "Interrupted" if hold.is_interruption else "Held"
    lasted = f"for {_span(hold.lasted_s)}" if hold.lasted_s is not None else "and not resumed"
    return f"{kind} {hold.when} {lasted}, {hold.who}: {_stopped(hold.reason)}"


def _uses(facts: ReviewFacts) -> Iterator[Finding]:
    for use in facts.uses:
        off = use.used_kg - use.planned_kg
        if use.planned_kg > 0.0 and abs(off) > CHEMICAL_FRAC * use.planned_kg:
            share = say(abs(off) / use.planned_kg, "fraction")
            yield Finding(
                Unusual.CHEMICAL,
                f"{use.chemical}: {say(use.used_kg, 'mass')} as 100 % drawn, {say(use.planned_kg, 'mass')} planned, "
                f"{share} {'more' if off > 0 else 'less'}.",
            )
        for sentence in use.taken_back:
            yield Finding(Unusual.CHEMICAL, sentence)
        yield from _lot(use)


def _lot(use: UseFact) -> Iterator[Finding]:
    others = [lot for lot in use.lots if lot != use.planned_lot]
    if others and use.planned_lot:
        yield Finding(
            Unusual.STRENGTH,
            f"{use.chemical} was drawn from {listed(others)}; planned with {use.planned_lot}.",
        )
    if use.check_age_days is None:
        if use.planned_lot:
            yield Finding(
                Unusual.STRENGTH,
                f"{use.chemical}, lot {use.planned_lot}: its strength was never checked here.",
            )
    elif use.max_age_days and use.check_age_days >= NEAR_FRAC * use.max_age_days:
        yield Finding(
            Unusual.STRENGTH,
            f"{use.chemical}, lot {use.planned_lot}: its strength check was {use.check_age_days:.0f} days old when it was planned, "
            f"at most {use.max_age_days:.0f}.",
        )


def _separation(facts: ReviewFacts) -> Iterator[Finding]:
    for line in facts.separation:
        yield Finding(Unusual.SEPARATION, line)


def _place(facts: ReviewFacts) -> Iterator[Finding]:
    if facts.planned_vessel and facts.vessel != facts.planned_vessel:
        yield Finding(
            Unusual.PLACE, f"Run in {facts.vessel}; planned for {facts.planned_vessel}.", is_grave=True
        )


def _tanks(facts: ReviewFacts) -> Iterator[Finding]:
    for tank in facts.tanks:
        if tank.set_aside_reason:
            yield Finding(Unusual.TANK, f"{tank.serial} was set aside: {_stopped(tank.set_aside_reason)}")
        if tank.withdrawn_reason:
            yield Finding(
                Unusual.TANK, f"{tank.serial} was filled and withdrawn: {_stopped(tank.withdrawn_reason)}"
            )


_RULES: tuple[Callable[[ReviewFacts], Iterable[Finding]], ...] = (
    _plan, _reopened, _amended, _deviations, _values, _acts, _steps, _holds, _uses, _separation, _place, _tanks, _rework, _ways,
    _warnings,
)  # fmt: skip


# --- words ------------------------------------------------------------------------------------------------------------
def _stopped(text: str) -> str:
    """A sentence with its full stop."""
    text = text.strip()
    return text if not text or text.endswith((".", "!", "?")) else f"{text}."


def _span(seconds: float) -> str:
    """ "3 h 5 min", "12 min", "40 s"."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours >= 48:
        return f"{hours // 24} days"
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{minutes} min" if minutes else f"{rest} s"
