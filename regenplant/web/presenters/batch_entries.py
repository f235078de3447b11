"""What is written during a step, in words: what stands open, each number with its limits, and what stands written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.audit.reasons import reason_sentence
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import vessel_of
from regenplant.batches.models import RinseReading, StepEntry, StepRun
from regenplant.batches.selectors.page import BatchPage, EntryLine, Work
from regenplant.core.errors import OutOfRange, UnitNotUnderstood
from regenplant.core.process import entry_rules
from regenplant.core.process.entry_rules import NO_NUMBERS
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.people.models import Person
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar, limit_text
from regenplant.web.presenters.batch_checks import check_words
from regenplant.web.presenters.bed import leg_words, lower_first
from regenplant.web.presenters.words import clock, sentence_case

REACHED_KEYS = ("volume_fed", "stock_drawn", "volume", "contact_time", "duration")
"""Entries that grow to their limit during a step: below it is "not yet", not wrong."""
NOT_NUMBERS = NO_NUMBERS
TICKS = ("confirm", "second_person")


# --- entries --------------------------------------------------------------------------------------------------------
def open_lines(page: BatchPage, work: Work | None) -> tuple[EntryLine, ...]:
    """What can be written now: before a step starts only what must stand before it."""
    if work is None or page.hold is not None:
        return ()
    if work.line.state == StepState.RUNNING:
        return work.entries
    return tuple(line for line in work.entries if line.spec.is_before)


def missing_ticks(page: BatchPage, work: Work | None) -> tuple[EntrySpec, ...]:
    """Confirmations that stand open now."""
    found = open_lines(page, work)
    return tuple(line.spec for line in found if line.spec.kind == "confirm" and line.entry is None)


def fields(page: BatchPage, work: Work | None) -> tuple[EntryLine, ...]:
    """Everything but ticks that can be written now."""
    return tuple(line for line in open_lines(page, work) if line.spec.kind not in TICKS)


def missing_together(page: BatchPage, work: Work | None) -> tuple[EntrySpec, ...]:
    """Ticks of two people that stand open now."""
    found = open_lines(page, work)
    return tuple(line.spec for line in found if line.spec.kind == "second_person" and line.entry is None)


def may_be_left(page: BatchPage, work: Work | None, chosen: EntryLine | None) -> tuple[EntrySpec, ...]:
    """What stands open and may be said to be not done or not applicable; the one in the field first."""
    found = [
        line for line in open_lines(page, work) if line.entry is None and entry_rules.may_be_left(line.spec)
    ]
    key = chosen.spec.key if chosen is not None else ""
    return tuple(line.spec for line in sorted(found, key=lambda line: line.spec.key != key))


def always_applies(spec: EntrySpec) -> bool:
    """Whether only a person who may waive it says that an entry does not apply."""
    return entry_rules.applies_always(spec)


def chosen_field(page: BatchPage, work: Work | None, wanted: str) -> EntryLine | None:
    """The one entry the field stands for: the one asked for, else the first that is missing; None when nothing is."""
    found = fields(page, work)
    asked = next((line for line in found if line.spec.key == wanted), None)
    return asked or next((line for line in found if line.is_missing), None)


@dataclass(frozen=True, slots=True)
class Written:
    """One number of the step: its bar, and the key to write it (again)."""

    key: str
    name: str
    bar: LimitBar | None
    text: str
    is_chosen: bool


def numbers(page: BatchPage, work: Work | None, chosen: EntryLine | None, system: str) -> tuple[Written, ...]:
    """Every number of the step as a bar with its limits, those written down before as thin lines."""
    if work is None:
        return ()
    shown = (
        fields(page, work)
        if page.hold is None
        else tuple(e for e in work.entries if e.spec.kind not in NOT_NUMBERS)
    )
    return tuple(_number(page, work, line, chosen, system) for line in shown)


def _number(page: BatchPage, work: Work, line: EntryLine, chosen: EntryLine | None, system: str) -> Written:
    spec, entry = line.spec, line.entry
    is_chosen = chosen is not None and chosen.spec.key == spec.key
    at = f", {clock(entry.occurred_at)}" if entry else ""
    if spec.kind in NOT_NUMBERS:
        return Written(spec.key, spec.name, None, entry.words if entry else "not yet", is_chosen)
    if entry is not None and entry.standing != StepEntry.Standing.WRITTEN:
        return Written(spec.key, spec.name, None, f"{entry.words}{at}", is_chosen)
    bar = limit_bar(
        caption=f"{spec.name}{at}",
        value=entry.value if entry else None,
        kind=spec.kind,
        low=spec.low,
        high=spec.high,
        target=spec.target,
        earlier=_earlier(page, work, spec, entry),
        expects="reach" if spec.key in REACHED_KEYS and spec.low is not None else "keep",
        system=system,
    )
    return Written(spec.key, spec.name, bar, "", is_chosen)


def _earlier(page: BatchPage, work: Work, spec: EntrySpec, entry: StepEntry | None) -> list[float]:
    """Values of the same entry that were written before the standing one and not corrected."""
    if entry is None:
        return []
    return [
        row.value
        for row in page.written
        if row.step_id == work.line.id
        and row.key == spec.key
        and row.pk != entry.pk
        and row.value is not None
        and not hasattr(row, "replaced_by")
    ]


def last_words(line: EntryLine, system: str) -> str:
    """ "65.8 L/min at 13:50"; "" before the first."""
    entry = line.entry
    if entry is None:
        return ""
    if entry.value is None:
        return f"{entry.words} at {clock(entry.occurred_at)}"
    return f"{units.format_quantity(entry.value, entry.kind, system)} at {clock(entry.occurred_at)}"


def likely_slip(text: str, spec: EntrySpec, system: str) -> str:
    """What was perhaps meant by a number outside its limits: a decimal point, or the other unit system. "" for none.

    Only a hint in a sentence; nothing is ever written by it.
    """
    if spec.kind in NOT_NUMBERS or (spec.low is None and spec.high is None):
        return ""
    own: units.UnitSystem = "us" if system == "us" else "metric"
    other: units.UnitSystem = "metric" if own == "us" else "us"
    seen = units.understand(text, spec.kind, system=own)
    bare = seen.value_as_typed.replace(",", ".")
    tries = [(f"{bare} {units.unit_text(spec.kind, other)}", other)]
    for factor in (0.1, 10.0) if _may_be_a_decimal_point(seen.value, spec) else ():
        tries.append((f"{float(bare) * factor:.6g} {seen.unit_as_typed}", own))
    for candidate, reading in tries:
        value = _value_of(candidate, spec.kind, reading)
        if value is not None and _inside(value, spec):
            return candidate.strip()
    return ""


_NEAR = 1.5
"""A number within this factor of its limit is a reading that is not met, not a lost decimal point: our own choice."""


def _may_be_a_decimal_point(value: float, spec: EntrySpec) -> bool:
    """Whether ten times more or less may be meant. Never for pH, nor where any small (or large) number would pass, nor near
    a limit: nobody is to be led to write a value that passes."""
    if spec.kind == "ph" or spec.low is None or spec.high is None:
        return False
    return spec.kind == "temperature" or not spec.low / _NEAR <= value <= spec.high * _NEAR


def _value_of(text: str, kind: str, system: units.UnitSystem) -> float | None:
    try:
        return units.understand(text, kind, system=system).value
    except (UnitNotUnderstood, OutOfRange):
        return None


def _inside(value: float, spec: EntrySpec) -> bool:
    return (spec.low is None or value >= spec.low) and (spec.high is None or value <= spec.high)


# --- written --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry that stands, with what it replaced."""

    id: int
    at: datetime
    step: str
    leg: str
    """ "cation leg"; "" for a step of the whole bed."""
    name: str
    typed: str
    other: str
    struck: tuple[str, ...]
    limit: str
    instrument: str
    initials: str
    person: str
    notes: tuple[str, ...]
    is_outside: bool
    may_be_corrected: bool
    nothing: str
    """ "not_done", "not_applicable"; "" where something was written."""
    is_words: bool
    """Words, which may run over several lines; a number never does."""


