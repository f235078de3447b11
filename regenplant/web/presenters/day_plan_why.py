"""Why a batch of a plan is when, where and with which tanks it is, in sentences with clock times."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from regenplant import units
from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.core.scheduling.limits import LimitKind
from regenplant.core.scheduling.on_board import Parts
from regenplant.core.scheduling.why_here import (
    Elsewhere,
    Pooling,
    Refusal,
    WhyHere,
    WhyTanks,
    why_here,
    why_tanks,
)
from regenplant.core.scheduling.why_now import Binding, WhyNow, why_now
from regenplant.planning.selectors import PlanShown
from regenplant.units import UnitSystem
from regenplant.web.presenters.words import counted, day_and_clock, joined, sentence_case

_DAY = re.compile(r"(\d{4}-\d\d-\d\d) (?=\d\d:\d\d)")
SAME = 0.5
"""Scores nearer than this read as the same."""
MOST_TOLD = 4
"""So many limits are told: those with most to gain."""
PARTS = {
    "late": "lateness",
    "batches": "number of batches",
    "waivers": "fill below the minimum",
    "chemicals": "chemicals, water and waste",
    "changeovers": "clean-downs",
    "makespan": "hours until all is ready",
    "moves": "moving what people know",
}
PEOPLE = {
    LimitKind.OPERATORS: ("operators", "no operator is on shift, or too few,"),
    LimitKind.TECHNICIANS: ("QC technicians", "no QC technician is on shift"),
    LimitKind.SECOND_PEOPLE: ("second people", "no second person is on shift for it"),
}


@dataclass(frozen=True, slots=True)
class Why:
    """Sentences about one batch."""

    now: tuple[str, ...]
    here: tuple[str, ...]
    tanks: tuple[str, ...]


def why_words(view: PlanShown, name: str, system: UnitSystem) -> Why:
    """Everything that is told of why a batch of this plan is as it is."""
    words = _Words(view, system)
    return Why(
        tuple(map(each_day_once, words.now(why_now(view.problem, view.plan, name)))),
        tuple(map(each_day_once, words.here(why_here(view.problem, view.plan, name)))),
        tuple(map(each_day_once, words.tanks(why_tanks(view.problem, view.plan, name)))),
    )


def now_words(view: PlanShown, name: str, system: UnitSystem) -> tuple[str, ...]:
    """Only why it is not ready earlier."""
    return tuple(map(each_day_once, _Words(view, system).now(why_now(view.problem, view.plan, name))))


def score_words(total: float) -> str:
    """A difference of scores: "score +77", "the same score"."""
    if abs(total) <= SAME:
        return "the same score"
    return f"score {_signed(total)}"


def parts_words(costs: Parts) -> str:
    """A difference of scores with the parts it is made of, those that count."""
    parts = [
        f"{noun} {_signed(getattr(costs, name))}"
        for name, noun in PARTS.items()
        if abs(getattr(costs, name)) >= SAME
    ]
    inside = f" ({', '.join(parts)})" if parts and (len(parts) > 1 or abs(costs.total) >= SAME) else ""
    return f"{score_words(costs.total)}{inside}"


def _signed(amount: float) -> str:
    return f"{amount:+,.0f}".replace(",", units.THIN_SPACE).replace("-", "−")


def each_day_once(sentence: str) -> str:
    """The sentence with a day written out only where it is another one than before."""
    day = ""

    def told(match: re.Match[str]) -> str:
        nonlocal day
        is_same, day = match[1] == day, match[1]
        return "" if is_same else match[0]

    return _DAY.sub(told, sentence)


def chemical_word(name: str) -> str:
    """A chemical inside a sentence."""
    return Chemical(name).label.lower()


def ion_word(name: str) -> str:
    """An ion of the permit inside a sentence."""
    return "dissolved solids" if name == "tds" else name


def lasting_words(minutes: int) -> str:
    """A span: "35 min", "2.5 h"."""
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.1f} h"


class _Words:
    """Sentences about a plan; every time by the clock of the plant."""

    def __init__(self, view: PlanShown, system: UnitSystem) -> None:
        self.view = view
        self.system = system
        self.batches = {batch.id: batch for batch in view.plan.batches}
        self.begins = min(
            (
                *(tank.received_min for tank in view.problem.tanks),
                *(vessel.ready_min for vessel in view.problem.vessels),
            ),
            default=0,
        )

    def at(self, minute: int) -> str:
        return day_and_clock(self.view.clock.moment(minute))

    def until(self, minute: int | None) -> str:
        return "to the end of the days that are planned" if minute is None else f"until {self.at(minute)}"

    def names(self, batches: Iterable[str]) -> str:
        return joined(self.view.codes.get(name, name) for name in batches)

    def litres(self, volume_l: float) -> str:
        return units.format_quantity(volume_l / 1000, "resin_volume", self.system)

    # --- when --------------------------------------------------------------------------------------------------------------
    def now(self, why: WhyNow) -> Iterator[str]:
        vessel = self.batches[why.batch].vessel
        if not why.bindings:
            yield (
                f"Nothing keeps it: it is ready {self.at(why.earliest_min)} at the earliest, as long as its stages last from "
                f"{self.at(self.begins)}, when this plan begins."
            )
        elif why.are_together:
            ready = self.at(why.bindings[0].ready_min)
            yield f"No limit keeps it back alone. Only without all of these together would it be ready {ready}:"
            for binding in why.bindings:
                yield f"{self._refusal(binding, vessel)}."
        else:
            for binding in why.bindings[:MOST_TOLD]:
                yield f"{self._refusal(binding, vessel)}. Without that it would be ready {self.at(binding.ready_min)}."
        if why.earlier_costs is not None:
            yield self._earlier(why, vessel, why.earlier_costs)
        if why.at_once_min is not None:
            yield (
                f"It could be loaded from {self.at(why.at_once_min)} on and would be ready no earlier. Loaded later, its bed stands "
                "for a shorter time."
            )

    def _earlier(self, why: WhyNow, vessel: str, costs: Parts) -> str:
        gained = lasting_words(why.ready_min - why.earliest_min)
        place = f"With everything else kept it could be ready {self.at(why.earliest_min)} in {vessel}, {gained} earlier"
        if costs.total > SAME:
            return f"{place}. That costs more: {parts_words(costs)}."
        if costs.total < -SAME:
            return (
                f"{place}, and the plan would be better: {parts_words(costs)}. A longer search may find that."
            )
        return f"{place}, at the same score: nothing is gained by it."

    def _refusal(self, one: Binding, vessel: str) -> str:
        kind, name = one.limit.kind, one.limit.name
        stage = f"“{one.stage}”"
        by, until = self.names(one.by), self.until(one.until_min)
        match kind:
            case LimitKind.ARRIVAL:
                come = "comes" if len(one.by) == 1 else "come"
                return f"{joined(one.by)} {come} {self.at(one.until_min or 0)}"
            case LimitKind.READY:
                runs = f": {by} runs in it" if by else ""
                return f"{vessel} is not free {until}{runs}"
            case LimitKind.TAKEN:
                return f"{vessel} is taken by {by or 'others'} {until}"
            case LimitKind.CLOSED:
                return f"{vessel} is locked out or in other use {until}"
            case LimitKind.CHANGEOVER if one.is_offered:
                return (
                    f"{vessel} must be cleaned down for {by or 'what follows'} from {self.at(one.at_min)} on"
                )
            case LimitKind.CHANGEOVER:
                after = f" after {by}" if by else ""
                return f"{vessel} is cleaned down{after} {until}"
            case LimitKind.DECIDED:
                return f"Somebody decided that it begins {self.at(one.until_min or 0)}"
            case LimitKind.OPERATORS | LimitKind.TECHNICIANS | LimitKind.SECOND_PEOPLE:
                who, missing = PEOPLE[kind]
                if one.is_offered:
                    taken = f"all {who} are taken" + (f" by {by}" if by else " by what runs")
                    return f"At {self.at(one.at_min)}, when {stage} could run, {taken} {until}"
                return f"At {self.at(one.at_min)}, when {stage} could run, {missing} {until}"
            case LimitKind.OPENING:
                return f"The bed must not be left alone during {stage}, and from {self.at(one.at_min)} nobody is in the plant {until}"
            case LimitKind.SKID:
                taken = f"taken by {by}" if by else "taken by what runs, or there is none"
                return f"At {self.at(one.at_min)} every feed line of {chemical_word(name)} is {taken} {until}"
            case LimitKind.STOCK:
                others = f" besides what {by} draw{'s' if len(one.by) == 1 else ''}" if by else ""
                when = "" if one.until_min is None else f" before {self.at(one.until_min)}"
                return f"The stock of {chemical_word(name)} is not enough for {stage}{others}{when}"
            case LimitKind.STRENGTH:
                return f"The strength of {chemical_word(name)} is not checked {until}"
            case LimitKind.WATER:
                water = WaterKind(name).label.lower()
                taken = f"while {by} take{'s' if len(one.by) == 1 else ''} it" if by else "then"
                return f"At {self.at(one.at_min)} too little {water} is made for {stage} {taken}, {until}"
            case LimitKind.WASTE:
                taken = f" with what {by} send{'s' if len(one.by) == 1 else ''} there" if by else ""
                return f"The waste tank would run over if {stage} began {self.at(one.at_min)}{taken}; it has room {self.at(one.until_min or 0)}"
            case LimitKind.BUDGET:
                taken = f" by {by}" if by else ""
                return f"What the permit lets go of {ion_word(name)} that day is used up{taken} {until}"

    # --- where -------------------------------------------------------------------------------------------------------------
    def here(self, why: WhyHere) -> Iterator[str]:
        if not why.others:
            yield "There is no other vessel."
        key = next(
            tank.key for tank in self.view.problem.tanks if tank.id == self.batches[why.batch].tanks[0]
        )
        for refusal, sentence in (
            (Refusal.FAMILY, f"not for {key.family}"),
            (Refusal.SEGREGATION, f"not for class {key.segregation}"),
            (Refusal.TOO_SMALL, f"too small for {self.litres(why.volume_l)}"),
            (Refusal.CLOSED, "locked out or in other use for all the days that are planned"),
            (Refusal.NO_PLACE, "without a place for it in the days that are planned, everything else kept"),
            (Refusal.DECIDED, f"not what somebody decided, which is {why.vessel}"),
        ):
            refused = [one.vessel for one in why.others if one.refusal is refusal]
            if refused:
                yield f"{joined(refused)} {'is' if len(refused) == 1 else 'are'} {sentence}."
        for one in why.others:
            if one.costs is not None and one.ready_min is not None:
                yield self._elsewhere(why, one, one.ready_min, one.costs)

    def _elsewhere(self, why: WhyHere, one: Elsewhere, ready_min: int, costs: Parts) -> str:
        later = ready_min - self.batches[why.batch].end_min
        when = (
            f"{lasting_words(abs(later))} {'later' if later > 0 else 'earlier'}"
            if later
            else "at the same time"
        )
        fill = ", below the minimum fill of that vessel" if one.is_underfilled else ""
        there = f"In {one.vessel} it would be ready {self.at(ready_min)}, {when}{fill}"
        if abs(costs.total) <= SAME:
            return f"{there}, at the same score: either will do."
        if costs.total < 0:
            return (
                f"{there}, and the plan would be better: {parts_words(costs)}. A longer search may find that."
            )
        return f"{there}: {parts_words(costs)}."

    # --- which tanks -------------------------------------------------------------------------------------------------------
    def tanks(self, why: WhyTanks) -> Iterator[str]:
        room = f"{self.litres(why.room_l)} are left in the vessel" if why.room_l > 0 else "the vessel is full"
        yield f"{sentence_case(counted(len(why.tanks), 'tank'))} with {self.litres(why.volume_l)} of resin; {room}."
        if not why.same_key:
            yield "No other tank of the plan has the same resin, class and owner, so none could go with it."
        if why.too_big:
            yield f"With {self._few(why.too_big)} it would be more than any vessel takes that is for it."
        if why.come_later:
            yield f"{self._few(why.come_later)} {'comes' if len(why.come_later) == 1 else 'come'} after it is loaded."
        for one in (why.cheapest_added, why.cheapest_joined, why.cheapest_apart):
            if one is not None:
                yield self._pooling(one)

    def _few(self, tanks: tuple[str, ...]) -> str:
        more = len(tanks) - MOST_TOLD
        return joined(tanks) if more <= 0 else f"{', '.join(tanks[:MOST_TOLD])} and {counted(more, 'other')}"

    def _pooling(self, one: Pooling) -> str:
        other = self.names((one.batch,)) if one.batch else ""
        if one.costs is None:
            what = {
                "add": "With any tank of another batch",
                "join": "Joined with any other batch",
                "apart": "With any of its tanks apart",
            }[one.way]
            return f"{what}, not all have a place in the days that are planned."
        what = {
            "add": f"Of the others {one.tank} from {other} would cost least to go with it",
            "join": f"Joined with all of {other}",
            "apart": f"Of its own {one.tank} would cost least to go apart",
        }[one.way]
        if abs(one.costs.total) <= SAME:
            return f"{what}: the score stays the same."
        better = " The plan would be better; a longer search may find that." if one.costs.total < 0 else ""
        return f"{what}: {parts_words(one.costs)}.{better}"
