"""The appendix of the batch sheet: an expert with the sheet alone can work out every figure of the plan."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from regenplant import units, working
from regenplant.core.engineering.estimate import Input
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process.vocabulary import Leg
from regenplant.documents.batch_sheet import draw_batch_sheet
from regenplant.documents.batch_sheet_setting import setting_of
from regenplant.documents.page import A4
from regenplant.documents.texts import headed, other, own, working_text
from tests.core.formula import is_closed, worked_out
from tests.documents import examples
from tests.documents.drawn import sheet_of
from tests.documents.reading import page_texts, plain, whole_text


def appendix_of(pdf: bytes) -> str:
    text = whole_text(pdf)
    return text[text.index("How every figure was found") :]


def figures_of(plan):
    """Every figure and total of a plan with the words that a failure shows."""
    for key, total in plan.totals.items():
        yield key, total
    for step in plan.steps:
        for key, figure in step.figures.items():
            yield f"{step.number} {key}", figure


def words_of(spans) -> str:
    return plain("".join(span.text for span in spans))


def squeezed(text: str) -> str:
    """Without spaces: a line may break at any of them, and a raised sign stands in a piece of its own."""
    return re.sub(r"\s", "", text)


@pytest.fixture(params=list(examples.RECIPES))
def appendix(request):
    plan = examples.plan_of(request.param)
    return plan, squeezed(plain(appendix_of(sheet_of(request.param, "a4", "metric"))))


def test_every_figure_and_total_stands_with_its_formula_numbers_result_method_and_source(appendix):
    plan, text = appendix
    for key, figure in figures_of(plan):
        found = working_text(figure, "metric")
        result = own(figure.value, figure.kind, figure.unit, "metric")
        assert squeezed(plain(figure.name[1:])) in text, key
        assert squeezed(words_of(found.formula)) in text, key
        assert squeezed(words_of(found.figures)) in text, key
        assert squeezed(plain(f"= {result}")) in text, key
        assert squeezed(plain(other(figure.value, figure.kind, "metric"))) in text, key
        assert squeezed(plain(figure.method)) in text or not figure.inputs, key
        assert squeezed(plain(figure.valid)) in text, key


def test_every_symbol_of_a_formula_is_explained_with_its_number_and_unit(appendix):
    plan, text = appendix
    for key, figure in figures_of(plan):
        for symbol, name, value in working_text(figure, "metric").given:
            assert squeezed(f"{words_of(symbol)}{plain(name)},{plain(value)};") in text, (key, name)


@pytest.mark.parametrize("code", list(examples.RECIPES))
def test_a_note_to_a_figure_stands_once_and_its_letter_at_each_figure(code):
    content = examples.content_of(code)
    letters = setting_of(content, 450.0, "metric").noted
    text = squeezed(plain(appendix_of(sheet_of(code, "a4", "metric"))))
    for key, figure in figures_of(content.plan):
        if figure.warnings:
            marks = ", ".join(letters[warning] for warning in figure.warnings)
            assert squeezed(f"({marks}).") in text, key
    for sentence, letter in letters.items():
        assert text.count(squeezed(f"({letter}) {plain(sentence)}")) == 1, sentence


def test_every_source_of_a_figure_is_in_the_list(appendix):
    plan, text = appendix
    for key, figure in figures_of(plan):
        assert figure.source, key
        assert squeezed(plain(SOURCES[figure.source].citation())) in text, key


def test_a_figure_that_cannot_be_worked_out_says_what_was_read_or_solved_from_what(appendix):
    """No formula without numbers: a table and a solved equation name what went in."""
    plan, _ = appendix
    for key, figure in figures_of(plan):
        if not is_closed(figure):
            first = figure.formula.split()[0]
            assert first in ("table", "solve", "lowest", "set", "on"), key
            assert figure.inputs or first in ("set", "on"), key


@pytest.mark.parametrize("code", list(examples.RECIPES))
def test_numbers_that_go_into_a_formula_carry_enough_digits_to_come_out_by_hand(code):
    """Each printed input is within 0.01 % of the number that was calculated with."""
    for key, figure in figures_of(examples.plan_of(code)):
        for entry in figure.inputs:
            shown = working.put_in(entry.value, entry.kind, entry.unit, "metric")
            number = _number(shown)
            exact = units.shown_value(entry.value, entry.kind, "metric") if entry.kind else entry.value
            assert number == pytest.approx(exact, rel=1e-4, abs=1e-300), (key, entry.name, shown)


@pytest.mark.parametrize("code", list(examples.RECIPES))
def test_the_printed_numbers_put_into_the_printed_formula_give_the_printed_result(code):
    """As a person does it: with the digits on the paper, not with those in the machine."""
    for key, figure in figures_of(examples.plan_of(code)):
        if not is_closed(figure) or not figure.inputs:
            continue
        printed = tuple(replace(entry, value=_as_printed(entry)) for entry in figure.inputs)
        by_hand = worked_out(replace(figure, inputs=printed))
        # a share that is a difference of two nearly equal numbers keeps fewer digits; it is shown to a tenth of a percent
        least = 1e-4 if figure.kind == "fraction" else 0.0
        assert by_hand == pytest.approx(figure.value, rel=1e-3, abs=least), key


def _as_printed(entry: Input) -> float:
    """The input as its printed digits say it, back in SI."""
    shown = working.put_in(entry.value, entry.kind, entry.unit, "metric")
    if not entry.kind:
        return _number(shown)
    low, high = entry.value, entry.value + max(abs(entry.value), 1.0)
    first, second = (units.shown_value(value, entry.kind, "metric") for value in (low, high))
    return low + (_number(shown) - first) * (high - low) / (second - first)


_RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


def _number(shown: str) -> float:
    text = shown.partition("\u00a0")[0].replace("\u202f", "").replace("−", "-")
    mantissa, mark, exponent = text.partition("×10")
    return float(f"{mantissa}e{exponent.translate(_RAISED)}") if mark else float(mantissa)


def test_totals_of_the_legs_stand_under_their_leg():
    pages = page_texts(sheet_of(examples.TOGETHER, "a4", "metric"))
    text = " ".join(pages)
    assert "Totals, cation leg" in text
    assert "Totals, anion leg" in text
    assert Leg.CATION.label in text


def test_a_figure_that_stands_in_two_steps_is_worked_where_it_stands_first():
    plan = examples.plan_of(examples.TOGETHER)
    figure = next(step for step in plan.steps if "interface_height_m" in step.figures).figures[
        "interface_height_m"
    ]
    text = appendix_of(sheet_of(examples.TOGETHER, "a4", "metric"))
    assert text.count(plain(headed(figure.name))) == 1


def test_a_plan_whose_figures_changed_prints_another_working():
    content = examples.content_of("H-HCL-100")
    depth = replace(content.plan.totals["bed_depth_m"], value=1.2345)
    changed = replace(
        content, plan=replace(content.plan, totals={**content.plan.totals, "bed_depth_m": depth})
    )
    text = appendix_of(draw_batch_sheet(changed, A4, "metric"))
    assert "1.234 m" in text or "1.235 m" in text
