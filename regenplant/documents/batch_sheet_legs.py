"""The two legs of a mixed bed: where each runs, side by side, in what order they join, and whether acid and caustic balance."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.process.plan import BatchPlan, Caution, PlannedStep
from regenplant.core.process.vocabulary import Leg, LegArrangement, StepKind
from regenplant.documents.batch_sheet_setting import SECTION_GAP, Setting, margin_word, section
from regenplant.documents.faces import BODY, INK, LABEL, PAPER, SMALL, STRONG, Face, Span, Style
from regenplant.documents.flow import Block, Item, nothing, paragraph, rich, stacked
from regenplant.documents.parts import (
    Column,
    blank,
    cell,
    marked,
    table_head,
    table_row,
    time_blank,
    two_lines,
)
from regenplant.documents.pen import Pen
from regenplant.documents.safety import SIGNALS, panel
from regenplant.documents.texts import clock_time, headed, other, own

LEGS = (Leg.CATION, Leg.ANION)
_BANNER = Style(Face.BOLD, 11, 14)
_BANNER_NOTE = Style(Face.TEXT, 8.5, 11)
_WORD_WIDTH = 92.0
_LANE, _LANE_GAP = 17.0, 5.0
_BY_HAZARD = ("unbalanced_legs", "legs_meet")
"""Codes of the cautions that tell what happens where acid and caustic meet, the graver first."""
_CHECKS = ("leg_balance", "legs_end_together")


def has_legs(plan: BatchPlan) -> bool:
    return any(step.leg is not Leg.WHOLE for step in plan.steps)


def leg_steps(plan: BatchPlan, leg: Leg) -> tuple[PlannedStep, ...]:
    return tuple(step for step in plan.steps if step.leg is leg)


def leg_vessel(plan: BatchPlan, leg: Leg) -> str:
    """Code of the vessel a leg runs in; its own word where none is on record."""
    apart = plan.request.recipe.arrangement is LegArrangement.APART
    if leg is Leg.ANION and apart:
        return plan.request.anion_vessel.code if plan.request.anion_vessel else "not on record"
    return plan.request.vessel.code


def next_words(plan: BatchPlan, step: PlannedStep) -> str:
    """What follows a step, by number and name: in a leg the next of that leg, after the cut both legs."""
    later = plan.steps[step.number :]
    if step.leg is Leg.WHOLE and later and later[0].leg is not Leg.WHOLE:
        first = [next((s for s in later if s.leg is leg), None) for leg in LEGS]
        return "steps " + " and ".join(f"{s.number}, {s.name}" for s in first if s) + ", side by side"
    follows = [s for s in later if step.leg is Leg.WHOLE or s.leg in (step.leg, Leg.WHOLE)]
    return f"step {follows[0].number}, {follows[0].name}" if follows else ""


# --- before the first leg ---------------------------------------------------------------------------------------
def items(setting: Setting) -> list[Item]:
    """The overview that stands before the first step of a leg."""
    plan, width = setting.content.plan, setting.width
    columns = (
        Column("", _WORD_WIDTH),
        *(Column(headed(leg.label), (width - _WORD_WIDTH) / 2) for leg in LEGS),
    )
    rows = [_row(name, cells, columns) for name, cells in _rows(setting, columns)]
    found = [
        section("The bed parts into two legs", width, margin_word("Legs", "side by side")),
        Item(paragraph(_order(plan), BODY, width), keep=True),
        Item(_lanes(plan, width), keep=True, gap=5),
        Item(table_head(columns), keep=True, gap=6),
        *(Item(row, keep=True) for row in rows),
        Item(_balance(setting), gap=5),
    ]
    return found


def _order(plan: BatchPlan) -> str:
    join = next(step for step in plan.steps if step.kind is StepKind.JOIN)
    ends = " and ".join(str(leg_steps(plan, leg)[-1].number) for leg in LEGS)
    together = plan.request.recipe.arrangement is LegArrangement.TOGETHER
    start = (
        "Both legs start at the same moment and run together in one vessel; neither runs alone."
        if together
        else "The legs run side by side, each in its own vessel; either may start first, and neither waits for the other."
    )
    return f"{start} Step {join.number}, {join.name}, begins only when steps {ends} are both done."


def _rows(setting: Setting, columns: Sequence[Column]) -> list[tuple[str, list[Block]]]:
    plan, system = setting.content.plan, setting.system
    totals, half = plan.totals, columns[1]
    mixed = plan.request.mixed
    cut = next(step for step in plan.steps if step.kind is StepKind.CUT)
    volumes = (cut.figures["lower_layer_m3"], cut.figures["upper_layer_m3"])

    def figures(key: str) -> list[Block]:
        found = [totals.get(f"{key}:{leg.value}") for leg in LEGS]
        return [
            two_lines(own(e.value, e.kind, e.unit, system), other(e.value, e.kind, system), half)
            if e
            else nothing(0)
            for e in found
        ]

    rows: list[tuple[str, list[Block]]] = [
        ("Where", [paragraph(_where(plan, leg), STRONG, half.width - 6) for leg in LEGS]),
    ]
    if mixed is not None:
        resins = (mixed.cation, mixed.anion)
        rows.append(("Resin, lot", [cell(f"{r.type_code}, {r.lot_code}", half) for r in resins]))
    rows += [
        ("Volume after the cut", [two_lines(own(v.value, v.kind, v.unit, system), f"{other(v.value, v.kind, system)}, {v.name.rpartition(', ')[2]}", half) for v in volumes]),
        ("Steps", [stacked([cell(f"{s.number} · {s.name}", half) for s in leg_steps(plan, leg)]) for leg in LEGS]),
        ("Regenerant", [stacked([_injection(s, half, system) for s in leg_steps(plan, leg) if s.kind is StepKind.INJECT]) for leg in LEGS]),
        ("Applied", figures("applied_eq")),
        ("Load on the resin", figures("eluted_eq")),
        ("Flow of equivalents", figures("regenerant_rate_eq_per_s")),
        ("Time, planned", [cell(clock_time(totals[f"duration_s:{leg.value}"].value), half, STRONG) for leg in LEGS]),
        ("Worked by (name)", [blank(half.width - 10, 20) for _ in LEGS]),
        ("Started, ended", [_from_to(half.width - 10) for _ in LEGS]),
    ]  # fmt: skip
    return rows


def _row(name: str, cells: Sequence[Block], columns: Sequence[Column]) -> Block:
    return table_row((cell(name, columns[0], SMALL), *cells), columns, pad=2.0)


def _where(plan: BatchPlan, leg: Leg) -> str:
    vessel = leg_vessel(plan, leg)
    if plan.request.recipe.arrangement is LegArrangement.TOGETHER:
        return f"Vessel {vessel}, {'acid from below' if leg is Leg.CATION else 'caustic from above'}"
    return f"Vessel {vessel}, {'where the bed was parted' if leg is Leg.CATION else 'moved there at the cut'}"


def _injection(step: PlannedStep, column: Column, system: str) -> Block:
    figures = step.figures
    assert step.chemical is not None
    strength, dose, mass, flow, kelvin = (
        own(figures[key].value, figures[key].kind, figures[key].unit, system)
        for key in (
            "strength_frac",
            "dose_kg_per_m3",
            "chemical_kg_100",
            "flow_m3_per_s",
            "temperature_kelvin",
        )
    )
    return two_lines(
        f"{strength} {step.chemical.formula} at {flow}, {kelvin}", f"{dose} of resin, {mass} as 100 %", column
    )


def _from_to(width: float) -> Block:
    """Two moments with a dash between."""

    def draw(pen: Pen, x: float, y: float) -> None:
        half = (width - 14) / 2
        time_blank(half, 20).draw(pen, x, y)
        pen.text(x + half, y + 14, "to", SMALL)
        time_blank(half, 20).draw(pen, x + half + 12, y)

    return Block(20.0, draw)


def _balance(setting: Setting) -> Block:
    """How well acid and caustic balance, and what happens where they meet."""
    plan, system = setting.content.plan, setting.system
    hazard = _hazard(plan)
    sentences = [check.sentence for check in plan.checks if check.code in _CHECKS]
    if "legs_meet_temperature_kelvin" in plan.totals:
        rise, end = plan.totals["legs_meet_rise_kelvin"], plan.totals["legs_meet_temperature_kelvin"]
        sentences.append(
            f"If both regenerants met unspent they would warm by {own(rise.value, rise.kind, rise.unit, system)} to "
            f"{own(end.value, end.kind, end.unit, system)}."
        )
    words = " ".join(sentences)
    if hazard is None:
        return marked("check", (Span(words, BODY),), setting.width)
    return panel(
        SIGNALS[hazard.signal],
        (Span(f"{hazard.headline} ", STRONG), Span(words, BODY)),
        (),
        setting.width,
    )


def _hazard(plan: BatchPlan) -> Caution | None:
    found = {caution.code: caution for step in plan.steps for caution in step.cautions}
    return next((found[code] for code in _BY_HAZARD if code in found), None)


# --- drawing of both legs ---------------------------------------------------------------------------------------
def _lanes(plan: BatchPlan, width: float) -> Block:
    """Both legs on one scale of time: a segment for each step, grey while chemical is in the bed."""
    times = {leg: plan.totals[f"duration_s:{leg.value}"].value for leg in LEGS}
    longest = max(times.values())
    join = next(step for step in plan.steps if step.kind is StepKind.JOIN)
    room = width - _WORD_WIDTH - 54.0
    height = 2 * _LANE + _LANE_GAP + 13.0

    def draw(pen: Pen, x: float, y: float) -> None:
        left = x + _WORD_WIDTH
        for index, leg in enumerate(LEGS):
            top = y + index * (_LANE + _LANE_GAP)
            pen.text(x, top + 11.5, f"{headed(leg.label)}, {leg_vessel(plan, leg)}", SMALL)
            _lane(pen, left, top, room / longest, leg_steps(plan, leg))
            end = left + room * times[leg] / longest
            if end < left + room:
                pen.rule(end, top + _LANE / 2, left + room, top + _LANE / 2, weight=0.7, dash=(2, 2))
        bottom = y + 2 * _LANE + _LANE_GAP
        pen.rule(left + room, y - 1, left + room, bottom + 1, weight=1.6)
        pen.text(left + room + 5, y + _LANE + 1, f"{join.number} · join", STRONG)
        pen.text(left, bottom + 10, "numbers are steps; grey: chemical in the bed", LABEL)
        pen.text(left + room, bottom + 10, clock_time(longest), LABEL, anchor="end")

    return Block(height, draw)


def _lane(pen: Pen, x: float, y: float, per_second: float, steps: Sequence[PlannedStep]) -> None:
    for step in steps:
        across = step.value("duration_s") * per_second
        in_bed = step.kind in (StepKind.INJECT, StepKind.SOAK, StepKind.DISPLACE)
        pen.box(x, y, across, _LANE, fill=0.87 if in_bed else PAPER, stroke=INK, weight=0.8)
        pen.text(x + across / 2, y + 12, str(step.number), STRONG, anchor="middle")
        x += across


# --- heading of a leg -------------------------------------------------------------------------------------------
def banner(setting: Setting, step: PlannedStep) -> Item | None:
    """The bar above the first step of a leg, and above the join; None above any other step.

    Each opens a page, so that the pages of a leg can go to its vessel and come back for the join.
    """
    plan = setting.content.plan
    before = plan.steps[step.number - 2] if step.number > 1 else None
    if step.leg is not Leg.WHOLE and (before is None or before.leg is not step.leg):
        steps = leg_steps(plan, step.leg)
        other_leg = next(leg for leg in LEGS if leg is not step.leg)
        beside = leg_steps(plan, other_leg)
        note = (
            f"vessel {leg_vessel(plan, step.leg)} · steps {steps[0].number} to {steps[-1].number} · runs beside the {other_leg.label}, "
            f"steps {beside[0].number} to {beside[-1].number}"
        )
        return Item(
            _bar(step.leg.label.upper(), note, setting.width),
            keep=True,
            gap=SECTION_GAP + 6,
            opens_page=False,
        )
    if step.kind is StepKind.JOIN and has_legs(plan):
        ends = " and ".join(str(leg_steps(plan, leg)[-1].number) for leg in LEGS)
        return Item(
            _bar("THE LEGS JOIN", f"only when steps {ends} are both done", setting.width),
            keep=True,
            gap=SECTION_GAP + 6,
            opens_page=True,
        )
    return None


def _bar(word: str, note: str, width: float) -> Block:
    def draw(pen: Pen, x: float, y: float) -> None:
        pen.box(x, y, width, 18, fill=INK)
        pen.text(x + 7, y + 13, word, _BANNER, ink=PAPER)
        pen.text(x + width - 7, y + 12.5, note, _BANNER_NOTE, anchor="end", ink=PAPER)

    return Block(18.0, draw)


def legend(step: PlannedStep, plan: BatchPlan, width: float) -> Block:
    """Leg and vessel below the number of a step in the margin."""
    lines = [paragraph(headed(step.leg.label), STRONG, width)]
    lines.append(rich((Span(f"vessel {leg_vessel(plan, step.leg)}", SMALL),), width, leading=SMALL.leading))
    return stacked(lines)
