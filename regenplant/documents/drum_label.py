"""The label on a drum of metal-bearing waste: what of one batch drained into it, when, and what to expect of it.

The words are a worker's warning, no classification: which codes and pictograms a drum of waste must bear is determined by the plant for
its waste, with its authority and the transporter's papers. A drum that takes waste of several batches bears a label for each.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.routes import what_drains
from regenplant.core.errors import RecordRefused
from regenplant.core.process.drains import Destination
from regenplant.core.process.intake import names_metals
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.core.process.waste_held import WasteHeld
from regenplant.documents import page
from regenplant.documents.faces import BODY, INK, INK_2, SMALL, STRONG, Face, Span, Style, shortened
from regenplant.documents.flow import Block, paragraph, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A5, LABEL, PageSize
from regenplant.documents.parts import Named, grid
from regenplant.documents.pen import MILLIMETRE, Pen
from regenplant.documents.safety import SIGNALS, panel
from regenplant.documents.texts import grouped, own
from regenplant.plant.selectors import plant_day, profile
from regenplant.tanks.models import TankVisit
from regenplant.waste.models import StepDrain

SIZES = (LABEL, A5)
KIND = "drum_label"
ABOUT_NEUTRAL_EQ_PER_M3 = 1.0
"""Acid or alkali to spare below which a waste is not called either; 1 meq/L, a proposal of this program."""
_TITLE = Style(Face.BOLD, 22, 26)
_PLANT = Style(Face.BOOK_BOLD, 11, 13)
_FOOT = Style(Face.TEXT, 6.5, 8, INK_2)
_INSET = 7.0
_MARGIN = 4 * MILLIMETRE
_SCALES = (1.3, 1.15, 1.0, 0.92, 0.85, 0.78, 0.7, 0.62, 0.55)


@dataclass(frozen=True, slots=True)
class DrumLabelContent:
    """Everything the label says."""

    plant: str
    batch: str
    segregation_class: str
    metals: tuple[str, ...]
    """Why it counts as metal-bearing: what tanks of the batch served, in the customers' words, or the class."""
    drained: tuple[str, ...]
    """What drained into drums, by what it is."""
    volume_m3: float
    side: str
    """ "acid", "alkaline", "about neutral", "of unknown composition"."""
    excess_eq: float
    """Acid (+) or alkali (−) to spare [eq]; 0 where it is unknown."""
    begun_on: str
    """Day of the first drain: from here on the drum holds waste."""
    last_on: str
    issue: Issue


def drum_label_content(number: str, issue: Issue) -> DrumLabelContent:
    """The label for what a batch drained into metal drums by now. Raises: RecordRefused where it drained nothing there."""
    batch = Batch.objects.get(number=number)
    rows = list(
        StepDrain.objects.filter(
            batch=batch, destination=Destination.METAL_DRUM.value, volume_m3__gt=0.0
        ).order_by("drained_at", "step_number")
    )
    if not rows:
        raise RecordRefused(
            f"Nothing of {number} has drained into a metal drum, so there is nothing to label.",
            code="nothing_drained",
        )
    plan = plan_of(batch)
    kinds = dict.fromkeys(drained.label for row in rows if (drained := what_drains(plan, row.step_number)))
    side, excess = _side(rows)
    return DrumLabelContent(
        plant=profile().name,
        batch=number,
        segregation_class=f"{batch.segregation_class} · {SegregationClass(batch.segregation_class).label}",
        metals=_metals(batch),
        drained=tuple(kinds),
        volume_m3=sum(row.volume_m3 for row in rows),
        side=side,
        excess_eq=excess,
        begun_on=plant_day(rows[0].drained_at).isoformat(),
        last_on=plant_day(rows[-1].drained_at).isoformat(),
        issue=issue,
    )


def _metals(batch: Batch) -> tuple[str, ...]:
    visits = TankVisit.objects.filter(batch_links__batch=batch).select_related("customer").distinct()
    served = [
        words
        for visit in visits
        for words in (visit.customer.declared_service, visit.customer_words)
        if words and names_metals(words, "")
    ]
    if batch.segregation_class == SegregationClass.METAL_BEARING:
        served.append(f"class {batch.segregation_class}, {SegregationClass.METAL_BEARING.label}")
    return tuple(dict.fromkeys(served)) or ("not named; treat it as metal-bearing",)


