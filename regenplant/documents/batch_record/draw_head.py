"""First part of the batch record: which batch, where it stands, what it was made with, the digests, and the tanks."""

from __future__ import annotations

from regenplant.documents import codes
from regenplant.documents.batch_record.content import RecordTank, RecordTopUp
from regenplant.documents.batch_record.setting import (
    NOTHING_MARKS,
    QUIET,
    Setting,
    change_sign,
    columns_of,
    nothing_cell,
    table,
)
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, LEAD, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, beside, nothing, paragraph, stacked
from regenplant.documents.parts import Column, Named, cell, grid_rows, marked
from regenplant.documents.pen import MILLIMETRE
from regenplant.documents.texts import both, clock_time, headed, own
from regenplant.keeping.nothing import Nothing

_NUMBER = Style(Face.BOLD, 30, 34)
_DIGEST = Style(Face.TEXT, 7.2, 10)


def items(setting: Setting) -> list[Item]:
    return [*_title(setting), *_how_to_read(setting), *_digests(setting), *_tanks(setting)]


# --- which batch ------------------------------------------------------------------------------------------------
def _title(setting: Setting) -> list[Item]:
    content, width = setting.content, setting.width
    side = codes.qr_side(content.batch_number)
    room = width - side - 8
    bars = codes.code_128_width(content.batch_number)
    line = beside([
        (0, paragraph(content.batch_number, _NUMBER, room - bars)),
        (room - bars, codes.code_128(content.batch_number, 8 * MILLIMETRE, words=None)),
    ])  # fmt: skip
    words = stacked([line, nothing(2), paragraph(sentence(setting), LEAD, room)])
    head = beside([(0, words), (width - side, codes.qr(content.batch_number))])
    rows = grid_rows(_facts(setting), width, 4, value_style=STRONG, gap=4)
    found = [Item(head, keep=True, margin=margin_word("Batch", "complete history"))]
    return [*found, *(Item(row, gap=6 if index == 0 else 0) for index, row in enumerate(rows))]


def sentence(setting: Setting) -> str:
    """The batch in a few sentences."""
    content = setting.content
    count = len(content.tanks)
    volume = both(content.resin_volume_m3, "resin_volume", setting.system)
    words = (
        f"{content.family}, class {content.segregation_class}: {count} tank{'s' if count != 1 else ''}, {volume}, "
        f"{content.resin_form}, in vessel {content.vessel}. {content.state}"
    )
    if content.rework_of:
        words += f" Rework of {content.rework_of}: {content.rework_cause}"
    if content.children:
        words += f" Reworked as {', '.join(content.children)}."
    return words


def _facts(setting: Setting) -> list[Named]:
    content = setting.content
    return [
        Named("Resin", content.resin, content.resin_description),
        Named(
            "Class",
            content.segregation_class,
            f"dedicated to {content.dedicated_to}" if content.dedicated_to else "",
        ),
        Named("Recipe", content.recipe, content.recipe_name),
        Named("Specification", content.specification, content.specification_name),
        Named("Planned", content.planned, f"calculation {content.core_version}"),
        Named("Started", content.started or Nothing.NOT_YET.label),
        Named("Handed to QC", content.rinsed or Nothing.NOT_YET.label),
        Named("Ended", content.finished or Nothing.NOT_YET.label),
        Named("Resin lot in", content.lot_in or "none on record"),
        Named("Resin lot made", content.lot or "none", _parents(setting)),
        *(
            Named(f"Topped up with {one.lot}", both(one.added_m3, "resin_volume", setting.system), _topped(one, setting))
            for one in content.top_ups
        ),
        Named("Time in steps", *_time_in_steps(setting)),
        Named("Tanks", _yield(setting)),
        *(
            Named(headed(figure.name), own(figure.value, figure.kind, figure.unit, setting.system), "planned")
            for figure in content.waste
        ),
    ]  # fmt: skip


def _parents(setting: Setting) -> str:
    parts = [f"{own(share, 'fraction', '', setting.system)} {code}" for code, share in setting.content.lot_parents]  # fmt: skip
    return f"of {', '.join(parts)}" if parts else ""


def _topped(one: RecordTopUp, setting: Setting) -> str:
    bed, lost = (
        own(volume, "resin_volume", "m^3", setting.system) for volume in (one.bed_m3, max(0.0, one.lost_m3))
    )
    return f"exhausted form; bed then {bed}, {lost} lost before; {one.when}, {one.who}: {one.reason}"


def _time_in_steps(setting: Setting) -> tuple[str, str]:
    """Over all steps that ended; legs that ran side by side count both."""
    steps = setting.content.steps
    took = [step.took_s for step in steps if step.took_s is not None]
    legs = "; legs side by side count both" if any(step.leg for step in steps) else ""
    planned = f"planned {clock_time(sum(step.planned_s for step in steps))}{legs}"
    return (clock_time(sum(took)) if took else Nothing.NOT_YET.label), planned


def _yield(setting: Setting) -> str:
    """Tanks in, and what became of them: what goes in comes out somewhere."""
    tanks = setting.content.tanks
    filled = sum(tank.filled_m3 is not None for tank in tanks)
    aside = sum(bool(tank.set_aside) for tank in tanks)
    rest = len(tanks) - filled - aside
    return f"{len(tanks)} in = {filled} filled + {aside} set aside + {rest} not filled"


