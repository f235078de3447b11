"""The end of a batch record: chemical drawn, instruments, signatures, papers, and every act in order."""

from __future__ import annotations

from regenplant.documents.batch_record.content import RecordAct, RecordDraw, RecordSignature
from regenplant.documents.batch_record.setting import QUIET, Setting, columns_of, table
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, FIGURE, INK, LABEL, SMALL, SMALL_STRONG, STRONG, Span
from regenplant.documents.flow import Block, Item, beside, paragraph, rich, stacked
from regenplant.documents.parts import Column, cell, marked
from regenplant.documents.pen import Pen
from regenplant.documents.texts import both, grouped, headed, own


def items(setting: Setting) -> list[Item]:
    return [
        *_chemicals(setting),
        *_instruments(setting),
        *_signatures(setting),
        *_papers(setting),
        *_forms(setting),
        *_acts(setting),
    ]


# --- chemical ---------------------------------------------------------------------------------------------------
def _chemicals(setting: Setting) -> list[Item]:
    content, width, system = setting.content, setting.width, setting.system
    found = [section("Chemical drawn", width, margin_word("Chemical", "as 100 %"))]
    for name, planned in content.planned_kg_100:
        drawn = sum(draw.kg_100 for draw in content.draws if draw.chemical == name)
        words = f"{headed(name)}: planned {both(planned, 'mass', system)}, drawn {both(drawn, 'mass', system)}, as 100 %."  # fmt: skip
        found.append(Item(paragraph(words, BODY, width), keep=True, gap=1))
    for one in content.strengths:
        head = f"{headed(one.chemical)}: the dose was worked out with {own(one.strength_frac, 'strength', '', system)}, {one.stock}."
        found.append(Item(paragraph(head, BODY, width), keep=True, gap=3))
        found.extend(Item(paragraph(sentence, QUIET, width), gap=1) for sentence in one.origin)
    if not content.draws:
        return [*found, Item(paragraph("No movement of chemical is on record for this batch.", BODY, width), gap=2)]  # fmt: skip
    columns = columns_of(
        width,
        (
            ("No.", 30.0),
            ("Chemical, lot", 0.0),
            ("Dose with", 52.0),
            ("Certificate", 52.0),
            ("Mass", 54.0),
            ("When, by whom", 148.0),
        ),
        at_right=("Dose with", "Certificate", "Mass"),
    )
    return [*found, *table(columns, [_draw(draw, columns, system) for draw in content.draws])]


