"""The signed audit of use as a paper: totals, groups, batches beyond the watch level, and the signature over all of it.

Drawn from the frozen content only, so that every print says the same; the foot alone tells which issue it is.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from regenplant import units
from regenplant.core.process.canonical import from_plain
from regenplant.core.process.use_audit import Sums
from regenplant.core.process.vocabulary import Chemical, ResinFamily
from regenplant.documents.batch_record.setting import columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, LEAD, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, paragraph, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import Column, cell, marked
from regenplant.documents.scene_on_paper import scene_block
from regenplant.documents.texts import grouped
from regenplant.drawing.against_plan import MOST, AgainstPlan, against_plan
from regenplant.people.models import Signature
from regenplant.use.models import UseReport
from regenplant.use.naming import chart_name, narrowed_words
from regenplant.use.report_content import ReportContent, group_names
from regenplant.use.selectors.question import By

KIND = "use_report"
MARK_SIDE = 7.5
MARK_WIDTH = MARK_SIDE + 5 + 6
"""The mark of a group beyond the watch level, the gap behind it and the gap of its column [pt]."""
VARIANCE_WIDTH = 42.0
"""Room of a difference in bold, so that none is broken over two lines: "−100.0 %" [pt]."""
SIZES = (A4, LETTER)
_TITLE = Style(Face.BOLD, 22, 26)


@dataclass(frozen=True, slots=True)
class UseReportPaper:
    """The frozen content, its signature, and the issue."""

    content: ReportContent
    signature: Signature
    issue: Issue


@dataclass(frozen=True, slots=True)
class _Setting:
    content: ReportContent
    width: float
    system: str

    def mass(self, grams: int) -> str:
        return units.format_quantity(grams / 1000.0, "mass", self.system, with_unit=False)

    def head(self, words: str, kind: str) -> str:
        return f"{words}, {units.unit_text(kind, self.system)}"

    def at(self, moment: str) -> str:
        return f"{datetime.fromisoformat(moment).astimezone(ZoneInfo(self.content.zone)):%Y-%m-%d %H:%M}"


def use_report_content(row: UseReport, issue: Issue) -> UseReportPaper:
    """What the paper of a report says."""
    return UseReportPaper(from_plain(ReportContent, json.loads(row.content)), row.signature, issue)


def draw_use_report(paper: UseReportPaper, size: PageSize, system: str) -> bytes:
    """The paper as PDF."""
    frame = Frame(size)
    setting = _Setting(paper.content, frame.width, system)
    items = [
        *_head(setting),
        *_totals(setting),
        *_charts(setting),
        *_groups(setting),
        *_outside(setting),
        *_signed(setting, paper.signature),
    ]
    return printed(items, frame, _furniture(paper))


def _head(setting: _Setting) -> list[Item]:
    content, width = setting.content, setting.width
    only = narrowed_words(content.narrowed)
    words = (
        f"Batches started from {content.first} to {content.last}, both days counted in{f', only {only}' if only else ''}. Masses as 100 % "
        "substance; theory is what the eluted load asks for by stoichiometry, plan is the frozen plan of each batch, used is what left the "
        "stock by the ledger."
    )
    own = "the plant’s own" if content.is_own_watch else "common practice, not a limit of the process"
    levels = (
        f"Watch levels: ±{100 * content.batch_frac:g} % for a batch, ±{100 * content.period_frac:g} % for a period ({own}). Spread is the "
        "standard deviation of the batches’ own differences, from three on. Ratio is regenerant fed over theory, efficiency its inverse; "
        "both leave out what cleaned, sanitized or separated."
    )
    lines = [
        paragraph("Audit of chemical use", _TITLE, width),
        paragraph(words, LEAD, width),
        paragraph(levels, BODY, width),
    ]
    if content.remarks:
        lines.append(paragraph(f"Remarks: {content.remarks}", BODY, width))
    return [Item(stacked(lines, 3), margin=margin_word("Use", "audited"))]


def _columns(setting: _Setting, first: str) -> tuple[Column, ...]:
    kinds: list[tuple[str, float]] = [
        (first, 0.0),
        ("Batches", 34.0),
        (setting.head("Theory", "mass"), 40.0),
        (setting.head("Plan", "mass"), 40.0),
        (setting.head("Used", "mass"), 40.0),
        ("Used − plan", MARK_WIDTH + VARIANCE_WIDTH),
        ("Mean, spread", 56.0),
        ("Ratio, efficiency", 48.0),
        (setting.head("Dose", "dose"), 34.0),
    ]
    if setting.content.currency:
        kinds.append((f"Cost, {setting.content.currency}", 44.0))
    return columns_of(setting.width, tuple(kinds))


def _row(
    label: str, chemical: str, sums: Sums, columns: Sequence[Column], setting: _Setting
) -> tuple[Block, ...]:
    formula = Chemical(chemical).formula
    named = stacked(
        [cell(label or formula, columns[0], STRONG), *([cell(formula, columns[0], SMALL)] if label else [])]
    )
    variance = sums.variance_frac
    off = variance is not None and abs(variance) > setting.content.period_frac
    against: Block = cell(percent(variance), columns[5], SMALL)
    if off:
        against = marked(
            "check",
            (Span(percent(variance), STRONG),),
            columns[5].width - 6,
            side=MARK_SIDE,
            leading=SMALL.leading,
        )
    dose = sums.used_kg_per_m3
    cells = [
        named,
        cell(str(sums.batches), columns[1], SMALL),
        cell(setting.mass(sums.theory_grams) if sums.theory_grams else "–", columns[2], SMALL),
        cell(setting.mass(sums.planned_grams), columns[3], SMALL),
        cell(setting.mass(sums.used_grams), columns[4], STRONG),
        against,
        cell(f"{percent(sums.mean_variance_frac)}, {percent(sums.spread_frac, is_signed=False)}", columns[6], SMALL),
        cell(_ratio(sums), columns[7], SMALL),
        cell("–" if dose is None else units.format_quantity(dose, "dose", setting.system, with_unit=False), columns[8], SMALL),
    ]  # fmt: skip
    if setting.content.currency:
        cells.append(cell(_cost(sums), columns[9], SMALL))
    return tuple(cells)


def percent(value: float | None, *, is_signed: bool = True) -> str:
    """A share in per cent, signed; an en dash for none."""
    if value is None:
        return "–"
    text = f"{abs(100 * value):.1f}"
    sign = "" if not is_signed or text == "0.0" else "+" if value > 0 else units.MINUS
    return f"{sign}{text}{units.NO_BREAK_SPACE}%"


def _ratio(sums: Sums) -> str:
    if sums.ratio is None:
        return "–"
    efficiency = sums.efficiency_frac
    return f"{sums.ratio:.2f}" + (f", {100 * efficiency:.0f} %" if efficiency is not None else "")


def _cost(sums: Sums) -> str:
    if not sums.priced_grams:
        return "no price"
    said = f"{sums.cost_milli / 1000:,.2f}".replace(",", units.NO_BREAK_SPACE)
    if sums.priced_grams < sums.used_grams:
        return f"{said} (priced {100 * sums.priced_grams / sums.used_grams:.0f} %)"
    return said


def _totals(setting: _Setting) -> list[Item]:
    columns = _columns(setting, "Chemical")
    rows = [_row("", one.chemical, one.sums, columns, setting) for one in setting.content.totals]
    return [section("Totals", setting.width, margin_word("Totals", "by chemical")), *table(columns, rows)]


def _charts(setting: _Setting) -> list[Item]:
    content = setting.content
    names, items = group_names(content), []
    for total in content.totals:
        own = [
            one
            for one in content.groups
            if one.chemical == total.chemical and one.sums.variance_frac is not None
        ]
        if len(own) < 2:
            continue
        own = sorted(own, key=lambda one: (-one.sums.used_grams, one.key))
        marks = [
            AgainstPlan(chart_name(By(content.by), one.key, names), one.sums.variance_frac or 0.0)
            for one in own[:MOST]
        ]
        chemical = Chemical(total.chemical)
        scene = against_plan(marks, title=chemical.label, band_frac=content.period_frac)
        head = paragraph(
            f"{chemical.label}: used against plan, by {By(content.by).label}, band ±{100 * content.period_frac:g} %"
            + (f"; the {MOST} largest of {len(own)}" if len(own) > MOST else ""),
            STRONG,
            setting.width,
        )
        items.append(Item(stacked([head, scene_block(scene, setting.width)], 3), gap=8))
    return items


def _groups(setting: _Setting) -> list[Item]:
    content = setting.content
    by = By(content.by)
    columns, names = _columns(setting, by.label.capitalize()), group_names(content)
    rows = [_row(names[one.key], one.chemical, one.sums, columns, setting) for one in content.groups]
    items = [
        section(f"By {by.label}", setting.width, margin_word("Groups", f"by {by.label}")),
        *table(columns, rows),
    ]
    if by.is_shared:
        words = "A batch in several of them is divided by volume or mass; the parts add up to the totals, the counts of batches do not."
        items.append(Item(paragraph(words, SMALL, setting.width), gap=3))
    if content.groups_left_out:
        words = f"{content.groups_left_out} smaller groups are left out of this table; the totals hold them."
        items.append(Item(paragraph(words, SMALL, setting.width), gap=3))
    return items


def _outside(setting: _Setting) -> list[Item]:
    content, width = setting.content, setting.width
    band = f"±{100 * content.batch_frac:g} %"
    items = [
        section(
            f"Batches beyond {band}: {content.outside_in_all}",
            width,
            margin_word("Outside", "batch by batch"),
        )
    ]
    if not content.outside:
        return [*items, Item(paragraph(f"Every batch lies within {band} of its plan.", BODY, width), gap=2)]
    columns = columns_of(
        width,
        (
            ("Batch", 0.0), ("Started", 62.0), ("Family", 52.0), ("Vessel", 46.0), ("Chemical", 52.0),
            (setting.head("Plan", "mass"), 56.0), (setting.head("Used", "mass"), 56.0), ("Used − plan", 58.0),
        ),
    )  # fmt: skip
    rows = [
        (
            cell(one.number, columns[0], STRONG),
            cell(one.day, columns[1], SMALL),
            cell(ResinFamily(one.family).abbreviation, columns[2], SMALL),
            cell(one.vessel, columns[3], SMALL),
            cell(Chemical(one.chemical).formula, columns[4], SMALL),
            cell(setting.mass(one.sums.planned_grams), columns[5], SMALL),
            cell(setting.mass(one.sums.used_grams), columns[6], STRONG),
            cell(percent(one.sums.mean_variance_frac), columns[7], STRONG),
        )
        for one in content.outside
    ]
    items += table(columns, rows, pad=1.5)
    if content.outside_in_all > len(content.outside):
        words = f"The newest {len(content.outside)} of {content.outside_in_all} are named."
        items.append(Item(paragraph(words, SMALL, width), gap=3))
    return items


def _signed(setting: _Setting, signature: Signature) -> list[Item]:
    content, width = setting.content, setting.width
    words = (
        Span(f"Signed by {signature.printed_name}", STRONG),
        Span(
            f" ({signature.roles}), {setting.at(content.made_at)} ({content.zone}): {signature.meaning}. Digest "
            f"{grouped(signature.digest)}.",
            BODY,
        ),
    )
    items = [section("Signature", width, margin_word("Signed", "as it stood"))]
    return [*items, Item(marked("done", words, width), gap=3)]


def _furniture(paper: UseReportPaper) -> Furniture:
    content, issue = paper.content, paper.issue
    return Furniture(
        plant=content.plant,
        paper="Audit of use",
        number=content.number,
        foot=(
            f"Report {content.number}, {content.first} to {content.last}, signature {grouped(paper.signature.digest)}",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Issue {issue.number}, printed {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Audit of use {content.number}, issue {issue.number}",
    )
