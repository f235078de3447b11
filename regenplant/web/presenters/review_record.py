"""A record to review in words: what was unusual grouped and linked, then every row of it in order, and its signed versions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.urls import reverse

from regenplant import units
from regenplant.audit.reasons import reason_sentence
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import RinseReading, StepEntry
from regenplant.core.process.review_rules import Exceptions, Finding, Unusual
from regenplant.core.process.strength_change import origin_words
from regenplant.core.process.vocabulary import Chemical
from regenplant.quality.models import QcDecision, QcMeasurement, RecordReview
from regenplant.quality.record import BatchRecord
from regenplant.quality.selectors import ReviewPage
from regenplant.web.presenters.words import clock, counted, day_and_clock, joined, sentence_case, short_digest


# --- what was unusual -------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class FoundLine:
    sentence: str
    url: str
    """Where to look, "" where it stands on this page or nowhere."""
    where: str
    is_grave: bool


@dataclass(frozen=True, slots=True)
class FoundGroup:
    """All findings of one kind."""

    kind: str
    heading: str
    lines: tuple[FoundLine, ...]

    @property
    def is_grave(self) -> bool:
        return any(line.is_grave for line in self.lines)


@dataclass(frozen=True, slots=True)
class FoundView:
    """What was unusual, worst first; in words where nothing was."""

    sentence: str
    groups: tuple[FoundGroup, ...]
    none: str
    looked_at: str


def found_view(found: Exceptions, number: str) -> FoundView:
    """The findings of a batch as a page shows them."""
    groups = tuple(
        FoundGroup(kind.value, kind.heading, tuple(_line(one, number) for one in found.of(kind)))
        for kind in found.kinds
    )
    none = f"No {joined(found.none_of, 'or')}." if found.none_of else ""
    looked = f"Looked at: {joined(found.looked_at)}." if found.looked_at else ""
    return FoundView(unusual_words(len(found.findings)), groups, none, looked)


def unusual_words(number: int) -> str:
    """ "3 things were unusual.", "Nothing unusual."."""
    if not number:
        return "Nothing unusual."
    return f"{sentence_case(counted(number, 'thing'))} {'was' if number == 1 else 'were'} unusual."


def _line(found: Finding, number: str) -> FoundLine:
    if found.ref and found.kind is Unusual.DEVIATION:
        return FoundLine(
            found.sentence, reverse("deviations-detail", args=[found.ref]), found.ref, found.is_grave
        )
    if found.step:
        url = f"{reverse('review-batch', args=[number])}?open=all#step-{found.step}"
        return FoundLine(found.sentence, url, f"step {found.step}", found.is_grave)
    return FoundLine(found.sentence, "", "", found.is_grave)


# --- the page ---------------------------------------------------------------------------------------------------------
def review_sentence(page: ReviewPage) -> str:
    """How the review of this batch stands."""
    newest = page.reviews[-1] if page.reviews else None
    if page.standing.flag:
        return page.standing.flag
    if newest is not None and page.standing.is_reviewed:
        return f"Reviewed by {newest.signature.printed_name}, {day_and_clock(newest.reviewed_at)}; nothing was written since."
    said = unusual_words(len(page.exceptions.findings))
    return f"{said} {page.standing.review_missing}"


def refusal(page: ReviewPage, held_reason: str) -> str:
    """Why the reader does not review it now, and who may; "" when the way is open."""
    said = [blocker.sentence for blocker in page.blockers]
    if held_reason:
        said.insert(0, held_reason)
    personal = held_reason or any(blocker.code == "own_work" for blocker in page.blockers)
    if personal:
        names = [person.full_name for person in page.who_may_review]
        said.append(
            f"May review: {joined(names, 'or')}."
            if names
            else "Nobody here may review it. Call in another person."
        )
    return " ".join(said)


def review_facts(page: ReviewPage) -> list[tuple[str, str]]:
    """What stands under the signature of a review."""
    record = page.record
    rows = [
        ("Unusual", unusual_words(len(page.exceptions.findings)).removesuffix(".")),
        ("Steps", f"{len(record.steps)}"),
        (
            "Written down",
            f"{len(record.entries)} entries, {len(record.readings)} readings, {len(record.measurements)} measurements",
        ),
        ("Decision", _decision_words(record.decision)),
        ("Record", short_digest(record.digest)),
    ]
    return [(term, value) for term, value in rows if value]


def _decision_words(decision: QcDecision | None) -> str:
    if decision is None:
        return "not judged"
    return f"{decision.verdict}, version {decision.version}, {decision.signature.printed_name}, {short_digest(decision.signature.digest)}"


def review_rows(reviews: Iterable[RecordReview]) -> list[tuple[str, str]]:
    """Every review as it was signed."""
    return [
        (
            f"Version {review.version}",
            f"{review.signature.printed_name}, {day_and_clock(review.reviewed_at)}: {unusual_words(review.unusual)} "
            f"{review.remarks}".strip()
            + f" Digest {short_digest(review.signature.digest)}, record {short_digest(review.record_digest)}.",
        )
        for review in reviews
    ]


# --- the whole record -------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Written:
    """One value that stands, with what it took the place of."""

    name: str
    value: str
    struck: tuple[str, ...]
    limits: str
    who: str
    when: str
    instrument: str
    is_outside: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WholeStep:
    """One step of the record with everything written in it."""

    number: int
    name: str
    state: str
    facts: str
    rows: tuple[Written, ...]


@dataclass(frozen=True, slots=True)
class WholeRecord:
    """The record in order: steps, rinse, sample, chemicals, tanks."""

    steps: tuple[WholeStep, ...]
    readings: tuple[Written, ...]
    measurements: tuple[Written, ...]
    chemicals: tuple[tuple[str, str], ...]
    tanks: tuple[tuple[str, str], ...]


def whole_record(record: BatchRecord) -> WholeRecord:
    """Every row of the record, in the order of the work; corrected rows stand struck before what took their place."""
    entries: dict[int, list[StepEntry]] = {}
    for row in record.entries:
        entries.setdefault(row.step_id, []).append(row)
    steps = tuple(
        WholeStep(
            number=step.number,
            name=step.name,
            state=step.state,
            facts=_step_facts(step),
            rows=tuple(_standing(entries.get(step.pk, []))),
        )
        for step in record.steps
    )
    stock = plan_of(record.batch).request.stock
    strengths = tuple(
        (
            f"{Chemical(key).label}, dose",
            f"worked out with {units.format_quantity(stock[key].strength_frac, 'strength')}. "
            + " ".join(origin_words(stock[key], lambda text: day_and_clock(datetime.fromisoformat(text)))),
        )
        for key in dict.fromkeys(row.chemical for row in record.movements)
        if key in stock
    )
    moves = tuple(
        (
            f"Movement {row.number}",
            f"{'taken back: ' if row.corrects_id else ''}{Chemical(row.chemical).label}, {units.format_quantity(row.grams_100 / 1000, 'mass')} "
            f"as 100 %, {f'lot {row.lot.code}, ' if row.lot else ''}{day_and_clock(row.moved_at)}",
        )
        for row in record.movements
    )
    tanks = tuple(
        (
            link.visit.tank.serial,
            f"set aside: {link.set_aside_reason}"
            if link.set_aside_reason
            else f"filled, withdrawn: {link.withdrawn_reason}"
            if link.is_withdrawn
            else "filled"
            if link.is_filled
            else "not filled",
        )
        for link in record.tanks
    )
    return WholeRecord(
        steps,
        tuple(_standing(record.readings)),
        tuple(_standing(record.measurements)),
        (*strengths, *moves),
        tanks,
    )


def _step_facts(step: Any) -> str:
    if step.state == "skipped":
        return f"skipped: {step.skip_reason}"
    if step.started_at is None:
        return "not started"
    end = f" to {clock(step.finished_at)}" if step.finished_at else ""
    return f"{day_and_clock(step.started_at)}{end}"


def _standing(
    rows: Sequence[StepEntry] | Sequence[RinseReading] | Sequence[QcMeasurement],
) -> Iterator[Written]:
    known: dict[int, Any] = {row.pk: row for row in rows}
    replaced = {row.replaces_id for row in rows}
    for row in rows:
        if row.pk in replaced:
            continue
        yield _written(row, tuple(_before(row, known)))


def _before(row: Any, known: dict[int, Any]) -> Iterator[str]:
    chain = []
    while row.replaces_id in known:
        row = known[row.replaces_id]
        chain.append(_value(row))
    yield from reversed(chain)


def _value(row: Any) -> str:
    return row.words if isinstance(row, StepEntry) else f"{row.value_as_typed} {row.unit_as_typed}".strip()


def _written(row: Any, struck: tuple[str, ...]) -> Written:
    notes = []
    if row.reason:
        notes.append(reason_sentence(row.reason_category, row.reason))
    if row.is_late:
        notes.append(f"written late, {day_and_clock(row.entered_at)}")
    if row.instrument is not None and not row.instrument_was_valid:
        notes.append(f"{row.instrument.code} was out of calibration")
    if getattr(row, "instrument_check", ""):
        notes.append(row.instrument_check)
    low, high = getattr(row, "low", None), getattr(row, "high", None)
    name = getattr(row, "name", "") or f"at {units.format_quantity(row.rinsed_bv, 'bed_volumes')}"
    return Written(
        name=name,
        value=_value(row),
        struck=struck,
        limits=_limits(low, high, row.kind) if low is not None or high is not None else "",
        who=row.entered_by.full_name,
        when=day_and_clock(row.occurred_at),
        instrument=row.instrument.code if row.instrument else "",
        is_outside=getattr(row, "is_within", None) is False,
        notes=tuple(notes),
    )


def _limits(low: float | None, high: float | None, kind: str) -> str:
    least = units.format_quantity(low, kind) if low is not None else ""
    most = units.format_quantity(high, kind) if high is not None else ""
    return f"{least} to {most}" if least and most else f"at least {least}" if least else f"at most {most}"
