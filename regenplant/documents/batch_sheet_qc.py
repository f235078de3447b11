"""QC on the batch sheet: the specification in words, its limits with blanks, and the end point of the rinse."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant import units
from regenplant.core.process.specification import CONDUCTIVITY, Limit, LimitBasis
from regenplant.documents.batch_sheet_content import BatchSheetContent
from regenplant.documents.batch_sheet_setting import Setting, margin_word, section
from regenplant.documents.faces import BODY, NOTE, SMALL, Span
from regenplant.documents.flow import Block, Item, paragraph
from regenplant.documents.limit_bar import limit_cell
from regenplant.documents.parts import Column, blank, cell, marked, table_head, table_row, two_lines
from regenplant.documents.texts import clock_time, limit_number, limit_words, limit_words_other

_ROW = 32.0


def rinse_span(content: BatchSheetContent) -> tuple[float, float | None]:
    """Least rinse and where to stop and ask [BV]: of recipe and specification whichever is stricter."""
    specification, last = content.specification, content.plan.request.recipe.last_rinse()
    least, most = specification.least_rinse_bv, specification.maximum_rinse_bv
    if last is None:
        return least, most
    asked = last.settings["volume_bv"]
    return max(least, asked.low), asked.high if most is None else min(most, asked.high)


def end_point_words(content: BatchSheetContent, system: str) -> str:
    """The end point of the rinse in one sentence."""
    specification = content.specification
    low, high = rinse_span(content)
    least = f"after {limit_words(low, None, 'bed_volumes', system)} of rinse"
    most = (
        f" Stop and ask at {limit_number(high, 'bed_volumes', system)}{units.NO_BREAK_SPACE}BV."
        if high is not None
        else ""
    )
    limit = specification.limit(CONDUCTIVITY)
    if limit is None:
        return f"The rinse ends {least}, when the sample is inside its limits.{most}"
    return (
        f"End point: {limit.name} {limit_sentence(limit, system)}, held for {clock_time(specification.hold_time_s)} by at least "
        f"{specification.consecutive_readings} readings in a row, at most {clock_time(specification.longest_gap_s)} apart, "
        f"{least}. One good reading is none.{most}"
    )


def limit_sentence(limit: Limit, system: str) -> str:
    """A limit of the specification in words, with its twin: "at most 10 µS/cm (at least 0.1 MΩ·cm)"."""
    if limit.basis is LimitBasis.UNCOMPENSATED_TABLE:
        rows = "; ".join(
            f"{units.format_quantity(kelvin, 'temperature', system)} {limit_number(high, 'conductivity', system)}"
            for kelvin, high in limit.table
        )
        return f"as the table for uncompensated readings asks, in {units.unit_text('conductivity', system)}: {rows}"
    words = limit_words(limit.low, limit.high, limit.kind, system)
    twin = limit_words_other(limit.low, limit.high, limit.kind, system)
    return f"{words} ({twin})" if twin else words


def items(setting: Setting) -> list[Item]:
    content, width, system = setting.content, setting.width, setting.system
    specification = content.specification
    fixed = (114.0, 84.0, 46.0, 58.0, 42.0)
    heads = ("Limit", "Found", "At", "Instrument", "Initials")
    columns = (Column("Test", width - sum(fixed)), *(Column(h, w) for h, w in zip(heads, fixed, strict=True)))
    head = table_head(columns)
    title = f"QC against {specification.code} version {content.specification_version}"
    found = [
        section(title, width, margin_word("QC", "all of them, none alone")),
        Item(paragraph(end_point_words(content, system), BODY, width), keep=True, gap=1),
        Item(head, keep=True, gap=3),
    ]
    rows = [
        _row(limit, columns, setting, tank)
        for limit in specification.limits
        for tank in (_serials(content) if limit.each_tank else ("",))
    ]
    found += [Item(row, keep=index == 0, repeat=(head,)) for index, row in enumerate(rows)]
    if specification.notes:
        found.append(Item(paragraph(specification.notes, NOTE, width), gap=3))
    words = "A reading from an instrument whose calibration is overdue informs; it proves nothing."
    return [*found, Item(marked("check", (Span(words, BODY),), width), gap=3)]


def _serials(content: BatchSheetContent) -> tuple[str, ...]:
    """The tanks of the batch: what is measured on each of them has a line for each."""
    return tuple(tank.serial for tank in content.tanks)


def _row(limit: Limit, columns: Sequence[Column], setting: Setting, tank: str = "") -> Block:
    system, inner = setting.system, _ROW - 3
    basis = "The rinse readings decide" if limit.measurement == CONDUCTIVITY else "On the sample"
    if tank:
        basis = "On the filled tank, before the release"
    words = f"{basis}; limit after [{setting.cited[limit.source]}]" if limit.source else basis
    return table_row(
        (
            two_lines(f"{limit.name}, {tank}" if tank else limit.name, words, columns[0]),
            _limit(limit, columns[1], system),
            blank(columns[2].width, inner, _unit(limit.kind, system), style=SMALL),
            blank(columns[3].width, inner, units.unit_text("temperature", system), style=SMALL),
            blank(columns[4].width, inner),
            blank(columns[5].width, inner),
        ),
        columns,
        least=_ROW,
        pad=1.5,
    )


def _unit(kind: str, system: str) -> str:
    """Short enough for a blank: the basis "as CaCO₃" stands with the limit."""
    return units.unit_text(kind, system).removesuffix(" as CaCO₃")


def _limit(limit: Limit, column: Column, system: str) -> Block:
    if limit.basis is LimitBasis.UNCOMPENSATED_TABLE:
        return cell(limit_sentence(limit, system), column, SMALL)
    return limit_cell(limit.low, limit.high, None, limit.kind, system, column.width - 8)
