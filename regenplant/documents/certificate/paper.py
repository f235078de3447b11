"""The certificate of quality as PDF: which tanks, what was measured how, the rinse-down, who released it, and a code that scans back.

Drawn from its content only. The same content and issue give the same bytes, so that the stored hash proves a reprint.
"""

from __future__ import annotations

from collections.abc import Sequence

from regenplant import units
from regenplant.core.process.wording import listed
from regenplant.documents import codes
from regenplant.documents.batch_record.curve import drawing
from regenplant.documents.batch_record.setting import QUIET, columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.certificate.content import (
    CertificateContent,
    CertifiedBatch,
    CertifiedRinse,
    Measured,
)
from regenplant.documents.faces import BODY, LEAD, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, beside, paragraph, rich, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import Column, Named, cell, grid_rows, marked
from regenplant.documents.texts import grouped, headed, limit_words, own
from regenplant.drawing.rinse import Counts, RinseDown, RinseReading

SIZES = (A4, LETTER)
_TITLE = Style(Face.BOOK_BOLD, 20, 24)
_CHART_PX = 280
DIGEST_GROUPS = 8
"""Groups of four of the digest that the paper bears for people; the page shows all sixteen."""


def draw_certificate(
    content: CertificateContent, digest: str, issue: Issue, size: PageSize, system: str
) -> bytes:
    """The certificate as PDF. ``digest`` is of the content as it is stored; ``system`` says which units stand first."""
    frame = Frame(size)
    items = [*_head(content, digest, frame.width), *_tanks(content, frame.width, system)]
    for batch in content.batches:
        items += _batch(batch, frame.width, system)
    items += _rests_on(content, frame.width)
    return printed(items, frame, _furniture(content, digest, issue))


# --- head -------------------------------------------------------------------------------------------------------------
def _head(content: CertificateContent, digest: str, width: float) -> list[Item]:
    side = codes.qr_side(content.number)
    room = width - side - 8
    site = f", {content.site}" if content.site else ""
    count = len(content.tanks)
    tanks = "one tank" if count == 1 else f"{count} tanks"
    lead = f"For {tanks} of {content.customer}{site}, released by {content.plant}."
    lines = [
        paragraph("Certificate of quality", _TITLE, room),
        paragraph(content.number, Style(Face.BOLD, 15, 19), room),
        paragraph(lead, LEAD, room),
        paragraph(f"Issued {content.issued} by {content.issued_by}.", BODY, room),
    ]
    if content.replaces:
        lines.append(paragraph(f"Issued in place of {content.replaces}, which is void.", STRONG, room))
    digest_line = rich(
        (Span("Digest ", SMALL), Span(grouped(digest, DIGEST_GROUPS), STRONG)), room, leading=BODY.leading
    )
    scan = "Scan the code at the plant, or ask it for this number: the page says whether the certificate still holds."
    lines += [digest_line, paragraph(scan, QUIET, room)]
    code = beside([(0, stacked(lines, 2)), (width - side, codes.qr(content.number))])
    return [Item(code, margin=margin_word("Quality", "of what left"))]


# --- tanks ------------------------------------------------------------------------------------------------------------
def _tanks(content: CertificateContent, width: float, system: str) -> list[Item]:
    columns = columns_of(
        width,
        (
            ("Tank", 0.0),
            ("Round trip", 62.0),
            ("Size, in", 54.0),
            ("Resin", 58.0),
            ("Filled", 116.0),
            ("Batch", 62.0),
        ),
    )
    rows = [
        (
            cell(tank.serial, columns[0], STRONG),
            cell(tank.visit, columns[1], SMALL),
            cell(tank.size, columns[2], SMALL),
            cell(own(tank.resin_volume_m3, "resin_volume", "", system), columns[3], SMALL),
            cell(tank.filled, columns[4], SMALL),
            cell(tank.batch, columns[5], STRONG),
        )
        for tank in content.tanks
    ]
    return [section("Tanks", width, margin_word("Tanks")), *table(columns, rows)]


# --- one batch --------------------------------------------------------------------------------------------------------
def _batch(batch: CertifiedBatch, width: float, system: str) -> list[Item]:
    facts = [
        Named("Resin", batch.resin, batch.family),
        Named("Treatment", batch.treatment, f"lot {batch.lot}" if batch.lot else ""),
        Named("Specification", *_specification(batch)),
    ]
    items = [
        section(f"Batch {batch.number}", width, margin_word("Measured", "method, instrument")),
        *(Item(row, keep=True, gap=2) for row in grid_rows(facts, width, 3, value_style=STRONG)),
    ]
    if batch.grades:
        spans = (Span("Meets ", STRONG), Span(f"{'; '.join(batch.grades)}: every test of it was done.", BODY))
        items.append(Item(marked("done", spans, width), gap=2))
    items += _measured(batch.measured, width, system)
    if batch.rinse is not None:
        items += _rinse(batch.number, batch.rinse, width, system)
    signed = (
        Span("Released ", STRONG),
        Span(f"{batch.released}, signature {grouped(batch.release_digest)}. Judged {batch.judged}.", BODY),
    )
    items.append(Item(marked("released", signed, width), gap=5))
    return items