def entry_rows(page: BatchPage, system: str) -> tuple[EntryRow, ...]:
    """The entries that stand, newest first, each with the values it replaced, struck."""
    by_pk = {row.pk: row for row in page.written}
    standing = (row for row in page.written if not hasattr(row, "replaced_by"))
    return tuple(_entry_row(row, _chain(row, by_pk), system) for row in standing)


NEWEST = 6
"""So many entries stand open where no step is at work."""


@dataclass(frozen=True, slots=True)
class EntryGroup:
    """Entries of finished steps of one leg, folded away."""

    fold: str
    """What the fold says: "Cation leg: 16 entries of finished steps"."""
    rows: tuple[EntryRow, ...]


def written_view(page: BatchPage, system: str) -> tuple[tuple[EntryRow, ...], tuple[EntryGroup, ...]]:
    """The entries of the steps at work, newest first, and those of finished steps, folded by leg.

    Where no step is at work the newest stand open. Few enough entries are never folded.
    """
    rows = entry_rows(page, system)
    at_work = {str(work.line.number) for work in page.works}
    shown = tuple(row for row in rows if row.step in at_work) if at_work else rows[:NEWEST]
    folded = [row for row in rows if row not in shown]
    if len(rows) <= NEWEST or not folded:
        return rows, ()
    legs = dict.fromkeys(row.leg for row in reversed(folded))
    groups = ((leg, tuple(row for row in folded if row.leg == leg)) for leg in legs)
    return shown, tuple(EntryGroup(_fold(leg, len(own), len(legs) > 1), own) for leg, own in groups)


