"""The floor in words: one opening sentence, what is wrong, what goes on, what is next."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from urllib.parse import urlencode

from django.urls import reverse

from regenplant import units
from regenplant.batches.selectors.floor import BedAtWork, FloorBoard, KeyFigure, Trouble
from regenplant.batches.selectors.progress import StepLine
from regenplant.batches.selectors.start import PoolFit, VesselFit
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.wording import listed
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar
from regenplant.web.drawing.step_ruler import RulerStep
from regenplant.web.presenters.bed import (
    family_short,
    held_words,
    hours_and_minutes,
    leg_words,
    lower_first,
    moment_words,
    planned_time,
    ruler_of,
    spelled,
    steps_of_all,
    then_what,
    vessels_words,
)
from regenplant.web.presenters.words import counted, sentence_case

AT_WORK = (BatchState.RUNNING, BatchState.RINSING)
_REACH_FRAC = 1.83
"""How far a logarithmic scale goes beyond an end point or a value past it, as the limit bar itself does."""
TARGETS = {
    "batch": "batches-detail",
    "vessel": "setup-vessel",
    "chemicals": "chemicals",
    "emergency": "emergency",
}
"""Page by the kind of thing a trouble leads to."""


@dataclass(frozen=True, slots=True)
class TroubleRow:
    """Something that needs a person, and the way to it."""

    mark: str
    tone: str
    headline: str
    text: str
    url: str
    action: str


@dataclass(frozen=True, slots=True)
class BedRow:
    """One vessel with what happens in it. ``tone`` is "held" or "late" where a person is needed."""

    vessel: str
    number: str
    url: str
    lines: tuple[str, ...]
    tone: str
    mark: str
    word: str
    left: str
    left_word: str
    ruler: tuple[RulerStep, ...]
    ruler_left: str
    ruler_right: str
    bar: LimitBar | None


@dataclass(frozen=True, slots=True)
class PoolRow:
    """A waiting pool with the vessel it fits best. ``url`` "": it cannot start, and ``button`` says why."""

    title: str
    since: str
    due: str
    is_due_past: bool
    bar: LimitBar | None
    button: str
    url: str


@dataclass(frozen=True, slots=True)
class LeavingRow:
    """A filled batch that waits for its release."""

    number: str
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class FloorView:
    at: datetime
    sentence: str
    troubles: tuple[TroubleRow, ...]
    troubles_note: str
    beds: tuple[BedRow, ...]
    beds_note: str
    pools: tuple[PoolRow, ...]
    pools_note: str
    leaving: tuple[LeavingRow, ...]


def floor_view(board: FloorBoard, system: str) -> FloorView:
    """The whole page from one board."""
    needing = sum(1 for trouble in board.troubles if trouble.is_amber)
    return FloorView(
        at=board.at,
        sentence=opening(board),
        troubles=tuple(_trouble(trouble) for trouble in board.troubles),
        troubles_note=f"{needing} need{'s' if needing == 1 else ''} a person" if needing else "",
        beds=tuple(_bed(bed, board.at, system) for bed in board.beds),
        beds_note=f"{len(board.beds)} of {counted(board.vessel_count, 'vessel')}",
        pools=tuple(_pool(pool, board, system) for pool in board.pools),
        pools_note=f"{counted(board.waiting_tank_count, 'tank')} wait{'s' if board.waiting_tank_count < 2 else ''}",
        leaving=tuple(_leaving(bed, board.at, system) for bed in board.to_fill_or_release),
    )


# --- the opening sentence -------------------------------------------------------------------------------------------
def opening(board: FloorBoard) -> str:
    """What stands on the floor, what ends first, what can start: at most three short sentences."""
    return " ".join(filter(None, (_standing(board), _first_done(board), _next_start(board))))


def _standing(board: FloorBoard) -> str:
    counts = {state: sum(1 for bed in board.beds if bed.batch.state == state) for state in BatchState}
    at_work = sum(counts[state] for state in AT_WORK)
    parts = [f"{spelled(at_work)} bed{' is' if at_work == 1 else 's are'} at work"]
    for state, one, many in (
        (BatchState.HELD, "is held", "are held"),
        (BatchState.READY, "is ready to load", "are ready to load"),
        (BatchState.AWAITING_QC, "awaits QC", "await QC"),
        (BatchState.PASSED, "waits for its tanks", "wait for their tanks"),
        (BatchState.FAILED, "failed", "failed"),
        (BatchState.ABORTED, "is aborted", "are aborted"),
    ):
        if counts[state]:
            parts.append(f"{spelled(counts[state])} {one if counts[state] == 1 else many}")
    return f"{sentence_case(listed(parts))}."


def _first_done(board: FloorBoard) -> str:
    running = [bed for bed in board.beds if bed.batch.state in AT_WORK and bed.done_at is not None]
    if not running:
        return ""
    first = min(running, key=lambda bed: bed.done_at or board.at)
    assert first.done_at is not None
    return f"By plan {vessels_words(first.batch)} {'are' if first.batch.anion_vessel_id else 'is'} done first, at {moment_words(first.done_at, board.at)}."


def _next_start(board: FloorBoard) -> str:
    if not board.pools:
        return "No tank waits for a batch."
    ready = [pool.best.vessel.code for pool in board.pools if pool.best is not None and pool.best.may_start]
    if not ready:
        return "Nothing that waits can start now."
    return f"Next to start: {ready[0]}."


# --- wrong ----------------------------------------------------------------------------------------------------------
def _trouble(trouble: Trouble) -> TroubleRow:
    page, keys = TARGETS[trouble.target_kind], [trouble.target_key] if trouble.target_key else []
    return TroubleRow(
        mark=trouble.kind,
        tone="red" if trouble.kind == "failed" else "amber" if trouble.is_amber else "",
        headline=trouble.headline,
        text=trouble.text,
        url=reverse(page, args=keys),
        action=trouble.target_label,
    )


# --- going on -------------------------------------------------------------------------------------------------------
def _bed(bed: BedAtWork, now: datetime, system: str) -> BedRow:
    batch, state = bed.batch, BatchState(bed.batch.state)
    left, left_word = _left(bed, now)
    ruler_left, ruler_right = _ruler_words(bed, now)
    is_late = any(line.is_late for line in bed.at_work)
    is_left = state is not BatchState.HELD and bool(bed.left_standing)
    page = "rinse" if state is BatchState.RINSING else "batches-detail"
    return BedRow(
        vessel=batch.vessel.code,
        number=batch.number,
        url=reverse(page, args=[batch.number]),
        lines=(
            batch.number,
            lower_first(family_short(batch.resin_type.family)),
            *([f"anion leg in {batch.anion_vessel.code}"] if batch.anion_vessel else []),
            f"class {batch.segregation_class}{units.NO_BREAK_SPACE}· {units.format_quantity(batch.resin_volume_m3, 'resin_volume', system)}",
            units.other_system(batch.resin_volume_m3, "resin_volume", system),
        ),
        tone="held" if state is BatchState.HELD else "late" if is_late or is_left else "",
        mark="overdue" if is_late and state is not BatchState.HELD else _mark(bed),
        word=_word(bed),
        left=left,
        left_word=left_word,
        ruler=ruler_of(batch, bed.progress),
        ruler_left=ruler_left,
        ruler_right=ruler_right,
        bar=_bar(bed.figure, system) if bed.figure else None,
    )


def _mark(bed: BedAtWork) -> str:
    if bed.batch.state == BatchState.RUNNING and bed.current is not None and not _running(bed):
        return "ready"
    return str(bed.batch.state)


def _word(bed: BedAtWork) -> str:
    """The step where one has a name, else the state."""
    state = BatchState(bed.batch.state)
    if state is BatchState.HELD:
        return held_words(bed.progress)
    if state in AT_WORK and bed.current is not None:
        lines = _running(bed) or list(bed.at_work)
        names = listed(
            [line.name if index == 0 else lower_first(line.name) for index, line in enumerate(lines)]
        )
        return names if _running(bed) else f"Next: {names}"
    return {
        BatchState.READY: "Ready to load",
        BatchState.PASSED: "Passed, fill the tanks",
        BatchState.FAILED: "Failed",
        BatchState.ABORTED: "Aborted",
    }.get(state, "")


def _running(bed: BedAtWork) -> list[StepLine]:
    return [line for line in bed.at_work if line.started_at is not None]


def _left(bed: BedAtWork, now: datetime) -> tuple[str, str]:
    """The time that counts at this bed, and what it is."""
    if bed.batch.state == BatchState.HELD:
        hold = next((hold for hold in bed.batch.holds.all() if hold.resumed_at is None), None)
        return (hours_and_minutes((now - hold.held_at).total_seconds()), "held") if hold else ("", "")
    if bed.waited_s is not None:
        return hours_and_minutes(bed.waited_s), "waited"
    running = _running(bed)
    if not running:
        return (planned_time(bed.current.planned_s), "planned") if bed.current else ("", "")
    first = min(running, key=lambda line: line.left_s)
    leg = f", {leg_words(first.leg)}" if leg_words(first.leg) else ""
    if first.left_s < 0:
        return hours_and_minutes(first.left_s), f"over{leg}"
    return hours_and_minutes(
        first.left_s
    ), f"{'to go' if bed.batch.state == BatchState.RINSING else 'left'}{leg}"


def _ruler_words(bed: BedAtWork, now: datetime) -> tuple[str, str]:
    batch = bed.batch
    if bed.current is not None:
        left = steps_of_all(bed.progress)
        if len(bed.at_work) < 2:
            left = f"{left}, {then_what(bed.following)}"
        if batch.started_at is None:
            return left, f"takes {hours_and_minutes(bed.progress.planned_s)}"
        return left, f"done {moment_words(bed.done_at, now)}" if bed.done_at else ""
    rinsed = f"rinsed {moment_words(batch.rinsed_at, now)}" if batch.rinsed_at else ""
    return {
        BatchState.AWAITING_QC: (rinsed, "sample with QC"),
        BatchState.PASSED: (rinsed, f"{counted(bed.tank_count, 'tank')} to fill"),
    }.get(BatchState(batch.state), (rinsed, "rework or scrap"))


def _bar(figure: KeyFigure, system: str) -> LimitBar:
    """The key figure with its limits, short: one unit only. Its scale reaches as far as the value does."""
    reach = _REACH_FRAC if figure.is_end_point else None
    bar = limit_bar(
        caption=figure.name,
        value=figure.value,
        kind=figure.kind,
        low=figure.low,
        high=figure.high,
        target=figure.target,
        expects="reach" if figure.is_end_point else "keep",
        scale_low=min(figure.value, figure.high) / reach if reach and figure.high is not None else None,
        scale_high=max(figure.value, figure.low) * reach if reach and figure.low is not None else None,
        system=system,
    )
    return replace(bar, other="")


# --- next -----------------------------------------------------------------------------------------------------------
def _pool(found: PoolFit, board: FloorBoard, system: str) -> PoolRow:
    pool, fit = found.pool, found.best
    due = pool.first_due_at
    dedicated = f", dedicated to {pool.dedicated_to.name}" if pool.dedicated_to else ""
    return PoolRow(
        title=f"{family_short(pool.resin_type.family)} · class {pool.segregation_class}{dedicated}",
        since=f"{counted(len(pool.visits), 'tank')} · oldest since {moment_words(pool.oldest_at, board.at)}",
        due=_due(due, board.at),
        is_due_past=due is not None and due < board.at,
        bar=_pool_bar(fit, len(pool.visits), system) if fit else None,
        button=_button(fit, board, system),
        url=_start_url(found) if fit is not None and fit.may_start else "",
    )


def _due(due: datetime | None, now: datetime) -> str:
    if due is None:
        return "no promise"
    words = moment_words(due, now)
    return f"was due {words}" if due < now else f"first due {words}"


def _pool_bar(fit: VesselFit, waiting: int, system: str) -> LimitBar:
    chosen = sum(1 for choice in fit.selection.choices if choice.is_in)
    of_all = f" of {waiting}" if chosen < waiting else ""
    return limit_bar(
        caption=f"{chosen}{of_all} tank{'' if waiting == 1 else 's'} into {fit.vessel.code}",
        value=fit.selection.volume_m3,
        kind="resin_volume",
        low=fit.vessel.bed_volume_min_m3,
        high=fit.vessel.bed_volume_max_m3,
        expects="reach",
        verdict="too few to start" if fit.selection.short_of_minimum_m3 > 0 else f"fits {fit.vessel.code}",
        system=system,
    )


def _button(fit: VesselFit | None, board: FloorBoard, system: str) -> str:
    """What to press, or why nothing can be pressed."""
    if fit is None:
        return "No vessel takes this pool"
    if fit.may_start:
        return f"Start in {fit.vessel.code}"
    if fit.selection.short_of_minimum_m3 > 0:
        missing = units.format_quantity(fit.selection.short_of_minimum_m3, "resin_volume", system)
        return f"Needs {missing} more"
    if fit.vessel.is_locked_out:
        return f"{fit.vessel.code} is locked out"
    holder = next(
        (bed for bed in board.beds if fit.vessel.pk in (bed.batch.vessel_id, bed.batch.anion_vessel_id)), None
    )
    if holder is not None and holder.done_at is not None:
        return f"When {fit.vessel.code} is free, after {moment_words(holder.done_at, board.at)}"
    return f"When {fit.vessel.code} is free"


def _start_url(found: PoolFit) -> str:
    pool = found.pool
    query: dict[str, object] = {"type": pool.resin_type.pk, "class": pool.segregation_class}
    if pool.dedicated_to is not None:
        query["dedicated"] = pool.dedicated_to.pk
    if found.best is not None:
        query["vessel"] = found.best.vessel.pk
    return f"{reverse('start')}?{urlencode(query)}"


# --- release --------------------------------------------------------------------------------------------------------
def _leaving(bed: BedAtWork, now: datetime, system: str) -> LeavingRow:
    batch = bed.batch
    volume = units.twin(batch.resin_volume_m3, "resin_volume", "us" if system == "us" else "metric")
    judged = f"passed {moment_words(batch.judged_at, now)}" if batch.judged_at else "passed"
    open_count = len(batch.deviations.all())
    deviations = f" {sentence_case(counted(open_count, 'deviation'))} open." if open_count else ""
    return LeavingRow(
        number=batch.number,
        title=f"{family_short(batch.resin_type.family)} · class {batch.segregation_class}",
        text=f"{counted(bed.tank_count, 'tank')}, {volume}, from {vessels_words(batch)}, {judged}.{deviations}",
    )
