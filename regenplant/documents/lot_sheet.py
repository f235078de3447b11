"""The sheet of a resin lot: what it is, of which deliveries it consists, where it stands, its line as a picture, what was moved.

Drawn from its content only. The same content gives the same bytes, so that the stored hash proves a reprint.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from regenplant import units
from regenplant.core.errors import RecordRefused
from regenplant.core.process.resin_lots import forms_with_volume, mean_cycles
from regenplant.core.process.vocabulary import IonicForm
from regenplant.documents.batch_record.setting import columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, LEAD, SMALL, STRONG, Face, Style
from regenplant.documents.flow import Block, Item, paragraph, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import Column, cell
from regenplant.documents.scene_on_paper import Margins, scene_block
from regenplant.documents.texts import grouped
from regenplant.drawing.scene import Scene
from regenplant.plant.selectors import profile
from regenplant.resins import elsewhere
from regenplant.resins.bodies import AgedPart, family_of, in_form_m3, mean_age_days, parts_of, stored_m3
from regenplant.resins.capacities import factors_of
from regenplant.resins.elsewhere import Standing
from regenplant.resins.line import line_scene
from regenplant.resins.models import LotMovement, ResinLot
from regenplant.resins.selectors import ancestry

KIND = "resin_lot"
SIZES = (A4, LETTER)
MOST_ROWS = 40
"""Movements printed, newest first, and places named; what is left out is said."""
_TITLE = Style(Face.BOLD, 22, 26)


@dataclass(frozen=True, slots=True)
class LotSheetContent:
    """What the sheet says: the lot as it stands when it is printed, in the plant's zone, and its issue."""

    plant: str
    zone: str
    at: datetime
    lot: ResinLot
    factor: float
    parts: tuple[AgedPart, ...]
    stored_m3: float
    standing: tuple[Standing, ...]
    moves: tuple[LotMovement, ...]
    moves_left_out: int
    scene: Scene | None
    issue: Issue


def lot_of(code: str) -> ResinLot:
    """The lot of a sheet. Raises: RecordRefused for one that is not known."""
    lot = ResinLot.objects.select_related("resin_type").filter(code__iexact=code.strip()).first()
    if lot is None:
        raise RecordRefused(f"There is no resin lot {code[:24]} here.", code="unknown_lot")
    return lot


def lot_sheet_content(code: str, issue: Issue) -> LotSheetContent:
    """The lot as it stands. Raises: RecordRefused."""
    lot, plant = lot_of(code), profile()
    moves = lot.movements.select_related("other_lot", "moved_by").order_by("-moved_at", "-pk")
    return LotSheetContent(
        plant=plant.name,
        zone=plant.time_zone,
        at=datetime.fromisoformat(issue.printed_at),
        lot=lot,
        factor=factors_of([lot])[lot.pk],
        parts=parts_of(lot),
        stored_m3=stored_m3(lot),
        standing=elsewhere.found([lot.pk]),
        moves=tuple(moves[:MOST_ROWS]),
        moves_left_out=max(0, moves.count() - MOST_ROWS),
        scene=line_scene(ancestry(lot)),
        issue=issue,
    )


def draw_lot_sheet(content: LotSheetContent, size: PageSize, system: str) -> bytes:
    """The sheet as PDF."""
    frame = Frame(size)
    setting = _Setting(content, frame.width, system)
    items = [*_head(setting), *_parts(setting), *_places(setting), *_line(setting), *_moves(setting)]
    return printed(items, frame, _furniture(content))


@dataclass(frozen=True, slots=True)
class _Setting:
    content: LotSheetContent
    width: float
    system: str

    def day(self, moment: datetime | None) -> str:
        return f"{moment.astimezone(ZoneInfo(self.content.zone)):%Y-%m-%d}" if moment else "not known"

    def at(self, moment: datetime) -> str:
        return f"{moment.astimezone(ZoneInfo(self.content.zone)):%Y-%m-%d %H:%M}"

    def volume(self, volume_m3: float) -> str:
        return units.twin(volume_m3, "resin_volume", self.system)


def _head(setting: _Setting) -> list[Item]:
    content, width = setting.content, setting.width
    lot = content.lot
    age, is_least = mean_age_days(content.parts, content.at)
    owner = f", dedicated to {lot.dedicated_to}" if lot.dedicated_to else ""
    volume = setting.volume(lot.volume_m3).replace(" ", units.NO_BREAK_SPACE)
    made = f"{volume} in {IonicForm(lot.volume_form).label}"
    cycles = mean_cycles(one.part for one in content.parts)
    least = "at least " if is_least else ""
    words = (
        f"{lot.resin_type.code}, {lot.resin_type.description}. Class {lot.segregation_class}{owner}. {made}, {lot.origin}, "
        f"{setting.day(lot.made_at)}."
    )
    more = (
        f"By volume {least}{_age(age)} old with {cycles:.1f} regenerations behind it; capacity left, of new: "
        f"{units.twin(content.factor, 'fraction', setting.system)}."
    )
    notes = []
    if lot.is_scrapped:
        notes.append("Scrapped; it never comes back.")
    if lot.needs_conditioning:
        notes.append("New resin that waits for conditioning: nothing is mixed or topped up with it.")
    lines = [paragraph(f"Resin lot {lot.code}", _TITLE, width), paragraph(words, LEAD, width), paragraph(more, BODY, width)]  # fmt: skip
    lines += [paragraph(note, STRONG, width) for note in notes]
    return [Item(stacked(lines, 2), margin=margin_word("Lot", "as it stands"))]


