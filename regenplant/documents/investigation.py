"""The investigation as a paper: what was looked for, the tanks to call back, what was used, and every batch that shared it.

Drawn from its content only. The same content gives the same bytes, so that the stored hash proves a reprint.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState, label
from regenplant.documents.batch_record.setting import columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, INK, LEAD, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, paragraph, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import Column, cell, marked
from regenplant.documents.texts import grouped
from regenplant.plant.selectors import profile
from regenplant.quality.investigation import Investigation, Recalled, Related, investigate, origin_of
from regenplant.quality.things import Thing

SIZES = (A4, LETTER)
LONGEST_KEY = 64
"""What an issued paper keeps of its subject."""
_TITLE = Style(Face.BOLD, 22, 26)


@dataclass(frozen=True, slots=True)
class InvestigationContent:
    """What the paper says: the investigation, in the plant's zone, and its issue."""

    plant: str
    zone: str
    found: Investigation
    issue: Issue


def key_parts(key: str) -> tuple[str, str, int]:
    """Kind, code and days of "batch:B-10032:14". Raises: RecordRefused."""
    kind, _, rest = key.partition(":")
    code, _, days = rest.rpartition(":")
    if not days.isascii() or not days.isdigit() or len(days) > 4:
        raise RecordRefused("An investigation is named by what it is about and its days.", code="unknown")
    return kind, code, int(days)


def subject_of(key: str) -> tuple[str, str]:
    """The key as it is stored, and how it reads. Raises: RecordRefused for what is not known."""
    kind, code, days = key_parts(key)
    origin = origin_of(kind, code)
    stored = f"{origin.kind}:{origin.code}:{days}"
    if len(stored) > LONGEST_KEY:
        raise RecordRefused(f"{origin.label[:40]} is named too long for a paper.", code="too_long")
    return stored, f"Investigation of {origin.label}, {days} days"


def related_of(key: str) -> tuple[tuple[str, str], ...]:
    """The batch an investigation is about, so that it stands in its story too."""
    kind, code, _ = key_parts(key)
    return (("batch", code),) if kind == "batch" else ()


def investigation_content(key: str, issue: Issue) -> InvestigationContent:
    """The investigation as it stands when it is printed. Raises: RecordRefused."""
    kind, code, days = key_parts(key)
    plant = profile()
    found = investigate(kind, code, now=datetime.fromisoformat(issue.printed_at), days=days)
    return InvestigationContent(plant.name, plant.time_zone, found, issue)


def draw_investigation(content: InvestigationContent, size: PageSize) -> bytes:
    """The paper as PDF."""
    frame = Frame(size)
    setting = _Setting(content, frame.width)
    items = [*_head(setting), *_recall(setting), *_used(setting), *_batches(setting)]
    return printed(items, frame, _furniture(content))


@dataclass(frozen=True, slots=True)
class _Setting:
    content: InvestigationContent
    width: float

    def at(self, moment: datetime | None) -> str:
        return f"{moment.astimezone(ZoneInfo(self.content.zone)):%Y-%m-%d %H:%M}" if moment else ""


def _head(setting: _Setting) -> list[Item]:
    found, width = setting.content.found, setting.width
    name = f"{found.origin.label[:1].upper()}{found.origin.label[1:]}"
    away = len(found.shipped)
    words = (
        f"{len(found.related)} of {found.looked_at} batches started from {setting.at(found.since)} to {setting.at(found.until)} "
        f"({found.days} days) share something with it. {len(found.recall)} tanks were filled from the pool; {away} left the plant."
    )
    lines = [paragraph(name, _TITLE, width), paragraph(words, LEAD, width)]
    batch = found.origin.batch
    if batch is not None:
        lines.append(
            paragraph(
                f"State: {label(BatchState(batch.state))}. Vessel {batch.vessel.code}, class {batch.segregation_class}, recipe version "
                f"{batch.recipe_version.number}.",
                BODY,
                width,
            )
        )
    return [Item(stacked(lines, 2), margin=margin_word("About", "and recall"))]


