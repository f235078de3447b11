"""The label at the fill connection of a tank: what goes in and nothing else, its UN number, its code to be scanned, and what must never be connected.

Look-alike, unmarked fill lines half a metre apart are how acid once went into hypochlorite (C&EN 96(2), 2018). So the label says in large
print what the connection is for, and in words which neighbours of this plant give gas or heat with it. Signal word, pictograms and codes
come from the data sheet in force; what a label said is kept with the act of printing it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

from regenplant.audit.selectors import story
from regenplant.chemicals.locations import chemicals_by_location, never_with
from regenplant.chemicals.models import DataSheet, Place
from regenplant.chemicals.statements import statements_of
from regenplant.chemicals.un_numbers import un_words
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import from_plain
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents import codes, page, pictograms
from regenplant.documents.faces import BODY, INK, INK_2, SMALL, STRONG, Face, Span, Style, shortened
from regenplant.documents.flow import Block, beside, paragraph, rich, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A5, LABEL, PageSize
from regenplant.documents.pen import MILLIMETRE, Pen
from regenplant.documents.safety import SIGNALS, panel
from regenplant.documents.texts import grouped
from regenplant.plant.selectors import profile

SIZES = (LABEL, A5)
KIND = "connection_label"
PRINTED = "connection_label.printed"
_PLANT = Style(Face.BOOK_BOLD, 11, 13)
_NAME = Style(Face.BOLD, 24, 27)
_UN = Style(Face.BOLD, 21, 25)
_TANK = Style(Face.BOOK_BOLD, 13, 16)
_FOOT = Style(Face.TEXT, 6.5, 8, INK_2)
_MARGIN = 4 * MILLIMETRE
_INSET = 7.0
_SCALES = (1.45, 1.35, 1.25, 1.15, 1.08, 1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7)


@dataclass(frozen=True, slots=True)
class ConnectionLabelContent:
    """Everything the label says, but for the print it comes from."""

    plant: str
    tank: str
    tank_name: str
    chemical: str
    un_number: str
    code: str
    signal_word: str
    pictograms: tuple[str, ...]
    hazards: tuple[tuple[str, str], ...]
    gear: str
    sheet: str
    never: tuple[tuple[str, str, str], ...]
    """Chemical, what it gives, and the connections or tanks of this plant that hold it; "" where none does."""


def connection_label_content(place: Place) -> ConnectionLabelContent:
    """The label of a tank's fill connection as it would be printed now. Raises RecordRefused without a code, or without a data sheet in force."""
    if not place.connection_code:
        raise RecordRefused(
            f"The fill connection of {place.code} has no code yet. A supervisor gives it one under Chemicals, Tanks, {place.code}.",
            code="no_connection",
        )
    lines = chemicals_by_location()
    sheet = next((line.sheet for line in lines if line.place.pk == place.pk), None)
    if sheet is None:
        raise RecordRefused(
            f"No data sheet of {Chemical(place.chemical).label.lower()} is in force, and the label takes its codes from it. Put the sheet "
            "on file under Chemicals, Data sheets.",
            code="no_data_sheet",
        )
    chemical = Chemical(place.chemical)
    return ConnectionLabelContent(
        plant=profile().name,
        tank=place.code,
        tank_name=place.name,
        chemical=chemical.label,
        un_number=un_words(place.un_number),
        code=place.connection_code,
        signal_word=sheet.signal_word,
        pictograms=tuple(sheet.pictograms),
        hazards=tuple(statements_of(sheet.hazard_codes)),
        gear=sheet.protective_equipment,
        sheet=_named(sheet),
        never=tuple((other.label, rule.gives, _where(tanks)) for other, rule, tanks in never_with(chemical)),
    )


def _named(sheet: DataSheet) -> str:
    return f"{sheet.supplier}, {sheet.strength_text}, revision {sheet.revised_on}"


def _where(tanks: list[Place]) -> str:
    return ", ".join(
        f"{tank.code} ({tank.connection_code})" if tank.connection_code else tank.code for tank in tanks
    )


def printed_before(place: Place, issue_number: int) -> ConnectionLabelContent:
    """What an earlier label of this connection said. Raises RecordRefused where there is no such issue."""
    for line in story([("place", str(place.pk))]):
        facts = line.facts.get("facts", {})
        if line.event == PRINTED and facts.get("issue") == issue_number and "label" in facts:
            found: ConnectionLabelContent = from_plain(ConnectionLabelContent, facts["label"])
            return found
    raise RecordRefused(
        f"No label of the fill connection of {place.code} was printed as issue {issue_number}.",
        code="no_issue",
    )


