"""Quality in a batch record: the rinse-down with its curve, the sample, the decisions, the deviations."""

from __future__ import annotations

from regenplant import units
from regenplant.core.process.acceptance import Outcome
from regenplant.documents.batch_record.content import (
    RecordDecision,
    RecordDeviation,
    RecordLog,
    RecordMeasurement,
    RecordReading,
    Rinse,
)
from regenplant.documents.batch_record.curve import rinse_curve
from regenplant.documents.batch_record.setting import (
    NOTHING_MARKS,
    QUIET,
    Setting,
    columns_of,
    moment_cell,
    notes,
    nothing_cell,
    range_cell,
    signs,
    table,
    value_cell,
)
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, SMALL, SMALL_STRONG, STRONG, Span
from regenplant.documents.flow import Block, Item, paragraph, rich, stacked
from regenplant.documents.parts import Column, cell, marked
from regenplant.documents.texts import headed, limit_words, limit_words_other, own


def items(setting: Setting) -> list[Item]:
    return [
        *_rinse(setting),
        *_sample(setting),
        *_decisions(setting),
        *_reviews(setting),
        *_deviations(setting),
    ]


# --- rinse ------------------------------------------------------------------------------------------------------
def _rinse(setting: Setting) -> list[Item]:
    rinse, width, system = setting.content.rinse, setting.width, setting.system
    found = [section("Rinse-down", width, margin_word("Rinse", "readings"))]
    if rinse.range is not None:
        words = limit_words(rinse.range.low, rinse.range.high, rinse.range.kind, system)
        twin = limit_words_other(rinse.range.low, rinse.range.high, rinse.range.kind, system)
        limit = f"{words} ({twin})" if twin else words or "by the table for uncompensated readings"
        found.append(Item(paragraph(f"Limit: {rinse.limit_name} {limit}.", BODY, width), keep=True, gap=1))
    if rinse.nothing is not None:
        reason = "" if rinse.range is not None else " No limit of the specification is read during the rinse."
        spans = (Span(f"{headed(rinse.nothing.label)}. ", STRONG), Span(f"No reading stands.{reason}", BODY))
        return [*found, Item(marked(NOTHING_MARKS[rinse.nothing], spans, width), gap=3)]
    curve = rinse_curve(rinse, width, system)
    if curve is not None:
        found.append(Item(curve, gap=4, keep=True))
    columns = columns_of(
        width,
        (
            ("When", 108.0),
            ("Step", 24.0),
            ("Rinsed", 38.0),
            ("As typed", 72.0),
            ("At, meter corrects", 70.0),
            ("Judged", 64.0),
            ("Cell, by whom", 0.0),
        ),
    )
    rows = [_reading(reading, rinse.kind, columns, system) for reading in rinse.readings]
    by_hand = table(columns, rows) if rows else []
    return [*found, *by_hand, *notes(rinse.changes, width), *_logs(rinse, width)]


def _logs(rinse: Rinse, width: float) -> list[Item]:
    """The logs of meters, each on a line: what came from where, and the digest it is known by."""
    if not rinse.logs:
        return []
    columns = columns_of(
        width,
        (
            ("From, to", 108.0),
            ("Step", 24.0),
            ("Readings", 52.0),
            ("Came as", 100.0),
            ("Meter corrects", 62.0),
            ("Cell, by whom", 0.0),
        ),
    )
    return table(columns, [_log(log, columns) for log in rinse.logs])


def _log(log: RecordLog, columns: tuple[Column, ...]) -> tuple[Block, ...]:
    who: list[Block] = [cell(f"{log.instrument} · {log.by}, {log.entered}", columns[5], SMALL)]
    who.append(cell(f"digest {log.digest[:16]}", columns[5], QUIET))
    who += [
        marked("check", (Span(sentence, SMALL),), columns[5].width - 6, side=7.5, leading=SMALL.leading)
        for sentence in (*([f"counts for nothing: {log.doubts}"] if log.doubts else []), *log.set_aside)
    ]
    return (
        stacked([cell(log.first, columns[0], SMALL), cell(log.last, columns[0], SMALL)]),
        cell(str(log.step), columns[1], SMALL),
        cell(f"{log.count:,}", columns[2], BODY),
        cell(f"{log.source} {log.name}".strip(), columns[3], SMALL),
        cell(f"{log.compensation}; {log.unit}", columns[4], SMALL),
        stacked(who),
    )


def _reading(
    reading: RecordReading, kind: str, columns: tuple[Column, ...], system: str
) -> tuple[Block, ...]:
    when: list[Block] = [cell(reading.at, columns[0], SMALL)]
    if reading.is_late:
        words = f"late entry, entered {reading.entered}"
        when.append(marked("check", (Span(words, SMALL),), columns[0].width - 6, side=7.5, leading=SMALL.leading))  # fmt: skip
    marks = [reading.mark] if reading.mark else []
    who: list[Block] = [cell(f"{reading.instrument} · {reading.by}", columns[6], SMALL)]
    if reading.checked:
        who.append(cell(f"checked: {reading.checked}", columns[6], QUIET))
    if reading.doubts:
        spans = (Span(f"counts for nothing: {reading.doubts}", SMALL_STRONG),)
        who.append(marked("check", spans, columns[6].width - 6, side=7.5, leading=SMALL.leading))
    return (
        stacked(when),
        cell(str(reading.step), columns[1], SMALL),
        cell(own(reading.rinsed_bv, "bed_volumes", "", system), columns[2], SMALL),
        rich((Span(reading.as_typed, STRONG), *signs(marks)), columns[3].width - 4, leading=BODY.leading),
        cell(f"{reading.temperature}, {reading.compensation}", columns[4], SMALL),
        cell(units.format_quantity(reading.value, kind, system), columns[5], BODY),
        stacked(who),
    )