def _recall(setting: _Setting) -> list[Item]:
    found, width = setting.content.found, setting.width
    title = f"Tanks of the pool: {len(found.recall)}, of which {len(found.shipped)} left the plant"
    items = [section(title, width, margin_word("Call back", "by customer"))]
    if not found.recall:
        return [*items, Item(paragraph("No tank was filled from it.", BODY, width), gap=2)]
    items.append(
        Item(
            marked(
                "check",
                (
                    Span("Nobody is told by this paper. ", STRONG),
                    Span("Tick each customer when they were reached.", BODY),
                ),
                width,
            ),
            keep=True,
            gap=2,
        )
    )
    columns = columns_of(
        width,
        (
            ("Customer, site", 0.0),
            ("Tank", 58.0),
            ("Batch, lot", 84.0),
            ("Shipped", 88.0),
            ("Why", 100.0),
            ("Told", 34.0),
        ),
    )
    rows = sorted(
        found.recall, key=lambda tank: (tank.shipped_at is None, tank.customer, tank.site, tank.serial)
    )
    return [*items, *table(columns, [_tank(tank, columns, setting) for tank in rows], pad=2.0)]


def _tank(tank: Recalled, columns: tuple[Column, ...], setting: _Setting) -> tuple[Block, ...]:
    who = [cell(tank.customer, columns[0], STRONG)]
    if tank.site:
        who.append(cell(tank.site, columns[0], SMALL))
    return (
        stacked(who),
        cell(tank.serial, columns[1], STRONG),
        stacked([cell(tank.batch, columns[2], SMALL), cell(tank.lot, columns[2], SMALL)]),
        cell(setting.at(tank.shipped_at) or "still here", columns[3], SMALL),
        cell(tank.why, columns[4], SMALL),
        _box(),
    )


def _box() -> Block:
    return Block(12, lambda pen, x, y: pen.box(x + 4, y + 1, 10, 10, stroke=INK, weight=0.9))


def _used(setting: _Setting) -> list[Item]:
    found, width = setting.content.found, setting.width
    items = [section("What it used", width, margin_word("Used", "and shared"))]
    columns = columns_of(width, (("Kind", 90.0), ("Which", 0.0), ("Batches that shared it", 120.0)))
    rows = []
    for thing in Thing:
        codes = sorted(found.things.get(thing, ()))
        if codes:
            shared = sum(1 for row in found.related if any(one.thing is thing for one in row.shares))
            rows.append(
                (
                    cell(thing.label, columns[0], STRONG),
                    cell(", ".join(codes), columns[1], SMALL),
                    cell(str(shared), columns[2], SMALL),
                )
            )
    return [*items, *table(columns, rows, pad=1.5)]


def _batches(setting: _Setting) -> list[Item]:
    found, width = setting.content.found, setting.width
    items = [section(f"Other batches: {len(found.related)}", width, margin_word("Batches", "that shared it"))]
    if not found.related:
        return [
            *items,
            Item(paragraph("No other batch of the window shared anything with it.", BODY, width), gap=2),
        ]
    columns = columns_of(
        width,
        (("Batch", 58.0), ("State", 62.0), ("Started", 88.0), ("Shares", 0.0), ("Tanks, shipped", 72.0)),
    )
    return [*items, *table(columns, [_batch(row, columns, setting) for row in found.related], pad=1.5)]


def _batch(row: Related, columns: tuple[Column, ...], setting: _Setting) -> tuple[Block, ...]:
    shares = ", ".join(f"{one.thing.label} {one.code}" for one in row.shares)
    return (
        cell(row.batch.number, columns[0], STRONG),
        cell(label(BatchState(row.batch.state)), columns[1], SMALL),
        cell(setting.at(row.batch.started_at), columns[2], SMALL),
        cell(shares, columns[3], SMALL),
        cell(f"{row.tanks}, {row.shipped}", columns[4], SMALL),
    )


def _furniture(content: InvestigationContent) -> Furniture:
    issue, found = content.issue, content.found
    return Furniture(
        plant=content.plant,
        paper="Investigation",
        number=found.origin.code[:20],
        foot=(
            f"Investigation of {found.origin.label}, {found.days} days",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Issue {issue.number}, printed {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Investigation of {found.origin.label}, issue {issue.number}",
    )