def draw_connection_label(content: ConnectionLabelContent, issue: Issue, size: PageSize) -> bytes:
    """One label as PDF. The same content and issue give the same bytes."""
    with page.drawing:
        buffer = io.BytesIO()
        title = f"Label of the fill connection of {content.tank}, issue {issue.number}"
        canvas = page.new_canvas(buffer, size, title, content.plant)
        pen = Pen(canvas, size.height)
        width, height = size.width - 2 * _MARGIN, size.height - 2 * _MARGIN
        pen.box(_MARGIN, _MARGIN, width, height, stroke=INK, weight=1.6)
        pen.text(_MARGIN + _INSET, _MARGIN + 15, shortened(content.plant, _PLANT, width * 0.6), _PLANT)
        pen.text(_MARGIN + width - _INSET, _MARGIN + 15, "Fill connection", SMALL, anchor="end")
        top, bottom = _MARGIN + 24, _MARGIN + height - 14 - _FOOT.leading
        body, scale = _fitted(content, width - 2 * _INSET, bottom - 3 - top)
        pen.scaled(_MARGIN + _INSET, top, scale, body.draw)
        _foot(pen, issue, width, height)
        canvas.showPage()
        canvas.save()
        return buffer.getvalue()


def _fitted(content: ConnectionLabelContent, room: float, height: float) -> tuple[Block, float]:
    """The body and the largest scale at which it fits. Raises RecordRefused when even the smallest print is too large."""
    for scale in _SCALES:
        body = _body(content, room / scale)
        if body.height * scale <= height:
            return body, scale
    raise RecordRefused(
        f"The label of the fill connection of {content.tank} says more than this size holds in readable print. Choose a larger one.",
        code="label_too_full",
        field="size",
    )


def _body(content: ConnectionLabelContent, room: float) -> Block:
    side = codes.qr_side(content.code)
    words = stacked(
        [
            paragraph(content.un_number, _UN, room - side),
            paragraph(f"Tank {content.tank}", _TANK, room - side - 4),
            paragraph(content.tank_name, BODY, room - side - 4),
            paragraph(f"Code {content.code}", STRONG, room - side - 4),
        ],
        2,
    )
    head = beside([(0, words), (room - side + codes.QR_QUIET * codes.MODULE_PT, codes.qr(content.code))])
    blocks = [
        paragraph(content.chemical, _NAME, room),
        head,
        _signal(content, room),
        *(
            rich((Span(f"{code} ", SMALL), Span(f"{text}.", STRONG)), room, leading=BODY.leading)
            for code, text in content.hazards
        ),
    ]
    if content.never:
        blocks.append(paragraph("Never connect", _TANK, room))
        blocks += [
            rich(
                (
                    Span(other, STRONG),
                    Span(f": {gives}.", BODY),
                    *((Span(f" Here: {where}.", BODY),) if where else ()),
                ),
                room,
                leading=BODY.leading,
            )
            for other, gives, where in content.never
        ]
    blocks.append(
        rich(
            (
                Span("Connect nothing before the lock of the delivery is signed open. ", STRONG),
                Span(
                    "A second person scans this code; if anything differs, stop and call the supervisor.",
                    BODY,
                ),
            ),
            room,
            leading=BODY.leading,
        )
    )
    if content.gear:
        blocks.append(rich((Span("Wear ", STRONG), Span(content.gear, BODY)), room, leading=BODY.leading))
    blocks.append(
        paragraph(
            f"Codes from the data sheet of {content.sheet}. The sheet in force, local codes and licensed practice decide.",
            SMALL,
            room,
        )
    )
    return stacked(blocks, 4)


def _signal(content: ConnectionLabelContent, room: float) -> Block:
    drawn = tuple(code for code in content.pictograms if pictograms.is_drawn(code))
    words = "; ".join(pictograms.named(code) for code in content.pictograms if code not in drawn)
    if not content.signal_word:
        return paragraph(f"The data sheet gives no signal word. {words}".strip(), BODY, room)
    signal = SIGNALS[SignalWord(content.signal_word.lower())]
    return panel(signal, (Span(words or "Read the data sheet first.", STRONG),), drawn, room)


def _foot(pen: Pen, issue: Issue, width: float, height: float) -> None:
    printed = f"Issue {issue.number}, {issue.printed_at}, {issue.printed_by}"
    head = f"record {issue.chain_number}: {grouped(issue.chain_head, 2)}"
    for line, below in ((printed, 5 + _FOOT.leading), (head, 5)):
        text = shortened(line, _FOOT, width - 8)
        pen.text(_MARGIN + width / 2, _MARGIN + height - below, text, _FOOT, anchor="middle")
