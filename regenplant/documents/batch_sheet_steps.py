"""The plan step by step: what to do, the hazard where it is, the figures, and blanks for what was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import AUTHORITY, protective_equipment
from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.specification import CONDUCTIVITY
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind
from regenplant.documents import batch_sheet_legs, batch_sheet_sulfuric
from regenplant.documents.batch_sheet_content import BatchSheetContent
from regenplant.documents.batch_sheet_qc import end_point_words
from regenplant.documents.batch_sheet_records import in_record, record_of
from regenplant.documents.batch_sheet_rows import (
    entry_columns,
    entry_row,
    kit_reading,
    meter_reading,
    moment_row,
)
from regenplant.documents.batch_sheet_setting import SECTION_GAP, Setting, citation, figure_place
from regenplant.documents.faces import (
    BODY,
    INK,
    LABEL,
    PAPER,
    SECTION,
    SENTENCE,
    SMALL,
    STRONG,
    TITLE,
    Face,
    Span,
    Style,
    width_of,
)
from regenplant.documents.flow import Block, Item, framed, nothing, paragraph, rich, stacked
from regenplant.documents.page import MARGIN_WIDTH
from regenplant.documents.parts import (
    Named,
    grid_rows,
    marked,
    table_head,
    writing_lines,
)
from regenplant.documents.pen import Pen
from regenplant.documents.safety import caution_panel, wear_line
from regenplant.documents.texts import clock_time, headed, other, own

_NUMBER = Style(Face.BOOK_BOLD, 34, 34)
RINSE_ROWS = 10
WHOLE_UP_TO = 330.0
"""A step no higher than this [pt] is never broken over two pages."""
_CHECKED_BY_ANOTHER = (
    StepKind.LOAD,
    StepKind.CUT,
    StepKind.INJECT,
    StepKind.FLOAT,
    StepKind.SANITIZE,
    StepKind.SAMPLE,
)
"""Steps at which a second person looks; common practice."""
_NOT_ON_THE_FLOOR = (
    "duration_s", "applied_eq", "regenerant_ratio_frac", "dilution_water_kg", "unheated_temperature_kelvin",
    "minimum_velocity_m_per_s", "carry_over_velocity_m_per_s", "carry_over_frac", "exchanged_frac", "calcium_frac",
    "heating_energy_joule", "caustic_solids_kg_per_m3", "caustic_solids_kg", "stoichiometric_dose_kg_per_m3", "recommended_velocity_m_per_s",
    "recommended_flow_m3_per_s", "recommended_dose_kg_per_m3", "cut_frac", "standing_strength_frac", "soaked_cation_density_kg_per_m3", "lifted_cation_height_m",
)  # fmt: skip
"""Figures that stand in the working only: nobody sets or reads them at the vessel, and a second flow or dose misleads there."""
_COMPANIONS = {
    "flow_m3_per_s": ("flow_bv_per_h", "linear_velocity_m_per_s"),
    "volume_m3": ("volume_bv",),
    "chemical_kg_100": ("dose_kg_per_m3",),
}
"""Figures that say the same in another way and stand below the first."""
_IN_SEPARATION_RECORD = (
    "separation_velocity_ratio", "interface_height_m", "overlap_frac", "cation_in_anion_frac", "anion_in_cation_frac",
    "cut_m3", "lower_layer_m3", "upper_layer_m3",
)  # fmt: skip
"""Figures of the cut that its record shows beside the blanks, or that stand at the separation before it."""

NO_PAUSE = "NO PAUSE"
_STAMP = Style(Face.BOLD, 9.5, 12)

Again = tuple[Block, ...]


def items(setting: Setting) -> list[Item]:
    plan = setting.content.plan
    found: list[Item] = []
    for step in plan.steps:
        before = plan.steps[step.number - 2] if step.number > 1 else None
        if step.leg is not Leg.WHOLE and before is not None and before.leg is Leg.WHOLE:
            found += batch_sheet_legs.items(setting)
        if step in batch_sheet_sulfuric.acid_steps(plan)[:1]:
            found += batch_sheet_sulfuric.items(setting)
        banner = batch_sheet_legs.banner(setting, step)
        found += [banner] if banner is not None else []
        found += _step(step, setting)
    return found


def _step(step: PlannedStep, setting: Setting) -> list[Item]:
    width = setting.width
    again = _again(step, width)
    margin = _margin(step, setting.content.plan)
    found = [
        Item(_title(step, width), keep=True, gap=SECTION_GAP + 8, margin=margin),
        *_progress(step, setting),
        Item(paragraph(step.instruction, SENTENCE, width), keep=True),
    ]
    if _is_behind(step, setting.content):
        room = margin.height - sum(item.gap + item.block.height for item in found[1:]) - found[0].block.height
        return [*found, Item(nothing(max(room, 0.0)))]
    for index, caution in enumerate(step.cautions):
        found.append(
            Item(caution_panel(caution, width), gap=4 if index == 0 else 2.5, keep=True, repeat=again)
        )
    found += _gear(step, setting, again)
    rows = _figures(step, setting)
    for index, row in enumerate(rows):
        found.append(Item(row, gap=5 if index == 0 else 0, keep=index + 1 < len(rows), repeat=again))
    found += _table(step, setting, again)
    height = sum(item.gap + item.block.height for item in found)
    return found if height > WHOLE_UP_TO else [*(replace(item, keep=True) for item in found[:-1]), found[-1]]


def _is_behind(step: PlannedStep, content: BatchSheetContent) -> bool:
    """Done or skipped in a batch that goes on: named, without blanks that somebody might fill in a second time."""
    return not content.is_closed and any(
        known.is_over and known.number == step.number for known in content.progress
    )


def _progress(step: PlannedStep, setting: Setting) -> list[Item]:
    """What the record already says of the step, in a frame, so that nobody carries it out twice."""
    known = next((one for one in setting.content.progress if one.number == step.number), None)
    if known is None:
        return []
    mark = "done" if known.is_over else "check"
    line = marked(mark, (Span(known.words, STRONG),), setting.width - 12, side=11)
    return [
        Item(framed(line, setting.width, inset=5, weight=1.4), keep=True, gap=2),
        Item(nothing(3), keep=True),
    ]


def _again(step: PlannedStep, width: float) -> Again:
    """What stands above a step that goes on over the page: its name, and what to wear."""
    lines = [paragraph(f"{step.number} · {step.name}, continued", SECTION, width)]
    gear = protective_equipment(step.cautions)
    if gear:
        lines.append(
            rich((Span("Wear ", STRONG), Span(f"{', '.join(gear)}.", BODY)), width, leading=BODY.leading)
        )
    return (*lines, nothing(4))


def _title(step: PlannedStep, width: float) -> Block:
    """The name of the step, stamped where it must not pause."""
    if not _never_pauses(step):
        return paragraph(step.name, TITLE, width)
    stamp = width_of(NO_PAUSE, _STAMP.face, _STAMP.size) + 12
    name = paragraph(step.name, TITLE, width - stamp - 8)

    def draw(pen: Pen, x: float, y: float) -> None:
        name.draw(pen, x, y)
        pen.box(x + width - stamp, y + 2, stamp, 15, fill=INK)
        pen.text(x + width - stamp / 2, y + 12.8, NO_PAUSE, _STAMP, anchor="middle", ink=PAPER)

    return Block(name.height, draw)


def _never_pauses(step: PlannedStep) -> bool:
    """Sulfuric acid, and a leg with chemical in it."""
    if step.kind is not StepKind.INJECT:
        return False
    return step.chemical is Chemical.SULFURIC_ACID or step.leg is not Leg.WHOLE


def _margin(step: PlannedStep, plan: BatchPlan) -> Block:
    """Number, leg, planned time, and what flows."""
    lines = [
        paragraph(str(step.number), _NUMBER, MARGIN_WIDTH),
        *([batch_sheet_legs.legend(step, plan, MARGIN_WIDTH)] if step.leg is not Leg.WHOLE else []),
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
def _figures(step: PlannedStep, setting: Setting) -> list[Block]:
    figures = step.figures
    elsewhere = {key for keys in _COMPANIONS.values() for key in keys}.union(_NOT_ON_THE_FLOOR)
    if step.kind is StepKind.CUT:
        elsewhere.update(_IN_SEPARATION_RECORD)
    if step.kind is StepKind.SANITIZE:
        elsewhere.add("density_kg_per_m3")  # that of water: no hydrometer tells so thin a solution
    shown = [key for key in figures if key not in elsewhere]
    entries = [_figure(key, figures, setting.system) for key in sorted(shown, key=figure_place)]
    return grid_rows(entries, setting.width, 4, gap=4)


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
def _table(step: PlannedStep, setting: Setting, again: Again) -> list[Item]:
    plan, system, width = setting.content.plan, setting.system, setting.width
    columns = entry_columns(width)
    head = table_head(columns)
    repeat = (*again, head)
    before = [entry for entry in step.entries if entry.is_before]
    during = [entry for entry in step.entries if not entry.is_before and entry.key not in in_record(step)]
    rows = [entry_row(entry, columns, system) for entry in before]
    rows.append(moment_row("Step started", "All of the above stands first." if before else "", columns))
    rows += [entry_row(entry, columns, system) for entry in during]
    found = [Item(head, keep=True, gap=5, repeat=again)]
    found += [Item(row, keep=index == 0, repeat=repeat) for index, row in enumerate(rows)]
    record = record_of(step, width, system)
    if record is not None:
        found.append(Item(record, gap=6, repeat=again))
    if step.kind.is_judged_rinse:
        found += _rinse_readings(step, setting, again)
    found.append(Item(moment_row("Step ended", step.ends_when, columns), keep=True, repeat=repeat))
    if step.kind in _CHECKED_BY_ANOTHER:
        found.append(Item(moment_row("Checked by another person", "", columns), keep=True, repeat=repeat))
    found.append(Item(_closing_line(step, plan, width), keep=True, gap=4, repeat=again))
    found.append(Item(writing_lines("Remarks", width, 1), repeat=again))
    return found


def _closing_line(step: PlannedStep, plan: BatchPlan, width: float) -> Block:
    """Where the drain goes, and whether the batch may stand here."""
    drain = f" Drain to: {step.drain_to}." if step.drain_to else ""
    follows = batch_sheet_legs.next_words(plan, step)
    if step.is_safe_hold_after:
        words = "Safe hold point: the batch may stand after this step."
        next_step = f" Next: {follows}." if follows else ""
        return marked("held", (Span(words, STRONG), Span(next_step + drain, BODY)), width, side=12)
    if not follows:
        return marked("stop", (Span("Last step of this sheet.", STRONG), Span(drain, BODY)), width, side=11)
    words = f"No hold point: go straight on to {follows}."
    if _never_pauses(step):
        words = f"No pause: {_why_no_pause(step)} Go straight on to {follows}."
    return marked("stop", (Span(words, STRONG), Span(drain, BODY)), width, side=11)


def _why_no_pause(step: PlannedStep) -> str:
    if step.chemical is Chemical.SULFURIC_ACID:
        return "gypsum forms while sulfuric acid stands in the bed."
    return f"chemical stands in the {step.leg.label}, and the other leg runs on."


# --- rinse-down readings ----------------------------------------------------------------------------------------
def _is_last_rinse(step: PlannedStep, plan: BatchPlan) -> bool:
    return step.number == max(s.number for s in plan.steps if s.kind.is_judged_rinse)


def _rinse_readings(step: PlannedStep, setting: Setting, again: Again) -> list[Item]:
    """Lines for readings; the last rinse of a batch ends on the end point of the specification."""
    specification, system, width = setting.content.specification, setting.system, setting.width
    limit = specification.limit(CONDUCTIVITY)
    is_last = _is_last_rinse(step, setting.content.plan)
    sentence = (
        end_point_words(setting.content, system)
        if is_last
        else "Readings on the way; the last rinse is judged."
    )
    passed = "Pumped round" if step.kind is StepKind.RECIRCULATE else "Water passed"
    columns, row = (
        meter_reading(passed, limit, width, system)
        if limit is not None
        else kit_reading(passed, specification.limits[0], width, system)
    )
    head = table_head(columns)
    words = paragraph(sentence, BODY, width)
    found = [
        Item(
            stacked([paragraph("Rinse-down readings", SECTION, width), words], 2),
            keep=True,
            gap=9,
            repeat=again,
        ),
        Item(head, keep=True, gap=3, repeat=again),
    ]
    count = RINSE_ROWS if limit and is_last else RINSE_ROWS // 2
    found += [Item(row, keep=index < 2, repeat=(*again, head)) for index in range(count)]
    return found
