"""Tanks, steps and entries, holds and the separation, as a batch record says them. Reads only."""

from __future__ import annotations

from regenplant.batches.legs import vessel_of
from regenplant.batches.models import BatchTank, StepEntry, StepRun
from regenplant.batches.separation import separation_record
from regenplant.core.process.lifecycle import StepState, VisitState, label
from regenplant.core.process.plan import EntrySpec, PlannedStep
from regenplant.core.process.vocabulary import Leg
from regenplant.documents.batch_record.content import (
    Range,
    RecordEntry,
    RecordHold,
    RecordStep,
    RecordTank,
    Separation,
    Written,
)
from regenplant.documents.batch_record.here import Here, figure_of, line_of
from regenplant.keeping.nothing import Nothing, said_nothing
from regenplant.tanks.models import TankVisit

PREDICTED = (
    "interface_height_m", "overlap_frac", "cation_in_anion_frac", "anion_in_cation_frac", "cut_m3", "lower_layer_m3",
    "upper_layer_m3",
)  # fmt: skip
"""Figures of a separation that stand beside what was found."""
IN_WORDS = ("confirm", "text", "choice")
"""Kinds of entry without a number."""


# --- tanks ------------------------------------------------------------------------------------------------------
def tanks_of(here: Here) -> tuple[RecordTank, ...]:
    links = BatchTank.objects.filter(batch=here.batch).select_related("visit__tank__size", "visit__customer")
    prefetched = links.prefetch_related("visit__inspections").order_by("position")
    return tuple(_tank(here, link) for link in prefetched)


def _tank(here: Here, link: BatchTank) -> RecordTank:
    visit = link.visit
    return RecordTank(
        position=link.position,
        serial=visit.tank.serial,
        visit=visit.number,
        size=visit.tank.size.code,
        customer=visit.customer.name,
        received=here.at(visit.received_at),
        resin_volume_m3=link.resin_volume_m3,
        intake=_intake(visit),
        filled=here.at(link.when_filled) if link.is_filled else "",
        filled_m3=link.filled_m3,
        set_aside=link.set_aside_reason,
        nothing=None if link.is_filled else _why_not_filled(here, link),
        state=_tank_state(here, link),
    )


def _why_not_filled(here: Here, link: BatchTank) -> Nothing:
    if link.set_aside_reason:
        return Nothing.NOT_APPLICABLE
    return Nothing.NOT_DONE if here.is_over else Nothing.NOT_YET


def _intake(visit: TankVisit) -> str:
    """What was found when it came in, in words; the newest look counts."""
    look = next(iter(visit.inspections.all()), None)
    if look is None:
        return ""
    ph = f", first drain pH {look.first_drain_ph_as_typed}" if look.first_drain_ph_as_typed else ""
    words = f"shell {look.shell}, oxidizer strip {look.oxidizer_strip}{ph}".replace("_", " ")
    stops = [str(finding) for finding in look.findings_that_stop]
    return f"{words}; found: {', '.join(stops)}" if stops else words


def _tank_state(here: Here, link: BatchTank) -> str:
    """Where the tank is now; one that went on belongs to another batch."""
    visit = link.visit
    if not link.is_current and not link.is_filled:
        return "went on"
    if link.is_withdrawn:
        emptied = "" if link.is_current else ", emptied again"
        return f"withdrawn {here.at(link.withdrawn_at)}{emptied}: {link.withdrawn_reason}"
    when = {VisitState.RELEASED: visit.released_at, VisitState.SHIPPED: visit.shipped_at}
    moment = when.get(VisitState(visit.state))
    return f"{label(VisitState(visit.state))} {here.at(moment)}".strip()


# --- steps ------------------------------------------------------------------------------------------------------
def steps_of(here: Here) -> tuple[RecordStep, ...]:
    rows = list(here.batch.steps.select_related("started_by", "finished_by").order_by("number"))
    written: dict[int, list[StepEntry]] = {step.pk: [] for step in rows}
    entries = StepEntry.objects.filter(step__batch=here.batch).select_related("entered_by", "instrument")
    for entry in entries.order_by("entered_at", "pk"):
        written[entry.step_id].append(entry)
    return tuple(_step(here, step, here.plan.step(step.number), written[step.pk]) for step in rows)


