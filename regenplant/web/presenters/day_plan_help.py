"""What would bring a late tank of a plan on time, in rows and sentences."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.core.process.vocabulary import WaterKind
from regenplant.core.scheduling.relaxing import RelaxKind
from regenplant.planning.answers import Answer, Change, answer_from
from regenplant.planning.models import DayPlan, LateTankAnswer
from regenplant.planning.selectors import PlanShown
from regenplant.units import UnitSystem
from regenplant.web.presenters.day_plan_why import (
    SAME,
    chemical_word,
    each_day_once,
    lasting_words,
    score_words,
)
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case

WHO = {
    RelaxKind.OPERATOR_HOUR: "one operator more",
    RelaxKind.TECHNICIAN_HOUR: "one QC technician more",
    RelaxKind.SECOND_HOUR: "one second person more",
    RelaxKind.SHIFT_HOUR: "an operator, a QC technician and a second person more",
}


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One change that was tried."""

    what: str
    ready_at: datetime
    still_late: str
    """ "on time", or by how much it is late still."""
    score: str
    others: str
    """What it does to other tanks."""


@dataclass(frozen=True, slots=True)
class HelpShown:
    """An answer as it is shown."""

    lead: str
    helps: tuple[ChangeRow, ...]
    others: tuple[ChangeRow, ...]
    """Tried, and no help by themselves, but the plan is another one."""
    nothing: tuple[str, ...]
    """Tried, and nothing comes of it for this tank or for the plan."""
    sentences: tuple[str, ...]
    asked: str
    is_old: bool
    """The plan was changed by hand since."""
    takes_hours: bool
    """Some of what helps is an hour of people."""


def help_shown(row: DayPlan, kept: LateTankAnswer, view: PlanShown, system: UnitSystem) -> HelpShown:
    """The answer that was kept with the plan."""
    answer = answer_from(kept.content)
    words = _Words(view, system)
    helps = [one for one in answer.tried if one.helps]
    left = [one for one in answer.tried if not one.helps]
    idle = [one for one in left if one.ready_min >= answer.ready_min and abs(one.costs) <= SAME]
    return HelpShown(
        lead=each_day_once(words.lead(answer, len(helps))),
        helps=tuple(words.row(one) for one in helps),
        others=tuple(words.row(one) for one in left if one not in idle),
        nothing=tuple(words.row(one).what for one in idle),
        sentences=tuple(map(each_day_once, words.sentences(answer))),
        asked=f"{kept.asked_by.full_name}, {day_and_clock(kept.asked_at)}",
        is_old=kept.plan_version != row.version,
        takes_hours=any(one.how.kind in WHO for one in helps),
    )


class _Words:
    def __init__(self, view: PlanShown, system: UnitSystem) -> None:
        self.view = view
        self.system = system

    def at(self, minute: int) -> str:
        return day_and_clock(self.view.clock.moment(minute))

    def lead(self, answer: Answer, helps: int) -> str:
        if answer.alone_min > answer.due_min:
            return (
                f"Even alone in the plant it would be ready {self.at(answer.alone_min)} at the earliest, with every limit as it is: "
                f"{lasting_words(answer.alone_min - answer.due_min)} after it is due. "
            ) + (
                "Only a change of these brings it on time."
                if helps
                else "Nothing that was tried brings it on time by itself."
            )
        if answer.first.is_on_time and answer.first.costs <= SAME:
            return "No limit has to change: put before all others it is on time, and the plan is no dearer. Rush it, or search longer."
        if helps:
            return f"Each of these brings it on time by itself: {counted(helps, 'change')} of {len(answer.tried)} that were tried."
        if answer.first.is_on_time:
            return "It is on time if it goes before all others; no change that was tried does it cheaper."
        return "Nothing of what was tried brings it on time by itself."

    def sentences(self, answer: Answer) -> list[str]:
        first = answer.first
        found = []
        if first.is_on_time:
            found.append(
                f"With nothing changed, but before all others, it is ready {self.at(first.ready_min)}, on time: "
                f"{score_words(first.costs)}{self._others(first, ', ')}. Rush it in its batch to do that."
            )
        else:
            found.append(
                f"With nothing changed, but before all others, it is ready {self.at(first.ready_min)}, still "
                f"{lasting_words(first.late_min)} late: {score_words(first.costs)}{self._others(first, ', ')}."
            )
            found.append(f"A promise that this plan can keep: {self.at(first.ready_min)}.")
        if answer.not_tried:
            found.append(
                f"{sentence_case(counted(answer.not_tried, 'change'))} more could not be tried in the time that a question may take."
            )
        return found

    def row(self, one: Change) -> ChangeRow:
        return ChangeRow(
            what=each_day_once(sentence_case(self._what(one))),
            ready_at=self.view.clock.moment(one.ready_min),
            still_late="on time" if one.is_on_time else f"{lasting_words(one.late_min)} late",
            score=score_words(one.costs).removeprefix("score ").removesuffix(" score"),
            others=self._others(one, "") or "the same",
        )

    def _others(self, one: Change, before: str) -> str:
        """How many more or fewer other tanks are late."""
        if not one.others_late:
            return ""
        more = "more" if one.others_late > 0 else "fewer"
        tanks = f"{abs(one.others_late)} {more}"
        return f"{before}{tanks} of the other tanks late" if before else tanks

    def _what(self, one: Change) -> str:
        how = one.how
        match how.kind:
            case kind if kind in WHO:
                return f"{WHO[kind]} from {self.at(how.at_min)} to {self.at(how.until_min)}"
            case RelaxKind.DELIVERY:
                return (
                    f"the delivery of {chemical_word(how.name)} expected {self.at(how.at_min)} comes {self.at(how.until_min)}, "
                    f"{how.amount:g} h earlier"
                )
            case RelaxKind.MORE_STOCK:
                mass = units.format_quantity(how.amount, "mass", self.system)
                return f"{mass} of {chemical_word(how.name)} more, as 100 %, from the beginning"
            case RelaxKind.VESSEL_MORE:
                return f"one vessel more like {how.name}, free from the beginning"
            case RelaxKind.VESSEL_OPEN:
                return f"{how.name} is not locked out or in other use"
            case RelaxKind.WATER:
                flow = units.format_quantity(how.amount / 60_000, "flow", self.system)
                return f"{flow} more of {WaterKind(how.name).label.lower()}"
            case RelaxKind.WASTE:
                volume = units.format_quantity(how.amount / 1000, "liquid_volume", self.system)
                return f"the waste tank, which holds {volume}, is empty at the beginning"
            case RelaxKind.STRENGTH:
                return f"the strength of {chemical_word(how.name)} is checked before it expires"
            case RelaxKind.LINE:
                return f"one more feed line for {chemical_word(how.name)}"
        return "nothing changed"
