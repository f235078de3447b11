"""The label on a container or tank of a chemical lot: what it is, how strong, and the codes of its supplier's data sheet.

Signal word, pictograms and codes come from the revision of the data sheet that is in force for the lot when the label is
printed. What a label said is kept with the act of printing it, so that it is printed again word for word later, also
after the sheet was revised.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

from regenplant.audit.selectors import story
from regenplant.chemicals.models import ChemicalLot, DataSheet
from regenplant.chemicals.selectors import check_again_on, newest_check, sheet_in_force
from regenplant.chemicals.statements import statements_of
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import from_plain
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents import codes, page, pictograms
from regenplant.documents.faces import BODY, INK, INK_2, SMALL, STRONG, Face, Span, Style, shortened
from regenplant.documents.flow import Block, paragraph, rich, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A5, LABEL, SMALL_LABEL, PageSize
from regenplant.documents.parts import Named, grid
from regenplant.documents.pen import MILLIMETRE, Pen
from regenplant.documents.safety import SIGNALS, panel
from regenplant.documents.texts import grouped, own
from regenplant.plant.selectors import plant_day, profile

SIZES = (LABEL, A5, SMALL_LABEL)
"""For drums and totes, for tanks, and for small containers. Some rules ask for a least size by the volume of the container."""
KIND = "chemical_label"
_NAME = Style(Face.BOLD, 19, 22)
_LOT = Style(Face.BOOK_BOLD, 13, 16)
_PLANT = Style(Face.BOOK_BOLD, 11, 13)
_FOOT = Style(Face.TEXT, 6.5, 8, INK_2)
_INSET = 7.0
_MARGIN = 4 * MILLIMETRE
_LARGER = (1.45, 1.35, 1.25, 1.15, 1.08)
"""Of what is larger than a label."""
_SCALES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6)


@dataclass(frozen=True, slots=True)
class ChemicalLabelContent:
    """Everything that a label says, but for the print it comes from."""

    plant: str
    chemical: str
    lot: str
    supplier_lot: str
    checked_strength_frac: float | None
    """By the plant's newest check; None before the first one."""
    checked_on: str
    received_on: str
    signal_word: str
    pictograms: tuple[str, ...]
    hazards: tuple[tuple[str, str], ...]
    precautions: tuple[tuple[str, str], ...]
    gear: str
    un_number: str
    packing_group: str
    sheet_supplier: str
    sheet_revised_on: str
    sheet_strength: str
    check_again_by: str = ""
    """Last day on which the plant's check holds; "" before the first one, and on labels of an older program."""
    check_every_days: int = 0
    """The plant's interval; 0 on labels of an older program."""
    expires_on: str = ""
    """By the supplier; "" where the papers give none."""
    notes: str = ""
    """What else the sheet warns of; "" on labels of an older program, and where nobody copied any."""


def label_content(lot: ChemicalLot) -> ChemicalLabelContent:
    """The label of a lot as it would be printed now. Raises RecordRefused where no data sheet is in force for it."""
    sheet = _sheet_of(lot)
    check = newest_check(lot)
    return ChemicalLabelContent(
        plant=profile().name,
        chemical=Chemical(lot.chemical).label,
        lot=lot.code,
        supplier_lot=lot.supplier_lot,
        checked_strength_frac=check.strength_frac if check else None,
        checked_on=str(plant_day(check.checked_at)) if check else "",
        received_on=str(plant_day(lot.received_at)),
        signal_word=sheet.signal_word,
        pictograms=tuple(sheet.pictograms),
        hazards=tuple(statements_of(sheet.hazard_codes)),
        precautions=tuple(statements_of(sheet.precaution_codes)),
        gear=sheet.protective_equipment,
        un_number=sheet.un_number,
        packing_group=sheet.packing_group,
        sheet_supplier=sheet.supplier,
        sheet_revised_on=str(sheet.revised_on),
        sheet_strength=sheet.strength_text,
        check_again_by=str(check_again_on(check) or ""),
        check_every_days=profile().strength_check_max_age_days,
        expires_on=str(lot.expires_on or ""),
        notes=sheet.hazard_notes,
    )


def _sheet_of(lot: ChemicalLot) -> DataSheet:
    sheet = sheet_in_force(lot)
    if sheet is None:
        raise RecordRefused(
            f"No supplier’s data sheet is in force for lot {lot.code}, and a label takes its codes from it. "
            f"Put the sheet on file under Chemicals, Data sheets, then name it on the page of lot {lot.code}.",
            code="no_data_sheet",
        )
    return sheet


def printed_before(lot: ChemicalLot, issue_number: int) -> ChemicalLabelContent:
    """What an earlier label of this lot said. Raises RecordRefused where there is no such issue."""
    for line in story([("chemical_lot", str(lot.pk))]):
        facts = line.facts.get("facts", {})
        if line.event == "chemical_label.printed" and facts.get("issue") == issue_number and "label" in facts:
            found: ChemicalLabelContent = from_plain(ChemicalLabelContent, facts["label"])
            return found
    raise RecordRefused(f"No label of lot {lot.code} was printed as issue {issue_number}.", code="no_issue")