def _step(here: Here, step: StepRun, planned: PlannedStep, rows: list[StepEntry]) -> RecordStep:
    begun, ended = step.started_at, step.finished_at
    return RecordStep(
        number=step.number,
        name=step.name,
        leg="" if step.leg == Leg.WHOLE else Leg(step.leg).label,
        vessel=vessel_of(here.batch, step.leg).code,
        state=step.state,
        planned_s=step.planned_duration_s,
        took_s=(ended - begun).total_seconds() if begun and ended else None,
        started=here.by(begun, step.started_by),
        finished=here.by(ended, step.finished_by),
        nothing=here.why_nothing(StepState(step.state)) if begun is None else None,
        skip_reason=step.skip_reason,
        water=planned.water.label if planned.water else "",
        chemical=planned.chemical.label if planned.chemical else "",
        drain_to=planned.drain_to,
        entries=_entries(here, step, planned, rows),
    )


def _entries(
    here: Here, step: StepRun, planned: PlannedStep, rows: list[StepEntry]
) -> tuple[RecordEntry, ...]:
    """The entries of the plan in its order, each with what stands there; then what was written beside the plan."""
    specs = {spec.key: spec for spec in planned.entries}
    by_key: dict[str, list[StepEntry]] = {key: [] for key in specs}
    for row in rows:
        by_key.setdefault(row.key, []).append(row)
    return tuple(
        entry for key, lines in by_key.items() for entry in _of_key(here, step, specs.get(key), lines)
    )


def _of_key(here: Here, step: StepRun, spec: EntrySpec | None, rows: list[StepEntry]) -> list[RecordEntry]:
    """Every value that stands, each on a line with what it replaced; one line that says why nothing stands."""
    limits = rows[0] if spec is None else spec
    shown = Range(limits.kind, limits.low, limits.high, spec.target if spec else None)
    replaced = {row.replaces_id for row in rows}
    standing = [row for row in rows if row.pk not in replaced]
    if not standing:
        return [RecordEntry(limits.name, shown, None, here.why_nothing(StepState(step.state)))]
    return [
        RecordEntry(
            name=limits.name,
            range=shown,
            current=written_entry(here, row),
            nothing=_nothing(row),
            changes=here.changes(limits.name, line_of(row, rows), written_entry),
        )
        for row in standing
    ]


def _nothing(row: StepEntry) -> Nothing | None:
    """The kind of nothing that a person wrote down; None for a value."""
    return None if row.standing == StepEntry.Standing.WRITTEN else said_nothing(row.standing)


def written_entry(here: Here, row: StepEntry) -> Written:
    return here.written(row, row.words, row.value, row.is_within)


# --- holds, separation ------------------------------------------------------------------------------------------
def holds_of(here: Here) -> tuple[RecordHold, ...]:
    rows = here.batch.holds.select_related("held_by", "resumed_by").order_by("held_at")
    return tuple(
        RecordHold(
            reason=row.reason,
            is_interruption=row.is_interruption,
            held=here.by(row.held_at, row.held_by),
            resumed=here.by(row.resumed_at, row.resumed_by),
        )
        for row in rows
    )


def separation_of(here: Here, steps: tuple[RecordStep, ...]) -> Separation | None:
    """Of a mixed bed: what was predicted for the cut, beside what was found there."""
    record = separation_record(here.batch)
    if record is None:
        return None
    cut = next(step for step in steps if step.number == record.step_number)
    return Separation(
        step_number=record.step_number,
        predicted=tuple(figure_of(record.predicted[key]) for key in PREDICTED if key in record.predicted),
        lines=tuple(entry for entry in cut.entries if entry.range.kind not in IN_WORDS),
    )
