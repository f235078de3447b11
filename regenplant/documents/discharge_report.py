"""The monthly discharge report as PDF, drawn from its signed content only: the same content and issue give the same bytes."""

from __future__ import annotations

from datetime import timedelta, timezone

from regenplant import units
from regenplant.core.process.sewer_budget import IONS, WORDS
from regenplant.documents.batch_record.setting import QUIET, columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, LEAD, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, paragraph, rich, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import Column, Named, cell, grid_rows, marked
from regenplant.documents.texts import grouped, headed, moment, own
from regenplant.people.models import Signature
from regenplant.waste.month import DayLine, DischargeLine, ExcursionLine, MonthContent
from regenplant.waste.report_models import DischargeReport

KIND = "discharge_report"
SIZES = (A4, LETTER)
_TITLE = Style(Face.BOOK_BOLD, 20, 24)
_VOLUME = 74.0
"""Of a column with a volume: the largest number with its unit on one line [pt]."""


def _own(value: float, kind: str, system: str) -> str:
    """A figure with its unit, which no line break parts."""
    return own(value, kind, "", system).replace(" ", "\u00a0")


def draw_discharge_report(
    report: DischargeReport, content: MonthContent, issue: Issue, size: PageSize, system: str
) -> bytes:
    """The report as PDF; ``system`` says which units stand."""
    width = Frame(size).width
    items = [
        *_head(report, content, width, system),
        *_days(content, width, system),
        *_discharges(content, width, system),
        *_excursions(content, width),
        *_rests_on(content, width),
        *_signature(report.signature, width),
    ]
    return printed(items, Frame(size), _furniture(report, content, issue))


def _head(report: DischargeReport, content: MonthContent, width: float, system: str) -> list[Item]:
    count = len(content.discharges)
    went = (
        "Nothing was discharged." if not count else "One discharge." if count == 1 else f"{count} discharges."
    )
    outside = len(content.excursions)
    told = "No excursion." if not outside else "One excursion." if outside == 1 else f"{outside} excursions."
    over = sum(day.is_over for day in content.days)
    days = f" On {over} {'day' if over == 1 else 'days'} more went than the permit takes." if over else ""
    lines = [
        paragraph("Discharge report", _TITLE, width),
        paragraph(f"{content.month}, revision {report.revision}", Style(Face.BOLD, 15, 19), width),
        paragraph(f"{went} {told}{days}", LEAD, width),
    ]
    if not content.is_over:
        lines.append(
            paragraph(
                f"The month was not over when this was signed: it goes to {content.stood_at}.", STRONG, width
            )
        )
    figures = [
        Named("Volume", _own(content.volume_m3, "liquid_volume", system)),
        *(Named(headed(WORDS[ion]), own(content.loads.of(ion), "mass", "", system)) for ion in IONS),
    ]
    return [
        Item(stacked(lines, 2), margin=margin_word("Sewer", "what went")),
        *(Item(row, gap=6) for row in grid_rows(figures, width, 5, value_style=STRONG)),
    ]


def _days(content: MonthContent, width: float, system: str) -> list[Item]:
    if not content.days:
        return []
    heads = ("Day", "Volume", *(headed(WORDS[ion]) for ion in IONS), "Permit’s day")
    room = (width - 58.0 - _VOLUME - 66.0) / 4
    columns = columns_of(
        width,
        (
            (heads[0], 58.0),
            (heads[1], _VOLUME),
            *((head, room) for head in heads[2:6]),
            (heads[6], 0.0),
        ),
        at_right=heads[1:6],
    )
    rows = [_day(line, columns, system) for line in content.days]
    return [section("Each day against the permit", width, margin_word("Days")), *table(columns, rows)]


