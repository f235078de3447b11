"""Records with a frame of their own: the separation of a mixed bed, and what became of spent carbon."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import EntrySpec, PlannedStep
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.batch_sheet_rows import entry_columns, entry_name, entry_row
from regenplant.documents.faces import BODY, SECTION, SMALL, STRONG, Span
from regenplant.documents.flow import Block, beside, framed, nothing, paragraph, rich, stacked
from regenplant.documents.limit_bar import limit_cell
from regenplant.documents.parts import (
    Column,
    blank,
    choices,
    labelled_blank,
    table_head,
    table_row,
    time_blank,
    two_lines,
)
from regenplant.documents.texts import other, own

_INSET = 6.0
_ROW = 30.0
_PREDICTED = {
    "interface_height": "interface_height_m",
    "cation_volume": "lower_layer_m3",
    "anion_volume": "upper_layer_m3",
    "cut_volume": "cut_m3",
    "cation_in_anion": "cation_in_anion_frac",
    "anion_in_cation": "anion_in_cation_frac",
}
"""Entry of the separation record: the figure of the plan it is held against."""
_BEAD_COUNTS = ("cation_in_anion", "anion_in_cation")
_OF_SPENT_CARBON = ("carbon_out", "container_label", "waste_decided_by", "waste_set_aside")

SEPARATION_WORDS = "No leg is regenerated before this record is complete."
SPENT_CARBON_WORDS = (
    "Spent carbon may be a hazardous waste by what it took up. Until a named person has decided in writing, it stays in closed, "
    "labeled containers at the plant."
)
DETERMINATIONS = ("not hazardous", "hazardous", "not decided yet: set aside")


def record_of(step: PlannedStep, width: float, system: str) -> Block | None:
    """The framed record of a step, None for a step that has none."""
    if step.kind is StepKind.CUT:
        return separation_record(step, width, system)
    if step.kind is StepKind.EMPTY:
        return spent_carbon_record(step, width, system)
    return None


def in_record(step: PlannedStep) -> tuple[str, ...]:
    """Keys of the entries that stand in the record and nowhere else."""
    if step.kind is StepKind.CUT:
        return tuple(entry.key for entry in step.entries if not entry.is_before)
    return _OF_SPENT_CARBON if step.kind is StepKind.EMPTY else ()


# --- separation of a mixed bed ----------------------------------------------------------------------------------
def separation_record(step: PlannedStep, width: float, system: str) -> Block:
    """Interface, volumes, cut and bead counts: predicted, allowed, found."""
    inner = width - 2 * _INSET
    fixed = (52.0, 98.0, 86.0, 48.0, 40.0)
    heads = ("Predicted", "Limit", "Found", "Time", "Initials")
    columns = (
        Column("Separation", inner - sum(fixed)),
        *(Column(h, w) for h, w in zip(heads, fixed, strict=True)),
    )
    lines = [
        paragraph("Separation record", SECTION, inner),
        paragraph(SEPARATION_WORDS, BODY, inner),
        nothing(3),
        table_head(columns),
    ]
    plain = entry_columns(inner)
    for entry in step.entries:
        if entry.is_before:
            continue
        if entry.kind in units.KINDS:
            lines.append(_separation_row(entry, step.figures, columns, system))
        else:
            lines.append(entry_row(entry, plain, system))
    return framed(stacked(lines), width, inset=_INSET, weight=1.4)


def _separation_row(
    entry: EntrySpec, figures: Mapping[str, Estimate], columns: Sequence[Column], system: str
) -> Block:
    predicted = figures.get(_PREDICTED.get(entry.key, ""))
    counts = entry.key in _BEAD_COUNTS
    name = two_lines(entry_name(entry), entry.help, columns[0])
    found = blank(columns[3].width, _ROW - 3, units.unit_text(entry.kind, system))
    if counts:
        found = stacked([_counted(columns[3].width), found])
    return table_row(
        (
            name,
            _planned(predicted, columns[1], system) if predicted else nothing(0),
            limit_cell(entry.low, entry.high, entry.target, entry.kind, system, columns[2].width - 8),
            found,
            time_blank(columns[4].width, _ROW - 3),
            blank(columns[5].width, _ROW - 3),
        ),
        columns,
        least=_ROW,
        pad=1.5,
    )


def _planned(figure: Estimate, column: Column, system: str) -> Block:
    return two_lines(
        own(figure.value, figure.kind, figure.unit, system), other(figure.value, figure.kind, system), column
    )


def _counted(width: float) -> Block:
    """Beads of the other kind among all that were counted."""
    half = (width - 8) / 2
    return beside([(0, blank(half, 18)), (half, labelled_blank("of", width - half, height=18))])


# --- spent carbon -----------------------------------------------------------------------------------------------
def spent_carbon_record(step: PlannedStep, width: float, system: str) -> Block:
    """Containers, the determination what waste it is, and who made it."""
    inner = width - 2 * _INSET
    columns = entry_columns(inner)
    entries = [entry for entry in step.entries if entry.key in _OF_SPENT_CARBON]
    lines: list[Block] = [
        paragraph("Spent carbon: containers and waste determination", SECTION, inner),
        rich((Span(SPENT_CARBON_WORDS, BODY),), inner, leading=BODY.leading),
        nothing(3),
        table_head(columns),
        *(entry_row(entry, columns, system) for entry in entries),
        _determination(inner),
    ]
    return framed(stacked(lines), width, inset=_INSET, weight=1.4)


def _determination(inner: float) -> Block:
    boxes = choices(DETERMINATIONS, 18)
    paper = labelled_blank("Waste profile or paper, by number", inner, height=22, style=SMALL)
    return stacked([nothing(2), paragraph("The spent carbon is", STRONG, inner), boxes, paper])
