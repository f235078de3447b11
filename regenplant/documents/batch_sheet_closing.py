"""After the steps: QC, what came out, deviations, and the signatures."""

from __future__ import annotations

from regenplant import units
from regenplant.documents import batch_sheet_qc
from regenplant.documents.batch_sheet_head import matter_word
from regenplant.documents.batch_sheet_setting import Setting, margin_word, section
from regenplant.documents.faces import BODY, NOTE, STRONG
from regenplant.documents.flow import Item, beside, nothing, paragraph
from regenplant.documents.parts import (
    Column,
    cell,
    choices,
    labelled_blank,
    signature,
    table_head,
    table_row,
    two_lines,
)
from regenplant.documents.texts import grouped


def items(setting: Setting) -> list[Item]:
    return [*batch_sheet_qc.items(setting), *_came_out(setting), *_deviations(setting), *_sign_off(setting)]


def _came_out(setting: Setting) -> list[Item]:
    """Yield, waste and labels: what goes in must come out somewhere."""
    third = (setting.width - 20) / 3
    matter = matter_word(setting.content)
    resin = units.unit_text("resin_volume", setting.system)
    waste = units.unit_text("liquid_volume", setting.system)
    rows = (
        ((f"Of {len(setting.content.tanks)} tanks, filled", ""), ("Set aside", ""), ("Scrapped", "")),
        ((f"{matter} filled", resin), (f"{matter} left over", resin), (f"{matter} lost", resin)),
        (("Waste to the tank", waste), ("pH at discharge", ""), ("Read at", "h:min")),
        (("Labels printed", ""), ("Labels used", ""), ("Labels destroyed", "")),
    )
    found = [section("What came out", setting.width, margin_word("After"))]
    for row in rows:
        blanks = [labelled_blank(words, third, unit=unit, height=24, style=BODY) for words, unit in row]
        line = beside([(index * (third + 10), made) for index, made in enumerate(blanks)])
        found.append(Item(line, keep=row is not rows[-1]))
    return found


def _deviations(setting: Setting) -> list[Item]:
    columns = (
        Column("Step", 40.0),
        Column("What was otherwise than planned", setting.width - 40.0 - 160.0 - 50.0),
        Column("Decided by a supervisor", 160.0),
        Column("Initials", 50.0),
    )
    blank_row = table_row(tuple(nothing(0) for _ in columns), columns, least=26.0)
    known = [
        table_row(
            (
                cell(deviation.step, columns[0]),
                two_lines(f"{deviation.number}, in the record", deviation.what, columns[1]),
                cell(deviation.decision or "open", columns[2], BODY if deviation.decision else STRONG),
                nothing(0),
            ),
            columns,
        )
        for deviation in setting.content.deviations
    ]
    found = [
        section("Deviations and holds", setting.width, margin_word("Deviations", "or none")),
        Item(table_head(columns), keep=True, gap=2),
    ]
    found += [Item(row, keep=index == 0) for index, row in enumerate(known)]
    found += [Item(blank_row, keep=True) for _ in range(3)]
    words = "No more than these." if known else "None: nothing was otherwise than planned."
    return [*found, Item(choices((words,), 24))]


SIGNATURES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("Performed", "I carried out the steps that bear my initials, as written here.", ()),
    (
        "Checked",
        "I looked through every page; what is missing or outside its limit is listed above. I did not perform these steps.",
        (),
    ),
    ("QC decision", "I judged the measurements against the specification named above.", ("pass", "fail")),
    (
        "Released",
        "I neither performed a step nor recorded a reading of this batch. No deviation is open. The tanks may go out.",
        ("released", "not released"),
    ),
)
"""Title, what the signature means, and the verdict to tick."""


def _sign_off(setting: Setting) -> list[Item]:
    half = (setting.width - 10) / 2
    frames = [signature(title, meaning, half, options=options) for title, meaning, options in SIGNATURES]
    words = (
        f"Signed is what this sheet says, with plan {grouped(setting.content.plan_digest)}. It is ink on paper; the batch is "
        "released when the system says so."
    )
    return [
        section(f"Sign-off of {setting.content.batch_number}", setting.width, margin_word("Sign-off")),
        Item(paragraph(words, NOTE, setting.width), keep=True),
        Item(beside([(0, frames[0]), (half + 10, frames[1])]), keep=True, gap=5),
        Item(beside([(0, frames[2]), (half + 10, frames[3])]), gap=8),
    ]
