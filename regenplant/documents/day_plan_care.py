"""What the day plan on the wall says about care: when acid, caustic and other chemicals are fed, where a bed may stand, who releases.

It names the hazard and when it is met; what to do stands in the SDS, the batch sheet and the rules of the place, and those decide.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime

from regenplant.core.process.hazard_words import LINE_GEAR, NO_TAP, SHORT_NAMES, SHOWER
from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.wording import listed
from regenplant.documents.batch_sheet_setting import margin_word
from regenplant.documents.day_plan_content import BatchLine, DayPage
from regenplant.documents.faces import BODY, STRONG, Span
from regenplant.documents.flow import Block, Item, rich
from regenplant.documents.safety import SIGNALS, panel
from regenplant.planning.not_here import NotHere, Why
from regenplant.units import NO_BREAK_SPACE

Clock = Callable[[datetime], str]
MILD = (Chemical.SODIUM_CHLORIDE,)
"""What stings and makes floors slippery, and burns nobody."""
DID_NOT_COME = (
    "If one did not come or is not accepted, put no other tank in its place: tell whoever plans. The batch is started without it only if "
    "what is there still reaches the minimum fill of the vessel; else it waits, or is planned again."
)


def care(page: DayPage, clock: Clock, width: float) -> list[Item]:
    """A panel for what burns, one for what stings, then where beds may stand and who may release."""
    items: list[Item] = []
    lines = (*page.begins, *page.goes_on)
    burns = sorted(_fed(lines, clock, is_mild=False))
    stings = sorted(_fed(lines, clock, is_mild=True))
    if burns:
        gear = ", ".join(LINE_GEAR)
        spans = (
            Span(f"Burns skin and eyes: {'; '.join(burns)}. ", STRONG),
            Span(f"Gear on, through displacement: {gear}. {NO_TAP} {SHOWER} Acid and caustic never meet, neither meets bleach. {AUTHORITY}", BODY),
        )  # fmt: skip
        items.append(Item(panel(SIGNALS[SignalWord.DANGER], spans, ("GHS05",), width), gap=3))
    if stings:
        spans = (
            Span(f"Stings eyes, floors become slippery: {'; '.join(stings)}. ", STRONG),
            Span(AUTHORITY, BODY),
        )
        items.append(Item(panel(SIGNALS[SignalWord.CAUTION], spans, (), width), gap=3))
    items += [Item(_point(words, rest, width), gap=2) for words, rest in _rules(page, clock)]
    first = replace(items[0], margin=margin_word("Care", "before all else"), gap=10, keep=True)
    return [first, *items[1:]]


def standing_words(one: NotHere, clock: Clock) -> str:
    """How a tank stands that is not here, behind its number."""
    match one.why:
        case Why.CALLED_OFF:
            return "called off, does not come"
        case Why.AT_THE_DOOR:
            return "at the door, not judged"
        case Why.ON_ITS_WAY | Why.OVERDUE:
            assert one.expected_at is not None
            at = clock(one.expected_at).replace(" ", NO_BREAK_SPACE)
            return f"on its way, expected {at}" if one.why is Why.ON_ITS_WAY else f"expected {at}, not here"


def _fed(lines: tuple[BatchLine, ...], clock: Clock, *, is_mild: bool) -> Iterator[str]:
    """ "caustic 06:40 to 07:50 in A1": each chemical with its times and vessels. Stages that follow at once count as one."""
    times: dict[tuple[str, str], list[tuple[datetime, datetime]]] = defaultdict(list)
    for line in lines:
        for stage in line.stages:
            for name in dict.fromkeys(name for name, _ in stage.fed):
                if (Chemical(name) in MILD) is not is_mild:
                    continue
                known = times[SHORT_NAMES[Chemical(name)], line.vessel]
                if known and known[-1][1] == stage.start_at:
                    known[-1] = (known[-1][0], stage.end_at)
                else:
                    known.append((stage.start_at, stage.end_at))
    for (word, vessel), spans in times.items():
        said = ", ".join(f"{clock(start)} to {clock(end)}" for start, end in sorted(spans))
        yield f"{word} {said} in {vessel}"


def _rules(page: DayPage, clock: Clock) -> Iterator[tuple[str, str]]:
    yield (
        "Hold.",
        "Where “hold” stands behind a step the bed may stand so long after it, and no longer; nowhere else. Never stop with chemical in "
        "the bed: go on through displacement, then hold.",
    )
    away = [line for line in page.begins if line.not_here]
    if away:
        named = "; ".join(
            f"{line.code} in {line.vessel} with {listed([one.serial for one in line.not_here])}"
            for line in away
        )
        yield (
            "Not here yet.",
            f"{named}: not received, or not judged, when this was printed; how each stands is behind its number. Count and scan the tanks "
            f"before the vessel is loaded. {DID_NOT_COME}",
        )
    for line in page.begins:
        if line.no_stops:
            latest = "; ".join(
                f"{one.first} begins by {clock(one.latest_at)} at the latest, so that {one.reached} has begun before the plant closes at "
                f"{clock(one.closes_at)}"
                for one in line.no_stops
            )
            yield (
                f"Mixed bed {line.code} in {line.vessel}, last starts.",
                f"{latest}. Later than that it waits, at the hold point before, for the next opening.",
            )
    there = "; ".join(
        f"{count} from {clock(start)} to {clock(end)}" for start, end, count in page.second_people
    )
    yield (
        "Release.",
        "A batch is released by a second person, who took no part in it. "
        + (
            f"There for it: {there}." if there else "Nobody is there for it on this day: nothing is released."
        ),
    )


def _point(words: str, rest: str, width: float) -> Block:
    return rich((Span(f"{words} ", STRONG), Span(rest, BODY)), width, leading=BODY.leading)
