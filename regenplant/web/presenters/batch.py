"""The batch page in words: its head, what is wrong, the step under way, the steps, what was written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.batches.models import BatchTank, Deviation
from regenplant.batches.selectors.page import BatchPage
from regenplant.batches.selectors.progress import StepLine
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.vocabulary import ResinFamily, StepKind
from regenplant.web.presenters.bed import (
    held_words,
    hours_and_minutes,
    moment_words,
    step_of_all,
)
from regenplant.web.presenters.words import both, clock, counted, day_and_clock, joined, sentence_case


# --- the head -------------------------------------------------------------------------------------------------------
def head_sentence(page: BatchPage, now: datetime, system: str) -> str:
    """What it is, where, by which recipe, frozen when; and what became of it."""
    batch = page.batch
    tanks = counted(len(page.tanks), "tank")
    volume = both(batch.resin_volume_m3, "resin_volume", system)
    recipe = f"Recipe {batch.recipe_version.recipe.code} version {batch.recipe_version.number}"
    family = ResinFamily(batch.resin_type.family).label
    where = (
        f"in vessel {batch.vessel.code}"
        if batch.state != BatchState.RELEASED
        else f"from vessel {batch.vessel.code}"
    )
    parts = [
        f"{family}, class {batch.segregation_class}.",
        f"{sentence_case(tanks)}, {volume}, {where}.",
        f"{recipe}, frozen {moment_words(batch.planned_at, now)}.",
    ]
    if batch.parent is not None:
        parts.append(f"Rework of {batch.parent.number}: {batch.rework_cause}")
    if page.children:
        parts.append(f"Reworked as {joined(child.number for child in page.children)}.")
    return " ".join(parts)


def ruler_words(page: BatchPage, now: datetime) -> tuple[str, str, str]:
    """Left, middle and right under the ruler."""
    batch = page.batch
    left = f"started {moment_words(batch.started_at, now)}" if batch.started_at else "not started"
    if page.current is None:
        ended = batch.finished_at or batch.judged_at or batch.rinsed_at
        return left, "", f"{batch.get_state_display()} {moment_words(ended, now)}" if ended else ""
    middle = f"now {step_of_all(page.current, page.progress)}"
    if batch.started_at is None:
        return left, middle, f"takes {hours_and_minutes(page.progress.planned_s)}"
    return left, middle, f"done {moment_words(page.ready_at, now)}" if page.ready_at else ""


# --- wrong ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Wrong:
    """Something that needs a person. ``act`` names the page to go to, "" for none; ``key`` belongs to it."""

    mark: str
    tone: str
    headline: str
    text: str
    act: str = ""
    key: str = ""
    button: str = ""


def wrongs(page: BatchPage, now: datetime, verdict_reason: str = "") -> tuple[Wrong, ...]:
    """Everything wrong with this batch now, the gravest first."""
    return tuple(_wrongs(page, now, verdict_reason))


def _wrongs(page: BatchPage, now: datetime, verdict_reason: str) -> Iterable[Wrong]:
    batch, state = page.batch, BatchState(page.batch.state)
    if not page.is_plan_untouched:
        yield Wrong(
            "failed", "red", "The frozen plan does not fit its digest.", "Stop, and call the supervisor."
        )
    if state in (BatchState.FAILED, BatchState.ABORTED):
        text = verdict_reason or "A supervisor decides: rework or scrap."
        yield Wrong("failed", "red", f"{sentence_case(batch.get_state_display())}.", text)
    if page.hold is not None:
        yield _hold_note(page, now)
    if page.current is not None and page.current.is_late and state is not BatchState.HELD:
        late = hours_and_minutes(page.current.left_s)
        yield Wrong(
            "overdue",
            "amber",
            f"{page.current.name} is {late} over its time.",
            "Carry on, or hold and say why.",
        )
    for deviation in page.open_deviations:
        yield Wrong(
            "check", "amber", f"{deviation.number}, {deviation.severity}, is open.", deviation.what,
            "batches-deviation-close", deviation.number, "Decide",
        )  # fmt: skip


def _hold_note(page: BatchPage, now: datetime) -> Wrong:
    hold = page.hold
    assert hold is not None
    stands = f" {page.chemical_in_bed} stands in the bed." if page.chemical_in_bed else ""
    since = f"since {moment_words(hold.held_at, now)} by {hold.held_by.full_name}"
    return Wrong("held", "amber", f"{held_words(page.progress)}, {since}.", f"{hold.reason}{stands}")


# --- the step card --------------------------------------------------------------------------------------------------
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


def card_of(page: BatchPage, now: datetime) -> Card:
    """What goes on now."""
    if page.current is None or page.current_planned is None:
        return _people_card(page, now)
    line, planned = page.current, page.current_planned
    ends = f"Ends when: {planned.ends_when}" + (
        f" Drains to: {planned.drain_to}." if planned.drain_to else ""
    )
    if page.hold is not None:
        held = hours_and_minutes((now - page.hold.held_at).total_seconds())
        word = f"{held_words(page.progress)}, {'step runs' if line.state == StepState.RUNNING else 'this is next'}"
        return Card(line.name, line.number, "held", word, planned.instruction, ends, held, "held")
    if line.state == StepState.RUNNING:
        return _running_card(line, planned.instruction, ends, now)
    word = "Ready to start" if page.batch.started_at is None else "Next"
    left = hours_and_minutes(line.planned_s)
    return Card(line.name, line.number, "waiting", word, planned.instruction, ends, left, "planned")


def _running_card(line: StepLine, instruction: str, ends: str, now: datetime) -> Card:
    since = f"Running since {moment_words(line.started_at, now)}" if line.started_at else "Running"
    state = "overdue" if line.is_late else "running"
    left, unit = hours_and_minutes(line.left_s), "over" if line.left_s < 0 else "left"
    to = "" if line.left_s < 0 else f"to {clock(now + timedelta(seconds=line.left_s))} by plan"
    return Card(line.name, line.number, state, since, instruction, ends, left, unit, to)


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
    since = batch.finished_at or batch.judged_at or batch.rinsed_at
    waited = hours_and_minutes((now - since).total_seconds()) if unit and since else ""
    word = f"{sentence_case(batch.get_state_display())}" + (
        f" since {moment_words(since, now)}" if since else ""
    )
    card_state = "held" if page.hold is not None else state.value
    return Card(name, None, card_state, word, do, "", waited, "waited" if waited else "")


# --- steps ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class StepRow:
    """One line of the list of steps."""

    name: str
    state: str
    note: str
    time: str
    is_hand: bool = False
    is_here: bool = False
    url: str = ""


def step_rows(page: BatchPage) -> tuple[StepRow, ...]:
    """The steps: plan in ink, what hands did in pencil."""
    here = page.current.number if page.current else None
    return tuple(_step_row(line, line.number == here) for line in page.progress.steps)


def _step_row(line: StepLine, is_here: bool) -> StepRow:
    if line.state == StepState.SKIPPED:
        return StepRow(
            line.name, "skipped", f"skipped: {line.skip_reason}", hours_and_minutes(line.planned_s), True
        )
    if line.state == StepState.DONE and line.started_at and line.finished_at:
        note = f"{clock(line.started_at)} to {clock(line.finished_at)} · {line.by}"
        return StepRow(line.name, "done", note, hours_and_minutes(line.elapsed_s), True)
    if line.state == StepState.RUNNING:
        word = "over" if line.left_s < 0 else "left"
        note = f"plan {hours_and_minutes(line.planned_s)}"
        return StepRow(
            line.name, "running", note, f"{hours_and_minutes(line.left_s)} {word}", is_here=is_here
        )
    note = "safe hold point after it" if line.is_safe_hold_after else "no hold after it"
    if line.kind == StepKind.SAMPLE:
        note = "then QC, by another person"
    return StepRow(line.name, "waiting", note, hours_and_minutes(line.planned_s), is_here=is_here)


# --- tanks and deviations -------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class TankRow:
    """One tank of the batch."""

    serial: str
    customer: str
    size: str
    volume_m3: float
    state: str
    word: str
    filled_m3: float | None


def tank_rows(page: BatchPage) -> tuple[TankRow, ...]:
    return tuple(_tank_row(link) for link in page.tanks)


def _tank_row(link: BatchTank) -> TankRow:
    visit = link.visit
    word = f"set aside: {link.set_aside_reason}" if link.set_aside_reason else ""
    return TankRow(
        serial=visit.tank.serial,
        customer=visit.customer.name,
        size=visit.tank.size.code,
        volume_m3=link.resin_volume_m3,
        state="skipped" if link.set_aside_reason else visit.state,
        word=sentence_case(word),
        filled_m3=visit.refilled_volume_m3 if link.is_filled else None,
    )


@dataclass(frozen=True, slots=True)
class DeviationRow:
    """A decided deviation: what it was, what was decided, by whom."""

    number: str
    severity: str
    what: str
    decision: str
    by: str
    at: datetime


def decided_rows(deviations: Iterable[Deviation]) -> tuple[DeviationRow, ...]:
    return tuple(
        DeviationRow(
            one.number,
            one.severity,
            one.what,
            one.decision,
            one.decided_by.full_name if one.decided_by else "",
            one.decided_at,
        )
        for one in deviations
        if one.decided_at is not None
    )


def deviation_facts(row: Deviation) -> list[tuple[str, str]]:
    """An open deviation for the page on which it is decided."""
    facts = [
        ("Severity", row.severity),
        ("Opened", f"{day_and_clock(row.opened_at)} by {row.opened_by.full_name}"),
    ]
    if row.step is not None:
        facts.append(("Step", f"{row.step.number} · {row.step.name}"))
    if row.decision:
        facts.append(("Decided", row.decision))
    return facts


def act_facts(page: BatchPage, now: datetime, system: str) -> list[tuple[str, str]]:
    """Where a batch stands, for the pages of its acts."""
    batch = page.batch
    facts = [
        (
            "Batch",
            f"{batch.number}, {both(batch.resin_volume_m3, 'resin_volume', system)} in {batch.vessel.code}",
        ),
        ("State", sentence_case(batch.get_state_display())),
    ]
    if page.current is not None:
        facts.append(("Step", f"{page.current.number} · {page.current.name}, {page.current.state}"))
    if page.chemical_in_bed:
        facts.append(("In the bed", f"{page.chemical_in_bed} stands in the bed."))
    if page.hold is not None:
        facts.append(
            (
                "Held",
                f"since {moment_words(page.hold.held_at, now)} by {page.hold.held_by.full_name}: {page.hold.reason}",
            )
        )
    return facts
