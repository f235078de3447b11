"""Drawing of one tank tag into a cell of any label or sheet."""

from __future__ import annotations

from regenplant import units
from regenplant.documents import codes
from regenplant.documents.faces import (
    BODY,
    INK,
    INK_2,
    LABEL,
    PAPER,
    SMALL,
    STRONG,
    Face,
    Span,
    Style,
    shortened,
    width_of,
)
from regenplant.documents.flow import Block, beside, paragraph, rich, stacked
from regenplant.documents.parts import MARKS, Named, grid, labelled_blank
from regenplant.documents.pen import MILLIMETRE, Pen
from regenplant.documents.safety import caution_panel
from regenplant.documents.tank_tag_content import TagState, TankTagContent
from regenplant.documents.texts import grouped, other, own

_SERIAL = Style(Face.BOLD, 27, 31)
_STATE = Style(Face.BOLD, 21, 24)
_PLANT = Style(Face.BOOK_BOLD, 11, 13)
_FOOT = Style(Face.TEXT, 6.5, 8, INK_2)
_BAND = 34.0
_INSET = 7.0
_SCALES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55)

Cell = tuple[float, float, float, float]

STATE_MARKS = {
    TagState.CHARGED: ("released", "CHARGED"),
    TagState.EXCHANGED: ("released", "EXCHANGED"),
    TagState.NOT_RELEASED: ("waiting", "NOT RELEASED"),
    TagState.HELD: ("held", "HELD"),
    TagState.REFUSED: ("stop", "REFUSED"),
}
"""Mark and word of each state; all that may not go out stand in hatching, the sign of what is forbidden."""


def draw_tag(pen: Pen, content: TankTagContent, cell: Cell, digest_words: str, system: str) -> None:
    """Draw the tag: the state on top, the code at the bottom, the rest between them, set smaller until it fits."""
    x, y, width, height = cell
    pen.box(x, y, width, height, stroke=INK, weight=1.0)
    pen.text(x + _INSET, y + 15, shortened(content.plant, _PLANT, width * 0.6), _PLANT)
    pen.text(x + width - _INSET, y + 15, f"Visit {content.visit_number}", SMALL, anchor="end")
    state_band(pen, x, y + 21, width, content.state)
    top = y + 21 + _BAND + 3
    bottom = _bottom(pen, content, cell, digest_words)
    body, scale = _fitted(content, width - 2 * _INSET, bottom - 2 - top, system)
    pen.scaled(x + _INSET, top, scale, body.draw)


def _fitted(content: TankTagContent, room: float, height: float, system: str) -> tuple[Block, float]:
    """The body and the scale at which it fits. Raises ValueError when even the smallest print is too large."""
    for scale in _SCALES:
        body = _body(content, room / scale, system)
        if body.height * scale <= height:
            return body, scale
    raise ValueError(
        f"the tag of {content.serial} does not fit: {body.height * scale:.0f} of {height:.0f} points"
    )


def _body(content: TankTagContent, room: float, system: str) -> Block:
    blocks = [paragraph(content.state_words, STRONG, room), _identity(content, room)]
    if content.dedicated_to:
        blocks.append(
            rich(
                (Span("Dedicated to ", BODY), Span(content.dedicated_to, STRONG)), room, leading=BODY.leading
            )
        )
    blocks.append(grid(_facts(content, system), room, 3, gap=2.5, value_style=STRONG))
    blocks.append(_weight(room, system))
    blocks += [caution_panel(caution, room) for caution in content.cautions]
    blocks.append(_handling(content, room))
    return stacked(blocks, 4)