def _draw(draw: RecordDraw, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    lot = f"lot {draw.lot}" + (f", supplier's {draw.supplier_lot}" if draw.supplier_lot else "")
    name = [cell(headed(draw.chemical), columns[1], STRONG), cell(lot, columns[1], SMALL)]
    if draw.words:
        name.append(cell(draw.words, columns[1], QUIET))
    checked, stated = draw.checked_strength_frac, draw.certificate_strength_frac
    return (
        cell(str(draw.number), columns[0], SMALL),
        stacked(name),
        cell(
            own(checked, "strength", "", system) if checked is not None else "not planned",
            columns[2],
            SMALL,
        ),
        cell(own(stated, "strength", "", system) if stated is not None else "none", columns[3], SMALL),
        cell(own(draw.kg_100, "mass", "", system), columns[4], STRONG),
        cell(f"{draw.at} · {draw.by}", columns[5], SMALL),
    )


# --- instruments ------------------------------------------------------------------------------------------------
def _instruments(setting: Setting) -> list[Item]:
    width = setting.width
    found = [section("Instruments", width, margin_word("Measured with"))]
    if not setting.content.instruments:
        return [*found, Item(paragraph("No value was read from an instrument on record.", BODY, width), gap=2)]  # fmt: skip
    columns = columns_of(width, (("Code", 70.0), ("Name", 0.0), ("Calibrated", 80.0), ("Due", 80.0)))
    rows = [
        (
            cell(one.code, columns[0], STRONG),
            cell(one.name, columns[1], SMALL),
            cell(one.calibrated or "not on record", columns[2], SMALL),
            cell(one.due or "not on record", columns[3], SMALL),
        )
        for one in setting.content.instruments
    ]
    return [*found, *table(columns, rows, pad=1.5)]


# --- signatures -------------------------------------------------------------------------------------------------
def _signatures(setting: Setting) -> list[Item]:
    width = setting.width
    found = [section("Signatures", width, margin_word("Signed"))]
    if not setting.content.signatures:
        spans = (Span("Not yet. ", STRONG), Span("Nothing of this batch is signed.", BODY))
        return [*found, Item(marked("waiting", spans, width), gap=2)]
    half = (width - 10) / 2
    frames = [_signature(one, half) for one in setting.content.signatures]
    for start in range(0, len(frames), 2):
        pair = [(index * (half + 10), frame) for index, frame in enumerate(frames[start : start + 2])]
        found.append(Item(beside(pair), gap=4))
    return found


def _signature(one: RecordSignature, width: float) -> Block:
    """Printed name as at signing, meaning, local time with offset and UTC, and the digest over what was signed."""
    inner = width - 14
    roles = f" ({one.roles})" if one.roles else ""
    terminal = f" at {one.terminal}" if one.terminal else ""
    lines = stacked([
        paragraph(one.meaning, STRONG, inner),
        rich((Span(one.printed_name, FIGURE), Span(roles, SMALL)), inner, leading=FIGURE.leading),
        paragraph(f"{one.local} local, {one.utc}{terminal}", SMALL, inner),
        paragraph(f"Signed record: {one.record}", SMALL, inner),
        paragraph(f"Digest {grouped(one.digest, groups=16)}", LABEL, inner),
    ], 1)  # fmt: skip

    def draw(pen: Pen, x: float, y: float) -> None:
        pen.box(x, y, width - 1, lines.height + 11, stroke=INK, weight=0.9)
        lines.draw(pen, x + 7, y + 5.5)

    return Block(lines.height + 11, draw)


# --- papers -----------------------------------------------------------------------------------------------------
def _papers(setting: Setting) -> list[Item]:
    content, width = setting.content, setting.width
    found = [section("Papers printed", width, margin_word("Papers"))]
    this = f"This print is issue {content.issue.number} of the batch record; its own digest stands in the system."
    found.append(Item(paragraph(this, SMALL, width), keep=bool(content.papers), gap=1))
    if not content.papers:
        return found
    columns = columns_of(
        width, (("Paper", 70.0), ("Of", 56.0), ("Issue", 30.0), ("When, by whom", 148.0), ("SHA-256", 0.0))
    )
    rows = [
        (
            cell(headed(one.name), columns[0], SMALL),
            cell(one.subject, columns[1], SMALL),
            cell(str(one.issue), columns[2], SMALL),
            cell(f"{one.at} · {one.by}", columns[3], SMALL),
            cell(grouped(one.sha256, groups=6), columns[4], LABEL),
        )
        for one in content.papers
    ]
    return [*found, *table(columns, rows, pad=1.5)]


# --- paper forms ------------------------------------------------------------------------------------------------
def _forms(setting: Setting) -> list[Item]:
    """Only where there are any: most batches never met paper."""
    forms, width = setting.content.forms, setting.width
    if not forms:
        return []
    columns = columns_of(
        width,
        (("Form", 62.0), ("What", 74.0), ("Issued", 130.0), ("Scans", 30.0), ("What became of it", 0.0)),
    )
    rows = [
        (
            cell(one.number, columns[0], SMALL),
            cell(headed(one.kind), columns[1], SMALL),
            cell(one.issued, columns[2], SMALL),
            cell(str(one.scans), columns[3], SMALL),
            cell(one.became, columns[4], SMALL),
        )
        for one in forms
    ]
    return [section("Paper forms", width, margin_word("Paper")), *table(columns, rows, pad=1.5)]


# --- acts -------------------------------------------------------------------------------------------------------
def _acts(setting: Setting) -> list[Item]:
    content, width = setting.content, setting.width
    columns = columns_of(
        width,
        (("Act", 30.0), ("When", 108.0), ("Who, role", 74.0), ("Terminal", 56.0), ("What was done", 0.0)),
    )
    rows = [_act(act, columns) for act in content.acts]
    title = f"Every act: {len(content.acts)}"
    return [section(title, width, margin_word("Acts", "as recorded")), *table(columns, rows, pad=1.2)]


def _act(act: RecordAct, columns: tuple[Column, ...]) -> tuple[Block, ...]:
    when = [cell(act.at, columns[1], SMALL)]
    if act.happened:
        when.append(cell(f"for {act.happened}", columns[1], QUIET))
    what: list[Block] = [cell(act.sentence, columns[4], SMALL)]
    if act.reason:
        spans = (Span("Reason: ", SMALL_STRONG), Span(act.reason, SMALL))
        what.append(rich(spans, columns[4].width - 6, leading=SMALL.leading))
    return (
        cell(str(act.number), columns[0], SMALL),
        stacked(when),
        stacked([cell(act.who, columns[2], SMALL), cell(act.roles, columns[2], QUIET)]),
        cell(act.terminal, columns[3], SMALL),
        stacked(what),
    )
