"""The plan step by step: what to do, the hazard where it is, the figures, and blanks for what was found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import AUTHORITY, protective_equipment
from regenplant.core.process.plan import EntrySpec, PlannedStep
from regenplant.core.process.specification import CONDUCTIVITY
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.batch_sheet_qc import end_point_words
from regenplant.documents.batch_sheet_setting import SECTION_GAP, Setting, citation, figure_place
from regenplant.documents.faces import BODY, LABEL, SECTION, SENTENCE, SMALL, STRONG, TITLE, Face, Span, Style
from regenplant.documents.flow import Block, Item, nothing, paragraph, rich, stacked
from regenplant.documents.limit_bar import limit_cell
from regenplant.documents.page import MARGIN_WIDTH
from regenplant.documents.parts import (
    Column,
    Named,
    blank,
    choices,
    grid,
    marked,
    table_head,
    table_row,
    time_blank,
    two_lines,
    writing_lines,
)
from regenplant.documents.safety import caution_panel, wear_line
from regenplant.documents.texts import clock_time, headed, other, own

_NUMBER = Style(Face.BOOK_BOLD, 34, 34)
ROW = 24.0
RINSE_ROWS = 10
WHOLE_UP_TO = 330.0
"""A step no higher than this [pt] is never broken over two pages."""
_CHECKED_BY_ANOTHER = (StepKind.LOAD, StepKind.INJECT, StepKind.SAMPLE)
"""Steps at which a second person looks; common practice."""
_NOT_ON_THE_FLOOR = (
    "duration_s", "applied_eq", "regenerant_ratio_frac", "dilution_water_kg", "unheated_temperature_kelvin",
    "minimum_velocity_m_per_s",
)  # fmt: skip
"""Figures that stand in the working only."""
_COMPANIONS = {
    "flow_m3_per_s": ("flow_bv_per_h", "linear_velocity_m_per_s"),
    "volume_m3": ("volume_bv",),
    "chemical_kg_100": ("dose_kg_per_m3",),
}
"""Figures that say the same in another way and stand below the first."""

Again = tuple[Block, ...]


def items(setting: Setting) -> list[Item]:
    return [item for step in setting.content.plan.steps for item in _step(step, setting)]


def _step(step: PlannedStep, setting: Setting) -> list[Item]:
    width = setting.width
    again = _again(step, width)
    found = [
        Item(paragraph(step.name, TITLE, width), keep=True, gap=SECTION_GAP + 8, margin=_margin(step)),
        Item(paragraph(step.instruction, SENTENCE, width), keep=True),
    ]
    for index, caution in enumerate(step.cautions):
        found.append(
            Item(caution_panel(caution, width), gap=4 if index == 0 else 2.5, keep=True, repeat=again)
        )
    found += _gear(step, setting, again)
    figures = _figures(step.figures, setting)
    if figures is not None:
        found.append(Item(figures, gap=5, repeat=again))
    found += _table(step, setting, again)
    height = sum(item.gap + item.block.height for item in found)
    return found if height > WHOLE_UP_TO else [*(replace(item, keep=True) for item in found[:-1]), found[-1]]


def _again(step: PlannedStep, width: float) -> Again:
    """What stands above a step that goes on over the page: its name, and what to wear."""
    lines = [paragraph(f"{step.number} · {step.name}, continued", SECTION, width)]
    gear = protective_equipment(step.cautions)
    if gear:
        lines.append(
            rich((Span("Wear ", STRONG), Span(f"{', '.join(gear)}.", BODY)), width, leading=BODY.leading)
        )
    return (*lines, nothing(4))


def _margin(step: PlannedStep) -> Block:
    """Number, planned time, and what flows."""
    lines = [
        paragraph(str(step.number), _NUMBER, MARGIN_WIDTH),
        paragraph(clock_time(step.value("duration_s")), STRONG, MARGIN_WIDTH),
        paragraph("planned", LABEL, MARGIN_WIDTH),
    ]
    for words in (step.chemical.label if step.chemical else "", step.water.label if step.water else ""):
        if words:
            lines.append(paragraph(headed(words), SMALL, MARGIN_WIDTH))
    return stacked(lines, 1.5)


def _gear(step: PlannedStep, setting: Setting, again: Again) -> list[Item]:
    found: list[Item] = []
    gear = protective_equipment(step.cautions)
    if gear:
        found.append(Item(wear_line(gear, setting.width), gap=2.5, keep=True, repeat=again))
    if step.cautions:
        names = dict.fromkeys(
            citation(setting, caution.source) for caution in step.cautions if caution.source
        )
        line = paragraph(f"{AUTHORITY} Cautions after: {'; '.join(names)}.", SMALL, setting.width)
        found.append(Item(line, gap=2, keep=True, repeat=again))
    return found


# --- figures ----------------------------------------------------------------------------------------------------
def _figures(figures: Mapping[str, Estimate], setting: Setting) -> Block | None:
    below = {key for keys in _COMPANIONS.values() for key in keys}
    shown = [key for key in figures if key not in _NOT_ON_THE_FLOOR and key not in below]
    entries = [_figure(key, figures, setting.system) for key in sorted(shown, key=figure_place)]
    return grid(entries, setting.width, 4, gap=4) if entries else None


def _figure(key: str, figures: Mapping[str, Estimate], system: str) -> Named:
    estimate = figures[key]
    name = headed(estimate.name)
    if estimate.kind == "duration":
        return Named(name, clock_time(estimate.value))
    parts = [other(estimate.value, estimate.kind, system)]
    for companion in (figures[k] for k in _COMPANIONS.get(key, ()) if k in figures):
        parts += [
            own(companion.value, companion.kind, companion.unit, system),
            other(companion.value, companion.kind, system),
        ]
    second = " · ".join(part for part in parts if part)
    return Named(name, own(estimate.value, estimate.kind, estimate.unit, system), second)


# --- what is written down ---------------------------------------------------------------------------------------
def _columns(width: float) -> tuple[Column, ...]:
    fixed = (120.0, 100.0, 54.0, 44.0)
    heads = ("Limit", "Found", "Time", "Initials")
    return (
        Column("Write down", width - sum(fixed)),
        *(Column(h, w) for h, w in zip(heads, fixed, strict=True)),
    )


def _table(step: PlannedStep, setting: Setting, again: Again) -> list[Item]:
    columns = _columns(setting.width)
    head = table_head(columns)
    repeat = (*again, head)
    before = [entry for entry in step.entries if entry.is_before]
    during = [entry for entry in step.entries if not entry.is_before]
    rows = [_entry_row(entry, columns, setting.system) for entry in before]
    rows.append(_moment_row("Step started", "All of the above stands first." if before else "", columns))
    rows += [_entry_row(entry, columns, setting.system) for entry in during]
    found = [Item(head, keep=True, gap=5, repeat=again)]
    found += [Item(row, keep=index == 0, repeat=repeat) for index, row in enumerate(rows)]
    if step.kind is StepKind.FAST_RINSE:
        found += _rinse_readings(setting, again)
    found.append(Item(_moment_row("Step ended", step.ends_when, columns), keep=True, repeat=repeat))
    if step.kind in _CHECKED_BY_ANOTHER:
        found.append(Item(_moment_row("Checked by another person", "", columns), keep=True, repeat=repeat))
    found.append(Item(_closing_line(step, setting.width), keep=True, gap=4, repeat=again))
    found.append(Item(writing_lines("Remarks", setting.width, 1), repeat=again))
    return found


def _entry_row(entry: EntrySpec, columns: Sequence[Column], system: str) -> Block:
    name = entry.name if entry.is_required else f"{entry.name}, if it applies"
    inner = ROW - 3
    if entry.kind in ("confirm", "choice"):
        answer = choices(("yes", "no"), inner) if entry.kind == "confirm" else blank(columns[2].width, inner)
        return _wide_row(name, entry.help, answer, columns)
    return table_row(
        (
            two_lines(name, entry.help, columns[0]),
            limit_cell(entry.low, entry.high, entry.target, entry.kind, system, columns[1].width - 8),
            blank(columns[2].width, inner + 6, units.unit_text(entry.kind, system)),
            time_blank(columns[3].width, inner + 6),
            blank(columns[4].width, inner + 6),
        ),
        columns,
        least=ROW + 6,
        pad=1.5,
    )


def _moment_row(name: str, words: str, columns: Sequence[Column]) -> Block:
    """When something happened and who says so: date, time, initials."""
    return _wide_row(name, words, blank(columns[2].width, ROW - 3, "date", style=SMALL), columns, weight=0.9)


def _wide_row(
    name: str, words: str, answer: Block, columns: Sequence[Column], *, weight: float = 0.4
) -> Block:
    """A row without a limit: the words run on into its column."""
    joined = Column("", columns[0].width + columns[1].width)
    text = rich((Span(f"{name}  ", STRONG), Span(words, SMALL)), joined.width - 10, leading=BODY.leading)
    text = stacked([nothing(3.5), text]) if text.height < BODY.leading * 1.5 else text
    cells = (text, answer, time_blank(columns[3].width, ROW - 3), blank(columns[4].width, ROW - 3))
    return table_row(cells, (joined, *columns[2:]), least=ROW, pad=1.5, weight=weight)


def _closing_line(step: PlannedStep, width: float) -> Block:
    """Where the drain goes, and whether the batch may stand here."""
    drain = f" Drain to: {step.drain_to}." if step.drain_to else ""
    if step.is_safe_hold_after:
        words = "Safe hold point: the batch may stand after this step."
        return marked("held", (Span(words, STRONG), Span(drain, BODY)), width, side=12)
    words = "No hold point: go straight on to the next step."
    return marked("stop", (Span(words, STRONG), Span(drain, BODY)), width, side=11)


# --- rinse-down readings ----------------------------------------------------------------------------------------
def _rinse_readings(setting: Setting, again: Again) -> list[Item]:
    specification, system, width = setting.content.specification, setting.system, setting.width
    limit = specification.limit(CONDUCTIVITY)
    fixed = (52.0, 74.0, 62.0, 72.0, 58.0, 44.0)
    columns = (
        Column("Time", fixed[0]),
        Column("Water passed", fixed[1]),
        Column("Reading", width - sum(fixed)),
        Column("At", fixed[2]),
        Column("Meter corrects", fixed[3]),
        Column("Cell", fixed[4]),
        Column("Initials", fixed[5]),
    )
    head = table_head(columns)
    words = paragraph(end_point_words(specification, system), BODY, width)
    found = [
        Item(
            stacked([paragraph("Rinse-down readings", SECTION, width), words], 2),
            keep=True,
            gap=9,
            repeat=again,
        ),
        Item(head, keep=True, gap=3, repeat=again),
    ]
    row = _reading_row(
        columns,
        units.unit_text("liquid_volume", system),
        units.unit_text(limit.kind if limit else "conductivity", system),
        units.unit_text("temperature", system),
    )
    count = RINSE_ROWS if limit else RINSE_ROWS // 2
    found += [Item(row, keep=index < 2, repeat=(*again, head)) for index in range(count)]
    return found


def _reading_row(columns: Sequence[Column], volume: str, unit: str, degrees: str) -> Block:
    inner = 21.0
    return table_row(
        (
            time_blank(columns[0].width, inner),
            blank(columns[1].width, inner, volume, style=SMALL),
            blank(columns[2].width, inner, unit, style=SMALL),
            blank(columns[3].width, inner, degrees, style=SMALL),
            choices(("yes", "no"), inner, side=8, style=SMALL),
            blank(columns[5].width, inner),
            blank(columns[6].width, inner),
        ),
        columns,
        least=23.0,
        pad=1.0,
    )
