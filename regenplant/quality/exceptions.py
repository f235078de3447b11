"""What was unusual in a batch: its record handed to the rules of a review as plain facts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from regenplant import units
from regenplant.audit.reasons import reason_sentence
from regenplant.audit.selectors import Line, acts_about
from regenplant.batches.allowances import Allowance
from regenplant.batches.checking import end_point_reading, is_checked
from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.batches.models import Batch, RinseReading, StepEntry
from regenplant.batches.rinse import PASSED
from regenplant.batches.separation import SeparationLine, separation_record
from regenplant.batches.timing import worked_s
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.review_facts import (
    ActFact,
    DecisionFact,
    DeviationFact,
    HoldFact,
    ReviewFacts,
    StepFact,
    TankFact,
    UseFact,
    ValueFact,
)
from regenplant.core.process.review_rules import Exceptions, exceptions
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.wording import say
from regenplant.plant.selectors import profile
from regenplant.quality.models import QcMeasurement, RinseContinuation
from regenplant.quality.record import BatchRecord, record_of
from regenplant.quality.specification import Judged, downgrade_of, sample_limits

Row = TypeVar("Row", StepEntry, RinseReading, QcMeasurement)
WATCHED_ACTS = {"signature.refused": "signature", "entry.typed_differently": "typing"}
"""Acts that leave no row in the record and belong into a review."""


def exceptions_of(
    batch: Batch, record: BatchRecord | None = None, judged: Judged | None = None
) -> Exceptions:
    """Everything unusual in this batch, worst first, and what was looked at. ``judged``: its verdict, where it was worked out already."""
    return exceptions(facts_of(batch, record or record_of(batch), judged))


def facts_of(batch: Batch, record: BatchRecord, judged: Judged | None = None) -> ReviewFacts:
    """The record as the rules take it."""
    proving = _proving(batch, judged)
    teller = _Teller(record, plan_of(batch), ZoneInfo(profile().time_zone), proving)
    reopening = record.reopening
    return ReviewFacts(
        values=tuple(teller.values()),
        steps=tuple(teller.steps()),
        holds=tuple(teller.holds()),
        deviations=tuple(teller.deviations()),
        uses=tuple(teller.uses()),
        tanks=tuple(
            TankFact(link.visit.tank.serial, link.is_filled, link.set_aside_reason, link.withdrawn_reason)
            for link in record.tanks
        ),
        decisions=tuple(teller.decisions()),
        acts=tuple(_act(line, teller) for line in acts_about([("batch", batch.number)], WATCHED_ACTS)),
        separation=tuple(teller.separation()),
        planned_vessel=teller.plan.request.vessel.code,
        vessel=batch.vessel.code,
        reworks=batch.parent.number if batch.parent else "",
        rework_cause=batch.rework_cause,
        downgraded=teller.downgraded(),
        rinsed_on=tuple(teller.rinsed_on()),
        plan_warnings=tuple(check.sentence for check in teller.plan.warnings),
        is_plan_untouched=is_untouched(batch),
        reopened=f"Opened for correction by {reopening.reopened_by.full_name}, {teller.when(reopening.reopened_at)}: {reopening.reason}"
        if reopening
        else "",
    )


def _proving(batch: Batch, judged: Judged | None) -> RinseReading | None:
    """The reading that proves the end point of what the batch was frozen with: a verdict by a lower product says nothing of that."""
    if judged is None or downgrade_of(batch) is not None:
        return end_point_reading(batch)
    return end_point_reading(batch, judged.end_point, judged.found)


def _act(line: Line, teller: _Teller) -> ActFact:
    tried = line.facts.get("facts", {})
    said = line.sentence.partition(": ")[2] or line.sentence
    why = f" ({tried['why']})" if tried.get("why") else ""
    return ActFact(WATCHED_ACTS[line.event], f"{said}{why}", line.who, teller.when(line.at))


class _Teller:
    """Rows of one record in words."""

    def __init__(self, record: BatchRecord, plan: BatchPlan, zone: ZoneInfo, proving: RinseReading | None):
        self.record, self.plan, self.zone = record, plan, zone
        self.specs = {
            (number, spec.key): spec
            for number in {*(step.number for step in plan.steps), *(step.number for step in record.steps)}
            for spec in plan.step(number).entries
        }
        self.entry_checks = {check.entry_id: check for check in record.checks if check.entry_id}
        self.newest = _newest(record.entries)
        self.proving = proving.pk if proving else None
        self.proving_is_checked = proving is not None and is_checked(proving)

    def when(self, moment: datetime) -> str:
        return f"{moment.astimezone(self.zone):%Y-%m-%d %H:%M}"

    # --- values -------------------------------------------------------------------------------------------------------
    def values(self) -> Iterator[ValueFact]:
        for entry, was, corrected in _with_old(self.record.entries):
            yield self._entry(entry, _shared(self, entry, was, corrected))
        for reading, old, corrected in _with_old(self.record.readings):
            yield self._reading(reading, _shared(self, reading, old, corrected))
        yield from self._logs()
        limits = {limit.measurement: limit for limit in sample_limits(self.record.batch)}
        for row, before, corrected in _with_old(self.record.measurements):
            limit = limits.get(row.key)
            yield ValueFact(
                place="sample",
                name=row.name,
                limits=_limits(limit.low, limit.high, limit.kind) if limit else "",
                is_within=limit.holds(row.value) if limit else None,
                **_shared(self, row, before, corrected),
            )

    def _entry(self, row: StepEntry, shared: dict[str, Any]) -> ValueFact:
        spec = self.specs.get((row.step.number, row.key))
        critical = spec is not None and is_critical(spec) and row.standing == StepEntry.Standing.WRITTEN
        return ValueFact(
            place=row.step.name,
            name=row.name,
            step=row.step.number,
            limits=_limits(row.low, row.high, row.kind),
            is_within=row.is_within,
            standing=row.standing,
            needs_check=critical and row.pk in self.newest,
            is_checked=self._is_entry_checked(row),
            **shared,
        )

    def _is_entry_checked(self, row: StepEntry) -> bool:
        return row.pk in self.entry_checks

    def _reading(self, row: RinseReading, shared: dict[str, Any]) -> ValueFact:
        return ValueFact(
            place="rinse",
            name="reading",
            step=row.step.number,
            doubt=row.instrument_check,
            needs_check=row.pk == self.proving,
            is_checked=self.proving_is_checked,
            **shared,
        )

    def _logs(self) -> Iterator[ValueFact]:
        """Logs of meters, and what was set aside of them. A logger writes while it happens: that its file comes later is usual."""
        for log in self.record.logs:
            yield ValueFact(
                place="rinse",
                name="log",
                words=f"of {log.count:,} readings, {log.get_source_display()}",
                who=log.entered_by.full_name,
                when=self.when(log.first_at),
                step=log.step.number,
                instrument=log.instrument.code,
                instrument_was_valid=log.instrument_was_valid,
                doubt=f"{log.check_count:,} of them point to the cell" if log.check_count else "",
                logged=log.count,
            )
        for row in self.record.set_aside_logs:
            first, last = row.from_at or row.log.first_at, row.until_at or row.log.last_at
            yield ValueFact(
                place="rinse",
                name="log",
                words=f"set aside from {self.when(first)} to {self.when(last)}",
                who=row.set_aside_by.full_name,
                when=self.when(row.set_aside_at),
                replaces="it counted",
                reason=f"{row.reason}",
                instrument=row.log.instrument.code,
                logged=0,
            )

    # --- how it went --------------------------------------------------------------------------------------------------
    def steps(self) -> Iterator[StepFact]:
        for step in self.record.steps:
            ended = step.finished_at
            worked = worked_s(step, self.record.holds, ended) if ended and step.started_at else None
            yield StepFact(
                step.number, step.name, step.state, step.planned_duration_s, worked, step.skip_reason
            )

    def holds(self) -> Iterator[HoldFact]:
        for hold in self.record.holds:
            lasted = (hold.resumed_at - hold.held_at).total_seconds() if hold.resumed_at else None
            yield HoldFact(
                hold.is_interruption, hold.reason, hold.held_by.full_name, self.when(hold.held_at), lasted
            )

    def deviations(self) -> Iterator[DeviationFact]:
        for row in self.record.deviations:
            yield DeviationFact(
                row.number,
                row.severity,
                row.what,
                row.is_open,
                row.decision,
                row.decided_by.full_name if row.decided_by else "",
                row.step.number if row.step else 0,
            )

    def decisions(self) -> Iterator[DecisionFact]:
        for row in self.record.decisions:
            why = ""
            if row.reopening is not None:
                why = f"Reopened by {row.reopening.reopened_by.full_name}: {reason_sentence(row.reopening.reason_category, row.reopening.reason)}"
            yield DecisionFact(
                row.version, row.verdict, row.decided_by.full_name, self.when(row.decided_at), why
            )

    def downgraded(self) -> str:
        if not self.record.downgrades:
            return ""
        down = self.record.downgrades[0]
        return (
            f"Went down from class {down.from_class} to {down.to_version.specification.code}, class {down.to_class}; "
            f"{down.agreed_by.full_name} agreed, {self.when(down.agreed_at)}: {down.reason}"
        )

    def rinsed_on(self) -> Iterator[str]:
        for row in self.record.continuations:
            yield (
                f"Round {row.round}, handed back by {row.continued_by.full_name}, {self.when(row.continued_at)}, with at most "
                f"{say(row.allowance_bv, 'bed_volumes')} more: {row.reason}{self._taken(row)}"
            )

    def _taken(self, row: RinseContinuation) -> str:
        """How much water the round took, where it is written; said as too much where it was more than allowed."""
        own = (one for one in self.record.entries if one.step_id == row.step_id and one.key == PASSED)
        passed = next((one.value for one in own if one.pk in self.newest), None)
        if passed is None:
            return ""
        taken = passed / self.record.batch.resin_volume_m3
        words = f" It took {say(taken, 'bed_volumes')}"
        is_more = Allowance(row.rinsed_bv, row.allowance_bv).is_exceeded_by(taken)
        return f"{words}, more than it was allowed." if is_more else f"{words}."

    def uses(self) -> Iterator[UseFact]:
        planned: dict[str, float] = {}
        for step in self.plan.steps:
            if step.chemical is not None and "chemical_kg_100" in step.figures:
                planned[step.chemical.value] = planned.get(step.chemical.value, 0.0) + step.value(
                    "chemical_kg_100"
                )
        moved = {row.chemical for row in self.record.movements}
        begun = self.record.batch.rinsed_at is not None
        for chemical in sorted({*planned, *moved}):
            if chemical in moved or begun:
                yield self._use(chemical, planned.get(chemical, 0.0))

    def _use(self, chemical: str, planned_kg: float) -> UseFact:
        rows = [row for row in self.record.movements if row.chemical == chemical]
        drawn = [row for row in rows if row.corrects_id is None]
        back = [row for row in rows if row.corrects_id is not None]
        grams = sum(row.grams_100 for row in drawn) - sum(row.grams_100 for row in back)
        stock = self.plan.request.stock.get(chemical)
        return UseFact(
            chemical=Chemical(chemical).label,
            planned_kg=planned_kg,
            used_kg=grams / 1000.0,
            planned_lot=self.record.batch.chemical_lots.get(chemical, ""),
            lots=tuple(dict.fromkeys(row.lot.code for row in drawn if row.lot)),
            check_age_days=stock.check_age_days if stock else None,
            max_age_days=stock.max_check_age_days if stock else 0.0,
            taken_back=tuple(
                f"Movement {row.number} takes back {row.grams_100 / 1000.0:g} kg as 100 % of {Chemical(chemical).label.lower()}: {row.reason}"
                for row in back
            ),
        )

    # --- mixed beds ---------------------------------------------------------------------------------------------------
    def separation(self) -> Iterator[str]:
        found = separation_record(self.record.batch)
        if found is None:
            return
        for line in (*found.heights, *found.volumes, *found.fractions):
            yield _separation_line(line, found.predicted.get(line.key))
        for name in found.missing:
            yield f"{name} is not written."


def _separation_line(line: SeparationLine, predicted: Estimate | None) -> str:
    target = predicted.value if predicted is not None else line.target
    beside = f", predicted {units.format_quantity(target, line.kind)}" if target is not None else ""
    limits = (
        f", allowed {_limits(line.low, line.high, line.kind)}"
        if line.low is not None or line.high is not None
        else ""
    )
    return f"{line.name}: {line.as_typed or 'not written'}{beside}{limits}."


def _shared(teller: _Teller, row: Row, was: Row | None, is_replaced: bool) -> dict[str, Any]:
    """What entries, readings and measurements say alike."""
    return {
        "words": _words(row),
        "who": row.entered_by.full_name,
        "when": teller.when(row.occurred_at),
        "behind_s": (row.entered_at - row.occurred_at).total_seconds(),
        "is_late": row.is_late,
        "reason": reason_sentence(row.reason_category, row.reason),
        "replaces": _words(was) if was is not None else "",
        "replaced_who": was.entered_by.full_name if was is not None else "",
        "is_replaced": is_replaced,
        "instrument": row.instrument.code if row.instrument else "",
        "instrument_was_valid": row.instrument_was_valid,
    }


def _with_old(rows: Sequence[Row]) -> Iterator[tuple[Row, Row | None, bool]]:
    """Each row with the one it corrects, and whether a later one corrects it."""
    known = {row.pk: row for row in rows}
    replaced = {row.replaces_id for row in rows}
    for row in rows:
        yield row, known.get(row.replaces_id) if row.replaces_id else None, row.pk in replaced


def _newest(rows: Iterable[StepEntry]) -> frozenset[int]:
    """Keys of the entries that stand last in their step: of a running total only the last is critical."""
    rows = list(rows)
    replaced = {row.replaces_id for row in rows}
    standing = sorted(
        (row for row in rows if row.pk not in replaced), key=lambda row: (row.occurred_at, row.pk)
    )
    return frozenset({(row.step_id, row.key): row.pk for row in standing}.values())


def _words(row: StepEntry | RinseReading | QcMeasurement) -> str:
    if isinstance(row, StepEntry):
        return row.words
    return f"{row.value_as_typed} {row.unit_as_typed}".strip()


def _limits(low: float | None, high: float | None, kind: str) -> str:
    """ "35 to 49 °C", "at most 1 mg/L", "at least 4"."""
    least = units.format_quantity(low, kind) if low is not None else ""
    most = units.format_quantity(high, kind) if high is not None else ""
    if least and most:
        return f"{least} to {most}"
    return f"at least {least}" if least else f"at most {most}" if most else ""


def written_findings(found: Exceptions) -> list[dict[str, object]]:
    """The findings as a signed review keeps them."""
    return [
        {
            "kind": one.kind.value,
            "sentence": one.sentence,
            "step": one.step,
            "ref": one.ref,
            "is_grave": one.is_grave,
        }
        for one in found.findings
    ]