# --- how to read it ---------------------------------------------------------------------------------------------
def _how_to_read(setting: Setting) -> list[Item]:
    content, width = setting.content, setting.width
    count = len(content.changes)
    last = f" to {change_sign(count)}" if count > 1 else ""
    changed = (
        f"{count} value{'s were' if count != 1 else ' was'} changed after first entry: {change_sign(1)}{last}. The note below the "
        "table holds what stood there first, who changed it, when and why."
        if count
        else "No value was changed after its first entry."
    )
    lines: list[Block] = [
        marked("check" if count else "done", (Span(changed, BODY),), width),
        *_exceptions(setting),
        paragraph("Where nothing stands, a word says why:", SMALL, width),
        _legend(width),
        paragraph(
            f"Times are those of {content.zone} with their distance from UTC. Values stand as they were typed, below them in the "
            "units of this print. This is a print: the record in the system holds what was done.",
            SMALL,
            width,
        ),
    ]
    return [Item(stacked(lines, 2.5), gap=8, margin=margin_word("Read first"))]


def _exceptions(setting: Setting) -> list[Block]:
    """What was unusual, counted, so that a reader looks there first."""
    content, width = setting.content, setting.width
    entries = [entry for step in content.steps for entry in step.entries]
    outside = sum(entry.current is not None and entry.current.is_within is False for entry in entries)
    late = sum(entry.current is not None and entry.current.is_late for entry in entries)
    late += sum(reading.is_late for reading in content.rinse.readings)
    still_open = sum(not deviation.decided for deviation in content.deviations)
    counted = (
        (outside, "value outside its limit", "values outside their limits"),
        (late, "late entry", "late entries"),
        (sum(bool(step.skip_reason) for step in content.steps), "step skipped", "steps skipped"),
        (len(content.holds), "hold", "holds"),
        (len(content.deviations), f"deviation, {still_open} open", f"deviations, {still_open} open"),
    )
    found = [f"{number} {one if number == 1 else many}" for number, one, many in counted if number]
    words = (
        f"Unusual: {'; '.join(found)}."
        if found
        else "Nothing unusual: no value outside its limit, no late entry, no skipped step, no hold, no deviation."
    )
    lines = [marked("check" if found else "done", (Span(words, BODY),), width)]
    if not content.is_plan_untouched:
        words = "The frozen plan does not fit its digest: it was altered behind the record."
        lines.append(marked("stop", (Span(words, STRONG),), width))
    return lines


def _legend(width: float) -> Block:
    third = width / 3
    explained = {
        Nothing.NOT_YET: "may still be written",
        Nothing.NOT_DONE: "asked for, left out",
        Nothing.NOT_APPLICABLE: "not asked for",
    }
    return beside([
        (index * third, marked(NOTHING_MARKS[why], (Span(f"{why.label}: ", STRONG), Span(words, SMALL)), third - 6, side=8))
        for index, (why, words) in enumerate(explained.items())
    ])  # fmt: skip


# --- digests ----------------------------------------------------------------------------------------------------
def _digests(setting: Setting) -> list[Item]:
    content = setting.content
    rows = (
        ("Plan", content.plan_digest),
        (f"Recipe {content.recipe}", content.recipe_digest),
        (f"Specification {content.specification}", content.specification_digest),
        (f"Record, act {content.issue.chain_number}", content.issue.chain_head),
    )
    columns = columns_of(setting.width, (("SHA-256 of", 118.0), ("Digest", 0.0)))
    cells = [(cell(name, columns[0], SMALL), cell(_spaced(digest), columns[1], _DIGEST)) for name, digest in rows]  # fmt: skip
    return [
        section("Versions and digests", setting.width, margin_word("Proof", "by digest")),
        *table(columns, cells, pad=1.5),
    ]


def _spaced(digest: str) -> str:
    """In groups of eight, for comparing by eye."""
    return " ".join(digest[start : start + 8] for start in range(0, len(digest), 8))


# --- tanks ------------------------------------------------------------------------------------------------------
def _tanks(setting: Setting) -> list[Item]:
    tanks = setting.content.tanks
    columns = columns_of(
        setting.width,
        (
            ("", 15.0),
            ("Tank, visit", 52.0),
            ("Size, from, intake", 0.0),
            ("In", 48.0),
            ("Filled", 104.0),
            ("Now", 78.0),
        ),
        at_right=("In",),
    )
    rows = [_tank_row(tank, columns, setting.system) for tank in tanks]
    title = f"Tanks: {len(tanks)}"
    return [section(title, setting.width, margin_word("Tanks")), *table(columns, rows)]


def _tank_row(tank: RecordTank, columns: tuple[Column, ...], system: str) -> tuple[Block, ...]:
    came = stacked([
        cell(f"{tank.size} · {tank.customer}", columns[2], SMALL),
        cell(f"came in {tank.received}", columns[2], QUIET),
        cell(tank.intake or "no inspection on record", columns[2], QUIET),
    ])  # fmt: skip
    return (
        cell(str(tank.position), columns[0], SMALL),
        stacked([cell(tank.serial, columns[1], STRONG), cell(tank.visit, columns[1], QUIET)]),
        came,
        cell(own(tank.resin_volume_m3, "resin_volume", "", system), columns[3], BODY),
        _filled(tank, columns[4], system),
        cell(tank.state, columns[5], SMALL),
    )


def _filled(tank: RecordTank, column: Column, system: str) -> Block:
    if tank.filled_m3 is not None:
        volume = own(tank.filled_m3, "resin_volume", "", system)
        return stacked([cell(volume, column, STRONG), cell(tank.filled, column, QUIET)])
    why = nothing_cell(tank.nothing or Nothing.NOT_YET, column)
    return stacked([why, cell(f"set aside: {tank.set_aside}", column, QUIET)]) if tank.set_aside else why