def draw_chemical_label(content: ChemicalLabelContent, issue: Issue, size: PageSize, system: str) -> bytes:
    """One label as PDF. The same content and issue give the same bytes."""
    with page.drawing:
        buffer = io.BytesIO()
        canvas = page.new_canvas(
            buffer, size, f"Label of lot {content.lot}, issue {issue.number}", content.plant
        )
        pen = Pen(canvas, size.height)
        width, height = size.width - 2 * _MARGIN, size.height - 2 * _MARGIN
        pen.box(_MARGIN, _MARGIN, width, height, stroke=INK, weight=1.0)
        pen.text(_MARGIN + _INSET, _MARGIN + 15, shortened(content.plant, _PLANT, width * 0.6), _PLANT)
        pen.text(_MARGIN + width - _INSET, _MARGIN + 15, "Chemical lot", SMALL, anchor="end")
        bottom = _bottom(pen, content, issue, width, height)
        top = _MARGIN + 24
        scales = (*_LARGER, *_SCALES) if size.width > LABEL.width else _SCALES
        body, scale = _fitted(content, width - 2 * _INSET, bottom - 3 - top, system, scales)
        pen.scaled(_MARGIN + _INSET, top, scale, body.draw)
        canvas.showPage()
        canvas.save()
        return buffer.getvalue()


def _fitted(
    content: ChemicalLabelContent, room: float, height: float, system: str, scales: tuple[float, ...]
) -> tuple[Block, float]:
    """The body and the scale at which it fits. Raises RecordRefused when even the smallest print is too large."""
    for scale in scales:
        body = _body(content, room / scale, system)
        if body.height * scale <= height:
            return body, scale
    raise RecordRefused(
        f"The data sheet of lot {content.lot} has more codes than this label holds in readable print. Choose a larger one, or hang the sheet itself.",
        code="label_too_full",
    )


def _body(content: ChemicalLabelContent, room: float, system: str) -> Block:
    strength = content.checked_strength_frac
    facts = [
        Named(
            "Plant’s check",
            own(strength, "strength", "", system) if strength is not None else "not checked yet",
            content.checked_on,
        ),
        Named(
            "Received", content.received_on, content.supplier_lot and f"supplier’s lot {content.supplier_lot}"
        ),
        Named(
            "UN number",
            content.un_number or "none on the sheet",
            content.packing_group and f"packing group {content.packing_group}",
        ),
        *_dates(content),
    ]
    blocks = [
        paragraph(content.chemical, _NAME, room),
        paragraph(f"Lot {content.lot}", _LOT, room),
        _signal(content, room),
        *(_statement(code, text, room) for code, text in content.hazards),
    ]
    if content.precautions:
        spans = [Span(f"{code} {text}. ", SMALL) for code, text in content.precautions]
        blocks.append(rich(tuple(spans), room, leading=SMALL.leading))
    if content.notes:
        blocks.append(paragraph(content.notes, BODY, room))
    if content.gear:
        gear = (Span("Wear ", STRONG), Span(content.gear, BODY))
        blocks.append(rich(gear, room, leading=BODY.leading))
    blocks.append(grid(facts, room, 3, gap=2.5, value_style=STRONG))
    blocks.append(
        paragraph(
            f"Codes from the data sheet of {content.sheet_supplier}, {content.sheet_strength}, revision "
            f"{content.sheet_revised_on}. The sheet in force, local codes and licensed practice decide.",
            SMALL,
            room,
        )
    )
    return stacked(blocks, 4)


def _dates(content: ChemicalLabelContent) -> list[Named]:
    """Until when the strength on the label holds, and the supplier's date; nothing on a label of an older program."""
    if not content.check_every_days:
        return []
    days = f"{content.check_every_days} day{'' if content.check_every_days == 1 else 's'}"
    by = f"by {content.check_again_by}" if content.check_again_by else "before the first use"
    return [
        Named("Check strength again", by, f"every {days} at this plant"),
        Named(
            "Expires, by supplier",
            content.expires_on or "no date given",
            content.expires_on and "not used after that day",
        ),
    ]


def _signal(content: ChemicalLabelContent, room: float) -> Block:
    drawn = tuple(code for code in content.pictograms if pictograms.is_drawn(code))
    others = tuple(pictograms.named(code) for code in content.pictograms if code not in drawn)
    words = "; ".join(others)
    if not content.signal_word:
        return paragraph(f"The data sheet gives no signal word. {words}".strip(), BODY, room)
    signal = SIGNALS[SignalWord(content.signal_word.lower())]
    return panel(signal, (Span(words or "Read the data sheet before use.", STRONG),), drawn, room)


def _statement(code: str, text: str, room: float) -> Block:
    return rich((Span(f"{code} ", SMALL), Span(f"{text}.", STRONG)), room, leading=BODY.leading)


def _bottom(pen: Pen, content: ChemicalLabelContent, issue: Issue, width: float, height: float) -> float:
    """The code of the lot and the foot; returns where they begin."""
    top = _MARGIN + height - 14 - _FOOT.leading
    bars = codes.code_128_width(content.lot)
    if bars <= width:
        code = codes.code_128(content.lot, 9 * MILLIMETRE)
        top -= code.height
        code.draw(pen, _MARGIN + (width - bars) / 2, top)
    printed = f"Issue {issue.number}, {issue.printed_at}, {issue.printed_by}"
    head = f"record {issue.chain_number}: {grouped(issue.chain_head, 2)}"
    for line, below in ((printed, 5 + _FOOT.leading), (head, 5)):
        text = shortened(line, _FOOT, width - 8)
        pen.text(_MARGIN + width / 2, _MARGIN + height - below, text, _FOOT, anchor="middle")
    return top