def _fold(leg: str, count: int, has_legs: bool) -> str:
    entries = f"{count} {'entry' if count == 1 else 'entries'} of finished steps"
    return f"{sentence_case(leg or 'whole bed')}: {entries}" if has_legs else sentence_case(entries)


def _chain(row: StepEntry, by_pk: dict[int, StepEntry]) -> list[StepEntry]:
    """The entries this one replaced, oldest first."""
    found: list[StepEntry] = []
    old = row.replaces_id
    while old is not None and old in by_pk:
        found.insert(0, by_pk[old])
        old = by_pk[old].replaces_id
    return found


def _entry_row(row: StepEntry, replaced: Sequence[StepEntry], system: str) -> EntryRow:
    notes = []
    why = reason_sentence(row.reason_category, row.reason)
    if row.replaces_id is not None:
        notes.append(f"Corrected {clock(row.entered_at)} by {row.entered_by.full_name}: {why}")
    elif row.is_late:
        notes.append(f"Written late, at {clock(row.entered_at)}: {why}")
    elif why:
        notes.append(f"{sentence_case(row.words)}: {why}")
    if not row.instrument_was_valid:
        notes.append("Its instrument was out of calibration.")
    notes += filter(None, [check_words(row)])
    is_number = row.kind not in NOT_NUMBERS
    return EntryRow(
        id=row.pk,
        at=row.occurred_at,
        step=str(row.step.number),
        leg=leg_words(row.step.leg),
        name=row.name,
        typed=typed_words(row),
        other=units.twin(row.value, row.kind, "us" if system == "us" else "metric")
        if is_number and row.value is not None
        else "",
        struck=tuple(typed_words(old) for old in replaced),
        limit=limit_text(row.low, row.high, kind=row.kind, system=system) if is_number else "",
        instrument=row.instrument.code if row.instrument else "",
        initials=row.entered_by.initials,
        person=row.entered_by.full_name,
        notes=tuple(notes),
        is_outside=row.is_within is False,
        may_be_corrected=True,
        nothing="" if row.standing == StepEntry.Standing.WRITTEN else row.standing,
        is_words=row.kind in NOT_NUMBERS,
    )