# --- sample -----------------------------------------------------------------------------------------------------
def _sample(setting: Setting) -> list[Item]:
    content, width = setting.content, setting.width
    title = f"Sample against {content.specification}"
    found = [section(title, width, margin_word("QC", "sample"))]
    if not content.measurements:
        return [*found, Item(paragraph("The specification asks for nothing on the sample.", BODY, width), gap=2)]  # fmt: skip
    columns = columns_of(width, (("Test", 0.0), ("Limit", 88.0), ("Found", 84.0), ("When, by whom", 148.0)))
    rows = [_measurement(one, columns, setting.system) for one in content.measurements]
    changes = [change for one in content.measurements for change in one.changes]
    return [*found, *table(columns, rows), *notes(changes, width)]


def _measurement(one: RecordMeasurement, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    name = [cell(one.name, columns[0], BODY)]
    if one.method:
        name.append(cell(one.method, columns[0], QUIET))
    limits = range_cell(one.range, columns[1], system)
    if one.current is None:
        empty = cell("", columns[2], SMALL)
        return stacked(name), limits, nothing_cell(one.nothing, columns[2]) if one.nothing else empty, empty
    moments: list[Block] = [moment_cell(one.current, columns[3])]
    if one.doubts:
        spans = (Span(f"counts for nothing: {one.doubts}", SMALL_STRONG),)
        moments.append(marked("check", spans, columns[3].width - 6, side=7.5, leading=SMALL.leading))
    marks = [change.mark for change in one.changes]
    return (
        stacked(name),
        limits,
        value_cell(one.current, one.range.kind, marks, columns[2], system),
        stacked(moments),
    )


# --- decisions --------------------------------------------------------------------------------------------------
def _decisions(setting: Setting) -> list[Item]:
    width = setting.width
    found = [section("QC decision", width, margin_word("Verdict"))]
    if not setting.content.decisions:
        return [*found, Item(marked("waiting", (Span("Not yet. ", STRONG), Span("No decision is signed.", BODY)), width), gap=2)]  # fmt: skip
    for decision in setting.content.decisions:
        found += _decision(decision, width)
    for one in setting.content.reopenings:
        spans = (Span("Opened again for correction. ", STRONG), Span(f"{one.reopened}. {one.reason}", BODY))
        found.append(Item(marked("check", spans, width), gap=3))
    return found


_OUTCOME_MARKS = {
    Outcome.PASS.value: "done",
    Outcome.FAIL.value: "stop",
    Outcome.INCOMPLETE.value: "waiting",
    Outcome.LATER.value: "waiting",
}


def _decision(decision: RecordDecision, width: float) -> list[Item]:
    mark = "done" if decision.verdict == "pass" else "stop"
    version = f", version {decision.version}" if decision.version > 1 else ""
    head = (Span(f"{headed(decision.verdict)}{version}. ", STRONG), Span(f"Decided {decision.decided}. {decision.reason}", BODY))  # fmt: skip
    found = [Item(marked(mark, head, width), gap=3, keep=bool(decision.findings))]
    for sentence, outcome in decision.findings:
        found.append(Item(marked(_OUTCOME_MARKS.get(outcome, "check"), (Span(sentence, SMALL),), width - 14, side=7.5, leading=SMALL.leading), gap=1))  # fmt: skip
    return found


# --- review ------------------------------------------------------------------------------------------------------
def _reviews(setting: Setting) -> list[Item]:
    width = setting.width
    found = [section("Review of the record", width, margin_word("Review"))]
    if not setting.content.reviews:
        spans = (Span("Not yet. ", STRONG), Span("Nobody signed a review of the whole record.", BODY))
        return [*found, Item(marked("waiting", spans, width), gap=2)]
    for one in setting.content.reviews:
        unusual = f"{one.unusual} unusual thing{'s' if one.unusual != 1 else ''} shown."
        spans = (Span(f"Reviewed {one.reviewed}. ", STRONG), Span(f"{unusual} {one.remarks}", BODY))
        found.append(Item(marked("done", spans, width), gap=2))
    return found


# --- deviations -------------------------------------------------------------------------------------------------
def _deviations(setting: Setting) -> list[Item]:
    width = setting.width
    found = [section("Deviations", width, margin_word("Deviations"))]
    if not setting.content.deviations:
        return [*found, Item(paragraph("None is on record.", BODY, width), gap=2)]
    return [*found, *(Item(_deviation(one, width), gap=4) for one in setting.content.deviations)]


def _deviation(one: RecordDeviation, width: float) -> Block:
    where = f" at {one.step}" if one.step else ""
    head = (Span(f"{one.number}, {one.severity}{where}. ", STRONG), Span(one.what, BODY))
    signed = ", signed" if one.is_signed else ""
    decided = (
        f"Decided{signed} {one.decided}: {one.decision}" if one.decided else "Open: no decision is written."
    )
    told = [
        f"Opened {one.opened}.",
        *([f"Done at once: {one.measure}"] if one.measure else []),
        *([f"Owner: {one.owner}."] if one.owner else []),
        *([f"Cause: {one.cause}"] if one.cause else []),
        decided,
    ]
    words = rich((Span(" ".join(told), SMALL),), width, leading=SMALL.leading, indent=14.5)
    return stacked([marked("done" if one.decided else "check", head, width), words])