def _age(days: float) -> str:
    """ "12 days", "3.4 years"."""
    return f"{days:.0f} days" if days < 365.25 else f"{days / 365.25:.1f} years"


def _parts(setting: _Setting) -> list[Item]:
    width = setting.width
    columns = columns_of(
        width, (("Delivery", 0.0), ("Share", 60.0), ("Since", 120.0), ("Regenerations", 110.0))
    )
    rows = []
    for one in setting.content.parts:
        part = one.part
        name = part.origin or "parts under 0.05 % each"
        words = "" if part.is_recorded else "origin not recorded, met first in this lot"
        spread = (
            "" if part.cycles_least == part.cycles_most else f" ({part.cycles_least} to {part.cycles_most})"
        )
        rows.append(
            (
                stacked([cell(name, columns[0], STRONG), *([cell(words, columns[0], SMALL)] if words else [])]),
                cell(f"{100 * part.share_frac:.1f} %", columns[1], BODY),
                cell(f"{'before ' if one.is_at_least and one.since else ''}{setting.day(one.since)}", columns[2], SMALL),
                cell(f"{part.cycles_mean:.1f}{spread}", columns[3], SMALL),
            )
        )  # fmt: skip
    title = section("Deliveries in it, by volume", width, margin_word("Made of", "deliveries"))
    return [title, *table(columns, rows, pad=1.5)]


def _places(setting: _Setting) -> list[Item]:
    content, width = setting.content, setting.width
    lot = content.lot
    forms = forms_with_volume(family_of(lot.resin_type))
    heads = [("Where", 0.0), *((form.label, 130.0) for form in forms)]
    columns = columns_of(width, tuple(heads))
    found: list[tuple[str, float]] = [("In the store", content.stored_m3)] if content.stored_m3 else []
    order = sorted(content.standing, key=lambda one: (one.kind, not one.is_in_plant, one.code))
    found += [(f"{one.code}, {one.where}", one.exhausted_m3) for one in order[:MOST_ROWS]]
    rest = order[MOST_ROWS:]
    if rest:
        found.append((f"{len(rest)} more", sum(one.exhausted_m3 for one in rest)))
    title = section("Where it stands", width, margin_word("Where", "it is now"))
    if not found:
        return [
            title,
            Item(
                paragraph("Nothing of it stands in the store, in a tank or in a vessel.", BODY, width), gap=2
            ),
        ]
    rows = [
        (
            cell(where, columns[0], STRONG),
            *(
                cell(setting.volume(in_form_m3(lot.resin_type, volume, form.value)), columns[1 + number], SMALL)
                for number, form in enumerate(forms)
            ),
        )
        for where, volume in found
    ]  # fmt: skip
    return [title, *table(columns, rows, pad=1.5)]


def _line(setting: _Setting) -> list[Item]:
    scene, width = setting.content.scene, setting.width
    title = section("Line of the lot; the bar is the share", width, margin_word("Line", "both ways"))
    if scene is None:
        words = "No older lot is recorded, and none was made from it yet."
        return [title, Item(paragraph(words, BODY, width), gap=2)]
    return [title, Item(scene_block(scene, width, Margins(0.0, 0.0, 6.0, 4.0)), gap=2)]


def _moves(setting: _Setting) -> list[Item]:
    content, width = setting.content, setting.width
    if not content.moves:
        return []
    columns = columns_of(width, (("When", 88.0), ("What", 0.0), ("Exhausted form", 110.0), ("By", 90.0)))
    rows = [
        (
            cell(setting.at(move.moved_at), columns[0], SMALL),
            stacked(list(_what(move, columns[1], setting))),
            cell(f"{'+' if move.exhausted_m3 > 0 else '−' if move.exhausted_m3 < 0 else ''}{setting.volume(abs(move.exhausted_m3))}", columns[2], SMALL),
            cell(move.moved_by.full_name, columns[3], SMALL),
        )
        for move in content.moves
    ]  # fmt: skip
    more = f"; {content.moves_left_out} older are not printed" if content.moves_left_out else ""
    title = section(f"Movements in the store, newest first{more}", width, margin_word("Store", "of resin"))
    return [title, *table(columns, rows, pad=1.5)]


def _what(move: LotMovement, column: Column, setting: _Setting) -> Iterable[Block]:
    other = move.other_lot.code if move.other_lot else move.reference
    name = move.get_kind_display()
    yield cell(f"{name[:1].upper()}{name[1:]}{f', {other}' if other else ''}", column, STRONG)
    counted = f"counted {setting.volume(move.volume_m3)} in {IonicForm(move.volume_form).label}"
    yield cell(f"{counted}. {move.reason}" if move.reason else counted, column, SMALL)


def _furniture(content: LotSheetContent) -> Furniture:
    issue, lot = content.issue, content.lot
    return Furniture(
        plant=content.plant,
        paper="Resin lot",
        number=lot.code[:20],
        foot=(
            f"Resin lot {lot.code}, as it stood when printed",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Issue {issue.number}, printed {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Resin lot {lot.code}, issue {issue.number}",
    )
