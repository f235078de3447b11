"""Appendix of the batch sheet: every check, the working of every figure, and the list of sources."""

from __future__ import annotations

from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process.plan import Check, Severity
from regenplant.documents.batch_sheet_setting import Setting, margin_word, section
from regenplant.documents.faces import FORMULA, INK_2, NOTE, SMALL, SMALL_STRONG, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, beside, paragraph, rich, stacked
from regenplant.documents.page import MARGIN_WIDTH
from regenplant.documents.parts import marked
from regenplant.documents.texts import WorkingText, headed, working_text

_PLACE = Style(Face.BOOK_BOLD, 8.8, 10.8)
_RESULT = Style(Face.BOOK_BOLD, FORMULA.size, FORMULA.leading)
_QUIET = Style(Face.TEXT, 7, 9, INK_2)
_BY_SEVERITY = {
    Severity.BLOCKER: ("stop", "Stops this. "),
    Severity.WARNING: ("check", "Warning. "),
    Severity.NOTE: ("waiting", "Note. "),
}


def items(setting: Setting) -> list[Item]:
    return [*_checks(setting), *_workings(setting), *_sources(setting)]


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
    """What the plan itself has to say: notes of the recipe, and warnings of its figures."""
    lines = [
        Item(marked("waiting", (Span(note, SMALL),), setting.width, side=8, leading=SMALL.leading), gap=2.5)
        for note in setting.content.plan.notes
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
def _workings(setting: Setting) -> list[Item]:
    words = (
        "Formula, figures put in, result; then what each stands for, how it was found, where that holds, and the number of its "
        "source in the list at the end."
    )
    found = [
        section("How every figure was found", setting.width, margin_word("Working", "show the arithmetic")),
        Item(paragraph(words, NOTE, setting.width), keep=True),
    ]
    for place, estimates in setting.worked:
        heading = paragraph(place, _PLACE, MARGIN_WIDTH)
        for index, estimate in enumerate(estimates):
            block = _working(
                working_text(estimate, setting.system), setting.cited.get(estimate.source), setting.width
            )
            found.append(Item(block, gap=8 if index == 0 else 4, margin=heading if index == 0 else None))
    return found


def _working(working: WorkingText, source_number: int | None, width: float) -> Block:
    equals = Span(" = ", FORMULA)
    spans = (*working.symbol, equals, *working.formula)
    if working.figures:
        spans = (*spans, equals, *working.figures)
    twin = f" ({working.result_other})" if working.result_other else ""
    spans = (*spans, equals, Span(working.result, _RESULT), Span(twin, FORMULA))
    lines = [
        paragraph(headed(working.name), STRONG, width),
        rich(spans, width, leading=FORMULA.leading),
        rich(_where(working, source_number), width, leading=_QUIET.leading),
    ]
    lines += [
        marked("check", (Span(warning, SMALL),), width, side=7, leading=SMALL.leading)
        for warning in working.warnings
    ]
    return stacked(lines)


def _where(working: WorkingText, source_number: int | None) -> tuple[Span, ...]:
    spans: list[Span] = []
    for symbol, name, value in working.given:
        spans += [*symbol, Span(f" {name}, {value}; ", _QUIET)]
    words = [working.method + (f", {working.uncertainty}" if working.uncertainty else "")]
    if working.valid:
        words.append(f"holds for {working.valid}")
    if source_number:
        words.append(f"source [{source_number}]")
    return (*spans, Span("; ".join(words) + ".", _QUIET))


# --- sources ----------------------------------------------------------------------------------------------------
def _sources(setting: Setting) -> list[Item]:
    found = [section("Sources", setting.width, margin_word("Sources"))]
    for key, number in setting.cited.items():
        found.append(
            Item(paragraph(f"[{number}] {SOURCES[key].citation()}", SMALL, setting.width), keep=number == 1)
        )
    return found