def _side(rows: list[StepDrain]) -> tuple[str, float]:
    if not all(row.is_known for row in rows):
        return "of unknown composition", 0.0
    total: dict[str, float] = {}
    for row in rows:
        for name, moles in row.amounts_mol.items():
            total[name] = total.get(name, 0.0) + moles
    volume = sum(row.volume_m3 for row in rows)
    excess = WasteHeld(volume, 0.0, None, total).excess_eq
    if abs(excess) < ABOUT_NEUTRAL_EQ_PER_M3 * volume:
        return "about neutral", excess
    return ("acid" if excess > 0.0 else "alkaline"), excess


def draw_drum_label(content: DrumLabelContent, size: PageSize, system: str) -> bytes:
    """One label as PDF. The same content gives the same bytes."""
    with page.drawing:
        buffer = io.BytesIO()
        title = f"Metal drum label of {content.batch}, issue {content.issue.number}"
        canvas = page.new_canvas(buffer, size, title, content.plant)
        pen = Pen(canvas, size.height)
        width, height = size.width - 2 * _MARGIN, size.height - 2 * _MARGIN
        pen.box(_MARGIN, _MARGIN, width, height, stroke=INK, weight=1.0)
        pen.text(_MARGIN + _INSET, _MARGIN + 15, shortened(content.plant, _PLANT, width * 0.6), _PLANT)
        pen.text(_MARGIN + width - _INSET, _MARGIN + 15, "Metal drum", SMALL, anchor="end")
        top, room = _MARGIN + 24, height - 24 - 24
        for scale in _SCALES:
            body = _body(content, (width - 2 * _INSET) / scale, system)
            if body.height * scale <= room:
                break
        pen.scaled(_MARGIN + _INSET, top, scale, body.draw)
        _foot(pen, content, width, height)
        canvas.showPage()
        canvas.save()
        return buffer.getvalue()


def _body(content: DrumLabelContent, width: float, system: str) -> Block:
    days = (
        content.begun_on
        if content.begun_on == content.last_on
        else f"{content.begun_on} to {content.last_on}"
    )
    is_corrosive = content.side in ("acid", "alkaline")
    spare = (
        f"{content.side}, {own(abs(content.excess_eq), 'equivalents', '', system)} to spare"
        if is_corrosive
        else content.side
    )
    facts = [
        Named("Batch", content.batch),
        Named("Class", content.segregation_class),
        Named("Drained on", days),
        Named("Volume", own(content.volume_m3, "liquid_volume", "", system)),
        Named("By the record", spare),
        Named("What drained", "; ".join(content.drained)),
    ]
    words = (
        "Corrosive: burns skin and eyes. Dissolved metals, harmful when swallowed and to water."
        if content.side != "about neutral"
        else "Dissolved metals, harmful when swallowed and to water. May still be corrosive: measure the pH."
    )
    return stacked(
        [
            paragraph("Waste with metals in it", _TITLE, width),
            panel(
                SIGNALS[SignalWord.DANGER],
                (
                    Span(f"{words} ", STRONG),
                    Span("Goggles, face shield, chemical-resistant gloves, apron, boots.", BODY),
                ),
                ("GHS05",) if content.side != "about neutral" else (),
                width,
            ),
            grid(facts, width, 2, gap=3.0, value_style=STRONG),
            paragraph(f"Metals: {'; '.join(content.metals)}.", BODY, width),
            paragraph(
                "Never into the waste tank, never into a drain. Keep it closed, upright and apart from other chemicals, in its own tray.",
                STRONG,
                width,
            ),
            grid(
                [
                    Named("Drum", "................"),
                    Named("Closed on", "................"),
                    Named("By", "................"),
                ],
                width,
                3,
                gap=3.0,
            ),
            paragraph(
                "A warning from the record, no classification: which codes and pictograms this waste must bear, the plant’s own "
                "determination, the authority and the transporter’s papers decide. SDS and local codes hold.",
                SMALL,
                width,
            ),
        ],
        6,
    )


def _foot(pen: Pen, content: DrumLabelContent, width: float, height: float) -> None:
    issue = content.issue
    printed = f"Issue {issue.number}, {issue.printed_at}, {issue.printed_by}"
    head = f"record {issue.chain_number}: {grouped(issue.chain_head, 2)}"
    for line, below in ((printed, 5 + _FOOT.leading), (head, 5)):
        text = shortened(line, _FOOT, width - 8)
        pen.text(_MARGIN + width / 2, _MARGIN + height - below, text, _FOOT, anchor="middle")
