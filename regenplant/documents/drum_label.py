"""The label on a drum of metal-bearing waste: what of one batch drained into it, when, and what to expect of it.

The words are a worker's warning, no classification: which codes and pictograms a drum of waste must bear is determined by the plant for
its waste, with its authority and the transporter's papers. A drum that takes waste of several batches bears a label for each; waste of one batch in
several drums has one for each drum, numbered.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.routes import what_drains
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.drains import Destination
from regenplant.core.process.intake import names_metals
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.core.process.waste_held import WasteHeld
from regenplant.documents.faces import BODY, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, paragraph, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.label_frame import Sheet, draw_labels
from regenplant.documents.page import A5, LABEL, PageSize
from regenplant.documents.parts import Named, grid
from regenplant.documents.safety import SIGNALS, panel
from regenplant.documents.texts import own
from regenplant.plant.selectors import plant_day, profile
from regenplant.tanks.models import TankVisit
from regenplant.waste.models import StepDrain

SIZES = (LABEL, A5)
KIND = "drum_label"
MOST_DRUMS = 20
"""Labels in one print; a proposal of this program."""
ABOUT_NEUTRAL_EQ_PER_M3 = 1.0
"""Acid or alkali to spare below which a waste is not called either; 1 meq/L, a proposal of this program."""
_TITLE = Style(Face.BOLD, 22, 26)
_DRUM = Style(Face.BOLD, 16, 20)


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
        StepDrain.objects.filter(batch=batch, destination=Destination.METAL_DRUM.value).order_by(
            "drained_at", "step_number", "pk"
        )
    )
    days = [row.drained_at for row in rows if row.volume_m3 > 0.0]
    if sum(row.volume_m3 for row in rows) <= 0.0:
        raise RecordRefused(
            f"Nothing of {number} has drained into a metal drum, so there is nothing to label.",
            code="nothing_drained",
        )
    plan = plan_of(batch)
    wet = [row.step_number for row in rows if row.volume_m3 > 0.0]
    kinds = dict.fromkeys(drained.label for number in wet if (drained := what_drains(plan, number)))
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
        begun_on=plant_day(days[0]).isoformat(),
        last_on=plant_day(days[-1]).isoformat(),
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
    newest = {row.step_number: row for row in rows}
    if not all(row.is_known for row in newest.values()):
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


def draw_drum_label(content: DrumLabelContent, size: PageSize, system: str, drums: int = 1) -> bytes:
    """A label for each of 1 to ``MOST_DRUMS`` drums as PDF, one a page. The same content gives the same bytes. Raises: OutOfRange."""
    if not 1 <= drums <= MOST_DRUMS:
        raise OutOfRange(
            f"Labels are printed for 1 to {MOST_DRUMS} drums at once; seen {drums}.",
            code="drums",
            field="drums",
            seen=drums,
            allowed_low=1,
            allowed_high=MOST_DRUMS,
        )

    def of_drum(number: int) -> Sheet:
        return Sheet("Metal drum", lambda width: _body(content, width, system, number, drums))

    sheets = [of_drum(number) for number in range(1, drums + 1)]
    title = f"Metal drum label of {content.batch}, issue {content.issue.number}"
    return draw_labels(sheets, size, title, content.plant, content.issue)


def _body(content: DrumLabelContent, width: float, system: str, number: int, drums: int) -> Block:
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
        Named(
            "Volume" if drums == 1 else f"In all {drums} drums",
            own(content.volume_m3, "liquid_volume", "", system),
        ),
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
            *([paragraph(f"Drum {number} of {drums}", _DRUM, width)] if drums > 1 else []),
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
                    Named("Drum" if drums == 1 else "In this drum", "................"),
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