def state_band(pen: Pen, x: float, y: float, width: float, state: TagState) -> None:
    """The state across the whole tag: word and mark; in hatching unless the tank may be used."""
    mark, word = STATE_MARKS[state]
    is_open = state.may_go_out
    if not is_open:
        pen.hatch(x, y, width, _BAND, gap=4.5, ink=INK, weight=1.1)
    word_width = width_of(word, _STATE.face, _STATE.size)
    inner = word_width + 24 + 8 + 20
    left = x + (width - inner) / 2
    if not is_open:
        pen.box(left, y + 2, inner, _BAND - 4, fill=PAPER, stroke=INK, weight=1.0)
    pen.rule(x, y, x + width, y, weight=1.2)
    pen.rule(x, y + _BAND, x + width, y + _BAND, weight=1.2)
    MARKS[mark](pen, left + 10, y + (_BAND - 24) / 2, 24)
    pen.text(left + 10 + 24 + 8, y + _BAND / 2 + 7.5, word, _STATE)


def _identity(content: TankTagContent, room: float) -> Block:
    side = codes.qr_side(content.serial)
    words = stacked([
        paragraph(content.serial, _SERIAL, room - side),
        paragraph(content.resin_family, Style(Face.BOOK_BOLD, 11.5, 14), room - side - 4),
        paragraph(f"{content.resin_abbreviation} · {content.resin_type}", BODY, room - side - 4),
    ])  # fmt: skip
    return beside([(0, words), (room - side + codes.QR_QUIET * codes.MODULE_PT, codes.qr(content.serial))])


def _facts(content: TankTagContent, system: str) -> list[Named]:
    volume = content.resin_volume_m3
    facts = [
        Named("Class", f"{content.segregation_class} · {content.class_label}" if content.segregation_class else "not judged"),
        Named("Batch", content.batch_number or "none"),
        Named("Carbon lot" if content.is_carbon else "Resin lot", content.lot_code or "none"),
        Named("Released", content.released_on or "not released"),
        *(Named(r.name, own(r.value, r.kind, "", system), " · ".join(filter(None, (other(r.value, r.kind, system), r.basis)))) for r in content.readings),
        Named("Carbon" if content.is_carbon else "Resin", own(volume, "resin_volume", "", system) if volume is not None else "–", " · ".join(filter(None, (other(volume, "resin_volume", system) if volume is not None else "", content.resin_form)))),
        Named("Size", content.size, f"band: {content.neck_band}" if content.neck_band else ""),
    ]  # fmt: skip
    return facts


def _weight(room: float, system: str) -> Block:
    half = room / 2
    unit = units.unit_text("mass", system)
    return beside([
        (0, labelled_blank("Weighed", half - 4, unit=unit, height=16, style=SMALL)),
        (half, labelled_blank("by, on", half, height=16, style=SMALL)),
    ])  # fmt: skip


def _handling(content: TankTagContent, room: float) -> Block:
    spans = [Span(f"{sentence} ", LABEL_INK) for sentence in content.handling]
    if content.call:
        spans.append(Span(content.call, Style(Face.BOLD, LABEL.size, LABEL.leading)))
    return rich(tuple(spans), room, leading=LABEL.leading)


LABEL_INK = Style(LABEL.face, LABEL.size, LABEL.leading)


def _bottom(pen: Pen, content: TankTagContent, cell: Cell, digest_words: str) -> float:
    """The code and the foot; returns where they begin."""
    x, y, width, height = cell
    top = y + height - 14 - _FOOT.leading
    bars = codes.code_128_width(content.serial)
    if bars <= width:
        code = codes.code_128(content.serial, 9 * MILLIMETRE)
        top -= code.height
        code.draw(pen, x + (width - bars) / 2, top)
    issue = content.issue
    printed = f"Issue {issue.number}, {issue.printed_at}, {issue.printed_by}"
    heads = f"tag {digest_words} · record {issue.chain_number}: {grouped(issue.chain_head, 2)}"
    for line, below in ((printed, 5 + _FOOT.leading), (heads, 5)):
        pen.text(x + width / 2, y + height - below, shortened(line, _FOOT, width - 8), _FOOT, anchor="middle")
    return top
