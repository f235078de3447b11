"""The step cards of a batch in words: what goes on now, in each leg, or who must do what where no step is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.batches.selectors.page import BatchPage, Work
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.vocabulary import Leg, ResinFamily
from regenplant.web.presenters.bed import (
    held_words,
    hours_and_minutes,
    leg_words,
    lower_first,
    moment_words,
    name_without_leg,
    planned_time,
)
from regenplant.web.presenters.words import clock, sentence_case


@dataclass(frozen=True, slots=True)
class Card:
    """The step under way, or what waits for a person where no step does."""

    name: str
    number: int | None
    state: str
    word: str
    do: str
    ends_when: str
    left: str = ""
    left_unit: str = ""
    left_alt: str = ""


def card_of(page: BatchPage, work: Work | None, now: datetime) -> Card:
    """What goes on now: at one of the steps that can be worked on, or with the people a batch waits for."""
    if work is None:
        return _people_card(page, now)
    line, planned = work.line, work.planned
    ends = f"Ends when: {planned.ends_when}" + (
        f" Drains to: {planned.drain_to}." if planned.drain_to else ""
    )
    if page.hold is not None:
        held = hours_and_minutes((now - page.hold.held_at).total_seconds())
        word = f"{held_words(page.progress)}, {'step runs' if line.state == StepState.RUNNING else 'this is next'}"
        return Card(
            line.name, line.number, "held", in_leg(work, word), planned.instruction, ends, held, "held"
        )
    if line.state == StepState.RUNNING:
        return _running_card(work, ends, now)
    word = "Ready to start" if page.batch.started_at is None else "Next"
    left = planned_time(line.planned_s)
    return Card(
        line.name, line.number, "waiting", in_leg(work, word), planned.instruction, ends, left, "planned"
    )


def in_leg(work: Work, word: str) -> str:
    """ "Cation leg, M1: running since 09:12"; the word alone for a step of the whole bed."""
    leg = leg_words(work.line.leg)
    return f"{sentence_case(leg)}, {work.vessel_code}: {lower_first(word)}" if leg else word


def jump_words(work: Work) -> str:
    """ "Cation leg: displacement rinse", or "Step 5: acid injection", for the link to its card."""
    leg = leg_words(work.line.leg)
    name = lower_first(name_without_leg(work.line.name, work.line.leg))
    return f"{sentence_case(leg) if leg else f'Step {work.line.number}'}: {name}"


def _running_card(work: Work, ends: str, now: datetime) -> Card:
    line = work.line
    since = f"Running since {moment_words(line.started_at, now)}" if line.started_at else "Running"
    state = "overdue" if line.is_late else "running"
    left, unit = hours_and_minutes(line.left_s), "over" if line.left_s < 0 else "left"
    to = "" if line.left_s < 0 else f"to {clock(now + timedelta(seconds=line.left_s))} by plan"
    return Card(
        line.name, line.number, state, in_leg(work, since), work.planned.instruction, ends, left, unit, to
    )


def standing_sentence(page: BatchPage, work: Work) -> str:
    """What stands in the bed of this step now (of carbon, in the tanks); "" where nothing does."""
    chemical = page.standing.get(work.leg) or page.standing.get(Leg.WHOLE)
    if chemical is None:
        return ""
    whole = ResinFamily(page.batch.resin_type.family).stands_in
    where = f"the {work.leg.label}, {work.vessel_code}" if work.leg is not Leg.WHOLE else whole
    return f"{chemical.label} stands in {where}."


def other_leg_sentence(page: BatchPage) -> str:
    """What the finished leg waits for, while the other is still at work; "" where there is none."""
    works = [work for work in page.works if work.leg is not Leg.WHOLE]
    if len(works) != 1:
        return ""
    other = Leg.ANION if works[0].leg is Leg.CATION else Leg.CATION
    steps = [line for line in page.progress.steps if line.leg == other]
    if not steps or any(line.state in (StepState.WAITING, StepState.RUNNING) for line in steps):
        return ""
    return f"The {other.label} is done and waits for the {works[0].leg.label}."


_PEOPLE = {
    BatchState.AWAITING_QC: ("QC", "Measure the sample and judge the batch.", "waits"),
    BatchState.PASSED: (
        "Fill the tanks",
        "Look at each empty shell, fill it, write down its volume.",
        "waits",
    ),
    BatchState.FAILED: ("Failed", "A supervisor decides: rework in the same vessel, or scrap.", "waits"),
    BatchState.ABORTED: (
        "Aborted",
        "What was never started gave its tanks back. Else a supervisor decides.",
        "",
    ),
    BatchState.FILLED: ("Release", "A person who took no part looks at the record and signs.", "waits"),
    BatchState.RELEASED: ("Released", "The tanks may be shipped.", ""),
    BatchState.SCRAPPED: ("Scrapped", "The resin was thrown away; its tanks wait empty.", ""),
}


def _people_card(page: BatchPage, now: datetime) -> Card:
    """No step is open: who must do what now."""
    batch, state = page.batch, BatchState(page.batch.state)
    name, do, unit = _PEOPLE.get(state, (sentence_case(batch.get_state_display()), "", ""))
    if ResinFamily(batch.resin_type.family).is_exchanged:
        do = do.replace("The resin was", "The carbon was")
    since = batch.finished_at or batch.judged_at or batch.rinsed_at
    waited = hours_and_minutes((now - since).total_seconds()) if unit and since else ""
    word = f"{sentence_case(batch.get_state_display())}" + (
        f" since {moment_words(since, now)}" if since else ""
    )
    card_state = "held" if page.hold is not None else state.value
    return Card(name, None, card_state, word, do, "", waited, "waited" if waited else "")
