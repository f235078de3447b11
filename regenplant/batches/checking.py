"""The accuracy check of critical entries: how each class wants it, and what is not checked yet. Nothing is changed here.

Critical are chemical volume and strength, and the rinse reading that proves the end point. Typed twice means: a second time
in an empty field without seeing the first; nothing is written when the two differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.core.exceptions import ObjectDoesNotExist

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, CheckRules, EntryCheck, MeterLog, RinseReading, StepEntry
from regenplant.batches.rinse import EndPoint, current_readings, end_point, judged_steps, rinse_sifted
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.sifting import Sifted
from regenplant.core.process.vocabulary import SegregationClass

Method = EntryCheck.Method

USUAL_METHODS: Mapping[str, Method] = {
    SegregationClass.DEDICATED.value: Method.SECOND_PERSON,
    SegregationClass.POTABLE.value: Method.SECOND_PERSON,
}
"""By class, where a plant says nothing of its own: people drink, eat or are treated with what classes A and B make, so
another person looks as well. Every other class types twice."""


def check_method(segregation_class: str) -> Method:
    """How critical entries of this class are checked: as the plant says, else as usual."""
    return check_methods()[segregation_class]


def check_rules() -> CheckRules:
    """The plant's own rules; before it wrote any, an unsaved row without one."""
    return CheckRules.objects.filter(pk=1).first() or CheckRules(pk=1)


def check_methods() -> dict[str, Method]:
    """How critical entries are checked, by class; every class has a way."""
    own = check_rules().methods
    return {
        item.value: Method(own.get(item.value) or USUAL_METHODS.get(item.value, Method.TWICE))
        for item in SegregationClass
    }


@dataclass(frozen=True, slots=True)
class Unchecked:
    """A critical entry or reading whose check does not stand."""

    name: str
    entry: StepEntry | None = None
    reading: RinseReading | None = None


def spec_of(batch: Batch, step_number: int, key: str) -> EntrySpec | None:
    """What an entry of the frozen plan is, by its key."""
    specs = plan_of(batch).step(step_number).entries
    return next((spec for spec in specs if spec.key == key), None)


def is_critical_row(batch: Batch, row: StepEntry) -> bool:
    """Whether this entry needs its check: a critical one with a value."""
    spec = spec_of(batch, row.step.number, row.key)
    return row.standing == StepEntry.Standing.WRITTEN and spec is not None and is_critical(spec)


def check_of(row: StepEntry | RinseReading) -> EntryCheck | None:
    """The check of a row; None where none stands."""
    try:
        return row.check_of_it
    except ObjectDoesNotExist:
        return None


def is_checked(row: StepEntry | RinseReading) -> bool:
    """Whether the row was checked the way its class wanted it when it was written.

    Typing twice is kept only where two typings were enough; rules that were made stricter since do not undo it.
    """
    return check_of(row) is not None


def unchecked(batch: Batch) -> tuple[Unchecked, ...]:
    """Critical entries that stand and the reading of the end point, as far as their check is missing."""
    rows = [row for row in standing_entries(batch) if is_critical_row(batch, row)]
    found = [
        Unchecked(f"{row.name} of {row.step.name[:1].lower()}{row.step.name[1:]}", entry=row)
        for row in rows
        if not is_checked(row)
    ]
    reading = end_point_reading(batch)
    if reading is not None and not is_checked(reading):
        found.append(Unchecked("the last reading of the rinse", reading=reading))
    return tuple(found)


def standing_entries(batch: Batch) -> list[StepEntry]:
    """The newest entry of each step and key that no later one replaces."""
    rows = (
        StepEntry.objects.filter(step__batch=batch, replaced_by__isnull=True)
        .select_related("step", "entered_by", "check_of_it")
        .order_by("occurred_at", "id")
    )
    return list({(row.step_id, row.key): row for row in rows}.values())


def end_point_reading(
    batch: Batch, reached: EndPoint | None = None, found: Sifted | None = None
) -> RinseReading | None:
    """The reading by hand by which the end point holds: the newest one that counts. None while it does not hold, where the
    specification names no limit for readings, and where a meter's own reading is newer: that nobody typed. ``reached``, ``found``: the end
    point and what the readings are good for by the batch's own specification, where they were asked already."""
    rinses = judged_steps(batch)
    if not rinses or rinses[-1].state == StepState.WAITING:
        return None
    reached = reached or end_point(batch)
    if not reached.is_met or reached.limit is None:
        return None
    newest = _newest(current_readings(batch).select_related("instrument", "entered_by", "check_of_it"))
    logged = MeterLog.objects.filter(batch=batch, instrument_was_valid=True)
    if newest is not None and logged.filter(last_at__gt=newest.occurred_at).exists():
        counting = found if found is not None else rinse_sifted(batch)
        last_s = float(counting.series.at_s[counting.counts][-1])
        return newest if newest.occurred_at.timestamp() >= last_s else None
    return newest


def _newest(rows: Iterable[RinseReading]) -> RinseReading | None:
    counting = [row for row in rows if row.instrument_was_valid and not row.instrument_check]
    return counting[-1] if counting else None