def typed_words(row: StepEntry) -> str:
    """An entry as it was typed, or which kind of nothing it is."""
    return row.words


def written_sentence(entry: StepEntry, system: str) -> str:
    """The receipt: "Written: flow 66.6 L/min · 17.6 US gpm at 14:05, by you."."""
    name = lower_first(entry.name)
    value = entry.words
    if entry.value is not None:
        value = units.twin(entry.value, entry.kind, "us" if system == "us" else "metric")
    outside = " It is outside its limits, so a deviation is open." if entry.is_within is False else ""
    return f"Written: {name} {value} at {clock(entry.occurred_at)}, by you.{outside}"


def correction_facts(row: StepEntry, system: str) -> list[tuple[str, str]]:
    """An entry as it stands before its correction."""
    facts = [("Written", f"{row.name}: {typed_words(row)}")]
    if row.value is not None:
        facts.append(("Understood as", units.twin(row.value, row.kind, "us" if system == "us" else "metric")))
        limit = limit_text(row.low, row.high, kind=row.kind, system=system)
        facts += [("Limit", limit)] if limit else []
    if row.instrument is not None:
        facts.append(("With", f"{row.instrument.code}, {row.instrument.name}"))
    facts.append(("Step", f"{row.step.number} · {row.step.name}"))
    at = f"{clock(row.occurred_at)}, written by {row.entered_by.full_name} at {clock(row.entered_at)}"
    return [*facts, ("Happened", at)]


def leave_sentence(spec: EntrySpec, step: str) -> str:
    """What it means to leave an entry without a value."""
    if entry_rules.applies_always(spec):
        return (
            "Not yet needs no word: it stays open. Not done opens a deviation. That it does not apply is said by a supervisor, "
            "as the plan always asks for it."
        )
    return "Not yet needs no word: it stays open. Say which kind of nothing it is, and why. A blank is never a zero."


def leave_facts(spec: EntrySpec, step: str, system: str) -> list[tuple[str, str]]:
    """What was asked for."""
    limit = (
        limit_text(spec.low, spec.high, kind=spec.kind, system=system) if spec.kind not in NOT_NUMBERS else ""
    )
    rows = [("Asked for", spec.name), ("At", step), ("Limit", limit)]
    return [(name, value) for name, value in rows if value]


def thing_name(row: StepEntry | RinseReading) -> str:
    """What a check is about."""
    return row.name if isinstance(row, StepEntry) else "Rinse reading"


def together_facts(run: StepRun, first: Person) -> list[tuple[str, str]]:
    """Where two people look, and who ticks."""
    planned = next((step for step in plan_of(run.batch).steps if step.number == run.number), None)
    chemical = planned.chemical.label if planned is not None and planned.chemical is not None else ""
    rows = [
        ("Vessel", vessel_of(run.batch, run.leg).code),
        ("Chemical", chemical),
        ("Step", f"{run.number} · {run.name}"),
        ("You tick it", first.full_name),
    ]
    return [(term, value) for term, value in rows if value]


def check_facts(row: StepEntry | RinseReading, system: str) -> list[tuple[str, str]]:
    """An entry or a reading as a second person sees it."""
    if isinstance(row, StepEntry):
        return correction_facts(row, system)
    at = f"{clock(row.occurred_at)}, written by {row.entered_by.full_name}"
    return [
        ("Written", f"{row} at {row.temperature_as_typed}"),
        ("With", f"{row.instrument.code}, {row.instrument.name}"),
        ("Happened", at),
    ]


# --- the number pad -------------------------------------------------------------------------------------------------
def pad_units(kind: str) -> str:
    """Unit keys of the pad for a kind, in spellings without a space: "L/min gpm"."""
    names = (units.unit_text(kind, system).removeprefix("US ").split(" ")[0] for system in units.SYSTEMS)
    return " ".join(dict.fromkeys(name for name in names if name))
