"""The emergency card: whom to call, where to wash, first steps, and every chemical with where it stands, how much, and its hazards.

It hangs at the doors and is read by people who do not know the plant, so it is drawn for whoever asks, signed in or not, and is no issue of
the record: it says when it was printed and of which state of the record. The same content gives the same bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from regenplant import units
from regenplant.audit.selectors import chain_head
from regenplant.chemicals.locations import Standing, chemicals_by_location
from regenplant.chemicals.statements import STATEMENTS
from regenplant.chemicals.un_numbers import un_words
from regenplant.core.process.plan import SignalWord
from regenplant.documents.batch_record.setting import columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, SMALL, SMALL_STRONG, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, paragraph, rich, stacked
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import Column, cell, marked
from regenplant.documents.safety import SIGNALS, emergency_panel, panel
from regenplant.documents.selectors import at_plant
from regenplant.documents.texts import grouped
from regenplant.plant.selectors import profile

SIZES = (A4, LETTER)
_CALL = Style(Face.BOLD, 14, 18)
_PLACE = Style(Face.BOLD, 11, 14)

WASH_STEPS = (
    "Pull the handle; it stays open by itself.",
    "Hold the eyes open, take contact lenses out while rinsing, take wet clothing off.",
    "15 minutes at least. Somebody else calls.",
)
SPILL_STEPS = (
    "Acid never meets bleach, bisulfite or caustic: gas or violent heat.",
    "Water never goes into concentrated acid.",
    "Fumes: leave upwind, close the door, come back only with breathing air.",
)
FIRST = "In eyes or on skin: water at once, 15 minutes, and call. Never neutralize on a person."
DEFERS = (
    "The supplier’s safety data sheet, local codes and licensed practice come before anything on this card."
)


@dataclass(frozen=True, slots=True)
class StoredChemical:
    """One tank with what stands in it, in words and SI. What is not known is None or ""."""

    tank: str
    spot: str
    chemical: str
    strength_frac: float | None
    is_strength_checked: bool
    kg_100: float
    product_kg: float | None
    product_m3: float | None
    un_number: str
    signal_word: str
    hazards: tuple[str, ...]
    wear: str
    sheet: str


@dataclass(frozen=True, slots=True)
class CardContent:
    """Everything the card says."""

    plant: str
    hall: str
    calls: tuple[str, ...]
    places: tuple[str, ...]
    spill: tuple[str, ...]
    stored: tuple[StoredChemical, ...]
    printed_at: str
    chain_number: int
    chain_head: str


# --- gathering --------------------------------------------------------------------------------------------------------
def stored_chemicals() -> tuple[StoredChemical, ...]:
    """Every bulk tank with what stands in it now, by where it stands."""
    return tuple(_stored(row) for row in chemicals_by_location())


def _stored(row: Standing) -> StoredChemical:
    sheet = row.sheet
    return StoredChemical(
        tank=row.place.code,
        spot=row.area_words or row.place.name,
        chemical=row.chemical.label,
        strength_frac=row.strength_frac,
        is_strength_checked=row.is_strength_checked,
        kg_100=row.kg_100,
        product_kg=row.product_kg,
        product_m3=row.product_m3,
        un_number=(sheet.un_number if sheet else "") or un_words(row.place.un_number),
        signal_word=sheet.signal_word if sheet else "",
        hazards=tuple(
            f"{code} {STATEMENTS[code]}" if code in STATEMENTS else code
            for code in (sheet.hazard_codes if sheet else ())
        ),
        wear=sheet.protective_equipment if sheet else "",
        sheet=f"{sheet.supplier}, {sheet.revised_on}" if sheet else "",
    )


def card_content(now: datetime) -> CardContent:
    """The card as the record stands now."""
    plant = profile()
    number, head = chain_head()
    return CardContent(
        plant=plant.name,
        hall=plant.hall_name,
        calls=_lines(plant.call_text),
        places=_lines(plant.shower_places),
        spill=_lines(plant.spill_text),
        stored=stored_chemicals(),
        printed_at=at_plant(now, plant),
        chain_number=number,
        chain_head=head,
    )


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def strength_words(row: StoredChemical) -> str:
    """ "32 %, checked", "32 % by its certificate", "strength not known"."""
    if row.strength_frac is None:
        return "strength not known"
    shown = units.format_quantity(row.strength_frac, "strength")
    return f"{shown}, checked" if row.is_strength_checked else f"{shown} by its certificate"


def product_words(row: StoredChemical) -> str:
    """How much product stands there, by mass and by volume as far as known, in both unit systems."""
    if row.kg_100 == 0.0:
        return "empty by the books"
    if row.product_kg is None:
        return "amount of product not known"
    mass = units.twin(row.product_kg, "mass")
    return f"{mass}, {units.twin(row.product_m3, 'liquid_volume')}" if row.product_m3 is not None else mass


# --- drawing ----------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=8)
def draw_card(content: CardContent, size: PageSize) -> bytes:
    """The card as PDF. Drawn once for the same content, which holds all that is printed, its minute and the newest act too: it is never of
    an older state than what was gathered."""
    frame = Frame(size)
    width = frame.width
    items = [
        Item(
            panel(SIGNALS[SignalWord.DANGER], (Span(FIRST, STRONG),), (), width), margin=margin_word("First")
        ),
        *_called(content, width),
        *_washing(content, width),
        *_spill(content, width),
        *_stood(content, width),
        Item(paragraph(DEFERS, STRONG, width), gap=8, margin=margin_word("Decides")),
    ]
    return printed(items, frame, _furniture(content))


def _called(content: CardContent, width: float) -> list[Item]:
    missing = "Whom to call is not written yet. Use the number on the wall or the public emergency number."
    lines = [paragraph(line, _CALL, width) for line in content.calls] or [_missing(missing, width)]
    return [section("Call", width, margin_word("Call")), Item(stacked(lines, 2), gap=2)]


def _washing(content: CardContent, width: float) -> list[Item]:
    missing = "Where the showers stand is not written yet. Look for the green signs."
    head = section("Wash", width, margin_word("Wash", "showers, eyewashes"))
    if not content.places:
        return [head, Item(_missing(missing, width), gap=2), _points(WASH_STEPS, width)]
    return [head, Item(emergency_panel(content.places, width), gap=2, keep=True), _points(WASH_STEPS, width)]


def _spill(content: CardContent, width: float) -> list[Item]:
    missing = "What to do about a spill is not written yet. Keep away, keep upwind, call."
    head = section("Spill", width, margin_word("Spill"))
    own = _points(content.spill, width) if content.spill else Item(_missing(missing, width), gap=2)
    return [head, own, _points(SPILL_STEPS, width)]


def _missing(words: str, width: float) -> Block:
    return marked("check", (Span(words, STRONG),), width)


def _points(lines: tuple[str, ...], width: float) -> Item:
    blocks = [rich((Span("– ", STRONG), Span(line, BODY)), width, leading=BODY.leading) for line in lines]
    return Item(stacked(blocks, 1.5), gap=3)


def _stood(content: CardContent, width: float) -> list[Item]:
    head = section("Chemicals, by where they stand", width, margin_word("Chemicals", "by the books"))
    if not content.stored:
        return [head, Item(paragraph("No chemical tank is set up.", BODY, width), gap=2)]
    columns = columns_of(width, (("Where", 96.0), ("What", 92.0), ("How much", 104.0), ("Hazards", 0.0)))
    return [head, *table(columns, [_row(row, columns) for row in content.stored], pad=2.5)]


def _row(row: StoredChemical, columns: tuple[Column, ...]) -> tuple[Block, ...]:
    where = stacked([cell(row.tank, columns[0], _PLACE), cell(row.spot, columns[0], SMALL)])
    what = [cell(row.chemical, columns[1], STRONG), cell(strength_words(row), columns[1], SMALL)]
    if row.un_number:
        what.append(cell(row.un_number, columns[1], SMALL_STRONG))
    much = stacked(
        [
            cell(product_words(row), columns[2], STRONG),
            cell(f"{units.twin(row.kg_100, 'mass')} as 100 %", columns[2], SMALL),
        ]
    )
    told = f"Data sheet: {row.sheet}." if row.sheet else "No data sheet is in force: treat it as dangerous."
    words = " ".join(f"{hazard}." for hazard in row.hazards)
    spans = (
        *((Span(f"{row.signal_word.upper()} ", STRONG),) if row.signal_word else ()),
        *((Span(f"{words} ", SMALL),) if words else ()),
        *((Span(f"Wear: {row.wear}. ", SMALL_STRONG),) if row.wear else ()),
        Span(told, SMALL),
    )
    hazards = rich(spans, columns[3].width, leading=SMALL.leading)
    return where, stacked(what), much, hazards


def _furniture(content: CardContent) -> Furniture:
    return Furniture(
        plant=content.plant,
        paper=f"Emergency card, {content.hall}" if content.hall else "Emergency card",
        number=content.printed_at[:10],
        foot=(
            f"Printed {content.printed_at}. Quantities by the books of that moment.",
            f"Record {content.chain_number}: {grouped(content.chain_head)}",
            "Hang up a new one and take the old one down.",
        ),
        title=f"Emergency card of {content.plant}, {content.printed_at}",
    )
