"""Appendix of the batch sheet: every check, the working of every figure, and the list of sources."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process.plan import Check, Severity
from regenplant.documents.batch_sheet_head import sentence
from regenplant.documents.batch_sheet_setting import Place, Setting, margin_word, section
from regenplant.documents.faces import (
    FORMULA,
    INK_2,
    NOTE,
    SMALL,
    SMALL_STRONG,
    STRONG,
    TITLE,
    Face,
    Span,
    Style,
    width_of,
)
from regenplant.documents.flow import Block, Item, beside, paragraph, rich, stacked
from regenplant.documents.page import MARGIN_WIDTH
from regenplant.documents.parts import marked
from regenplant.documents.texts import WorkingText, headed, working_text

_PLACE = Style(Face.BOOK_BOLD, 8.8, 10.8)
_RESULT = Style(Face.BOOK_BOLD, FORMULA.size, FORMULA.leading)
_QUIET = Style(Face.TEXT, 7, 9, INK_2)
_GIVEN = Style(Face.BOOK, 8, 10)
_BY_SEVERITY = {
    Severity.BLOCKER: ("stop", "Stops this. "),
    Severity.WARNING: ("check", "Warning. "),
    Severity.NOTE: ("waiting", "Note. "),
}


FOR_WHOM = (
    "For whoever checks the numbers: every check, the working of every figure, and its source. Nothing is written on these "
    "pages and none of them is needed at the vessel."
)


def items(setting: Setting) -> list[Item]:
    return [
        *_title(setting),
        *_checks(setting),
        *_workings(setting),
        *_figure_notes(setting),
        *_sources(setting),
    ]


def _title(setting: Setting) -> list[Item]:
    content, width = setting.content, setting.width
    name = f"Calculation appendix of {content.batch_number}"
    return [
        Item(paragraph(name, TITLE, width), keep=True, margin=margin_word("Appendix"), opens_page=True),
        Item(paragraph(sentence(content, setting.system), SMALL, width), keep=True),
        Item(paragraph(FOR_WHOM, STRONG, width), keep=True, gap=3),
    ]


# --- checks -----------------------------------------------------------------------------------------------------
def _checks(setting: Setting) -> list[Item]:
    checks = sorted(
        setting.content.plan.checks,
        key=lambda check: (not check.blocks, not check.warns, check.is_met, check.step_number or 0),
    )
    half = (setting.width - 14) / 2
    blocks = [_check(check, half) for check in checks]
    found = [
        section(
            "Checks when the plan was frozen", setting.width, margin_word("Checks", f"{len(blocks)} made")
        )
    ]
    for start in range(0, len(blocks), 2):
        pair = [(index * (half + 14), block) for index, block in enumerate(blocks[start : start + 2])]
        found.append(Item(beside(pair), gap=2.5, keep=start == 0))
    words = "They hold for the plant as it stood then. Look again at what may have changed."
    found.append(Item(paragraph(words, NOTE, setting.width), gap=3))
    return [*found, *_notes(setting)]


def _notes(setting: Setting) -> list[Item]:
    """What the plan itself has to say; what it says about a figure stands with the workings."""
    notes = [note for note in setting.content.plan.notes if note not in setting.noted]
    lines = [
        Item(marked("waiting", (Span(note, SMALL),), setting.width, side=8, leading=SMALL.leading), gap=2.5)
        for note in notes
    ]
    return [section("Notes of the plan", setting.width, margin_word("Notes")), *lines] if lines else []


def _check(check: Check, width: float) -> Block:
    where = f"Step {check.step_number}. " if check.step_number else ""
    if check.is_met:
        return marked("done", (Span(where + check.sentence, SMALL),), width, side=8, leading=SMALL.leading)
    mark, word = _BY_SEVERITY[check.severity]
    spans = (Span(where + word, SMALL_STRONG), Span(check.sentence, SMALL))
    return marked(mark, spans, width, side=8, leading=SMALL.leading)


# --- workings ---------------------------------------------------------------------------------------------------
HOW_TO_READ = (
    "Formula, figures put in, result; then what each stands for, how it was found, where that holds, [number] of its source "
    "and (letter) of a note to it, both in the lists at the end. Figures carry their units: bring them to one system before "
    "you calculate; 3600 in a formula is seconds per hour, temperatures that are added or multiplied count from 0 °C. A figure "
    "read from a table or solved for names the table or what was solved, what went in, and the value. The ions of the waste "
    "are what was brought less what the resin took up, with what it gave up, over the volume to the waste tank."
)
_GUTTER = 14.0
_LAST_ROWS = 4
"""Rows at the end of a list that stand on one page."""


def _workings(setting: Setting) -> list[Item]:
    found = [
        section("How every figure was found", setting.width, margin_word("Working", "show the arithmetic")),
        Item(paragraph(HOW_TO_READ, NOTE, setting.width), keep=True),
    ]
    for place in setting.worked:
        margin: Block | None = _hung(place.title)
        blocks = _set_settings(place, setting) + _set_before(place, setting) + _set_worked(place, setting)
        for index, block in enumerate(blocks):
            found.append(Item(block, gap=8 if index == 0 else 4, margin=margin))
            margin = None
    return found


def _hung(title: str) -> Block:
    """A title in the margin, set so small that its longest word is not cut."""
    style = _PLACE
    while max(width_of(word, style.face, style.size) for word in title.split()) > MARGIN_WIDTH:
        style = Style(style.face, style.size - 0.2, style.leading)
    return paragraph(title, style, MARGIN_WIDTH)


def _set_before(place: Place, setting: Setting) -> list[Block]:
    """Figures that come out as in an earlier place: by name, with that place."""
    by_place: dict[str, list[str]] = {}
    for estimate, title in place.worked_before:
        by_place.setdefault(title, []).append(estimate.name)
    words = "; ".join(f"{', '.join(names)}: as worked under “{title}”" for title, names in by_place.items())
    return [paragraph(f"{headed(words)}.", _QUIET, setting.width)] if words else []


def _set_settings(place: Place, setting: Setting) -> list[Block]:
    """Set points and what is on record, in one run of text."""
    if not place.settings:
        return []
    spans: list[Span] = []
    for index, estimate in enumerate(place.settings):
        text = working_text(estimate, setting.system)
        twin = f" ({text.result_other})" if text.result_other else ""
        spans += [Span("; " if index else "", _QUIET), Span(f"{text.name} ", _QUIET), *_resized(text.symbol)]
        spans.append(Span(f" = {text.result}{twin}, {estimate.formula}", _QUIET))
        number = setting.cited.get(estimate.source)
        spans.append(Span(f" [{number}]", _QUIET) if number else Span("", _QUIET))
    spans.append(Span(".", _QUIET))
    lines = [
        paragraph("Given", STRONG, setting.width),
        rich(tuple(spans), setting.width, leading=_QUIET.leading),
    ]
    return [stacked(lines)]


def _resized(spans: tuple[Span, ...]) -> tuple[Span, ...]:
    share = _GIVEN.size / FORMULA.size
    return tuple(
        Span(s.text, Style(s.style.face, s.style.size * share, _GIVEN.leading), s.rise * share) for s in spans
    )


def _set_worked(place: Place, setting: Setting) -> list[Block]:
    """The workings in order; two neighbours whose formulas are short stand side by side."""
    half = (setting.width - _GUTTER) / 2
    waiting: Estimate | None = None
    blocks: list[Block] = []
    for estimate in place.worked:
        if not _is_short(estimate):
            if waiting is not None:
                blocks.append(_working(waiting, setting, setting.width))
                waiting = None
            blocks.append(_working(estimate, setting, setting.width))
        elif waiting is None:
            waiting = estimate
        else:
            pair = (_working(waiting, setting, half), _working(estimate, setting, half))
            blocks.append(beside([(0, pair[0]), (half + _GUTTER, pair[1])]))
            waiting = None
    if waiting is not None:
        blocks.append(_working(waiting, setting, setting.width))
    return blocks


_SHORT_FORMULA, _SHORT_INPUTS = 26, 4


def _is_short(estimate: Estimate) -> bool:
    """Short enough for half the width without breaking a formula into many lines."""
    return len(estimate.formula) <= _SHORT_FORMULA and len(estimate.inputs) <= _SHORT_INPUTS


def _working(estimate: Estimate, setting: Setting, width: float) -> Block:
    working = working_text(estimate, setting.system)
    equals = Span(" = ", FORMULA)
    spans = (*working.symbol, equals, *working.formula)
    if working.figures:
        spans = (*spans, equals, *working.figures)
    twin = f" ({working.result_other})" if working.result_other else ""
    spans = (*spans, equals, Span(working.result, _RESULT), Span(twin, FORMULA))
    return stacked([
        paragraph(headed(working.name), STRONG, width),
        rich(spans, width, leading=FORMULA.leading),
        rich(_where(working, estimate, setting), width, leading=_QUIET.leading),
    ])  # fmt: skip


def _where(working: WorkingText, estimate: Estimate, setting: Setting) -> tuple[Span, ...]:
    spans: list[Span] = []
    for symbol, name, value in working.given:
        spans += [*symbol, Span(f" {name}, {value}; ", _QUIET)]
    words = [working.method + (f", {working.uncertainty}" if working.uncertainty else "")]
    if working.valid:
        words.append(f"holds for {working.valid}")
    number = setting.cited.get(estimate.source)
    tail = "; ".join(words) + (f" [{number}]" if number else "")
    letters = ", ".join(setting.noted[warning] for warning in working.warnings)
    return (*spans, Span(f"{tail}{f' ({letters})' if letters else ''}.", _QUIET))


def _figure_notes(setting: Setting) -> list[Item]:
    """The sentences that warn about figures, each once, by letter."""
    notes = [f"({letter}) {words}" for words, letter in setting.noted.items()]
    head = section("Notes to the figures", setting.width, margin_word("Notes", "by letter"))
    return [head, *_two_columns(notes, setting.width)] if notes else []


# --- sources ----------------------------------------------------------------------------------------------------
def _sources(setting: Setting) -> list[Item]:
    sources = [f"[{number}] {SOURCES[key].citation()}" for key, number in setting.cited.items()]
    return [
        section("Sources", setting.width, margin_word("Sources")),
        *_two_columns(sources, setting.width),
    ]


def _two_columns(texts: Sequence[str], width: float) -> list[Item]:
    """Short paragraphs two by two, read from left to right; the last rows stay together, so that none opens a page alone."""
    half = (width - _GUTTER) / 2
    blocks = [paragraph(text, SMALL, half) for text in texts]
    rows = [
        beside([(index * (half + _GUTTER), block) for index, block in enumerate(blocks[start : start + 2])])
        for start in range(0, len(blocks), 2)
    ]
    return [
        Item(row, gap=1.5, keep=index == 0 or len(rows) - _LAST_ROWS <= index < len(rows) - 1)
        for index, row in enumerate(rows)
    ]
