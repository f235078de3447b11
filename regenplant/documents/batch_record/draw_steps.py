"""The steps of a batch record: planned against done, with every entry, and the separation of a mixed bed."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.process.lifecycle import StepState
from regenplant.documents.batch_record.content import RecordEntry, RecordHold, RecordStep
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
from regenplant.documents.faces import BODY, LABEL, SECTION, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, nothing, paragraph, rich, stacked
from regenplant.documents.page import MARGIN_WIDTH
from regenplant.documents.parts import Column, Named, cell, grid, marked
from regenplant.documents.texts import clock_time, headed, own

WHOLE_UP_TO = 260.0
"""A step no higher than this [pt] is never broken over two pages."""
_NUMBER = Style(Face.BOOK_BOLD, 26, 27)
_STATE_MARKS = {
    StepState.DONE.value: "done",
    StepState.RUNNING.value: "waiting",
    StepState.WAITING.value: "waiting",
    StepState.SKIPPED.value: "stop",
}


def items(setting: Setting) -> list[Item]:
    """All steps, the separation after the step that made it, then the holds."""
    found = [section("Steps: planned and done", setting.width, margin_word("Steps"))]
    separation = setting.content.separation
    for step in setting.content.steps:
        found += _step(step, setting)
        if separation is not None and step.number == separation.step_number:
            found += _separation(setting)
    return [*found, *_holds(setting)]


def _step(step: RecordStep, setting: Setting) -> list[Item]:
    width = setting.width
    again = (paragraph(f"{step.number} · {step.name}, continued", SECTION, width), nothing(3))
    found = [
        Item(paragraph(step.name, SECTION, width), keep=True, gap=13, margin=_margin(step)),
        Item(_when(step, width), keep=bool(step.entries)),
    ]
    if step.entries:
        columns = columns_of(
            width, (("What", 0.0), ("Limit, plan", 88.0), ("Written", 84.0), ("When, by whom", 148.0))
        )
        rows = [_entry(entry, columns, setting.system) for entry in step.entries]
        found += table(columns, rows, again=again)
        found += notes([change for entry in step.entries for change in entry.changes], width, again)
    height = sum(item.gap + item.block.height for item in found)
    return found if height > WHOLE_UP_TO else [*(replace(item, keep=True) for item in found[:-1]), found[-1]]


def _margin(step: RecordStep) -> Block:
    """Number, leg, vessel, and what flows."""
    words = [step.leg, step.vessel, headed(step.chemical), headed(step.water)]
    lines = [paragraph(str(step.number), _NUMBER, MARGIN_WIDTH)]
    lines += [paragraph(text, SMALL if index else LABEL, MARGIN_WIDTH) for index, text in enumerate(words) if text]  # fmt: skip
    return stacked(lines, 1)


def _when(step: RecordStep, width: float) -> Block:
    """Done, running, skipped or to come; from when to when, by whom, against the planned time."""
    planned = f"Planned {clock_time(step.planned_s)}"
    if step.nothing is not None:
        why = f" Skipped: {step.skip_reason}" if step.skip_reason else ""
        spans = (Span(f"{headed(step.nothing.label)}. ", STRONG), Span(f"{planned}.{why}", BODY))
        return marked(NOTHING_MARKS[step.nothing], spans, width)
    took = f"; took {clock_time(step.took_s)}" if step.took_s is not None else ""
    ended = f" Ended {step.finished}." if step.finished else " It runs."
    drain = f" Drain to {step.drain_to}." if step.drain_to else ""
    spans = (
        Span(f"{headed(step.state)}. ", STRONG),
        Span(f"Begun {step.started}.{ended} {planned}{took}.{drain}", BODY),
    )
    return marked(_STATE_MARKS.get(step.state, "waiting"), spans, width)


def _entry(entry: RecordEntry, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    name = cell(entry.name, columns[0], BODY)
    limits = range_cell(entry.range, columns[1], system)
    marks = [change.mark for change in entry.changes]
    if entry.nothing is not None or entry.current is None:
        shown = [_nothing(entry, columns[2])]
        shown += [rich(signs(marks), columns[2].width - 6, leading=BODY.leading)] if marks else []
        said = moment_cell(entry.current, columns[3]) if entry.current else cell("", columns[3], SMALL)
        return name, limits, stacked(shown), said
    return (
        name,
        limits,
        value_cell(entry.current, entry.range.kind, marks, columns[2], system),
        moment_cell(entry.current, columns[3]),
    )


def _nothing(entry: RecordEntry, column: Column) -> Block:
    return nothing_cell(entry.nothing, column) if entry.nothing else cell("", column, SMALL)


# --- separation -------------------------------------------------------------------------------------------------
def _separation(setting: Setting) -> list[Item]:
    found = setting.content.separation
    if found is None:
        return []
    figures = [Named(headed(one.name), own(one.value, one.kind, one.unit, setting.system)) for one in found.predicted]  # fmt: skip
    lines = [
        Named(
            entry.name,
            own(entry.current.value, entry.range.kind, "", setting.system)
            if entry.current is not None and entry.current.value is not None
            else entry.nothing.label
            if entry.nothing
            else "",
        )
        for entry in found.lines
    ]
    width = setting.width
    items = [
        Item(paragraph("Separation: predicted", SECTION, width), keep=True, gap=10, margin=margin_word("Separation")),
        Item(grid(figures, width, 4, gap=3, value_style=STRONG), gap=3),
        Item(paragraph("Separation: found at the cut", SECTION, width), keep=True, gap=7),
        Item(grid(lines, width, 4, gap=3, value_style=STRONG), gap=3),
    ]  # fmt: skip
    return items if figures else items[2:]


# --- holds ------------------------------------------------------------------------------------------------------
def _holds(setting: Setting) -> list[Item]:
    width = setting.width
    found = [section("Holds", width, margin_word("Holds"))]
    if not setting.content.holds:
        return [*found, Item(paragraph("The batch never stood still.", BODY, width), gap=2)]
    return [*found, *(Item(_hold(hold, width), gap=4) for hold in setting.content.holds)]


def _hold(hold: RecordHold, width: float) -> Block:
    kind = "Interruption" if hold.is_interruption else "Hold"
    until = f"Resumed {hold.resumed}." if hold.resumed else "It stands still."
    words = marked("held", (Span(f"{kind}. ", STRONG), Span(hold.reason, BODY)), width)
    return stacked([words, rich((Span(f"Held {hold.held}. {until}", QUIET),), width, leading=SMALL.leading, indent=14.5)])  # fmt: skip