def _day(line: DayLine, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    def of(value: float, most: float | None, kind: str, column: Column) -> Block:
        lines = [cell(_own(value, kind, system), column, STRONG)]
        if most is not None:
            lines.append(cell(f"of {_own(most, kind, system)}", column, QUIET))
        return stacked(lines)

    limited = bool(line.budget_kg) or line.volume_most_m3 is not None
    verdict = marked(
        "stop" if line.is_over else "done", (Span("more went" if line.is_over else "kept", SMALL),), columns[6].width - 6, side=7.5, leading=SMALL.leading
    ) if limited else cell("no limit", columns[6], SMALL)  # fmt: skip
    return (
        stacked([cell(line.day, columns[0], STRONG), cell(_went(line), columns[0], QUIET)]),
        of(line.volume_m3, line.volume_most_m3, "liquid_volume", columns[1]),
        *(
            of(line.loads.of(ion), line.budget_kg.get(ion), "mass", column)
            for ion, column in zip(IONS, columns[2:6], strict=True)
        ),
        verdict,
    )


def _went(line: DayLine) -> str:
    said = [f"{line.count} discharged"] if line.count else []
    return " and ".join([*said, *(["brine"] if line.brine_m3 > 0.0 else [])])


def _discharges(content: MonthContent, width: float, system: str) -> list[Item]:
    if not content.discharges:
        return []
    columns = columns_of(
        width,
        (("Discharge", 54.0), ("Outlet shut", 62.0), ("Volume", _VOLUME), ("pH, lowest and highest", 66.0), ("Warmest", 46.0), ("Readings", 58.0), ("Released by, permit", 0.0)),
    )  # fmt: skip
    rows = [_discharge(line, columns, system) for line in content.discharges]
    return [
        section("Each discharge", width, margin_word("Discharges", "no pH is averaged")),
        *table(columns, rows),
    ]


def _discharge(line: DischargeLine, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    ph = (
        "–"
        if line.ph_lowest is None or line.ph_highest is None
        else f"{_ph(line.ph_lowest)} – {_ph(line.ph_highest)}"
    )
    warm = "–" if line.warmest_kelvin is None else own(line.warmest_kelvin, "temperature", "", system)
    outside = f"{line.readings_outside} outside" if line.readings_outside else "none outside"
    analysis = f"by analysis: {', '.join(WORDS[ion] for ion in line.by_analysis)}" if line.by_analysis else ""
    last = [cell(line.released_by, columns[6], SMALL), cell(line.permit, columns[6], QUIET)]
    last += [cell(analysis, columns[6], QUIET)] if analysis else []
    if line.unknown_frac >= 0.005:
        unknown = f"{line.unknown_frac:.0%} of the tank of unknown composition"
        last.append(cell(unknown, columns[6], QUIET))
    return (
        stacked([cell(line.number, columns[0], STRONG), cell(f"tank {line.tank}", columns[0], QUIET)]),
        cell(line.ended_at, columns[1], SMALL),
        cell(_own(line.volume_m3, "liquid_volume", system), columns[2], STRONG),
        stacked([cell(ph, columns[3], STRONG), cell(", ".join(line.instruments), columns[3], QUIET)]),
        cell(warm, columns[4], SMALL),
        stacked([cell(str(line.readings), columns[5], STRONG), cell(outside, columns[5], QUIET)]),
        stacked(last),
    )


def _ph(value: float) -> str:
    return units.format_quantity(value, "ph")


def _excursions(content: MonthContent, width: float) -> list[Item]:
    head = section("Excursions", width, margin_word("Excursions", "outside the permit"))
    if not content.excursions:
        return [head, Item(paragraph("None was written down.", BODY, width), gap=2)]
    return [head, *(Item(_excursion(line, width), gap=5) for line in content.excursions)]


def _excursion(line: ExcursionLine, width: float) -> Block:
    state = "closed" if line.closed else "open"
    of = f", discharge {line.discharge}" if line.discharge else ""
    first = marked(
        "done" if line.closed else "check",
        (Span(f"{line.number}, {line.happened_at}, {line.kind}{of}: {state}", STRONG),),
        width,
    )
    lines = [first, paragraph(line.words, BODY, width)]
    if line.closed:
        lines.append(
            paragraph(f"It came from: {line.cause} Told: {line.told} Closed by {line.closed}.", SMALL, width)
        )
    elif line.follow_ups:
        lines.append(paragraph(f"Followed up {line.follow_ups} times, not closed yet.", SMALL, width))
    return stacked(lines, 1)


def _rests_on(content: MonthContent, width: float) -> list[Item]:
    """Held on one page with the signature behind it, which alone on a page would sign nothing that can be seen."""
    permits = "; ".join(content.permits) or "none, as nothing went"
    lines = [
        f"Permits: {permits}.",
        "pH and temperature are single readings of the mixed tank, of meters in calibration, after the last reading outside. None is averaged.",
        "Masses are volume times the composition of the tank, worked out from what came into it, or by an analysis where one is named. "
        "Chloride as Cl, sulfate as SO₄; dissolved solids are the sum of the ions that are counted.",
        f"A day is a calendar day at the plant ({content.zone}). Whether the permit asks for more, the authority decides.",
    ]
    return [
        section("What it rests on", width, margin_word("Rests on")),
        *(Item(paragraph(line, SMALL, width), gap=2, keep=True) for line in lines),
    ]


def _signature(signature: Signature, width: float) -> list[Item]:
    at = moment(signature.signed_at.astimezone(timezone(timedelta(minutes=signature.zone_offset_minutes))))
    spans = (
        Span(f"{signature.printed_name}, {signature.roles}. ", STRONG),
        Span(f"{at}. Meaning: {signature.meaning}. Digest {grouped(signature.digest, 8)}.", BODY),
    )
    return [
        section("Signed", width, margin_word("Signed")),
        Item(rich(spans, width, leading=BODY.leading), gap=3),
    ]


def _furniture(report: DischargeReport, content: MonthContent, issue: Issue) -> Furniture:
    return Furniture(
        plant=content.plant,
        paper="Discharge report",
        number=content.month,
        foot=(
            f"Discharge report {content.month}, revision {report.revision} · digest {grouped(report.signature.digest, 8)}",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Print {issue.number}, {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Discharge report {content.month}, revision {report.revision}, print {issue.number}",
    )
