"""The batch page in words: its head, what is wrong, the step under way, the steps, what was written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.legs import Standing, vessel_of
from regenplant.batches.models import BatchTank, Deviation
from regenplant.batches.selectors.page import BatchPage
from regenplant.batches.selectors.progress import StepLine
from regenplant.core.process.lifecycle import BatchState, StepState, VisitState
from regenplant.core.process.vocabulary import ResinFamily, StepKind
from regenplant.core.process.wording import listed
from regenplant.web.presenters.bed import (
    held_words,
    hours_and_minutes,
    leg_words,
    lower_first,
    moment_words,
    name_in_leg,
    planned_time,
    steps_of_all,
    vessels_words,
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
    noun = "vessels" if batch.anion_vessel_id else "vessel"
    where = f"{'from' if batch.state == BatchState.RELEASED else 'in'} {noun} {vessels_words(batch)}"
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
    middle = f"now {steps_of_all(page.progress)}"
    if batch.started_at is None:
        return left, middle, f"takes {planned_time(page.progress.planned_s)}"
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
    if page.not_as_planned:
        yield Wrong("blocker", "red", "It cannot start as it was planned.", page.not_as_planned)
    if state is not BatchState.HELD:
        yield from (_left_standing(one, page) for one in page.left_standing)
    if state in (BatchState.FAILED, BatchState.ABORTED):
        text = verdict_reason or "A supervisor decides: rework or scrap."
        yield Wrong("failed", "red", f"{sentence_case(batch.get_state_display())}.", text)
    if page.hold is not None:
        yield _hold_note(page, now)
    for line in page.progress.at_work if state is not BatchState.HELD else ():
        if line.is_late:
            late, leg = hours_and_minutes(line.left_s), "," if leg_words(line.leg) else ""
            yield Wrong(
                "overdue",
                "amber",
                f"{name_in_leg(line.name, line.leg)}{leg} is {late} over its time.",
                "Carry on, or hold and say why.",
            )
    yield from _tanks_wrong(page)
    for deviation in page.open_deviations:
        yield Wrong(
            "check", "amber", f"{deviation.number}, {deviation.severity}, is open.", deviation.what,
            "deviations-detail", deviation.number, "Look at it",
        )  # fmt: skip


def _tanks_wrong(page: BatchPage) -> Iterable[Wrong]:
    """Tanks of it that were filled and must not be used: those that are here, and, of a failed batch, those that are out."""
    here = [link for link in page.tanks if link.is_withdrawn and link.is_current]
    serials = listed([link.visit.tank.serial for link in here])
    if here and page.batch.state == BatchState.FAILED:
        text = f"{serials}. They are not shipped; a supervisor has their resin reworked or scrapped."
        yield Wrong("held", "amber", f"{sentence_case(counted(len(here), 'tank'))} of it withdrawn.", text)
    elif here:
        text = " ".join(f"{link.visit.tank.serial}: {_stopped(link.withdrawn_reason)}" for link in here)
        head = f"{sentence_case(counted(len(here), 'tank'))} withdrawn, not released and not shipped with it."
        yield Wrong("held", "amber", head, text)
    out = [
        link
        for link in page.tanks
        if link.is_filled and not link.is_withdrawn and link.visit.state == VisitState.SHIPPED
    ]
    if out and page.batch.state == BatchState.FAILED:
        named = listed([f"{link.visit.tank.serial} at {link.visit.customer.name}" for link in out])
        head = f"{sentence_case(counted(len(out), 'tank'))} of it shipped already, to be called back."
        yield Wrong("blocker", "red", head, f"{named}. Investigate, below, prints the list.")


def _stopped(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _left_standing(one: Standing, page: BatchPage) -> Wrong:
    """A chemical in a bed where nothing runs: it goes on working on the resin, and on the vessel."""
    where = f"the {one.leg.label}" if page.progress.has_legs else _stands_in(page)
    at = "at" if ResinFamily(page.batch.resin_type.family).is_exchanged else "in"
    where = f"{where} {at} {one.vessel.code}"
    then = f"Start {lower_first(one.next_step)} now." if one.next_step else "Call the supervisor."
    return Wrong("blocker", "red", f"{one.chemical.label} stands in {where} and nothing runs.", then)


def _stands_in(page: BatchPage) -> str:
    return ResinFamily(page.batch.resin_type.family).stands_in


def _hold_note(page: BatchPage, now: datetime) -> Wrong:
    hold = page.hold
    assert hold is not None
    stands = f" {page.chemical_in_bed} stands in {_stands_in(page)}." if page.chemical_in_bed else ""
    since = f"since {moment_words(hold.held_at, now)} by {hold.held_by.full_name}"
    return Wrong("held", "amber", f"{held_words(page.progress)}, {since}.", f"{hold.reason}{stands}")


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


FOLDED_FROM = 2
"""So many finished steps of a leg are folded away; a single one is no longer than its fold."""


@dataclass(frozen=True, slots=True)
class StepGroup:
    """Steps that follow one another in one leg, or in the whole bed: the finished ones folded, then the others."""

    heading: str
    """ "Cation leg, M1" or "Joined bed, M1"; "" for a bed that is whole from the start."""
    finished: tuple[StepRow, ...]
    rest: tuple[StepRow, ...]

    @property
    def fold(self) -> str:
        """What the fold says: "7 steps are done"."""
        return f"{len(self.finished)} steps are done"


def step_groups(page: BatchPage) -> tuple[StepGroup, ...]:
    """The steps of the whole bed, of each leg, and of the joined bed: plan in ink, what hands did in pencil."""
    here = {work.line.number for work in page.works}
    groups: list[tuple[str, list[StepLine]]] = []
    for line in page.progress.steps:
        leg = leg_words(line.leg)
        # legs that run side by side take turns in the plan; the whole bed ends both
        since_whole = next((i for i in range(len(groups), 0, -1) if not groups[i - 1][0]), 0)
        near = groups[since_whole:] if leg else groups[-1:]
        known = next((lines for name, lines in near if name == leg), None)
        if known is None:
            groups.append((leg, [line]))
        else:
            known.append(line)
    return tuple(_step_group(page, leg, lines, here) for leg, lines in groups)


def _step_group(page: BatchPage, leg: str, lines: list[StepLine], here: set[int]) -> StepGroup:
    count = next(
        (index for index, line in enumerate(lines) if line.state not in (StepState.DONE, StepState.SKIPPED)),
        len(lines),
    )
    count = count if count >= FOLDED_FROM else 0
    rows = tuple(_step_row(line, line.number in here) for line in lines)
    is_joined = lines[0].kind == StepKind.JOIN
    what = sentence_case(leg) if leg else "Joined bed" if is_joined else ""
    heading = f"{what}, {vessel_of(page.batch, lines[0].leg).code}" if what else ""
    return StepGroup(heading, rows[:count], rows[count:])


def _step_row(line: StepLine, is_here: bool) -> StepRow:
    if line.state == StepState.SKIPPED:
        return StepRow(
            line.name,
            "skipped",
            f"skipped: {line.skip_reason}",
            planned_time(line.planned_s),
            True,
        )
    if line.state == StepState.DONE and line.started_at and line.finished_at:
        note = f"{clock(line.started_at)} to {clock(line.finished_at)} · {line.by}"
        return StepRow(line.name, "done", note, planned_time(line.elapsed_s), True)
    if line.state == StepState.RUNNING:
        word = "over" if line.left_s < 0 else "left"
        note = f"plan {planned_time(line.planned_s)}"
        return StepRow(
            line.name, "running", note, f"{hours_and_minutes(line.left_s)} {word}", is_here=is_here
        )
    note = "safe hold point after it" if line.is_safe_hold_after else "no hold after it"
    if line.kind == StepKind.SAMPLE:
        note = "then QC, by another person"
    return StepRow(line.name, "waiting", note, planned_time(line.planned_s), is_here=is_here)


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
    if link.is_withdrawn:
        word = f"withdrawn: {link.withdrawn_reason}" if link.is_current else "withdrawn, and emptied again"
    return TankRow(
        serial=visit.tank.serial,
        customer=visit.customer.name,
        size=visit.tank.size.code,
        volume_m3=link.resin_volume_m3,
        state="skipped" if link.set_aside_reason else "withdrawn" if link.is_withdrawn else visit.state,
        word=sentence_case(word),
        filled_m3=link.filled_m3,
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
            f"{batch.number}, {both(batch.resin_volume_m3, 'resin_volume', system)} in {vessels_words(batch)}",
        ),
        ("State", sentence_case(batch.get_state_display())),
    ]
    for work in page.works:
        name = name_in_leg(work.line.name, work.leg)
        facts.append(("Step", f"{work.line.number} · {name}, {work.line.state}"))
    if page.chemical_in_bed:
        where = _stands_in(page)
        facts.append((f"In {where}", f"{page.chemical_in_bed} stands in {where}."))
    if page.hold is not None:
        facts.append(
            (
                "Held",
                f"since {moment_words(page.hold.held_at, now)} by {page.hold.held_by.full_name}: {page.hold.reason}",
            )
        )
    return facts