def _specification(batch: CertifiedBatch) -> tuple[str, str]:
    """What it was judged by, and its name; of several, all of them."""
    if not batch.strictest_of:
        return batch.specification, batch.specification_name
    return listed(one.specification for one in batch.strictest_of), "the strictest of each limit"


def _measured(measured: Sequence[Measured], width: float, system: str) -> list[Item]:
    columns = columns_of(
        width, (("Measured", 0.0), ("Found", 96.0), ("Limit", 92.0), ("Method, instrument", 172.0))
    )
    rows = [_row(one, columns, system) for one in measured]
    return table(columns, rows) if rows else [Item(paragraph("Nothing was measured.", BODY, width), gap=2)]


def _row(one: Measured, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    name = [cell(headed(one.name), columns[0], STRONG)]
    name += [cell(f"tank {one.tank_serial}", columns[0], SMALL)] if one.tank_serial else []
    name += [cell(one.basis, columns[0], QUIET)] if one.basis else []
    found = [cell(_value(one, system), columns[1], STRONG)]
    twin = units.other_system(one.value, one.kind, system) if one.kind in units.KINDS else ""
    found += [cell(twin, columns[1], QUIET)] if twin else []
    found.append(cell(f"as read: {one.as_typed}", columns[1], QUIET))
    limit = one.limit_words
    if not limit and one.kind in units.KINDS:
        limit = limit_words(one.low, one.high, one.kind, system)
    how = [cell(one.method, columns[3], SMALL)]
    if one.instrument:
        how.append(cell(f"{one.instrument}, {one.calibration}", columns[3], SMALL))
    how.append(cell(one.at, columns[3], QUIET))
    return stacked(name), stacked(found), cell(limit or "none", columns[2], SMALL), stacked(how)


def _value(one: Measured, system: str) -> str:
    if one.kind in units.KINDS:
        return units.format_quantity(one.value, one.kind, system)
    return one.as_typed


def _rinse(batch: str, rinse: CertifiedRinse, width: float, system: str) -> list[Item]:
    held = units.format_quantity(rinse.held_s, "duration", system)
    wanted = units.format_quantity(rinse.hold_s, "duration", system)
    words = (
        f"Rinse-down: {units.format_quantity(rinse.rinsed_bv, 'bed_volumes', system)}, limit held {held} by {rinse.held_readings} readings "
        f"in a row (asked for {wanted}). Batch {batch}."
    )
    if rinse.count > len(rinse.points):
        words += f" {rinse.count} readings; drawn are {len(rinse.points)}, of each stretch the lowest and the highest."
    drawn = RinseDown(
        title="Rinse-down",
        kind=rinse.kind,
        readings=tuple(
            RinseReading(p.elapsed_s, p.value, p.is_by_hand, p.rinsed_bv, Counts(p.counts), p.limit)
            for p in rinse.points
        ),
        limit=rinse.limit,
        is_at_least=rinse.is_at_least,
        hold_s=rinse.hold_s,
        held_from_s=rinse.held_from_s,
        basis=rinse.basis,
    )
    return [
        Item(paragraph(words, BODY, width), gap=5, keep=True),
        Item(drawing(drawn, width, system, _CHART_PX), gap=3),
    ]


# --- what it rests on -------------------------------------------------------------------------------------------------
def _rests_on(content: CertificateContent, width: float) -> list[Item]:
    specifications = dict.fromkeys(
        f"{one.specification}, digest {grouped(one.digest)}"
        for batch in content.batches
        for one in batch.judged_by
    )
    strictest = [batch.number for batch in content.batches if batch.strictest_of]
    each = f" Of {listed(strictest)} the strictest of each limit counted." if strictest else ""
    lines = [
        "Only what was measured stands here. A value that is not named was not measured for this certificate.",
        "An instrument out of calibration on the day of a reading proves nothing and is not used.",
        f"Judged against: {'; '.join(specifications)}.{each}",
        "A certificate is void once it is withdrawn, or once the record it rests on is amended. It holds for the resin as it left the plant.",
    ]
    return [
        section("What it rests on", width, margin_word("Rests on")),
        *(Item(paragraph(line, SMALL, width), gap=2, keep=line is not lines[-1]) for line in lines),
    ]


def _furniture(content: CertificateContent, digest: str, issue: Issue) -> Furniture:
    return Furniture(
        plant=content.plant,
        paper="Certificate of quality",
        number=content.number,
        foot=(
            f"Certificate {content.number} · digest {grouped(digest, DIGEST_GROUPS)}",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Print {issue.number}, {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"Certificate of quality {content.number}, print {issue.number}",
    )
