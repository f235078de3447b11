"""First part of the batch sheet: which batch, in one sentence; what to read before the start; tanks; totals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import BatchPlan, Severity
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents import codes
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
from regenplant.documents.texts import both, clock_time, headed, other, own

_NUMBER = Style(Face.BOLD, 30, 34)
_TANK_ROW = 30.0
_WIDEST_CODE = 132.0
"""Serials that would make wider bars than this [pt] stand as QR codes."""

HOW_TO_WRITE = (
    "Write in ink. Strike a slip once, write the right value beside it with time and initials. If you read another unit than "
    "the printed one, strike the unit and write yours. An empty blank means not done yet; write n/a where a line does not "
    "apply. A value outside its limit: hold and tell the supervisor."
)
WHO_DECIDES = f"{AUTHORITY} This sheet advises; the record in the system holds what was done."
NEUTRALIZE = (
    "Give the first part, mix, measure. The measured pH decides how much of the second part follows; "
    "never give both at once."
)


def items(setting: Setting) -> list[Item]:
    return [*_title(setting), *_before(setting), *_warnings(setting), *_tanks(setting), *_totals(setting)]


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
    words = (
        f"{request.resin.family.label}, class {content.segregation_class}: {count} tank{'s' if count != 1 else ''}, "
        f"{own(volume, 'resin_volume', '', system)} ({other(volume, 'resin_volume', system)}) in vessel {request.vessel.code}. "
        f"{content.state}"
    )
    return f"{words} Rework of {content.rework_of}: {content.rework_cause}" if content.rework_of else words


def _facts(content: BatchSheetContent, system: str) -> list[Named]:
    request, totals = content.plan.request, content.plan.totals
    recipe, specification = request.recipe, content.specification
    facts = [
        Named("Resin", content.resin_type, content.resin_description),
        Named("Class", f"{content.segregation_class} · {content.class_label}", _dedicated(content)),
        Named("Resin lot", request.resin.lot_code, f"capacity factor {units.format_number(request.resin.capacity_factor, digits=3, decimals=2)}"),
        Named("Volume loaded", own(request.resin_volume_m3, "resin_volume", "", system), f"{other(request.resin_volume_m3, 'resin_volume', system)}, settled, {request.resin_volume_form.label}"),
        Named("Vessel", content.vessel, f"bed {both(totals['bed_depth_m'].value, 'length', system)} deep"),
        Named("Recipe", f"{recipe.code} version {request.recipe_version}", recipe.name),
        Named("Specification", f"{specification.code} version {content.specification_version}", specification.name),
        *(_stock(content, chemical, system) for chemical in _chemicals(content)),
        Named("Time for all steps", clock_time(totals["duration_s"].value), f"{len(content.plan.steps)} steps"),
        Named("Planned", content.planned_at, f"by {content.planned_by}; calculation {content.plan.core_version}"),
    ]  # fmt: skip
    return facts


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
    strength = f"{own(stock.strength_frac, 'strength', '', system)} {chemical.formula}"
    warmth = both(stock.temperature_kelvin, "temperature", system)
    return Named(f"Stock, lot {stock.lot_code}", strength, f"{checked}, at {warmth}")


# --- before the start -------------------------------------------------------------------------------------------
def _before(setting: Setting) -> list[Item]:
    width = setting.width
    lines = [paragraph(HOW_TO_WRITE, SMALL, width), paragraph(WHO_DECIDES, STRONG, width)]
    found = [Item(stacked(lines, 3), gap=6, margin=margin_word("Read first"))]
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
    words = f"Nothing stops or warns. {count} checks were made when the plan was frozen; they are listed after the sign-off."
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
    fixed = (15.0, code_width, 50.0, 48.0, 58.0, 56.0)
    columns = (
        Column("", fixed[0]),
        Column("Scan", fixed[1]),
        Column("Tank, size, customer", setting.width - sum(fixed)),
        Column("Resin in", fixed[2], at_right=True),
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
            choices(("yes", "no"), inner, style=SMALL, side=8),
            blank(columns[5].width, inner, unit, style=SMALL),
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
            blank(columns[5].width, 23, unit, style=SMALL),
        ),
        columns,
        weight=1.4,
    )


# --- totals -----------------------------------------------------------------------------------------------------
_TOTAL_ORDER = (
    "chemical_kg_100:", "stock_kg:", "stock_m3:", "water_m3:", "waste_m3", "excess_eq", "waste_ph",
    "neutralizer_first_kg_100", "neutralizer_first_stock_m3", "neutralizer_second_kg_100", "neutralizer_second_stock_m3",
    "chloride_kg", "sodium_kg", "eluted_eq", "applied_eq", "regenerant_ratio_frac",
)  # fmt: skip
_USED = (
    "stock_kg:", "stock_m3:", "water_m3:", "waste_m3", "waste_ph", "neutralizer_first_stock_m3", "neutralizer_second_stock_m3",
)  # fmt: skip
"""Totals beside which a person writes what was really used."""


def _totals(setting: Setting) -> list[Item]:
    totals = setting.content.plan.totals
    columns = (
        Column("For the whole batch", setting.width - 72 - 72 - 118),
        Column("Planned", 72, at_right=True),
        Column("", 72, at_right=True),
        Column("Used, by level or meter", 118),
    )
    head = table_head(columns)
    found = [section("Totals", setting.width, margin_word("Totals")), Item(head, keep=True, gap=2)]
    keys = _ordered(totals)
    for index, key in enumerate(keys):
        found.append(
            Item(_total_row(key, totals[key], columns, setting.system), keep=index < 2, repeat=(head,))
        )
    if "neutralizer_first_kg_100" in totals:
        found[-1] = Item(found[-1].block, keep=True, repeat=(head,))
        found.append(Item(marked("check", (Span(NEUTRALIZE, STRONG),), setting.width), gap=4))
    return found


def _ordered(totals: Mapping[str, Estimate]) -> list[str]:
    def fits(start: str, key: str) -> bool:
        return key.startswith(start) if start.endswith(":") else key == start

    return [key for start in _TOTAL_ORDER for key in sorted(totals) if fits(start, key)]


def _total_row(key: str, total: Estimate, columns: Sequence[Column], system: str) -> Block:
    asks = key.startswith(_USED)
    unit = units.unit_text(total.kind, system) if total.kind else total.unit
    least = 19.0 if asks else 0.0
    return table_row(
        (
            cell(headed(total.name), columns[0]),
            cell(own(total.value, total.kind, total.unit, system), columns[1], STRONG),
            cell(other(total.value, total.kind, system), columns[2], BODY),
            blank(columns[3].width, least - 1, unit, style=SMALL) if asks else nothing(0),
        ),
        columns,
        least=least,
        pad=1.5,
    )
