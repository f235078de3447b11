"""The day plan for the wall: a day on its own page, vessels over the hours, then every batch by the clock with the code that scans to it.

Drawn from its content only; the same content gives the same bytes. A larger sheet is the same page enlarged, so that it is read from
farther away.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import takewhile

from regenplant import units
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents import codes
from regenplant.documents.batch_record.setting import columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.day_plan_care import care, standing_words
from regenplant.documents.day_plan_content import BatchLine, DayPage, DayPlanContent, StageLine
from regenplant.documents.faces import (
    BODY,
    FIGURE,
    INK_2,
    LEAD,
    SMALL,
    SMALL_STRONG,
    STRONG,
    Face,
    Span,
    Style,
)
from regenplant.documents.flow import Block, Item, paragraph, rich, shared_out, stacked
from regenplant.documents.page import (
    A3_WIDE,
    A4_WIDE,
    LETTER_WIDE,
    Frame,
    Furniture,
    PageSize,
    Part,
    printed_parts,
)
from regenplant.documents.parts import Column, cell, marked
from regenplant.documents.pen import Pen
from regenplant.documents.scene_on_paper import Margins, area_block, scene_block
from regenplant.documents.texts import grouped, headed, moment
from regenplant.planning.models import DayPlan

KIND = "day_plan"
SIZES = (A4_WIDE, A3_WIDE, LETTER_WIDE)
_LAID_OUT = {A3_WIDE: A4_WIDE}
"""The sheet that another is an enlargement of."""
_TITLE = Style(Face.BOLD, 22, 26)
_CLOCK = Style(Face.BOLD, 13, 15)
_HOLD = Style(Face.BOOK_ITALIC, 7.5, 9.5, INK_2)
_CODE_SIDE = 40.0
_ROW_PAD = 2.0
_MARGINS = Margins(left=44.0, right=6.0, top=13.0, bottom=3.0)
_GAP = 6.0
_LEAST_PX, _MOST_PX = 0.3, 0.38
"""Points for one pixel of the drawing [pt/px]: its text stays, its lanes grow lower."""
_KEY = (
    ("bar-plan", "planned"),
    ("bar-run", "running"),
    ("inkf", "load, unload: hands"),
    ("bar-done", "chemical"),
    ("hollow", "check, technician there"),
    ("bar-clean", "clean-down"),
    ("bar-wait", "the bed stands"),
    ("bar-lock", "locked out, or over a limit"),
    ("band", "no operator works"),
)


@dataclass(frozen=True, slots=True)
class _Setting:
    content: DayPlanContent
    width: float
    height: float
    system: str
    day: date

    def clock(self, at: datetime) -> str:
        """ "06:40", of another day "Sat 06:40"."""
        local = self.content.local(at)
        return f"{local:%H:%M}" if local.date() == self.day else f"{local:%a %H:%M}"

    def mass(self, grams: int) -> str:
        return units.twin(grams / 1000, "mass", self.system)


def draw_day_plan(content: DayPlanContent, size: PageSize, system: str) -> bytes:
    """The paper as PDF."""
    laid_out = _LAID_OUT.get(size, size)
    frame = Frame(laid_out, enlarged=size.width / laid_out.width)
    parts = [
        Part(f"{day:%a %Y-%m-%d}", shared_out(items, frame.height))
        for day, items in _by_day(content, frame, system)
    ]
    if not parts:
        setting = _Setting(
            content, frame.width, frame.height, system, content.local(content.planned_from).date()
        )
        parts = [Part("", shared_out(_nothing_planned(setting), frame.height))]
    return printed_parts(parts, frame, _furniture(content))


def _by_day(content: DayPlanContent, frame: Frame, system: str) -> Iterator[tuple[date, list[Item]]]:
    """Each day with what stands on its pages. Empty days are told on those of the day before them; one that comes first has its own."""
    days = content.days
    for at, one in enumerate(days):
        if at and not one.scenes:
            continue
        setting = _Setting(content, frame.width, frame.height, system, one.day)
        items = _day(setting, one)
        empty = [other.day for other in takewhile(lambda other: not other.scenes, days[at + 1 :])]
        if empty:
            named = ", ".join(f"{day:%a %Y-%m-%d}" for day in empty)
            words = f"{named}: nothing stands in a vessel, and nothing is to be begun."
            items.append(Item(paragraph(words, STRONG, frame.width), gap=8, margin=margin_word("Then")))
        if not any(other.scenes for other in days[at + 1 :]):
            items += _missing(setting)
        yield one.day, items


def _nothing_planned(setting: _Setting) -> list[Item]:
    words = "No batch stands in this plan: nothing is to be begun by it."
    return [*_head(setting, f"{setting.day:%a %Y-%m-%d}", words), *_missing(setting)]


def _day(setting: _Setting, page: DayPage) -> list[Item]:
    items = _head(setting, f"{page.day:%a %Y-%m-%d}", _day_sentence(setting, page))
    if not page.scenes:
        return items
    items += _drawn(setting, page, setting.height - sum(one.block.height for one in items))
    items += care(page, setting.clock, setting.width)
    items += _list(
        setting, "Begins", "Batches to begin, by the clock", "by the clock", page.begins, (152.0, 90.0)
    )
    items += _list(setting, "Goes on", "Batches that go on from before, with what begins on this day", "from before", page.goes_on, (180.0, 90.0))  # fmt: skip
    return items


# --- head -------------------------------------------------------------------------------------------------------
def _head(setting: _Setting, title: str, sentence: str) -> list[Item]:
    content, width = setting.content, setting.width
    who, at = content.made
    made = f"Plan {content.number}{f' ({content.name})' if content.name else ''}, made by {who}, {moment(content.local(at))}"
    accepted = content.accepted
    if accepted is not None:
        made += f", accepted by {accepted[0]}, {moment(content.local(accepted[1]))}"
    if content.whole is not None:
        first, last = content.whole
        made += f". One day of it alone; the plan goes from {first:%a %Y-%m-%d} to {last:%a %Y-%m-%d}"
    valid = (
        f"Valid as of {content.issue.printed_at}. Every later print of this day, and every plan that is accepted after it, replaces this "
        "sheet: take it down then. A scan tells how a batch stands now; the batch sheet tells how it is run."
    )
    lines = [paragraph(title, _TITLE, width), paragraph(sentence, LEAD, width)]
    warned = _mark(content)
    if warned is not None:
        mark, words = warned
        lines.append(marked(mark, (Span(words, FIGURE),), width, side=12.0, leading=FIGURE.leading))
    lines.append(paragraph(f"{made}. {valid}", SMALL, width))
    return [Item(stacked(lines, 2), margin=margin_word("Day plan", "for the wall"))]


def _mark(content: DayPlanContent) -> tuple[str, str] | None:
    """What keeps people from working by the sheet: shape and words."""
    if content.replaced_by is not None:
        number, at = content.replaced_by
        return (
            "stop",
            f"REPLACED by {number}, accepted {moment(content.local(at))}. Do not work by this sheet.",
        )
    if content.accepted is not None:
        return None
    if content.state == DayPlan.State.SET_ASIDE:
        return "stop", "SET ASIDE. Do not work by this sheet."
    return "check", "DRAFT, not accepted. Nobody works by it; its batches have no codes yet that scan."


def _day_sentence(setting: _Setting, page: DayPage) -> str:
    if not page.scenes:
        return "Nothing stands in a vessel on this day, and nothing is to be begun."
    begins, goes_on = len(page.begins), len(page.goes_on)
    tanks = sum(len(one.tanks) for one in page.begins)
    first = (
        f"{begins} batch{'' if begins == 1 else 'es'} to begin, of {tanks} tank{'' if tanks == 1 else 's'}, the first at "
        f"{setting.clock(page.begins[0].start_at)}"
        if begins
        else "No batch is to be begun"
    )
    before = f"; {goes_on} go{'es' if goes_on == 1 else ''} on from before" if goes_on else ""
    empty = f" Empty all day: {', '.join(page.empty_vessels)}." if page.empty_vessels else ""
    return f"{first}{before}.{empty}"


# --- drawing ----------------------------------------------------------------------------------------------------
def _drawn(setting: _Setting, page: DayPage, room: float) -> list[Item]:
    """Lower where many vessels would not leave the drawing on the page of its day, whose head leaves ``room`` [pt]."""
    width, key = setting.width, _key(setting.width)
    items = [section("Vessels over the hours", width, margin_word("Vessels", "by the hour"))]
    taken = items[0].gap + items[0].block.height + _GAP + _MARGINS.top + _MARGINS.bottom + 3 + key.height
    px = max(_LEAST_PX, min(_MOST_PX, (room - taken) / page.scenes[0].height))
    items += [Item(scene_block(scene, width, _MARGINS, px), gap=_GAP, keep=True) for scene in page.scenes]
    return [*items, Item(key, gap=3)]


def _key(width: float) -> Block:
    """What each pattern means."""
    swatch, gap = 15.0, 4.0
    across = width / 5
    cells = [
        (column * across, row * 11.0, role, words)
        for row, line in enumerate((_KEY[:5], _KEY[5:]))
        for column, (role, words) in enumerate(line)
    ]

    def draw(pen: Pen, x: float, y: float) -> None:
        for left, top, role, words in cells:
            area_block(role, swatch, 7.0).draw(pen, x + left, y + top + 1)
            pen.text(x + left + swatch + gap, y + top + 7.4, words, SMALL)

    return Block(22.0, draw)


# --- list -------------------------------------------------------------------------------------------------------
def _list(
    setting: _Setting,
    word: str,
    title: str,
    note: str,
    lines: tuple[BatchLine, ...],
    widths: tuple[float, float],
) -> list[Item]:
    """``widths`` [pt]: of the columns of resin with its tanks, and of chemicals."""
    if not lines:
        return []
    columns = columns_of(
        setting.width,
        (
            ("Scan", _CODE_SIDE + 6), ("When, where", 78.0), ("What", widths[0]), ("By the clock", 0.0),
            ("Chemical, as 100 %", widths[1]), ("Ready", 88.0),
        ),
    )  # fmt: skip
    rows = [_row(setting, one, columns) for one in lines]
    return [section(title, setting.width, margin_word(word, note)), *table(columns, rows, pad=_ROW_PAD)]


def _row(setting: _Setting, one: BatchLine, columns: tuple[Column, ...]) -> tuple[Block, ...]:
    scan = (
        codes.qr(one.code, _CODE_SIDE)
        if one.is_scanned
        else paragraph("no code yet", SMALL, columns[0].width - 6)
    )
    first = one.stages[0].start_at if one.stages else one.start_at
    where = [
        cell(setting.clock(first), columns[1], _CLOCK),
        cell(one.vessel, columns[1], FIGURE),
        cell(one.code, columns[1], STRONG),
    ]
    if one.standing:
        where.append(cell(one.standing, columns[1], SMALL_STRONG))
    count = f"{len(one.tanks)} tank{'' if len(one.tanks) == 1 else 's'}"
    if one.volume_m3 is not None:
        count += f", {units.twin(one.volume_m3, 'resin_volume', setting.system)}"
    heads = [", ".join(filter(None, (one.what, count)))] if one.is_running else [one.what, count]
    what = [cell(words, columns[2], STRONG) for words in heads]
    what.append(rich(tuple(_tanks(setting, one)), columns[2].width - 6, leading=SMALL.leading))
    return (
        scan,
        stacked(where),
        stacked(what),
        rich(tuple(_stages(setting, one.stages)), columns[3].width - 6, leading=SMALL.leading),
        stacked(list(_chemicals(setting, one, columns[4]))),
        stacked(list(_ready(setting, one, columns[5]))),
    )


def _tanks(setting: _Setting, one: BatchLine) -> Iterator[Span]:
    """Serials in the order of the plan; behind one that is not here, in words, how it stands."""
    away = {item.serial: item for item in one.not_here}
    for number, serial in enumerate(one.tanks):
        comma = "" if number == len(one.tanks) - 1 else ","
        if serial not in away:
            yield Span(f"{serial}{comma} ", SMALL)
            continue
        yield Span(f"{serial} ", SMALL_STRONG)
        yield Span(f"({standing_words(away[serial], setting.clock)}){comma} ", _HOLD)


def _stages(setting: _Setting, stages: tuple[StageLine, ...]) -> Iterator[Span]:
    """Each with its clock time; what feeds a chemical in bold, where the bed may stand said behind it."""
    for number, stage in enumerate(stages):
        if number:
            yield Span(" ", SMALL)
        clock = setting.clock(stage.start_at).replace(" ", units.NO_BREAK_SPACE)
        yield Span(f"{clock}{units.NO_BREAK_SPACE}", SMALL_STRONG)
        yield Span(headed(stage.name), SMALL_STRONG if stage.fed else SMALL)
        if stage.stands_min:
            hours, minutes = divmod(stage.stands_min, 60)
            long = f"{hours} h" if not minutes else f"{stage.stands_min} min"
            yield Span(f" (hold {long})".replace("hold ", f"hold{units.NO_BREAK_SPACE}"), _HOLD)
        yield Span("." if number == len(stages) - 1 else ";", SMALL)


def _chemicals(setting: _Setting, one: BatchLine, column: Column) -> Iterator[Block]:
    if not one.grams:
        yield cell("none" if len(one.stages) > 1 and not one.is_running else "", column, SMALL)
    for name, grams in one.grams.items():
        yield cell(Chemical(name).label, column, SMALL)
        yield cell(setting.mass(grams), column, STRONG)


def _ready(setting: _Setting, one: BatchLine, column: Column) -> Iterator[Block]:
    yield cell(setting.clock(one.ready_at), column, FIGURE)
    if one.late:
        yield marked("check", (Span(f"{one.late} late", SMALL_STRONG),), column.width - 6, side=7.5, leading=SMALL.leading)  # fmt: skip
    if one.is_underfilled:
        yield marked("check", (Span("below the minimum fill", SMALL_STRONG),), column.width - 6, side=7.5, leading=SMALL.leading)  # fmt: skip
    if one.no_stops and one.stages[0].start_at == one.start_at:
        words = "last starts: see Care"
        yield marked("held", (Span(words, SMALL_STRONG),), column.width - 6, side=7.5, leading=SMALL.leading)


def _missing(setting: _Setting) -> list[Item]:
    """Tanks in no batch of the plan."""
    left = setting.content.left_out
    if not left:
        return []
    words = f"In no batch of this plan, the plan’s page says why: {', '.join(left)}."
    return [Item(paragraph(words, BODY, setting.width), gap=8, margin=margin_word("Not", "planned"))]


def _furniture(content: DayPlanContent) -> Furniture:
    issue, warned = content.issue, _mark(content)
    word = f", {warned[1].partition(',')[0].partition('.')[0].partition(' by ')[0]}" if warned else ""
    return Furniture(
        plant=content.plant,
        paper=f"Day plan{word}",
        number=content.number,
        foot=(
            f"Day plan {content.number}{word}, printed {issue.printed_at} by {issue.printed_by}, issue {issue.number}",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            "Replaced by every later print of the same day and by every plan that is accepted after it.",
        ),
        title=f"Day plan {content.number}, issue {issue.number}",
    )


__all__ = ["KIND", "SIZES", "draw_day_plan"]
