"""First part of the batch sheet: which batch, in one sentence; what to read before the start; tanks; totals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import BatchPlan, Severity
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents import batch_sheet_totals, codes
from regenplant.documents.batch_sheet_content import BatchSheetContent, SheetTank
from regenplant.documents.batch_sheet_setting import Setting, margin_word, section
from regenplant.documents.faces import BODY, FIGURE, LABEL, LEAD, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, beside, framed, nothing, paragraph, rich, stacked
from regenplant.documents.parts import (
    Column,
    Named,
    blank,
    cell,
    choices,
    grid,
    labelled_blank,
    marked,
    table_head,
    table_row,
    time_blank,
    two_lines,
)
from regenplant.documents.pen import MILLIMETRE
from regenplant.documents.safety import emergency_panel
from regenplant.documents.texts import both, clock_time, other, own

_NUMBER = Style(Face.BOLD, 30, 34)
_TANK_ROW = 30.0
_WIDEST_CODE = 132.0
"""Serials that would make wider bars than this [pt] stand as QR codes."""


@dataclass(frozen=True, slots=True)
class Extent:
    """How many pages the two parts of the sheet have, and whether both are printed."""

    order: int
    appendix: int
    is_whole: bool


EXTENT = nothing(2 * STRONG.leading)
"""Room for the words that say which pages are the work order; they are set when the pages are counted."""
FOR_THE_FILE = (
    "Copy for the file: nobody works on this batch any more. Nothing on this sheet is to be carried out."
)

HOW_TO_WRITE = (
    "Write in ink. Strike a slip once, write the right value beside it with time and initials. If you read another unit than "
    "the printed one, strike the unit and write yours. An empty blank means not done yet; write n/a where a line does not "
    "apply. A value outside its limit: hold and tell the supervisor."
)
WHO_DECIDES = f"{AUTHORITY} This sheet advises; the record in the system holds what was done."


def items(setting: Setting) -> list[Item]:
    return [
        *_title(setting),
        *_before(setting),
        *_warnings(setting),
        *_tanks(setting),
        *batch_sheet_totals.items(setting),
    ]


# --- which batch ------------------------------------------------------------------------------------------------
def _title(setting: Setting) -> list[Item]:
    number = setting.content.batch_number
    side = codes.qr_side(number)
    room = setting.width - side - 8
    bars = codes.code_128_width(number)
    line = beside([
        (0, paragraph(number, _NUMBER, room - bars)),
        (room - bars, codes.code_128(number, 8 * MILLIMETRE, words=None)),
    ])  # fmt: skip
    words = stacked([line, nothing(2), paragraph(sentence(setting.content, setting.system), LEAD, room)])
    head = beside([(0, words), (setting.width - side, codes.qr(number))])
    facts = grid(_facts(setting.content, setting.system), setting.width, 5, value_style=STRONG, gap=4)
    return [Item(head, keep=True, margin=margin_word("Batch", "work order")), Item(facts, gap=6)]


def sentence(content: BatchSheetContent, system: str) -> str:
    """The batch in one or two sentences."""
    count = len(content.tanks)
    request = content.plan.request
    volume = request.resin_volume_m3
    is_exchanged = request.resin.family.is_exchanged
    where = "at" if is_exchanged else "in vessel"
    words = (
        f"{request.resin.family.label}, class {content.segregation_class}: {count} tank{'s' if count != 1 else ''}, "
        f"{own(volume, 'resin_volume', '', system)} ({other(volume, 'resin_volume', system)}) {where} {_vessels(content)}. "
        f"{content.state}"
    )
    return f"{words} Rework of {content.rework_of}: {content.rework_cause}" if content.rework_of else words


def _vessels(content: BatchSheetContent) -> str:
    """The vessel, and that of the anion leg."""
    request = content.plan.request
    if request.anion_vessel is None or not request.resin.family.is_mixed:
        return request.vessel.code
    return f"{request.vessel.code}, anion leg in {request.anion_vessel.code}"


def _facts(content: BatchSheetContent, system: str) -> list[Named]:
    request, totals = content.plan.request, content.plan.totals
    recipe, specification = request.recipe, content.specification
    return [
        *_matter(content, system),
        Named("Recipe", f"{recipe.code} version\u00a0{request.recipe_version}", recipe.name),
        Named("Specification", f"{specification.code} version {content.specification_version}", specification.name),
        *(_stock(content, chemical, system) for chemical in _chemicals(content)),
        Named("Time for all steps", clock_time(totals["duration_s"].value), f"{len(content.plan.steps)} steps"),
        Named("Planned", content.planned_at, f"by {content.planned_by}; calculation {content.plan.core_version}"),
    ]  # fmt: skip


def _matter(content: BatchSheetContent, system: str) -> list[Named]:
    """What is in the tanks, whose it is, and where it goes."""
    request, totals = content.plan.request, content.plan.totals
    volume = request.resin_volume_m3
    own_volume, other_volume = own(volume, "resin_volume", "", system), other(volume, "resin_volume", system)
    segregation = Named("Class", f"{content.segregation_class} · {content.class_label}", _dedicated(content))
    if request.resin.family.is_exchanged:
        return [
            Named("Carbon", content.resin_type, content.resin_description),
            segregation,
            Named("Carbon out", own_volume, f"{other_volume}, settled"),
            Named("Place", content.vessel),
        ]
    factor = units.format_number(request.resin.capacity_factor, digits=3, decimals=2)
    facts = [
        Named("Resin", content.resin_type, content.resin_description),
        segregation,
        Named("Resin lot", request.resin.lot_code, f"capacity factor {factor}"),
        Named("Volume loaded", own_volume, f"{other_volume}, settled, {request.resin_volume_form.label}"),
        Named("Vessel", content.vessel, f"bed {both(totals['bed_depth_m'].value, 'length', system)} deep"),
    ]
    if request.mixed is not None:
        mixed = request.mixed
        share = own(mixed.cation_frac, "fraction", "", system)
        facts += [
            Named(
                "Cation resin", mixed.cation.type_code, f"lot {mixed.cation.lot_code}, {share} of the volume"
            ),
            Named("Anion resin", mixed.anion.type_code, f"lot {mixed.anion.lot_code}"),
            Named("Legs", request.recipe.arrangement.label, f"grade {request.resin.grade}"),
        ]
    if request.feed is not None:
        facts.append(Named("Feed of the tanks", request.feed.basis or "on record"))
    return facts


def matter_word(content: BatchSheetContent) -> str:
    """Resin, or carbon."""
    return "Carbon" if content.plan.request.resin.family.is_exchanged else "Resin"


def _dedicated(content: BatchSheetContent) -> str:
    return f"dedicated to {content.dedicated_to}" if content.dedicated_to else ""


def _chemicals(content: BatchSheetContent) -> tuple[Chemical, ...]:
    return tuple(dict.fromkeys(step.chemical for step in content.plan.steps if step.chemical))


def _stock(content: BatchSheetContent, chemical: Chemical, system: str) -> Named:
    stock = content.plan.request.stock.get(chemical.value)
    if stock is None:
        return Named(chemical.label, "no stock on record")
    checked_at = content.checked_at.get(chemical.value, "")
    checked = f"checked {checked_at}" if checked_at else "never checked at the plant"
    if stock.added_lots:
        checked = f"{checked}; {', '.join(stock.added_lots)} came on top, by mass balance"
    strength = f"{own(stock.strength_frac, 'strength', '', system)} {chemical.formula}"
    warmth = both(stock.temperature_kelvin, "temperature", system)
    return Named(f"Stock, lot {stock.lot_code}", strength, f"{checked}, at {warmth}")


def extent_words(extent: Extent, width: float) -> Block:
    """Which pages go to the vessel and which are for the expert."""
    if extent.is_whole:
        words = (
            f"Work order: pages 1 to {extent.order}, all that is needed at the vessel. Calculation appendix: pages "
            f"{extent.order + 1} to {extent.order + extent.appendix}, nothing to write on; the work order can be printed without it."
        )
    else:
        words = (
            f"Work order: pages 1 to {extent.order}, complete, all that is needed at the vessel. The calculation appendix, "
            f"{extent.appendix} pages for whoever checks the numbers, is printed apart."
        )
    return paragraph(words, STRONG, width)


# --- before the start -------------------------------------------------------------------------------------------
def _before(setting: Setting) -> list[Item]:
    width = setting.width
    lines = [paragraph(HOW_TO_WRITE, SMALL, width), paragraph(WHO_DECIDES, STRONG, width)]
    found = [
        Item(EXTENT, gap=6, margin=margin_word("Read first"), keep=True),
        Item(stacked(lines, 3), gap=3),
    ]
    if setting.content.is_closed:
        words = marked("stop", (Span(FOR_THE_FILE, STRONG),), width - 12, side=11)
        found.insert(0, Item(framed(words, width, weight=1.4), gap=6))
    if setting.content.emergency:
        found.append(Item(emergency_panel(setting.content.emergency, width), gap=5))
    return found


def _warnings(setting: Setting) -> list[Item]:
    """What stops or warns, in a frame to be read and signed; else that nothing does. Notes follow in either case."""
    plan, width = setting.content.plan, setting.width
    notes = [check for check in plan.checks if not check.is_met and check.severity is Severity.NOTE]
    found = (
        [_framed_warnings(plan, width)]
        if plan.blockers or plan.warnings
        else [_no_warnings(len(plan.checks), width)]
    )
    found += [
        Item(marked("waiting", (Span("Note. ", STRONG), Span(check.sentence, BODY)), width), gap=3)
        for check in notes
    ]
    return found


def _no_warnings(count: int, width: float) -> Item:
    words = f"Nothing stops or warns. {count} checks were made when the plan was frozen; the calculation appendix lists them."
    return Item(marked("done", (Span(words, BODY),), width), gap=6, margin=margin_word("Checks"))


def _framed_warnings(plan: BatchPlan, width: float) -> Item:
    inner = width - 12
    lines: list[Block] = []
    for mark, word, checks in (
        ("stop", "Stops this batch. ", plan.blockers),
        ("check", "Warning. ", plan.warnings),
    ):
        lines += [marked(mark, (Span(word, STRONG), Span(check.sentence, BODY)), inner) for check in checks]
    lines.append(labelled_blank("Read before the start by (name, time)", inner, height=24))
    return Item(framed(stacked(lines, 3), width, weight=1.2), gap=8, margin=margin_word("Warnings"))


# --- tanks ------------------------------------------------------------------------------------------------------
def _tanks(setting: Setting) -> list[Item]:
    content, system = setting.content, setting.system
    widths = (codes.code_128_width(tank.serial) for tank in content.tanks)
    code_width = min(max(widths, default=100.0), _WIDEST_CODE) + 2
    unit = units.unit_text("resin_volume", system)
    fixed = (15.0, code_width, 50.0, 48.0, 66.0, 56.0)
    columns = (
        Column("", fixed[0]),
        Column("Scan", fixed[1]),
        Column("Tank, size, customer", setting.width - sum(fixed)),
        Column(f"{matter_word(content)} in", fixed[2], at_right=True),
        Column("Emptied at", fixed[3]),
        Column("Shell sound", fixed[4]),
        Column("Filled with", fixed[5]),
    )
    head = table_head(columns)
    found = [
        section(f"Tanks: {len(content.tanks)}, no others", setting.width, margin_word("Tanks")),
        Item(head, keep=True, gap=2),
    ]
    for index, tank in enumerate(content.tanks):
        found.append(Item(_tank_row(tank, columns, unit, system), keep=index == 0, repeat=(head,)))
    total = content.plan.request.resin_volume_m3
    found.append(Item(_tank_total(columns, total, unit, system), repeat=(head,)))
    return found


def _tank_row(tank: SheetTank, columns: Sequence[Column], unit: str, system: str) -> Block:
    inner = _TANK_ROW - 6
    volume = tank.resin_volume_m3
    name = rich((Span(f"{tank.serial}  ", FIGURE), Span(tank.size.replace(" ", units.NO_BREAK_SPACE), SMALL)), columns[2].width - 6, leading=FIGURE.leading)  # fmt: skip
    return table_row(
        (
            _position(tank.position),
            codes.compact(tank.serial, 7 * MILLIMETRE, _WIDEST_CODE),
            stacked([name, cell(tank.customer, columns[2], SMALL)]),
            two_lines(
                own(volume, "resin_volume", "", system), other(volume, "resin_volume", system), columns[3]
            ),
            time_blank(columns[4].width, inner),
            choices(("yes", "no"), inner, style=SMALL, side=10),
            blank(columns[6].width, inner, unit, style=SMALL),
        ),
        columns,
        least=_TANK_ROW,
    )


def _position(number: int) -> Block:
    return Block(
        LABEL.leading,
        lambda pen, x, y: pen.text(x + 9, y + LABEL.leading * 0.78, str(number), LABEL, anchor="end"),
    )


def _tank_total(columns: Sequence[Column], total: float, unit: str, system: str) -> Block:
    return table_row(
        (
            nothing(0),
            nothing(0),
            cell("All tanks", columns[2], STRONG),
            two_lines(
                own(total, "resin_volume", "", system), other(total, "resin_volume", system), columns[3]
            ),
            nothing(0),
            nothing(0),
            blank(columns[6].width, 23, unit, style=SMALL),
        ),
        columns,
        weight=1.4,
    )
